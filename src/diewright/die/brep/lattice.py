"""A displacement of space as values on a regular lattice, so that it can be handed to another process and read everywhere alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, spline_filter

from diewright.errors import SolveError

Floats = NDArray[np.float64]

_MOST = 2_000_000
"""Points of a lattice not exceeded."""
_EDGE = 6  # steps that a lattice reaches beyond its box: the spline's ends spoil what is nearer


@dataclass(frozen=True, eq=False)
class Lattice:
    """Displacements ``values (nx, ny, nz, 3)`` [mm] at ``origin + (i, j, k) step``; between them a tricubic spline (continuous curvature)."""

    origin: Floats
    step: float
    values: Floats

    @cached_property
    def _poles(self) -> list[Floats]:
        return [np.asarray(spline_filter(self.values[..., i], order=3, mode="mirror")) for i in range(3)]

    def __call__(self, points: Floats) -> Floats:
        """Displacement ``(n, 3)`` [mm] at points ``(n, 3)``."""
        at = ((points - self.origin) / self.step).T
        return np.stack([map_coordinates(p, at, order=3, mode="mirror", prefilter=False) for p in self._poles], axis=1)


def sampled(field: Callable[[Floats], Floats], low: Floats, high: Floats, tolerance: float) -> Lattice:
    """A lattice over a box that follows ``field`` within ``tolerance`` [mm], measured at 2000 points; raises :class:`SolveError` where no lattice is fine enough."""
    rng = np.random.default_rng(11)
    probe = low + rng.random((2000, 3)) * (high - low)
    wanted = field(probe)
    step = float((high - low).max()) / 16
    miss = np.inf
    while True:
        count = np.ceil((high - low) / step).astype(int) + 1 + 2 * _EDGE
        if count.prod() > _MOST:
            break
        origin = low - _EDGE * step
        at = origin + step * np.stack(np.meshgrid(*(np.arange(c) for c in count), indexing="ij"), axis=-1)
        made = Lattice(origin, step, np.asarray(field(at.reshape(-1, 3))).reshape(*count, 3))
        miss = float(np.linalg.norm(made(probe) - wanted, axis=1).max())
        if miss <= tolerance:
            return made
        step *= 0.6
    raise SolveError(
        f"the displacement of the faces is not smooth enough to be carried over to CAD: it misses by {miss:.2g} mm (allowed {tolerance:g} mm).", where="faces",
        help="Smooth the compensation over a longer distance.",
    )  # fmt: skip

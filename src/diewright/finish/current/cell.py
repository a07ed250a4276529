"""A cell: electrolyte, electrodes with their kinetics, what is stated of each, and what came out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.finish.current.laws import Law
from diewright.finish.current.tetra import triangle_areas

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Electrode:
    """One piece of metal in the electrolyte.

    ``triangles (k, 3)`` boundary triangles; ``law`` its kinetics, None for none (the electrolyte beside it then has the metal's potential less
    ``equilibrium``: the primary distribution). Exactly one is stated: ``potential`` V of the metal [V], or ``current`` [A] from the electrolyte into it (positive for
    a cathode; 0 for an insulated piece of metal, which is anode at one place and cathode at another). ``equilibrium`` E [V] adds to V.
    """

    name: str
    triangles: Ints
    law: Law | None = None
    potential: float | None = None
    current: float | None = None
    equilibrium: float = 0.0


@dataclass(frozen=True)
class Face:
    """An electrode's nodes ``(j,)``, the area that belongs to each ``(j,) [mm2]``, its triangles in these numbers ``(k, 3)`` and their areas ``(k,)``."""

    nodes: Ints
    weights: Floats
    triangles: Ints
    areas: Floats

    @property
    def area(self) -> float:
        """Area of the electrode [mm2]."""
        return float(self.areas.sum())


def face_of(points: Floats, electrode: Electrode) -> Face:
    """Gather the nodes of an electrode; a third of each triangle belongs to each of its corners.

    Raises :class:`InputError` for an electrode without area or with both or neither of potential and current stated.
    """
    if (electrode.potential is None) == (electrode.current is None):
        raise InputError(f"State either the potential or the current of '{electrode.name}'.", where="electrode")
    if len(electrode.triangles) == 0:
        raise InputError(f"'{electrode.name}' has no area in the electrolyte.", where="electrode")
    areas = triangle_areas(points, electrode.triangles)
    nodes, inner = np.unique(electrode.triangles, return_inverse=True)
    inner = inner.reshape(-1, 3)
    weights = np.asarray(np.bincount(inner.ravel(), weights=np.repeat(areas / 3.0, 3), minlength=len(nodes)), dtype=np.float64)
    return Face(nodes, weights, inner, areas)


@dataclass(frozen=True)
class Carried:
    """What an electrode carries: metal ``potential`` [V], ``total`` [A], ``density`` at its nodes [A/mm2] (positive into the electrode), its ``face``."""

    potential: float
    total: float
    density: Floats
    face: Face

    @cached_property
    def of_triangles(self) -> Floats:
        """Mean current density of each triangle ``(k,) [A/mm2]``; with the areas it adds up to the total."""
        return self.density[self.face.triangles].mean(axis=1)


@dataclass(frozen=True)
class Solution:
    """``phi (n,)`` potential of the electrolyte [V]; ``carried`` by electrode; ``imbalance`` sum of all currents over half the sum of their sizes;
    ``steps`` of Newton's method, ``residual`` current left over the current that flows, ``iterations`` of conjugate gradients."""

    phi: Floats
    carried: dict[str, Carried]
    imbalance: float
    residual: float
    steps: int
    iterations: int

    def voltage(self, anode: str, cathode: str) -> float:
        """Potential of one metal over another [V]."""
        return self.carried[anode].potential - self.carried[cathode].potential


def apart(electrodes: Sequence[Electrode], faces: Sequence[Face]) -> None:
    """Refuse electrodes that touch and are not stated to have one potential: metal would short the cell."""
    for j, (e, f) in enumerate(zip(electrodes, faces, strict=True)):
        for other, g in zip(electrodes[j + 1 :], faces[j + 1 :], strict=True):
            same = e.potential is not None and (e.potential, e.equilibrium) == (other.potential, other.equilibrium)
            if not same and len(np.intersect1d(f.nodes, g.nodes, assume_unique=True)):
                raise InputError(f"'{e.name}' and '{other.name}' touch.", where="electrode", help="Leave electrolyte between them.")


def checked(electrodes: Sequence[Electrode]) -> None:
    """Refuse what no answer belongs to: all potentials floating, one electrode alone, two of one name."""
    if len({e.name for e in electrodes}) < len(electrodes):
        raise InputError("Two electrodes have the same name.", where="electrode")
    if not any(e.potential is not None for e in electrodes):
        raise InputError("At least one electrode needs a stated potential; the others may state their current.", where="electrode")
    if len(electrodes) < 2:
        raise InputError("A current needs two electrodes.", where="electrode")

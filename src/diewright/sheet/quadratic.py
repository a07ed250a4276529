"""The quadratic yield surfaces: von Mises and Hill 1948."""

from __future__ import annotations

import math
from abc import abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from diewright.errors import InputError
from diewright.sheet.surface import Floats, YieldSurface


class _Quadratic(YieldSurface):
    """``equivalent = sqrt(s P s)``."""

    @property
    @abstractmethod
    def form(self) -> Floats:
        """The matrix P ``(3, 3)``."""

    def equivalent(self, s: ArrayLike) -> Floats:
        s = np.asarray(s, dtype=np.float64)
        return np.sqrt(np.maximum(((s @ self.form) * s).sum(axis=-1), 0.0))

    def gradient(self, s: ArrayLike) -> Floats:
        s = np.asarray(s, dtype=np.float64)
        bar = self.equivalent(s)[..., None]
        return np.divide(s @ self.form, bar, out=np.zeros_like(s), where=bar > 0)

    def hessian(self, s: ArrayLike) -> Floats:
        s = np.asarray(s, dtype=np.float64)
        g = self.gradient(s)
        bar = self.equivalent(s)[..., None, None]
        return np.divide(self.form - g[..., :, None] * g[..., None, :], bar, out=np.zeros((*s.shape, 3)), where=bar > 0)


@dataclass(frozen=True)
class Mises(_Quadratic):
    """Von Mises 1913: ``s11^2 - s11 s22 + s22^2 + 3 s12^2``."""

    kind: ClassVar[str] = "mises"

    @cached_property
    def form(self) -> Floats:
        return np.array([[1.0, -0.5, 0.0], [-0.5, 1.0, 0.0], [0.0, 0.0, 3.0]])

    def parameters(self) -> dict[str, Any]:
        return {}


@dataclass(frozen=True)
class Hill48(_Quadratic):
    """Hill 1948 in plane stress, ``(G+H) s11^2 - 2H s11 s22 + (F+H) s22^2 + 2N s12^2`` with ``G + H = 1``.

    Convex if ``F+H > 0``, ``N > 0`` and ``(G+H)(F+H) > H^2``; raises :class:`InputError` otherwise.
    """

    F: float
    G: float
    H: float
    N: float
    kind: ClassVar[str] = "hill48"

    def __post_init__(self) -> None:
        values = (self.F, self.G, self.H, self.N)
        if not all(math.isfinite(v) for v in values):
            raise InputError("a parameter is not a finite number.", where="hill48")
        if abs(self.G + self.H - 1.0) > 1e-9:
            raise InputError(f"G + H is {self.G + self.H:.6g}: expected 1, so that the rolling direction is the reference.", where="hill48")
        if self.F + self.H <= 0 or self.N <= 0 or self.F + self.H <= self.H**2:
            raise InputError(f"F {self.F:g}, G {self.G:g}, H {self.H:g}, N {self.N:g} do not make a convex surface.", where="hill48")

    @classmethod
    def from_r(cls, r0: float, r45: float, r90: float) -> Hill48:
        """From r-values: ``H/G = r0``, ``H/F = r90``, ``N/(F+G) = r45 + 1/2`` (Hill 1948)."""
        for key, r in (("r0", r0), ("r45", r45), ("r90", r90)):
            if not (math.isfinite(r) and r > 0):
                raise InputError(
                    f"{r!r} cannot be used: expected a number above 0.", where=key, help="An r-value is width strain over thickness strain."
                )
        g = 1.0 / (1.0 + r0)
        h = r0 * g
        f = h / r90
        return cls(f, g, h, (f + g) * (r45 + 0.5))

    @cached_property
    def form(self) -> Floats:
        f, g, h, n = self.F, self.G, self.H, self.N
        return np.array([[g + h, -h, 0.0], [-h, f + h, 0.0], [0.0, 0.0, 2.0 * n]])

    def parameters(self) -> dict[str, Any]:
        return {"F": self.F, "G": self.G, "H": self.H, "N": self.N}

"""Electrode kinetics: how much current crosses an electrode at which overpotential.

Everywhere ``u = phi - V - E`` [V]: potential of the electrolyte beside the electrode, less that of the metal, less the equilibrium value. A current
density ``i`` [A/mm2] is positive from the electrolyte into the electrode (cathodic). Every law rises with ``u``, so that its ``energy`` (the
integral of ``i`` over ``u``) is convex; Newton's method leans on that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LN10 = math.log(10.0)


class Law(Protocol):
    """What the solver asks of a law; all take and give arrays of one shape."""

    def current(self, u: Floats) -> Floats:
        """Current density i(u) [A/mm2]."""

    def slope(self, u: Floats) -> Floats:
        """di/du [A/(V mm2)]."""

    def energy(self, u: Floats) -> Floats:
        """Integral of i over u [W/mm2]."""

    def potential(self, i: Floats) -> Floats:
        """The inverse u(i) [V]; nan where the law never carries ``i``."""


@dataclass(frozen=True)
class Linear:
    """Linear polarisation ``i = u / b`` with the resistance ``b`` [V mm2/A]."""

    b: float

    def current(self, u: Floats) -> Floats:
        return u / self.b

    def slope(self, u: Floats) -> Floats:
        return np.full_like(u, 1.0 / self.b)

    def energy(self, u: Floats) -> Floats:
        return 0.5 * u * u / self.b

    def potential(self, i: Floats) -> Floats:
        return i * self.b


@dataclass(frozen=True)
class Tafel:
    """Tafel's law ``i = s i0 10^(s u / slope)``: ``exchange`` i0 [A/mm2], ``decade`` [V/decade], ``sign`` s = +1 for a cathode, -1 for an anode."""

    exchange: float
    decade: float
    sign: int = 1

    def current(self, u: Floats) -> Floats:
        return self.sign * self.exchange * np.exp(self.sign * LN10 * u / self.decade)

    def slope(self, u: Floats) -> Floats:
        return LN10 / self.decade * np.abs(self.current(u))

    def energy(self, u: Floats) -> Floats:
        return self.decade / LN10 * np.abs(self.current(u))

    def potential(self, i: Floats) -> Floats:
        carried = np.where(self.sign * i > 0, self.sign * i, np.nan)
        return self.sign * self.decade / LN10 * np.log(carried / self.exchange)


@dataclass(frozen=True)
class ButlerVolmer:
    """``i = i0 (10^(u / cathodic) - 10^(-u / anodic))``: ``exchange`` i0 [A/mm2], ``cathodic`` and ``anodic`` Tafel slopes [V/decade].

    The slopes are ``2.303 R T / (alpha F)`` of the usual form with transfer coefficients.
    """

    exchange: float
    cathodic: float
    anodic: float

    def _parts(self, u: Floats) -> tuple[Floats, Floats]:
        return self.exchange * np.exp(LN10 * u / self.cathodic), self.exchange * np.exp(-LN10 * u / self.anodic)

    def current(self, u: Floats) -> Floats:
        forward, back = self._parts(u)
        return forward - back

    def slope(self, u: Floats) -> Floats:
        forward, back = self._parts(u)
        return LN10 * (forward / self.cathodic + back / self.anodic)

    def energy(self, u: Floats) -> Floats:
        forward, back = self._parts(u)
        return (forward * self.cathodic + back * self.anodic) / LN10

    def potential(self, i: Floats) -> Floats:
        """Newton's method from the side where it cannot overshoot: beyond the root, where the branch is convex."""
        i = np.asarray(i, dtype=np.float64)
        scale = np.where(i >= 0, self.cathodic, -self.anodic) / LN10
        u = scale * np.log1p(np.abs(i) / self.exchange)
        for _ in range(60):
            step = (self.current(u) - i) / self.slope(u)
            u = u - step
            if np.max(np.abs(step), initial=0.0) < 1e-14:
                break
        return u

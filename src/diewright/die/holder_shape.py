"""What blankholder surfaces are made of: a smooth profile, and the plane and the cylinder over it.

Every shape ``f(x, y)`` here is developable: its second derivatives are ``bend * across (x) across`` with one direction ``across`` in plan, square to the straight line through the point, so that
``f_xx f_yy - f_xy^2 = 0``. A linear function added (height, tilt) changes nothing of that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Local:
    """A shape at plan points ``(..., 2)``: ``height (...)`` [mm], ``slope (..., 2)``, and its second derivatives as ``bend (...)`` [1/mm] along the unit directions ``across (..., 2)``."""

    height: Floats
    slope: Floats
    bend: Floats
    across: Floats


class Shape(Protocol):
    """A developable height over the plan."""

    kind: ClassVar[str]

    def at(self, xy: Floats) -> Local:
        """The shape at plan points ``(..., 2)``."""
        ...


class Profile:
    """A natural cubic spline through ``values`` at ``knots``, led on straight beyond its ends, so that its second derivative is continuous; a constant through one value."""

    def __init__(self, knots: tuple[float, ...], values: tuple[float, ...]) -> None:
        self.knots, self.values = knots, values
        self._spline = CubicSpline(knots, values, bc_type="natural") if len(knots) > 1 else None

    def at(self, u: Floats) -> tuple[Floats, Floats, Floats]:
        """Value, slope and second derivative, of the shape of ``u``."""
        if self._spline is None:
            return np.full_like(u, self.values[0]), np.zeros_like(u), np.zeros_like(u)
        inside = np.clip(u, self.knots[0], self.knots[-1])
        slope = self._spline(inside, 1)
        return self._spline(inside) + slope * (u - inside), slope, np.where(inside == u, self._spline(inside, 2), 0.0)


@dataclass(frozen=True, eq=False)
class Flat:
    """Nothing but the plane."""

    kind: ClassVar[str] = "flat"

    def at(self, xy: Floats) -> Local:
        """Zero everywhere."""
        zero = np.zeros(xy.shape[:-1])
        return Local(zero, np.zeros_like(xy), zero, np.broadcast_to([1.0, 0.0], xy.shape))


@dataclass(frozen=True, eq=False)
class Cylinder:
    """``p(across . (x, y))``: ``across (2,)`` unit direction in plan in which it bends, ``knots (m,)`` and ``rise (m,)`` [mm] of its profile."""

    across: tuple[float, float]
    knots: tuple[float, ...]
    rise: tuple[float, ...]
    kind: ClassVar[str] = "cylindrical"

    @cached_property
    def _profile(self) -> Profile:
        return Profile(self.knots, self.rise)

    @property
    def direction(self) -> float:
        """Angle in plan of its straight lines from +x [deg], 0 to 180."""
        return math.degrees(math.atan2(self.across[0], -self.across[1])) % 180.0

    def at(self, xy: Floats) -> Local:
        """The shape at plan points ``(..., 2)``."""
        across = np.asarray(self.across)
        p, slope, bend = self._profile.at(xy @ across)
        return Local(p, slope[..., None] * across, bend, np.broadcast_to(across, xy.shape))

    @property
    def tightest(self) -> float:
        """Tightest bend of the profile [mm] wherever that is; the second derivative of a cubic spline is largest at a knot."""
        _, slope, second = self._profile.at(np.asarray(self.knots))
        bend = np.abs(second) / (1.0 + slope**2) ** 1.5
        return float(1.0 / bend.max()) if bend.max() > 0 else math.inf

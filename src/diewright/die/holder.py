"""The blankholder surface: a plane, or a cylinder over a smooth profile, on which a flat sheet lies without stretching.

Heights of the sheet's middle surface in press coordinates, with ``u = across . (x, y)``:

    z(x, y) = level + p(u) + tilt . (x, y),   K = (z_xx z_yy - z_xy^2) / (1 + z_x^2 + z_y^2)^2 = 0.

``p`` is a natural cubic spline over few knots, led on straight beyond its ends, so that its curvature is continuous. All ``z`` of this form are cylinders (their
straight lines run along ``(-across_y, across_x, tilt)``), whatever the tilt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

Floats = NDArray[np.float64]

KNOTS = 8
"""Knots of the profile."""
_BEYOND = 0.15  # share of the width by which the profile's knots reach beyond the edge to either side: there its curvature fades
STEEPEST = math.tan(math.radians(25.0))
"""Steepest slope of a curved blankholder surface."""
_STEP = 0.5  # mm: step of the differences that measure curvature


@dataclass(frozen=True, eq=False)
class Holder:
    """The surface: ``level`` [mm], ``across (2,)`` unit direction in plan in which it bends, ``knots (m,)`` and ``rise (m,)`` [mm] of its profile (none: flat), ``tilt (2,)`` slopes."""

    level: float
    across: tuple[float, float] = (1.0, 0.0)
    knots: tuple[float, ...] = ()
    rise: tuple[float, ...] = ()
    tilt: tuple[float, float] = (0.0, 0.0)

    @property
    def kind(self) -> str:
        """``flat`` or ``cylindrical``."""
        return "cylindrical" if self.knots else "flat"

    @property
    def direction(self) -> float:
        """Angle in plan of the straight lines of a cylinder from +x [deg], 0 to 180."""
        return math.degrees(math.atan2(self.across[0], -self.across[1])) % 180.0

    @cached_property
    def _profile(self) -> CubicSpline | None:
        return CubicSpline(self.knots, self.rise, bc_type="natural") if self.knots else None

    def _at(self, xy: Floats) -> tuple[Floats, Floats, Floats]:
        """Profile height, slope and second derivative at plan points ``(..., 2)``."""
        u = xy @ np.asarray(self.across)
        if self._profile is None:
            return np.zeros_like(u), np.zeros_like(u), np.zeros_like(u)
        inside = np.clip(u, self.knots[0], self.knots[-1])
        slope = self._profile(inside, 1)
        return self._profile(inside) + slope * (u - inside), slope, np.where(inside == u, self._profile(inside, 2), 0.0)

    def height(self, xy: Floats) -> Floats:
        """Height [mm] at plan points ``(..., 2)``."""
        return np.asarray(self.level + self._at(xy)[0] + xy @ np.asarray(self.tilt))

    def gradient(self, xy: Floats) -> Floats:
        """Slopes ``(..., 2)`` along x and y."""
        return np.asarray(self._at(xy)[1][..., None] * np.asarray(self.across) + np.asarray(self.tilt))

    def normal(self, xy: Floats) -> Floats:
        """Unit normals ``(..., 3)``, up."""
        slope = self.gradient(xy)
        out = np.concatenate([-slope, np.ones((*slope.shape[:-1], 1))], axis=-1)
        return np.asarray(out / np.linalg.norm(out, axis=-1, keepdims=True))

    def raised(self, by: float) -> Holder:
        """The surface ``by`` mm higher."""
        return replace(self, level=self.level + by)

    def gaussian(self, xy: Floats) -> Floats:
        """Gaussian curvature ``(k,)`` [1/mm2] from central differences of the heights at plan points ``(k, 2)``, across and along :attr:`across`: measured on the heights themselves."""
        x = _STEP * np.asarray(self.across)
        y = np.array([-x[1], x[0]])
        z, h = self.height, _STEP
        middle = z(xy)
        xx = (z(xy + x) - 2 * middle + z(xy - x)) / h**2
        yy = (z(xy + y) - 2 * middle + z(xy - y)) / h**2
        both = (z(xy + x + y) - z(xy + x - y) - z(xy - x + y) + z(xy - x - y)) / (4 * h**2)
        sx, sy = (z(xy + x) - z(xy - x)) / (2 * h), (z(xy + y) - z(xy - y)) / (2 * h)
        return np.asarray((xx * yy - both**2) / (1.0 + sx**2 + sy**2) ** 2)

    @property
    def least_radius(self) -> float:
        """Tightest bend of the profile [mm]; infinite for a plane. The second derivative of a cubic spline is largest at a knot."""
        if self._profile is None:
            return math.inf
        at = np.asarray(self.knots)
        bend = np.abs(self._profile(at, 2)) / (1.0 + self._profile(at, 1) ** 2) ** 1.5
        return float(1.0 / bend.max()) if bend.max() > 0 else math.inf


@dataclass(frozen=True)
class Spread:
    """How uneven the draw is round the edge [mm]: root mean square of wanted less given height, about the best plane (``flat``) and about the best cylinder (``curved``; None: none fits within
    the bounds on slope and radius)."""

    flat: float
    curved: float | None


def plane_spread(xy: Floats, wanted: Floats, weight: Floats) -> float:
    """Root mean square [mm] of ``wanted (k,)`` heights about their best plane, tilt and all: a tilt is the press direction's business, not the blankholder's."""
    table, root = np.column_stack([np.ones(len(xy)), xy]), np.sqrt(weight)
    left = wanted - table @ np.linalg.lstsq(table * root[:, None], wanted * root, rcond=None)[0]
    return float(np.sqrt(np.average(left**2, weights=weight)))


def fit_cylinder(xy: Floats, wanted: Floats, weight: Floats, radius: float, direction: float | None = None) -> tuple[Holder, float] | None:
    """The cylinder nearest to ``wanted (k,)`` heights [mm] at plan points ``(k, 2)`` in the weighted least squares, and the root mean square left [mm].

    No tighter than ``radius`` [mm] and no steeper than 25 deg; None if that cannot be had. ``direction`` [deg] of its straight lines, or the best of all (to 3 deg). What
    is left counts without the tilt along the straight lines, which the surface itself does not get.
    """
    if direction is not None:
        return _one(xy, wanted, weight, radius, math.radians(direction))
    coarse = [(d, _one(xy, wanted, weight, radius, math.radians(d))) for d in range(0, 180, 15)]
    able = [(d, f) for d, f in coarse if f is not None]
    if not able:
        return None
    best = min(able, key=lambda p: round(p[1][1], 6))[0]
    fine = [_one(xy, wanted, weight, radius, math.radians(best + d)) for d in (0, -3, 3, -6, 6, -9, 9)]
    return min((f for f in fine if f is not None), key=lambda f: round(f[1], 6))


def _one(xy: Floats, wanted: Floats, weight: Floats, radius: float, direction: float) -> tuple[Holder, float] | None:
    across = np.array([math.sin(direction), -math.cos(direction)])
    u, v = xy @ across, xy @ np.array([across[1], -across[0]])
    reach = float(np.ptp(u))
    knots = np.linspace(u.min() - _BEYOND * reach, u.max() + _BEYOND * reach, KNOTS)
    basis = CubicSpline(knots, np.eye(KNOTS), bc_type="natural")
    table = np.column_stack([basis(u), v - np.average(v, weights=weight)])
    bends = basis(knots, 2) * reach**2
    stiff = 1e-9
    while stiff < 1e6:
        # penalty on the second derivative at the knots, scaled to heights by the square of the width
        rows = np.vstack([
            table * np.sqrt(weight / weight.sum())[:, None],
            np.column_stack([math.sqrt(stiff / KNOTS) * bends, np.zeros(KNOTS)]),
        ])  # fmt: skip
        right = np.concatenate([wanted * np.sqrt(weight / weight.sum()), np.zeros(KNOTS)])
        found = np.linalg.lstsq(rows, right, rcond=None)[0]
        rise = found[:-1]
        holder = Holder(0.0, (float(across[0]), float(across[1])), tuple(map(float, knots)), tuple(map(float, rise)))
        if holder.least_radius >= radius:
            steep = float(np.abs(CubicSpline(knots, rise, bc_type="natural")(np.linspace(knots[0], knots[-1], 101), 1)).max())
            left = wanted - table @ found
            return (holder, float(np.sqrt(np.average(left**2, weights=weight)))) if steep <= STEEPEST else None
        stiff *= 4.0
    return None

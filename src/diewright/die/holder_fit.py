"""Planes and cylinders through the heights wanted along an edge, and how uneven what is left of them is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from diewright.die.holder import Holder
from diewright.die.holder_shape import Cylinder, Floats

KNOTS = 8
"""Knots of the profile."""
BEYOND = 0.15
"""Share of the width by which the profile's knots reach beyond the edge to either side: there its curvature fades."""
STEEPEST = math.tan(math.radians(25.0))
"""Steepest slope of a curved blankholder surface."""


@dataclass(frozen=True)
class Spread:
    """How uneven the draw is round the edge [mm]: root mean square of wanted less given height about the best plane (``flat``), cylinder (``curved``), cone and general developable surface
    (None: not fitted, or none fits within the bounds on slope, radius and where its lines meet)."""

    flat: float
    curved: float | None
    conical: float | None = None
    developable: float | None = None


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
    knots = np.linspace(u.min() - BEYOND * reach, u.max() + BEYOND * reach, KNOTS)
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
        shape = Cylinder((float(across[0]), float(across[1])), tuple(map(float, knots)), tuple(map(float, rise)))
        if shape.tightest >= radius:
            steep = float(np.abs(CubicSpline(knots, rise, bc_type="natural")(np.linspace(knots[0], knots[-1], 101), 1)).max())
            left = wanted - table @ found
            return (Holder(0.0, shape), float(np.sqrt(np.average(left**2, weights=weight)))) if steep <= STEEPEST else None
        stiff *= 4.0
    return None

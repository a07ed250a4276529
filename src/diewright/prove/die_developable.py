"""Conical and general developable blankholders against surfaces known from differential geometry: heights, Gaussian curvature, and lengths of shortest ways in the unrolled sheet."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from diewright.die.fit import REACH
from diewright.die.holder import Holder
from diewright.die.holder_ruled import Aim, area_of, fit_cone, fit_developable
from diewright.errors import SolveError

Floats = NDArray[np.float64]

RADIUS = 100.0
"""Tightest bend allowed [mm]."""
ENDS = np.array([[-75.0, -30.0], [80.0, 35.0]])
"""Ends in plan of the way that is measured [mm]."""


def _spots() -> Floats:
    x, y = np.meshgrid(np.linspace(-90.0, 90.0, 31), np.linspace(-60.0, 60.0, 21))
    xy = np.column_stack([x.ravel(), y.ravel()])
    return xy[(xy[:, 0] / 100.0) ** 2 + (xy[:, 1] / 65.0) ** 2 < 1.0]


def _fitted(fit: Callable[[Aim], tuple[Holder, float] | None], height: Callable[[Floats], Floats]) -> tuple[Holder, dict[str, float]]:
    """The surface fitted to known heights, with its greatest distance from them and its largest Gaussian curvature over the area that a blankholder would have."""
    spots = _spots()
    area = area_of(spots, 1.2 * spots, REACH)
    found = fit(Aim(spots, height(spots), np.ones(len(spots)), RADIUS, area))
    if found is None:
        raise SolveError("no developable surface is found for a known one.", where="prove")
    holder = found[0]
    return holder, {
        "heights off": float(np.abs(holder.height(spots) - height(spots)).max()), "largest Gaussian curvature": float(np.abs(holder.gaussian(area.spots)).max()),
    }  # fmt: skip


def shortest(holder: Holder, ends: Floats) -> float:
    """Length [mm] of the shortest way over the surface between two plan points ``(2, 2)``: a sine series across the chord, by heights alone."""
    t = np.linspace(0.0, 1.0, 801)
    chord = ends[1] - ends[0]
    across = np.array([-chord[1], chord[0]])
    waves = np.sin(np.pi * np.outer(t, np.arange(1, 6)))

    def length(c: Floats) -> float:
        plan = ends[0] + t[:, None] * chord + (waves @ c)[:, None] * across
        return float(np.linalg.norm(np.diff(np.column_stack([plan, holder.height(plan)]), axis=0), axis=1).sum())

    return float(minimize(length, np.zeros(5), method="BFGS", options={"gtol": 1e-6}).fun)


APEX, LEAN = np.array([-300.0, 100.0]), math.radians(20.0)
"""Apex in plan [mm] and fall of the side of an upright circular cone."""


def circular() -> dict[str, float]:
    """An upright circular cone: its side unrolls into a sector, in which the way is straight (law of cosines)."""
    holder, out = _fitted(fit_cone, lambda p: -np.hypot(*(p - APEX).T) * math.tan(LEAN))
    off = ENDS - APEX
    slant = np.hypot(*off.T) / math.cos(LEAN)
    turn = math.cos(LEAN) * float(np.ptp(np.arctan2(off[:, 1], off[:, 0])))
    known = math.sqrt(float((slant**2).sum()) - 2.0 * float(slant[0] * slant[1]) * math.cos(turn))
    apex = getattr(holder.shape, "apex", (math.inf, math.inf))
    return {**out, "apex off": float(np.hypot(*(np.asarray(apex) - APEX))), "way less the unrolled one": shortest(holder, ENDS) - known}


def oblique() -> dict[str, float]:
    """A cone over a circle of radius 300 mm that stands upright 400 mm from the apex, its middle 290 mm below it: the circle lies askew to the way from the apex."""
    ring, far, low = 300.0, 400.0, 290.0

    def height(p: Floats) -> Floats:
        xi = p[:, 0] + 330.0
        return xi / far * (np.sqrt(ring**2 - (p[:, 1] * far / xi) ** 2) - low)

    return _fitted(fit_cone, height)[1]


HELIX, RISE, AXIS = 120.0, 40.0, np.array([-330.0, -60.0])
"""Radius of a helix, its rise a radian, and its axis in plan [mm]."""


def _foot(p: Floats) -> tuple[Floats, Floats]:
    """Angle on the helix of the tangent through plan points, and the length along it in plan."""
    q = p - AXIS
    length = np.sqrt((q**2).sum(axis=1) - HELIX**2)
    return np.arctan2(q[:, 1], q[:, 0]) - np.arctan2(length, HELIX), length


def tangents() -> dict[str, float]:
    """The tangents of a helix: unrolled, the helix keeps its curvature a / (a^2 + b^2) and becomes a circle, its tangents that circle's, and the way is straight."""

    def height(p: Floats) -> Floats:
        t, length = _foot(p)
        return RISE * t + length * RISE / HELIX

    holder, out = _fitted(fit_developable, height)
    t, length = _foot(ENDS)
    radius = (HELIX**2 + RISE**2) / HELIX
    turn, along = t * math.hypot(HELIX, RISE) / radius, length * math.hypot(1.0, RISE / HELIX)
    flat = np.column_stack([radius * np.cos(turn) - along * np.sin(turn), radius * np.sin(turn) + along * np.cos(turn)])
    return {**out, "way less the unrolled one": shortest(holder, ENDS) - float(np.hypot(*(flat[1] - flat[0])))}

"""The angle at which a steel meets the sheet, and the direction of travel that keeps it least.

With ``n`` the sheet's unit normal and ``d`` the steel's travel, the lean is ``acos |n . d|``: 0 where the steel meets the sheet squarely, 90 deg where it runs along it. The direction that makes the
worst lean along a line least is the axis of the narrowest cone that holds all its normals: ``x`` with least ``|x|`` for which ``n_i . x >= 1`` everywhere, found exactly as a
least-distance problem (Lawson, Hanson 1974, ch. 23) by non-negative least squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

Floats = NDArray[np.float64]

DOWN = np.array([0.0, 0.0, -1.0])
"""The press direction: the steel travels down with the ram."""

CLIMB = 10.0
"""A cam that comes from outside may rise by this much [deg] (ours)."""
_MOST = 400  # normals that are looked at; a line has many more points than turns


@dataclass(frozen=True, eq=False)
class Axis:
    """Direction (unit vector) in the middle of a line's normals and the worst lean with it [deg]; None where no direction lies within 90 deg of all of them."""

    direction: Floats
    worst: float


@dataclass(frozen=True, eq=False)
class Piece:
    """A stretch of a closed line that one cam cuts: point numbers ``first`` up to and without ``last`` (running over the line's end), travel and worst lean [deg]."""

    first: int
    last: int
    direction: Floats
    worst: float


def lean_deg(normals: Floats, direction: Floats) -> Floats:
    """Angle between travel and sheet's normal ``(k,)`` [deg], 0 to 90."""
    return np.asarray(np.degrees(np.arccos(np.clip(np.abs(normals @ direction), 0.0, 1.0))))


def middle_axis(normals: Floats) -> Axis | None:
    """The direction from which the worst of the ``normals (k, 3)`` leans least."""
    n = normals[:: max(len(normals) // _MOST, 1)]
    matrix = np.vstack([n.T, np.ones(len(n))])
    u, rest = nnls(matrix, np.array([0.0, 0.0, 0.0, 1.0]))
    if rest < 1e-6:
        return None
    r = matrix @ u - np.array([0.0, 0.0, 0.0, 1.0])
    x = -r[:3] / r[3]
    axis = x / np.linalg.norm(x)
    return Axis(axis, float(lean_deg(normals, axis).max())) if (normals @ axis).min() > 0 else None


def travel(axis: Floats, inwards: Floats) -> Floats:
    """The way a steel goes along an axis: downwards; where it lies nearly level, from outside, ``inwards`` (towards the part's middle)."""
    down = -axis if axis[2] > 0 else axis
    if abs(axis[2]) < np.sin(np.radians(CLIMB)):
        return np.asarray(axis if axis @ inwards > 0 else -axis)
    return np.asarray(down)


def cam_deg(direction: Floats) -> float:
    """Angle between travel and press direction [deg]: 0 straight, 90 level."""
    return float(np.degrees(np.arccos(np.clip(direction @ DOWN, -1.0, 1.0))))


def pieces(normals: Floats, most: float, inwards: Floats) -> list[Piece]:
    """The fewest stretches of a closed line, found from eight beginnings, that a direction each cuts within a lean of ``most`` [deg]; empty where even a short stretch is not."""
    k = len(normals)
    step = max(k // 360, 1)
    best: list[Piece] = []
    for begin in range(0, k, max(k // 8, 1)):
        found = _pieces_from(normals, most, inwards, begin, step)
        if found and (not best or len(found) < len(best)):
            best = found
    return best


def _pieces_from(normals: Floats, most: float, inwards: Floats, begin: int, step: int) -> list[Piece]:
    k, at, out = len(normals), begin, []
    while at < begin + k:
        low, high, good = at + 1, begin + k, None
        while low <= high:  # the longest stretch from here: a longer one never leans less
            middle = (low + high) // 2
            axis = middle_axis(normals[np.arange(at, middle) % k])
            if axis is not None and axis.worst <= most:
                good, low = (middle, axis), middle + step
            else:
                high = middle - step
        if good is None:
            return []
        out.append(Piece(at % k, good[0] % k, travel(good[1].direction, inwards), good[1].worst))
        at = good[0]
    return out

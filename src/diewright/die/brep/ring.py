"""The blankholder's surface outside the part and what was led out of it, up to its outer limit, as one panel."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from diewright.die.brep.kernel import curve2, points2
from diewright.die.brep.model import Panel, Trim
from diewright.die.brep.moved import plane
from diewright.die.brep.spline import Axis, axis, fit_curve

Floats = NDArray[np.float64]

_OUTER = 4  # pieces that the outer limit is cut into: one closed edge is a burden for readers


class Ground(Protocol):
    """The blankholder's surface of the sheet's middle."""

    def height(self, xy: Floats) -> Floats:
        """Height [mm] at plan points ``(n, 2)``."""
        ...

    def normal(self, xy: Floats) -> Floats:
        """Unit normals up ``(n, 3)``."""
        ...


class Plane:
    """A level blankholder surface."""

    def __init__(self, level: float) -> None:
        self.level = level

    def height(self, xy: Floats) -> Floats:
        """The level at every point ``(n,)``."""
        return np.full(len(xy), self.level)

    def normal(self, xy: Floats) -> Floats:
        """Straight up ``(n, 3)``."""
        return np.tile([0.0, 0.0, 1.0], (len(xy), 1))


class OverPlan:
    """A blankholder surface as a base, its parameters x and y."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground

    def points(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Points and unit normals up ``(n, 3)``."""
        xy = np.column_stack([u, v])
        return np.column_stack([xy, self.ground.height(xy)]), self.ground.normal(xy)


def ring(inner: list[tuple[Trim, Callable[[Floats], Floats], bool]], outer: Floats, ground: Ground, tolerance: float) -> Panel:
    """The ground between the edges ``inner`` and the closed line ``outer (j, 2)``.

    ``inner`` holds, in order round the part, the edge, its points in space ``t -> (n, 3)`` and whether the neighbour runs it backwards seen from above.
    """
    hole = []
    for trim, points, backwards in inner:
        plan = fit_curve(lambda t, points=points: points(t)[:, :2], axis(trim.first, trim.last, trim.breaks, 8), 0.1 * tolerance)  # type: ignore[misc]
        hole.append(Trim(trim.key, trim.ends, curve2(plan), trim.first, trim.last, not backwards, trim.breaks, False, trim.drawn))
    closed = np.vstack([outer, outer[:1]])
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    spline = CubicSpline(at, closed, bc_type="periodic")
    cuts = np.linspace(0, len(outer), _OUTER + 1).round().astype(int)
    limit = []
    for i, (a, b) in enumerate(pairwise(cuts.tolist())):
        breaks = {float(x): 1 for x in at[a + 1 : b]}
        piece = fit_curve(spline, axis(float(at[a]), float(at[b]), breaks, 1), 1e-6)
        ends = (("limit", i), ("limit", (i + 1) % _OUTER))
        limit.append(Trim(("limit", i), ends, curve2(piece), float(at[a]), float(at[b]), False, breaks))
    low, high = outer.min(axis=0) - 1.0, outer.max(axis=0) + 1.0
    axes = [Axis(np.linspace(low[i], high[i], 9), np.ones(7, dtype=np.int64)) for i in range(2)]
    cad = plane(ground.level) if isinstance(ground, Plane) else None
    return Panel(OverPlan(ground), 0.0, (tuple(limit), _ordered(hole)), axes[0], axes[1], False, "ring", "blankholder ring", cad)


def _ordered(hole: list[Trim]) -> tuple[Trim, ...]:
    """The edges in the order a wire runs them."""
    start = {(t.ends[1] if t.backwards else t.ends[0]): t for t in hole}
    out = [hole[0]]
    while len(out) < len(hole):
        last = out[-1]
        out.append(start[last.ends[0] if last.backwards else last.ends[1]])
    return tuple(out)


def on_middle(panel: Panel, trim: Trim) -> Callable[[Floats], Floats]:
    """Points of an edge of a panel on the middle of the sheet, ``t -> (n, 3)``."""

    def points(t: Floats) -> Floats:
        p, n = panel.base.points(*points2(trim.curve, t).T)
        return p + panel.rise * n

    return points

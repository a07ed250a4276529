"""A closed outline laid onto a triangulated surface along a steel's travel, exactly through the triangles.

Seen along the travel, every step of the outline is cut by the triangles it crosses into pieces that are straight on the surface (clipping of a segment by a triangle, Cyrus, Beck 1978). Where the surface lies over itself the steel
meets the first layer, or the one nearest to a stated height; the others are told.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.trim.lines.mapping import spots

Floats = NDArray[np.float64]

_TINY = 1e-12


@dataclass(frozen=True, eq=False)
class Laid:
    """The closed polyline ``points (k, 3)`` on the surface, what of it ``missed (j, 3)`` the surface (points of the outline that nothing lies under, at the height of the nearest), places ``double (i, 3)`` where the steel meets the
    sheet more than once, and places ``jumps (m, 3)`` where the line leaps from one layer to another through the air."""

    points: Floats
    missed: Floats
    double: Floats
    jumps: Floats


def axes(direction: Floats) -> Floats:
    """The steel's own axes ``(3, 3)`` as rows: u level, v, and the travel d. Straight down u is +x and v is +y, so that an outline in plan keeps its coordinates."""
    d = np.asarray(direction, dtype=np.float64)
    length = float(np.linalg.norm(d))
    if not (np.isfinite(length) and length > 1e-9):
        raise InputError("the direction of a steel needs a length above zero.", where="trim.line.direction")
    d = d / length
    level = np.cross([0.0, 0.0, 1.0], d)
    u = np.array([1.0, 0.0, 0.0]) if np.linalg.norm(level) < 1e-6 else level / np.linalg.norm(level)
    v = np.cross(u, d) if d[2] < 0.0 or abs(d[2]) < 1e-6 else np.cross(d, u)
    return np.stack([u, v, d])


def lay(mesh: TriMesh, outline: Floats, frame: Floats, *, height: float | None = None, apart: float = 0.05) -> Laid:
    """Lay an ``outline (k, 2)`` in the axes u, v of ``frame`` [mm] onto the surface. ``height`` [mm] along the travel: the layer nearest to it is taken, else the first; layers nearer than ``apart`` [mm] are one."""
    q = mesh.points @ frame.T
    corner = q[mesh.triangles]
    plan = corner[:, :, :2]
    doubled = (plan[:, 1, 0] - plan[:, 0, 0]) * (plan[:, 2, 1] - plan[:, 0, 1]) - (plan[:, 1, 1] - plan[:, 0, 1]) * (
        plan[:, 2, 0] - plan[:, 0, 0]
    )
    usable = np.abs(doubled) > _TINY * float(np.abs(doubled).max())
    low, high = plan.min(axis=1), plan.max(axis=1)
    ends = np.roll(outline, -1, axis=0)
    tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    pairs = tree.query(shapely.linestrings(np.stack([outline, ends], axis=1)), predicate="intersects")
    pairs = pairs[:, usable[pairs[1]]]
    step, tri = pairs
    s0, s1 = _clip(outline[step], ends[step], plan[tri], np.sign(doubled[tri]))
    good = s1 - s0 > 1e-9
    step, tri, s0, s1 = step[good], tri[good], s0[good], s1[good]
    line: list[Floats] = []
    missed: list[Floats] = []
    double: list[Floats] = []
    order = np.argsort(step, kind="stable")
    bounds = np.searchsorted(step[order], np.arange(len(outline) + 1))
    level = float(q[:, 2].mean())
    for k in range(len(outline)):
        rows = order[bounds[k] : bounds[k + 1]]
        a, b = outline[k], ends[k]
        cuts = np.unique(np.round(np.concatenate([[0.0, 1.0], s0[rows], s1[rows]]), 12))
        for lo, hi in pairwise(cuts):
            if hi - lo < 1e-8:
                continue
            middle = 0.5 * (lo + hi)
            here = rows[(s0[rows] <= middle) & (s1[rows] >= middle)]
            if not len(here):
                missed.append(np.array([*(a + middle * (b - a)), level]))
                continue
            depth = _height(corner[tri[here]], a + middle * (b - a))
            pick = int(np.argmin(depth if height is None else np.abs(depth - height)))
            level = float(depth[pick])
            if float(np.ptp(depth)) > apart:
                double.append(np.array([*(a + middle * (b - a)), level]))
            for s in (lo, hi):
                at = a + s * (b - a)
                line.append(np.array([*at, *_height(corner[tri[here[pick]]][None], at)]))
    points = np.array(line).reshape(-1, 3)
    if len(points):
        points = points[np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > 1e-7]
    points, gone, twice = (np.array(p).reshape(-1, 3) @ frame for p in (points, missed, double))
    return Laid(points, gone, twice, _jumps(mesh, points, apart))


def _clip(a: Floats, b: Floats, triangle: Floats, turn: Floats) -> tuple[Floats, Floats]:
    """Shares of segments within triangles in plan: from, to."""
    low, high = np.zeros(len(a)), np.ones(len(a))
    for i in range(3):
        p, side = triangle[:, i], triangle[:, (i + 1) % 3] - triangle[:, i]
        at = turn * (side[:, 0] * (a[:, 1] - p[:, 1]) - side[:, 1] * (a[:, 0] - p[:, 0]))
        to = turn * (side[:, 0] * (b[:, 1] - p[:, 1]) - side[:, 1] * (b[:, 0] - p[:, 0]))
        slack = 1e-9 * np.linalg.norm(side, axis=1)
        at, to = at + slack, to + slack
        share = np.divide(at, at - to, out=np.zeros_like(at), where=at != to)
        low = np.where((at < 0) & (to >= 0), np.maximum(low, share), low)
        high = np.where((at >= 0) & (to < 0), np.minimum(high, share), high)
        high = np.where((at < 0) & (to < 0), -1.0, high)
    return low, high


def _height(corner: Floats, at: Floats) -> Floats:
    """Height ``(k,)`` along the travel of triangles ``(k, 3, 3)`` over one place in plan."""
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    w = at - corner[:, 0, :2]
    size = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    beta, gamma = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / size, (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / size
    return np.asarray(corner[:, 0, 2] + beta * u[:, 2] + gamma * v[:, 2])


def _jumps(mesh: TriMesh, points: Floats, apart: float) -> Floats:
    """Middles of steps that leave the surface: down a wall along the travel a step lies on it, through the air it does not."""
    if len(points) < 2:
        return np.zeros((0, 3))
    after = np.roll(points, -1, axis=0)
    long = np.linalg.norm(after - points, axis=1) > apart
    middle = 0.5 * (points + after)[long]
    return middle[spots(mesh, middle).off > apart] if len(middle) else np.zeros((0, 3))

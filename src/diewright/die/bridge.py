"""Notches of the part's edge bridged: a disc is rolled round the outline in plan, and what lies between it and the edge is filled on the course of the part's own surface.

The fill's heights are interpolated from the part's points round the notch by radial cubics with a linear part (they bend least); its outer line is the disc's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.spatial import cKDTree

from diewright.die.edge import Edge, find_edge
from diewright.die.finer import Finer
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

STEEP = 0.5
"""Least upward part of the unit normal round a notch (60 deg): steeper surfaces are not a height over the plan."""
SMALL = 0.2
"""Notches no deeper than this [mm] stay."""
_STEP = 0.05  # mm: differences for the fill's normals
_NEAR = 400  # points of the part that a fill follows at most


@dataclass(frozen=True, eq=False)
class Bridged:
    """The mesh with its notches filled, unit normals at its points, its new edge, and the middles of the notches ``(c, 3)`` [mm]."""

    fine: Finer
    normals: Floats
    edge: Edge
    at: Floats


def bridged(fine: Finer, normals: Floats, edge: Edge, radius: float) -> Bridged:
    """Fill every notch that a disc of ``radius`` [mm] does not roll into. Raises :class:`SolveError` where the part stands too steeply round a notch, or the edge crosses itself in plan."""
    outline = shapely.Polygon(edge.points[:, :2])
    if not outline.is_valid:
        raise SolveError(
            f"the part's edge crosses itself in plan ({shapely.is_valid_reason(outline)} mm), so its notches cannot be bridged.", where="faces",
            help="Smooth the part's edge in CAD, or round that corner.",
        )  # fmt: skip
    rolled = outline.buffer(radius, quad_segs=24).buffer(-radius, quad_segs=24)
    middles, swap = [], []
    points, cells, parent, up, own = list(fine.mesh.points), [fine.mesh.triangles], [fine.parent], [normals], [fine.normals]
    count = len(points)
    for first, last, line in _notches(outline, rolled, edge.points[:, :2]):
        run = ((first + np.arange((last - first) % len(edge.points) + 1)) % len(edge.points)).astype(np.int32)
        if (edge.normal[run, 2] < STEEP).any():
            spot = edge.points[run[len(run) // 2]]
            raise SolveError(
                f"the part stands too steeply at ({spot[0]:.0f}, {spot[1]:.0f}, {spot[2]:.0f}) mm for the notch of its edge there to be bridged.",
                where="faces", help="Close that notch in CAD.",
            )  # fmt: skip
        plan, triangles = _laid(edge.points[run, :2], line)
        new = plan[len(run) :]
        height, normal = _carried(fine.mesh, normals, edge.points[run], new)
        number = np.concatenate([edge.numbers[run], count + np.arange(len(new))]).astype(np.int32)
        points += list(np.column_stack([new, height]))
        cells.append(number[triangles])
        parent.append(np.full(len(triangles), fine.parent[_owner(fine.mesh, int(edge.numbers[run[1]]))], dtype=fine.parent.dtype))
        up.append(normal)
        own.append(normal)
        swap.append((run, number[len(run) : len(run) + len(line)]))
        middles.append(np.append(new.mean(axis=0), height.mean()))
        count += len(new)
    if not middles:
        return Bridged(fine, normals, edge, np.zeros((0, 3)))
    mesh = TriMesh(np.array(points), np.concatenate(cells).astype(np.int32))
    finer = Finer(mesh, np.concatenate(own), np.concatenate(parent), fine.sagitta)
    whole = np.concatenate(up)
    return Bridged(finer, whole, find_edge(mesh, _loop(edge.numbers, swap), whole), np.array(middles))


def _notches(outline: shapely.Polygon, rolled: shapely.Polygon, line: Floats) -> Iterator[tuple[int, int, Floats]]:
    """For each notch the edge points it begins and ends at, and the disc's line between them without those ``(c, 2)``."""
    inside = shapely.distance(rolled.exterior, shapely.points(line)) > 1e-3
    left = rolled.difference(outline)
    for piece in getattr(left, "geoms", [left]):
        if not isinstance(piece, shapely.Polygon) or piece.is_empty:
            continue
        on = inside & (shapely.distance(piece.exterior, shapely.points(line)) < 1e-6)
        if not on.any() or float(shapely.distance(rolled.exterior, shapely.points(line[on])).max()) < SMALL:
            continue
        starts = np.flatnonzero(on & ~np.roll(on, 1))
        if len(starts) != 1:
            continue
        first = int(starts[0]) - 1
        last = (int(starts[0]) + int(on.sum())) % len(line)
        arc = shapely.get_coordinates(piece.exterior)[:-1]
        free = shapely.distance(outline.exterior, shapely.points(arc)) > 1e-3
        begin = int(np.flatnonzero(free & ~np.roll(free, 1))[0])
        arc = np.roll(arc, -begin, axis=0)[: int(free.sum())]
        if np.hypot(*(arc[0] - line[first])) > np.hypot(*(arc[-1] - line[first])):
            arc = arc[::-1]
        whole = shapely.LineString(np.vstack([line[first], arc, line[last]]))
        step = max(float(np.median(np.hypot(*np.diff(line, axis=0).T))), 0.5)
        parts = max(round(whole.length / step), 2)
        yield (
            first % len(line),
            last,
            shapely.get_coordinates(shapely.line_interpolate_point(whole, np.arange(1, parts) / parts, normalized=True)),
        )


def _laid(run: Floats, line: Floats) -> tuple[Floats, Ints]:
    """Points of the run, the line and a grid between them ``(n, 2)``, and triangles, counter-clockwise."""
    ring = np.vstack([run, line[::-1]])
    area = shapely.Polygon(ring)
    if not area.is_valid:
        raise SolveError(
            f"the notch at ({run[:, 0].mean():.0f}, {run[:, 1].mean():.0f}) mm of the part's edge cannot be laid out.",
            where="faces",
            help="Close that notch in CAD.",
        )
    cells = np.array([shapely.get_coordinates(g)[:3] for g in shapely.constrained_delaunay_triangles(area).geoms])
    number = cKDTree(ring).query(cells.reshape(-1, 2))[1].reshape(-1, 3)
    place = np.concatenate([np.arange(len(run)), len(run) + len(line) - 1 - np.arange(len(line))])
    points, triangles = np.vstack([run, line]), place[number].astype(np.int32)
    a, b, c = (points[triangles[:, i]] for i in range(3))
    turned = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]) < 0
    triangles[turned] = triangles[turned][:, ::-1]
    return points, triangles


def _carried(mesh: TriMesh, normals: Floats, run: Floats, new: Floats) -> tuple[Floats, Floats]:
    """Heights [mm] and unit normals at plan points ``new (c, 2)``, carried on from the part round the ``run``."""
    flat = np.flatnonzero(normals[:, 2] > STEEP)
    reach = 0.5 * float(np.ptp(run[:, :2], axis=0).max()) + 5.0
    away = cKDTree(run[:, :2]).query(mesh.points[flat][:, :2])[0]
    near = flat[away < reach]
    near = near[np.argsort(cKDTree(run[:, :2]).query(mesh.points[near][:, :2])[0], kind="stable")[:_NEAR]]
    spline = RBFInterpolator(mesh.points[near, :2], mesh.points[near, 2], kernel="cubic", degree=1)
    x, y = np.array([_STEP, 0.0]), np.array([0.0, _STEP])
    slope = np.column_stack([spline(new + x) - spline(new - x), spline(new + y) - spline(new - y)]) / (2 * _STEP)
    normal = np.column_stack([-slope, np.ones(len(new))])
    return spline(new), normal / np.linalg.norm(normal, axis=1, keepdims=True)


def _owner(mesh: TriMesh, point: int) -> int:
    return int(np.flatnonzero((mesh.triangles == point).any(axis=1))[0])


def _loop(numbers: Ints, swap: list[tuple[Ints, Ints]]) -> Ints:
    """The edge's point numbers with the inner points of each run replaced by those of the line over it."""
    out: dict[int, list[int]] = {}
    gone = np.zeros(len(numbers), dtype=bool)
    for run, line in swap:
        gone[run[1:-1]] = True
        out[int(run[0])] = [int(n) for n in line]
    loop: list[int] = []
    for i, number in enumerate(numbers):
        if not gone[i]:
            loop.append(int(number))
            loop += out.get(i, [])
    return np.array(loop, dtype=np.int32)

"""Triangles over a flat ring between a closed line and an outer line, with points spread inside it."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from diewright.errors import SolveError

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


def even_line(line: Floats, step: float) -> Floats:
    """A closed line ``(k, 2)`` with points about ``step`` apart [mm]."""
    closed = np.vstack([line, line[:1]])
    walk = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0.0, walk[-1], max(round(walk[-1] / step), 8) + 1)[:-1]
    return np.stack([np.interp(at, walk, closed[:, i]) for i in range(2)], axis=1)


def flat_ring(inner: Floats, outer: Floats, spacing: float) -> tuple[Floats, Ints]:
    """Points ``(n, 2)`` and counter-clockwise triangles between two closed lines; the points of ``inner``, then ``outer``, come first and stay.

    Inside the ring points lie on a triangular grid of ``spacing`` [mm], further apart than that from the lines where their edges are longer.
    Raises :class:`SolveError` where the lines cross.
    """
    area = shapely.Polygon(outer, [inner])
    if not area.is_valid or area.is_empty:
        raise SolveError(
            f"The blankholder's ring cannot be laid out ({shapely.is_valid_reason(area)}).", where="faces",
            help="Smooth the part's edge in CAD, or state a smaller die radius.",
        )  # fmt: skip
    lines = np.vstack([inner, outer])
    points = np.vstack([lines, _inside(area, (inner, outer), spacing)])
    cells = Delaunay(points).simplices.astype(np.int32)
    a, b, c = (points[cells[:, i]] for i in range(3))
    twice = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    cells[twice < 0] = cells[twice < 0][:, ::-1]
    middle = (a + b + c) / 3.0
    shapely.prepare(area)
    keep = shapely.contains_xy(area, middle[:, 0], middle[:, 1]) & (np.abs(twice) > 1e-9 * spacing**2)
    cells = cells[keep]
    if not _keeps(cells, len(inner), len(outer)) or abs(0.5 * np.abs(twice[keep]).sum() / area.area - 1.0) > 1e-6:
        return lines, _strict(area, lines)
    return points, cells


def _inside(area: shapely.Polygon, lines: tuple[Floats, ...], spacing: float) -> Floats:
    x0, y0, x1, y1 = area.bounds
    rows = np.arange(y0, y1 + spacing, spacing * np.sqrt(0.75))
    grid = np.concatenate([
        np.column_stack([np.arange(x0 + 0.5 * spacing * (i % 2), x1 + spacing, spacing), np.full(len(np.arange(x0 + 0.5 * spacing * (i % 2), x1 + spacing, spacing)), y)])
        for i, y in enumerate(rows)
    ])  # fmt: skip
    shapely.prepare(area)
    grid = grid[shapely.contains_xy(area, grid[:, 0], grid[:, 1])]
    for line in lines:
        nxt = np.roll(line, -1, axis=0)
        half = 0.5 * np.hypot(*(nxt - line).T)
        if len(grid) == 0:
            break
        # outside the circle over each edge, so that the edge is one of the triangulation; not just over the nearest, since a long edge may lie beside short ones
        reach = np.maximum(1.2 * half, 0.6 * np.minimum(spacing, 2.0 * half))
        near = cKDTree(grid).query_ball_point(0.5 * (line + nxt), reach)
        grid = np.delete(grid, np.unique(np.concatenate([np.asarray(n, dtype=int) for n in near])), axis=0)
    return grid


def _keeps(cells: Ints, inner: int, outer: int) -> bool:
    """True if every edge of both lines is an edge of the triangles."""
    edge = np.sort(np.concatenate([cells[:, [0, 1]], cells[:, [1, 2]], cells[:, [2, 0]]]), axis=1)
    have = set(map(tuple, edge.tolist()))
    wanted = [tuple(sorted((i, (i + 1) % inner))) for i in range(inner)]
    wanted += [tuple(sorted((inner + i, inner + (i + 1) % outer))) for i in range(outer)]
    return all(w in have for w in wanted)


def _strict(area: shapely.Polygon, lines: Floats) -> Ints:
    """The constrained triangulation over the lines' own points, where their edges are too uneven for points inside."""
    cells = np.array([shapely.get_coordinates(g)[:3] for g in shapely.constrained_delaunay_triangles(area).geoms])
    away, number = cKDTree(lines).query(cells.reshape(-1, 2))
    if away.max() > 1e-9:
        raise SolveError("The blankholder's ring cannot be laid out.", where="faces", help="Smooth the part's edge in CAD.")
    out = number.reshape(-1, 3).astype(np.int32)
    a, b, c = (lines[out[:, i]] for i in range(3))
    twice = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    out[twice < 0] = out[twice < 0][:, ::-1]
    return out

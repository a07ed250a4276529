"""A flat region as a person or a stage states it, checked, cut to a quarter, and resampled: what the mesher is asked to fill."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.resample import Track, resample, track
from diewright.geometry.size_grid import SizeField, SizeGrid, size_grid

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NEAR = 0.5  # of the local size: a line nearer to an edge than this is dropped there
_HOLE_NODES = 8
_SHORT = 0.9  # of the wanted size: shorter boundary edges grade their surroundings


@dataclass
class Sampled:
    """Nodes ``points (n, 2)``, boundary ``loops (k, 3)`` rows of loop number and two nodes, ``embedded (e, 2)`` edges inside; for each line
    its ``line_edges``; ``ring`` nodes of each loop; ``notes`` sentences; the graded size ``grid``."""

    points: Floats
    loops: Ints
    rings: list[Ints]
    line_edges: list[Ints]
    grid: SizeGrid
    notes: list[str] = field(default_factory=list)

    @property
    def embedded(self) -> Ints:
        """All edges of lines ``(e, 2)``."""
        return np.concatenate([np.zeros((0, 2), dtype=np.int64), *self.line_edges])

    def polygon(self) -> shapely.Polygon:
        """The resampled region."""
        return shapely.Polygon(self.points[self.rings[0]], [self.points[ring] for ring in self.rings[1:]])


def polyline(points: object, what: str, least: int) -> Floats:
    """Points ``(k, 2)`` as stated, or :class:`InputError` for anything that is not that."""
    try:
        array = np.asarray(points, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(f"The {what} is not a list of points.", where=what) from None
    if array.ndim != 2 or array.shape[1] != 2 or not np.isfinite(array).all():
        raise InputError(f"The {what} must be points (k, 2) of finite numbers, and has the shape {array.shape}.", where=what)
    if len(np.unique(array, axis=0)) < least:
        raise InputError(f"The {what} needs {least} different points at least.", where=what)
    return array


def _ring(points: object, what: str) -> shapely.Polygon:
    polygon = shapely.Polygon(polyline(points, what, 3))
    if not polygon.is_valid or polygon.area <= 0:
        why = shapely.is_valid_reason(polygon)
        raise InputError(f"The {what} crosses or touches itself ({why}).", where=what, help="Mend the curve.")
    return polygon


def region(outline: object, holes: Sequence[object]) -> shapely.Polygon:
    """The polygon of an outline with holes. Raises :class:`InputError` for curves that cross, or a hole that is not inside."""
    outer = _ring(outline, "outline")
    inner = [_ring(hole, f"hole {i}") for i, hole in enumerate(holes)]
    for i, hole in enumerate(inner):
        if not outer.contains_properly(hole):
            raise InputError(f"Hole {i} is not inside the outline.", where=f"hole {i}", help="Leave it out or mend the outline.")
        for j in range(i):
            if hole.intersects(inner[j]):
                raise InputError(f"Hole {i} touches hole {j}.", where=f"hole {i}", help="Join them into one.")
    return shapely.Polygon(outer.exterior, [hole.exterior for hole in inner]).normalize()


def inside_lines(whole: shapely.Polygon, lines: Sequence[object], near: float) -> list[shapely.LineString]:
    """The lines as curves; one that leaves the region by more than ``near`` [mm], crosses itself or another is refused."""
    found: list[shapely.LineString] = []
    around = whole.buffer(near)
    for i, points in enumerate(lines):
        line = shapely.LineString(polyline(points, f"line {i}", 2))
        if not line.is_simple:
            raise InputError(f"Line {i} crosses itself.", where=f"line {i}", help="Mend the line.")
        if not around.covers(line) or not whole.intersects(line):
            out = line.difference(whole).representative_point()
            raise InputError(
                f"Line {i} leaves the region near x {out.x:.2f}, y {out.y:.2f} mm.",
                where=f"line {i}",
                help="Keep the line inside the outline.",
            )
        for j, other in enumerate(found):
            if line.intersects(other):
                raise InputError(f"Line {i} touches line {j}.", where=f"line {i}", help="Join the lines or move them apart.")
        found.append(line)
    return found


def quarter_of(whole: shapely.Polygon, lines: list[shapely.LineString]) -> tuple[shapely.Polygon, list[list[shapely.LineString]]]:
    """The part with x >= 0 and y >= 0, and the pieces of each line in it; points on the axes lie on them exactly."""
    reach = 2.0 * float(np.abs(whole.bounds).max()) + 1.0
    box = shapely.box(0.0, 0.0, reach, reach)
    tiny = 1e-9 * reach

    def exact(p: Floats) -> Floats:
        return np.where(np.abs(p) < tiny, 0.0, p)

    part = shapely.transform(whole.intersection(box), exact)
    if isinstance(part, shapely.GeometryCollection):
        pieces = [g for g in part.geoms if isinstance(g, shapely.Polygon) and g.area > tiny * reach]
        part = pieces[0] if len(pieces) == 1 else shapely.MultiPolygon(pieces)
    if not isinstance(part, shapely.Polygon) or part.is_empty or not part.is_valid:
        count = 0 if part.is_empty else len(shapely.get_parts(part))
        raise InputError(
            f"The quarter x >= 0, y >= 0 of the region is in {count} pieces.",
            where="quarter",
            help="Place the region on the axes, or mesh all of it.",
        )
    cut = []
    for line in lines:
        inside = shapely.line_merge(shapely.transform(line.intersection(box), exact))
        cut.append([g for g in shapely.get_parts(inside) if isinstance(g, shapely.LineString) and g.length > tiny])
    return part, cut


def _on_axis_ends(ring: Floats) -> NDArray[np.bool_]:
    """Vertices where a ring comes to an axis or leaves it: the corners of a quarter."""
    kept = np.zeros(len(ring), dtype=bool)
    for i in (0, 1):
        on = ring[:, i] == 0.0
        kept |= on & ~(np.roll(on, 1) & np.roll(on, -1))
    return kept


def _with_vertex(ring: Floats, kept: NDArray[np.bool_], at: Floats, snap: float) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """The ring with a kept vertex where ``at`` meets it; a kept vertex nearer than ``snap`` is used instead."""
    near = np.linalg.norm(ring - at, axis=1)
    if (near[kept] < snap).any():
        return ring, kept, ring[np.flatnonzero(kept)[np.argmin(near[kept])]]
    a, b = ring, np.roll(ring, -1, axis=0)
    d = b - a
    u = np.clip(((at - a) * d).sum(axis=1) / np.maximum((d**2).sum(axis=1), 1e-300), 0.0, 1.0)
    foot = a + u[:, None] * d
    i = int(np.argmin(np.linalg.norm(foot - at, axis=1)))
    for j in (i, (i + 1) % len(ring)):
        if np.abs(ring[j] - foot[i]).max() < 1e-9 * np.ptp(ring):
            kept = kept.copy()
            kept[j] = True
            return ring, kept, ring[j]
    return np.insert(ring, i + 1, foot[i], axis=0), np.insert(kept, i + 1, True), foot[i]


def sample(
    outline: object, holes: Sequence[object], lines: Sequence[object], size: float | SizeField, *, slope: float, quarter: bool
) -> Sampled:
    """Check everything a caller states and resample it to the graded size."""
    whole = region(outline, holes)
    bounds = np.array(whole.bounds).reshape(2, 2)
    if quarter:
        bounds = np.maximum(bounds, 0.0)
        if (np.ptp(bounds, axis=0) <= 0).any():
            raise InputError("Nothing of the region lies at x > 0, y > 0.", where="quarter", help="Place the region on the axes.")
    grid = size_grid(size, *bounds, slope=slope)
    curves = inside_lines(whole, lines, _NEAR * float(grid.values.min()))
    pieces = [[line] for line in curves]
    if quarter:
        whole, pieces = quarter_of(whole, curves)
    whole = shapely.orient_polygons(whole)
    rings = [np.array(r.coords)[:-1] for r in (whole.exterior, *whole.interiors)]
    kept = [_on_axis_ends(r) if quarter else np.zeros(len(r), dtype=bool) for r in rings]
    tracks: list[list[Track]] = []
    for line_pieces in pieces:
        tracks.append([_attached(np.array(piece.coords), rings, kept, grid) for piece in line_pieces])
    boundary = [track(r, True, k) for r, k in zip(rings, kept, strict=True)]
    for _ in range(3):  # edges that had to be shorter than wanted go into the field, and all is sampled again with it
        nodes = [resample(b, grid, least=_HOLE_NODES) for b in boundary]
        inner = [[resample(t, grid, smooth=True, least=_HOLE_NODES) for t in ts] for ts in tracks]
        middles, lengths = _edges_of(nodes, inner, tracks)
        short = lengths < _SHORT * grid.at(middles)
        if not short.any():
            break
        grid.lower(middles[short], lengths[short])
    sampled = _joined(nodes, grid)
    _check_resampled(sampled, whole)
    _add_lines(sampled, inner, tracks)
    return sampled


def _attached(points: Floats, rings: list[Floats], kept: list[NDArray[np.bool_]], grid: SizeGrid) -> Track:
    """A line's track; open ends that lie on the boundary become nodes of it (``rings`` and ``kept`` are added to)."""
    if np.array_equal(points[0], points[-1]):
        return track(points[:-1], True)
    for end in (0, -1):
        h = float(grid.at(points[[end]])[0])
        for i, ring in enumerate(rings):
            closed = shapely.LinearRing(ring)
            if closed.distance(shapely.Point(points[end])) < 1e-3 * h:
                rings[i], kept[i], points[end] = _with_vertex(ring, kept[i], points[end], 0.3 * h)
                break
    return track(points, False)


def _edges_of(nodes: list[Floats], inner: list[list[Floats]], tracks: list[list[Track]]) -> tuple[Floats, Floats]:
    pairs = [(n, np.roll(n, -1, axis=0)) for n in nodes]
    for xs, ts in zip(inner, tracks, strict=True):
        pairs += [(x, np.roll(x, -1, axis=0)) if t.closed else (x[:-1], x[1:]) for x, t in zip(xs, ts, strict=True)]
    a, b = (np.concatenate([p[i] for p in pairs]) for i in (0, 1))
    return 0.5 * (a + b), np.linalg.norm(b - a, axis=1)


def _joined(nodes: list[Floats], grid: SizeGrid) -> Sampled:
    start = np.cumsum([0, *(len(n) for n in nodes)])
    rings = [np.arange(a, b) for a, b in pairwise(start)]
    loops = np.concatenate([np.column_stack([np.full(len(r), i), r, np.roll(r, -1)]) for i, r in enumerate(rings)])
    return Sampled(np.concatenate(nodes), loops, rings, [], grid)


def _check_resampled(sampled: Sampled, whole: shapely.Polygon) -> None:
    polygon = sampled.polygon()
    if not polygon.is_valid:
        raise InputError(
            f"The wanted edges are too long for the detail of the outline ({shapely.is_valid_reason(polygon)}).",
            where="size",
            help="State a smaller size.",
        )
    if abs(polygon.area - whole.area) > 0.05 * whole.area:
        raise InputError(
            f"With the wanted edges the region changes its area from {whole.area:.4g} to {polygon.area:.4g} mm2.", where="size",
            help="State a smaller size.",
        )  # fmt: skip


def _add_lines(sampled: Sampled, inner: list[list[Floats]], tracks: list[list[Track]]) -> None:
    """Number the nodes of the lines, leaving out what comes closer than half an edge to the boundary or to an earlier line."""
    number = {tuple(p): i for i, p in enumerate(sampled.points)}
    polygon = sampled.polygon()
    shapely.prepare(polygon)
    obstacles: list[shapely.Geometry] = [polygon.boundary]
    for i, (xs, ts) in enumerate(zip(inner, tracks, strict=True)):
        edges: list[Ints] = []
        total = dropped = 0.0
        mine = []
        for x, t in zip(xs, ts, strict=True):
            a = np.arange(len(x)) if t.closed else np.arange(len(x) - 1)
            b = (a + 1) % len(x)
            attached = np.array([tuple(p) in number for p in x])
            h = sampled.grid.at(x)
            against = shapely.union_all(obstacles) if len(obstacles) > 1 else obstacles[0]
            shapely.prepare(against)
            good = attached | ((shapely.distance(shapely.points(x), against) > _NEAR * h) & shapely.contains_xy(polygon, x[:, 0], x[:, 1]))
            segments = shapely.linestrings(np.stack([x[a], x[b]], axis=1))
            clear = shapely.distance(segments, against) > 0.35 * h[a]
            keep = good[a] & good[b] & (clear | ((attached[a] ^ attached[b]) & ~shapely.crosses(segments, polygon.boundary)))
            length = np.linalg.norm(x[b] - x[a], axis=1)
            total, dropped = total + float(length.sum()), dropped + float(length[~keep].sum())
            used = np.zeros(len(x), dtype=bool)
            used[a[keep]] = used[b[keep]] = True
            where = np.full(len(x), -1, dtype=np.int64)
            where[attached] = [number[tuple(p)] for p in x[attached]]
            new = used & ~attached
            where[new] = len(sampled.points) + np.arange(new.sum())
            sampled.points = np.concatenate([sampled.points, x[new]])
            edges.append(np.column_stack([where[a[keep]], where[b[keep]]]))
            mine += list(segments[keep])
        obstacles += mine
        sampled.line_edges.append(np.concatenate([np.zeros((0, 2), dtype=np.int64), *edges]))
        if dropped > 0:
            sampled.notes.append(
                f"Line {i}: {dropped:.2f} of {total:.2f} mm run nearer than half an edge to the outline, a hole or another line and are not followed there."
            )

"""The rings of scrap: what lies between a trim line and the edge of the sheet that is left before it.

A ring is cut into pieces in a plane in which it does not lie over itself: across the steel's travel where one direction trims the whole line, on the flat blank where cams trim it bit by bit
(a ring on an upright wall has no width seen from above). Trims are taken from the largest to the smallest, each out of what the one before has left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.stage import Result
from diewright.trim.loads.line import Cut, read_cuts
from diewright.trim.scrap.along import anticlockwise

Floats = NDArray[np.float64]
Polygon = Any

NOISE = 0.2
"""A ring narrower than this is none: trim line and edge are one line, but for the mesh [mm] (ours)."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """The scrap of the drawn sheet: triangles ``corners (m, 3, 3)`` [mm], unit ``normals (m, 3)``, ``thickness (m,)``."""

    corners: Floats
    normals: Floats
    thickness: Floats

    @cached_property
    def middles(self) -> KDTree:
        """The middles of the triangles, to be searched."""
        return KDTree(self.corners.mean(axis=1))

    def nearest(self, points: Floats) -> NDArray[np.intp]:
        """The triangle whose middle is nearest to each of ``points (n, 3)``; none in an empty sheet."""
        return np.asarray(self.middles.query(points)[1], dtype=np.intp)


@dataclass(frozen=True, eq=False)
class Line:
    """A trim line as the ring is cut along it: ``view (k, 2)`` anticlockwise, ``space (k, 3)``, ``travel (k, 3)`` of the steel at its points, ``flat``: the view is the flat blank."""

    cut: Cut
    view: Floats
    space: Floats
    travel: Floats
    flat: bool

    @property
    def straight(self) -> bool:
        """Seen from above, the steels coming straight down."""
        return not self.flat and bool(self.cut.direction[2] < -1.0 + 1e-9)


@dataclass(frozen=True, eq=False)
class Ring:
    """One connected stretch of scrap: its ``region`` in the line's view [mm], whether it runs all round, and the ``outer`` edge that bounded it, ``(j, 2)`` and ``(j, 3)``."""

    line: Line
    region: Polygon
    closed: bool
    outer: Floats
    outer_space: Floats
    sheet: Sheet

    @cached_property
    def seen(self) -> tuple[Any, shapely.STRtree]:
        """The scrap's triangles as the steel sees them, and the same to be searched."""
        shapes = shapely.polygons(self.sheet.corners @ np.column_stack(self.line.cut.frame))
        return shapes, shapely.STRtree(shapes)

    def lift(self, points: Floats) -> Floats:
        """Places on the drawn sheet ``(n, 3)`` of places in the view ``(n, 2)``.

        Across the travel: on the plane of the triangle nearest in that view. On the flat: between the nearest places of trim line and edge by the two distances, then on the nearest triangle.
        """
        p = np.asarray(points, dtype=np.float64)
        if self.line.flat:
            near, far = (_carried(a, b, p) for a, b in ((self.line.view, self.line.space), (self.outer, self.outer_space)))
            share = near[1] / np.maximum(near[1] + far[1], 1e-12)
            space = near[0] + share[:, None] * (far[0] - near[0])
            if not len(self.sheet.corners):
                return space
            t = self.sheet.nearest(space)
            n = self.sheet.normals[t]
            off = ((space - self.sheet.corners[t, 0]) * n).sum(axis=1)
            inner = (share > 1e-6) & (share < 1.0 - 1e-6)
            return np.where(inner[:, None], space - off[:, None] * n, space)
        e1, e2 = self.line.cut.frame
        d = self.line.cut.direction
        base = p[:, :1] * e1 + p[:, 1:] * e2
        if not len(self.sheet.corners):
            return base + _carried(self.line.view, self.line.space @ d[:, None], p)[0] * d
        t = self.seen[1].nearest(shapely.points(p))
        n = self.sheet.normals[t]
        steep = n @ d
        high = ((self.sheet.corners[t, 0] - base) * n).sum(axis=1) / np.where(np.abs(steep) > 1e-3, steep, 1e-3)
        return base + high[:, None] * d

    def lean(self, space: Floats, travel: Floats) -> Floats:
        """Angle between the ``travel (3,)`` and the sheet's normal at places ``(n, 3)`` [deg]."""
        if not len(self.sheet.corners):
            return np.zeros(len(space))
        return np.degrees(np.arccos(np.clip(np.abs(self.sheet.normals[self.sheet.nearest(space)] @ travel), 0.0, 1.0)))


@dataclass(frozen=True, eq=False)
class Lines:
    """What was found: rings, trim lines, ``bare``: cut -> length of the line [mm] that the sheet does not reach and a place (3,), ``unknown``: cut -> why its ring is not known."""

    rings: list[Ring]
    lines: list[Line]
    bare: dict[str, tuple[float, Floats]]
    unknown: dict[str, str]


def scrap_sheet(trim: Result) -> Sheet:
    """The scrap cells of ``meshes["drawn"]``."""
    drawn = trim.meshes.get("drawn")
    if drawn is None:
        return Sheet(np.zeros((0, 3, 3)), np.zeros((0, 3)), np.zeros(0))
    mesh: TriMesh = drawn.mesh
    mine = (np.asarray(drawn.cell["scrap"]) == 1) & (mesh.areas > 1e-9)
    return Sheet(mesh.points[mesh.triangles[mine]], mesh.normals[mine], np.asarray(drawn.cell["thickness"], dtype=np.float64)[mine])


def whole_cuts(trim: Result, nominal: float) -> tuple[list[Cut], Mapping[str, list[dict[str, Any]]]]:
    """The cut lines unbroken, and the stretches of cams of those that have some."""
    entries = trim.values.get("cuts") or []
    bare = [{k: v for k, v in e.items() if k != "cams"} for e in entries]
    return read_cuts(replace(trim, values={"cuts": bare}), nominal), {str(e["id"]): e["cams"] for e in entries if e.get("cams")}


def rings_of(trim: Result, cuts: list[Cut], cams: Mapping[str, list[dict[str, Any]]]) -> Lines:
    """Every ring of scrap; raises :class:`InputError` for an edge of the blank that is no line."""
    try:
        outer, outer_flat = (np.asarray(trim.arrays[k], dtype=np.float64) for k in ("rim", "rim_flat"))
    except KeyError as missing:
        raise InputError(f"the stage 'trim' gives no {missing}.", where="trim", help="Work the stage 'trim' again.") from None
    if (
        len(outer) < 3
        or outer.shape[1] != 3
        or len(outer_flat) != len(outer)
        or not (np.isfinite(outer).all() and np.isfinite(outer_flat).all())
    ):
        raise InputError(
            "the edge of the drawn blank is no closed line of finite points.", where="trim.rim", help="Work the stage 'trim' again."
        )
    sheet, found = scrap_sheet(trim), Lines([], [], {}, {})
    limits = [(outer, outer_flat)]
    trims = [c for c in cuts if c.kind == "trim"]
    for cut in sorted(trims, key=lambda c: (-_size(c), c.id)):
        flat = np.asarray(trim.arrays.get(f"flat_{cut.id}", np.full((len(cut.points), 2), np.nan)), dtype=np.float64)
        on_flat = cut.id in cams
        if on_flat and not np.isfinite(flat).all():
            found.unknown[cut.id] = (
                "cams cut it bit by bit, and part of it does not lie on the part, so its place on the blank is not known"
            )
            continue
        line = _line(cut, flat, cams.get(cut.id))
        found.lines.append(line)
        frame = np.column_stack(cut.frame)
        views = [f if on_flat else p @ frame for p, f in limits]
        if not all(np.isfinite(v).all() for v in views):
            found.unknown[cut.id] = "the trim outside it has no place on the blank"
            continue
        region, short = _between([_polygon(v) for v in views], _polygon(line.view), line)
        if short is not None:
            found.bare[cut.id] = short
        for piece in region:
            # a ring that surrounds the line hangs round the post
            closed = any(shapely.Polygon(h).area > 0.5 * shapely.Polygon(line.view).area for h in piece.interiors)
            found.rings.append(Ring(line, piece, closed, views[-1], limits[-1][0], sheet))
        limits.append((cut.points, flat))
    return found


def _size(cut: Cut) -> float:
    """Area that the line encloses in space [mm2]."""
    p = cut.points - cut.points.mean(axis=0)
    return float(0.5 * np.linalg.norm(np.cross(p, np.roll(p, -1, axis=0)).sum(axis=0)))


def _line(cut: Cut, flat: Floats, cams: list[dict[str, Any]] | None) -> Line:
    travel = np.tile(cut.direction, (len(cut.points), 1))
    for cam in cams or []:
        first, last, k = int(cam["from"]), int(cam["to"]), len(cut.points)
        travel[np.arange(first, last if last > first else last + k) % k] = np.asarray(cam["direction"], dtype=np.float64)
    view = flat if cams else cut.across
    if not anticlockwise(view):
        return Line(cut, view[::-1].copy(), cut.points[::-1].copy(), travel[::-1].copy(), bool(cams))
    return Line(cut, view, cut.points, travel, bool(cams))


def _polygon(line: Floats) -> Polygon:
    shape = shapely.Polygon(line)
    return shape if shape.is_valid else shapely.make_valid(shape, method="structure")


def _between(outers: list[Polygon], inner: Polygon, line: Line) -> tuple[list[Polygon], tuple[float, Floats] | None]:
    """The parts of the ring, and how much of the trim line lies off the sheet."""
    sheet = outers[0]
    for o in outers[1:]:
        sheet = sheet.intersection(o)
    region = sheet.difference(inner)
    off = shapely.LinearRing(line.view).difference(sheet.buffer(NOISE))
    short = None
    if off.length > NOISE:
        at = np.asarray(shapely.get_coordinates(off))[0]
        short = (float(off.length), line.space[int(np.argmin(np.linalg.norm(line.view - at, axis=1)))])
    parts = [g for g in getattr(region, "geoms", [region]) if g.geom_type == "Polygon" and not g.is_empty]
    out = []
    for part in parts:
        # where the ring is as good as none it is parted already: what is left are the stretches wider than the noise
        core = part.buffer(-0.5 * NOISE)
        kept = [g for g in getattr(core, "geoms", [core]) if not g.is_empty]
        if len(kept) == 1 and len(kept[0].interiors) == len(part.interiors):
            out.append(part)
            continue
        for g in kept:
            grown = g.buffer(0.51 * NOISE, join_style="mitre").intersection(part)
            out.append(max(getattr(grown, "geoms", [grown]), key=lambda s: float(s.area)))
    return out, short


def _carried(view: Floats, values: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Values ``(k, c)`` at the corners of a closed line ``view (k, 2)``, read at the places of it nearest to ``points (n, 2)``; and the distances."""
    closed, rows = shapely.LinearRing(view), np.vstack([values, values[:1]])
    steps = np.linalg.norm(np.diff(np.vstack([view, view[:1]]), axis=0), axis=1)
    way = np.append(0.0, np.cumsum(steps))
    spots = shapely.points(points)
    at = shapely.line_locate_point(closed, spots)
    return np.column_stack([np.interp(at, way, rows[:, i]) for i in range(rows.shape[1])]), np.asarray(shapely.distance(closed, spots))

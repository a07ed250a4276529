"""The pieces of scrap as bodies: outline on the drawn sheet, area, mass, size, and how each comes off its post and down its chute."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.trim.loads.line import Cut
from diewright.trim.scrap.choppers import Chopped, Chopper, between, fins, longest
from diewright.trim.scrap.fall import Chute, Free, chute, free_directions, run_of, way_out
from diewright.trim.scrap.rings import Ring

Floats = NDArray[np.float64]
Polygon = Any

_STEP = 2.0  # mm: points of an outline on the sheet are no farther apart


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of the ring. ``outline (k, 3)`` on the drawn sheet, ``plan`` its shadow from above, ``area`` [mm2], ``mass`` [kg], ``length`` and ``width`` of the smallest rectangle round it, ``across`` its largest measure, ``high`` its height in the press [mm].

    ``free`` off the post alone, ``between`` off post and lower steels of the choppers; ``way`` [rad] chosen, ``chute`` that it needs; both None where nothing is free.
    """

    cut: str
    outline: Floats
    plan: Polygon
    area: float
    mass: float
    length: float
    width: float
    across: float
    high: float
    free: Free
    between: Free
    way: float | None
    chute: Chute | None


@dataclass(frozen=True, eq=False)
class Slug:
    """What a punch cuts out: ``outline (k, 3)``, area [mm2], mass [kg], sides and largest measure [mm] of what falls through the die; ``slope`` of its way from level [deg], negative upwards."""

    cut: str
    outline: Floats
    area: float
    mass: float
    length: float
    width: float
    across: float
    slope: float


def _dense(shape: Polygon) -> Floats:
    return np.asarray(shapely.get_coordinates(shapely.segmentize(shape.exterior, _STEP)))[:-1]


def _across(points: Floats) -> float:
    """Largest distance of two of the points (n, c) [mm]; of many only every so-many-th is looked at."""
    p = points - points.mean(axis=0)
    if len(p) > 400:
        p = p[:: len(p) // 400 + 1]
    return float(np.sqrt(((p[:, None] - p[None]) ** 2).sum(axis=2).max()))


def area_and_volume(ring: Ring, piece: Polygon, thickness: float) -> tuple[float, float]:
    """Area [mm2] and volume [mm3] of a piece.

    On the flat blank: its area there and the sheet's thickness, as no volume is lost in drawing. Else the triangles under it, each part by its slope and its own
    thickness; what no triangle covers counts flat.
    """
    if ring.line.flat:
        return float(piece.area), float(piece.area) * thickness
    shapes, tree = ring.seen
    under = tree.query(piece, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[under], piece))
    slope = np.maximum(np.abs(ring.sheet.normals[under] @ ring.line.cut.direction), 1e-3)
    rest = max(float(piece.area - shared.sum()), 0.0)
    return float((shared / slope).sum()) + rest, float((shared / slope * ring.sheet.thickness[under]).sum()) + rest * thickness


def post_in_plan(ring: Ring, thickness: float) -> Polygon:
    """The post seen from above: the trim line itself where the steel comes straight down; else drawn back by the thickness, as the sheet stands outside it."""
    plan = shapely.Polygon(ring.line.space[:, :2])
    plan = plan if plan.is_valid else shapely.make_valid(plan, method="structure")
    return plan if ring.line.straight else plan.buffer(-thickness)


def pieces_of(
    chopped: Chopped, thickness: float, density: float, shoe: tuple[float, float, float, float], drop: float, least_deg: float
) -> list[Piece]:
    """Every piece of a ring."""
    ring = chopped.ring
    post = post_in_plan(ring, thickness)
    middle = np.asarray(post.centroid.coords)[0] if not post.is_empty else ring.line.space[:, :2].mean(axis=0)
    out = []
    for shape in chopped.pieces:
        outline = ring.lift(_dense(shape))
        plan = shape if ring.line.straight else _footprint(outline, thickness)
        area, volume = area_and_volume(ring, shape, thickness)
        length, width = longest(shape)
        high = float(np.ptp(outline[:, 2])) + thickness
        free = free_directions(plan, post)
        bounding = fins(shape, chopped.choppers)
        held = free_directions(plan, between(post, bounding)) if ring.line.straight else free
        at = np.asarray(plan.centroid.coords)[0]
        shadow = np.asarray(shapely.get_coordinates(plan))
        way = way_out(held if held.spans else free, at - middle, partial(run_of, shadow, shoe=shoe))
        slide = None if way is None else chute(run_of(shadow, way, shoe), high, drop, least_deg)
        out.append(
            Piece(
                ring.line.cut.id,
                outline,
                plan,
                area,
                volume * density * 1e-9,
                length,
                width,
                _across(outline),
                high,
                free,
                held,
                way,
                slide,
            )
        )
    return out


def _footprint(outline: Floats, thickness: float) -> Polygon:
    """What a piece on a slope covers from above, with half a thickness round it."""
    xy = outline[:, :2]
    inner = shapely.make_valid(shapely.Polygon(xy), method="structure")
    return shapely.union_all([inner, shapely.LineString(np.vstack([xy, xy[:1]]))]).buffer(0.5 * thickness)


def slug_of(cut: Cut, opening: Floats, diameter: float | None, density: float) -> Slug:
    """The slug of a pierced hole: it has the size of the die, whose ``diameter`` is known or its ``opening (k, 2)`` across the travel; area and mass on the sheet by the mean of its lean."""
    shape = shapely.Polygon(opening)
    length, width, across = (*longest(shape), _across(opening)) if diameter is None else (diameter,) * 3
    mean = float(np.cos(np.radians(np.minimum(cut.lean, 80.0))).mean())
    hole = float(shapely.Polygon(cut.across).area) / max(mean, 1e-3)
    slope = math.degrees(math.asin(float(np.clip(-cut.direction[2], -1.0, 1.0))))
    return Slug(cut.id, cut.points, hole, hole * float(np.median(cut.thickness)) * density * 1e-9, length, width, across, slope)


def in_space(ring: Ring, chopper: Chopper) -> Floats:
    """Ends of a chopper's cut on the drawn sheet (2, 3): at the trim line and at the edge of the sheet."""
    way = chopper.end - chopper.start
    edge = chopper.start + chopper.width * way / np.linalg.norm(way)
    return ring.lift(np.array([chopper.start, edge]))

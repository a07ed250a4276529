"""Choppers: where the ring of scrap is cut across, so that its pieces are short enough, come off the post and slide out between the lower steels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.ops import polygonize

from diewright.trim.scrap.along import Along, along, spread
from diewright.trim.scrap.fall import TIGHT, free_directions
from diewright.trim.scrap.rings import Ring

Floats = NDArray[np.float64]
Polygon = Any

TURNS = (0.0, 10.0, -10.0, 20.0, -20.0)
"""Angles from the square across the ring that are tried where the pieces would lock between their choppers [deg] (ours)."""
PHASES = 8
MOST = 120
"""No more choppers than this are laid in one ring."""
MORE = 8
"""How many choppers more than the length asks for are tried."""
_PAST = 2.0  # mm: a chopper runs past the edge of the sheet by this


@dataclass(frozen=True)
class ChopLimits:
    """Longest piece wanted and longest chopper [mm], radius [mm] below which the line is a corner, distance kept from corners [mm], largest lean [deg]."""

    piece: float
    steel: float
    radius: float
    keep: float
    lean: float


@dataclass(frozen=True, eq=False)
class Chopper:
    """A cut across the ring from ``start`` on the trim line to ``end`` past the sheet's edge (2,) in the ring's view; ``way`` [mm] along the line, ``turn`` [deg] from the square, ``width`` of the ring and ``lean`` [deg]."""

    way: float
    start: Floats
    end: Floats
    turn: float
    width: float
    lean: float

    @property
    def line(self) -> Any:
        """As a line string."""
        return shapely.LineString([self.start, self.end])


@dataclass(frozen=True, eq=False)
class Chopped:
    """A ring in pieces: ``pieces`` polygons in the ring's view, ``choppers``; ``cornered``: no place off the corners was left; ``refused``: places looked at and why they were not allowed."""

    ring: Ring
    pieces: list[Polygon]
    choppers: list[Chopper]
    cornered: bool
    refused: dict[str, int]


def longest(piece: Polygon) -> tuple[float, float]:
    """Longer and shorter side of the smallest rectangle round a piece [mm]."""
    box = shapely.get_coordinates(piece.minimum_rotated_rectangle)
    if len(box) < 4:
        return float(piece.length) / 2.0, 0.0
    sides = np.linalg.norm(np.diff(box, axis=0), axis=1)[:2]
    return float(sides.max()), float(sides.min())


def cut_at(ring: Ring, places: Along, i: int, turn: float) -> Chopper | None:
    """The cut across the ring at the place ``i``, turned by ``turn`` [deg]; None where no ring lies there, or the cut does not end at the sheet's edge."""
    p, n = places.points[i], places.normal[i]
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    n = np.array([c * n[0] - s * n[1], s * n[0] + c * n[1]])
    reach = float(np.linalg.norm(np.subtract(ring.region.bounds[2:], ring.region.bounds[:2])))
    inside = shapely.LineString([p, p + reach * n]).intersection(ring.region)
    first = [g for g in getattr(inside, "geoms", [inside]) if g.geom_type == "LineString" and g.distance(shapely.Point(p)) < 0.01]
    if not first:
        return None
    width = float(first[0].length)
    q = p + width * n
    if shapely.LinearRing(ring.line.view).distance(shapely.Point(q)) < 0.01:
        return None  # it runs back into the post
    space = ring.lift(np.array([p, 0.5 * (p + q), q]))
    travel = ring.line.travel[int(np.argmin(np.linalg.norm(ring.line.view - p, axis=1)))]
    lean = float(ring.lean(space, travel).max())
    return Chopper(float(places.way[i]), p, q + _PAST * n, turn, width, lean)


def split(region: Polygon, choppers: list[Chopper]) -> list[Polygon]:
    """The pieces of a region between cuts: faces of the arrangement of its boundary and the cuts; their areas add up to the region's."""
    if not choppers:
        return [region]
    ends = [(c.start, c.end - c.start) for c in choppers]
    lines = [shapely.LineString([a - 0.5 * d / np.linalg.norm(d), a + d]) for a, d in ends]
    faces = polygonize(shapely.node(shapely.GeometryCollection([region.boundary, *lines])))
    return [f for f in faces if f.area > 1e-6 and region.contains(f.representative_point())]


def fins(piece: Polygon, choppers: list[Chopper]) -> list[Chopper]:
    """The choppers that bound a piece."""
    return [c for c in choppers if c.line.intersection(piece.buffer(1e-3)).length > 0.1]


def between(post: Polygon, bounding: list[Chopper]) -> Polygon:
    """The post with the lower steels of the choppers as blades on it: what a piece between them must not meet."""
    return shapely.union_all(
        [
            post,
            *(
                shapely.LineString([c.start - 0.2 * (c.end - c.start) / np.linalg.norm(c.end - c.start), c.end]).buffer(
                    0.01, cap_style="flat"
                )
                for c in bounding
            ),
        ]
    )


def chop(ring: Ring, limits: ChopLimits, post: Polygon, check: Callable[[], None], stated: int | None = None) -> Chopped:
    """Choppers for a ring: the fewest of evenly spread ones that leave no piece too long or hooked round the post, each moved to the nearest allowed place.

    Spread from eight beginnings; ``stated`` fixes their number. A ring all round takes two at least. Where even many do not serve the best that was found is given, and the stage says what is wrong with it.
    """
    places = along(ring.line.view)
    touch = shapely.distance(ring.region, shapely.points(places.points)) < 1e-6
    if not touch.any():
        return Chopped(ring, [ring.region], [], False, {})
    begin, length = _stretch(places, touch)
    allowed, cornered, refused = _allowed(ring, places, touch, limits)
    least = max(2 if ring.closed else 0, int(np.ceil(length / limits.piece)) - (0 if ring.closed else 1))
    best: tuple[tuple[int, int, int, float], list[Chopper], list[Polygon]] | None = None
    tried: set[tuple[float, ...]] = set()
    open_ = np.sort((np.array([c.way for c in allowed.values()]) - begin) % places.length)
    least = min(least, MOST)
    for count in [stated] if stated is not None else range(least, min(least + MORE, MOST) + 1):
        for k in range(PHASES if count else 1):
            check()
            phase = k / PHASES if ring.closed else (k / PHASES - 0.5) * 0.5
            at = tuple((np.array(spread(open_, 0.0, length, count, phase, closed=ring.closed)) + begin) % places.length)
            if at in tried:
                continue
            tried.add(at)
            cuts = [allowed[places.index(w)] for w in at]
            pieces = split(ring.region, cuts)
            sizes = [longest(p)[0] for p in pieces]
            ways = [free_directions(p, post).widest_deg for p in pieces]
            score = (sum(w == 0.0 for w in ways), sum(s > limits.piece for s in sizes), sum(w < TIGHT for w in ways), max(sizes))
            if best is None or score < best[0]:
                best = (score, cuts, pieces)
        if best is not None and best[0][:3] == (0, 0, 0):
            break
    assert best is not None  # the least count is always tried
    cuts, pieces = _turned(ring, places, best[1], best[2], limits, post, check)
    return Chopped(ring, pieces, cuts, cornered, refused)


def _stretch(places: Along, touch: NDArray[np.bool_]) -> tuple[float, float]:
    """Beginning and length [mm] of the part of the line that the ring touches: the line without its longest bare gap."""
    if touch.all():
        return 0.0, places.length
    at = places.way[touch]
    gap = np.diff(np.append(at, at[0] + places.length))
    k = int(np.argmax(gap))
    return float(at[(k + 1) % len(at)]), float(places.length - gap[k])


def _allowed(ring: Ring, places: Along, touch: NDArray[np.bool_], limits: ChopLimits) -> tuple[dict[int, Chopper], bool, dict[str, int]]:
    corner = places.corners(limits.radius, limits.keep)
    refused = {"corner": int((corner & touch).sum()), "across": 0, "wide": 0, "steep": 0}
    legal: dict[int, Chopper] = {}
    for i in np.flatnonzero(touch):
        cut = cut_at(ring, places, int(i), 0.0)
        if cut is None:
            refused["across"] += 1
        elif cut.width > limits.steel:
            refused["wide"] += 1
        elif cut.lean > limits.lean:
            refused["steep"] += 1
        else:
            legal[int(i)] = cut
    flat = {i: c for i, c in legal.items() if not corner[i]}
    enough = len(flat) >= 2 or (not ring.closed and len(flat) >= 1)
    return (flat, False, refused) if enough else (legal, bool(legal), refused)


def _turned(
    ring: Ring, places: Along, cuts: list[Chopper], pieces: list[Polygon], limits: ChopLimits, post: Polygon, check: Callable[[], None]
) -> tuple[list[Chopper], list[Polygon]]:
    """Choppers turned, one after the other, where that frees a piece that its two lower steels hold."""

    def held(some: list[Chopper], parts: list[Polygon]) -> int:
        return sum(not free_directions(p, between(post, fins(p, some))).spans for p in parts)

    count = held(cuts, pieces)
    for i in range(len(cuts)):
        if not count:
            break
        for turn in TURNS[1:]:
            check()
            other = cut_at(ring, places, places.index(cuts[i].way), turn)
            if other is None or other.width > limits.steel or other.lean > limits.lean:
                continue
            some = [*cuts[:i], other, *cuts[i + 1 :]]
            parts = split(ring.region, some)
            now = held(some, parts)
            if (
                now < count
                and len(parts) == len(pieces)
                and max(longest(p)[0] for p in parts) <= max(limits.piece, max(longest(p)[0] for p in pieces))
            ):
                cuts, pieces, count = some, parts, now
    return cuts, pieces

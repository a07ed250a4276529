"""Where the blank lies against pins: two on its longest straight side, one on a side about square to it, and a check that they fix it.

A pin that touches the blank at ``p`` with the unit normal ``n`` (into the blank) feels of a small motion ``(u, v, w)`` (shift, and turn about the blank's middle) the part

    n . (u, v) + w (p x n) = [n_x, n_y, (p x n)/L] . (u, v, w L),     L the blank's radius of gyration.

Three pins fix the blank if these rows have rank 3; the condition number says how sharply (1 would be perfect, a round blank has no end: its turn is felt by no pin). Common practice:
two and one, as far apart as they go. Pins feel one way only: the blank must be laid against them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.mechanics.forming.bead_line import runs

Floats = NDArray[np.float64]

STRAIGHT = math.radians(8.0)
"""A side is where the outline stays within this angle of its own mean direction (ours)."""
SQUARE = math.radians(40.0)
"""How far from square to the first side the second may stand (ours)."""
END = 0.15
"""How far from the ends of their side the two pins stand, over its length."""
BIG = 600.0
"""Blanks longer than this [mm] get further, loose pins (common practice; the length is ours)."""
LOOSE = 0.5
"""How far loose pins stand back from the blank [mm] (common practice)."""
DISC = 0.01
"""A blank whose edge stands within this share of the same distance from its middle all round is a disc (ours)."""
SAMPLES = 720
RANK = 1e-3
"""Singular values below this share of the largest count as zero: a motion of the rim that the pins feel by less than a thousandth (ours)."""


@dataclass(frozen=True, eq=False)
class Locators:
    """Pins: centres ``at (k, 2)`` and touched places ``touch (k, 2)`` [mm], unit normals into the blank ``normal (k, 2)``, ``loose (k,)`` for those that stand back. ``rank`` and ``condition`` of the first
    three (infinite where the rank is less than 3). ``round``: the blank is a disc, so that its turn need not be fixed."""

    at: Floats
    touch: Floats
    normal: Floats
    loose: NDArray[np.bool_]
    rank: int
    condition: float
    round: bool


def contact_rows(touch: Floats, normal: Floats, middle: Floats, length: float) -> Floats:
    """Rows ``(k, 3)`` of the locator matrix; ``length`` [mm] makes the turn a shift."""
    arm = touch - middle
    return np.column_stack([normal, (arm[:, 0] * normal[:, 1] - arm[:, 1] * normal[:, 0]) / length])


def fixing(rows: Floats) -> tuple[int, float]:
    """Rank and condition number of a locator matrix."""
    value = np.linalg.svd(rows, compute_uv=False)
    rank = int((value > RANK * value[0]).sum())
    return rank, float(value[0] / value[2]) if rank == 3 else math.inf


def gyration(region: shapely.Polygon) -> float:
    """Radius of gyration of a plan region about its middle [mm]."""
    ring = shapely.get_coordinates(shapely.orient_polygons(region).exterior) - shapely.get_coordinates(region.centroid)[0]
    a, b = ring[:-1], ring[1:]
    cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return math.sqrt(float((cross * ((a * a).sum(axis=1) + (a * b).sum(axis=1) + (b * b).sum(axis=1))).sum() / 12.0) / region.area)


def locate(outline: Floats, diameter: float) -> Locators:
    """Pins of ``diameter`` [mm] round a blank's ``outline (k, 2)`` [mm]. Raises :class:`InputError` for an outline that crosses itself, or on which no pin finds room."""
    region = shapely.Polygon(np.asarray(outline, dtype=np.float64)[:, :2])
    if not region.is_valid or region.area <= 0:
        raise InputError("the blank's outline crosses itself or encloses no area.", where="details", help="Work the stage 'blank' again.")
    ring = shapely.orient_polygons(region).exterior
    length = float(ring.length)
    # begun at the rightmost, then topmost corner, so that the same blank gets the same pins whatever point its outline begins with
    corner = shapely.get_coordinates(ring)[:-1]
    begin = float(shapely.line_locate_point(ring, shapely.Point(corner[np.lexsort((-corner[:, 1].round(6), -corner[:, 0].round(6)))[0]])))
    s = (begin + length * (np.arange(SAMPLES) + 0.5) / SAMPLES) % length
    points = shapely.get_coordinates(shapely.line_interpolate_point(ring, s))
    along = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]
    inward = np.column_stack([-along[:, 1], along[:, 0]])
    free = shapely.distance(shapely.points(points - 0.5 * diameter * inward), region) > 0.5 * diameter - 0.02 * diameter
    sides = _sides(points, along, free)
    if not sides:
        raise InputError(
            f"pins of {diameter:g} mm find no side of the blank to touch.",
            where="details.locator_diameter",
            help="State a smaller diameter.",
        )
    long = sides[0]
    square = (
        [side for side in sides[1:] if abs(_turn(long.heading, side.heading) % math.pi - 0.5 * math.pi) < SQUARE] or sides[1:] or [long]
    )
    span = np.ptp(points, axis=0)
    chosen = [(long.at(END), False), (long.at(1.0 - END), False), (square[0].at(0.5), False)]
    if float(span.max()) > BIG:
        chosen += [(long.at(0.5), True), *[(side.at(0.5), True) for side in sides[1:] if side is not square[0]][:2]]
    index = np.array([i for i, _ in chosen])
    loose = np.array([slack for _, slack in chosen])
    touch, normal = points[index], inward[index]
    at = touch - (0.5 * diameter + LOOSE * loose)[:, None] * normal
    middle = shapely.get_coordinates(region.centroid)[0]
    rank, condition = fixing(contact_rows(touch[:3], normal[:3], middle, gyration(region)))
    far = np.linalg.norm(points - middle, axis=1)
    return Locators(at, touch, normal, loose, rank, condition, bool(np.ptp(far) <= DISC * float(far.mean())))


@dataclass(frozen=True, eq=False)
class _Side:
    """A straight stretch: numbers of its samples in order, its mean direction [rad] and its length in samples' chord [mm]."""

    index: NDArray[np.intp]
    heading: float
    length: float

    def at(self, share: float) -> int:
        return int(self.index[min(int(share * len(self.index)), len(self.index) - 1)])


def _turn(a: float, b: float) -> float:
    return (b - a + math.pi) % (2.0 * math.pi) - math.pi


def _sides(points: Floats, along: Floats, free: NDArray[np.bool_]) -> list[_Side]:
    """Straight stretches, the longest first; none shares a sample with another. Stretches whose lengths differ by less than 0.1 % stand in the order of the outline."""
    count = len(points)
    angle = np.unwrap(np.arctan2(along[:, 1], along[:, 0]))
    angle = np.concatenate([angle, angle + 2.0 * math.pi * round((angle[-1] - angle[0]) / (2.0 * math.pi))])
    left = free.copy()
    out: list[_Side] = []
    while left.any() and len(out) < 12:
        best: tuple[float, int, int] = (0.0, 0, 0)
        for begin, end in runs(left):
            stop = begin
            for start in range(begin, end):
                stop = max(stop, start)
                while stop < end and np.ptp(angle[start : stop + 1]) <= 2.0 * STRAIGHT:
                    stop += 1
                size = float(np.linalg.norm(points[(stop - 1) % count] - points[start % count])) if stop > start else 0.0
                if size > 1.001 * best[0]:
                    best = (size, start, stop)
        size, start, stop = best
        if stop - start < 3:
            break
        index = np.arange(start, stop) % count
        out.append(_Side(index, float(np.mean(angle[start:stop])), size))
        left[index] = False
    return out

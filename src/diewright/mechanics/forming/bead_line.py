"""The draw bead as the toolmaker cuts it and as the tryout feels it: its line round the punch opening, the section of its groove, and where on the line it is left out.

The line is the opening line moved out by the offset and closed by a disc, ``(A + B(d + c)) - B(c)``: convex corners turn on the offset at least, inner corners on ``c``.
The groove follows from the same geometry as the restraint (``mechanics.forming.beads``): a bead of half width ``R + b/2`` that stands ``h`` below the face of the blankholder needs, beside it,
the gap ``g`` (1.1 t, t for a locking bead), shoulders of radius ``R``, and below it the sheet: the nose lies ``h - t`` below the face of the die, the sheet's lower skin ``h``.

In the convex corners of the opening the sheet is pressed together and thickens as it comes in: a bead there holds back what hardly comes anyway, and tears. Leaving it out there is common
practice; the radius below which it is left out is ours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.mechanics.forming.beads import CLEARANCE

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Kind = Literal["none", "round", "square", "locking"]

NO_SIZE = 5.0
"""Half the width left for a bead of which only the restraint is stated, in thicknesses."""
FLOOR, FLOOR_LEAST = 0.5, 0.5
"""Room below the sheet on the groove's floor: thicknesses, and mm at least (common practice: the sheet is not struck there)."""
CORNER = 10.0
"""The bead is left out where its line turns more tightly than this many nose radii (ours)."""
SHORT = 4.0
"""A piece of bead shorter than this many groove widths is left out too (ours)."""
INNER = 2.0
"""Inner corners of the line turn on this many half widths of the groove at least (ours)."""


@dataclass(frozen=True)
class Groove:
    """Section of bead and groove [mm]: widths of the bead's body and of the groove between its walls, ``mouth`` over its shoulder radii; ``height`` of the bead, ``depth`` of the groove."""

    kind: Kind
    radius: float
    flat: float
    height: float
    gap: float
    width: float
    groove_width: float
    mouth: float
    depth: float
    floor: float


@dataclass(frozen=True, eq=False)
class BeadLine:
    """The line ``points (k, 2)``, closed (first point not repeated), counter-clockwise, with for each point its place ``s (k,)`` along it [mm], the radius on which the line turns there
    (positive where the opening is convex, infinite on straight stretches), and whether the bead is cut there (``on``). ``bounds (m, 2)``: begin and end of its pieces [mm] with ``cut (m,)``;
    a piece may run over the beginning of the line, its end is then past the length."""

    points: Floats
    s: Floats
    radius: Floats
    on: Mask
    length: float
    least: float
    bounds: Floats
    cut: Mask

    def cut_lines(self) -> list[tuple[Floats, bool]]:
        """The pieces that are cut as polylines ``(j, 2)``, with whether they close."""
        count = len(self.s)
        return [(self.points[np.arange(b, e if e - b == count else e + 1) % count], e - b == count) for b, e in runs(self.on)]

    @property
    def cut_length(self) -> float:
        """Length that is cut [mm]."""
        return float(self.on.mean()) * self.length


def groove(kind: Kind, radius: float, height: float, flat: float, thickness: float) -> Groove:
    """Section of a bead ``kind`` (not "none") of nose or corner ``radius``, ``height`` and ``flat`` between its corners (0 for a round one) [mm]. Raises :class:`InputError` for sizes that make no bead."""
    if height <= 0:
        raise InputError(f"a bead {height:g} mm high is none.", where="tryout.bead_height", help="State its height, or the kind none.")
    flat = 0.0 if kind == "round" else flat
    gap = thickness if kind == "locking" else CLEARANCE * thickness
    floor = max(FLOOR * thickness, FLOOR_LEAST)
    width = 2.0 * radius + flat
    return Groove(kind, radius, flat, height, gap, width, width + 2.0 * gap, width + 2.0 * gap + 2.0 * radius, height + floor, floor)


def auto_offset(kind: Kind, radius: float, thickness: float, die_radius: float) -> float:
    """From the opening line to the middle of the bead [mm] where none is stated: the groove of a bead without flat begins a thickness outside the die radius."""
    half = NO_SIZE * thickness if kind == "none" else 2.0 * radius + (thickness if kind == "locking" else CLEARANCE * thickness)
    return die_radius + half + thickness


def closed_region(opening: Floats) -> shapely.Polygon:
    """What the opening line ``(k, 2)`` encloses. Raises :class:`InputError` for one that crosses itself."""
    ring = shapely.Polygon(np.asarray(opening, dtype=np.float64)[:, :2])
    if not ring.is_valid or ring.area <= 0:
        raise InputError("the punch opening line crosses itself or encloses no area.", where="draw bead", help="Check the faces.")
    return ring


def bead_line(opening: Floats, offset: float, half: float, least: float) -> BeadLine:
    """The line ``offset`` [mm] outside the ``opening (k, 2)`` for a groove of half width ``half`` [mm] that is left out where its line turns on less than ``least`` [mm]. Raises :class:`InputError` as :func:`closed_region`."""
    inner = INNER * half
    region = closed_region(opening).buffer(offset + inner, quad_segs=48).buffer(-inner, quad_segs=48)
    ring = shapely.orient_polygons(region).exterior
    length = float(ring.length)
    count = int(np.clip(round(length), 240, 4000))
    s = length * np.arange(count) / count
    points = shapely.get_coordinates(shapely.line_interpolate_point(ring, s))
    radius = turning_radius(points, length, half)
    on, bounds, cut = _pieces(radius, s, length, least, 2.0 * half)
    return BeadLine(points, s, radius, on, length, least, bounds, cut)


def turning_radius(points: Floats, length: float, over: float) -> Floats:
    """Radius ``(k,)`` on which an even closed line ``(k, 2)`` turns, over a stretch of ``over`` [mm] either way: stretch over turn; positive to the left, infinite where it hardly turns."""
    count = len(points)
    reach = int(np.clip(round(over * count / length), 1, count // 8))
    ahead, behind = np.roll(points, -reach, axis=0) - points, points - np.roll(points, reach, axis=0)
    turn = np.arctan2(behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0], (behind * ahead).sum(axis=1))
    stretch = reach * length / count
    return np.where(np.abs(turn) > 1e-6, stretch / np.where(np.abs(turn) > 1e-6, turn, 1.0), math.inf)


def _pieces(radius: Floats, s: Floats, length: float, least: float, width: float) -> tuple[Mask, Floats, Mask]:
    """What is cut, and the pieces; a bead runs out over one ``width`` before a tight corner, and what is left shorter than SHORT widths goes too."""
    count = len(radius)
    tight = (radius > 0) & (radius < least)
    reach = round(width * count / length)
    if tight.any() and reach:
        near = np.convolve(np.concatenate([tight[-reach:], tight, tight[:reach]]).astype(float), np.ones(2 * reach + 1), mode="valid")
        tight = near > 0.5
    on = ~tight
    for begin, end in runs(on):
        if end - begin < count and (end - begin) * length / count < SHORT * width:
            on[np.arange(begin, end) % count] = False
    spans = sorted([(b, e, True) for b, e in runs(on)] + [(b, e, False) for b, e in runs(~on)])
    bounds = np.array([(b, e) for b, e, _ in spans], dtype=np.float64) * length / count
    return on, bounds, np.array([c for _, _, c in spans], dtype=bool)


def runs(mask: Mask) -> list[tuple[int, int]]:
    """Begin and end (one past, may exceed the length) of the stretches of a closed ``mask (k,)`` that are true."""
    count = len(mask)
    if mask.all():
        return [(0, count)]
    starts = np.flatnonzero(mask & ~np.roll(mask, 1))
    stops = np.flatnonzero(mask & ~np.roll(mask, -1)) + 1
    out = []
    for begin in starts:
        after = stops[stops > begin]
        out.append((int(begin), int(after[0]) if len(after) else int(stops[0]) + count))
    return out


@dataclass(frozen=True, eq=False)
class Laid:
    """Where a bead runs: its section (None where only a restraint is stated), ``offset`` from the opening line to its middle, ``half`` the width it takes [mm], and its line with the pieces."""

    groove: Groove | None
    offset: float
    half: float
    line: BeadLine


def lay(
    opening: Floats, kind: Kind, radius: float, height: float, flat: float, offset: float | Literal["auto"], least: float | Literal["auto"], thickness: float, die_radius: float
) -> Laid:  # fmt: skip
    """The bead of a job [mm]. ``least``: it is left out where its line turns round a corner more tightly; auto takes ten nose radii, and nothing where only a restraint is stated (kind "none").

    Raises :class:`InputError` for sizes that make no bead, or an opening that crosses itself.
    """
    at = auto_offset(kind, radius, thickness, die_radius) if isinstance(offset, str) else offset
    cut = None if kind == "none" else groove(kind, radius, height, flat, thickness)
    half = NO_SIZE * thickness if cut is None else 0.5 * cut.mouth
    ten = 0.0 if cut is None else CORNER * radius
    return Laid(cut, at, half, bead_line(opening, at, half, ten if isinstance(least, str) else least))

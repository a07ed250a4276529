"""``cutting.dxf`` and ``steels.csv``: every outline that is cut or ground, closed, in mm, on layers named in plain words.

What straight steels cut lies in plan in the model space, press coordinates. What a cam cuts lies across its travel in a block of its own beside it. Outlines are fitted with lines and arcs within 0.02 mm
and written as closed polylines with bulges, whole circles as circles.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.drawing import drawing
from diewright.geometry.nofit import signed_area
from diewright.geometry.outline import fit_outline
from diewright.geometry.pieces import Arc, Line

Floats = NDArray[np.float64]
FIT = 0.02
"""How far a drawn outline may lie off the computed one [mm]."""
COLOURS = {
    "blank": 2, "drawn edge": 8, "trim line": 7, "post": 5, "trim steel": 1, "hole": 7, "punch": 5, "die opening": 1, "die button": 3, "steel upper": 30, "steel lower": 150,
    "joint": 6, "chopper": 4, "scrap piece": 9, "spring": 3, "text": 7,
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Shape:
    """A closed outline: ``points (k, 2)`` and the ``bulge (k,)`` of the way to the next (tangent of a quarter of the arc's angle); or a circle of ``radius`` [mm] about its one point."""

    layer: str
    points: Floats
    bulge: Floats
    radius: float | None = None

    def crossing(self) -> Floats | None:
        """A place where it crosses itself (2,), or None."""
        if self.radius is not None:
            return None if self.radius > 0 else self.points[0]
        ring = shapely.Polygon(polyline(self.points, self.bulge))
        if ring.is_valid and ring.area > 0:
            return None
        why = shapely.is_valid_reason(ring)
        place = why[why.find("[") + 1 : why.find("]")].split() if "[" in why else []
        return np.array([float(place[0]), float(place[1])]) if len(place) >= 2 else self.points[0]


@dataclass(eq=False)
class Sheet:
    """What is drawn in one plane: closed ``shapes``, open ``lines`` (layer, ends), ``notes`` (text, place, height)."""

    shapes: list[Shape] = field(default_factory=list)
    lines: list[tuple[str, Floats]] = field(default_factory=list)
    notes: list[tuple[str, Floats, float]] = field(default_factory=list)

    def outline(self, layer: str, points: Floats, *, fitted: bool = True) -> None:
        """A closed outline, with lines and arcs where they fit."""
        self.shapes.append(fitted_shape(layer, points) if fitted else Shape(layer, np.asarray(points), np.zeros(len(points))))

    def pair(self, inner: str, outer: str, points: Floats, clearance: float) -> None:
        """An outline on the layer ``inner`` and the same led out by the clearance [mm] on ``outer``: fitted once, so that the clearance stays what it is."""
        first = fitted_shape(inner, points)
        self.shapes += [first, led_out(first, clearance, outer)]

    def circle(self, layer: str, centre: Floats, diameter: float) -> None:
        """A circle."""
        self.shapes.append(Shape(layer, np.asarray(centre, dtype=np.float64)[None, :2], np.zeros(1), 0.5 * diameter))

    def bounds(self) -> tuple[float, float, float, float]:
        """Box round all shapes and lines [mm]; all zero if there are none."""
        boxes = [(*(s.points.min(axis=0) - (s.radius or 0)), *(s.points.max(axis=0) + (s.radius or 0))) for s in self.shapes]
        boxes += [(*p.min(axis=0), *p.max(axis=0)) for _, p in self.lines]
        if not boxes:
            return 0.0, 0.0, 0.0, 0.0
        b = np.array(boxes)
        return float(b[:, 0].min()), float(b[:, 1].min()), float(b[:, 2].max()), float(b[:, 3].max())


def fitted_shape(layer: str, points: Floats) -> Shape:
    """An outline ``(k, 2)`` as a polyline with arcs within 0.02 mm; the points themselves where no such outline can be laid."""
    rows = np.ascontiguousarray(points if signed_area(points) >= 0 else points[::-1], dtype=np.float64)
    return Shape(layer, *_fitted(rows.tobytes()))


@lru_cache(maxsize=64)  # post and trim line are one line
def _fitted(content: bytes) -> tuple[Floats, Floats, float | None]:
    points = np.frombuffer(content).reshape(-1, 2)
    try:
        outline = fit_outline(points, FIT).outline
    except (InputError, SolveError):
        return points, np.zeros(len(points)), None
    full = outline.circle
    if full is not None:
        return np.asarray(full[0])[None], np.zeros(1), float(full[1])
    at: list[Floats] = []
    bulge: list[float] = []
    for piece in outline.pieces:
        if isinstance(piece, Line):
            at.append(piece.start)
            bulge.append(0.0)
        elif isinstance(piece, Arc):
            steps = max(int(np.ceil(abs(piece.sweep) / (0.75 * np.pi))), 1)  # a polyline's arc is less than a whole turn
            for k in range(steps):
                angle = piece.begin + piece.sweep * k / steps
                at.append(piece.centre + piece.radius * np.array([np.cos(angle), np.sin(angle)]))
                bulge.append(float(np.tan(piece.sweep / steps / 4.0)))
        else:
            row = piece.points(0.25 * FIT)[:-1]
            at += list(row)
            bulge += [0.0] * len(row)
    return np.array(at), np.array(bulge), None


def led_out(shape: Shape, by: float, layer: str) -> Shape:
    """The shape led out by ``by`` [mm] all round: lines moved, arcs concentric, an arc round each outer corner.

    Where an inner corner meets an arc, or an arc would turn inside out, it is led out as a fine polygon. Either way the distance of every point from the shape is ``by`` within 0.003 mm, or the polygon is taken.
    """
    if shape.radius is not None:
        return Shape(layer, shape.points, shape.bulge, shape.radius + by)
    ring = shapely.LinearRing(polyline(shape.points, shape.bulge, 0.0005))
    moved = _moved(shape, by, layer)
    if moved is not None and moved.crossing() is None:
        away = shapely.distance(ring, shapely.points(polyline(moved.points, moved.bulge)))
        if np.abs(away - by).max() <= 0.003:
            return moved
    body = shapely.Polygon(ring)
    grown = (body if body.is_valid else shapely.make_valid(body, method="structure")).buffer(by, quad_segs=16)
    points = np.asarray(max(getattr(grown, "geoms", [grown]), key=lambda g: float(g.area)).exterior.coords)[:-1]
    return Shape(layer, points, np.zeros(len(points)))


def _moved(shape: Shape, by: float, layer: str) -> Shape | None:
    p, b = shape.points, shape.bulge
    chord = np.roll(p, -1, axis=0) - p
    heading, half = np.arctan2(chord[:, 1], chord[:, 0]), 2.0 * np.arctan(b)
    radius = 0.5 * np.hypot(chord[:, 0], chord[:, 1]) * (1.0 + b * b) / np.maximum(2.0 * np.abs(b), 1e-300)
    if ((b < 0) & (radius <= by)).any():
        return None
    start, end = heading - half, np.roll(heading + half, 1)
    turn = np.remainder(start - end + np.pi, 2.0 * np.pi) - np.pi
    straight = (b == 0.0) & (np.roll(b, 1) == 0.0)
    points: list[Floats] = []
    bulge: list[float] = []
    for i, at in enumerate(p):
        if turn[i] > 0.02:  # an outer corner is led round
            for angle, bow in ((end[i], float(np.tan(turn[i] / 4.0))), (start[i], float(b[i]))):
                points.append(at + by * np.array([np.sin(angle), -np.cos(angle)]))
                bulge.append(bow)
            continue
        if turn[i] < -0.02 and not straight[i]:
            return None
        middle = end[i] + 0.5 * turn[i]
        points.append(at + by / np.cos(0.5 * turn[i]) * np.array([np.sin(middle), -np.cos(middle)]))
        bulge.append(float(b[i]))
    return Shape(layer, np.array(points), np.array(bulge))


def polyline(points: Floats, bulge: Floats, chord: float = 0.002) -> Floats:
    """A closed polyline with bulges as points, arcs within ``chord`` [mm]."""
    out = []
    for p, q, b in zip(points, np.roll(points, -1, axis=0), bulge, strict=True):
        out.append(p[None])
        half = 0.5 * float(np.hypot(*(q - p)))
        if b == 0.0 or half == 0.0:
            continue
        radius = half * (1.0 + b * b) / (2.0 * abs(b))
        count = max(int(np.ceil(4.0 * abs(np.arctan(b)) / (2.0 * np.arccos(max(1.0 - chord / radius, -1.0))))), 1)
        u = (q - p) / (2.0 * half)
        n = np.array([-u[1], u[0]])
        centre = 0.5 * (p + q) + n * half * (1.0 - b * b) / (2.0 * b)
        a0 = np.arctan2(*(p - centre)[::-1])
        angle = a0 + 4.0 * np.arctan(b) * np.arange(1, count) / count
        out.append(centre + radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    return np.concatenate(out)


def crossings(sheets: Iterable[Sheet]) -> dict[str, Floats]:
    """Layer -> place of the first of its outlines that crosses itself."""
    out: dict[str, Floats] = {}
    for sheet in sheets:
        for shape in sheet.shapes:
            at = shape.crossing()
            if at is not None:
                out.setdefault(shape.layer, at)
    return out


def cutting_drawing(plan: Sheet, cams: dict[str, Sheet]) -> bytes:
    """The drawing: ``plan`` in the model space, each of ``cams`` in a block of its name beside it. Raises :class:`SolveError` if the drawing's own audit finds a fault."""
    with drawing() as made:
        for name, colour in COLOURS.items():
            made.doc.layers.add(name, color=colour)
        _draw(made.space, plan)
        right, low = plan.bounds()[2] + 50.0, plan.bounds()[1]
        for name, sheet in cams.items():
            block = made.doc.blocks.new(name=name)
            _draw(block, sheet)
            x0, y0, x1, _ = sheet.bounds()
            made.space.add_blockref(name, (right - x0, low - y0))
            made.space.add_text(f"{name}, across the travel of its steel", height=5.0, dxfattribs={"layer": "text"}).set_placement(
                (right, low - 12.0)
            )
            right += x1 - x0 + 50.0
    return made.content


def _draw(space, sheet: Sheet) -> None:  # type: ignore[no-untyped-def]
    for s in sheet.shapes:
        if s.radius is not None:
            space.add_circle(tuple(s.points[0]), s.radius, dxfattribs={"layer": s.layer})
        else:
            rows = [(float(x), float(y), float(b)) for (x, y), b in zip(s.points, s.bulge, strict=True)]
            space.add_lwpolyline(rows, format="xyb", close=True, dxfattribs={"layer": s.layer})
    for layer, p in sheet.lines:
        space.add_lwpolyline([(float(x), float(y)) for x, y in p], dxfattribs={"layer": layer})
    for text, at, height in sheet.notes:
        space.add_text(text, height=height, dxfattribs={"layer": "text"}).set_placement((float(at[0]), float(at[1])))


def steels_csv(rows: list[dict[str, str | float | int]]) -> bytes:
    """The list of steels as CSV, one row a segment."""
    text = io.StringIO()
    if rows:
        writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return text.getvalue().encode("utf-8")

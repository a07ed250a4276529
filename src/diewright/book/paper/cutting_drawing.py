"""Drawings of the page Cutting: scrap or steels from above, true to scale, and the cut edge under the glass."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from diewright.book.paper.colours import GREY, HAIR
from diewright.book.paper.digits import quantity
from diewright.book.paper.drawing import CHECK_HEIGHT, Drawing, check_bar, fitting
from diewright.book.paper.svg import Svg, stroke_hatch
from diewright.book.paper.svgplot import SMALL
from diewright.geometry.mesh import Floats

ROOM, SIDE = 11.0, 12.0  # above and below what is drawn, and beside it [mm]
TONES = ("#dfe5ea", "#ece4d2", "#e0e9e1", "#eadcd8", "#e3e0ec", "#dde8e7")


@dataclass(frozen=True)
class Area:
    """A closed area in plan ``(k, 2)`` [mm] with its ``number`` and, if it moves, the unit vector of its ``way``; ``hatched``: it has no way out."""

    outline: Floats
    number: int
    way: Floats | None = None
    hatched: bool = False


def plan(
    lines: Sequence[Floats], areas: Sequence[Area], strokes: Sequence[Floats], width: float, tallest: float, *, bar: bool = True
) -> Drawing:
    """Closed ``lines`` and numbered ``areas`` from above, ``strokes`` (choppers or joints, ``(2, 2)``) in wide line, to a scale of ISO 5455; ``bar`` adds the check bar."""
    every = np.concatenate([*(np.asarray(line)[:, :2] for line in lines), *(a.outline for a in areas), *strokes])
    low, high = every.min(axis=0), every.max(axis=0)
    span = high - low
    scale = fitting((float(span[0]), float(span[1])), (width - 2 * SIDE, tallest - 2 * ROOM - CHECK_HEIGHT))
    size = span * scale
    svg = Svg(width, float(size[1]) + 2 * ROOM + (CHECK_HEIGHT - 4.0 if bar else -5.0))
    x0, y1 = (width - float(size[0])) / 2, ROOM + float(size[1])

    def paper(points: Floats) -> Floats:
        p = (np.asarray(points, dtype=float)[:, :2] - low) * scale
        return np.column_stack([x0 + p[:, 0], y1 - p[:, 1]])

    middle = paper(((low + high) / 2)[None, :])[0]
    for k, a in enumerate(areas):
        ring = paper(a.outline)
        svg.path(ring, width=0.18, fill=TONES[k % len(TONES)], closed=True, name=f"area-{a.number}")
        if a.hatched:
            stroke_hatch(svg, ring, gap=1.2)
    for line in lines:
        svg.path(paper(line), width=0.45, closed=True)
    for stroke in strokes:
        svg.path(paper(stroke), width=0.8)
    for a in areas:
        _number(svg, paper(a.outline), a, middle)
    if bar:
        check_bar(svg, 0.2, y1 + ROOM - 3.0)
    return Drawing(svg, scale)


def _number(svg: Svg, ring: Floats, a: Area, middle: Floats) -> None:
    """The number beside its area, with the arrow of the way; in a wide area it stands inside."""
    from shapely import Polygon

    body = Polygon(ring).buffer(0)
    spot = np.asarray(body.representative_point().coords[0])
    if a.way is not None:  # a long piece bears its number half-way
        centre = np.asarray(body.centroid.coords[0])
        spot = ring[int(np.argmin(np.linalg.norm(ring - centre, axis=1)))]
    away = a.way * [1.0, -1.0] if a.way is not None else (spot - middle) / max(float(np.linalg.norm(spot - middle)), 1e-9)
    if a.way is not None:
        tip = spot + 9.0 * away
        svg.arrow(float(spot[0]), float(spot[1]), float(tip[0]), float(tip[1]), width=0.3, head=2.4)
    at = spot - 5.0 * away if a.way is not None else spot
    svg.circle(float(at[0]), float(at[1]), 2.1, fill="#ffffff", width=0.18)
    svg.text(float(at[0]), float(at[1]) + 0.9, str(a.number), anchor="middle", size=SMALL)


def edge(cut: dict[str, Any], width: float, tall: float = 34.0) -> Svg:
    """The cut edge through the thickness: roll-over, burnish, fracture and burr by their middle shares, the clearance as the fracture's slope; one scale."""
    t = float(cut["thickness"])
    per = tall / t
    shares = [float(np.mean(cut[k])) for k in ("rollover_pct", "burnish_pct", "fracture_pct")]
    total = sum(shares) or 1.0
    roll, burnish = tall * shares[0] / total, tall * (shares[0] + shares[1]) / total
    burr = float(cut["burr_mm"]) * per
    below = cut["burr_side"] != "upper"
    svg = Svg(width, tall + burr + 19.0)
    top = 6.0 if below else 6.0 + burr

    def y(v: float) -> float:
        return top + (v if below else tall - v)

    sign = 1.0 if below else -1.0
    left, right = 14.0, 46.0
    foot = right + min(float(cut["clearance_mm"]) * per, 9.0)
    turn = [(right - 1.6 * roll * (1 - math.sin(a)), y(roll * (1 - math.cos(a)))) for a in np.linspace(0.0, math.pi / 2, 9)]
    ring = np.array(
        [(left, y(0.0)), *turn, (right, y(burnish)), (foot, y(tall)), (foot - 0.2, y(tall) + sign * burr), (foot - max(0.5 * burr, 0.6), y(tall)), (left, y(tall))]
    )  # fmt: skip
    stroke_hatch(svg, ring, gap=1.6, colour=HAIR)
    svg.path(ring, width=0.35)
    svg.path([(right, y(roll)), (right, y(burnish))], width=1.2)
    svg.path([(right, y(burnish)), (foot, y(tall))], width=1.2, dash="0.4 0.7")
    x = foot + 5.0
    for name, a, b, key in (("roll-over", 0.0, roll, "rollover_pct"), ("burnish", roll, burnish, "burnish_pct"), ("fracture", burnish, tall, "fracture_pct")):  # fmt: skip
        svg.line(x, y(a), x, y(b), width=0.18)
        for v in (a, b):
            svg.line(x - 1.0, y(v), x + 1.0, y(v), width=0.18)
        low, high = cut[key]
        svg.text(x + 2.2, (y(a) + y(b)) / 2 + 0.9, f"{name}, {low:.0f} to {high:.0f} %")
    end = y(tall) + sign * burr
    svg.text(x + 2.2, end + sign * 3.0 + (0.9 if below else 0.0), f"burr up to {quantity(float(cut['burr_mm']), 'mm', 2)}", weight=600)
    svg.line(foot, end, x + 1.4, end + sign * 3.0, width=0.15)
    faces = (("upper", "lower") if below else ("lower", "upper"))  # fmt: skip
    svg.text(left, y(0.0) - sign * 1.6 + (0.0 if below else 1.8), f"{faces[0]} face, where the steel enters", italic=True, size=SMALL)
    svg.text(
        left,
        y(tall) + sign * 3.4 + (0.6 if below else 0.0),
        f"{faces[1]} face{', which is seen' if cut.get('burr_seen') else ''}",
        italic=True,
        size=SMALL,
    )
    svg.line(left - 4.0, top, left - 4.0, top + tall, width=0.18)
    for v in (0.0, tall):
        svg.line(left - 5.5, top + v, left - 1.0, top + v, width=0.18)
    svg.text(left - 5.0, top + tall / 2, quantity(t, "mm", 3), anchor="middle", turn=-90)
    svg.text(0.5, svg.height - 1.0, f"drawn {per:.0f}:1", size=SMALL, colour=GREY)
    return svg

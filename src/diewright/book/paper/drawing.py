"""Drawings true to scale: the developed blank with its dimensions, the nest, and the check bar."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diewright.book.paper.colours import GREY, INK
from diewright.book.paper.digits import quantity
from diewright.book.paper.svg import Svg, stroke_hatch, width_of
from diewright.book.paper.svgplot import SMALL
from diewright.geometry.mesh import Floats

# Scales of ISO 5455, as millimetres on paper for one millimetre of metal.
SCALES = (50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
CHECK = 100.0  # length of the check bar [mm on paper]
CHECK_HEIGHT = 9.0
LEFT, RIGHT, TOP, BOTTOM = 16.0, 6.0, 16.0, 6.0  # room round the blank for dimensions


@dataclass(frozen=True)
class Drawing:
    """A drawing in millimetres of paper; ``scale`` is what one millimetre of metal measures on it."""

    svg: Svg
    scale: float

    @property
    def said(self) -> str:
        """The scale as a title block states it."""
        return scale_text(self.scale)


def scale_text(scale: float) -> str:
    """``1:5`` for 0.2, ``2:1`` for 2."""
    return f"{scale:g}:1" if scale >= 1 else f"1:{round(1 / scale):d}"


def fitting(size: tuple[float, float], room: tuple[float, float]) -> float:
    """The largest standard scale at which ``size`` [mm] fits ``room`` [mm on paper]."""
    for scale in SCALES:
        if size[0] * scale <= room[0] + 1e-9 and size[1] * scale <= room[1] + 1e-9:
            return scale
    return SCALES[-1]


def check_bar(svg: Svg, x: float, y: float) -> None:
    """A bar of exactly 100 mm on paper, in tenths, with what it is for."""
    for i in range(10):
        svg.rect(x + 10.0 * i, y, 10.0, 1.3, fill=INK if i % 2 == 0 else "#ffffff", colour=INK, width=0.1)
    svg.line(x, y - 1.2, x, y + 2.5, width=0.18)
    svg.line(x + CHECK, y - 1.2, x + CHECK, y + 2.5, width=0.18)
    svg.line(x, y + 2.0, x + CHECK, y + 2.0, width=0.01, colour="none", name="check-bar")
    svg.text(x, y + 5.4, "Check bar: 100 mm on this paper. If it measures otherwise, the print is not to scale.", size=SMALL, colour=GREY)


def blank_room(paper: tuple[float, float]) -> tuple[float, float]:
    """Room for the blank itself on a field of ``paper`` [mm]."""
    return paper[0] - LEFT - RIGHT, paper[1] - TOP - BOTTOM - CHECK_HEIGHT


def blank(
    outline: Floats, net: Floats | None, holes: list[tuple[str, Floats]], rolling_deg: float, width: float, scale: float, thickness: float, *, turned: bool = False, net_name: str = "net outline",
) -> Drawing:  # fmt: skip
    """The developed blank: outline in wide line, net outline in narrow dashes, holes, overall sizes after ISO 129-1, rolling direction.

    ``outline``, ``net`` and holes are ``(k, 2)`` [mm of metal]; ``width`` is the width of the field [mm of paper].
    ``turned`` draws it turned by 90 degrees, where it lies better on the sheet.
    """
    if turned:
        quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])  # row vectors: x to y, y to -x
        outline, net = outline @ quarter, None if net is None else net @ quarter
        holes, rolling_deg = [(n, ring @ quarter) for n, ring in holes], rolling_deg + 90.0
    low, high = outline.min(axis=0), outline.max(axis=0)
    size = (high - low) * scale
    svg = Svg(width, size[1] + TOP + BOTTOM + CHECK_HEIGHT)
    x0 = LEFT + max((width - LEFT - RIGHT - size[0]) / 2, 0.0)
    y1 = TOP + size[1]

    def paper(points: Floats) -> Floats:
        p = (np.asarray(points, dtype=float)[:, :2] - low) * scale
        return np.column_stack([x0 + p[:, 0], y1 - p[:, 1]])

    if net is not None and len(net) and not (len(net) == len(outline) and np.allclose(net, outline)):
        svg.path(paper(net), width=0.2, dash="2 0.9", closed=True, colour=GREY)
        spot = paper(net[[int(np.argmin(net[:, 1]))]])[0]
        svg.text(spot[0], spot[1] - 1.4, net_name, anchor="middle", size=SMALL, colour=GREY, halo=True)
    svg.path(paper(outline), width=0.5, closed=True, name="blank-outline")
    for _, ring in holes:
        if len(ring) < 3:
            continue
        svg.path(paper(ring), width=0.5, closed=True)
        _hole(svg, ring, paper, x0 + size[0] / 2)
    _across(svg, x0, x0 + size[0], TOP - 8.0, paper(outline), quantity(float(high[0] - low[0]), "mm", 4))
    _upright(svg, TOP, y1, x0 - 8.0, paper(outline), quantity(float(high[1] - low[1]), "mm", 4))
    spot = _free_spot(outline, [ring for _, ring in holes])
    x, y = paper(spot[None, :])[0]
    _rolling(svg, float(x), float(y), float(min(size)), rolling_deg)
    below = abs(math.sin(math.radians(rolling_deg))) * min(16.0, 0.3 * float(min(size)))
    svg.text(float(x), float(y) + below + 4.6, f"t = {quantity(thickness, 'mm', 4, trim=True)}", anchor="middle", halo=True)
    check_bar(svg, 0.2, y1 + BOTTOM + 1.0)
    return Drawing(svg, scale)


def _free_spot(outline: Floats, holes: list[Floats]) -> Floats:
    """A point inside the outline, far from its rim and from the holes, as near the middle as that allows; ``(2,)`` [mm]."""
    from shapely import Point, Polygon

    region = Polygon(outline).buffer(0)
    low, high = outline.min(axis=0), outline.max(axis=0)
    places = [low + (high - low) * [i / 12, j / 12] for i in range(2, 11) for j in range(2, 11)]
    rims = [Polygon(ring).buffer(0) for ring in holes if len(ring) >= 3]
    reach = 0.3 * float(min(high - low))

    def worth(p: Floats) -> float:
        point = Point(p)
        if not region.contains(point):
            return -1.0
        clear = min([region.exterior.distance(point) if region.geom_type == "Polygon" else 0.0, *(r.distance(point) for r in rims)])
        return min(clear, reach) - 0.3 * float(np.linalg.norm(p - (low + high) / 2))

    return max(places, key=worth)


def _hole(svg: Svg, ring: Floats, paper, middle: float) -> None:  # type: ignore[no-untyped-def]
    centre = ring.mean(axis=0)
    radii = np.linalg.norm(ring - centre, axis=1)
    c, r = paper(centre[None, :])[0], float(np.linalg.norm(paper(ring) - paper(centre[None, :]), axis=1).max())
    reach = r + 1.5
    for dx, dy in ((reach, 0.0), (0.0, reach)):
        svg.line(c[0] - dx, c[1] - dy, c[0] + dx, c[1] + dy, width=0.13, dash="2.4 0.6 0.4 0.6")
    if np.ptp(radii) > 0.03 * radii.mean():
        return
    side = 1.0 if c[0] <= middle else -1.0
    tip = c + 0.707 * r * np.array([side, -1.0])
    knee = tip + np.array([side, -1.0]) * 3.5
    svg.arrow(knee[0], knee[1], tip[0], tip[1], width=0.18)
    text = f"Ø{quantity(2 * float(radii.mean()), 'mm', 4)}"
    long = width_of(text) + 0.6
    svg.line(knee[0], knee[1], knee[0] + side * long, knee[1], width=0.18)
    svg.text(knee[0] + (0.3 if side > 0 else -long + 0.3), knee[1] - 0.8, text)


def _across(svg: Svg, x1: float, x2: float, y: float, outline: Floats, text: str) -> None:
    for x, i in ((x1, int(np.argmin(outline[:, 0]))), (x2, int(np.argmax(outline[:, 0])))):
        svg.line(x, outline[i, 1] - 1.0, x, y - 1.5, width=0.18)
    svg.arrow(x1, y, x2, y, width=0.18, both=True)
    svg.text((x1 + x2) / 2, y - 1.0, text, anchor="middle")


def _upright(svg: Svg, y1: float, y2: float, x: float, outline: Floats, text: str) -> None:
    for y, i in ((y1, int(np.argmin(outline[:, 1]))), (y2, int(np.argmax(outline[:, 1])))):
        svg.line(outline[i, 0] - 1.0, y, x - 1.5, y, width=0.18)
    svg.arrow(x, y1, x, y2, width=0.18, both=True)
    svg.text(x - 1.0, (y1 + y2) / 2, text, anchor="middle", turn=-90)


def _rolling(svg: Svg, x: float, y: float, size: float, degrees: float) -> None:
    half = min(16.0, 0.3 * size)
    c, s = math.cos(math.radians(degrees)), -math.sin(math.radians(degrees))
    svg.arrow(x - half * c, y - half * s, x + half * c, y + half * s, width=0.25, both=True, head=3.0)
    svg.text(x, y - max(abs(half * s), 0.0) - 1.8, "rolling direction", anchor="middle", halo=True, italic=True)


def nest(placed: Floats, strip_width: float, pitch: float, width: float, tallest: float) -> Drawing:
    """A few pitches of the strip, true to scale: the skeleton hatched, the pitch and the width dimensioned, the feed to the right.

    ``placed`` is ``(parts, k, 2)`` [mm] in strip axes: x along the feed, y across from the lower edge.
    """
    placed = np.asarray(placed, dtype=float)[..., :2]
    left, right = float(placed[..., 0].min()), float(placed[..., 0].max())
    x_low, x_high = min(left, 0.0), right + max(left, 0.0)
    room = (width - LEFT - RIGHT, tallest - TOP - BOTTOM - CHECK_HEIGHT)
    shown = x_high
    least = min(x_high - x_low, 2.2 * pitch)
    scale = fitting((least, strip_width), room)
    shown = min(x_high - x_low, room[0] / scale)
    size = np.array([shown, strip_width]) * scale
    svg = Svg(width, float(size[1]) + TOP + BOTTOM + CHECK_HEIGHT)
    x0 = LEFT + max((width - LEFT - RIGHT - size[0]) / 2, 0.0)
    y1 = TOP + float(size[1])
    clip = svg.window(x0, TOP, float(size[0]), float(size[1]))

    def paper(points: Floats) -> Floats:
        return np.column_stack([x0 + (points[:, 0] - x_low) * scale, y1 - points[:, 1] * scale])

    corners = np.array([[x0, TOP], [x0 + size[0], TOP], [x0 + size[0], y1], [x0, y1]])
    stroke_hatch(svg, corners, gap=2.6, colour=GREY)
    for ring in placed:
        if (ring[:, 0].min() - x_low) * scale < size[0]:
            svg.path(paper(ring), width=0.4, closed=True, fill="#ffffff", clip=clip)
    svg.line(x0, TOP, x0 + float(size[0]), TOP, width=0.5)
    svg.line(x0, y1, x0 + float(size[0]), y1, width=0.5)
    for x in (x0, x0 + float(size[0])):
        svg.line(x, TOP, x, y1, width=0.25, dash="3 1")
    first = x0 + (left - x_low) * scale
    second = first + pitch * scale
    if second <= x0 + size[0] + 1e-6:
        for x in (first, second):
            svg.line(x, TOP - 9.5, x, TOP + 0.35 * float(size[1]), width=0.13)
        svg.arrow(first, TOP - 8.0, second, TOP - 8.0, width=0.18, both=True)
        text = f"pitch {quantity(pitch, 'mm', 4)}"
        inside = width_of(text) + 4 < pitch * scale
        svg.text(
            (first + second) / 2 if inside else second + 1.5,
            TOP - 9.0 if inside else TOP - 7.0,
            text,
            anchor="middle" if inside else "start",
        )
    x = x0 - 8.0
    for y in (TOP, y1):
        svg.line(x0 - 1.0, y, x - 1.5, y, width=0.18)
    svg.arrow(x, TOP, x, y1, width=0.18, both=True)
    svg.text(x - 1.0, (TOP + y1) / 2, quantity(strip_width, "mm", 4), anchor="middle", turn=-90)
    svg.arrow(x0 + float(size[0]) - 22.0, TOP - 4.0, x0 + float(size[0]), TOP - 4.0, width=0.3, head=3.0)
    svg.text(x0 + float(size[0]) - 23.0, TOP - 3.1, "feed and rolling direction", anchor="end", italic=True)
    check_bar(svg, 0.2, y1 + BOTTOM + 1.0)
    return Drawing(svg, scale)

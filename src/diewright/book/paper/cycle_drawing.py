"""The cycle of a press as a timing diagram: the slide's way over a turn of the crank, below it who does what from when to when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from diewright.book.paper.colours import GREY, HAIR, INK, STEEL
from diewright.book.paper.svg import Svg, stroke_hatch, width_of
from diewright.book.paper.svgplot import SMALL, nice_step, tick_text, ticks
from diewright.geometry.mesh import Floats

PATH, ROW = 42.0, 5.6  # heights of the slide's way and of a band [mm]


@dataclass(frozen=True)
class Band:
    """What lasts from one angle to another [deg]; past the top ``end`` is less than ``begin``."""

    name: str
    kind: str
    begin: float
    end: float


def bands(events: Sequence[dict[str, Any]]) -> list[Band]:
    """Bands of a cycle from its events, as the screen draws them."""
    at = {str(e["event"]): float(e["angle_deg"]) for e in events}
    bottom = at.get("bottom", 180.0)
    out = []

    def after(start: str) -> list[tuple[str, float]]:
        return [(k[len(start) :], v) for k, v in at.items() if k.startswith(start)]

    for name, begin in after("blankholder touches, "):
        out.append(Band(f"blank held, {name}", "hold", begin, at.get("part is stripped off the punch", bottom)))
    for name, begin in after("pad touches, "):
        out.append(Band(f"pad holds, {name}", "hold", begin, at.get(f"pad leaves the sheet, {name}", bottom)))
    for event, begin in at.items():
        name = event.removesuffix(" begins")
        if name not in (event, "dwell"):
            out.append(Band(name, "work", begin, at.get(f"{name} is through", bottom)))
    if "dwell begins" in at and "dwell ends" in at:
        out.append(Band("dwell", "dwell", at["dwell begins"], at["dwell ends"]))
    for name, end in after("steels leave the sheet, "):
        out.append(Band(f"stripped off, {name}", "strip", bottom, end))
    if "part is stripped off the punch" in at:
        out.append(Band("stripped off the punch", "strip", at.get("dwell ends", bottom), at["part is stripped off the punch"]))
    if "upper ejector knocks out" in at:
        out.append(Band("upper ejector", "eject", at["upper ejector knocks out"], 360.0))
    if "feeding may begin" in at and "feeding must be over" in at:
        out.append(Band("open for feeding", "feed", at["feeding may begin"], at["feeding must be over"]))
    return out


def cycle(table: dict[str, Floats], events: Sequence[dict[str, Any]], width: float, *, crank: bool = True) -> Svg:
    """``table``: columns ``angle_deg``, ``time_s``, ``slide_mm``; ``crank``: False tells the time of a hydraulic press instead of an angle."""
    rows = bands(events)
    angle, time, slide = (np.asarray(table[k], dtype=float) for k in ("angle_deg", "time_s", "slide_mm"))
    period, high = float(time[-1]), max(float(slide.max()), 1e-9)
    left, right, top = 6.0 + max([24.0, *(width_of(b.name) for b in rows)]), width - 16.0, 7.0
    base = top + PATH
    foot = base + 5.0 + ROW * len(rows)
    svg = Svg(width, foot + 11.0)

    def x(degrees: Any) -> Any:
        return left + np.asarray(degrees) / 360.0 * (right - left)

    def said(degrees: float) -> str:
        return f"{degrees:.0f}°" if crank else f"{degrees / 360.0 * period:.1f} s"

    marks = list(range(0, 361, 45)) if crank else [t / period * 360.0 for t in ticks(0.0, period, 8)]
    for a in marks:
        svg.line(float(x(a)), top, float(x(a)), foot, width=0.1, colour=HAIR)
        text = f"{a:.0f}°" if crank else tick_text(a / 360.0 * period, nice_step(period, 8))
        svg.text(float(x(a)), foot + 3.6, text, anchor="middle", size=SMALL)
    step = nice_step(high, 4)
    for v in ticks(0.0, high, 4):
        y = base - v / high * PATH
        svg.line(left, y, right, y, width=0.1, colour=HAIR)
        svg.text(left - 1.5, y + 0.9, tick_text(v, step), anchor="end", size=SMALL)
    svg.path(np.column_stack([x(angle), base - slide / high * PATH]), width=0.5)
    svg.text(left, 4.0, "slide above bottom, mm", italic=True, size=SMALL)
    axis = f"crank angle from the top; a turn takes {period:.3g} s" if crank else f"time in the cycle of {period:.3g} s, s"
    svg.text(right, foot + 8.2, axis, anchor="end", italic=True, size=SMALL)
    for k, band in enumerate(rows):
        _band(svg, band, base + 5.0 + ROW * k, x, left, right, said)
    return svg


def _band(svg: Svg, band: Band, y: float, x: Any, left: float, right: float, said: Any) -> None:
    spans = [(band.begin, band.end)] if band.end >= band.begin else [(band.begin, 360.0), (0.0, band.end)]
    svg.text(left - 2.0, y + 3.2, band.name, anchor="end")
    svg.line(left, y + 4.7, right, y + 4.7, width=0.06, colour=HAIR)
    for begin, end in spans:
        a, b = float(x(begin)), max(float(x(end)), float(x(begin)) + 0.4)
        ring = np.array([[a, y + 0.8], [b, y + 0.8], [b, y + 4.0], [a, y + 4.0]])
        fill = {"work": INK, "hold": STEEL, "dwell": GREY}.get(band.kind, "none")
        svg.path(ring, width=0.35 if band.kind == "feed" else 0.18, fill=fill, closed=True, name="")
        if band.kind == "strip":
            stroke_hatch(svg, ring, gap=1.0)
    begin, end = max(spans, key=lambda s: s[1] - s[0])
    text = f"{said(band.begin)} to {said(band.end)}"
    wide = width_of(text, SMALL)
    a, b = float(x(begin)), float(x(end))
    if b - a > wide + 2.0 and band.kind in ("feed", "eject"):
        svg.text((a + b) / 2, y + 3.3, text, anchor="middle", size=SMALL)
    elif b + wide + 2.0 < right + 14.0:
        svg.text(b + 1.2, y + 3.3, text, size=SMALL)
    else:
        svg.text(a - 1.2, y + 3.3, text, anchor="end", size=SMALL)

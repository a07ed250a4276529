"""Drawings of the page Finish: polishing step by step, the rack from the anodes, readings against the class, cost bands."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from diewright.book.paper.colours import GREY, HAIR, INK, STEEL
from diewright.book.paper.digits import number
from diewright.book.paper.svg import Svg, width_of
from diewright.book.paper.svgplot import SMALL, nice_step, tick_text, ticks
from diewright.geometry.mesh import Floats
from diewright.job.schema import FinishStated

ROW = 5.6
NAMES = 24.0
ACCENT = "#a33d12"
SAID = {"conforms": "conforms", "not proven": "not proven", "does not": "does not conform"}


def steps(v: dict[str, Any], wanted: float, width: float) -> Svg:
    """Ra that each step leaves on a logarithmic scale, and beside it what the step takes off; ``wanted`` Ra [µm]."""
    rows: list[tuple[str, tuple[float, ...], tuple[float, ...] | None]] = [
        ("as drawn", (v["start"]["rolled_ra_um"], v["start"]["ra_max_um"]), None)
    ]
    rows += [(s["name"], tuple(s["ra_um"]), tuple(s["stock_um"])) for s in v["steps"]]
    top, base = 9.0, 9.0 + ROW * len(rows)
    svg = Svg(width, base + 5.0)
    every = [wanted, *(x for _, ra, _ in rows for x in ra)]
    lo, hi = math.floor(math.log10(min(every)) + 1e-9), math.ceil(math.log10(max(every)) - 1e-9)
    split = NAMES + 0.56 * (width - NAMES)
    most = max(s["stock_um"][1] for s in v["steps"])
    left, right = split + 10.0, width - 12.0

    def x(ra: float) -> float:
        return NAMES + (math.log10(ra) - lo) / max(hi - lo, 1) * (split - NAMES)

    def z(um: float) -> float:
        return left + um / most * (right - left)

    for k in range(lo, hi + 1):
        svg.line(x(10.0**k), top, x(10.0**k), base, width=0.1, colour=GREY)
        svg.text(x(10.0**k), base + 3.4, number(10.0**k, 1), anchor="middle", size=SMALL, colour=GREY)
        for m in range(2, 10) if k < hi else ():
            svg.line(x(m * 10.0**k), top, x(m * 10.0**k), base, width=0.06, colour=HAIR)
    for q in ticks(0.0, most, 4):
        svg.line(z(q), top, z(q), base, width=0.08, colour=HAIR)
        svg.text(z(q), base + 3.4, tick_text(q, nice_step(most, 4)), anchor="middle", size=SMALL, colour=GREY)
    for k, (name, ra, stock) in enumerate(rows):
        y = top + ROW * k
        svg.text(NAMES - 1.5, y + ROW / 2 + 0.9, name, anchor="end")
        svg.rect(
            x(ra[0]), y + 1.2, max(x(ra[1]) - x(ra[0]), 0.3), ROW - 2.4, fill="#ffffff" if stock is None else GREY, colour=INK, width=0.15
        )
        if stock is not None:
            svg.rect(z(stock[0]), y + 1.2, max(z(stock[1]) - z(stock[0]), 0.3), ROW - 2.4, fill=STEEL, colour=INK, width=0.15)
            svg.text(z(stock[1]) + 1.0, y + ROW / 2 + 0.9, number(stock[1], trim=True), size=SMALL)
    for a, b in ((NAMES, split), (left, right)):
        svg.line(a, base, b, base, width=0.25)
        svg.line(a, top, a, base, width=0.25)
    svg.line(x(wanted), top - 2.4, x(wanted), base, width=0.5, colour=ACCENT)
    svg.text(x(wanted) - 1.0, top - 1.0, f"wanted {number(wanted, trim=True)} µm", anchor="end", size=SMALL, colour=ACCENT, weight=600)
    svg.text(NAMES, 3.0, "Ra that is left, µm, from the fine to the coarse end of the charts", italic=True, size=SMALL)
    svg.text(left, 3.0, "taken off, µm", italic=True, size=SMALL)
    return svg


def readings(places: list[dict[str, Any]], width: float) -> Svg:
    """Means as bars, expanded uncertainty as whiskers, the least wanted as a line; one block for each layer."""
    layers = list(dict.fromkeys(p["layer"] for p in places))
    names, words = 42.0, 30.0
    svg = Svg(width, sum(15.0 + ROW * sum(p["layer"] == layer for p in places) for layer in layers))
    top = 0.0
    for layer in layers:
        own = [p for p in places if p["layer"] == layer]
        limit = float(own[0]["limit_um"])
        most = 1.06 * max(limit, *(p["um"] + p["uncertainty_um"] for p in own))
        first, base, right = top + 8.5, top + 8.5 + ROW * len(own), width - words

        def x(um: float, most: float = most, right: float = right) -> float:
            return names + um / most * (right - names)

        svg.text(names, top + 3.2, f"{layer.capitalize()} that was measured, µm", italic=True, size=SMALL)
        for q in ticks(0.0, most, 6):
            svg.line(x(q), first, x(q), base, width=0.08, colour=HAIR)
            svg.text(x(q), base + 3.4, tick_text(q, nice_step(most, 6)), anchor="middle", size=SMALL, colour=GREY)
        for k, p in enumerate(own):
            y = first + ROW * (k + 0.5)
            a, b = max(p["um"] - p["uncertainty_um"], 0.0), p["um"] + p["uncertainty_um"]
            svg.text(names - 1.5, y + 0.9, f"{p['place'][:12]}, {'X-ray' if p['method'] == 'xrf' else 'coulometric'} × {p['count']}", anchor="end")  # fmt: skip
            svg.rect(x(0.0), y - 1.5, max(x(p["um"]) - x(0.0), 0.2), 3.0, fill="#ffffff" if p["verdict"] == "does not" else STEEL, colour=INK, width=0.15)  # fmt: skip
            svg.line(x(a), y, x(b), y, width=0.3)
            for end in (a, b):
                svg.line(x(end), y - 1.0, x(end), y + 1.0, width=0.3)
            svg.text(right + 2.0, y + 0.9, SAID[p["verdict"]], weight=600 if p["verdict"] == "does not" else 400)
        svg.line(x(limit), first - 2.4, x(limit), base, width=0.5, colour=ACCENT)
        far = x(limit) > (names + right) / 2
        svg.text(x(limit) - 1.0 if far else x(limit) + 1.0, first - 1.0, f"least wanted {number(limit, trim=True)} µm", anchor="end" if far else "start", size=SMALL, colour=ACCENT, weight=600)  # fmt: skip
        top = base + 6.5
    return svg


def costs(choices: list[dict[str, Any]], width: float) -> Svg:
    """What a square metre of each finish costs against the usual one, as bands."""
    names, right = 66.0, width - 30.0
    base = 6.0 + ROW * len(choices)
    svg = Svg(width, base + 5.0)
    most = 1.05 * max(1.0, *(c["relative_cost"][1] for c in choices if c["relative_cost"]), 1.0)

    def x(v: float) -> float:
        return names + v / most * (right - names)

    svg.text(names, 3.0, "cost of a square metre, nickel and chromium(VI) = 1", italic=True, size=SMALL)
    for q in ticks(0.0, most, 6):
        svg.line(x(q), 6.0, x(q), base, width=0.08, colour=HAIR)
        svg.text(x(q), base + 3.4, tick_text(q, nice_step(most, 6)), anchor="middle", size=SMALL, colour=GREY)
    svg.line(x(1.0), 6.0, x(1.0), base, width=0.2, colour=GREY)
    for k, c in enumerate(choices):
        y = 6.0 + ROW * (k + 0.5)
        svg.text(names - 1.5, y + 0.9, c["title"], anchor="end")
        if c["relative_cost"]:
            a, b = c["relative_cost"]
            svg.rect(x(a), y - 1.5, max(x(b) - x(a), 0.6), 3.0, fill=GREY if c["serves"] else "#ffffff", colour=INK, width=0.15)
        else:
            svg.text(names + 1.5, y + 0.9, "rates are stated for one of the two only", italic=True, size=SMALL, colour=GREY)
        svg.text(right + 2.0, y + 0.9, "serves" if c["serves"] else "does not serve")
    return svg


def seen(rack: dict[str, Any]) -> Floats:
    """Rows (2, 3): to the right and up for who looks at the rack from the anodes."""
    facing, up = np.asarray(rack["facing"], dtype=float), np.asarray(rack["up"], dtype=float)
    return np.stack([-np.cross(facing, up), up])


def rack(
    v: dict[str, Any], places: Floats, lines: Floats, contacts: Floats, asked: FinishStated, width: float, tallest: float = 92.0
) -> Svg:
    """The rack from the anodes to scale: bars, hooks, parts in outline, level of the bath; ``places (n, 2)`` across and down, ``lines (k, 2, 3)`` of the part, ``contacts (c, 3)``."""  # fmt: skip
    r = v["rack"]
    wide, tall = float(r["size"][0]), float(r["size"][2])
    turn = seen(r)
    flat = lines.reshape(-1, 3) @ turn.T
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    across, down = places[:, 0], places[:, 1]
    span = max(asked.rack_width, float(np.ptp(across)) + wide)
    low = max(asked.rack_height, float(down.max()) + tall / 2) + 40.0
    level = -asked.cover_mm
    head = level - 0.12 * (low - level)
    scale = min((width - 40.0) / span, (tallest - 14.0) / (low - head))
    svg = Svg(width, (low - head) * scale + 14.0)

    def at(x: float, y: float) -> tuple[float, float]:
        return width / 2 + x * scale, 5.0 + (y - head) * scale

    half = asked.rack_width / 2
    for a, b in (((-half, 0.0), (half, 0.0)), ((half, 0.0), (half, asked.rack_height)), ((half, asked.rack_height), (-half, asked.rack_height)), ((-half, asked.rack_height), (-half, 0.0))):  # fmt: skip
        svg.line(*at(*a), *at(*b), width=0.13, dash="2 1", colour=GREY)
    svg.text(at(-half, 0)[0] + 1.0, at(0, asked.rack_height)[1] - 1.0, "room for parts", italic=True, size=SMALL, colour=GREY)
    svg.line(4.0, at(0, level)[1], width - 4.0, at(0, level)[1], width=0.2, dash="3 1")
    svg.text(4.0, at(0, level)[1] - 1.0, "level of the bath", italic=True, size=SMALL)
    ends = float(across.min()) - wide / 2, float(across.max()) + wide / 2
    lift = min(4.0 / scale, 0.4 * asked.spacing + 1.0 / scale)
    rows, columns = np.unique(down), np.unique(across)
    svg.line(*at(ends[0], head), *at(ends[1], head), width=0.9)
    svg.line(*at(0.0, head), *at(0.0, float(rows[-1]) - tall / 2 - lift), width=0.9)
    outline = (lines @ turn.T - middle) * [1.0, -1.0]
    hooks = (contacts @ turn.T - middle) * [1.0, -1.0]
    for row in rows:
        svg.line(*at(ends[0], row - tall / 2 - lift), *at(ends[1], row - tall / 2 - lift), width=0.5)
    for x, y in zip(-across, down, strict=True):
        pen = [p for a, b in outline for p in (at(x + a[0], y + a[1]), at(x + b[0], y + b[1]), (np.nan, np.nan))]
        svg.path(pen, width=0.13)
        for a, b in hooks:
            svg.line(*at(x + a, y - tall / 2 - lift), *at(x + a, y + b), width=0.18, colour=GREY)
            svg.circle(*at(x + a, y + b), 0.55, fill=ACCENT, colour=ACCENT, width=0.05)
    _rack_sizes(svg, at, rows, columns, (wide, tall), asked, float(r["immersed_mm"]), ends, low)
    return svg


def _rack_sizes(svg: Svg, at: Any, rows: Floats, columns: Floats, part: tuple[float, float], asked: FinishStated, immersed: float, ends: tuple[float, float], low: float) -> None:  # fmt: skip
    wide, tall = part
    last = at(0, rows[-1] + tall / 2)[1]
    _level(svg, at(columns[0] - wide / 2, 0)[0], at(columns[0] + wide / 2, 0)[0], last + (8.0 if len(columns) > 1 else 4.0), wide)
    if len(columns) > 1:
        _level(svg, at(columns[0] + wide / 2, 0)[0], at(columns[1] - wide / 2, 0)[0], last + 4.0, columns[1] - columns[0] - wide)
    half = asked.rack_width / 2
    _level(svg, at(-half, 0)[0], at(half, 0)[0], at(0, low)[1] + 4.0, asked.rack_width)
    edge = at(max(half, ends[1]), 0)[0]
    _upright(svg, edge + 6.0, at(0, -asked.cover_mm)[1], at(0, immersed - asked.cover_mm)[1], immersed)
    _upright(svg, at(ends[1], 0)[0] + 2.5, at(0, rows[0] - tall / 2)[1], at(0, rows[0] + tall / 2)[1], tall)
    if len(rows) > 1:
        _upright(svg, at(ends[1], 0)[0] + 2.5, at(0, rows[0] + tall / 2)[1], at(0, rows[1] - tall / 2)[1], rows[1] - rows[0] - tall)


def _level(svg: Svg, a: float, b: float, y: float, mm: float) -> None:
    text = number(round(mm), 5)
    tight = b - a < width_of(text, SMALL) + 5.0
    svg.line(a, y - 1.2, a, y + 1.0, width=0.15)
    svg.line(b, y - 1.2, b, y + 1.0, width=0.15)
    if tight:
        svg.arrow(a - 4.0, y, a, y, width=0.15, head=1.6)
        svg.arrow(b + 4.0, y, b, y, width=0.15, head=1.6)
        svg.text(b + 4.8, y + 0.9, text, size=SMALL)
    else:
        svg.arrow(a, y, b, y, both=True, width=0.15, head=1.8)
        svg.text((a + b) / 2, y - 0.7, text, anchor="middle", size=SMALL)


def _upright(svg: Svg, x: float, a: float, b: float, mm: float) -> None:
    svg.line(x - 1.2, a, x + 1.0, a, width=0.15)
    svg.line(x - 1.2, b, x + 1.0, b, width=0.15)
    svg.arrow(x, a, x, b, both=b - a > 5.0, width=0.15, head=min(1.8, 0.4 * (b - a)))
    svg.text(x + 1.0, (a + b) / 2 + 0.9, number(round(mm), 5), size=SMALL)

"""The page Press plan: the cycle of the press, stations and their presses, forces with steps between steels, bends."""

from __future__ import annotations

from typing import Any

import numpy as np

from diewright.book.paper.blocks import (
    Bench,
    Block,
    attempt,
    decisions,
    figures,
    findings,
    missing,
    numbers,
    origin,
    row,
    sheet,
    small,
    stack,
    state_of,
    status,
    table,
)  # fmt: skip
from diewright.book.paper.cycle_drawing import cycle
from diewright.book.paper.digits import quantity, said
from diewright.book.paper.svgplot import Falling, Plot, end_of
from diewright.book.paper.words import plain, stated
from diewright.geometry.mesh import Floats
from diewright.job.stage import Result

STAGE = "plan"
STAGES = ("plan", "bends")


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page."""
    found, bends = bench.result("plan"), bench.result("bends")
    known = [s for s in STAGES if s in bench.states]
    blocks: list[Block | None] = [*status(bench, *known)]
    if found:
        blocks += [attempt("The cycle of the press", lambda: _cycle(bench, found)), attempt("The stations", lambda: stations(found))]
        plots = [attempt(f"The force of station {s['station']}", lambda s=s: _force(bench, found, s, (bench.width - 6.0) / 2)) for s in found.values["stations"]]  # type: ignore[misc]  # fmt: skip
        blocks += [row(*plots[i : i + 2]) for i in range(0, len(plots), 2)]
        blocks.append(row(_words(found), stack(_compound(found), _safety(found))))
    elif "plan" in bench.states:
        blocks.append(missing("There is no press plan to show yet."))
    if bends and bends.values.get("bends"):
        blocks += bend_tables(bends)
    elif bends:
        blocks.append(small("Bends and hems", ["Nothing is bent after the draw."]))
    plan = [decisions("Stated: press plan", stated(bench.job.plan, skip=("station",)), slim=True)]
    if bends and bends.values.get("bends"):
        plan.append(decisions("Stated: bends", stated(bench.job.bends, skip=("bend",)), slim=True))
    blocks.append(row(*plan))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage in STAGES]))
    blocks.append(figures("Figures", [f for r in (found, bends) if r for f in r.figures]))
    said_before: list[str] = []
    for stage in STAGES:
        said_before += [c for c in bench.values(stage).get("cautions") or () if c not in said_before]
    blocks.append({"kind": "cautions", "title": "Cautions", "lines": [plain(c) for c in said_before]})
    blocks.append(small("Method and sources", [
        "The press of a station is the smallest of the table that serves; its force is that of its crank at the same height. Steels that follow each other by whole thicknesses are searched so that the largest force is least.",
        *origin(bench, *known),
    ]))  # fmt: skip
    return [sheet("Press plan", state_of(bench, *known), blocks)]


def _shown(found: Result) -> tuple[dict[str, Any], str]:
    """The station whose cycle is drawn, and the key of its tables."""
    v = found.values
    if v.get("transfer"):
        return v["transfer"], "transfer"
    return next(s for s in v["stations"] if s["station"] == v["cycle_of"]), str(v["cycle_of"])


def _cycle(bench: Bench, found: Result) -> Block:
    s, key = _shown(found)
    drawn = cycle(dict(found.tables[f"cycle_{key}"]), s["events"], bench.width, crank="hydraulic" not in str(s["press_kind"]))
    which = "all stations under one slide" if key == "transfer" else f"station {key}, {s['name']}"
    return bench.svg("press-cycle", drawn, f"Cycle of {which}: {s['press']}, {said(s['rate_per_min'], '', 3)} strokes a minute.")


def stations(found: Result) -> Block | None:
    """All stations with force, press and feeding."""
    v = found.values
    every = [*v["stations"], *([{**v["transfer"], "station": "all"}] if v.get("transfer") else [])]
    rows = [
        [str(s["station"]), ", ".join(s["operations"]), s["press"], *(said(s[c], "", 3) for c in ("force_flat_kN", "force_kN")), f"{s['share_pct']:.0f}", *(said(s[c], "", 3) for c in ("touch_height_mm", "rate_per_min", "feed_height_mm", "window_s", "period_s", "parts_per_hour"))]
        for s in every
    ]  # fmt: skip
    heads = (("No.", "left", 0.0), ("Does", "left", 1.0), ("Press", "left", 1.0), ("At once, kN", "right", 0.0), ("Stepped, kN", "right", 0.0), ("Of press, %", "right", 0.0), ("Touches, mm", "right", 0.0), ("Strokes, 1/min", "right", 0.0), ("Opens, mm", "right", 0.0), ("Open, s", "right", 0.0), ("Period, s", "right", 0.0), ("Parts/h", "right", 0.0))  # fmt: skip
    fed = "a transfer" if v["feed"] == "transfer" else "hand"
    return table(
        "Stations",
        list(heads),
        rows,
        note=f"Fed by {fed}: {quantity(float(v['parts_per_hour']), 'parts an hour')}, set by {v['slowest']}.",
    )


def _force(bench: Bench, found: Result, s: dict[str, Any], width: float) -> Block:
    name = f"station-{s['station']}-force"
    load = dict(found.tables[f"load_{s['station']}"])
    least = float(np.nanmin(load["capacity_kN"], initial=np.inf))
    return bench.svg(
        name,
        force(load, width).svg,
        f"Station {s['station']}, {s['name']}, on {s['press']}, which gives {said(least, 'kN', 3)} or more here.",
    )


def force(t: dict[str, Floats], width: float, height: float = 52.0) -> Plot:
    """Force of a station over the height above bottom: with steps between the steels, dashed all at once, and the press where it is not far above."""
    h, flat, stepped, capacity = (np.asarray(t[k], dtype=float) for k in ("height_above_bottom_mm", "flat_kN", "force_kN", "capacity_kN"))
    top = end_of(np.concatenate([flat, stepped]), 1.2)
    plot = Falling(width, height, (-end_of(h, 1.0), 0.0), (0.0, top), "height above bottom, mm", "force, kN")
    if float(np.nanmin(capacity, initial=np.inf)) <= top:
        plot.curve(-h, capacity, "the press gives", where=0.3, width=0.3)
    if float(np.nanmax(np.abs(flat - stepped), initial=0.0)) > 0.002 * max(float(np.nanmax(flat, initial=0.0)), 1e-9):
        plot.curve(-h, flat, "all at once", where=0.4, width=0.25, dash="2 0.9")
    plot.curve(-h, stepped, "")
    i = int(np.nanargmax(stepped))
    plot.mark(float(-h[i]), float(stepped[i]), said(float(stepped[i]), "kN", 3), side="left" if h[i] < 0.35 * float(h.max()) else "right")
    return plot


def _words(found: Result) -> Block | None:
    lines = []
    for s in found.values["stations"]:
        steps = ", ".join(f"{p['piece'].replace('_', ' ')} by {p['steps']}" for p in s.get("steps") or [])
        parts = [
            f"Station {s['station']}, {s['name']}:",
            f"{s['why']}." if s.get("why") else "",
            f"Ground shorter, in thicknesses: {steps}; the largest force falls by {s['lowered_pct']:.0f} %." if steps else "",
            *(c["sentence"] for c in s.get("checks") or [] if c["level"] != "ok"),
        ]
        if any(parts[1:]):
            lines.append(" ".join(p for p in parts if p))
    return small("What the stations ask for", lines)


def _compound(found: Result) -> Block | None:
    c = found.values.get("compound")
    if not c:
        return None
    return small("One die for blank and draw", [f"Blank and first draw {'can' if c['possible'] else 'cannot'} share a die: {c['why']}."])


def _safety(found: Result) -> Block | None:
    d = found.values.get("safety") or {}
    names = (("stop_time_s", "Stopping time, measured", "s"), ("curtain_mm", "Light curtain, ISO 13855", "mm"), ("two_hand_mm", "Two-hand control, ISO 13855", "mm"), ("us_mm", "29 CFR 1910.217", "mm"), ("trip_mm", "Two-hand trip", "mm"))  # fmt: skip
    rows = [[name, said(d[k], unit, 3)] for k, name, unit in names if d.get(k) is not None]
    if not rows:
        return small(
            "Safety distances",
            ["They are told when the measured stopping time of press and device is stated. Local codes and licensed practice come first."],
        )
    return numbers("Safety distances, at least", rows, note="Local codes and licensed practice come first.")


def bend_tables(bends: Result) -> list[Block | None]:
    """The two tables of the bends."""
    v = bends.values["bends"]
    shape = [[str(b["number"]), b["name"] or (f"flange {b['flange']}" if b["flange"] else "–"), f"{b['kind']}, {b['method']}", *(said(b[c], "", 4) for c in ("angle_deg", "radius_mm", "length_mm", "leg_mm", "arc_mm", "deduction_mm", "flat_leg_mm", "developed_mm"))] for b in v]  # fmt: skip
    work = [[str(b["number"]), *(said(b[c], "", 3) for c in ("force_kN", "hem_kN", "least_radius_mm", "least_leg_mm", "outer_strain_pct", "edge_strain_pct", "springback_deg", "tool_angle_deg", "tool_radius_mm"))] for b in v]  # fmt: skip
    first = ("No.", "Bend", "How", "Angle, °", "Radius, mm", "Length, mm", "Leg, mm", "Arc, mm", "Deduction, mm", "Flat leg, mm", "Developed, mm")  # fmt: skip
    second = ("No.", "Force, kN", "Hem, kN", "Least radius, mm", "Least leg, mm", "Outer fibre, %", "Edge, %", "Springs back, °", "Tool's angle, °", "Tool's radius, mm")  # fmt: skip
    return [
        table(title, [(h, "left" if h in words else "right", 1.0 if h in words else 0.0) for h in heads], rows)
        for title, heads, rows, words in (("Bends and hems", first, shape, ("Bend", "How")), ("What the bends ask for", second, work, ()))
    ]  # fmt: skip

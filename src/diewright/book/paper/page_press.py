"""The page Press: force over stroke against the press, the press figures, and the cautions."""

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
)
from diewright.book.paper.colours import WATER
from diewright.book.paper.digits import said
from diewright.book.paper.svgplot import Plot, end_of
from diewright.book.paper.words import plain, rows_of, stated
from diewright.job.stage import Result
from diewright.press.cautions import CAUTIONS


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page."""
    values, found = bench.values("press"), bench.result("press")
    blocks: list[Block | None] = [*status(bench, "press")]
    if found and "force_stroke" in found.tables:
        how = str(values.get("curve_how", ""))
        caption = "Force over the stroke from first touch to bottom." + (f" {how[:1].upper()}{how[1:].rstrip('.')}." if how else "")
        blocks.append(attempt("The force curve", lambda: bench.svg("force", force(found, bench.width).svg, caption)))
    else:
        blocks.append(missing("There is no force curve to show yet."))
    chosen = values.get("press")
    press_rows = _press(chosen) if isinstance(chosen, dict) else [["Press", str(chosen)]] if chosen else []
    blocks.append(
        row(
            stack(decisions("Decisions", stated(bench.job.press), slim=True), numbers("The press", press_rows)),
            _checks(values),
        )
    )
    blocks.append(_draws(values))
    blocks.append(_candidates(values))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == "press"]))
    blocks.append(figures("Press figures", found.figures if found else ()))
    blocks.append({"kind": "cautions", "title": "Cautions", "lines": [plain(c) for c in values.get("cautions") or CAUTIONS]})
    blocks.append(small("Method and sources", [
        "First press figures are handbook estimates: each carries its formula, what went into it and how sure it is. They choose a press for planning, not for setting.",
        *origin(bench, "press"),
    ]))  # fmt: skip
    return [sheet("Press", state_of(bench, "press"), blocks)]


def force(found: Result, width: float) -> Plot:
    """Draw force, blankholder force and what the press gives, over the stroke."""
    t = found.tables["force_stroke"]
    stroke, draw, holder, capacity = (np.asarray(t[k], dtype=float) for k in ("stroke_mm", "draw_kN", "blankholder_kN", "capacity_kN"))
    slide = np.asarray(t.get("slide_kN", draw + holder), dtype=float)  # on a double-action press the slide carries the draw alone
    needed = float(np.nanmax(np.concatenate([slide, draw, holder])))
    least = float(np.nanmin(capacity))
    top = max(needed * 1.2, min(least * 1.35, needed * 4.0))
    plot = Plot(width, 78.0, (0.0, end_of(stroke, 1.0)), (0.0, top), "stroke from first touch, mm", "force, kN")
    x, y = plot.places(stroke, capacity).T
    inside = np.clip(y, plot.top, plot.bottom)
    if (y > plot.top).any():
        region = np.concatenate([np.column_stack([x, inside]), [[plot.right, plot.top], [plot.left, plot.top]]])
        plot.svg.path(region, width=0.0, colour="none", fill=plot.svg.hatch(), clip=plot.clip)
        plot.curve(stroke, capacity, "what the press gives", where=0.3, above=True, width=0.3)
    else:
        plot.svg.text(
            plot.left + 2, plot.top + 3.0, f"the press gives {said(least, 'kN', 3)} or more here, above this plot", size=2.5, halo=True
        )
    plot.curve(stroke, draw, "draw force", where=0.5, above=False)
    plot.curve(stroke, holder, "blankholder force", where=0.8, above=True, colour=WATER, dash="2.2 1")
    if np.nanmax(np.abs(slide - draw)) > 1e-6:
        plot.curve(stroke, slide, "slide in all", where=0.62, above=True, width=0.2, dash="0.8 0.8")
    return plot


def _press(chosen: dict[str, Any]) -> list[list[str]]:
    """The press's data; what does not apply to its kind is left out."""
    shown = {k: v for k, v in chosen.items() if v not in (0, 0.0, "", None) and k not in ("chosen", "bed_mm", "strokes_per_minute")}
    rows = rows_of(shown)
    for key, name, word, unit in (("bed_mm", "Bed", " × ", "mm"), ("strokes_per_minute", "Strokes", " to ", "1/min")):
        pair = chosen.get(key)
        if isinstance(pair, (list, tuple)) and len(pair) == 2:
            rows.append([name, f"{said(pair[0])}{word}{said(pair[1], unit)}"])
    return [*rows, ["Chosen by", "the desk" if chosen["chosen"] == "auto" else "the job"]] if "chosen" in chosen else rows


def _checks(values: dict[str, Any]) -> Block | None:
    return table(
        "What the press was checked for", [("Check", "left", 1.0), ("Found", "right", 0), ("Limit", "right", 0)],
        [[c.get("sentence", c.get("key")), said(c.get("value"), c.get("unit", ""), 3), said(c.get("limit"), c.get("unit", ""), 3)] for c in values.get("checks") or []],
    )  # fmt: skip


def _candidates(values: dict[str, Any]) -> Block | None:
    """The presses that do not serve with the reason, and the first few that do."""
    rows = values.get("candidates") or []
    serving = [c for c in rows if c.get("fits")]
    shown = [c for c in rows if not c.get("fits") or c in serving[:3]]
    left = len(rows) - len(shown)
    return table(
        "Presses considered",
        [("Press", "left", 0.2), ("Serves", "left", 0), ("Why", "left", 0.8)],
        [[c.get("name"), "yes" if c.get("fits") else "no", c.get("why", "")] for c in shown],
        f"{left} more serve too." if left > 0 else "",
    )


def _draws(values: dict[str, Any]) -> Block | None:
    rows = values.get("draw_sequence") or []
    return table(
        "Draws", [("Draw", "left", 0.1), *((n, "right", 0.18) for n in ("Diameter", "Height", "Ratio", "Punch radius", "Die radius"))],
        [
            [said(d.get("draw")), said(d.get("diameter"), "mm"), said(d.get("height"), "mm"), said(d.get("ratio"), "", 3), said(d.get("punch_radius"), "mm", 3), said(d.get("die_radius"), "mm", 3)]
            for d in rows
        ],
    )  # fmt: skip

"""The page Draws: the sequence from blank to cup, its tools, and what the tryout of all draws says."""

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
    origin,
    row,
    sheet,
    small,
    state_of,
    status,
    table,
)  # fmt: skip
from diewright.book.paper.digits import quantity, said
from diewright.book.paper.drawing import CHECK_HEIGHT, SCALES, Drawing, check_bar
from diewright.book.paper.page_tryout import apart
from diewright.book.paper.pictures import Picture, segments_of
from diewright.book.paper.svg import Svg
from diewright.book.paper.svgplot import Plot, end_of
from diewright.book.paper.words import stated
from diewright.geometry.mesh import Floats
from diewright.job.stage import Result

STAGE = "draws"
RUN = "draws_tryout"
TOOLS = ("die", "blankholder", "punch")
COLUMNS = (
    ("margin_pct", "Margin, %", 1), ("thinning_pct", "Thinner, %", 1), ("thickening_pct", "Thicker, %", 1), ("punch_kN", "Punch, kN", 1), ("handbook_kN", "Book, kN", 1), ("tear_kN", "Tears at, kN", 1),
    ("blankholder_kN", "Holder, kN", 2), ("height_min_mm", "Rim from, mm", 1), ("height_max_mm", "to, mm", 1), ("wrinkle_mm", "Wrinkle, mm", 2),
)  # fmt: skip


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page; a part without a sequence says why in a few lines."""
    found, run = bench.result(STAGE), bench.result(RUN)
    stages = [s for s in (STAGE, RUN) if s in bench.states]
    draws = list(found.values.get("draws") or []) if found else []
    blocks: list[Block | None] = [*status(bench, *stages)]
    if not draws:
        why = str(found.values.get("why_none") or "") if found else ""
        blocks += [missing(why or "There is no sequence of draws to show yet."), decisions("Decisions", stated(bench.job.draws), slim=True)]
        return [sheet("Draws", state_of(bench, STAGE), blocks)]
    assert found is not None
    scale: list[str] = []

    def cups_block() -> Block:
        made = cups(found, bench.width, 92.0)
        scale.append(made.said)
        return bench.svg(
            "draws-cups",
            made.svg,
            f"Blank and cups, cut through the axis, {made.said}; mean diameters and heights of the sheet's middle, without ears, mm.",
        )

    blocks.append(attempt("The cups", cups_block))
    third = (bench.width - 6.0 * (min(len(draws), 3) - 1)) / min(len(draws), 3)
    for start in range(0, len(draws), 3):
        blocks.append(row(*(attempt(f"The tools of draw {d['draw']}", _tools(bench, found, d, third)) for d in draws[start : start + 3])))
    blocks.append(_plan(draws))
    if run and run.values.get("draws"):
        blocks.append(attempt("The tryout of the draws", lambda: _table(run)))
        half = (bench.width - 6.0) / 2
        blocks.append(row(
            attempt("The forces", lambda: bench.svg("draws-forces", forces(run, half).svg, "Punch force over the stroke, a curve a draw.")),
            attempt("The thickness", lambda: bench.svg("draws-thickness", thickness(run, half, bench.job.sheet.thickness).svg, "Mean thickness of each ring after each draw, over its radius in the blank.")),
        ))  # fmt: skip
    blocks.append(row(decisions("Decisions", stated(bench.job.draws), slim=True), small("Notes", found.values.get("notes") or [])))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage in (STAGE, RUN)]))
    blocks.append(figures("Figures", [*found.figures, *(run.figures if run else ())]))
    blocks.append(small("Method and sources", [
        "Diameters follow the handbook's draw ratios, spread evenly; each cup has the area of the blank at constant thickness. Every draw but the last leaves a cone of 45 degrees, on which the next one holds the cup down with a sleeve. "
        "The tryout draws all of them on one sheet, a quarter of it, and hands on thickness, strains and hardening; forces are those of the whole cup.", *origin(bench, *stages),
    ]))  # fmt: skip
    return [sheet("Draws", state_of(bench, *stages), blocks, scale=scale[0] if scale else "")]


def _tools(bench: Bench, found: Result, draw: dict[str, Any], width: float) -> Any:
    def make() -> Block:
        k = int(draw["draw"])
        fields = {n: found.meshes[f"{n}_{k}"] for n in TOOLS if f"{n}_{k}" in found.meshes}
        spread = max(float(np.ptp(f.mesh.points[:, 0])) for f in fields.values())
        lifts: dict[str, float] = {}
        top = 0.0
        for n, one in fields.items():
            z = one.mesh.points[:, 2]
            lifts[n] = top - float(z.min()) if lifts else -float(z.min())
            top = lifts[n] + float(z.max()) + 0.2 * spread
        both = apart(fields, lifts)
        picture = Picture(f"draws-tools-{k}", both, segments_of(both, None), width, 78.0, f"Tools of draw {k}")
        return bench.picture(picture, f"{str(draw['kind']).capitalize()} {k}: from below {', '.join(fields)}, apart.")

    return make


def cups(found: Result, width: float, tallest: float) -> Drawing:
    """Blank and cups side by side to one standard scale, with diameter, height and bottom radius."""
    draws, blank = found.values["draws"], float(found.values["blank_diameter"])
    lines = [np.asarray(found.arrays[f"meridian_{d['draw']}"], dtype=float) for d in draws]
    wide = [blank, *(2.0 * float(m[:, 0].max()) for m in lines)]
    tall = max(float(m[:, 1].max()) for m in lines)
    gap = 12.0
    room = (width - 8.0 - gap * len(wide), tallest - 26.0 - CHECK_HEIGHT)
    scale = next((s for s in SCALES if sum(wide) * s <= room[0] and tall * s <= room[1]), SCALES[-1])
    svg = Svg(width, tall * scale + 26.0 + CHECK_HEIGHT)
    base = 6.0 + tall * scale
    free = (width - 8.0 - sum(wide) * scale) / len(wide)
    heavy = max(float(found.values.get("thickness") or 0.0) * scale, 0.3)
    left = 2.0
    for i, w in enumerate(wide):
        x = left + w * scale / 2
        left += w * scale + free
        half = w * scale / 2
        high = 0.0
        if i == 0:
            svg.line(x - half, base, x + half, base, width=heavy)
        else:
            m = lines[i - 1] * scale
            high = float(m[:, 1].max())
            svg.path(
                np.concatenate([np.column_stack([x - m[::-1, 0], base - m[::-1, 1]]), np.column_stack([x + m[:, 0], base - m[:, 1]])]),
                width=heavy,
            )
        svg.line(x, base - high - 3.0, x, base + 2.5, width=0.13, dash="2.4 0.6 0.4 0.6")
        y = base + 8.0
        for end in (x - half, x + half):
            svg.line(end, base + 1.5, end, y + 1.2, width=0.18)
        svg.arrow(x - half, y, x + half, y, width=0.18, both=True)
        svg.text(x, y - 0.9, f"Ø{quantity(float(w if i == 0 else draws[i - 1]['diameter']), '', 4)}", anchor="middle", halo=True)
        if i:
            d = draws[i - 1]
            side = x + half + 5.0
            for v in (base, base - high):
                svg.line(x + half + 1.0, v, side + 1.2, v, width=0.18)
            svg.arrow(side, base, side, base - high, width=0.18, both=True)
            svg.text(side - 0.9, base - high / 2, quantity(float(d["height"]), "", 4), anchor="middle", turn=-90, halo=True)
            svg.text(
                x - half / 2,
                base - min(4.0, 0.3 * high),
                f"R{quantity(float(d['punch_radius']), '', 3, trim=True)}",
                anchor="middle",
                size=2.5,
                halo=True,
            )
        svg.text(x, base + 14.0, "blank" if i == 0 else f"{draws[i - 1]['kind']} {draws[i - 1]['draw']}", anchor="middle", italic=True)
    check_bar(svg, 0.2, float(svg.height) - CHECK_HEIGHT + 1.0)
    return Drawing(svg, scale)


def _plan(draws: list[dict[str, Any]]) -> Block | None:
    names = ("Draw", "Diameter", "Ratio", "Height", "Punch Ø", "Punch R", "Die Ø", "Die R", "Gap", "Stroke", "Holder, kN")
    rows = [
        [f"{d['kind']} {d['draw']}", f"{d['diameter']:.2f}", f"{d['ratio']:.3f}" if d["kind"] != "restrike" else "–", f"{d['height']:.1f}", f"{d['punch_diameter']:.2f}", said(d["punch_radius"], "", 3),
         f"{d['die_diameter']:.2f}", said(d["die_radius"], "", 3), f"{d['clearance']:.2f}", f"{d['stroke']:.1f}", said(1e-3 * d["holder_force"], "", 3) if d["holder_force"] > 0 else "–"]
        for d in draws
    ]  # fmt: skip
    return table(
        "The draws, mm; diameters of the sheet's middle",
        [(n, "right" if i else "left", 0.0 if i else 1.0) for i, n in enumerate(names)],
        rows,
    )


def _table(run: Result) -> Block | None:
    rows = run.values["draws"]
    shown = [c for c in COLUMNS if any(isinstance(r.get(c[0]), (int, float)) for r in rows)]

    def cell(value: Any, places: int) -> str:
        return f"{value:.{places}f}".replace("-", "\u2212") if isinstance(value, (int, float)) and np.isfinite(value) else "–"

    return table(
        "What each draw did in the tryout", [("Draw", "left", 1.0), *((n, "right", 0.0) for _, n, _ in shown)],
        [[f"{r['kind']} {r['draw']}", *(cell(r.get(k), p) for k, _, p in shown)] for r in rows], str(run.values.get("why") or ""),
    )  # fmt: skip


def forces(run: Result, width: float, height: float = 50.0) -> Plot:
    """Punch force over the stroke, a curve a draw."""
    t = {k: np.asarray(c, dtype=float) for k, c in run.tables["press_curve"].items()}
    plot = Plot(
        width,
        height,
        (0.0, end_of(t["stroke_mm"], 1.0)),
        (0.0, end_of(t["punch_kN"], 1.12)),
        "stroke from first touch, mm",
        "punch force, kN",
    )
    for n, r in enumerate(run.values["draws"]):
        at = np.round(t["draw"]) == r["draw"]
        plot.curve(t["stroke_mm"][at], t["punch_kN"][at], f"{r['kind']} {r['draw']}", where=0.3 + 0.15 * n, width=0.3)
    return plot


def thickness(run: Result, width: float, bought: float, height: float = 50.0) -> Plot:
    """Thickness of the rings after each draw."""
    rows: list[tuple[str, Floats, Floats]] = []
    for r in run.values["draws"]:
        p = run.tables.get(f"profile_{r['draw']}")
        if p is not None:
            rows.append(
                (f"{r['kind']} {r['draw']}", np.asarray(p["blank_radius_mm"], dtype=float), np.asarray(p["thickness_mm"], dtype=float))
            )
    every = np.concatenate([np.array([bought]), *(y for _, _, y in rows)])
    pad = 0.08 * float(np.ptp(every)) or 0.05
    plot = Plot(
        width,
        height,
        (0.0, max(float(x.max()) for _, x, _ in rows)),
        (float(every.min()) - pad, float(every.max()) + pad),
        "radius in the blank, mm",
        "thickness, mm",
    )
    plot.curve(np.array(plot.x), np.array([bought, bought]), "as bought", where=0.0, width=0.25, dash="1.2 0.8", above=False)
    for n, (name, x, y) in enumerate(rows):
        plot.curve(x, y, name, where=0.35 + 0.18 * n, width=0.3)
    return plot

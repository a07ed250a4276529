"""The page Blank: strains on part and flat, the developed blank true to scale, the nest."""

from __future__ import annotations

from typing import Any

import numpy as np

from diewright.book.paper import drawing
from diewright.book.paper.blocks import (
    Bench,
    Block,
    attempt,
    decisions,
    figures,
    findings,
    in_press_units,
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
from diewright.book.paper.colours import GREY, INK
from diewright.book.paper.digits import said
from diewright.book.paper.page_sheet import limit as limit_plot
from diewright.book.paper.pictures import RULER, Picture, segments_of
from diewright.book.paper.svgplot import Plot
from diewright.book.paper.words import rows_of, stated
from diewright.geometry.mesh import Floats
from diewright.job.stage import Result

KEYS = (
    "area",
    "perimeter",
    "mass_kg",
    "flange_area",
    "margin_min_pct",
    "thinning_max_pct",
    "thickening_max_pct",
    "wrinkle_index_max",
    "converged",
)


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page: strains, developed blank, nest."""
    return [_strains(bench), *_developed(bench), *_nest(bench)]


def _strains(bench: Bench) -> dict[str, Any]:
    found = bench.result("blank")
    blocks: list[Block | None] = [*status(bench, "blank")]
    half = (bench.width - 6.0) / 2
    if found and "part" in found.meshes:
        edges = _edges(bench)
        pair = row(
            attempt("The picture of the thinning", lambda: _thinning(bench, found, edges, half)),
            attempt("The picture of the flat blank", lambda: _flat(bench, found, half)),
        )
        # the large picture takes what the two small ones leave of the first sheet
        under = max(float(b.get("height", 6.0)) for b in pair.get("blocks", [pair])) if pair else 0.0
        tallest = bench.height - 24.0 - under - RULER - sum(10.0 for b in blocks if b)
        blocks += [attempt("The picture of the margin", lambda: _margin(bench, found, edges, max(tallest, 60.0))), pair]
    else:
        blocks.append(missing("There is no blank to show yet."))
    sheet_result = bench.result("sheet")
    plot = None
    if found and sheet_result and "part" in found.meshes and "limit" in sheet_result.tables:
        plot = attempt(
            "The strains",
            lambda: bench.svg(
                "strains", strains(found, sheet_result, half).svg, "Strains of every triangle against the forming limit (true strain)."
            ),
        )
    blocks.append(
        row(plot, stack(decisions("Decisions", stated(bench.job.blank), slim=True), numbers("The developed blank", _numbers(bench))))
    )
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == "blank"]))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append(_iterations(bench))
    blocks.append(small("Method and sources", [
        "One-step inverse solution: the flat blank whose straightest way into the part costs the least work. Margin is the distance to the forming limit in major engineering strain, "
        "negative beyond it. Thinning is positive where the metal gets thinner. Flags name the extreme triangles; colours are averaged to the points.",
        *origin(bench, "blank"),
    ]))  # fmt: skip
    return sheet("Blank", state_of(bench, "blank"), blocks)


def _edges(bench: Bench) -> Floats | None:
    """The edges of what is drawn, if the blank was worked on the draw shape they belong to."""
    drawn, blank, shape = (
        bench.result("shape"),
        bench.states["blank"].entry,
        bench.states["shape"].entry if "shape" in bench.states else None,
    )
    if drawn is None or blank is None or shape is None or blank.provenance.get("upstream", {}).get("shape") != shape.key:
        return None
    return drawn.arrays.get("feature_edges")


def _field(found: Result, mesh: str, name: str) -> Floats:
    return np.asarray(found.meshes[mesh].cell[name], dtype=float)


def _margin(bench: Bench, found: Result, edges: Floats | None, tallest: float) -> Block:
    fields = found.meshes["part"]
    values = _field(found, "part", "margin_pct")
    wanted = bench.job.blank.margin_wanted
    top = float(max(np.percentile(values, 99.0), wanted * 1.5))
    low = float(min(values.min(), 0.0))
    return bench.picture(Picture(
        "margin", fields, segments_of(fields, edges), bench.width, tallest, "Margin to necking, percent points", "", values=values, scale="batlow",
        span=(low, top), limit=(wanted, "wanted"), low="least margin",
    ))  # fmt: skip


def _thinning(bench: Bench, found: Result, edges: Floats | None, width: float) -> Block:
    fields = found.meshes["part"]
    return bench.picture(Picture(
        "thinning", fields, segments_of(fields, edges), width, 62.0, "Thinning", "%", values=_field(found, "part", "thinning_pct"), scale="vik", about_zero=True,
        limit=(bench.job.blank.thinning_limit, "limit"), low="thickest", high="thinnest",
    ))  # fmt: skip


def _flat(bench: Bench, found: Result, width: float) -> Block:
    fields = found.meshes["flat"]
    values = _field(found, "flat", "margin_pct")
    wanted = bench.job.blank.margin_wanted
    span = (float(min(values.min(), 0.0)), float(max(np.percentile(values, 99.0), wanted * 1.5)))
    return bench.picture(Picture(
        "flat", fields, segments_of(fields, None), width, 62.0, "Margin on the flat, percent points", "", values=values, scale="batlow", span=span,
        limit=(wanted, "wanted"), low="least margin", flat=True,
    ))  # fmt: skip


def strains(found: Result, sheet_result: Result, width: float, height: float = 78.0) -> Plot:
    """The strains of every triangle in the forming limit diagram; those beyond the limit stand out."""
    cell = found.meshes["part"].cell
    minor, major, margin = (np.asarray(cell[k], dtype=float) for k in ("minor", "major", "margin_pct"))
    beyond = margin < 0

    def cloud(plot: Plot) -> None:
        plot.dots(minor[~beyond], major[~beyond], colour=GREY, size=0.5)
        plot.dots(minor[beyond], major[beyond], colour=INK, size=0.9)

    plot = limit_plot(sheet_result, width, height, cloud)
    worst = int(np.argmin(margin))
    if plot.x[0] <= minor[worst] <= plot.x[1] and plot.y[0] <= major[worst] <= plot.y[1]:
        plot.mark(float(minor[worst]), float(major[worst]), "least margin", side="right" if minor[worst] < 0.1 else "left")
    return plot


def _numbers(bench: Bench) -> list[list[str]]:
    v = bench.values("blank")
    rows = []
    if v.get("bbox"):
        rows.append(["Overall size", f"{said(v['bbox'][0], '', 4)} × {said(v['bbox'][1], 'mm', 4)}"])
    rows += rows_of(v, KEYS)
    if v.get("blankholder_force") is not None:
        rows.append(["Blankholder force used", in_press_units(v["blankholder_force"], "N")])
    cut = v.get("cut") or {}
    if cut:
        rows.append(
            [
                "Outline for cutting",
                f"lines {said(cut.get('lines', 0))}, arcs {said(cut.get('arcs', 0))}, splines {said(cut.get('splines', 0))}",
            ]
        )
        rows.append(["Outline departs from the solution by", said(cut.get("deviation"), "mm", 2)])
    if bench.result("blank"):
        rows.append(["Allowance all round", said(bench.job.blank.trim_allowance, "mm")])
    return rows


def _iterations(bench: Bench) -> Block | None:
    steps = bench.values("blank").get("iterations") or []
    if not steps:
        return None
    first, last = steps[0], steps[-1]
    return small("How the solution settled", [
        f"{len(steps)} iterations; residual from {said(first.get('residual'), '', 2)} to {said(last.get('residual'), '', 2)}, last step {said(last.get('step'), '', 2)}."
    ])  # fmt: skip


def _developed(bench: Bench) -> list[dict[str, Any]]:
    found = bench.result("blank")
    if not found or "outline" not in found.arrays:
        return []
    outline = np.asarray(found.arrays["outline"], dtype=float)[:, :2]
    if len(outline) < 3 or not np.isfinite(outline).all():
        return []
    size = tuple(float(v) for v in np.ptp(outline, axis=0))
    across, down = bench.width, bench.height
    room = drawing.blank_room((across, down - 16.0))
    scale, turned = drawing.fitting((size[0], size[1]), room), False
    if (on_end := drawing.fitting((size[1], size[0]), room)) > scale:
        scale, turned = on_end, True
    net = found.arrays.get("outline_net")
    holes = [
        (n, np.asarray(a, dtype=float)[:, :2])
        for n, a in sorted(found.arrays.items())
        if n.startswith("hole_") and a.ndim == 2 and a.shape[1] >= 2
    ]
    made: list[drawing.Drawing] = []

    def draw() -> Block:
        made.append(drawing.blank(
            outline, None if net is None else np.asarray(net, dtype=float)[:, :2], holes, bench.job.sheet.rolling_direction, across, scale, bench.job.sheet.thickness, turned=turned
        ))  # fmt: skip
        return bench.svg("developed", made[0].svg, "Drawn turned by 90° from the press position." if turned else "")

    block = attempt("The drawing of the developed blank", draw)
    blocks: list[Block | None] = [*status(bench, "blank"), block]
    left = down - 16.0 - (made[0].svg.height if made else 0.0)
    if left > 48.0:
        material = f"{bench.job.sheet.material}, {said(bench.job.sheet.thickness, 'mm')} thick"
        rows = [["Sheet", material], *_files(found), *_numbers(bench)]
        half = (len(rows) + 1) // 2
        blocks.append(row(numbers("For the shop", rows[:half]), numbers("\u200b", rows[half:])))
    return [sheet("Developed blank", state_of(bench, "blank"), blocks, scale=made[0].said if made else "")]


def _files(found: Result) -> list[list[str]]:
    return [["Cut from the file", ", ".join(sorted(found.files))]] if found.files else []


def _nest(bench: Bench) -> list[dict[str, Any]]:
    values, found = bench.values("nest"), bench.result("nest")
    blocks: list[Block | None] = [*status(bench, "nest")]
    layouts = values.get("layouts") or []
    chosen = values.get("chosen", 0)
    made: list[drawing.Drawing] = []
    if found and layouts and f"placed_{chosen}" in found.arrays:

        def draw() -> Block:
            layout = layouts[chosen]
            made.append(
                drawing.nest(found.arrays[f"placed_{chosen}"], float(layout["strip_width"]), float(layout["pitch"]), bench.width, 105.0)
            )
            return bench.svg(
                "nest", made[0].svg, f"Layout {layout.get('layout', '')}, {said(layout.get('utilisation_pct'), '%', 3)} of the strip used."
            )

        blocks.append(attempt("The drawing of the nest", draw))
    else:
        blocks.append(missing("There is no nest to show yet."))
    blocks.append(_layouts(layouts, chosen))
    rule = str(values.get("web_rule", ""))
    sources = small("Method and sources", [f"Webs: {rule}." if rule else "", *origin(bench, "nest")])
    blocks.append(row(decisions("Decisions", stated(bench.job.nest), slim=True), sources))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == "nest"]))
    blocks.append(figures("Figures", found.figures if found else ()))
    return [sheet("Nest", state_of(bench, "nest"), blocks, scale=made[0].said if made else "")]


def _layouts(layouts: list[dict[str, Any]], chosen: int) -> Block | None:
    names = (
        "pitch",
        "strip_width",
        "angle_deg",
        "web",
        "edge_web",
        "utilisation_pct",
        "parts_per_pitch",
        "coil_kg_per_1000",
        "parts_per_sheet",
    )
    units = ("mm", "mm", "deg", "mm", "mm", "%", "", "kg", "")
    heads = ("Pitch", "Strip width", "Turned by", "Web", "Edge web", "Metal used", "Parts a pitch", "Coil for 1000", "Parts a sheet")
    shown = [i for i, n in enumerate(names) if any(row_.get(n) not in (None, 0) for row_ in layouts)]
    rows = [
        [
            str(row_.get("layout", "")) + (", chosen" if k == chosen else ""),
            *(said(row_.get(names[i]), units[i], 4 if i < 2 else 3) for i in shown),
        ]
        for k, row_ in enumerate(layouts)
    ]
    return table("Layouts", [("Layout", "left", 1.0), *((heads[i], "right", 0.0) for i in shown)], rows)

"""The page Cutting: cut lines on the drawn sheet, forces, punches, edges; scrap and steels from above; the cuts on the flat blank true to scale."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from diewright.book.paper import cutting_tables, drawing
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
)  # fmt: skip
from diewright.book.paper.cutting_drawing import Area, edge, plan
from diewright.book.paper.digits import said
from diewright.book.paper.pictures import Picture, segments_of
from diewright.book.paper.svgplot import Plot, end_of
from diewright.book.paper.words import plain, stated
from diewright.geometry.mesh import Floats
from diewright.job.stage import Result

STAGE = "trim"
STAGES = ("trim", "cutting", "scrap")


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page: cuts and loads, scrap and steels, the flat blank."""
    return [_cuts(bench), *_scrap(bench), *_flat(bench)]


def _known(bench: Bench) -> list[str]:
    return [s for s in STAGES if s in bench.states]


def _cuts(bench: Bench) -> dict[str, Any]:
    trim, cutting = bench.result("trim"), bench.result("cutting")
    known = _known(bench)
    blocks: list[Block | None] = [*status(bench, *known)]
    if trim and "drawn" in trim.meshes:
        blocks.append(attempt("The picture of the cut lines", lambda: _picture(bench, trim)))
    else:
        blocks.append(missing("There are no cut lines to show yet."))
    if trim:
        blocks.append(attempt("The table of the cuts", lambda: cutting_tables.cuts(trim, cutting)))
    if cutting:
        width = (bench.width - 6.0) / 2
        force = attempt("The force over the way", lambda: _force(bench, cutting, width))
        cut = max(cutting.values["cuts"], key=lambda c: c["length_mm"], default=None)
        section = None
        if cut is not None:
            section = attempt(
                "The cut edge", lambda: bench.svg("cut-edge", edge(cut, width), f"The cut edge of {cutting_tables.name_of(cut['id'])}.")
            )
        blocks.append(row(force, section))
        blocks += [
            cutting_tables.operations(cutting),
            *cutting_tables.punches(cutting),
            cutting_tables.springs(cutting),
            cutting_tables.webs(cutting),
        ]
    blocks.append(
        row(
            decisions("Stated: cut lines", stated(bench.job.trim, skip=("line",)), slim=True),
            decisions("Stated: cutting", stated(bench.job.cutting), slim=True),
        )
    )  # fmt: skip
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage in (*STAGES, "developed")]))
    blocks.append(figures("Figures", [f for r in (trim, cutting) if r for f in r.figures]))
    said_before: list[str] = []
    for stage in ("cutting", "scrap"):
        said_before += [c for c in bench.values(stage).get("cautions") or () if c not in said_before]
    blocks.append({"kind": "cautions", "title": "Cautions", "lines": [plain(c) for c in said_before]})
    blocks.append(small("Method and sources", [
        "The sheet that is cut is that of the one-step solution, up to the blank's edge as far as it is known without a tryout. Force: shear strength times the wall being parted, point by point over the way of the steel.",
        *origin(bench, *known),
    ]))  # fmt: skip
    return sheet("Cutting", state_of(bench, *known), blocks)


def _picture(bench: Bench, trim: Result) -> Block:
    fields = trim.meshes["drawn"]
    lines = [np.asarray(trim.arrays[f"cut_{c['id']}"], dtype=float) for c in trim.values["cuts"] if f"cut_{c['id']}" in trim.arrays]
    segments = [np.stack([p, np.roll(p, -1, axis=0)], axis=1) for p in lines if len(p) > 1]
    values = np.asarray(fields.cell["lean_deg"], dtype=float)
    limit = float(trim.values.get("limits", {}).get("most", bench.job.trim.lean_most))
    edges = segments_of(fields, np.concatenate(segments) if segments else None)
    picture = Picture("cut-lines", fields, edges, bench.width, 84.0, "Lean of the sheet under a steel that goes straight down", "deg", values=values, scale="lajolla", reverse=True, span=(0.0, 90.0), limit=(limit, "largest lean"), lines=False)  # fmt: skip
    return bench.picture(picture, "The drawn sheet with its cut lines.")


def _force(bench: Bench, cutting: Result, width: float) -> Block:
    least = float(np.nanmin(np.asarray(cutting.tables["force"]["capacity_kN"], dtype=float), initial=np.inf))
    said_press = f" The press gives {said(least, 'kN', 3)} or more here." if math.isfinite(least) else ""
    return bench.svg(
        "cut-force", force(cutting, width).svg, f"The {cutting.values['heaviest']}, all cuts together, from first touch.{said_press}"
    )


def force(cutting: Result, width: float, height: float = 62.0) -> Plot:
    """Force of the heaviest operation over the way from first touch, with and without shear, pad and slide; the peak is marked."""
    t = {k: np.asarray(v, dtype=float) for k, v in cutting.tables["force"].items()}
    x, flat, sheared, slide = t["stroke_mm"], t["flat_kN"], t["sheared_kN"], t["slide_kN"]
    top = end_of(np.concatenate([flat, slide]), 1.2)
    plot = Plot(width, height, (0.0, end_of(x, 1.0)), (0.0, top), "way from first touch, mm", "force, kN")
    if float(np.nanmin(t["capacity_kN"], initial=np.inf)) <= top:
        plot.curve(x, t["capacity_kN"], "the press gives", where=0.7, width=0.3)
    if float(np.nanmax(np.abs(flat - sheared), initial=0.0)) > 0.002 * max(float(np.nanmax(flat, initial=0.0)), 1e-9):
        plot.curve(x, flat, "plain steels", where=0.25, width=0.25, dash="2 0.9")
    plot.curve(x, sheared, "cuts", where=0.06, above=False, width=0.25)
    plot.curve(x, t["pad_kN"], "pad and strippers", where=0.8, above=False, width=0.25, dash="0.8 0.8")
    plot.curve(x, slide, "")
    i = int(np.nanargmax(slide))
    plot.mark(float(x[i]), float(slide[i]), f"slide {said(float(slide[i]), 'kN', 3)}", side="left" if x[i] > 0.6 * x[-1] else "right")
    return plot


def _scrap(bench: Bench) -> list[dict[str, Any]]:
    found, trim = bench.result("scrap"), bench.result("trim")
    if "scrap" not in bench.states:
        return []
    blocks: list[Block | None] = [*status(bench, "scrap")]
    scales: list[str] = []
    if found and trim:
        lines = [np.asarray(trim.arrays[f"cut_{c['id']}"], dtype=float) for c in trim.values["cuts"] if f"cut_{c['id']}" in trim.arrays]
        half = (bench.width - 6.0) / 2
        pieces, choppers = _areas(found), _choppers(found)
        if pieces:
            blocks.append(attempt("The plan of the scrap", lambda: _plan(bench, "scrap-plan", lines, pieces, choppers, bench.width, 96.0, scales, "Pieces of scrap with the way they fall; choppers in wide line.")))  # fmt: skip
        else:
            blocks.append(missing("Nothing is cut off in pieces."))
        steels = [(upper, _bodies(found, upper)) for upper in (True, False)]
        pair = [
            attempt("The plan of the steels", lambda u=upper, b=bodies: _plan(bench, f"steels-{'upper' if u else 'post'}", lines, b, _joints(found), half, 78.0, scales, "Upper steels." if u else "Post."))  # type: ignore[misc]
            for upper, bodies in steels
            if bodies
        ]  # fmt: skip
        blocks += [row(*pair), cutting_tables.scrap_numbers(found), cutting_tables.pieces(found), cutting_tables.steels(found)]
    else:
        blocks.append(missing("There is no scrap to show yet."))
    blocks.append(decisions("Decisions", stated(bench.job.scrap), slim=True))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append(
        small(
            "Method and sources",
            [
                "Directions in which a piece comes off the post are found exactly in plan; friction and oil are not in it.",
                *origin(bench, "scrap"),
            ],
        )
    )
    return [sheet("Scrap and steels", state_of(bench, "scrap"), blocks, scale=scales[0] if len(set(scales)) == 1 else "")]


def _plan(bench: Bench, name: str, lines: list[Floats], areas: list[Area], strokes: list[Floats], width: float, tallest: float, scales: list[str], caption: str) -> Block:  # fmt: skip
    made = plan(lines, areas, strokes, width, tallest, bar=width == bench.width)
    scales.append(made.said)
    return bench.svg(name, made.svg, f"{caption} {made.said}.")


def _areas(found: Result) -> list[Area]:
    t = found.tables.get("pieces") or {}
    out = []
    for k, number in enumerate(t.get("piece", ())):
        outline = found.arrays.get(f"piece_{int(number)}")
        if outline is None or len(outline) < 3:
            continue
        angle, slug = float(t["way_deg"][k]), bool(t["slug"][k])
        way = None if slug or not math.isfinite(angle) else np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
        out.append(Area(np.asarray(outline, dtype=float)[:, :2], int(number), way, hatched=way is None and not slug))
    return out


def _choppers(found: Result) -> list[Floats]:
    t = found.tables.get("choppers") or {}
    return [
        np.array([[a, b], [c, d]])
        for a, b, c, d in zip(t.get("x_mm", ()), t.get("y_mm", ()), t.get("end_x_mm", ()), t.get("end_y_mm", ()), strict=True)
    ]


def _bodies(found: Result, upper: bool) -> list[Area]:
    """Bodies of steels of straight cuts; those of cams have no outline in plan."""
    t = found.tables.get("steels") or {}
    out = []
    for number, side in zip(t.get("steel", ()), t.get("upper", ()), strict=True):
        outline = found.arrays.get(f"steel_{int(number)}")
        if bool(side) == upper and outline is not None and len(outline) > 2:
            out.append(Area(np.asarray(outline, dtype=float), int(number)))
    return out


def _joints(found: Result) -> list[Floats]:
    t = found.tables.get("joints") or {}
    return [np.array([[a - 1.5, b], [a + 1.5, b]]) for a, b in zip(t.get("across_1_mm", ()), t.get("across_2_mm", ()), strict=True)]


def _flat(bench: Bench) -> list[dict[str, Any]]:
    """The cuts laid back on the blank, true to scale, and what the developed blank came to."""
    trim, blank, developed = bench.result("trim"), bench.result("blank"), bench.result("developed")
    if not trim or not blank or "outline" not in blank.arrays:
        return []
    outline = np.asarray(blank.arrays["outline"], dtype=float)[:, :2]
    flats = {c["id"]: (c["kind"], np.asarray(trim.arrays[f"flat_{c['id']}"], dtype=float)) for c in trim.values["cuts"] if f"flat_{c['id']}" in trim.arrays}  # fmt: skip
    holes = [(n, ring) for n, (kind, ring) in flats.items() if kind == "pierce" and np.isfinite(ring).all()]
    trims = [ring for kind, ring in flats.values() if kind == "trim" and np.isfinite(ring).all() and len(ring) > 2]
    size = np.ptp(outline, axis=0)
    room = drawing.blank_room((bench.width, bench.height - 16.0))
    turned = drawing.fitting((float(size[1]), float(size[0])), room) > drawing.fitting((float(size[0]), float(size[1])), room)
    scale = drawing.fitting((float(size[1]), float(size[0])) if turned else (float(size[0]), float(size[1])), room)
    made = drawing.blank(
        outline, trims[0] if trims else None, holes, bench.job.sheet.rolling_direction, bench.width, scale, bench.job.sheet.thickness, turned=turned, net_name="cut line",
    )  # fmt: skip
    blocks: list[Block | None] = [*status(bench, "trim"), bench.svg("cut-flat", made.svg, "Cut lines laid back on the blank by the one-step solution." + (" Drawn turned by 90° from the press position." if turned else ""))]  # fmt: skip
    if developed:
        blocks.append(attempt("The runs of the developed blank", lambda: cutting_tables.iterations(developed)))
    return [sheet("Cuts on the flat", state_of(bench, "trim"), blocks, scale=made.said)]

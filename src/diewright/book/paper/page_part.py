"""The page Part: the shape in its tipped position, its draft, and what was measured on it."""

from __future__ import annotations

from typing import Any

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
from diewright.book.paper.digits import said
from diewright.book.paper.pictures import RULER, Picture, segments_of
from diewright.book.paper.words import rows_of, stated
from diewright.job.stage import Result

WHERE = ("part", "tipping")
OPENED = [("Flange", "left", 1.0), ("Bend", "left", 1.0), ("Bent by deg", "right", 1.0), ("Drawn at deg", "right", 1.0), ("Bend radius mm", "right", 1.0), ("Developed mm", "right", 1.0), ("Largest strain %", "right", 1.0)]  # fmt: skip


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page."""
    part, tip = bench.values("part"), bench.values("tipping")
    blocks: list[Block | None] = [*status(bench, *WHERE)]
    found = bench.result("tipping")
    if found and "part" in found.meshes:
        blocks += [
            attempt("The picture of the depth", lambda: _depth(bench, found)),
            attempt("The picture of the draft", lambda: _draft(bench, found)),
        ]
    elif (first := bench.result("part")) and "part" in first.meshes:
        blocks.append(attempt("The picture of the shape", lambda: _bare(bench, first)))
    else:
        blocks.append(missing("There is no shape to show yet."))
    blocks.append(decisions("Decisions", stated(bench.job.part)))
    blocks.append(
        row(
            numbers("The shape as it was read", _shape(part)),
            stack(numbers("Measured in the press position", _measured(tip)), _undercuts(tip)),
        )
    )
    blocks.append(row(_holes(part), _audit(part)))
    blocks.append(_candidates(tip))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage in WHERE]))
    blocks.append(figures("Figures", [f for s in WHERE if (r := bench.result(s)) for f in r.figures]))
    blocks.append(small("Method and sources", [
        "Depth is measured along the press direction from the highest point; draft is the angle of a wall from the press direction, negative where it undercuts.",
        "Pictures are parallel projections; the scale bar holds in the picture plane. Colour scales: F. Crameri, Scientific colour maps (2023).",
        *origin(bench, *WHERE),
    ]))  # fmt: skip
    return [sheet("Part", state_of(bench, *WHERE), blocks, aside=bench.job.part.file), *_first(bench)]


def _first(bench: Bench) -> list[dict[str, Any]]:
    """A sheet of its own for a draw shape that is another than the part."""
    found = bench.result("shape")
    if found is None or not found.values.get("changed"):
        return []
    shape = found.meshes["part"]
    picture = Picture(
        "drawn-first", shape, segments_of(shape, found.arrays.get("feature_edges")), bench.width, 100.0, "What is drawn first"
    )
    opened = [
        [said(f["number"]), f["how"], said(f["angle_was_deg"], "", 4), said(f["angle_deg"], "", 3), said(f["bend_radius"], "", 3), said(f["developed"], "", 5), said(f["strain_max_pct"], "", 2)]
        for f in found.values["flanges"]
    ]  # fmt: skip
    blocks: list[Block | None] = [
        *status(bench, "shape"),
        attempt("The picture of the draw shape", lambda: bench.picture(picture)),
        decisions("Decisions", stated(bench.job.shape)),
        table("Flanges drawn open", OPENED, opened),
        findings("Findings", [j for j in bench.judged if j.stage == "shape"]),
        figures("Figures", list(found.figures)),
        small("Method and sources", [
            "Two parts in one draw are joined by a surface tangent to both along the edges that face each other. A straight bend is opened with its arc length kept on the middle surface, a curved one with as little strain as can be.",
            *origin(bench, "shape"),
        ]),
    ]  # fmt: skip
    return [sheet("Draw shape", state_of(bench, "shape"), blocks)]


def _half(bench: Bench) -> float:
    """Height [mm] of each of two pictures that share a sheet."""
    return (bench.height - 26.0 - 10.0 * len(status(bench, *WHERE))) / 2 - RULER


def _bare(bench: Bench, found: Result) -> Block:
    fields = found.meshes["part"]
    return bench.picture(
        Picture("part", fields, segments_of(fields, found.arrays.get("feature_edges")), bench.width, 100.0, "Shape as it was read")
    )


def _depth(bench: Bench, found: Result) -> Block:
    fields = found.meshes["part"]
    return bench.picture(Picture(
        "depth", fields, segments_of(fields, found.arrays.get("feature_edges")), bench.width, _half(bench), "Depth below the highest point", "mm",
        values=fields.point["depth"], scale="lapaz", reverse=True, high="deepest",
    ))  # fmt: skip


def _draft(bench: Bench, found: Result) -> Block:
    fields = found.meshes["part"]
    return bench.picture(Picture(
        "draft", fields, segments_of(fields, found.arrays.get("feature_edges")), bench.width, _half(bench), "Draft of the walls", "deg",
        values=fields.cell["draft_deg"], scale="batlow", span=(-5.0, 25.0), limit=(0.0, "no draft"), low="least draft", lines=False,
    ))  # fmt: skip


def _shape(part: dict[str, Any]) -> list[list[str]]:
    rows = rows_of(part, ("format", "unit", "unit_source", "kind", "skin", "thickness_found", "bodies", "faces"))
    box = part.get("bbox")
    if box:
        rows.append(["Size along the CAD axes", " × ".join(said(float(b - a), "", 4) for a, b in zip(box[0], box[1], strict=True)) + " mm"])
    mesh = part.get("mesh") or {}
    if mesh:
        rows.append(["Mesh", f"{said(mesh.get('triangles'))} triangles, {said(mesh.get('points'))} points"])
        rows.append(
            [
                "Edge of a triangle",
                f"{said(mesh.get('edge_min'), '', 3)} to {said(mesh.get('edge_max'), 'mm', 3)}, median {said(mesh.get('edge_median'), 'mm', 3)}",
            ]
        )
        rows.append(["Distance of mesh and surface", said(mesh.get("chord_error"), "mm", 2)])
        rows.append(["Least quality of a triangle", said(mesh.get("quality_min"), "", 2)])
    return rows


def _measured(tip: dict[str, Any]) -> list[list[str]]:
    rows = rows_of(tip, ("chosen",))
    if tip.get("direction"):
        rows.append(["Direction in part coordinates", said([round(float(v), 4) for v in tip["direction"]])])
    box = tip.get("plan_bbox")
    if box:
        rows.append(["Size seen from above", _box(box)])
    rows += rows_of(
        tip,
        (
            "depth",
            "developed_area",
            "undercut_area",
            "draft_min_deg",
            "radius_concave_min",
            "radius_convex_min",
            "volume",
            "mass_kg",
            "draw_ratio",
        ),
    )
    turned = tip.get("round") or {}
    if turned.get("is_round"):
        rows.append(["Round part, diameter", said(turned.get("diameter"), "mm")])
    return rows


def _box(box: Any) -> str:
    if isinstance(box[0], (list, tuple)):
        return " × ".join(said(float(b - a), "", 4) for a, b in zip(box[0], box[1], strict=True)) + " mm"
    return " × ".join(said(float(v), "", 4) for v in box) + " mm"


def _undercuts(tip: dict[str, Any]) -> Block | None:
    return table(
        "Regions under the press direction", [("Area", "right", 0), ("Worst angle", "right", 0), ("Centre", "left", 1.0)],
        [[said(u.get("area"), "mm2", 3), said(u.get("worst_angle"), "deg", 3), said([round(v, 1) for v in u.get("centre", [])], "mm")] for u in tip.get("undercut_regions") or []],
    )  # fmt: skip


def _holes(part: dict[str, Any]) -> Block | None:
    return table(
        "Holes", [("Hole", "left", 0), ("Size", "left", 1.0), ("Rim", "right", 0), ("Area", "right", 0)],
        [
            [h.get("id"), f"Ø{said(h['diameter'], 'mm')}" if h.get("diameter") else "not round", said(h.get("perimeter"), "mm"), said(h.get("area"), "mm2", 3)]
            for h in part.get("holes") or []
        ],
    )  # fmt: skip


def _audit(part: dict[str, Any]) -> Block | None:
    return table(
        "What was found in the file", [("What", "left", 1.0), ("Where", "left", 0.5), ("Count", "right", 0), ("Done", "left", 0)],
        [[a.get("what"), a.get("where") or "", said(a.get("count")), a.get("severity")] for a in part.get("audit") or []],
    )  # fmt: skip


def _candidates(tip: dict[str, Any]) -> Block | None:
    return table(
        "Press directions considered", [("Direction", "left", 0.3), ("Undercut", "right", 0), ("Depth", "right", 0), ("Score", "right", 0), ("Why", "left", 0.7)],
        [
            [
                said([round(float(v), 3) for v in c.get("direction", [])]), said(100.0 * c.get("undercut_share", 0.0), "%", 2), said(c.get("depth"), "mm", 4),
                said(c.get("score"), "", 3), c.get("why", ""),
            ]
            for c in (tip.get("candidates") or [])[:8]
        ],
    )  # fmt: skip

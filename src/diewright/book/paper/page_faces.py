"""The page Faces: die, punch and blankholder apart, their numbers and notes."""

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
from diewright.book.paper.digits import said
from diewright.book.paper.faces_section import section
from diewright.book.paper.page_tryout import apart
from diewright.book.paper.pictures import Picture, segments_of
from diewright.book.paper.words import stated
from diewright.job.stage import Result

STAGE = "faces"


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page."""
    found = bench.result(STAGE)
    blocks: list[Block | None] = [*status(bench, STAGE)]
    if found and "die" in found.meshes:
        blocks.append(attempt("The picture of the faces", lambda: _apart(bench, found)))
    else:
        blocks.append(missing("There are no faces to show yet."))
    made = found.values if found else {}
    scale: list[str] = []
    if found and "die" in found.meshes:
        blocks.append(attempt("The section", lambda: _section(bench, found, scale)))
    blocks.append(
        row(
            decisions("Decisions", stated(bench.job.faces), slim=True),
            stack(numbers("The faces", _numbers(made) if made else []), numbers("Blankholder surface and section", _holder(made.get("blankholder") or {})), small("Notes", made.get("notes") or [])),
        )
    )  # fmt: skip
    blocks.append(_beads(bench))
    blocks.append(attempt("The details", lambda: _details(bench)))
    blocks.append(_cad(bench))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage in (STAGE, "cad", "details")]))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append(small("Method and sources", [
        "Triangulations of the working faces in the closed position of the press: punch at the bottom, blankholder down on the sheet. The picture shows them lifted apart.", *origin(bench, STAGE),
    ]))  # fmt: skip
    return [sheet("Faces", state_of(bench, STAGE), blocks, scale=scale[0] if scale else "")]


def _apart(bench: Bench, found: Result) -> Block:
    height = max(float(found.meshes[n].mesh.points[:, 2].max() - found.meshes[n].mesh.points[:, 2].min()) for n in found.meshes)
    wide = float(max(found.meshes["die"].mesh.points[:, k].max() - found.meshes["die"].mesh.points[:, k].min() for k in (0, 1)))
    gap = height + 0.35 * wide
    lifts = {"die": 0.0}
    for n, name in enumerate(("blankholder", "punch"), 1):
        if name in found.meshes:
            lifts[name] = n * gap
    fields = apart(found.meshes, lifts)
    picture = Picture("faces", fields, segments_of(fields, None), bench.width, 92.0, "Die, blankholder and punch, lifted apart")
    return bench.picture(picture, "From below: die, blankholder, punch, lifted apart along the press direction.")


def _section(bench: Bench, found: Result, scale: list[str]) -> Block:
    """Along the longer side, through the middle of the punch opening."""
    opening = np.asarray(found.arrays["opening"], dtype=float)
    spread = np.ptp(opening, axis=0)
    axis = 1 if spread[0] >= spread[1] else 0
    at = float((opening[:, axis].min() + opening[:, axis].max()) / 2)
    t = bench.job.sheet.thickness
    made = section(
        {n: found.meshes[n].mesh for n in ("die", "punch", "blankholder") if n in found.meshes}, t, opening, axis, at, bench.width, 92.0
    )
    scale.append(made.said)
    where = said(round(at, 2) + 0.0, "mm")
    return bench.svg(
        "faces-section",
        made.svg,
        f"Section at {'xy'[axis]} {where} in the closed press, {made.said}. The sheet, {said(t, 'mm')} thick, lies on the die.",
    )


def _holder(b: dict[str, Any]) -> list[list[str]]:
    if not b:
        return []

    def span(pair: Any) -> str:
        a, z = pair
        return said(a, "", 3) if abs(z - a) < 1e-6 else f"{said(a, '', 3)} to {said(z, '', 3)}"

    depth = b.get("depth_most") or 0.0
    rows = [
        ["Blankholder surface", str(b.get("kind", ""))],
        ["Depth of the part's edge below it", "the edge lies in it" if depth < 1e-3 else f"{span((b['depth_least'], depth))} mm"],
    ]  # fmt: skip
    if b.get("kind") == "cylindrical":
        rows.append(["Its straight lines run at, from x", said(b.get("direction"), "deg", 3)])
    if b.get("apex"):
        rows.append(["Its lines meet in plan at x, y", ", ".join(f"{round(v, 1) + 0.0:.1f}" for v in b["apex"]) + " mm"])
    if b.get("rulings"):
        rows.append(["Its lines run at, from x", ", ".join(f"{r[2]:.1f}" for r in b["rulings"]) + "°"])
    if b.get("bend"):
        rows.append(["Its tightest bend", said(b["bend"], "mm", 3)])
    if b.get("gauss") is not None:
        rows.append(["Largest Gaussian curvature", said(b["gauss"] if abs(b["gauss"]) > 1e-12 else 0.0, "1/mm2", 2)])
    how = {"blend": "a blend", "profile": "land, radius, wall, radius", "wall": "its own wall"}
    rows.append(["The edge is led on by", how.get(str(b.get("lead_on")), str(b.get("lead_on")))])
    if b.get("wall_angle"):
        rows.append(["Led wall, from vertical", f"{span(b['wall_angle'])}°"])
    if b.get("punch_radius"):
        rows.append(["Radius into the led wall", f"{span(b['punch_radius'])} mm"])
    return rows


def _beads(bench: Bench) -> Block | None:
    """The draw bead that is stated, with what the details or the tryout made of it."""
    own, found, run = bench.job.tryout, bench.values("details").get("bead") or {}, bench.values("tryout").get("bead") or {}
    if own.bead_kind == "none":
        return None
    if found.get("kind") == own.bead_kind:
        made = [found.get("offset"), found.get("cut_length"), found.get("restraint"), found.get("uplift_kN")]
    elif run.get("kind") == own.bead_kind:
        made = [run.get("offset_mm"), run.get("length_mm"), run.get("restraint_N_per_mm"), run.get("uplift_kN")]
    else:
        made = [own.bead_offset, None, None, None]
    names = ("Bead", "Radius, mm", "Height, mm", "From the opening, mm", "Length, mm", "Restraint, N/mm", "Uplift, kN")
    cells = [f"{own.bead_kind}, along the punch opening", *(said(v, "", 3) for v in (own.bead_radius, own.bead_height, *made))]
    return table("Draw bead", [(n, "right" if i else "left", 0.0 if i else 1.0) for i, n in enumerate(names)], [cells])


def _details(bench: Bench) -> Block | None:
    """Pins, vents and spotting, where they were worked."""
    v = bench.values("details")
    if not v:
        return None
    pins, air = v.get("locators") or {}, v.get("vents") or {}
    held = "in its place" if pins.get("fixes") else "but for its turning" if pins.get("round") else "not in every direction"
    rows = [
        ["Pins for the blank", f"{said(pins.get('count'))}, {said(pins.get('diameter'), 'mm', 3)} thick"], ["They hold the blank", held], ["Least distance to the punch opening", said(pins.get("opening_least"), "mm", 3)],
        ["Vents, of those wanted", f"{said(air.get('count'))} of {said(air.get('wanted'))}"], ["Sheet thicker than the gap by at most", said(v.get("allowance_max"), "mm", 2)],
    ]  # fmt: skip
    areas = [
        [f"{face}: {name}", said(0.01 * mm2, "cm2", 3)]
        for face, found in (v.get("zones") or {}).items()
        for name, mm2 in found.items()
        if mm2 > 0
    ]
    return row(numbers("Pins and vents", rows), numbers("Areas by how they are spotted", areas))


def _cad(bench: Bench) -> Block | None:
    """The faces as true surfaces, where they were written."""
    found = bench.result("cad")
    if found is None or not found.values.get("tools"):
        return None
    names = (
        "Face",
        "Surfaces",
        "Part's own",
        "Offset exactly",
        "Fitted",
        "Largest gap, mm",
        "Tangent break",
        "Off the tryout's, mm",
        "Sewn",
    )
    rows = [
        [name, said(t["faces"]), said(t["kept"]), said(t["moved"]), said(t["fitted"]), f"{t['gap']:.4f}", f"{t['break_deg']:.2f}°", f"{t['deviation']['max']:.4f}", "valid" if t["valid"] else "not valid"]
        for name, t in found.values["tools"].items()
    ]  # fmt: skip
    files = ", ".join(sorted(found.files))
    moved = " Moved against springback." if found.values.get("moved") else ""
    return table("As CAD", [(n, "right" if i else "left", 0.0 if i else 1.0) for i, n in enumerate(names)], rows, f"Files: {files}.{moved}")


def _numbers(v: dict[str, Any]) -> list[list[str]]:
    return [
        ["Stroke from first touch", said(v.get("stroke"), "mm", 4)], ["Gap between punch and die", said(v.get("clearance"), "mm", 3)], ["Least die radius", said(v.get("die_radius"), "mm", 3)],
        ["Least punch radius", said(v.get("punch_radius"), "mm", 3)], ["Gap under the blankholder, closed", said(v.get("holder_gap"), "mm", 3)],
        ["Punch opening in plan", said(v.get("opening_area"), "mm2", 4)], ["Wall led out of the part's edge", said(bool(v.get("extended")))],
        ["Where they come from", "given as files" if v.get("kind") == "given" else "made from the part"],
        ["Moved against springback", f"by {v['shift_file']}, {said(v.get('shift_max_mm'), 'mm', 3)} at most" if v.get("shift_file") else "no"],
    ]  # fmt: skip

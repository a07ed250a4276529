"""The page Faces: die, punch and blankholder apart, their numbers and notes."""

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
)  # fmt: skip
from diewright.book.paper.digits import said
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
    blocks.append(
        row(
            decisions("Decisions", stated(bench.job.faces), slim=True),
            stack(numbers("The faces", _numbers(made) if made else []), small("Notes", made.get("notes") or [])),
        )
    )
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == STAGE]))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append(small("Method and sources", [
        "Triangulations of the working faces in the closed position of the press: punch at the bottom, blankholder down on the sheet. The picture shows them lifted apart.", *origin(bench, STAGE),
    ]))  # fmt: skip
    return [sheet("Faces", state_of(bench, STAGE), blocks)]


def _apart(bench: Bench, found: Result) -> Block:
    height = max(float(found.meshes[n].mesh.points[:, 2].max() - found.meshes[n].mesh.points[:, 2].min()) for n in found.meshes)
    wide = float(max(found.meshes["die"].mesh.points[:, k].max() - found.meshes["die"].mesh.points[:, k].min() for k in (0, 1)))
    gap = height + 0.35 * wide
    lifts = {"die": 0.0}
    for n, name in enumerate(("blankholder", "punch"), 1):
        if name in found.meshes:
            lifts[name] = n * gap
    fields = apart(found.meshes, lifts)
    picture = Picture("faces", fields, segments_of(fields, None), bench.width, 128.0, "Die, blankholder and punch, lifted apart")
    return bench.picture(picture, "From below: die, blankholder, punch, lifted apart along the press direction.")


def _numbers(v: dict[str, Any]) -> list[list[str]]:
    return [
        ["Stroke from first touch", said(v.get("stroke"), "mm", 4)], ["Gap between punch and die", said(v.get("clearance"), "mm", 3)], ["Least die radius", said(v.get("die_radius"), "mm", 3)],
        ["Least punch radius", said(v.get("punch_radius"), "mm", 3)], ["Gap under the blankholder, closed", said(v.get("holder_gap"), "mm", 3)],
        ["Punch opening in plan", said(v.get("opening_area"), "mm2", 4)], ["Wall led out of the part's edge", said(bool(v.get("extended")))],
        ["Where they come from", "given as files" if v.get("kind") == "given" else "made from the part"],
    ]  # fmt: skip

"""The stage ``trim``: every cut line on the drawn sheet, the steel's direction and angle along it, and where it lies on the flat blank."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.errors import InputError
from diewright.geometry.cut_line import inside_line
from diewright.job.schema import Job, TrimLine
from diewright.job.stage import InputFile, Result, Stage
from diewright.trim.lines.bend import Bends, NearBend
from diewright.trim.lines.between import Meeting, meetings
from diewright.trim.lines.cut import Cut, make_cut
from diewright.trim.lines.findings import Found, figures_of, findings_of
from diewright.trim.lines.mapping import spots
from diewright.trim.lines.rim import rim_of
from diewright.trim.lines.sheet import DrawnSheet, cut_out, drawn_sheet
from diewright.trim.lines.stated import stated_curves
from diewright.watch import Watch

Floats = NDArray[np.float64]
OVER = 0.1
"""A line that lies farther past the part's edge or the blank's than this lies over it [mm]."""


class TrimInputs(BaseModel):
    """What the stage reads of the job: stated lines, limits of the angle [deg], distances from bends [thicknesses] and between lines [mm], thickness [mm], whether holes are in the blank already."""

    model_config = ConfigDict(frozen=True)
    line: tuple[TrimLine, ...]
    lean_care: float
    lean_most: float
    knife: float
    bend_thicknesses: float
    web_least: Literal["auto"] | float
    thickness: float
    holes: Literal["fill", "keep"]


def _inputs(job: Job) -> TrimInputs:
    t = job.trim
    return TrimInputs(
        line=t.line, lean_care=t.lean_care, lean_most=t.lean_most, knife=t.knife, bend_thicknesses=t.bend_thicknesses, web_least=t.web_least,
        thickness=job.sheet.thickness, holes=job.blank.holes,
    )  # fmt: skip


def _files(job: Job) -> dict[str, str]:
    return {f"line_{k + 1}": line.file for k, line in enumerate(job.trim.line) if line.file}


def work(inputs: TrimInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Lay the lines, find directions, judge. Raises :class:`InputError` for limits that contradict each other and for stated lines that are none."""
    if inputs.lean_care > inputs.lean_most:
        raise InputError(
            f"care from {inputs.lean_care:g} deg cannot lie above the most of {inputs.lean_most:g} deg.",
            where="trim.lean_care",
            help="State less.",
        )
    faces, solution, shape = upstream["faces"], upstream["solution"], upstream["shape"]
    watch.step("the drawn sheet", 0, 5)
    solved = solution.meshes["part"]
    sheet = drawn_sheet(solved, solution.meshes["flat"].mesh, faces.meshes["die"].mesh, inputs.thickness, float(faces.values["clearance"]))
    rim = rim_of(sheet, solution.arrays["outer"], upstream["blank"].arrays["outline"])
    edges = _edges(shape, sheet, np.asarray(faces.arrays["trim_line"], dtype=np.float64))
    watch.step("laying the lines", 1, 5)
    curves = stated_curves(
        inputs.line, files, sheet, np.asarray(shape.values["rotation"], dtype=np.float64), np.asarray(shape.values["shift"], dtype=np.float64)
    )  # fmt: skip
    watch.step("finding directions", 2, 5)
    cuts = _own(inputs, solution, shape, sheet, edges)
    left_out: dict[str, str] = {}
    for c in curves:
        watch.check()
        if len(c.off) or len(c.points) < 3:
            left_out[c.name] = "it runs off the drawn sheet"
            continue
        cuts.append(
            make_cut(c.name, c.stated.kind, c.points, sheet, inputs.lean_most, direction=c.direction, stated=c.stated, diameter=c.diameter)
        )
    watch.step("lines against each other", 3, 5)
    web = 2.0 * inputs.thickness if isinstance(inputs.web_least, str) else inputs.web_least
    cuts, meets, same = _compared(cuts, web)
    left_out |= {b: f"it is the same line as {a}" for a, b, _ in same}
    watch.step("the sheet that is cut", 4, 5)
    drawn = cut_out(sheet, rim.points, list(edges.values()), faces.meshes["blankholder"].mesh)
    short = int(np.argmax(rim.short))
    found = Found(
        tuple(cuts), {c.name: c for c in curves}, left_out, tuple(same), tuple(meets), _bends(inputs, cuts, sheet, solved, shape), _past(cuts, sheet, [rim.points], ("trim", "pierce")),
        _past(cuts, sheet, list(edges.values()), ("pierce",)), _undercut(cuts, shape), float(rim.short[short]), rim.points[short], inputs.lean_care, inputs.lean_most, inputs.knife, web, inputs.thickness,
    )  # fmt: skip
    arrays: dict[str, np.ndarray] = {"rim": rim.points, "rim_flat": rim.flat}
    for cut in cuts:
        arrays |= {
            f"cut_{cut.name}": cut.points,
            f"lean_{cut.name}": cut.lean,
            f"thickness_{cut.name}": cut.thickness,
            f"flat_{cut.name}": cut.flat,
        }
    return Result(
        values=_values(found), figures=tuple(figures_of(found)), findings=tuple(findings_of(found)), meshes={"drawn": drawn}, arrays=arrays
    )  # fmt: skip


def _edges(shape: Result, sheet: DrawnSheet, trim_line: Floats) -> dict[str, Floats]:
    """The edges that parts are cut out along: the part's own, or of several parts in one draw each one's."""
    if int(shape.values["parts"]) == 1:
        return {"edge": trim_line}
    return {name: sheet.part.points[np.asarray(loop).ravel()] for name, loop in shape.arrays.items() if name.startswith("edge_")}


def _own(inputs: TrimInputs, solution: Result, shape: Result, sheet: DrawnSheet, edges: dict[str, Floats]) -> list[Cut]:
    """The edges, and the holes where they were filled for the draw."""
    cuts = [make_cut(name, "trim", line, sheet, inputs.lean_most) for name, line in edges.items()]
    if inputs.holes == "keep":
        return cuts
    known = {f"hole_{h['id']}" if not str(h["id"]).startswith("hole_") else str(h["id"]): h for h in shape.values.get("holes") or ()}
    for name, loop in sorted(solution.arrays.items(), key=lambda item: (len(item[0]), item[0])):
        if name.startswith("hole_"):
            ring = sheet.part.points[np.asarray(loop).ravel()][::-1]
            cuts.append(make_cut(name, "pierce", ring, sheet, inputs.lean_most, diameter=_diameter(known.get(name), ring)))
    return cuts


def _diameter(known: Any, ring: Floats) -> float | None:
    """As the part says, else that of a loop that is a circle within a hundredth of its radius."""
    if known is not None:
        return None if known.get("diameter") is None else float(known["diameter"])
    away = np.linalg.norm(ring - ring.mean(axis=0), axis=1)
    return 2.0 * float(away.mean()) if len(ring) >= 6 and float(np.ptp(away)) < 0.02 * float(away.mean()) else None


def _compared(cuts: list[Cut], web: float) -> tuple[list[Cut], list[Meeting], list[tuple[str, str, Floats]]]:
    """Lines stated twice taken out; where two of one operation come too near, the later one waits for the second trim."""
    meets = meetings([c.points for c in cuts], web)
    gone = {m.b for m in meets if m.how == "same"}
    same = [(cuts[m.a].name, cuts[m.b].name, m.at) for m in meets if m.how == "same" and m.a not in gone]
    kept = [k for k in range(len(cuts)) if k not in gone]
    number = {k: i for i, k in enumerate(kept)}
    out = [cuts[k] for k in kept]
    rest = [Meeting(number[m.a], number[m.b], m.how, m.gap, m.at) for m in meets if m.a in number and m.b in number]
    for m in rest:
        a, b = out[m.a], out[m.b]
        if a.operation == b.operation == "first trim" and not b.stated_operation:
            out[m.b] = replace(b, operation="second trim")
    return out, rest, same


def _bends(inputs: TrimInputs, cuts: list[Cut], sheet: DrawnSheet, solved: Any, shape: Result) -> dict[str, NearBend]:
    filled = np.asarray(solved.cell["filled"]) > 0 if "filled" in solved.cell else np.zeros(len(sheet.part.triangles), dtype=bool)
    bends = Bends(sheet.part, shape.meshes["part"].point.get("radius"), filled, inputs.thickness)
    out = {}
    for c in cuts:
        near = bends.nearest(c.points, inputs.bend_thicknesses) if c.kind == "pierce" else None
        if near is not None and near.distance < near.wanted:
            out[c.name] = near
    return out


def _past(cuts: list[Cut], sheet: DrawnSheet, edges: list[Floats], kinds: tuple[str, ...]) -> dict[str, Floats]:
    """Points of stated lines past all closed ``edges`` on the sheet; the whole sheet says which side is inside."""
    out = {}
    for c in cuts:
        if c.name.startswith("line_") and c.kind in kinds:
            points, normals = np.vstack([sheet.mesh.points, c.points]), np.vstack([sheet.normals, c.normals])
            past = np.max([inside_line(points, edge, normals) for edge in edges], axis=0)[len(sheet.mesh.points) :] < -OVER
            if past.any():
                out[c.name] = c.points[past]
    return out


def _undercut(cuts: list[Cut], shape: Result) -> dict[str, Floats]:
    """Points of cuts on faces that this press direction cannot make."""
    part = shape.meshes["part"]
    marked = np.asarray(part.cell.get("undercut", np.zeros(len(part.mesh.triangles)))) > 0
    if not marked.any():
        return {}
    out = {}
    for c in cuts:
        found = spots(part.mesh, c.points)
        on = marked[found.triangles] & (found.off < OVER)
        if on.any():
            out[c.name] = c.points[on]
    return out


def _values(f: Found) -> dict[str, Any]:
    order = ("first trim", "second trim", "cam")
    return {
        "cuts": [c.as_dict() for c in f.cuts], "left_out": dict(f.left_out), "limits": {"care": f.care, "most": f.most, "knife": f.knife, "web": f.web},
        "operations": [{"operation": o, "cuts": [c.name for c in f.cuts if c.operation == o], "length_mm": sum(c.length for c in f.cuts if c.operation == o)} for o in order if any(c.operation == o for c in f.cuts)],
        "not_mapped": {c.name: int(np.isnan(c.flat[:, 0]).sum()) for c in f.cuts if np.isnan(c.flat).any()}, "thickness": f.thickness,
    }  # fmt: skip


"""What decides this stage's result: the rest of the package is other stages'."""

STAGE = Stage(
    name="trim", title="Cut lines", plural=True, version=1, packages=("trim/lines", "geometry"), needs=("shape", "sheet", "solution", "blank", "faces"), inputs=_inputs, work=work, files=_files,
)  # fmt: skip

"""The stage ``faces``: punch, die and blankholder in the closed position, made from the part or given as files."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.die import rules
from diewright.die.edge import find_edge
from diewright.die.extend import lead_on
from diewright.die.findings import Measured, figures_of, findings_of
from diewright.die.finer import Finer
from diewright.die.gaps import gap
from diewright.die.given import Given, facing_gap, off_place, plan_outline, read_face, wall_gap
from diewright.die.made import make
from diewright.die.radii import Bend, tightest
from diewright.die.surface import fine_surface, same_loop, whole_normals
from diewright.die.zones import split
from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch

CHORD = 0.02
"""Largest chord error at radii, in thicknesses."""
TURN = 12.0
"""Largest turn of the surface along one triangle edge [deg]."""


class FacesInputs(BaseModel):
    """What the stage reads of the job [mm]: files named or empty, clearance, die radius, trim land, thickness, unit of STL files."""

    model_config = ConfigDict(frozen=True)
    die_file: str
    punch_file: str
    blankholder_file: str
    clearance: Literal["auto"] | float
    die_radius: Literal["auto"] | float
    trim_land: Literal["auto"] | float
    thickness: float
    unit: str


def _inputs(job: Job) -> FacesInputs:
    return FacesInputs(**job.faces.model_dump(), thickness=job.sheet.thickness, unit=job.part.unit)


def _files(job: Job) -> dict[str, str]:
    f = job.faces
    named = {"die": f.die_file, "punch": f.punch_file, "blankholder": f.blankholder_file}
    return {name: file for name, file in named.items() if file}


def work(inputs: FacesInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Make the faces from the part, or read them."""
    if files and len(files) < 3:
        missing = ", ".join(name for name in ("die", "punch", "blankholder") if name not in files)
        raise InputError(
            f"faces are named for {', '.join(files)} but not for {missing}.", where="faces", help="Name all three files, or none of them."
        )
    return _given(inputs, upstream, files, watch) if files else _made(inputs, upstream, watch)


def _made(inputs: FacesInputs, upstream: Mapping[str, Result], watch: Watch) -> Result:
    solution, t = upstream["solution"], inputs.thickness
    part = solution.meshes["part"]
    family = str(upstream["sheet"].values["family"])
    wall = rules.wall_gap(t, family) if isinstance(inputs.clearance, str) else inputs.clearance
    if wall < t:
        raise InputError(
            f"a gap of {wall:g} mm does not let a sheet of {t:g} mm through.", where="faces.clearance", help="State more, or auto."
        )
    radius = rules.die_radius(t) if isinstance(inputs.die_radius, str) else inputs.die_radius
    land = rules.trim_land(t) if isinstance(inputs.trim_land, str) else inputs.trim_land
    watch.step("refining the part's surface", 0, 5)
    fine = fine_surface(part.mesh, upstream["tipping"].meshes["part"].point.get("normal"), CHORD * t, TURN)
    watch.step("leading the surface on", 1, 5)
    edge = find_edge(fine.mesh, same_loop(fine.mesh, np.asarray(solution.arrays["outer"]).ravel()))
    outline = upstream["blank"].arrays["outline"]
    drawn = lead_on(fine.mesh, whole_normals(fine), edge, outline, land, radius + 0.5 * t, CHORD * t, max(4.0 * t, 4.0))
    watch.step("finding punch and blankholder", 2, 5)
    zones = split(drawn, t)
    watch.step("offsetting the faces", 3, 5)
    faces = make(drawn, zones, t, wall - t)
    watch.step("measuring the gap", 4, 5)
    led = not edge.is_flange.all()
    folded = {"die": faces.lower.folded, "punch": faces.upper.folded & zones.punched}
    m = Measured(
        kind="made", thickness=t, wall_gap=wall, family=family, clearance_stated=not isinstance(inputs.clearance, str),
        die=faces.die, punch=faces.punch, blankholder=faces.blankholder,
        gap=gap(faces.upper.mesh.points[np.unique(drawn.mesh.triangles[zones.punched])], faces.die),
        holder=gap(faces.blankholder.points, faces.die), notes=_story(led, drawn.led, land, radius),
        led_radius=radius if led else None, radius_stated=not isinstance(inputs.die_radius, str), land=land if led else None,
        shoulder=_tightest(fine, part, zones.shoulder, False),
        nose=_tightest(fine, part, zones.punched, True),
        folded={name: drawn.mesh.centroids[mask] for name, mask in folded.items() if mask.any()},
    )  # fmt: skip
    return _result(m, edge.points, faces.opening, led)


def _tightest(fine: Finer, part: FieldMesh, zone: np.ndarray, hollow: bool) -> Bend | None:
    """The tightest bend of the part's own mesh (not the finer one, whose normals are partly made up) within the ``zone`` of the drawn surface."""
    mask = np.zeros(len(part.mesh.triangles), dtype=bool)
    mask[fine.parent[zone[: len(fine.parent)]]] = True
    normals = fine.normals[: len(part.mesh.points)]
    usable = np.abs(normals).sum(axis=1) > 0
    if "filled" in part.cell:
        usable[np.unique(part.mesh.triangles[np.asarray(part.cell["filled"]) > 0])] = False
    return tightest(part.mesh, normals, mask, usable, hollow)


def _story(wall: bool, led: bool, land: float, radius: float) -> tuple[str, ...]:
    if wall:
        return (
            f"The part ends in a wall: it is led on over a trim land of {land:.3g} mm at least and a die radius of {radius:.3g} mm onto the blankholder plane.",
        )
    if led:
        return ("The part ends in a flange: it is led on tangentially and blended into one blankholder plane.",)
    return ("The part ends in a flat flange, which lies in the blankholder plane.",)


def _given(inputs: FacesInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    tipping, t = upstream["tipping"].values, inputs.thickness
    rotation, shift = np.asarray(tipping["rotation"]), np.asarray(tipping["shift"])
    found: dict[str, Given] = {}
    for name in ("die", "punch", "blankholder"):
        watch.step(f"reading the {name}", len(found), 4)
        found[name] = read_face(name, files[name].path, inputs.unit, rotation, shift, watch)
    watch.step("measuring the gap", 3, 4)
    die, punch, holder = (found[name].mesh for name in ("die", "punch", "blankholder"))
    part, outer = upstream["solution"].meshes["part"].mesh, np.asarray(upstream["solution"].arrays["outer"]).ravel()
    between = facing_gap(punch, die)
    wall = wall_gap(punch, die)
    m = Measured(
        kind="given", thickness=t, wall_gap=between.most if wall is None else wall, family="", clearance_stated=False, die=die, punch=punch, blankholder=holder,
        gap=between, holder=facing_gap(holder, die), notes=tuple(note for f in found.values() for note in f.notes), off_place=off_place(part.points, die, t),
    )  # fmt: skip
    return _result(m, part.points[outer], plan_outline(punch), False)


def _result(m: Measured, trim_line: np.ndarray, opening: np.ndarray, extended: bool) -> Result:
    x, y = opening.T
    faces = {"die": m.die, "punch": m.punch, "blankholder": m.blankholder}
    values: dict[str, Any] = {
        "kind": m.kind, "stroke": m.stroke, "clearance": m.wall_gap, "die_radius": m.die_radius, "punch_radius": m.punch_radius,
        "holder_gap": m.holder_gap, "opening_area": abs(0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))),
        "notes": list(m.notes), "extended": extended, "gap_min": m.gap.least, "gap_max": m.gap.most,
        "triangles": {name: len(mesh.triangles) for name, mesh in faces.items()},
    }  # fmt: skip
    return Result(
        values=values,
        figures=tuple(figures_of(m)),
        findings=tuple(findings_of(m)),
        meshes={name: FieldMesh(mesh) for name, mesh in faces.items()},
        arrays={"trim_line": trim_line, "opening": opening, "die_touch": np.array([m.die_touch])},
    )


STAGE = Stage(
    name="faces", title="The faces", version=1, packages=("die", "part", "geometry"), needs=("tipping", "sheet", "solution", "blank"), inputs=_inputs, work=work,
    files=_files,
)  # fmt: skip

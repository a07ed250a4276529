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
from diewright.die.gaps import gap
from diewright.die.made import make
from diewright.die.parallel import smooth_normals
from diewright.die.zones import split
from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch

CHORD = 0.02
"""Chord error at a die radius that is led out, in thicknesses."""


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
    if files:
        raise InputError("faces cannot be read from files yet.", where="faces")
    return _made(inputs, upstream, watch)


def _made(inputs: FacesInputs, upstream: Mapping[str, Result], watch: Watch) -> Result:
    solution, t = upstream["solution"], inputs.thickness
    part = solution.meshes["part"].mesh
    family = str(upstream["sheet"].values["family"])
    wall = rules.wall_gap(t, family) if isinstance(inputs.clearance, str) else inputs.clearance
    radius = rules.die_radius(t) if isinstance(inputs.die_radius, str) else inputs.die_radius
    land = rules.trim_land(t) if isinstance(inputs.trim_land, str) else inputs.trim_land
    watch.step("leading the surface on", 0, 4)
    outer = np.asarray(solution.arrays["outer"]).ravel()
    edge = find_edge(part, outer)
    drawn = lead_on(part, edge, upstream["blank"].arrays["outline"], land, radius + 0.5 * t, CHORD * t, max(4.0 * t, 4.0))
    watch.step("finding punch and blankholder", 1, 4)
    normals = smooth_normals(drawn.mesh)
    zones = split(drawn, normals, t)
    watch.step("offsetting the faces", 2, 4)
    faces = make(drawn, zones, normals, t, wall - t)
    watch.step("measuring the gap", 3, 4)
    points = faces.upper.mesh.points[np.unique(drawn.mesh.triangles[zones.punched])]
    measured = Measured(
        kind="made", thickness=t, wall_gap=wall, family=family, clearance_stated=not isinstance(inputs.clearance, str),
        radius=radius if not edge.is_flange.all() else None, radius_stated=not isinstance(inputs.die_radius, str),
        land=land if not edge.is_flange.all() else None, level=drawn.level, led=drawn.led, die=faces.die, punch=faces.punch,
        blankholder=faces.blankholder, gap=gap(points, faces.die), made=faces, drawn=drawn, zones=zones,
    )  # fmt: skip
    return _result(measured, part.points[outer], faces.opening)


def _result(m: Measured, trim_line: np.ndarray, opening: np.ndarray) -> Result:
    touch = float(m.die.points[:, 2].max()) + 0.5 * m.thickness
    values: dict[str, Any] = {
        "kind": m.kind, "stroke": m.stroke, "clearance": m.wall_gap, "die_radius": m.radius, "punch_radius": m.punch_radius,
        "holder_gap": m.holder_gap, "opening_area": m.opening_area(opening), "notes": m.notes(), "extended": m.radius is not None,
        "gap_min": m.gap.least, "gap_max": m.gap.most, "level": m.level,
        "triangles": {"die": len(m.die.triangles), "punch": len(m.punch.triangles), "blankholder": len(m.blankholder.triangles)},
    }  # fmt: skip
    return Result(
        values=values,
        figures=tuple(figures_of(m)),
        findings=tuple(findings_of(m)),
        meshes={"die": FieldMesh(m.die), "punch": FieldMesh(m.punch), "blankholder": FieldMesh(m.blankholder)},
        arrays={"trim_line": trim_line, "opening": opening, "die_touch": np.array([touch])},
    )


STAGE = Stage(
    name="faces", title="The faces", version=1, packages=("die", "geometry"), needs=("tipping", "sheet", "solution", "blank"), inputs=_inputs, work=work,
    files=_files,
)  # fmt: skip

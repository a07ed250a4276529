"""The stage ``faces``: punch, die and blankholder in the closed position, made from the part or given as files."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np
import shapely
from pydantic import BaseModel, ConfigDict

from diewright.die import rules
from diewright.die.build import Built, Stated, build
from diewright.die.crossing import crossing
from diewright.die.evenness import surface_of
from diewright.die.extend import Drawn
from diewright.die.findings import Measured
from diewright.die.finer import Finer
from diewright.die.fit import Wanted
from diewright.die.found import FACES, Found
from diewright.die.gaps import gap
from diewright.die.given import Given, facing_gap, off_place, plan_outline, read_face, wall_gap
from diewright.die.radii import Bend, tightest
from diewright.die.stated import values_of
from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch


class FacesInputs(BaseModel):
    """What the stage reads of the job [mm, deg]: files named or empty, clearance, the section round the edge, the blankholder surface, thickness, unit of STL files."""

    model_config = ConfigDict(frozen=True)
    die_file: str
    punch_file: str
    blankholder_file: str
    shift_file: str
    clearance: Literal["auto"] | float
    die_radius: Literal["auto"] | float
    trim_land: Literal["auto"] | float
    lead_on: Literal["auto", "blend", "profile"]
    punch_radius: Literal["auto"] | float
    wall_angle: Literal["auto"] | float
    blankholder: Literal["auto", "flat", "cylindrical", "conical", "developable"]
    blankholder_direction: Literal["auto"] | float
    blankholder_apex_x: Literal["auto"] | float
    blankholder_apex_y: Literal["auto"] | float
    blankholder_ruling: tuple[dict[str, float], ...]
    blankholder_radius: Literal["auto"] | float
    blankholder_shift: float
    blankholder_tilt_x: float
    blankholder_tilt_y: float
    addendum: tuple[dict[str, float | None], ...]
    thickness: float
    unit: str


def _inputs(job: Job) -> FacesInputs:
    return FacesInputs(**job.faces.model_dump(), thickness=job.sheet.thickness, unit=job.part.unit)


def _files(job: Job) -> dict[str, str]:
    f = job.faces
    named = {"die": f.die_file, "punch": f.punch_file, "blankholder": f.blankholder_file, "shift": f.shift_file}
    return {name: file for name, file in named.items() if file}


def work(inputs: FacesInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Make the faces from the part, or read them; then move them where the job states a shift file."""
    given = {name: file for name, file in files.items() if name in FACES}
    if given and len(given) < 3:
        missing = ", ".join(name for name in FACES if name not in given)
        raise InputError(
            f"faces are named for {', '.join(given)} but not for {missing}.", where="faces", help="Name all three files, or none of them."
        )
    found = _given(inputs, upstream, given, watch) if given else _made(inputs, upstream, watch)
    return found.result() if "shift" not in files else found.moved_by(files["shift"].path)


def built_of(inputs: FacesInputs, upstream: Mapping[str, Result], watch: Watch) -> tuple[Built, Stated]:
    """The faces made from the part, with all they were made from, and what decided them."""
    solution, t = upstream["solution"], inputs.thickness
    wall = rules.wall_gap(t, str(upstream["sheet"].values["family"])) if isinstance(inputs.clearance, str) else inputs.clearance
    if wall < t:
        raise InputError(
            f"a gap of {wall:g} mm does not let a sheet of {t:g} mm through.", where="faces.clearance", help="State more, or auto."
        )
    values = values_of(t, inputs.trim_land, inputs.punch_radius, inputs.wall_angle, inputs.die_radius)
    stated = Stated(t, wall, values, inputs.lead_on, _wanted(inputs), inputs.addendum)
    part, own = solution.meshes["part"].mesh, upstream["shape"].meshes["part"]
    outer, outline = np.asarray(solution.arrays["outer"]), upstream["blank"].arrays["outline"]
    return build(part, own.point.get("normal"), outer, outline, stated, watch, own.cell.get("face")), stated


def _made(inputs: FacesInputs, upstream: Mapping[str, Result], watch: Watch) -> Found:
    part, t = upstream["solution"].meshes["part"], inputs.thickness
    built, stated = built_of(inputs, upstream, watch)
    wall, values, outline = stated.wall, stated.values, upstream["blank"].arrays["outline"]
    family, land, radius = str(upstream["sheet"].values["family"]), values.land, values.radius
    fine, edge, drawn, zones, faces = built.fine, built.edge, built.drawn, built.zones, built.faces
    lead = drawn.lead
    watch.step("measuring the gap", 4, 5)
    led = lead.mode != "blend"
    folded = {"die": faces.lower.folded, "punch": faces.upper.folded & zones.punched}
    m = Measured(
        kind="made", thickness=t, wall_gap=wall, family=family, clearance_stated=not isinstance(inputs.clearance, str),
        die=faces.die, punch=faces.punch, blankholder=faces.blankholder,
        gap=gap(faces.upper.mesh.points[np.unique(drawn.mesh.triangles[zones.punched])], faces.die),
        holder=gap(faces.blankholder.points, faces.die), notes=(*_story(drawn, land, radius, values.punch), *_bridged(built.notches)), touch=_touch(faces.die, drawn, outline, t),
        surface=surface_of(drawn, edge, built.spread, t), stated=_named(inputs), allowance=_allowance(upstream["blank"]),
        led_radius=float(lead.radius.min()) - 0.5 * t if led else None, radius_stated=not isinstance(inputs.die_radius, str),
        land=float(lead.land.min()) if led else None,
        shoulder=_tightest(fine, part, zones.shoulder, False),
        nose=_tightest(fine, part, zones.punched, True),
        folded={name: drawn.mesh.centroids[mask] for name, mask in folded.items() if mask.any()},
        crossed={name: mesh.centroids[np.unique(pairs)] for name, mesh in (("die", faces.die), ("punch", faces.punch), ("blankholder", faces.blankholder)) if len(pairs := crossing(mesh))},
    )  # fmt: skip
    return Found(m, built.trim, faces.opening, led)


def _tightest(fine: Finer, part: FieldMesh, zone: np.ndarray, hollow: bool) -> Bend | None:
    """The tightest bend of the part's own mesh (not the finer one, whose normals are partly made up) within the ``zone`` of the drawn surface."""
    mask = np.zeros(len(part.mesh.triangles), dtype=bool)
    mask[fine.parent[zone[: len(fine.parent)]]] = True
    normals = fine.normals[: len(part.mesh.points)]
    usable = np.abs(normals).sum(axis=1) > 0
    if "filled" in part.cell:
        usable[np.unique(part.mesh.triangles[np.asarray(part.cell["filled"]) > 0])] = False
    return tightest(part.mesh, normals, mask, usable, hollow)


def _wanted(inputs: FacesInputs) -> Wanted:
    direction = None if isinstance(inputs.blankholder_direction, str) else inputs.blankholder_direction
    radius = rules.holder_radius(inputs.thickness) if isinstance(inputs.blankholder_radius, str) else inputs.blankholder_radius
    tilt = (math.tan(math.radians(inputs.blankholder_tilt_x)), math.tan(math.radians(inputs.blankholder_tilt_y)))
    x, y = inputs.blankholder_apex_x, inputs.blankholder_apex_y
    if isinstance(x, str) != isinstance(y, str):
        raise InputError(
            "of the cone's apex only one coordinate is stated.", where="faces.blankholder_apex_x", help="State x and y, or auto for both."
        )
    apex = None if isinstance(x, str) or isinstance(y, str) else (x, y)
    rulings = tuple((r["x"], r["y"], r["direction"]) for r in inputs.blankholder_ruling)
    return Wanted(inputs.blankholder, direction, inputs.blankholder_shift, tilt, radius, apex, rulings)


def _named(inputs: FacesInputs) -> frozenset[str]:
    """Names of the section's fields that state a value, for the figures."""
    own = {name for place in inputs.addendum for name, value in place.items() if value is not None}
    return frozenset(
        {name for name in ("trim_land", "punch_radius", "wall_angle", "die_radius") if not isinstance(getattr(inputs, name), str)} | own
    )


def _touch(die: TriMesh, drawn: Drawn, blank: np.ndarray, t: float) -> float:
    """Level of the middle surface of the flat blank lying on the die [mm]: half a thickness over the die's highest place within the blank."""
    inside = shapely.contains_xy(shapely.Polygon(blank), die.points[:, 0], die.points[:, 1])
    rim = drawn.holder.height(blank) - 0.5 * t / drawn.holder.normal(blank)[:, 2]
    flat = drawn.holder.kind == "flat" and drawn.holder.tilt == (0.0, 0.0)
    return max(float(die.points[inside, 2].max(initial=-math.inf)), -math.inf if flat else float(rim.max())) + 0.5 * t


def _allowance(blank: Result) -> float | None:
    """How far the blank's edge lies outside the developed part [mm], where least."""
    if "outline_net" not in blank.arrays:
        return None
    net, cut = (shapely.LinearRing(np.asarray(blank.arrays[name])[:, :2]) for name in ("outline_net", "outline"))
    return float(shapely.distance(net, cut))


def _story(drawn: Drawn, land: float, radius: float, punch: float) -> tuple[str, ...]:
    kind = "plane" if drawn.holder.kind == "flat" else "surface"
    if drawn.lead.mode == "wall":
        return (
            f"The part ends in a wall: it is led on over a trim land of {land:.3g} mm at least and a die radius of {radius:.3g} mm onto the blankholder {kind}.",
        )
    if drawn.lead.mode == "profile":
        return (
            f"The part's edge is led on over a trim land of {land:.3g} mm, a punch radius of {punch:.3g} mm, a wall and a die radius of {radius:.3g} mm onto the blankholder {kind}.",
        )
    if drawn.led:
        return (
            f"The part ends in a flange: it is led on tangentially and blended into {'one' if kind == 'plane' else 'the'} blankholder {kind}.",
        )
    return ("The part ends in a flat flange, which lies in the blankholder plane.",)


def _bridged(notches: np.ndarray) -> tuple[str, ...]:
    if not len(notches):
        return ()
    spots = ", ".join(f"({x:.0f}, {y:.0f})" for x, y, _ in notches[:6])
    return (
        f"{len(notches)} notch{'es' if len(notches) > 1 else ''} of the part's edge bridged at {spots} mm: the sheet runs over them and is trimmed.",
    )


def _given(inputs: FacesInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Found:
    shape, t = upstream["shape"].values, inputs.thickness
    rotation, shift = np.asarray(shape["rotation"]), np.asarray(shape["shift"])
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
    return Found(m, part.points[outer], plan_outline(punch), False)


STAGE = Stage(
    name="faces", title="The faces", plural=True, version=1, packages=("die", "part", "geometry"), needs=("shape", "sheet", "solution", "blank"), inputs=_inputs, work=work,
    files=_files,
)  # fmt: skip

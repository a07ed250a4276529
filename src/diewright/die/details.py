"""The stage ``details``: what the toolmaker adds to the faces: draw bead and its bodies, pins for the blank, vents, spotting zones and corner allowance."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
import shapely
from pydantic import BaseModel, ConfigDict

from diewright.die.bead_cad import BeadBodies, bead_bodies, tables
from diewright.die.bead_path import bead_path
from diewright.die.detail_air import Air, air_of
from diewright.die.detail_bodies import body_figures, body_findings
from diewright.die.detail_drawing import details_drawing
from diewright.die.detail_figures import figures_of
from diewright.die.detail_findings import findings_of
from diewright.die.detail_found import BeadFound, Details
from diewright.die.detail_locators import Locators, locate
from diewright.die.detail_zones import SheetThickness, sheet_thickness, spots, zones_of
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.mechanics.forming.bead_line import BeadLine, closed_region, lay
from diewright.mechanics.forming.beads import Restraint, bead_restraint
from diewright.watch import Watch

AFTER = "How far the blank's edge has come in at the end of the draw is not known here; the tryout shows it."


class DetailsInputs(BaseModel):
    """What the stage reads of the job [mm, m/s]: the bead of the tryout, its friction, restraint stated without a bead [N/mm], the table ``[details]``, thickness, the number that the files carry."""

    model_config = ConfigDict(frozen=True)
    bead_kind: Literal["none", "round", "square", "locking"]
    bead_radius: float
    bead_height: float
    bead_offset: Literal["auto"] | float
    restraint: float
    friction: float
    bead_flat: float
    bead_least_radius: Literal["auto"] | float
    locator_diameter: float
    vent_diameter: Literal["auto"] | float
    air_speed: float
    thickness: float
    number: str


def _inputs(job: Job) -> DetailsInputs:
    t = job.tryout
    friction = job.blank.friction if isinstance(t.friction_die, str) else t.friction_die
    return DetailsInputs(
        bead_kind=t.bead_kind, bead_radius=t.bead_radius, bead_height=t.bead_height, bead_offset=t.bead_offset, restraint=job.blank.bead_restraint,
        friction=friction, **job.details.model_dump(), thickness=job.sheet.thickness, number=job.job.number,
    )  # fmt: skip


def work(inputs: DetailsInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Find the details on the faces as they are, moved ones included. Raises :class:`InputError` for an opening or a blank that crosses itself, or a press too short for the draw."""
    faces, t = upstream["faces"], inputs.thickness
    meshes = {name: faces.meshes[name].mesh for name in ("die", "punch", "blankholder")}
    opening = closed_region(faces.arrays["opening"])
    blank = np.asarray(upstream["blank"].arrays["outline"], dtype=np.float64)[:, :2]
    clearance = float(faces.values["clearance"])
    sheet = sheet_thickness(upstream["solution"].meshes["part"], t)
    watch.step("draw bead", 0, 5)
    bead = _bead(inputs, upstream, meshes["blankholder"], blank, sheet)
    watch.step("pins for the blank", 1, 5)
    pins = locate(blank, inputs.locator_diameter)
    watch.step("vents", 2, 5)
    press = upstream["press"].values
    air = air_of(
        meshes, opening, float(faces.values.get("die_radius") or 0.0), t, clearance, float(faces.values["stroke"]), press["press"],
        float(press["strokes_per_minute"]), 1000.0 * inputs.air_speed, None if isinstance(inputs.vent_diameter, str) else inputs.vent_diameter,
    )  # fmt: skip
    watch.step("spotting zones", 3, 5)
    zoned = zones_of(meshes, sheet, clearance)
    gap = upstream["solution"].values.get("wall_gap")
    found = Details(
        thickness=t, clearance=clearance, bead=bead, pins=pins, pin_diameter=inputs.locator_diameter, opening=opening, air=air, air_speed=1000.0 * inputs.air_speed,
        zoned=zoned, corners=spots(zoned["die"].mesh, zoned["die"].allowance), eased=spots(zoned["blankholder"].mesh, zoned["blankholder"].relief),
        ironed=float(upstream["solution"].values.get("ironing_pressure_max") or 0.0), solution_gap=None if gap is None else float(gap), stroke=float(faces.values["stroke"]),
        press=press["press"], rate=float(press["strokes_per_minute"]),
    )  # fmt: skip
    watch.step("bodies of the bead", 4, 5)
    bodies = _bodies(bead, faces, meshes["blankholder"], inputs.number, watch)
    fields = {name: z.fields() for name, z in zoned.items()}
    for name, mark in (("die", air.die), ("punch", air.punch)):
        fields[name] = FieldMesh(fields[name].mesh, {}, {**fields[name].cell, "pocket": mark})
    return Result(
        values=_values(found, bodies), figures=(*figures_of(found), *body_figures(bodies)), findings=(*findings_of(found), *body_findings(bodies)), meshes=fields,
        arrays=_arrays(found), tables={**_tables(found), **({} if bodies is None else tables(bodies))},
        files={"details.dxf": _drawn(found, np.asarray(faces.arrays["opening"])[:, :2], blank)} | ({} if bodies is None or bodies.step is None else {"beads.step": bodies.step}),
    )  # fmt: skip


def _bead(
    inputs: DetailsInputs, upstream: Mapping[str, Result], holder: TriMesh, blank: np.ndarray, sheet: SheetThickness
) -> BeadFound | None:
    kind, t, faces = inputs.bead_kind, inputs.thickness, upstream["faces"]
    if kind == "none" and inputs.restraint <= 0:
        return None
    die_radius = float(faces.values.get("die_radius") or 0.0)
    laid = lay(
        faces.arrays["opening"], kind, inputs.bead_radius, inputs.bead_height, inputs.bead_flat, inputs.bead_offset, inputs.bead_least_radius, t, die_radius
    )  # fmt: skip
    line, half = laid.line, laid.half
    force: Restraint | None = None
    if kind != "none":
        curve = upstream["sheet"].tables["hardening"]
        strain, stress = np.asarray(curve["strain"]), np.asarray(curve["stress"])
        force = bead_restraint(kind, inputs.bead_radius, inputs.bead_height, t, lambda e: np.interp(e, strain, stress), inputs.friction)
    level = float(np.median(holder.points[:, 2])) - 0.5 * t
    thickness, known = sheet.at(np.column_stack([line.points, np.full(len(line.points), level)]), 2.0 * t)
    plan = plan_region(holder)
    return BeadFound(
        kind, laid.groove, force, line, laid.offset, isinstance(inputs.bead_offset, str), half, die_radius, room(line.points, shapely.Polygon(blank)) - half, room(line.points, plan) - half,
        inputs.restraint if force is None else force.force, t, thickness, known,
    )  # fmt: skip


def _bodies(bead: BeadFound | None, faces: Result, holder: TriMesh, number: str, watch: Watch) -> BeadBodies | None:
    """The bead's bodies, where its section is stated and something of it is cut."""
    if bead is None or bead.groove is None or not bead.line.on.any():
        return None
    surface = (faces.values.get("blankholder") or {}).get("surface")
    path = bead_path(bead.line, holder, surface, bead.nominal)
    return bead_bodies(bead.line, path, bead.groove, bead.nominal, holder, number, watch)


def room(points: np.ndarray, region: shapely.Geometry) -> np.ndarray:
    """Distance ``(k,)`` [mm] of ``points (k, 2)`` from the border of a plan region, positive inside."""
    at = shapely.points(points)
    away = shapely.distance(at, shapely.boundary(region))
    return np.asarray(np.where(shapely.contains(region, at), away, -away))


def plan_region(mesh: TriMesh) -> shapely.Geometry:
    """What a face covers in plan: its outer edge less its inner ones where they do not cross, else the union of its triangles."""
    rings = [shapely.Polygon(mesh.points[loop][:, :2]) for loop in mesh.boundary_loops if len(loop) > 2]
    if rings and all(r.is_valid for r in rings):
        outer = max(rings, key=lambda r: float(r.area))
        region = outer.difference(shapely.union_all([r for r in rings if r is not outer and outer.contains(r)]))
        cells = float(np.abs(0.5 * mesh.doubled_normals[:, 2]).sum())
        if abs(float(region.area) - cells) <= 1e-3 * cells:
            return region
    corner = mesh.points[mesh.triangles][:, :, :2]
    return shapely.union_all(shapely.polygons(corner[np.abs(mesh.doubled_normals[:, 2]) > 1e-9]))


def _values(d: Details, bodies: BeadBodies | None) -> dict[str, Any]:
    areas = {name: z.areas() for name, z in d.zoned.items()}
    pins = d.pins
    return {
        "bead": None if d.bead is None else d.bead.as_dict() | {"after_draw_in": AFTER, "bodies": None if bodies is None else bodies.values()},
        "locators": {
            "count": len(pins.at), "rank": pins.rank, "condition": pins.condition if np.isfinite(pins.condition) else None, "fixes": d.fixes, "round": pins.round, "diameter": d.pin_diameter,
            "opening_least": float(d.pin_room.min()), "bead_least": None if d.pin_bead is None else float(d.pin_bead.min()),
        },
        "vents": {
            "volume": d.air.volume, "time": d.air.run.time, "peak": d.air.run.peak, "section": float(sum(p.section for p in d.air.pockets)), "count": int(sum(len(p.holes) for p in d.air.pockets)),
            "wanted": int(sum(p.wanted for p in d.air.pockets)), "pockets_die": sum(p.face == "die" for p in d.air.pockets), "pockets_punch": sum(p.face == "punch" for p in d.air.pockets),
        },
        "zones": areas, "allowance_max": d.corners[0].most if d.corners else 0.0,
        "allowance_places": [{"at": list(c.at), "mm": c.most, "area": c.area} for c in d.corners[:20]],
        "relief_max": d.eased[0].most if d.eased else 0.0, "wall_thickness_max": d.wall_thickest, "known_share": {name: float(z.known.mean()) for name, z in d.zoned.items()},
    }  # fmt: skip


def _arrays(d: Details) -> dict[str, np.ndarray]:
    line: BeadLine | None = None if d.bead is None else d.bead.line
    none = np.zeros(0)
    return {
        "bead_line": np.zeros((0, 2)) if line is None else line.points, "bead_cut": none.astype(np.int8) if line is None else line.on.astype(np.int8),
        "bead_radius": none if line is None else np.clip(line.radius, -1e6, 1e6),
        "locators": np.column_stack([d.pins.at, d.pins.normal]), "vents": _vents(d.air),
    }  # fmt: skip


def _vents(air: Air) -> np.ndarray:
    rows = [[*hole, p.diameter, float(k), float(p.face == "punch")] for k, p in enumerate(air.pockets) for hole in p.holes]
    return np.array(rows, dtype=np.float64).reshape(-1, 6)


def _tables(d: Details) -> dict[str, dict[str, np.ndarray]]:
    p: Locators = d.pins
    out = {
        "locators": {
            "x_mm": p.at[:, 0], "y_mm": p.at[:, 1], "normal_x": p.normal[:, 0], "normal_y": p.normal[:, 1], "loose": p.loose.astype(np.float64), "opening_mm": d.pin_room,
            "bead_mm": np.full(len(p.at), np.nan) if d.pin_bead is None else d.pin_bead,
        },
        "pockets": {
            "face": np.array([float(q.face == "punch") for q in d.air.pockets]), **{f"{a}_mm": np.array([q.at[i] for q in d.air.pockets]) for i, a in enumerate("xyz")},
            **{name: np.array([float(getattr(q, field)) for q in d.air.pockets]) for name, field in (
                ("depth_mm", "depth"), ("area_mm2", "area"), ("displaced_mm3", "displaced"), ("trapped_mm3", "trapped"), ("section_mm2", "section"), ("diameter_mm", "diameter"), ("wanted", "wanted"), ("clear", "clear"),
            )}, "placed": np.array([float(len(q.holes)) for q in d.air.pockets]),
        },
    }  # fmt: skip
    return out if d.bead is None else out | {"bead_segments": d.bead.table()}


def _drawn(d: Details, opening: np.ndarray, blank: np.ndarray) -> bytes:
    lines = {"opening": [(opening, True)], "blank": [(blank, True)]}
    if d.bead is not None:
        line = d.bead.line
        lines["bead"] = line.cut_lines()
        lines["bead_groove"] = [
            (np.asarray(shapely.get_coordinates(shapely.Polygon(line.points).buffer(w).exterior))[:-1], True)
            for w in (d.bead.half, -d.bead.half)
        ]
    return details_drawing(lines, {
        "locators": [(float(x), float(y), 0.5 * d.pin_diameter) for x, y in d.pins.at],
        "vents": [(float(v[0]), float(v[1]), 0.5 * float(v[3])) for v in _vents(d.air)],
    })  # fmt: skip


STAGE = Stage(
    name="details", title="The details of the faces", plural=True, version=2, packages=("die", "part", "geometry", "mechanics/forming/beads", "mechanics/forming/bead_line"),
    needs=("shape", "sheet", "solution", "blank", "faces", "press"), inputs=_inputs, work=work,
)  # fmt: skip

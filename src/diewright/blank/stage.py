"""The stages ``blank`` (the developed blank) and ``nest`` (how blanks lie on the strip)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.blank.developed import CHORD, TOLERANCE, develop, hole_records, match_holes
from diewright.blank.drawing import blank_drawing
from diewright.blank.findings import Judged, figures_of, findings_of
from diewright.blank.flange import Hold, find_flange, handbook_hold
from diewright.blank.margin import margin_pct, thinning_pct, to_points, wrinkle_tendency
from diewright.blank.nest import NEST
from diewright.blank.places import zones
from diewright.errors import SolveError
from diewright.geometry.fill import fill_holes
from diewright.geometry.loops import outer_loop, vector_area
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.outline_files import step
from diewright.geometry.record import to_record
from diewright.job.schema import BlankStated, Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.mechanics import inverse
from diewright.mechanics.newton import Step
from diewright.watch import Watch

Floats = NDArray[np.float64]

_UP = np.array([0.0, 0.0, 1.0])


class BlankInputs(BaseModel):
    """What the stage reads of the job: all of ``blank``, the sheet's thickness [mm] and rolling direction [deg]."""

    model_config = ConfigDict(frozen=True)
    blank: BlankStated
    thickness: float
    rolling_direction: float


def _inputs(job: Job) -> BlankInputs:
    return BlankInputs(blank=job.blank, thickness=job.sheet.thickness, rolling_direction=job.sheet.rolling_direction)


def work(inputs: BlankInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Develop the part: fill or keep holes, solve, judge, draw the outline."""
    tipping, sheet = upstream["tipping"], upstream["sheet"]
    stated, thickness = inputs.blank, inputs.thickness
    given = tipping.meshes["part"]
    outer = outer_loop(given.mesh, _UP)
    loops = given.mesh.boundary_loops
    named = {k: np.asarray(a).ravel().astype(np.int32) for k, a in tipping.arrays.items() if k.startswith("hole_")}
    holes = match_holes(loops, outer, named)
    keep = stated.holes == "keep"
    filled = None if keep else fill_holes(given.mesh, [i for i in range(len(loops)) if i != outer], watch=watch)
    mesh = given.mesh if filled is None else filled.mesh
    flange = find_flange(mesh, loops[outer], thickness)
    pierced = sum(float(np.linalg.norm(vector_area(mesh.points[loop]))) for loop in holes.values()) if keep else 0.0
    rm = float(sheet.values["Rm"])
    hold = handbook_hold(mesh.area + pierced, flange.opening, thickness, rm) if flange.there else None
    wanted = None if isinstance(stated.blankholder_force_kn, str) else 1000.0 * stated.blankholder_force_kn
    applied = (hold.force if wanted is None else wanted) if hold is not None else 0.0

    solved = _solve(mesh, flange.cells, applied, inputs, sheet, watch)
    watch.step("drawing the outline", 0, 2)
    developed = develop(solved.flat, loops[outer], holes if keep else {}, stated.trim_allowance)
    watch.step("drawing the outline", 1, 2)

    limit = sheet.tables["limit"]
    margin = margin_pct(solved.major, solved.minor, limit["minor"], limit["major"])
    thinning = thinning_pct(solved.thickness, thickness)
    wrinkle = wrinkle_tendency(solved.principal_stress, solved.plastic_strain)
    zone = zones(mesh, flange.cells, _radii(given, mesh))
    taut = tuple(name for name, loop in holes.items() if filled is not None and _blend(filled.blend, loops, loop) == "taut")
    judged = Judged(mesh, zone, flange, margin, thinning, wrinkle, developed, solved.growth, solved.warnings, taut)
    cells: dict[str, Any] = {
        "major": solved.major, "minor": solved.minor, "thickness": solved.thickness, "thinning_pct": thinning, "margin_pct": margin,
        "plastic_strain": solved.plastic_strain, "wrinkle": wrinkle, "angle": solved.angle,
        "flange": flange.cells.astype(np.int8), "filled": (np.arange(len(mesh.triangles)) >= len(given.mesh.triangles)).astype(np.int8),
    }  # fmt: skip
    weights = mesh.areas
    points = {
        name: to_points(cells[name], mesh.triangles, weights, len(mesh.points)) for name in ("thickness", "margin_pct", "major", "minor")
    }
    flat = TriMesh(np.column_stack([np.nan_to_num(solved.flat), np.zeros(len(solved.flat))]), mesh.triangles)
    meshes = {"part": FieldMesh(mesh, points, cells), "flat": FieldMesh(flat, points, cells)}
    density = float(sheet.values["density"])
    return Result(
        values=_values(inputs, judged, solved, hold, applied if hold is not None else wanted, density),
        figures=tuple(figures_of(judged, thickness, density, hold, rm, solved.draw_force, applied if hold is not None else None)),
        findings=tuple(findings_of(judged, stated.margin_wanted, stated.thinning_limit, wanted)),
        meshes=meshes,
        arrays={
            "outline": developed.cut.points(CHORD),
            "outline_net": developed.net.points(CHORD),
            **{name: h.outline.points(CHORD) for name, h in developed.holes.items()},
        },
        files={
            "blank.dxf": blank_drawing(
                developed.cut, developed.net, [h.outline for h in developed.holes.values()], np.deg2rad(inputs.rolling_direction),
                thickness, stated.trim_allowance,
            ),
            "blank.step": step(developed.cut, [h.outline for h in developed.holes.values()]),
        },
    )  # fmt: skip


def _solve(
    mesh: TriMesh, flange: NDArray[np.bool_], force: float, inputs: BlankInputs, sheet: Result, watch: Watch
) -> inverse.InverseResult:
    hardening = sheet.tables["hardening"]
    a = sheet.values["anisotropy"]
    stated = inputs.blank
    rubs = force > 0 and stated.friction > 0
    found = inverse.solve(
        mesh.points, mesh.triangles, thickness=inputs.thickness, hardening=(hardening["strain"], hardening["stress"]),
        anisotropy=(float(a["F"]), float(a["G"]), float(a["H"]), float(a["N"])), rolling_angle=float(np.deg2rad(inputs.rolling_direction)),
        youngs_modulus=float(sheet.values["E"]), poisson=float(sheet.values["nu"]), flange=flange if rubs else None,
        blankholder_force=force if rubs else 0.0, friction=stated.friction if rubs else 0.0, bead_restraint=stated.bead_restraint, watch=watch,
    )  # fmt: skip
    for name in ("major", "minor", "thickness", "plastic_strain", "principal_stress"):
        if not np.isfinite(getattr(found, name)).all():
            raise SolveError(
                f"The inverse solution gives a {name} that is not a finite number.", where="blank", help="Check the mesh of the part."
            )
    return found


def _radii(given: FieldMesh, mesh: TriMesh) -> Floats | None:
    radius = given.point.get("radius")
    if radius is None:
        return None
    out = np.full(len(mesh.points), np.inf)
    out[: len(radius)] = radius
    return out


def _blend(blend: Mapping[int, str], loops: tuple[NDArray[np.int32], ...], loop: NDArray[np.int32]) -> str:
    return next((kind for i, kind in blend.items() if loops[i] is loop), "")


def _values(
    inputs: BlankInputs, j: Judged, solved: inverse.InverseResult, hold: Hold | None, force: float | None, density: float
) -> dict[str, Any]:
    cut, fit = j.developed.cut, j.developed.fit
    box = np.ptp(cut.points(CHORD), axis=0)
    area = j.developed.area
    worst = int(np.argmin(j.margin))
    return {
        "area": area, "outline_area": cut.area, "net_area": fit.outline.area, "part_area": j.mesh.area, "perimeter": cut.perimeter, "bbox": [float(box[0]), float(box[1])],
        "mass_kg": area * inputs.thickness * density * 1e-9, "flange_area": j.flange.area, "flange_why": j.flange.why,
        "blankholder_force": force, "blankholder_pressure": hold.pressure if hold is not None else None, "blankholder_area": hold.area if hold is not None else None,
        "blankholder_handbook": hold.force if hold is not None else None, "draw_ratio": hold.ratio if hold is not None else None,
        "draw_force": solved.draw_force, "iterations": [_step(s) for s in solved.iterations], "converged": True, "residual": solved.residual,
        "growth": solved.growth, "warnings": list(solved.warnings), "margin_min_pct": float(j.margin.min()), "margin_min_at": j.mesh.centroids[worst].tolist(),
        "thinning_max_pct": float(j.thinning.max()), "thickening_max_pct": float(-j.thinning.min()), "wrinkle_index_max": float(j.wrinkle.max()),
        "cut": {**cut.counts(), "deviation": fit.deviation, "bulge": fit.bulge, "tolerance": TOLERANCE, "chord": CHORD, "circle_diameter": 2.0 * cut.circle[1] if cut.circle else None},
        "pieces": to_record(cut), "holes": hole_records(j.developed.holes), "hole_pieces": [to_record(h.outline) for h in j.developed.holes.values()],
    }  # fmt: skip


def _step(s: Step) -> dict[str, float]:
    return {"iteration": int(s.iteration), "residual": float(s.residual), "step": float(s.step)}


STAGE = Stage(
    name="blank", title="The blank", version=1, packages=("blank", "geometry", "mechanics"), needs=("tipping", "sheet"), inputs=_inputs, work=work,
)  # fmt: skip

__all__ = ["NEST", "STAGE", "BlankInputs", "work"]

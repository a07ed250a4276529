"""The stage ``blank``: the solution judged against the forming limit, and its outline as drawings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.blank.developed import CHORD, TOLERANCE, develop, hole_records
from diewright.blank.drawing import blank_drawing
from diewright.blank.findings import Judged, figures_of, findings_of
from diewright.blank.flange import Hold, find_flange, handbook_hold
from diewright.blank.nest import NEST
from diewright.blank.solution import SOLUTION
from diewright.errors import InputError
from diewright.geometry.averages import to_points
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.outline import simple_or_stop
from diewright.geometry.outline_files import step
from diewright.geometry.outline_read import read_outlines
from diewright.geometry.record import to_record
from diewright.job.places import zones
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.sheet.limit_margin import margin_pct, thinning_pct, wrinkle_tendency
from diewright.watch import Watch

Floats = NDArray[np.float64]
_MOST_SIZE = 3.0  # a stated outline is at most this many times as large as the developed blank


class BlankInputs(BaseModel):
    """What the stage reads of the job: what is judged and drawn, the sheet's thickness [mm] and rolling direction [deg]."""

    model_config = ConfigDict(frozen=True)
    holes: Literal["fill", "keep"]
    trim_allowance: float
    margin_wanted: float
    thinning_limit: float
    thickness: float
    rolling_direction: float


def _inputs(job: Job) -> BlankInputs:
    b, s = job.blank, job.sheet
    return BlankInputs(
        holes=b.holes, trim_allowance=b.trim_allowance, margin_wanted=b.margin_wanted, thinning_limit=b.thinning_limit,
        thickness=s.thickness, rolling_direction=s.rolling_direction,
    )  # fmt: skip


def work(inputs: BlankInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Judge the solution against the forming limit and draw the outline."""
    solution, sheet = upstream["solution"], upstream["sheet"]
    thickness, found = inputs.thickness, solution.values
    solved, flat_mesh = solution.meshes["part"], solution.meshes["flat"].mesh
    mesh, cell = solved.mesh, solved.cell
    outer = solution.arrays["outer"]
    holes = {k: a for k, a in solution.arrays.items() if k.startswith("hole_")} if inputs.holes == "keep" else {}
    flange = find_flange(mesh, outer, thickness)
    rm = float(sheet.values["Rm"])
    hold = handbook_hold(mesh.area + found["pierced"], flange.opening, thickness, rm) if flange.there else None

    watch.step("drawing the outline", 0, 2)
    developed = develop(flat_mesh.points[:, :2], outer, holes, inputs.trim_allowance, _stated(files, flat_mesh))
    watch.step("drawing the outline", 1, 2)

    limit = sheet.tables["limit"]
    margin = margin_pct(cell["major"], cell["minor"], limit["minor"], limit["major"])
    thinning = thinning_pct(cell["thickness"], thickness)
    wrinkle = wrinkle_tendency(cell["principal_stress"], cell["plastic_strain"])
    zone = zones(mesh, flange.cells, _radii(upstream["shape"].meshes["part"], mesh))
    judged = Judged(
        mesh, zone, flange, margin, thinning, wrinkle, developed, float(found["growth"]), tuple(found["warnings"]), tuple(found["taut"]),
        float(found["wall_tension"]), float(found["wall_gap"]),
    )  # fmt: skip
    kept = ("major", "minor", "thickness", "plastic_strain", "angle", "filled")
    cells: dict[str, Any] = {
        **{name: cell[name] for name in kept}, "thinning_pct": thinning, "margin_pct": margin, "wrinkle": wrinkle, "flange": flange.cells.astype(np.int8),
    }  # fmt: skip
    weights = mesh.areas
    points = {
        name: to_points(cells[name], mesh.triangles, weights, len(mesh.points)) for name in ("thickness", "margin_pct", "major", "minor")
    }
    meshes = {"part": FieldMesh(mesh, points, cells), "flat": FieldMesh(flat_mesh, points, cells)}
    density = float(sheet.values["density"])
    return Result(
        values=_values(inputs, judged, found, hold, density, int(upstream["shape"].values["parts"])),
        figures=tuple(
            figures_of(judged, thickness, density, hold, rm, float(found["draw_force"]), found["blankholder_force"] if hold is not None else None,
                       int(upstream["shape"].values["parts"]))
        ),
        findings=tuple(findings_of(judged, inputs.margin_wanted, inputs.thinning_limit, found["wanted"])),
        meshes=meshes,
        arrays={
            "outline": developed.cut.points(CHORD),
            "outline_net": developed.net.points(CHORD),
            **{name: h.outline.points(CHORD) for name, h in developed.holes.items()},
        },
        files={
            "blank.dxf": blank_drawing(
                developed.cut, developed.net, [h.outline for h in developed.holes.values()], np.deg2rad(inputs.rolling_direction),
                thickness, inputs.trim_allowance,
            ),
            "blank.step": step(developed.cut, [h.outline for h in developed.holes.values()]),
        },
    )  # fmt: skip


def _stated(files: Mapping[str, InputFile], flat: TriMesh) -> Floats | None:
    """The outline that the job names in place of the developed one; raises :class:`InputError` where it is none or lies away from the developed blank."""
    if "outline" not in files:
        return None
    where = "blank.outline_file"
    rings = read_outlines(files["outline"].path, where, unit="mm", prefer="BLANK_OUTLINE")
    if len(rings) != 1 or rings[0].shape[1] != 2:
        raise InputError(
            f"'{files['outline'].name}' holds {len(rings)} closed lines; one flat outline is wanted.", where=where,
            help="Keep the blank's outline alone, or put it on the layer BLANK_OUTLINE.",
        )  # fmt: skip
    simple_or_stop(rings[0])
    middle, low, high = rings[0].mean(axis=0), flat.points[:, :2].min(axis=0), flat.points[:, :2].max(axis=0)
    if (
        (middle < low).any()
        or (middle > high).any()
        or np.ptp(rings[0], axis=0).max() > _MOST_SIZE * np.ptp(flat.points[:, :2], axis=0).max()
    ):
        x, y = middle
        raise InputError(
            f"the outline lies about ({x:.4g}, {y:.4g}) mm and is {np.ptp(rings[0], axis=0).max():.4g} mm across; the developed blank is {float((high - low).max()):.4g} mm.",
            where=where, help="Give it in mm, in the coordinates of the developed blank (blank.dxf).",
        )  # fmt: skip
    return rings[0]


def _radii(given: FieldMesh, mesh: TriMesh) -> Floats | None:
    radius = given.point.get("radius")
    if radius is None:
        return None
    out = np.full(len(mesh.points), np.inf)
    out[: len(radius)] = radius
    return out


def _values(inputs: BlankInputs, j: Judged, found: Mapping[str, Any], hold: Hold | None, density: float, parts: int) -> dict[str, Any]:
    cut, fit = j.developed.cut, j.developed.fit
    box = np.ptp(cut.points(CHORD), axis=0)
    area = j.developed.area
    worst = int(np.argmin(j.margin))
    return {
        "area": area, "outline_area": cut.area, "net_area": fit.outline.area, "part_area": j.mesh.area, "perimeter": cut.perimeter, "bbox": [float(box[0]), float(box[1])],
        "mass_kg": area * inputs.thickness * density * 1e-9, "parts": parts, "part_mass_kg": area * inputs.thickness * density * 1e-9 / parts, "flange_area": j.flange.area, "flange_why": j.flange.why,
        "blankholder_force": found["blankholder_force"], "blankholder_pressure": hold.pressure if hold is not None else None, "blankholder_area": hold.area if hold is not None else None,
        "blankholder_handbook": hold.force if hold is not None else None, "draw_ratio": hold.ratio if hold is not None else None,
        **{name: found[name] for name in ("draw_force", "iterations", "converged", "residual", "growth", "warnings", "wall_gap", "wall_tension", "ironing_pressure_max")},
        "margin_min_pct": float(j.margin.min()), "margin_min_at": j.mesh.centroids[worst].tolist(),
        "thinning_max_pct": float(j.thinning.max()), "thickening_max_pct": float(-j.thinning.min()), "wrinkle_index_max": float(j.wrinkle.max()),
        "cut": {**cut.counts(), "deviation": round(fit.deviation, 6), "bulge": fit.bulge, "tolerance": TOLERANCE, "chord": CHORD, "circle_diameter": 2.0 * cut.circle[1] if cut.circle else None},
        "pieces": to_record(cut), "holes": hole_records(j.developed.holes), "hole_pieces": [to_record(h.outline) for h in j.developed.holes.values()],
    }  # fmt: skip


STAGE = Stage(
    name="blank", title="The blank", version=2, packages=("blank", "job/places", "geometry/outline_read"), needs=("shape", "sheet", "solution"), inputs=_inputs, work=work,
    files=lambda job: {"outline": job.blank.outline_file} if job.blank.outline_file else {},
)  # fmt: skip

__all__ = ["NEST", "SOLUTION", "STAGE", "BlankInputs", "work"]

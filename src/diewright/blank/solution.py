"""The stage ``solution``: the one-step inverse solution on the part's mesh.

It is a stage of its own because it is the long one: a change of what is only judged or drawn (wanted margin, trim allowance) does not touch it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.blank.developed import match_holes
from diewright.blank.flange import find_flange, handbook_hold
from diewright.blank.rim import Tool, tool_of
from diewright.errors import SolveError
from diewright.geometry.fill import fill_holes
from diewright.geometry.loops import outer_loop, vector_area
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.mechanics import inverse
from diewright.mechanics.newton import Step
from diewright.watch import Watch

_UP = np.array([0.0, 0.0, 1.0])


class SolutionInputs(BaseModel):
    """What decides the solution: holes, friction, force [kN], bead restraint [N/mm], thickness [mm], rolling direction [deg]."""

    model_config = ConfigDict(frozen=True)
    holes: Literal["fill", "keep"]
    friction: float
    blankholder_force_kn: Literal["auto"] | float
    bead_restraint: float
    thickness: float
    rolling_direction: float


def _inputs(job: Job) -> SolutionInputs:
    b, s = job.blank, job.sheet
    return SolutionInputs(
        holes=b.holes, friction=b.friction, blankholder_force_kn=b.blankholder_force_kn, bead_restraint=b.bead_restraint,
        thickness=s.thickness, rolling_direction=s.rolling_direction,
    )  # fmt: skip


def work(inputs: SolutionInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Fill or keep the holes, find the flange and its force, solve."""
    shape, sheet = upstream["shape"], upstream["sheet"]
    given = shape.meshes["part"]
    outer = outer_loop(given.mesh, _UP)
    loops = given.mesh.boundary_loops
    named = {k: np.asarray(a).ravel().astype(np.int32) for k, a in shape.arrays.items() if k.startswith("hole_")}
    holes = match_holes(loops, outer, named)
    keep = inputs.holes == "keep"
    filled = None if keep else fill_holes(given.mesh, [i for i in range(len(loops)) if i != outer], watch=watch)
    mesh = given.mesh if filled is None else filled.mesh
    flange = find_flange(mesh, loops[outer], inputs.thickness)
    pierced = sum(float(np.linalg.norm(vector_area(mesh.points[loop]))) for loop in holes.values()) if keep else 0.0
    hold = handbook_hold(mesh.area + pierced, flange.opening, inputs.thickness, float(sheet.values["Rm"])) if flange.there else None
    wanted = None if isinstance(inputs.blankholder_force_kn, str) else 1000.0 * inputs.blankholder_force_kn
    applied = (hold.force if wanted is None else wanted) if hold is not None else 0.0

    curve = sheet.tables["hardening"]
    tool = tool_of(
        mesh, loops[outer], flange, inputs.thickness, str(sheet.values["family"]), (curve["strain"], curve["stress"]), float(sheet.values["Rm"])
    )  # fmt: skip
    stated = inputs.bead_restraint > 0  # a stated restraint replaces the estimate
    solved = _solve(mesh, flange.cells, applied, inputs, sheet, tool, stated, watch)
    taut = [name for name, loop in holes.items() if filled is not None and _blend(filled.blend, loops, loop) == "taut"]
    cells: dict[str, np.ndarray] = {
        "major": solved.major, "minor": solved.minor, "thickness": solved.thickness, "plastic_strain": solved.plastic_strain,
        "angle": solved.angle, "principal_stress": solved.principal_stress,
        "filled": (np.arange(len(mesh.triangles)) >= len(given.mesh.triangles)).astype(np.int8),
    }  # fmt: skip
    flat = TriMesh(np.column_stack([np.nan_to_num(solved.flat), np.zeros(len(solved.flat))]), mesh.triangles)
    return Result(
        values={
            "draw_force": solved.draw_force, "iterations": [_step(s) for s in solved.iterations], "converged": True, "residual": solved.residual,
            "growth": solved.growth, "warnings": list(solved.warnings), "taut": taut, "pierced": pierced,
            "blankholder_force": applied if hold is not None else wanted, "wanted": wanted,
            "wall_gap": tool.gap, "wall_tension": 0.0 if stated else tool.tension,
            "ironing_pressure_max": float(solved.ironing_pressure.max()),
        },
        meshes={"part": FieldMesh(mesh, {}, cells), "flat": FieldMesh(flat)},
        arrays={"outer": loops[outer], **holes},
    )  # fmt: skip


def _solve(
    mesh: TriMesh, flange: NDArray[np.bool_], force: float, inputs: SolutionInputs, sheet: Result, tool: Tool, stated: bool, watch: Watch
) -> inverse.InverseResult:
    hardening = sheet.tables["hardening"]
    a = sheet.values["anisotropy"]
    rubs = force > 0 and inputs.friction > 0
    found = inverse.solve(
        mesh.points, mesh.triangles, thickness=inputs.thickness, hardening=(hardening["strain"], hardening["stress"]),
        anisotropy=(float(a["F"]), float(a["G"]), float(a["H"]), float(a["N"])), rolling_angle=float(np.deg2rad(inputs.rolling_direction)),
        youngs_modulus=float(sheet.values["E"]), poisson=float(sheet.values["nu"]), flange=flange if rubs else None,
        blankholder_force=force if rubs else 0.0, friction=inputs.friction if rubs else 0.0, bead_restraint=inputs.bead_restraint,
        wall_drag=None if stated else tool.drag,
        thickness_limit=tool.limits, watch=watch,
    )  # fmt: skip
    for name in ("major", "minor", "thickness", "plastic_strain", "principal_stress"):
        if not np.isfinite(getattr(found, name)).all():
            raise SolveError(
                f"The inverse solution gives a {name} that is not a finite number.", where="blank", help="Check the mesh of the part."
            )
    return found


def _blend(blend: Mapping[int, str], loops: tuple[NDArray[np.int32], ...], loop: NDArray[np.int32]) -> str:
    return next((kind for i, kind in blend.items() if loops[i] is loop), "")


def _step(s: Step) -> dict[str, Any]:
    return {"iteration": int(s.iteration), "residual": float(s.residual), "step": float(s.step)}


SOLUTION = Stage(
    name="solution", title="The solution", version=3, packages=("blank", "mechanics"), needs=("shape", "sheet"), inputs=_inputs, work=work,
)  # fmt: skip

"""The draw of the job as the compensation asks for it: any faces, always the same mesh, trim and step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.plane_mesh import PlaneMesh
from diewright.geometry.shift_field import ShiftField
from diewright.job.stage import Result
from diewright.mechanics.shell.material import ShellMaterial
from diewright.tryout.after import find_cut, release, trim
from diewright.tryout.blank_mesh import BlankLines, as_sheet
from diewright.tryout.compensation_core import Faces, Pressed
from diewright.tryout.press_run import Wanted, press_tools, run_press
from diewright.tryout.setup import OPERATIONS, TOOLS, Part, Shown
from diewright.watch import Watch

Floats = NDArray[np.float64]


def moved_result(faces: Result, meshes: Faces, field: ShiftField | None, thickness: float) -> Result:
    """The result of the stage ``faces`` as it would be for the moved ones: meshes, lines, where the flat blank lies and how far the punch travels."""
    arrays, values = dict(faces.arrays), dict(faces.values)
    level = float(faces.arrays["die_touch"][0])
    if field is not None:
        top = [float(m.points[:, 2].max()) for m in (faces.meshes["die"].mesh, meshes["die"])]
        low = [float(m.points[:, 2].min()) for m in (faces.meshes["punch"].mesh, meshes["punch"])]
        moved = level + top[1] - top[0]
        values["stroke"] = float(values["stroke"]) + (moved - level) - (low[1] - low[0])
        arrays["die_touch"] = np.array([moved])
        arrays["trim_line"] = faces.arrays["trim_line"] + field.at(faces.arrays["trim_line"])
        plan = faces.arrays["opening"]
        arrays["opening"] = plan + field.at(np.column_stack([plan, np.full(len(plan), level)]))[:, :2]
    return replace(faces, meshes={n: FieldMesh(m) for n, m in meshes.items()}, arrays=arrays, values=values)


def nominal_of(faces: Result) -> Result:
    """The faces before a shift file moved them; as they are where the job states none."""
    if "nominal" not in faces.values:
        return faces
    meshes = {
        name: FieldMesh(TriMesh(faces.arrays[f"nominal_{name}_points"], faces.arrays[f"nominal_{name}_triangles"])) for name in faces.meshes
    }
    lines = {name: faces.arrays[f"nominal_{name}"] for name in ("trim_line", "opening", "die_touch")}
    return replace(faces, meshes=meshes, arrays={**faces.arrays, **lines}, values={**faces.values, **faces.values["nominal"]})


@dataclass(eq=False)
class JobDraw:
    """Hold, draw, release, trim. The first run's trim is kept for all of them; ``runs`` of ``count`` are shown as progress from ``low`` to 0.97."""

    inputs: Any
    faces: Result
    wanted: Wanted
    material: ShellMaterial
    flow: float
    mesh: PlaneMesh
    lines: BlankLines
    rolling: tuple[float, float, float]
    watch: Watch
    count: int
    low: float
    runs: int = 0
    kept: NDArray[np.bool_] | None = None
    trim_how: str = ""
    trim_off: float | None = None

    def __call__(self, faces: Faces, field: ShiftField | None) -> Pressed:
        """One run. Raises :class:`SolveError` where the draw breaks off, or springback does not close."""
        t, k = self.inputs.thickness, self.runs
        width = (0.97 - self.low) / self.count
        begin = self.low + k * width
        name = "nominal faces" if field is None else f"moved faces {k} of {self.count - 1}"
        here = moved_result(self.faces, faces, field, t)
        tools = press_tools(here, t, self.wanted, self.flow)
        sheet = as_sheet(self.mesh, float(here.arrays["die_touch"][0]))
        model, outcome = run_press(
            sheet, t, self.material, tools, here, self.wanted, rolling=self.rolling,
            watch=Part(self.watch, name, begin, begin + 0.85 * width).watch(),
            hear=Shown(self.watch, float(here.values["stroke"]), TOOLS, OPERATIONS),
        )  # fmt: skip
        if outcome.stopped is not None:
            raise SolveError(
                f"the draw in the {name} broke off: {outcome.stopped}", where="compensation",
                help="Look at the tryout first; a smaller factor moves the faces less.",
            )  # fmt: skip
        drawn = TriMesh(outcome.frames[-1].x, sheet.triangles)
        size = float(np.median(np.sqrt(self.mesh.areas / 0.433)))
        if self.kept is None:
            cut = find_cut(self.mesh, drawn, self.lines, here.arrays["trim_line"], size)
            self.kept, self.trim_how, self.trim_off = cut.kept, cut.how, cut.off
        self.watch.step(f"{name}: release", begin + 0.85 * width, 1.0)
        free = release(model.patches, model.form(), model.material, model.stations)
        self.watch.step(f"{name}: trim and springback", begin + 0.92 * width, 1.0)
        part = trim(sheet, t, self.rolling, free, self.kept, model.material, model.stations)
        self.runs += 1
        return Pressed(drawn, part.mesh, part.nodes)

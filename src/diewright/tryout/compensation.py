"""The stage ``compensation``: the faces moved against the springback of the trimmed part, run by run, and the field that moves them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Finding
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.tryout.blank_mesh import blank_lines
from diewright.tryout.compensation_core import compensate
from diewright.tryout.compensation_report import report, supports
from diewright.tryout.compensation_runs import JobDraw, nominal_of
from diewright.tryout.first_run import choose_mesh
from diewright.tryout.press_run import press_tools
from diewright.tryout.reference_points import Laid, best_fit, three_two_one
from diewright.tryout.setup import TryoutInputs, rolling_vector, tryout_inputs, wanted_of
from diewright.tryout.sheet_law import flow_stress, shell_material
from diewright.watch import Watch

Floats = NDArray[np.float64]


class CompensationInputs(TryoutInputs):
    """What the tryout reads, and how the faces are moved."""

    mesh: Literal["coarse", "graded", "normal", "fine"]
    iterations: int
    factor: float
    tolerance: float
    wave: Literal["auto"] | float
    alignment: Literal["best fit", "supports"]
    blankholder: Literal["auto", "keep", "follow"]


def _inputs(job: Job) -> CompensationInputs:
    # the mesh is its own, springback is the point of it, and where springback is read does not move the faces
    stated = job.compensation.model_dump()
    own = {"springback": True, "reference_points": (), "quality": "coarse", "mesh": stated.pop("quality")}
    return CompensationInputs(**{**tryout_inputs(job).model_dump(), **own, **stated})


def work(inputs: CompensationInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """A mesh, the nominal run, and a run for every time the faces are moved."""
    shape = upstream["shape"].values
    if shape["parts"] > 1:
        raise InputError(
            f"{shape['parts']} parts are drawn in one stroke: they spring apart once they are cut from each other, which the compensation does not follow.", where="shape.copies",
            help="Compensate a copy of this job with one part in the draw, and move the faces of all parts by its shift.",
        )  # fmt: skip
    faces, t = nominal_of(upstream["faces"]), inputs.thickness
    upstream = {**upstream, "faces": faces}
    wanted, rolling = wanted_of(inputs, upstream), rolling_vector(inputs.rolling_direction)
    material = shell_material(upstream["sheet"], back_modulus=inputs.back_modulus, recall=inputs.back_recall)
    flow, lines = flow_stress(upstream["sheet"]), blank_lines(upstream["solution"], upstream["blank"])
    coarse = inputs.mesh == "coarse"
    fine, budget = ("normal", "coarse") if inputs.mesh == "graded" else (inputs.mesh, inputs.mesh)
    low = 0.03 if coarse else 0.10
    watch.step("distances to the faces", 0.0, 1.0)
    tools = () if coarse else press_tools(faces, t, wanted, flow)
    chosen = choose_mesh(
        inputs, upstream, lines, tools, material, wanted, watch, fine=fine, budget=budget, first=not coarse, until=low
    )  # fmt: skip
    draw = JobDraw(
        inputs, faces, chosen.wanted, material, flow, chosen.mesh, lines, rolling, watch, count=inputs.iterations + 1, low=low
    )  # fmt: skip
    edge = float(np.median(np.sqrt(chosen.mesh.areas / 0.433)))
    wave = max(30.0 * t, 3.0 * edge) if isinstance(inputs.wave, str) else inputs.wave
    meshes = {name: faces.meshes[name].mesh for name in ("die", "punch", "blankholder")}
    got = compensate(
        draw, meshes, t, _Lay(inputs.alignment, t), iterations=inputs.iterations, factor=inputs.factor, wave=wave, holder=inputs.blankholder, enough=inputs.tolerance,
    )  # fmt: skip
    watch.step("what it did to the faces", 0.97, 1.0)
    found = report(inputs, faces, got, draw, wave)
    if not shape["flanges"]:
        return found
    later = Finding(
        key="compensation.later", severity="note", value=float(len(shape["flanges"])), unit="flanges", source="draw shape of this job",
        sentence="The faces are moved for the draw shape, whose flanges are still open: what bending them later springs back is left out.",
        help="Give the flanging tool its own overbend, and measure the finished part before the draw die is recut.",
    )  # fmt: skip
    return replace(found, findings=(*found.findings, later))


class _Lay:
    """Lays every run's part in the same way: by its area, or on the three places that the first one gave."""

    def __init__(self, how: str, thickness: float) -> None:
        self._how, self._thickness = how, thickness
        self._on: tuple[int, int, int] | None = None

    def __call__(self, meant: TriMesh, sprung: Floats) -> Laid:
        if self._how == "best fit":
            return best_fit(meant, sprung)
        if self._on is None:
            self._on = supports(meant, self._thickness)
        return three_two_one(meant, sprung, self._on)


STAGE = Stage(
    name="compensation", title="Compensation", version=1, packages=("tryout", "mechanics", "sheet", "job/places"),
    needs=("shape", "sheet", "solution", "blank", "faces", "press"), inputs=_inputs, work=work, slow=True,
)  # fmt: skip

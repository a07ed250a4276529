"""A small graph of toy stages that shows every behaviour of the desk without CAD or solvers."""

from __future__ import annotations

import os
import time

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.errors import SolveError
from diewright.geometry import FieldMesh, TriMesh
from diewright.job.findings import Figure, Finding, Place
from diewright.job.graph import Graph
from diewright.job.stage import Result, Stage


class Thickness(BaseModel):
    model_config = ConfigDict(frozen=True)
    thickness: float


class Friction(BaseModel):
    model_config = ConfigDict(frozen=True)
    friction: float


class Nothing(BaseModel):
    model_config = ConfigDict(frozen=True)


def square() -> TriMesh:
    return TriMesh(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))


def work_first(inputs, upstream, files, watch):
    watch.step("measuring", 1, 2)
    mesh = FieldMesh(square(), {"depth": np.arange(4.0)}, {"face": np.array([3, 4])})
    return Result(
        values={"doubled": 2 * inputs.thickness, "bytes": files["cad"].path.stat().st_size if "cad" in files else 0},
        figures=(
            Figure(
                key="doubled",
                label="Doubled",
                value=2 * inputs.thickness,
                unit="mm",
                formula="2 t",
                inputs={"t": (inputs.thickness, "mm")},
                source="arithmetic",
            ),
        ),
        findings=(
            Finding(
                key="first.thin",
                severity="attend",
                sentence="The sheet is thin.",
                value=inputs.thickness,
                limit=1.0,
                unit="mm",
                source="common practice",
                place=Place(points=((0.0, 0.0, 0.0),), label="left"),
            ),
            Finding(key="first.never", severity="stop", sentence="It cannot be made."),
        ),
        meshes={"part": mesh},
        tables={"curve": {"x": np.array([0.1, 1 / 3]), "name": np.array(["a", "b"])}},
        arrays={"loop": np.array([1, 2, 3])},
        files={"blank.dxf": b"0\nEOF\n"},
    )


def work_second(inputs, upstream, files, watch):
    delay = float(os.environ.get("TOY_DELAY", "0"))
    for i in range(20):
        watch.step("solving", i, 20)
        time.sleep(delay / 20)
    if inputs.friction > 0.5:
        raise SolveError("the solution did not settle.", where="second", help="Lower the friction.")
    if inputs.friction == 0.49:
        raise ZeroDivisionError("a defect")
    if inputs.friction == 0.48:
        return Result(values={"bad": float("nan")})
    return Result(
        values={"sum": upstream["first"].values["doubled"] + inputs.friction, "loop": int(upstream["first"].arrays["loop"].sum())}
    )


FIRST = Stage(
    "first", "First", 1, ("watch",), (), lambda job: Thickness(thickness=job.sheet.thickness), work_first,
    lambda job: {"cad": job.part.file} if job.part.file else {},
)  # fmt: skip
SECOND = Stage("second", "Second", 1, ("watch",), ("first",), lambda job: Friction(friction=job.blank.friction), work_second)
THIRD = Stage("third", "Third", 1, ("watch",), (), lambda job: Nothing(), lambda i, u, f, w: Result(values={"three": 3}))
TOYS = Graph([SECOND, FIRST, THIRD])

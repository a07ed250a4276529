"""The stage ``surface``: which surface counts. A stage of its own, since the plating asks for it and needs no forming."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.finish.spec.significant import Significant, significant
from diewright.geometry.accessible import Probe
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import Job, Vector
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch


class SurfaceInputs(BaseModel):
    """What the stage reads of the job: the fields of ``[finish]`` that pick the surface, and the sheet's thickness [mm]."""

    model_config = ConfigDict(frozen=True)
    significant: str | tuple[int, ...]
    significant_points: tuple[Vector, ...]
    side: str
    ball_mm: float
    thickness: float


def _inputs(job: Job) -> SurfaceInputs:
    f = job.finish
    return SurfaceInputs(
        significant=f.significant, significant_points=f.significant_points, side=f.side, ball_mm=f.ball_mm, thickness=job.sheet.thickness
    )


def work(inputs: SurfaceInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Pick the surface, roll the ball over both sides. Raises :class:`InputError` for faces and points that are not there, or where nothing can be touched."""
    watch.step("rolling the ball", 0, 1)
    part = upstream["tipping"].meshes["part"]
    chord = float(upstream["part"].values.get("mesh", {}).get("chord_error") or 0.0)
    m = significant(
        part.mesh, np.asarray(part.cell["face"]).astype(np.int64), inputs.significant, inputs.significant_points, inputs.side, inputs.ball_mm, Probe(part.mesh, inputs.thickness), chord
    )  # fmt: skip
    cell = {
        "picked": m.picked.astype(np.float64), "significant": m.any_side.astype(np.float64), "significant_upper": m.counts("upper").astype(np.float64),
        "significant_lower": m.counts("lower").astype(np.float64), "ball_upper": m.ball["upper"], "ball_lower": m.ball["lower"],
    }  # fmt: skip
    return Result(values=values(part.mesh, m, inputs.ball_mm), meshes={"part": FieldMesh(part.mesh, cell=cell)})


def values(mesh: TriMesh, m: Significant, ball: float) -> dict[str, Any]:
    """Side, sides that count, faces (null: all), areas [mm2], share of the picked surface that the ball touches, by side."""
    picked = mesh.areas * m.picked
    return {
        "side": m.side, "sides": list(m.sides), "faces": None if m.faces is None else list(m.faces), "ball_mm": ball, "picked_mm2": float(picked.sum()) * len(m.sides),
        "significant_mm2": float(sum(mesh.areas[m.counts(s)].sum() for s in m.sides)), "ball_share": {s: float((picked * m.ball[s]).sum() / picked.sum()) for s in m.sides},
    }  # fmt: skip


def of_result(surface: Result) -> Significant:
    """The significant surface that the stage gave."""
    v, cell = surface.values, surface.meshes["part"].cell
    ball = {s: np.asarray(cell[f"ball_{s}"]) for s in ("upper", "lower")}
    return Significant(
        v["side"], tuple(v["sides"]), np.asarray(cell["picked"]) > 0, ball, None if v["faces"] is None else tuple(v["faces"])
    )


STAGE = Stage(
    name="surface", title="Significant surface", version=1, packages=("finish/surface", "finish/spec", "geometry/accessible", "geometry/sides", "geometry/mesh"),
    needs=("part", "tipping"), inputs=_inputs, work=work,
)  # fmt: skip

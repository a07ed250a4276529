"""Parts and upstream results for the tests of the finish."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from diewright.finish.stage import STAGE
from diewright.finish.surface import STAGE as SURFACE
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import InputFile, Result
from diewright.prove.finish import profile
from diewright.watch import Watch


def channel(width: float = 60.0, depth: float = 30.0, flange: float = 40.0, length: float = 120.0, edge: float = 4.0) -> TriMesh:
    """A channel along y, open upwards, with flanges; bottom at ``-depth``. Normals up."""
    corners = np.array(
        [
            [-0.5 * width - flange, 0],
            [-0.5 * width, 0],
            [-0.5 * width, -depth],
            [0.5 * width, -depth],
            [0.5 * width, 0],
            [0.5 * width + flange, 0],
        ]
    )
    line = [corners[:1]]
    for a, b in pairwise(corners):
        n = max(1, round(float(np.linalg.norm(b - a)) / edge))
        line.append(a + (b - a) * (np.arange(1, n + 1) / n)[:, None])
    return profile(np.concatenate(line), length, round(length / edge))


def faces_of(mesh: TriMesh) -> np.ndarray:
    """1 bottom, 2 walls, 3 flanges of a channel."""
    level = np.abs(mesh.normals[:, 2]) > 0.9
    low = mesh.centroids[:, 2] < 0.5 * mesh.points[:, 2].min()
    return np.where(~level, 2, np.where(low, 1, 3))


def upstream(
    mesh: TriMesh, thickness=1.0, strain=0.0, slide: float = 0.0, family: str = "steel", of: np.ndarray | None = None
) -> dict[str, Result]:
    """Results of the stages before; ``thickness`` and ``strain`` of the solution's triangles; ``slide`` shifts the flat along x."""
    m = len(mesh.triangles)
    of = np.arange(m) if of is None else of
    solved = TriMesh(mesh.points, mesh.triangles[np.maximum(of, 0)])
    full = lambda v: np.broadcast_to(np.asarray(v, dtype=float), (len(of),)).copy()  # noqa: E731
    return {
        "part": Result(values={"mesh": {"chord_error": 0.0}}),
        "tipping": Result(meshes={"part": FieldMesh(mesh, cell={"face": faces_of(mesh)})}),
        "shape": Result(meshes={"part": FieldMesh(solved, cell={"of": of})}),
        "sheet": Result(values={"family": family, "density": 7850.0}),
        "solution": Result(
            meshes={
                "part": FieldMesh(solved, cell={"thickness": full(thickness), "plastic_strain": full(strain)}),
                "flat": FieldMesh(TriMesh(solved.points + np.array([slide, 0.0, 0.0]), solved.triangles)),
            }
        ),
    }


def finished(
    mesh: TriMesh | None = None,
    before: dict[str, Result] | None = None,
    files: dict[str, InputFile] | None = None,
    watch: Watch | None = None,
    **stated,
) -> Result:
    """Work the stage on a part of 1 mm sheet."""
    mesh = channel() if mesh is None else mesh
    job = parse({"sheet": {"thickness": 1.0}, "finish": stated})
    before = before or upstream(mesh)
    before = before | {"surface": SURFACE.work(SURFACE.inputs(job), before, {}, Watch())}
    return STAGE.work(STAGE.inputs(job), before, files or {}, watch or Watch())

"""Simple drawn parts with known flats, and the results of the stages before the trim around them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import InputFile, Result
from diewright.trim.lines import stage
from diewright.watch import Watch

Floats = np.ndarray


def grid(x: Floats, y: Floats) -> TriMesh:
    """A flat grid, normals up."""
    u, v = np.meshgrid(x, y, indexing="ij")
    n = np.arange(u.size).reshape(u.shape)
    a, b, c, d = (k.ravel() for k in (n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]))
    cells = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return TriMesh(np.column_stack([u.ravel(), v.ravel(), np.zeros(u.size)]), cells.astype(np.int32))


def bent(s: Floats, angle: float, radius: float, half: float) -> tuple[Floats, Floats]:
    """A strip of half width ``half`` flat in the middle and bent up by ``angle`` [rad] over ``radius`` [mm] on both sides: x, z of the arc length ``s`` from the middle."""
    a, turn = np.abs(s), radius * angle
    t = np.clip((a - half) / radius, 0.0, angle)
    rest = np.maximum(a - half - turn, 0.0)
    x = np.minimum(a, half) + radius * np.sin(t) + rest * math.cos(angle)
    z = radius * (1.0 - np.cos(t)) + rest * math.sin(angle)
    return np.sign(s) * x, z


def channel(
    angle_deg: float = 60.0, radius: float = 12.0, half: float = 30.0, wall: float = 25.0, step: float = 3.0, fine: float = 12.0
) -> tuple[TriMesh, TriMesh]:
    """A bent channel and its flat: formed mesh and flat mesh with the same triangles; ``fine`` [deg] of turn along an edge in the bends."""
    angle = math.radians(angle_deg)
    turn = radius * angle
    bend = np.linspace(half, half + turn, max(math.ceil(angle_deg / fine), 1) + 1)
    right = np.concatenate(
        [
            np.linspace(0.0, half, math.ceil(half / step) + 1),
            bend[1:],
            np.linspace(half + turn, half + turn + wall, math.ceil(wall / step) + 1)[1:],
        ]
    )
    flat = grid(np.concatenate([-right[::-1], right[1:]]), np.linspace(-40.0, 40.0, math.ceil(80.0 / step) + 1))
    x, z = bent(flat.points[:, 0], angle, radius, half)
    return TriMesh(np.column_stack([x, flat.points[:, 1], z]), flat.triangles), flat


def upstream(
    formed: TriMesh,
    flat: TriMesh,
    *,
    thickness: float = 1.0,
    thinned: float = 0.9,
    radius: Floats | None = None,
    holes: Mapping[str, Floats] = MappingProxyType({}),
    beyond: float = 0.0,
) -> dict[str, Result]:
    """Results as the trim reads them. The die is the formed mesh set off by half a thickness; ``beyond`` [mm] is the blank's allowance round a square flat."""
    from diewright.trim.lines.sheet import corner_normals

    outer = max(formed.boundary_loops, key=formed.loop_length)
    die = TriMesh(formed.points - 0.5 * thickness * corner_normals(formed), formed.triangles)
    holder = TriMesh(np.array([[0, 0, 500.0], [1, 0, 500.0], [0, 1, 500.0]]), np.array([[0, 1, 2]]))
    point = {} if radius is None else {"radius": radius}
    low, high = flat.points[:, :2].min(axis=0) - beyond, flat.points[:, :2].max(axis=0) + beyond
    box = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    outline = flat.points[outer, :2] if beyond == 0 else box
    return {
        "shape": Result(values={"parts": 1, "rotation": np.eye(3).tolist(), "shift": [0.0, 0.0, 0.0], "holes": []}, meshes={"part": FieldMesh(formed, point)}),
        "sheet": Result(values={"family": "steel"}),
        "solution": Result(meshes={"part": FieldMesh(formed, {}, {"thickness": np.full(len(formed.triangles), thinned)}), "flat": FieldMesh(flat)}, arrays={"outer": outer, **holes}),
        "blank": Result(arrays={"outline": outline}),
        "faces": Result(values={"clearance": thickness}, meshes={"die": FieldMesh(die), "blankholder": FieldMesh(holder)}, arrays={"trim_line": formed.points[outer]}),
    }  # fmt: skip


def trim(
    before: dict[str, Result], lines: Sequence[dict[str, Any]] = (), files: Mapping[str, InputFile] = MappingProxyType({}), **stated: Any
) -> Result:
    """Work the stage with stated lines and fields of ``[trim]``."""
    job = parse({"trim": {"line": list(lines), **stated}, "sheet": {"thickness": 1.0}})
    return stage.work(stage._inputs(job), before, files, Watch())


def keys(result: Result) -> set[str]:
    return {f.key for f in result.findings}


def finding(result: Result, key: str) -> Any:
    return next(f for f in result.findings if f.key == key)

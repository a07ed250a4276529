"""The draw shape against closed forms: developed lengths of return flanges, the hoop strain of a curved one, and a bridge between two pans."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.part.measure import draft
from diewright.shape.stage import STAGE
from diewright.shape.unroll import stretch
from diewright.watch import Watch

Floats = NDArray[np.float64]
STEP = math.radians(5.0)
CHANNEL = ((60.0, 0.0), (5.0, 80.0), (40.0, 0.0), (4.0, -80.0), (25.0, 0.0), (3.0, 90.0), (20.0, 0.0))
"""Floor, wall, brim and return flange: (length, 0) of a flat or (radius [mm], turn [deg]) of a bend."""


def _section(steps: tuple[tuple[float, float], ...], start: float) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Points, normals and number of the step of each interval of a line of flats and bends."""
    p, a = np.array([start, 0.0]), 0.0
    points, normals, number = [p], [(0.0, 1.0)], []
    for i, (size, turn) in enumerate(steps):
        n = max(math.ceil(abs(math.radians(turn)) / STEP), math.ceil(size / 4.0) if turn == 0.0 else 1)
        for k in range(1, n + 1):
            b = a + math.radians(turn) * k / n
            if turn == 0.0:
                points.append(p + size * k / n * np.array([math.cos(a), math.sin(a)]))
            else:
                r = math.copysign(size, turn)
                points.append(p + r * np.array([math.sin(b) - math.sin(a), math.cos(a) - math.cos(b)]))
            normals.append((-math.sin(b), math.cos(b)))
            number.append(i)
        p, a = points[-1], a + math.radians(turn)
    return np.array(points), np.array(normals), np.array(number)


def _swept(steps: tuple[tuple[float, float], ...], start: float, about: Floats) -> Result:
    """A tipped part: the section at each station ``about (k, 2, 3)``: where it stands, and its direction outwards."""
    p, n, number = _section(steps, start)
    up = np.array([0.0, 0.0, 1.0])
    points = np.concatenate([o + np.outer(p[:, 0], x) + np.outer(p[:, 1], up) for o, x in about])
    normal = np.concatenate([np.outer(n[:, 0], x) + np.outer(n[:, 1], up) for _, x in about])
    m = len(p)
    i = (np.arange(len(about) - 1)[:, None] * m + np.arange(m - 1)).ravel()
    mesh = TriMesh(points, np.concatenate([np.stack([i, i + 1, i + m + 1], 1), np.stack([i, i + m + 1, i + m], 1)]))
    return _tipped(mesh, normal, np.tile(number, 2 * (len(about) - 1)))


def _tipped(mesh: TriMesh, normal: Floats, face: NDArray[np.int64]) -> Result:
    n, z = len(mesh.points), mesh.points[:, 2]
    point = {"depth": z.max() - z, "radius": np.full(n, 1e4), "sharp": np.zeros(n), "normal": normal}
    cell = {"draft_deg": draft(mesh.normals), "undercut": np.zeros(len(mesh.triangles), dtype=np.int8), "face": face}
    return Result(values={"holes": []}, meshes={"part": FieldMesh(mesh, point, cell)})


def _drawn(tipping: Result, **stated: object) -> Result:
    job = parse({"sheet": {"thickness": 1.0}, "shape": stated})
    return STAGE.work(STAGE.inputs(job), {"tipping": tipping}, {}, Watch())


def channel() -> dict[str, float]:
    """A channel's return flange of 90 degrees drawn open: its reach past the brim [mm], its arc at 45 degrees, the largest strain [%] of what is flat, and how far the mesh's chords lie inside the arc [mm]."""
    y = np.linspace(0.0, 80.0, 17)
    about = np.stack([np.column_stack([0 * y, y, 0 * y]), np.tile([1.0, 0.0, 0.0], (17, 1))], axis=1)
    part = _swept(CHANNEL, 0.0, about)
    brim = float(_section(CHANNEL[:5], 0.0)[0][-1, 0])
    shape = _drawn(part, flange=[{"face": 6}])
    half = _drawn(part, flange=[{"face": 6, "angle": 45.0}])
    was, now = part.meshes["part"], shape.meshes["part"].mesh
    bend = np.unique(was.mesh.triangles[was.cell["face"] == 5])
    ring = half.meshes["part"].mesh.points[bend]
    return {
        "reach": float(now.points[:, 0].max()) - brim,
        "strain of flats": 100.0 * float(stretch(was.mesh.points, now.points, was.mesh.triangles[was.cell["face"] != 5]).max()),
        "radius at 45 deg": float((ring[:, 0].max() - brim) / math.sin(math.radians(45.0))),
        "chords inside the arc": float(shape.values["flanges"][0]["chord_error"]),
    }  # fmt: skip


def rim() -> dict[str, float]:
    """A flange of 8 mm on a bend of 3 mm round a quarter of a plate of 100 mm, drawn open: hoop strain [%] of its rim in the middle, and how far it stands off the plate's plane [mm]."""
    at = np.radians(np.linspace(0.0, 90.0, 61))
    about = np.stack([np.zeros((61, 3)), np.column_stack([np.cos(at), np.sin(at), 0 * at])], axis=1)
    part = _swept(((40.0, 0.0), (3.0, 90.0), (8.0, 0.0)), 60.0, about)
    shape = _drawn(part, flange=[{"face": 2}])
    was, now = part.meshes["part"].mesh, shape.meshes["part"].mesh
    place = np.degrees(np.arctan2(was.points[:, 1], was.points[:, 0]))
    top = np.flatnonzero((np.abs(place - 45.0) < 3.1) & (was.points[:, 2] > 10.99))
    top = top[np.argsort(place[top])]
    length = [float(np.linalg.norm(np.diff(p[top], axis=0), axis=1).sum()) for p in (was.points, now.points)]
    return {"hoop strain": 100.0 * (length[1] / length[0] - 1.0), "off the plane": float(np.abs(now.points[:, 2]).max())}


def bridge() -> dict[str, float]:
    """Two plates of 100 x 60 mm, mirrored at 30 mm, whose facing edges fall at 20 degrees: area of the bridge in plan [mm2], and its sag in the middle [mm]."""
    x, y = np.linspace(0.0, 100.0, 21), np.linspace(0.0, 60.0, 13)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    fall = np.tan(np.radians(20.0))
    z = -fall * np.maximum(grid[:, 0] - 80.0, 0.0) ** 2 / 40.0
    slope = -fall * np.maximum(grid[:, 0] - 80.0, 0.0) / 20.0
    normal = np.column_stack([-slope, 0 * slope, np.ones(len(slope))]) / np.sqrt(1.0 + slope**2)[:, None]
    i = (np.arange(12)[:, None] * 21 + np.arange(20)).ravel()
    mesh = TriMesh(np.column_stack([grid, z]), np.concatenate([np.stack([i, i + 1, i + 22], 1), np.stack([i, i + 22, i + 21], 1)]))
    shape = _drawn(_tipped(mesh, normal, np.zeros(len(mesh.triangles), dtype=np.int64)), copies="mirrored", spacing=30.0)
    got = shape.meshes["part"]
    joint = TriMesh(got.mesh.points, got.mesh.triangles[got.cell["copy"] == -1])
    middle = np.abs(got.mesh.points[:, 0] - 115.0) < 1e-6
    return {
        "plan area": float(0.5 * joint.doubled_normals[:, 2].sum()),
        "sag": float(z.min() - got.mesh.points[middle, 2].mean()),
        "parts": float(shape.values["parts"]),
    }


CASES: dict[str, Callable[[], dict[str, float]]] = {"shape-channel": channel, "shape-rim": rim, "shape-bridge": bridge}

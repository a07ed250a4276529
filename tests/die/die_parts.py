"""Middle surfaces of simple parts for the tests of the faces, and the results of earlier stages around them."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import shapely

from diewright.die import stage
from diewright.die.flat import even_line
from diewright.die.loft import arc, loft
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.watch import Watch


def cup_profile(
    radius: float, depth: float, nose: float, flange: float = 0.0, shoulder: float = 0.0, lean: float = 0.0, step: float = 25.0
) -> np.ndarray:
    """Section (r, z) of a cup's middle from its axis to its rim at z = 0 (top); walls lean by ``lean`` [deg] from vertical; ``step`` [deg] an arc's chord."""
    a = math.radians(90.0 - lean)  # elevation of the wall
    base = [np.array([[0.0, -depth]]), arc((radius - nose, nose - depth), nose, -math.pi / 2, -math.pi / 2 + a, 10.0, step)]
    foot = base[-1][-1]
    rise = -foot[1] - (shoulder * (1 - math.cos(a)) if flange else 0.0)
    top = foot + rise / math.sin(a) * np.array([math.cos(a), math.sin(a)])
    wall = np.linspace(foot, top, max(int(rise / 4.0), 2) + 1)[1:]
    if not flange:
        return np.vstack([*base, wall])
    bend = arc((top[0] + shoulder * math.sin(a), -shoulder), shoulder, math.pi / 2 + a, math.pi / 2, 10.0, step)
    rim = bend[-1] + np.array([[flange / 2, 0.0], [flange, 0.0]])
    return np.vstack([*base, wall, bend[1:], rim])


def revolved(profile: np.ndarray, count: int = 60) -> TriMesh:
    """Middle surface over a profile that starts on the axis."""
    at = 2 * np.pi * np.arange(count) / count
    unit = np.stack([np.cos(at), np.sin(at)], axis=1)
    rings = [np.array([[0.0, 0.0, profile[0, 1]]])]
    rings += [np.column_stack([r * unit, np.full(count, z)]) for r, z in profile[1:]]
    return loft(rings, closed=True)


def cup_normals(mesh: TriMesh, radius: float, depth: float, nose: float, shoulder: float = 0.0, lean: float = 0.0) -> np.ndarray:
    """Exact normals (up) at the points of a revolved :func:`cup_profile`."""
    a = math.radians(90.0 - lean)
    r, z = np.hypot(*mesh.points[:, :2].T), mesh.points[:, 2]
    slope = np.full(len(r), a)
    low = z < nose * (1 - math.cos(a)) - depth + 1e-9
    slope[low] = np.arcsin(np.clip((r[low] - radius + nose) / nose, 0.0, 1.0))
    if shoulder:
        high = z > -shoulder * (1 - math.cos(a)) - 1e-9
        slope[high] = np.arccos(np.clip((z[high] + shoulder) / shoulder, -1.0, 1.0))
    out = np.column_stack(
        [-np.sin(slope) * mesh.points[:, 0] / np.maximum(r, 1e-9), -np.sin(slope) * mesh.points[:, 1] / np.maximum(r, 1e-9), np.cos(slope)]
    )
    return out


def tray(plan: np.ndarray, depth: float, step: float = 4.0) -> TriMesh:
    """A tray with vertical walls and a sharp bottom edge over a closed plan line; its rim at z = 0 is the edge of the wall."""
    line = even_line(plan, step)
    area = shapely.Polygon(line)
    rows = [np.column_stack([line, np.full(len(line), z)]) for z in np.linspace(-depth, 0.0, max(int(depth / 5), 2))]
    walls = loft(rows, closed=True)
    cells = []
    for piece in shapely.constrained_delaunay_triangles(area).geoms:
        corner = np.asarray(piece.exterior.coords)[:3]
        cells.append([int(np.argmin(np.hypot(*(line - p).T))) for p in corner])
    floor = np.array(cells)
    p = line[floor]
    u, v = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    floor[u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0] = floor[u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0][:, ::-1]
    return TriMesh(walls.points, np.concatenate([walls.triangles, floor]))


def rounded(polygon: list[tuple[float, float]], radius: float) -> np.ndarray:
    """A polygon with all corners, inner ones too, rounded."""
    shape = shapely.Polygon(polygon)
    shape = shape.buffer(-radius, quad_segs=12).buffer(2 * radius, quad_segs=12).buffer(-radius, quad_segs=12)
    return np.asarray(shapely.orient_polygons(shape).exterior.coords)[:-1]


def upstream(mesh: TriMesh, blank: np.ndarray, normals: np.ndarray | None = None, family: str = "steel") -> dict[str, Result]:
    """Results of the stages before the faces, for a part ``mesh`` and a blank outline ``(k, 2)``."""
    outer = max(mesh.boundary_loops, key=mesh.loop_length)
    point = {} if normals is None else {"normal": normals}
    return {
        "shape": Result(values={"rotation": np.eye(3).tolist(), "shift": [0.0, 0.0, 0.0]}, meshes={"part": FieldMesh(mesh, point)}),
        "sheet": Result(values={"family": family}),
        "solution": Result(meshes={"part": FieldMesh(mesh)}, arrays={"outer": outer}),
        "blank": Result(arrays={"outline": blank}),
    }


def circle_line(radius: float, count: int = 90) -> np.ndarray:
    at = 2 * np.pi * np.arange(count) / count
    return radius * np.stack([np.cos(at), np.sin(at)], axis=1)


def faces_of(
    mesh: TriMesh, blank: np.ndarray, files: Mapping[str, object] = {}, normals: np.ndarray | None = None, **stated: object
) -> Result:
    """Work the stage on a part, with fields of ``[faces]`` and ``thickness`` stated; ``net (k, 2)``: the blank without its allowance."""
    thickness, net = stated.pop("thickness", 1.0), stated.pop("net", None)
    job = parse({"faces": dict(stated), "sheet": {"thickness": thickness}, "part": {"unit": "mm"}})
    before = upstream(mesh, blank, normals)
    if net is not None:
        before["blank"].arrays["outline_net"] = np.asarray(net)
    return stage.work(stage._inputs(job), before, files, Watch())  # type: ignore[arg-type]


def turns(mesh: TriMesh) -> np.ndarray:
    """Angles between neighbouring triangles [deg]."""
    t, m = mesh.triangles, len(mesh.triangles)
    edge = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(m), 3)
    order = np.lexsort((edge[:, 1], edge[:, 0]))
    twin = np.flatnonzero((edge[order[1:]] == edge[order[:-1]]).all(axis=1))
    i, j = owner[order[twin]], owner[order[twin + 1]]
    return np.degrees(np.arccos(np.clip((mesh.normals[i] * mesh.normals[j]).sum(axis=1), -1, 1)))

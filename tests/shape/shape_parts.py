"""Prismatic, turned and freely bent parts for the tests of the draw shape, without CAD: meshes on the true surface, with exact normals and faces."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.part import measure
from diewright.shape.stage import STAGE
from diewright.watch import Watch


def section(steps, start=(0.0, 0.0), heading=0.0, chord=7.5, edge=5.0):
    """A line in a plane from ``("line", length)`` and ``("arc", radius, degrees)`` (left positive): points, normals (left of the way) and the number of the step of each interval."""
    p, a = np.array(start, dtype=float), np.radians(heading)
    points, normals, faces = [p.copy()], [(-np.sin(a), np.cos(a))], []
    for number, step in enumerate(steps):
        if step[0] == "line":
            n = max(int(np.ceil(step[1] / edge)), 1)
            for k in range(1, n + 1):
                points.append(p + step[1] * k / n * np.array([np.cos(a), np.sin(a)]))
                normals.append((-np.sin(a), np.cos(a)))
                faces.append(number)
            p = points[-1].copy()
        else:
            r, turn = step[1], np.radians(step[2])
            n = max(int(np.ceil(abs(step[2]) / chord)), 1)
            side = np.sign(turn)
            c = p + side * r * np.array([-np.sin(a), np.cos(a)])
            for k in range(1, n + 1):
                b = a + turn * k / n
                points.append(c - side * r * np.array([-np.sin(b), np.cos(b)]))
                normals.append((-np.sin(b), np.cos(b)))
                faces.append(number)
            p, a = points[-1].copy(), a + turn
    return np.array(points), np.array(normals), np.array(faces)


def swept(points, normals, faces, place: Callable, count: int):
    """A section swept over ``count`` stations: ``place(k) -> (origin, x axis, z axis)`` of the section in space. Mesh, point normals, faces; normals up where the section's are."""
    rows, turned = [], []
    for k in range(count):
        o, x, z = place(k)
        rows.append(o + np.outer(points[:, 0], x) + np.outer(points[:, 1], z))
        turned.append(np.outer(normals[:, 0], x) + np.outer(normals[:, 1], z))
    m = len(points)
    i = (np.arange(count - 1)[:, None] * m + np.arange(m - 1)).ravel()
    cells = np.concatenate([np.stack([i, i + 1, i + m + 1], axis=1), np.stack([i, i + m + 1, i + m], axis=1)])
    mesh = TriMesh(np.concatenate(rows), cells)
    normal = np.concatenate(turned)
    if np.einsum("ij,ij->", mesh.doubled_normals, normal[cells[:, 0]]) < 0:
        mesh = mesh.reversed()
    return mesh, normal, np.tile(faces, 2 * (count - 1))


def prismatic(steps, length=80.0, count=17, **more):
    """A section along y."""
    p, n, f = section(steps, **more)
    y = np.linspace(0.0, length, count)
    return swept(p, n, f, lambda k: (np.array([0.0, y[k], 0.0]), np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])), count)


def round_about(steps, sweep=90.0, count=31, **more):
    """A section (x outwards from the z axis) turned about it by ``sweep`` degrees."""
    p, n, f = section(steps, **more)
    at = np.radians(np.linspace(0.0, sweep, count))
    return swept(p, n, f, lambda k: (np.zeros(3), np.array([np.cos(at[k]), np.sin(at[k]), 0.0]), np.array([0.0, 0.0, 1.0])), count)


def tipping_of(mesh, normal, face, holes=None):
    """A result as the stage ``tipping`` gives it."""
    z = mesh.points[:, 2]
    point = {"depth": z.max() - z, "radius": np.full(len(z), 1e4), "sharp": np.zeros(len(z)), "normal": np.asarray(normal)}
    cell = {"draft_deg": measure.draft(mesh.normals), "undercut": np.zeros(len(mesh.triangles), dtype=np.int8), "face": np.asarray(face)}
    loops = {f"hole_{i}": loop for i, loop in (holes or {}).items()}
    records = [
        {"id": i, "centre": mesh.points[loop].mean(axis=0).tolist(), "axis": [0.0, 0.0, 1.0], "perimeter": 1.0, "diameter": None, "round": False, "area": 1.0, "askew_deg": 0.0}
        for i, loop in (holes or {}).items()
    ]  # fmt: skip
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    values = {
        "rotation": np.eye(3).tolist(), "shift": [0.0, 0.0, 0.0], "direction": [0.0, 0.0, -1.0], "depth": float(np.ptp(z)), "plan_bbox": [low[:2].tolist(), high[:2].tolist()],
        "developed_area": mesh.area, "holes": records, "round": {"is_round": False, "diameter": None, "axis": None}, "radius_concave_min": None, "radius_convex_min": None,
    }  # fmt: skip
    edges = mesh.points[mesh.boundary_edges]
    return Result(values=values, meshes={"part": FieldMesh(mesh, point, cell)}, arrays={"feature_edges": edges, **loops})


def shaped(tipping, thickness=1.0, **stated):
    """The draw shape of a tipping's result as a job with the table ``[shape]`` states it."""
    job = parse({"sheet": {"thickness": thickness}, "shape": stated})
    return STAGE.work(STAGE.inputs(job), {"tipping": tipping}, {}, Watch())

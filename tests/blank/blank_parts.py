"""Parts, sheets and upstream results for the tests of the blank, without CAD."""

import numpy as np

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.stage import Result


def pan(width=200.0, length=140.0, depth=30.0, flange=20.0, step=6.0, corner=35.0, ramp=14.0):
    """A drawn pan with a level flange at z = 0 and a level bottom."""
    nx, ny = int((width + 2 * flange) / step), int((length + 2 * flange) / step)
    x, y = np.meshgrid(np.linspace(-width / 2 - flange, width / 2 + flange, nx), np.linspace(-length / 2 - flange, length / 2 + flange, ny))
    xy = np.column_stack([x.ravel(), y.ravel()])
    q = np.maximum(np.abs(xy) - (np.array([width / 2, length / 2]) - corner), 0.0)
    inside = corner - np.hypot(*q.T)  # distance inwards from the die's edge
    s = np.clip(inside / ramp, 0.0, 1.0)
    z = -depth * s * s * (3 - 2 * s)
    i = (np.arange(ny - 1)[:, None] * nx + np.arange(nx - 1)).ravel()
    t = np.concatenate([np.column_stack([i, i + 1, i + nx + 1]), np.column_stack([i, i + nx + 1, i + nx])])
    return TriMesh(np.column_stack([xy, z]), t)


def with_hole(mesh, centre, radius):
    """The mesh without the triangles that reach into a circle in plan: a hole with a stepped edge."""
    away = np.hypot(*(mesh.points[:, :2] - centre).T)
    t = mesh.triangles[(away[mesh.triangles] > radius).all(axis=1)]
    used = np.unique(t)
    number = np.full(len(mesh.points), -1)
    number[used] = np.arange(len(used))
    return TriMesh(mesh.points[used], number[t])


def sheet(limit=0.35):
    """A mild steel with r = 1 and a plain forming limit curve."""
    e = np.linspace(0, 2, 400)
    minor = np.linspace(-0.6, 0.6, 241)
    return Result(
        values={
            "E": 2.1e5, "nu": 0.3, "density": 7850.0, "Rm": 300.0, "Rp02": 170.0, "n": 0.21, "A80": 38.0, "family": "steel",
            "anisotropy": {"F": 0.5, "G": 0.5, "H": 0.5, "N": 1.5},
        },
        tables={
            "hardening": {"strain": e, "stress": 520.0 * (0.006 + e) ** 0.21},
            "limit": {"minor": minor, "major": limit + np.where(minor < 0, -minor, 0.5 * minor)},
        },
    )  # fmt: skip


def tipping(mesh):
    """A tipping result with every loop but the longest named as a hole, numbered from 1."""
    holes = {f"hole_{i}": loop for i, loop in enumerate(mesh.boundary_loops[1:], start=1)}
    return Result(values={"parts": 1}, meshes={"part": FieldMesh(mesh, {"depth": -mesh.points[:, 2]}, {})}, arrays=holes)


def plate(size=100.0, n=21):
    """A flat square plate."""
    x, y = np.meshgrid(np.linspace(0, size, n), np.linspace(0, size, n))
    i = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    t = np.concatenate([np.column_stack([i, i + 1, i + n + 1]), np.column_stack([i, i + n + 1, i + n])])
    return TriMesh(np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]), t)

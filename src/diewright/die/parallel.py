"""Surfaces parallel to a triangulated one: normals at its points, mitred offsets at sharp edges, and folds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

CREASE = math.radians(30.0)
"""Points where two triangles differ by more than this are on a sharp edge."""
_PLANE = math.radians(0.4)  # triangles within this of each other are one plane
_MITRE = 3.0  # longest mitre in offsets


def weights(mesh: TriMesh) -> Floats:
    """Weights ``sin(angle) / (|a| |b|)`` of the corners ``(m, 3)``: with them the mean of facet normals is exact on a sphere (Max 1999)."""
    p = mesh.points[mesh.triangles]
    out = np.zeros((len(p), 3))
    for i in range(3):
        a, b = p[:, (i + 1) % 3] - p[:, i], p[:, (i + 2) % 3] - p[:, i]
        out[:, i] = np.linalg.norm(np.cross(a, b), axis=1) / np.maximum((a * a).sum(axis=1) * (b * b).sum(axis=1), 1e-300)
    return out


def smooth_normals(mesh: TriMesh) -> Floats:
    """Unit normals at the points ``(n, 3)``, weighted as :func:`weights`."""
    w = weights(mesh)
    total = np.zeros_like(mesh.points)
    for i in range(3):
        np.add.at(total, mesh.triangles[:, i], w[:, i, None] * mesh.normals)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)


def sharp_points(mesh: TriMesh, normals: Floats) -> Mask:
    """True at points where a triangle's normal differs from the point's by more than half of :data:`CREASE`."""
    facing = np.einsum("mj,mij->mi", mesh.normals, normals[mesh.triangles])
    out = np.zeros(len(mesh.points), dtype=bool)
    out[mesh.triangles[facing < math.cos(0.5 * CREASE)]] = True
    return out


@dataclass(frozen=True)
class Parallel:
    """The offset mesh, the triangles that were turned over by it ``(m,)``, and how many points lie on sharp edges."""

    mesh: TriMesh
    folded: Mask
    mitred: int


def parallel(mesh: TriMesh, normals: Floats, distance: Floats) -> Parallel:
    """Move every point by ``distance (n,)`` [mm] (signed, along the normal).

    On a smooth surface along the point's normal. At a sharp point so that each plane there moves by the distance (a mitre): the least step ``m``
    with ``n_i . m = d`` for the triangles around, in the least-squares sense weighted by their corner angles.
    """
    d = np.broadcast_to(np.asarray(distance, dtype=float), (len(mesh.points),))
    step = d[:, None] * normals
    sharp = sharp_points(mesh, normals)
    if sharp.any():
        step[sharp] = _mitre(mesh, d)[sharp]
    moved = TriMesh(mesh.points + step, mesh.triangles)
    return Parallel(moved, _turned_over(mesh, moved), int(sharp.sum()))


def _turned_over(mesh: TriMesh, moved: TriMesh) -> Mask:
    """Triangles whose normal, or whose longest edge, points the other way after the move (past the centre of a sphere both edges turn and the normal does not)."""
    before, after = mesh.points[mesh.triangles], moved.points[moved.triangles]
    edge, now = np.roll(before, -1, axis=1) - before, np.roll(after, -1, axis=1) - after
    longest = np.argmax((edge * edge).sum(axis=2), axis=1)
    along = np.take_along_axis((edge * now).sum(axis=2), longest[:, None], axis=1)[:, 0]
    return np.asarray((np.einsum("ij,ij->i", moved.doubled_normals, mesh.normals) <= 0.0) | (along <= 0.0))


def _mitre(mesh: TriMesh, d: Floats) -> Floats:
    p = mesh.points[mesh.triangles]
    matrix, right = np.zeros((len(mesh.points), 3, 3)), np.zeros((len(mesh.points), 3))
    n = mesh.normals
    for i in range(3):
        a, b = p[:, (i + 1) % 3] - p[:, i], p[:, (i + 2) % 3] - p[:, i]
        angle = np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), (a * b).sum(axis=1))
        np.add.at(matrix, mesh.triangles[:, i], angle[:, None, None] * n[:, :, None] * n[:, None, :])
        np.add.at(right, mesh.triangles[:, i], (angle * d[mesh.triangles[:, i]])[:, None] * n)
    trace = np.einsum("kii->k", matrix)
    matrix += (1e-6 * trace + 1e-300)[:, None, None] * np.eye(3)
    step = np.linalg.solve(matrix, right[..., None])[..., 0]
    length = np.linalg.norm(step, axis=1, keepdims=True)
    return step * np.minimum(1.0, _MITRE * np.abs(d)[:, None] / np.maximum(length, 1e-300))

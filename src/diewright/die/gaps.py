"""The gap between two faces in the closed position."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Gap:
    """Gaps ``(k,)`` [mm] at points ``(k, 3)`` of one face to the nearest point of the other, negative where it has passed through."""

    at: Floats
    value: Floats

    @property
    def least(self) -> float:
        """Smallest gap [mm]."""
        return float(self.value.min())

    @property
    def most(self) -> float:
        """Largest gap [mm]."""
        return float(self.value.max())


def gap(points: Floats, face: TriMesh) -> Gap:
    """Signed distance of ``points (k, 3)`` from an open face, positive on the side of its normals.

    The sign is that of the nearest triangle's normal; at an edge or corner that of the mean of the normals there (pseudonormal, Baerentzen and Aanaes 2005).
    """
    from igl import point_mesh_squared_distance

    square, cell, near = point_mesh_squared_distance(np.ascontiguousarray(points), face.points, face.triangles.astype(np.int64))
    cell = np.asarray(cell).ravel()
    away = points - near
    corner = face.points[face.triangles[cell]]
    weight = barycentric(near, corner)
    normals = face.point_normals[face.triangles[cell]]
    inner = np.min(weight, axis=1) > 1e-9
    normal = np.where(inner[:, None], face.normals[cell], np.einsum("ki,kij->kj", np.clip(weight, 0.0, 1.0), normals))
    sign = np.where(np.einsum("ij,ij->i", away, normal) >= 0.0, 1.0, -1.0)
    return Gap(points, sign * np.sqrt(np.maximum(np.asarray(square).ravel(), 0.0)))


def barycentric(p: Floats, corner: Floats) -> Floats:
    """Barycentric weights ``(k, 3)`` of points ``(k, 3)`` in the planes of triangles ``(k, 3, 3)``."""
    a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
    n = np.cross(b - a, c - a)
    full = np.maximum((n * n).sum(axis=1), 1e-300)
    u = np.einsum("ij,ij->i", np.cross(c - b, p - b), n) / full
    v = np.einsum("ij,ij->i", np.cross(a - c, p - c), n) / full
    return np.stack([u, v, 1.0 - u - v], axis=1)

"""Normals of a triangulated face at its triangles, sides and corners, and which sides are open.

The sign of a distance comes from the normal of the nearest feature (Baerentzen and Aanaes, IEEE TVCG 11 (2005) 243): corners take the
normals of their triangles weighted by angle, sides the mean of two. Nearest points on an open side say that the face has ended.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Features:
    """A face ready for distances.

    Attributes
    ----------
    corners: (m, 3, 3) [mm]. normals: (m, 7, 3) of the triangle, its sides (0-1, 1-2, 2-0) and its corners.
    ends: (m, 6) bool, whether the side or corner lies on an open edge.
    """

    corners: Floats
    normals: Floats
    ends: NDArray[np.bool_]


def features(points: ArrayLike, triangles: ArrayLike) -> Features:
    """Features of a face; triangles without area are left out.

    Raises :class:`InputError` for a face without area, or one whose triangles are not turned the same way.
    """
    p, t = np.asarray(points, dtype=np.float64), np.asarray(triangles, dtype=np.int64)
    if p.ndim != 2 or p.shape[1] != 3 or t.ndim != 2 or t.shape[1] != 3 or not np.isfinite(p).all():
        raise InputError(f"points {p.shape} and triangles {t.shape}: expected finite (n, 3) and (m, 3).", where="tool face")
    # points at one place are one point: files give every triangle its own
    _, first, back = np.unique(np.round(p / 1e-6).astype(np.int64), axis=0, return_index=True, return_inverse=True)
    p, t = p[first], back.ravel()[t]
    n = np.cross(p[t[:, 1]] - p[t[:, 0]], p[t[:, 2]] - p[t[:, 0]])
    size = np.linalg.norm(n, axis=1)
    longest = np.linalg.norm(p[t] - p[t[:, [1, 2, 0]]], axis=2).max(axis=1, initial=0.0)
    good = size > 1e-9 * np.maximum(longest, 1e-12) ** 2
    t, n = t[good], n[good] / size[good, None]
    if len(t) == 0:
        raise InputError("the face has no area.", where="tool face")
    a = t.ravel()
    b = t[:, [1, 2, 0]].ravel()
    directed = a * len(p) + b
    if len(np.unique(directed)) < len(directed):
        k = int(
            np.flatnonzero(np.bincount(np.unique(directed, return_inverse=True)[1])[np.unique(directed, return_inverse=True)[1]] > 1)[0]
        )
        raise InputError(
            f"neighbouring triangles near {np.round(p[a[k]], 2).tolist()} are turned against each other.",
            where="tool face",
            help="Make the normals of the face point to one side.",
        )
    key = np.minimum(a, b) * len(p) + np.maximum(a, b)
    _, edge, count = np.unique(key, return_inverse=True, return_counts=True)
    edge = edge.ravel()
    edge_normal = np.zeros((len(count), 3))
    np.add.at(edge_normal, edge, np.repeat(n, 3, axis=0))
    open_edge = count == 1
    open_point = np.zeros(len(p), dtype=np.bool_)
    open_point[a[open_edge[edge]]] = True
    open_point[b[open_edge[edge]]] = True
    side = p[t[:, [1, 2, 0]]] - p[t]
    unit = side / np.linalg.norm(side, axis=2, keepdims=True)
    angle = np.arccos(np.clip(-(unit * unit[:, [2, 0, 1]]).sum(2), -1.0, 1.0))
    point_normal = np.zeros_like(p)
    np.add.at(point_normal, t, angle[:, :, None] * n[:, None])
    normals = np.zeros((len(t), 7, 3))
    normals[:, 0] = n
    normals[:, 1:4] = edge_normal[edge].reshape(-1, 3, 3)
    normals[:, 4:] = point_normal[t]
    ends = np.hstack([open_edge[edge].reshape(-1, 3), open_point[t]])
    return Features(np.ascontiguousarray(p[t]), normals, ends)

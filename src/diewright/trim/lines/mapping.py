"""From the formed sheet to the flat blank and back, by the triangles that both have in common.

A place on the sheet is a triangle and its barycentric weights ``w``; the same weights on the other mesh give the place there, ``x' = sum w_i x'_i``. Both ways are inverse to each other
on the triangles themselves; what is left of a round trip of a line given on the true shape is the distance of the shape from its triangles.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.cut_line import map_line
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Mask = NDArray[np.bool_]

_ON_EDGE = 1e-7
PAST = 0.05
"""What lies farther than this past the open edge of the part's mesh [mm] is no longer the part."""


@dataclass(frozen=True, eq=False)
class Spots:
    """Places on a mesh: ``triangles (k,)``, ``weights (k, 3)``, ``off (k,)`` distance of what was given [mm], ``rim (k,)`` True where the nearest place lies on the mesh's open edge."""

    triangles: Ints
    weights: Floats
    off: Floats
    rim: Mask

    def within(self, reach: float) -> Mask:
        """Whether the places belong to the mesh: no farther off than ``reach`` [mm] and not past its edge."""
        return np.asarray((self.off <= reach) & (~self.rim | (self.off <= PAST)))

    def on(self, mesh: TriMesh) -> Floats:
        """The same places on a mesh with the same triangles ``(k, 3)``."""
        return np.asarray(np.einsum("ki,kij->kj", self.weights, mesh.points[mesh.triangles[self.triangles]]))

    def of_points(self, triangles: Ints, values: Floats) -> Floats:
        """A point field ``(n, ...)`` there ``(k, ...)``."""
        return np.asarray(np.einsum("ki,ki...->k...", self.weights, np.asarray(values)[triangles[self.triangles]]))


def spots(mesh: TriMesh, points: Floats) -> Spots:
    """Nearest places of ``points (k, 3)`` on a mesh."""
    found = map_line(mesh, mesh, np.asarray(points, dtype=np.float64))
    return Spots(found.triangles, found.weights, found.off, _on_rim(mesh, found.triangles, found.weights))


def _on_rim(mesh: TriMesh, triangles: Ints, weights: Floats) -> Mask:
    n = len(mesh.points)
    edge = np.sort(mesh.boundary_edges, axis=1).astype(np.int64)
    open_ = np.unique(edge[:, 0] * n + edge[:, 1]) if len(edge) else np.zeros(0, dtype=np.int64)
    out = np.zeros(len(triangles), dtype=bool)
    corner = mesh.triangles[triangles].astype(np.int64)
    for i in range(3):
        a, b = corner[:, (i + 1) % 3], corner[:, (i + 2) % 3]
        key = np.minimum(a, b) * n + np.maximum(a, b)
        out |= (weights[:, i] < _ON_EDGE) & np.isin(key, open_)
    # a corner of the edge belongs to it whichever triangle found it
    at_corner = weights.max(axis=1) > 1.0 - _ON_EDGE
    on = np.isin(corner[np.arange(len(corner)), np.argmax(weights, axis=1)], edge)
    return np.asarray(out | (at_corner & on))


def to_flat(part: TriMesh, flat: TriMesh, points: Floats, reach: float) -> Floats:
    """Places ``(k, 2)`` on the flat blank of points ``(k, 3)`` of the formed sheet [mm]; nan where the part's mesh lies farther than ``reach`` [mm], or ends."""
    found = spots(part, points)
    out = found.on(flat)[:, :2]
    out[~found.within(reach)] = np.nan
    return out


def to_part(part: TriMesh, flat: TriMesh, points: Floats, reach: float = 1e-3) -> Floats:
    """Places ``(k, 3)`` on the formed sheet of points ``(k, 2)`` of the flat blank [mm]; nan outside the part's flat by more than ``reach`` [mm]."""
    level = np.column_stack([np.asarray(points, dtype=np.float64)[:, :2], np.full(len(points), float(flat.points[0, 2]))])
    found = spots(flat, level)
    out = found.on(part)
    out[found.off > reach] = np.nan
    return out

"""Where a face runs through itself, by exact arithmetic."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh


def crossing(mesh: TriMesh) -> NDArray[np.int64]:
    """Pairs ``(c, 2)`` of triangles of a mesh that cross or overlap each other other than in shared points and edges."""
    from igl.copyleft.cgal import remesh_self_intersections

    found = remesh_self_intersections(np.ascontiguousarray(mesh.points), mesh.triangles.astype(np.int64), detect_only=True)
    return np.asarray(found[2], dtype=np.int64).reshape(-1, 2)

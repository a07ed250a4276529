"""Which side of a sheet is the outer one, and regions of a sheet that hang together."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh


def outer_side(mesh: TriMesh) -> tuple[str, float]:
    """The side of a sheet that looks away from the part's middle, ``upper`` (that of the normals) or ``lower``, and by how much: the mean over the area of ``n . (x - middle of the box)`` [mm]."""
    middle = 0.5 * (mesh.points.min(axis=0) + mesh.points.max(axis=0))
    out = float(0.5 * np.einsum("ij,ij->", mesh.centroids - middle, mesh.doubled_normals) / mesh.area)
    # a part that is flat, or bulges as much this way as that, shows its upper side
    return ("lower" if out < -1e-3 * math.sqrt(mesh.area) else "upper"), out


@dataclass(frozen=True, eq=False)
class Region:
    """Triangles that hang together through shared points: their numbers, area [mm2] and a point on the surface in their middle [mm]."""

    cells: NDArray[np.int64]
    area: float
    at: tuple[float, float, float]


def regions(mesh: TriMesh, which: NDArray[np.bool_], weight: NDArray[np.float64] | None = None, least: float = 0.0) -> list[Region]:
    """Regions of the marked triangles, largest first, from an area of ``least`` [mm2] on; ``weight (m,)`` is the share of each triangle that counts."""
    marked = np.flatnonzero(which)
    if not len(marked):
        return []
    areas = mesh.areas if weight is None else mesh.areas * weight
    label = TriMesh(mesh.points, mesh.triangles[marked]).components
    found = []
    for number in np.unique(label):
        cells = marked[label == number]
        area = float(areas[cells].sum())
        if area < max(least, 1e-12):
            continue
        centre = (mesh.centroids[cells] * areas[cells, None]).sum(axis=0) / area
        x = mesh.centroids[cells[np.argmin(np.linalg.norm(mesh.centroids[cells] - centre, axis=1))]]
        found.append(Region(cells, area, (float(x[0]), float(x[1]), float(x[2]))))
    return sorted(found, key=lambda r: -r.area)

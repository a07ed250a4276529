"""Places of a part in a toolmaker's words: "rear left corner, wall"."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Place

Floats = NDArray[np.float64]

_MOST = 60  # points kept for one place; enough to show a region


def side(xy: Floats, low: Floats, high: Floats) -> str:
    """Where a plan position lies in the part's plan box: x runs left to right, y front to rear."""
    share = (np.asarray(xy) - low) / np.maximum(high - low, 1e-12)
    across = "left" if share[0] < 1 / 3 else "right" if share[0] > 2 / 3 else ""
    along = "front" if share[1] < 1 / 3 else "rear" if share[1] > 2 / 3 else ""
    if across and along:
        return f"{along} {across} corner"
    return f"{along or across} side" if along or across else "centre"


def zones(mesh: TriMesh, flange: NDArray[np.bool_], radius: Floats | None = None) -> NDArray[np.str_]:
    """``flange``, ``radius``, ``wall`` or ``bottom`` for each triangle of a mesh in press coordinates.

    A wall stands steeper than 45 degrees; a radius is where the stated radius (signed, per point [mm]) is below a tenth of the depth or 6 mm.
    """
    level = np.abs(mesh.normals[:, 2])
    zone = np.where(level < np.sqrt(0.5), "wall", "bottom").astype("<U8")
    if radius is not None:
        depth = float(np.ptp(mesh.points[:, 2]))
        tight = np.abs(np.where(np.isfinite(radius) & (radius != 0), radius, np.inf)) < max(0.1 * depth, 6.0)
        zone[tight[mesh.triangles].sum(axis=1) >= 2] = "radius"
    zone[flange] = "flange"
    return zone


def place(mesh: TriMesh, cells: NDArray[np.intp], zone: NDArray[np.str_]) -> Place:
    """The place of the triangles ``cells``, the worst first, named after the first."""
    low, high = mesh.points[:, :2].min(axis=0), mesh.points[:, :2].max(axis=0)
    at = mesh.centroids[cells[:_MOST]]
    label = f"{side(at[0, :2], low, high)}, {zone[cells[0]]}"
    return Place(points=tuple((float(x), float(y), float(z)) for x, y, z in at.round(6)), label=label)

"""What moving the faces has done to them: gap, draft, blankholder, bends. Measured on the triangulations, before against after."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.geometry.mesh import TriMesh
from diewright.tryout.surface import barycentric

Floats = NDArray[np.float64]
Faces = Mapping[str, TriMesh]
UNDERCUT = math.radians(0.1)  # a wall of this much less than upright counts
NEAR = 1.6  # thicknesses: a face forms the sheet where the opposite one is nearer than that
ALONG = math.cos(math.radians(10.0))  # and runs along with it: not where a punch is only closed upwards
MOST = 6000


@dataclass(frozen=True, eq=False)
class Checked:
    """Figures of the moved faces.

    Attributes
    ----------
    gap_before, gap_after: least gap between punch and die where both form the sheet [mm]. gap_change: largest change of it, seen from the same points [mm]. gap_at: where.
    draft_before, draft_after: least draft of die and punch where they form the sheet [deg], 90 for a level face, negative for an undercut.
    undercut_area: of triangles that were no undercut before and are now [mm2]; undercut_at: centroids (k, 3).
    holder_move: largest move of the blankholder along its own normal [mm]. holder_steepest: largest tilt of it between both [deg].
    turn: largest turn of the sheet's surface [deg]. stretch: largest change of length within it, share. fair: largest change of that turn over a distance of one edge [deg].
    """

    gap_before: float
    gap_after: float
    gap_change: float
    gap_at: tuple[float, float, float]
    draft_before: float
    draft_after: float
    undercut_area: float
    undercut_at: Floats
    holder_move: float
    holder_steepest: float
    turn: float
    stretch: float
    fair: float


def check_moved(before: Faces, after: Faces, sheet: TriMesh, moved_sheet: Floats, thickness: float) -> Checked:
    """Measure; ``sheet``: the drawn sheet in the faces ``before``, ``moved_sheet (n, 3)`` its nodes moved by the field that moved the faces."""
    forming = {
        "punch": _forming(before["punch"], before["die"], thickness),
        "die": _forming(before["die"], joined(before["punch"], before["blankholder"]), thickness),
    }
    gap0, gap1, at = _gaps(before, after, forming["punch"], sheet)
    draft0, draft1, area, where = _drafts(before, after, forming)
    holder0, holder1 = before["blankholder"], after["blankholder"]
    off = ((holder1.points - holder0.points) * holder0.point_normals).sum(axis=1)
    tilt = np.arccos(np.clip((holder0.normals * holder1.normals).sum(axis=1), -1.0, 1.0))
    turn, stretch, fair = _bent(sheet, TriMesh(moved_sheet, sheet.triangles))
    change = np.abs(gap1 - gap0)
    worst = int(np.argmax(change)) if len(change) else -1
    x, y, z = at[worst].tolist() if len(change) else (0.0, 0.0, 0.0)
    return Checked(
        float(gap0.min(initial=np.inf)), float(gap1.min(initial=np.inf)), float(change.max(initial=0.0)), (x, y, z), draft0, draft1, area, where,
        float(np.abs(off).max()), math.degrees(float(tilt.max(initial=0.0))), turn, stretch, fair,
    )  # fmt: skip


def _distance(face: TriMesh, points: Floats) -> Floats:
    import igl

    square, _, _ = igl.point_mesh_squared_distance(points, np.array(face.points), np.array(face.triangles, dtype=np.int64))
    return np.sqrt(np.asarray(square))


def joined(a: TriMesh, b: TriMesh) -> TriMesh:
    """Both as one mesh; no points are shared."""
    return TriMesh(np.vstack([a.points, b.points]), np.vstack([a.triangles, b.triangles + len(a.points)]))


def _forming(face: TriMesh, opposite: TriMesh, thickness: float) -> NDArray[np.bool_]:
    """Triangles (m,) with the opposite face a sheet's thickness away at all corners, and along with them."""
    import igl

    near = (_distance(opposite, face.points) < NEAR * thickness)[face.triangles].all(axis=1)
    _, cell, _ = igl.point_mesh_squared_distance(face.centroids, np.array(opposite.points), np.array(opposite.triangles, dtype=np.int64))
    facing = -(face.normals * opposite.normals[np.asarray(cell).ravel()]).sum(axis=1)
    return np.asarray(near & (facing > ALONG))


def _over(sheet: TriMesh, points: Floats) -> NDArray[np.bool_]:
    """Which points (n,) have the sheet beside them: the nearest place of it is not on its rim."""
    import igl

    _, cell, foot = igl.point_mesh_squared_distance(points, np.array(sheet.points), np.array(sheet.triangles, dtype=np.int64))
    corners = sheet.triangles[np.asarray(cell).ravel()]
    inner = ~np.isin(corners, np.unique(sheet.boundary_edges))
    return np.asarray((barycentric(np.asarray(foot), sheet.points[corners]) * inner).sum(axis=1) > 1e-6)


def _gaps(before: Faces, after: Faces, forming: NDArray[np.bool_], sheet: TriMesh) -> tuple[Floats, Floats, Floats]:
    """Distance from the punch's forming points, off its border and beside the sheet, to the die: before, after, and where."""
    punch = before["punch"]
    inside = np.setdiff1d(np.unique(punch.triangles[forming]), np.unique(punch.triangles[~forming]))
    inside = np.setdiff1d(inside, np.unique(punch.boundary_edges))
    inside = inside[:: max(1, len(inside) // MOST)]
    inside = inside[_over(sheet, punch.points[inside])] if len(inside) else inside
    at = punch.points[inside]
    return _distance(before["die"], at), _distance(after["die"], after["punch"].points[inside]), at


def _drafts(before: Faces, after: Faces, forming: Mapping[str, NDArray[np.bool_]]) -> tuple[float, float, float, Floats]:
    least0, least1, area, where = math.inf, math.inf, 0.0, [np.zeros((0, 3))]
    for name, up in (("die", 1.0), ("punch", -1.0)):
        use = forming[name]
        a, b = (np.arcsin(np.clip(up * f[name].normals[use, 2], -1.0, 1.0)) for f in (before, after))
        least0, least1 = min(least0, float(a.min(initial=np.inf))), min(least1, float(b.min(initial=np.inf)))
        new = (b < -UNDERCUT) & (a >= -UNDERCUT)
        area += float(after[name].areas[use][new].sum())
        where.append(after[name].centroids[use][new])
    return math.degrees(least0), math.degrees(least1), area, np.vstack(where)


def _bent(sheet: TriMesh, moved: TriMesh) -> tuple[float, float, float]:
    """Largest turn [deg] and stretch (share) of the triangles, and largest difference of the turns of neighbours [deg]."""
    turn = np.degrees(np.arccos(np.clip((sheet.normals * moved.normals).sum(axis=1), -1.0, 1.0)))
    length0, length1 = (np.linalg.norm(np.diff(m.points[m.edges], axis=1)[:, 0], axis=1) for m in (sheet, moved))
    _, near = cKDTree(sheet.centroids).query(sheet.centroids, k=4)
    return float(turn.max()), float(np.abs(length1 / length0 - 1.0).max()), float(np.abs(turn[near[:, 1:]] - turn[:, None]).max())

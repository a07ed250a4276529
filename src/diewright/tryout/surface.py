"""Marks on the sheet and wear on the tools: skid and impact lines, friction work an area."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

TIGHT = 10.0
"""A tool radius below this many thicknesses marks the sheet that goes over it (common practice)."""
SLID = 1.0
"""Way over such a radius [mm] from which a mark shows (common practice: a line that stays put is part of the shape)."""


@dataclass(frozen=True, eq=False)
class Skid:
    """Marks at the end of the operation.

    Attributes
    ----------
    nodes: (n,) bool, marked and now in the visible area, off the radius that marked them.
    segments: (k, 2, 3) edge of the marked bands on the sheet as it stands [mm]: the line of first touch, and where the mark runs out.
    area: marked visible area [mm2]. way: largest way over the radius of a marked node [mm].
    """

    nodes: Flags
    segments: Floats
    area: float
    way: float


class SkidTracker:
    """Follows which nodes have gone over the tight radii of one tool (a tracker a tool: die for skid lines, punch for impact lines).

    ``thickness`` [mm] sets what is tight: curvature of the tool under the node above ``1/(10 t)``.
    """

    def __init__(self, nodes: int, thickness: float) -> None:
        self._limit = 1.0 / (TIGHT * thickness)
        self._way = np.zeros(nodes)
        self._on = np.zeros(nodes, dtype=np.bool_)

    def add(self, touching: Flags, curvature: Floats, slid: Floats) -> None:
        """The next frame: which nodes touch the tool, the larger principal curvature of the tool under them (size, [1/mm]), their way along it since the last frame [mm]; all (n,)."""
        if not (len(touching) == len(curvature) == len(slid) == len(self._way)):
            raise InputError(f"a frame of {len(touching)} nodes does not fit a sheet of {len(self._way)}.", where="tryout surface")
        tight = np.asarray(touching, dtype=np.bool_) & (np.abs(curvature) > self._limit)
        # between two frames a node may come onto the radius or leave it: either end counts
        self._way += np.where(tight | self._on, np.abs(slid), 0.0)
        self._on = tight

    @property
    def way(self) -> Floats:
        """Way over tight radii so far (n,) [mm]."""
        return self._way.copy()

    def at_end(self, mesh: TriMesh, visible: Flags) -> Skid:
        """What shows on the ``visible`` nodes (n,) of the sheet as it stands."""
        marked = (self._way > SLID) & ~self._on
        show = np.asarray(marked & visible, dtype=np.bool_)
        inside = np.asarray(visible[mesh.triangles].all(axis=1))
        full = show[mesh.triangles].mean(axis=1)
        return Skid(
            show, _edge_of(mesh, self._way, show, inside), float((mesh.areas * full)[inside].sum()), float(self._way[show].max(initial=0.0))
        )


def _edge_of(mesh: TriMesh, way: Floats, marked: Flags, inside: Flags) -> Floats:
    """Segments across triangles that are partly marked; the end on a side lies where the way passes the limit, halfway where it does not."""
    t = mesh.triangles[inside]
    t = t[np.isin(marked[t].sum(axis=1), (1, 2))]
    if not len(t):
        return np.zeros((0, 2, 3))
    m = marked[t]
    alone_value = m.sum(axis=1) == 1
    alone = np.argmax(m == alone_value[:, None], axis=1)
    rows = np.arange(len(t))
    ends = []
    for step in (1, 2):
        a, b = t[rows, alone], t[rows, (alone + step) % 3]
        gap = way[b] - way[a]
        share = np.divide(SLID - way[a], gap, out=np.full(len(t), 0.5), where=np.abs(gap) > 1e-12)
        share = np.where((share > 0.0) & (share < 1.0), share, 0.5)
        ends.append(mesh.points[a] + share[:, None] * (mesh.points[b] - mesh.points[a]))
    return np.stack(ends, axis=1)


class Wear:
    """Friction work on the face of one tool, an area: ``w = sum (mu p) ds`` [N mm/mm2 = mJ/mm2], and the largest pressure, at the points of the face.

    Each contact's work goes to the corners of the nearest triangle of ``face`` (tool in its closed place) by its barycentric weights, and is divided by the
    area that belongs to a point. The sum over the face, weighted with these areas, is the whole work.
    """

    def __init__(self, face: TriMesh) -> None:
        self._face = face
        self._work = np.zeros(len(face.points))
        self._pressure = np.zeros(len(face.points))

    def add(self, points: Floats, work: Floats, pressure: Floats | None = None) -> None:
        """Contacts of one frame or many: places ``(k, 3)`` in the face's coordinates, friction work ``(k,)`` [N mm], pressure ``(k,)`` [MPa]."""
        import igl

        p, w = np.asarray(points, dtype=np.float64).reshape(-1, 3), np.asarray(work, dtype=np.float64).ravel()
        if len(p) != len(w) or not (np.isfinite(p).all() and np.isfinite(w).all()):
            raise InputError("contacts need a place and a work each, all finite.", where="tryout wear")
        if not len(p):
            return
        _, cell, foot = igl.point_mesh_squared_distance(p, np.array(self._face.points), np.array(self._face.triangles, dtype=np.int64))
        corners = self._face.triangles[np.asarray(cell).ravel()]
        share = barycentric(np.asarray(foot), self._face.points[corners])
        for c in range(3):
            self._work += np.bincount(corners[:, c], weights=share[:, c] * w, minlength=len(self._work))
        if pressure is not None:
            near = corners[np.arange(len(corners)), np.argmax(share, axis=1)]
            np.maximum.at(self._pressure, near, np.asarray(pressure, dtype=np.float64).ravel())

    @property
    def wear(self) -> Floats:
        """Friction work an area at the face's points (n,) [mJ/mm2]."""
        area = self._face.point_areas
        return np.divide(self._work, area, out=np.zeros_like(area), where=area > 0)

    @property
    def pressure_max(self) -> Floats:
        """Largest pressure of the contacts nearest to each point (n,) [MPa]."""
        return self._pressure.copy()

    @property
    def total(self) -> float:
        """Friction work on the whole face [J]."""
        return float(self._work.sum()) / 1000.0


def barycentric(foot: Floats, corners: Floats) -> Floats:
    """Weights ``(k, 3)`` of points that lie in their triangles ``(k, 3, 3)``; a triangle without area gives equal weights."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    size = (normal * normal).sum(1)
    u = np.divide((np.cross(c - b, foot - b) * normal).sum(1), size, out=np.full(len(foot), 1 / 3), where=size > 0)
    v = np.divide((np.cross(a - c, foot - c) * normal).sum(1), size, out=np.full(len(foot), 1 / 3), where=size > 0)
    share = np.clip(np.column_stack([u, v, 1.0 - u - v]), 0.0, 1.0)
    return share / share.sum(axis=1, keepdims=True)

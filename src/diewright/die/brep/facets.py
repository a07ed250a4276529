"""A shell as triangles with their parameters: for STL files, and to find the place on the true surface that is nearest to a point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.TopAbs import TopAbs_REVERSED
from OCP.TopLoc import TopLoc_Location

from diewright.die.brep.kernel import tangents
from diewright.die.brep.moved import Moved
from diewright.errors import SolveError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHORD, TURN = 0.01, 5.0
"""Chord error [mm] and turn [deg] of a triangle's edge at most."""


@dataclass(frozen=True, eq=False)
class Facets:
    """Points ``(n, 3)`` [mm], their parameters ``(n, 2)``, triangles ``(m, 3)`` with the shell's normals, the face of each triangle ``(m,)``."""

    points: Floats
    uv: Floats
    triangles: Ints
    face: Ints

    def stl(self, name: str) -> bytes:
        """A binary STL file [mm]."""
        corner = self.points[self.triangles]
        normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
        rows = np.zeros(len(corner), dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
        rows["n"], rows["p"] = normal, corner
        return name.encode("ascii", "replace")[:79].ljust(80, b" ") + np.uint32(len(rows)).tobytes() + rows.tobytes()


def facets(shell: Any, faces: list[Any], where: str) -> Facets:
    """Triangles of a shell; raises :class:`SolveError` where a face takes none."""
    BRepMesh_IncrementalMesh(shell, CHORD, False, math.radians(TURN), False)
    points, uvs, cells, owner, base = [], [], [], [], 0
    for number, face in enumerate(faces):
        place = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(face, place)
        if mesh is None or mesh.NbTriangles() == 0:
            raise SolveError(
                f"face {number + 1} of the {where} cannot be triangulated.", where="faces", help="Smooth the part's outline there."
            )
        n = mesh.NbNodes()
        points.append(np.array([(p.X(), p.Y(), p.Z()) for p in (mesh.Node(i) for i in range(1, n + 1))]))
        uvs.append(np.array([(p.X(), p.Y()) for p in (mesh.UVNode(i) for i in range(1, n + 1))]))
        tri = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)], dtype=np.int64) - 1
        cells.append(base + (tri[:, ::-1] if face.Orientation() == TopAbs_REVERSED else tri))
        owner.append(np.full(len(tri), number))
        base += n
    return Facets(np.vstack(points), np.vstack(uvs), np.vstack(cells), np.concatenate(owner))


def distance(found: Facets, moved: list[Moved], points: Floats) -> Floats:
    """Distance ``(k,)`` [mm] from points to the true surfaces: the nearest triangle gives the place to start from, Newton steps the foot of the perpendicular."""
    from igl import barycentric_coordinates, point_mesh_squared_distance

    cells = np.ascontiguousarray(found.triangles)
    square, cell, near = point_mesh_squared_distance(np.ascontiguousarray(points), found.points, cells)
    cell = np.asarray(cell, dtype=np.int64).ravel()
    a, b, c = (np.ascontiguousarray(found.points[cells[cell, i]]) for i in range(3))
    weight = np.asarray(barycentric_coordinates(np.ascontiguousarray(near), a, b, c))
    weight = np.where(np.isfinite(weight), weight, 1.0 / 3.0)
    uv = np.einsum("ki,kij->kj", weight, found.uv[cells[cell]])
    out = np.sqrt(np.asarray(square).ravel())
    for number in np.unique(found.face[cell]):
        mine = np.flatnonzero(found.face[cell] == number)
        out[mine] = np.minimum(out[mine], _foot(moved[int(number)].surface, uv[mine], points[mine]))
    return out


def _foot(surface: Any, uv: Floats, goal: Floats) -> Floats:
    low_u, high_u, low_v, high_v = surface.Bounds()
    away = np.zeros(len(uv))
    for turn in range(3):
        p, du, dv = tangents(surface, *uv.T)
        away = np.linalg.norm(goal - p, axis=1)
        if turn == 2:
            break
        a, b, c = (np.einsum("ij,ij->i", x, y) for x, y in ((du, du), (du, dv), (dv, dv)))
        f, g = (np.einsum("ij,ij->i", goal - p, d) for d in (du, dv))
        det = np.maximum(a * c - b * b, 1e-12 * np.maximum(a * c, 1e-300))
        uv = uv + np.stack([(c * f - b * g) / det, (a * g - b * f) / det], axis=1)
        if not surface.IsUPeriodic():
            uv[:, 0] = np.clip(uv[:, 0], low_u, high_u)
        if not surface.IsVPeriodic():
            uv[:, 1] = np.clip(uv[:, 1], low_v, high_v)
    return away

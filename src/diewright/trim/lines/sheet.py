"""The drawn sheet that is cut: the middle surface of part and addendum between the closed faces, with what is known of it.

The die lies ``t/2 + c sin^2(slope)`` below the middle surface (``t`` thickness, ``c`` the clearance over it, slope from level), so the middle surface is the die's moved back by as much along its normals.
On faces that the desk made this gives the part's own surface back within 0.02 mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.averages import to_points
from diewright.geometry.cut_line import inside_line
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.trim.lines.angle import DOWN, lean_deg
from diewright.trim.lines.mapping import spots
from diewright.trim.lines.split import split_at

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

UNDER = 0.75
"""Thicknesses: sheet nearer to the blankholder lies under it."""


@dataclass(frozen=True, eq=False)
class DrawnSheet:
    """Middle surface ``mesh`` of the drawn sheet as far as the faces reach, unit normals ``(n, 3)`` at its points (up), the ``part`` mesh with its own normals and ``thickness`` at its points [mm], the ``flat`` blank with the
    same triangles, and the ``nominal`` thickness [mm]; ``reach`` [mm]: what lies nearer to the part's mesh, whose triangles cut its radii short, and not past its edge, is the part."""

    mesh: TriMesh
    normals: Floats
    part: TriMesh
    part_normals: Floats
    thickness: Floats
    flat: TriMesh
    nominal: float
    reach: float

    def read(self, points: Floats) -> tuple[Floats, Floats, Mask]:
        """Unit normals ``(k, 3)``, thickness ``(k,)`` [mm] and whether the point lies on the part ``(k,)``; off the part the normal is the drawn surface's and the thickness nominal."""
        on, away = spots(self.part, points), spots(self.mesh, points)
        there = on.within(self.reach)
        normal = np.where(
            there[:, None], on.of_points(self.part.triangles, self.part_normals), away.of_points(self.mesh.triangles, self.normals)
        )
        normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
        return normal, np.where(there, on.of_points(self.part.triangles, self.thickness), self.nominal), there


def drawn_sheet(solved: FieldMesh, flat: TriMesh, die: TriMesh, thickness: float, clearance: float) -> DrawnSheet:
    """From the one-step solution's part and the closed die."""
    normals = corner_normals(die)
    height = 0.5 * thickness + max(clearance - thickness, 0.0) * (1.0 - np.clip(normals[:, 2], -1.0, 1.0) ** 2)
    mesh = TriMesh(die.points + height[:, None] * normals, die.triangles)
    part = solved.mesh
    point = to_points(solved.cell["thickness"], part.triangles, part.areas, len(part.points))
    return DrawnSheet(mesh, corner_normals(mesh), part, corner_normals(part), point, flat, thickness, 0.5 * thickness)


def corner_normals(mesh: TriMesh) -> Floats:
    """Unit normals at the points ``(n, 3)``, facets weighted by ``sin(angle) / (|a| |b|)`` of their corner: exact on a sphere (Max 1999)."""
    p = mesh.points[mesh.triangles]
    total = np.zeros_like(mesh.points)
    for i in range(3):
        a, b = p[:, (i + 1) % 3] - p[:, i], p[:, (i + 2) % 3] - p[:, i]
        w = np.linalg.norm(np.cross(a, b), axis=1) / np.maximum((a * a).sum(axis=1) * (b * b).sum(axis=1), 1e-300)
        np.add.at(total, mesh.triangles[:, i], w[:, None] * mesh.normals)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)


def cut_out(sheet: DrawnSheet, rim: Floats, edges: list[Floats], holder: TriMesh) -> FieldMesh:
    """The drawn sheet within its ``rim (j, 3)``, with cell fields ``thickness`` [mm], ``zone`` (0 part, 1 addendum, 2 under the blankholder), ``scrap`` (1 outside all closed ``edges (k, 3)``), ``lean_deg`` under a steel that goes straight down."""
    within_one = [inside_line(sheet.mesh.points, edge, sheet.normals, triangles=sheet.mesh.triangles) for edge in edges]
    whole = split_at(sheet.mesh, np.max(within_one, axis=0))
    scrap, mesh, normals = whole.side < 0, whole.mesh, whole.of_points(sheet.normals)
    if scrap.any():
        within = split_at(mesh, inside_line(mesh.points, rim, normals, triangles=mesh.triangles))
        mesh, scrap = within.mesh, scrap[within.parent]
        keep = (within.side > 0) | ~scrap
        used, number = np.unique(mesh.triangles[keep], return_inverse=True)
        mesh, scrap = TriMesh(mesh.points[used], number.reshape(-1, 3).astype(np.int32)), scrap[keep]
    middle = mesh.centroids
    zone = scrap.astype(np.int8)
    zone[scrap & _under(holder, middle, sheet.nominal)] = 2
    fields: dict[str, np.ndarray] = {
        "thickness": sheet.read(middle)[1], "zone": zone, "scrap": scrap.astype(np.int8), "lean_deg": lean_deg(mesh.normals, DOWN),
    }  # fmt: skip
    return FieldMesh(mesh, {}, fields)


def _under(holder: TriMesh, points: Floats, thickness: float) -> Mask:
    found = spots(holder, points)
    return np.asarray((found.off <= UNDER * thickness) & ~found.rim)

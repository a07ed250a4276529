"""What is done to each place of the faces after milling: where they bear, what is relieved, polished, struck, and where corners want more room.

The sheet's thickness comes from the one-step solution, averaged at the part's points and taken at the nearest place of the part; what was led on beyond the part has none and counts as nominal.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.die.gaps import barycentric, gap
from diewright.die.zones import SHOULDER, downhill_curvature, flood
from diewright.geometry.averages import to_points
from diewright.geometry.mesh import FieldMesh, TriMesh

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

RELIEVED, BEARS, POLISHED, STRUCK, EASED = 0, 1, 2, 3, 4
"""Zones: free or relieved walls; bears on the sheet; die radius, polished along the draw; punch bottom and its counterpart, struck; under the blankholder where the sheet thickens, eased by that."""
NAMES = {RELIEVED: "relieved", BEARS: "bears", POLISHED: "polished", STRUCK: "struck", EASED: "eased"}
FACING = 1.3
"""The die bears where the blankholder is no farther than this many times their median gap."""
STRAIGHT = math.radians(10.0)
"""And where the blankholder lies above it within this angle of its normal (ours)."""
LEVEL = math.radians(15.0)
"""A bottom that can be struck is no steeper than this (ours)."""
WALL = math.radians(45.0)
"""A wall is steeper than this (as the places of a part)."""
NEAR = 2.0
"""A place of the punch belongs to the die where they are no farther apart than this many clearances (ours)."""
EASE = 0.02
"""Thickening under the blankholder from which on the face is eased there, in thicknesses (ours)."""


@dataclass(frozen=True, eq=False)
class SheetThickness:
    """The solution's thickness: ``part`` mesh with point averages ``thickness (n,)`` [mm], ``nominal`` [mm] where the part does not reach."""

    part: TriMesh
    thickness: Floats
    nominal: float

    def at(self, points: Floats, reach: float) -> tuple[Floats, Mask]:
        """Thickness ``(k,)`` [mm] at ``points (k, 3)`` and whether it is known there: the part lies within ``reach`` [mm] and not beyond its edge."""
        from igl import point_mesh_squared_distance

        square, cell, near = point_mesh_squared_distance(
            np.ascontiguousarray(points), self.part.points, self.part.triangles.astype(np.int64)
        )
        corner = self.part.triangles[np.asarray(cell).ravel()]
        p = self.part.points[corner]
        weight = np.clip(barycentric(near, p), 0.0, 1.0)
        value = (self.thickness[corner] * weight).sum(axis=1) / weight.sum(axis=1)
        known = np.sqrt(np.asarray(square).ravel()) <= reach
        return np.where(known, value, self.nominal), known


def sheet_thickness(part: FieldMesh, nominal: float) -> SheetThickness:
    """The solution's part with its thickness; nominal everywhere for a solution without."""
    mesh, cell = part.mesh, part.cell.get("thickness")
    n = len(mesh.points)
    if cell is None:
        return SheetThickness(mesh, np.full(n, nominal), nominal)
    value = to_points(np.asarray(cell, dtype=np.float64), mesh.triangles, mesh.areas, n)
    return SheetThickness(mesh, np.where(value > 0, value, nominal), nominal)


@dataclass(frozen=True, eq=False)
class Zoned:
    """Cell fields of one face: ``zone (m,)``, ``thickness`` of the sheet there and whether it is ``known``, ``gap`` to the opposite face, ``relief`` and ``allowance`` [mm], ``along (m, 3)`` the way the
    sheet is drawn (unit, zero off the die radius)."""

    mesh: TriMesh
    zone: NDArray[np.int8]
    thickness: Floats
    known: Mask
    gap: Floats
    relief: Floats
    allowance: Floats
    along: Floats

    def fields(self) -> FieldMesh:
        """The face with its fields."""
        return FieldMesh(self.mesh, {}, {
            "zone": self.zone, "thickness": self.thickness, "known": self.known.astype(np.int8), "gap": self.gap, "relief_mm": self.relief,
            "allowance_mm": self.allowance, "draw_direction": self.along,
        })  # fmt: skip

    def areas(self) -> dict[str, float]:
        """Area of each zone [mm2]."""
        return {name: float(self.mesh.areas[self.zone == k].sum()) for k, name in NAMES.items()}


def zones_of(faces: Mapping[str, TriMesh], sheet: SheetThickness, clearance: float) -> dict[str, Zoned]:
    """Zones of ``die``, ``punch`` and ``blankholder`` in the closed position; ``clearance`` between punch and die at a wall [mm]."""
    die, punch, holder = (faces[name] for name in ("die", "punch", "blankholder"))
    t = sheet.nominal
    under, straight = _apart(die, holder)
    middle = float(np.median(np.abs(gap(holder.centroids, die).value)))
    bears = (under <= FACING * middle) & straight & (_slope(die) < WALL)
    bend = downhill_curvature(die, die.point_normals, np.tile([0.0, 0.0, 1.0], (len(die.triangles), 1)))
    tight = (bend > 1.0 / (SHOULDER * t)) & ~bears
    shoulder = flood(die, bears, tight) & ~bears
    out = {}
    for name, mesh, other in (("die", die, punch), ("punch", punch, die), ("blankholder", holder, die)):
        thickness, known = sheet.at(mesh.centroids, max(0.5 * t + 2.0 * (clearance - t), t))
        apart = np.abs(gap(mesh.centroids, other).value)
        if name == "die":
            apart = np.where(bears, under, apart)
        slope = _slope(mesh)
        zone = np.full(len(mesh.triangles), RELIEVED, dtype=np.int8)
        relief, allowance, along = np.zeros(len(zone)), np.zeros(len(zone)), np.zeros((len(zone), 3))
        held = bears if name == "die" else np.full(len(zone), name == "blankholder")
        if name != "blankholder":
            # the sheet fills the gap: neither a wall nor a bottom that nothing faces
            faced = apart <= NEAR * max(clearance, t)
            zone[(slope < LEVEL) & faced & ~held] = STRUCK
            wall = (slope > WALL) & known & faced & ~held
            allowance = np.where(wall, np.maximum(thickness - apart, 0.0), 0.0)
        zone[held] = BEARS
        relief = np.where(held & known, np.maximum(thickness - t, 0.0), 0.0)
        zone[held & (relief > EASE * t)] = EASED
        if name == "die":
            zone[shoulder] = POLISHED
            along = np.where(shoulder[:, None], _downhill(mesh), 0.0)
        out[name] = Zoned(mesh, zone, thickness, known, apart, relief, allowance, along)
    return out


def _apart(mesh: TriMesh, other: TriMesh) -> tuple[Floats, Mask]:
    """Distance ``(m,)`` of each triangle's middle from another face, and whether that lies straight above it: beyond the other's edge it does not."""
    from igl import point_mesh_squared_distance

    square, _, near = point_mesh_squared_distance(np.ascontiguousarray(mesh.centroids), other.points, other.triangles.astype(np.int64))
    away = np.sqrt(np.maximum(np.asarray(square).ravel(), 1e-24))
    lean = np.abs(np.einsum("ij,ij->i", near - mesh.centroids, mesh.normals)) / away
    return away, lean > math.cos(STRAIGHT)


def _slope(mesh: TriMesh) -> Floats:
    return np.asarray(np.arccos(np.clip(np.abs(mesh.normals[:, 2]), 0.0, 1.0)))


def _downhill(mesh: TriMesh) -> Floats:
    g = mesh.normals[:, 2:] * mesh.normals - np.array([0.0, 0.0, 1.0])
    return np.asarray(g / np.maximum(np.linalg.norm(g, axis=1), 1e-12)[:, None])


@dataclass(frozen=True)
class Spot:
    """A connected place where a field is above 0: where it is largest, how much there [mm], and its area [mm2]."""

    at: tuple[float, float, float]
    most: float
    area: float


def spots(mesh: TriMesh, value: Floats) -> list[Spot]:
    """Connected places (over shared edges) where ``value (m,)`` is above 0, the largest value first."""
    from scipy.sparse.csgraph import connected_components

    from diewright.die.zones import _neighbours

    graph, mask = _neighbours(mesh).tocsr(), value > 0
    index = np.flatnonzero(mask)
    if not len(index):
        return []
    count, label = connected_components(graph[index][:, index], directed=False)
    out = []
    for k in range(count):
        mine = index[label == k]
        worst = mine[int(np.argmax(value[mine]))]
        x, y, z = mesh.centroids[worst]
        out.append(Spot((float(x), float(y), float(z)), float(value[worst]), float(mesh.areas[mine].sum())))
    return sorted(out, key=lambda s: -s.most)

"""Faces made from a drawn cup, against the handbook's clearance and the cup's own offsets in closed form."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.die import rules
from diewright.die.edge import find_edge
from diewright.die.extend import lead_on
from diewright.die.gaps import gap
from diewright.die.loft import arc, loft
from diewright.die.made import Made, make
from diewright.die.surface import fine_surface, whole_normals
from diewright.die.zones import split
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

RADIUS, DEPTH, NOSE, SHOULDER, RIM, THICKNESS = 30.0, 40.0, 8.0, 7.0, 52.0, 1.0
"""Middle surface of a cup with a flange [mm]: wall radius, depth, bottom radius, shoulder radius, rim radius; sheet thickness."""


def _cup() -> tuple[TriMesh, Floats]:
    """A mesh with chords of 26 degrees, as a part's mesh may have, and the exact normals at its points."""
    half = 0.5 * np.pi
    nose = arc((RADIUS - NOSE, NOSE - DEPTH), NOSE, -half, 0.0, 10.0, 26.0)
    shoulder = arc((RADIUS + SHOULDER, -SHOULDER), SHOULDER, np.pi, half, 10.0, 26.0)
    rise = np.linspace(NOSE - DEPTH, -SHOULDER, 8)[1:-1]
    section = np.vstack([nose, np.column_stack([np.full(6, RADIUS), rise]), shoulder, [[45.0, 0.0], [RIM, 0.0]]])
    slope = np.concatenate([np.linspace(0, half, len(nose)), np.full(6, half), np.linspace(half, 0, len(shoulder)), [0.0, 0.0]])
    at = 2.0 * np.pi * np.arange(60) / 60
    unit = np.stack([np.cos(at), np.sin(at)], axis=1)
    rings = [np.array([[0.0, 0.0, -DEPTH]]), *(np.column_stack([r * unit, np.full(60, z)]) for r, z in section)]
    normals = [np.array([[0.0, 0.0, 1.0]]), *(np.column_stack([-np.sin(a) * unit, np.full(60, np.cos(a))]) for a in slope)]
    return loft(rings, closed=True), np.concatenate(normals)


def _faces(family: str) -> Made:
    part, normals = _cup()
    t = THICKNESS
    fine = fine_surface(part, normals, 0.02 * t, 12.0)
    edge = find_edge(fine.mesh, fine.mesh.boundary_loops[0])
    at = 2.0 * np.pi * np.arange(90) / 90
    blank = 60.0 * np.stack([np.cos(at), np.sin(at)], axis=1)
    drawn = lead_on(fine.mesh, whole_normals(fine), edge, blank, rules.trim_land(t), rules.die_radius(t) + 0.5 * t, 0.02 * t, 4.0)
    return make(drawn, split(drawn, t), t, rules.wall_gap(t, family) - t)


def clearance() -> dict[str, float]:
    """Gap [mm] measured on the faces in the middle of the vertical wall, by family, and on the level bottom."""
    out = {}
    for family in ("steel", "aluminium", "brass"):
        faces = _faces(family)
        z, r = faces.punch.points[:, 2], np.hypot(*faces.punch.points[:, :2].T)
        wall = (z > -DEPTH + NOSE + 2.0) & (z < -SHOULDER - 2.0)
        out[f"gap at the wall, {family}"] = float(np.median(gap(faces.punch.points[wall], faces.die).value))
        out["gap on the bottom"] = float(np.median(gap(faces.punch.points[(z < 0) & (r < RADIUS - NOSE - 2.0)], faces.die).value))
    return out


def offsets() -> dict[str, float]:
    """Greatest distance [mm] of the punch's and blankholder's points from the cup's offset in closed form."""
    faces, half = _faces("steel"), 0.5 * THICKNESS
    p = faces.punch.points[faces.punch.points[:, 2] < -SHOULDER]
    r, z = np.hypot(*p[:, :2].T), p[:, 2]
    nose = np.hypot(r - (RADIUS - NOSE), z - (NOSE - DEPTH)) - (NOSE - half)
    off = np.where(z > NOSE - DEPTH, r - (RADIUS - half), np.where(r < RADIUS - NOSE, z - (half - DEPTH), nose))
    return {"punch off": float(np.abs(off).max()), "blankholder off": float(np.abs(faces.blankholder.points[:, 2] - half).max())}


CASES: dict[str, Callable[[], dict[str, float]]] = {"cup-faces-clearance": clearance, "cup-faces-offset": offsets}

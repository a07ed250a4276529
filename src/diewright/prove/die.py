"""Faces made from a drawn cup, against the handbook's clearance and the cup's own offsets in closed form."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from diewright.die import rules
from diewright.die.build import Built, Stated, build
from diewright.die.edge import find_edge
from diewright.die.extend import lead_on
from diewright.die.fit import Wanted
from diewright.die.gaps import gap
from diewright.die.loft import arc, loft
from diewright.die.made import Made, make
from diewright.die.stated import Values, Way, values_of
from diewright.die.surface import fine_surface, whole_normals
from diewright.die.zones import split
from diewright.geometry.mesh import TriMesh
from diewright.prove.die_clearance import bead
from diewright.prove.die_closing import closing, closing_cone, closing_envelope
from diewright.prove.die_developable import circular, oblique, tangents
from diewright.watch import Watch

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


CROWN = 400.0
"""Radius [mm] at the ridge of the parabola ``z = -x^2 / 2R`` that is added to the cup's heights."""


def _crowned() -> tuple[TriMesh, Floats]:
    part, normals = _cup()
    x = part.points[:, 0]
    points = part.points + np.column_stack([0 * x, 0 * x, -(x**2) / (2 * CROWN)])
    turned = normals + np.column_stack([normals[:, 2] * x / CROWN, 0 * x, 0 * x])
    return TriMesh(points, part.triangles), turned / np.linalg.norm(turned, axis=1, keepdims=True)


def _built(part: TriMesh, normals: Floats, stated: Values, way: Way, wanted: Wanted | None = None) -> Built:
    at = 2.0 * np.pi * np.arange(90) / 90
    blank = 65.0 * np.stack([np.cos(at), np.sin(at)], axis=1)
    wall = rules.wall_gap(THICKNESS, "steel")
    return build(part, normals, part.boundary_loops[0], blank, Stated(THICKNESS, wall, stated, way, wanted or Wanted()), Watch())


def curved() -> dict[str, float]:
    """A crowned cup on a cylindrical blankholder: its Gaussian curvature, how far its points over the part's flange lie off the parabola's offset, and the gap under it."""
    part, normals = _crowned()
    b = _built(part, normals, values_of(THICKNESS, "auto", "auto", "auto", "auto"), "auto", Wanted("cylindrical"))
    p = b.faces.blankholder.points
    p = p[np.hypot(p[:, 0], p[:, 1]) < RIM - 1.0]
    foot = np.array(p[:, 0])  # the parabola's point under each: (x - p_x) + z' (z - p_z) = 0 by Newton's steps
    for _ in range(20):
        z, slope = -(foot**2) / (2 * CROWN), -foot / CROWN
        foot -= (foot - p[:, 0] + slope * (z - p[:, 2])) / (1.0 + slope**2 - (z - p[:, 2]) / CROWN)
    off = np.hypot(foot - p[:, 0], -(foot**2) / (2 * CROWN) - p[:, 2]) - 0.5 * THICKNESS
    plan = b.faces.blankholder.points[:, :2]
    return {
        "largest Gaussian curvature": float(np.abs(b.drawn.holder.gaussian(plan)).max()),
        "blankholder off over the flange": float(np.abs(off).max()),
        "gap under the blankholder": float(np.median(gap(b.faces.blankholder.points, b.faces.die).value)),
    }


def section() -> dict[str, float]:
    """The full section round a cup's flange, measured on its points: land, radii and wall angle as stated."""
    b = _built(*_cup(), Values(6.0, 5.0, np.radians(12.0), 7.0), "profile")
    c, cuts = b.drawn.columns[7], (0, *b.drawn.joints, b.drawn.columns.shape[1] - 1)
    flat = np.column_stack([np.hypot(*(c - c[0])[:, :2].T), c[:, 2]])
    land, punch, wall, _, die = (flat[i : j + 1] for i, j in pairwise(cuts))
    rise = np.diff(wall, axis=0)[0]

    def radius(p: Floats) -> float:
        x, y, k = np.linalg.lstsq(np.column_stack([p, np.ones(len(p))]), (p**2).sum(axis=1), rcond=None)[0]
        return float(np.sqrt(k + 0.25 * (x * x + y * y)) - 0.5 * THICKNESS)

    return {
        "trim land": float(land[-1, 0]), "punch radius": radius(punch), "die radius": radius(die),
        "wall angle": float(np.degrees(np.arctan2(rise[0], rise[1]))),
    }  # fmt: skip


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "cup-faces-clearance": clearance, "bead-clearance": bead, "cup-faces-offset": offsets, "crowned-cup-blankholder": curved, "cup-full-section": section,
    "cylinder-blankholder-closing": closing, "cone-blankholder-closing": closing_cone, "developable-blankholder-closing": closing_envelope,
    "circular-cone-blankholder": circular, "oblique-cone-blankholder": oblique, "helix-tangents-blankholder": tangents,
}  # fmt: skip

"""What can be measured on a part in press coordinates (+z up, normals up, 0 at the top)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from diewright.geometry.mesh import TriMesh
from diewright.part.holes import outer_loop

CLIP = 1e4
"""mm: larger radii are flat for any press; the radius field is cut there."""


@dataclass(frozen=True)
class Radius:
    """A least radius [mm] and where it is; ``value`` 0 for a sharp edge."""

    value: float
    place: tuple[float, float, float]


def draft(normals: np.ndarray) -> np.ndarray:
    """Angle from vertical [deg] for unit normals ``(m, 3)``: 0 a vertical wall, 90 flat, negative looks down; ``asin(n_z)``."""
    return np.degrees(np.arcsin(np.clip(normals[:, 2], -1.0, 1.0)))


def signed_radius(curvature: np.ndarray) -> np.ndarray:
    """Radius of greatest curvature [mm], positive where concave seen from above (formed over the punch), cut at ``CLIP``."""
    size = np.maximum(np.abs(curvature), 1.0 / CLIP)
    return np.where(curvature < 0, -1.0, 1.0) / size


def least_radius(mesh: TriMesh, curvature: np.ndarray, sharp: np.ndarray, concave: bool) -> Radius | None:
    """Least radius on the concave (or convex) side: the third smallest value, so that one odd point does not decide.

    A sharp edge counts as radius 0. None if nothing is curved that way.
    """
    edge = sharp_edges(mesh, sharp, concave)
    if len(edge):
        return Radius(0.0, _triple(mesh.points[edge[len(edge) // 2]].mean(axis=0)))
    k = np.asarray(curvature if concave else -curvature)
    bent = np.flatnonzero(k > 1.0 / CLIP)
    if len(bent) == 0:
        return None
    order = bent[np.argsort(-k[bent])]
    at = int(order[min(2, len(order) - 1)])
    return Radius(float(1.0 / k[at]), _triple(mesh.points[at]))


def sharp_edges(mesh: TriMesh, sharp: np.ndarray, concave: bool) -> np.ndarray:
    """Inner edges ``(k, 2)`` between two sharp points that fold up (``concave``) or down by more than 10 degrees."""
    t = mesh.triangles
    directed = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
    owner = np.tile(np.arange(len(t)), 3)
    both = (sharp[directed] > 0).all(axis=1)
    directed, owner = np.sort(directed[both], axis=1), owner[both]
    order = np.lexsort((directed[:, 1], directed[:, 0]))
    twin = np.flatnonzero((directed[order[1:]] == directed[order[:-1]]).all(axis=1))
    i, j = owner[order[twin]], owner[order[twin + 1]]
    rise = np.einsum("ij,ij->i", mesh.centroids[j] - mesh.centroids[i], mesh.normals[i])
    folded = np.einsum("ij,ij->i", mesh.normals[i], mesh.normals[j]) < np.cos(np.radians(10))
    return directed[order[twin]][folded & ((rise > 0) if concave else (rise < 0))]


def regions(mesh: TriMesh, undercut: np.ndarray, angle: np.ndarray) -> list[dict[str, Any]]:
    """Connected undercut regions, greatest first: area [mm2], centre, least draft angle [deg]."""
    which = np.flatnonzero(undercut)
    if len(which) == 0:
        return []
    part = TriMesh(mesh.points, mesh.triangles[which])
    found: list[dict[str, Any]] = []
    for piece in np.unique(part.components):
        mine = which[part.components == piece]
        area = float(mesh.areas[mine].sum())
        centre = (mesh.centroids[mine] * mesh.areas[mine, None]).sum(axis=0) / max(area, 1e-300)
        found.append({"area": area, "centre": list(_triple(centre)), "worst_angle": float(angle[mine].min())})
    found.sort(key=lambda r: -r["area"])
    return found[:40]


def round_part(mesh: TriMesh) -> dict[str, Any]:
    """Whether the part is a body of revolution about the press direction, its axis point and its wall diameter [mm].

    Round if the outer edge is a circle within 1 % and over 97 % of the area the normals point through the axis (within 3 degrees, or flat).
    The diameter is the mean one of the walls steeper than 60 degrees; without such walls, that of the outer edge.
    """
    nothing: dict[str, Any] = {"is_round": False, "diameter": None, "axis": None}
    rim = outer_loop(mesh)
    if len(rim) < 8:
        return nothing
    ring = mesh.points[rim][:, :2]
    matrix = np.c_[2 * ring, np.ones(len(ring))]
    solution, *_ = np.linalg.lstsq(matrix, (ring**2).sum(axis=1), rcond=None)
    centre = solution[:2]
    radius = float(np.sqrt(max(solution[2] + centre @ centre, 0.0)))
    if radius <= 0 or np.abs(np.linalg.norm(ring - centre, axis=1) - radius).max() > 0.01 * radius:
        return nothing
    away = mesh.centroids[:, :2] - centre
    r = np.linalg.norm(away, axis=1)
    tangent = np.c_[-away[:, 1], away[:, 0]] / np.maximum(r, 1e-12)[:, None]
    aside = np.abs(np.einsum("ij,ij->i", mesh.normals[:, :2], tangent))
    slack = np.sin(np.radians(3.0)) + 0.5 * np.sqrt(mesh.areas) / np.maximum(r, 1e-9)
    through = (aside < slack) | (r < 0.03 * radius)
    if mesh.areas[through].sum() < 0.97 * mesh.area:
        return nothing
    wall = np.abs(mesh.normals[:, 2]) < 0.5
    if mesh.areas[wall].sum() > 0.02 * mesh.area:
        # points lie on the true surface, centroids inside it by the sagitta
        corner = np.linalg.norm(mesh.points[mesh.triangles[wall]][:, :, :2] - centre, axis=2).mean(axis=1)
        steep = mesh.areas[wall]
        order = np.argsort(corner)
        total = np.cumsum(steep[order])
        radius = float(corner[order][np.searchsorted(total, 0.5 * total[-1])])
    return {"is_round": True, "diameter": 2 * radius, "axis": [float(centre[0]), float(centre[1])]}


def _triple(v: np.ndarray) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])

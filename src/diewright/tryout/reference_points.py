"""Springback as a toolmaker measures it: the sheet laid on three points, and how far it stands off at others.

Two ways to lay a shape that has sprung on the one it was meant to be:

- **3-2-1**: three supports hold it along the press direction, two of them along the line square to theirs, one along that line, as in a checking fixture;
- **best fit**: least squares over all points, weighted with their area (Kabsch 1976).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError, cKDTree

from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import TriMesh
from diewright.tryout.surface import barycentric

Floats = NDArray[np.float64]

LEVEL = 0.9
"""Least vertical part of the normal at a support."""
_HULL = 40


@dataclass(frozen=True, eq=False)
class Laid:
    """A sprung shape laid on the one it was meant to be.

    Attributes
    ----------
    points: (n, 3) laid [mm]. displacement: (n, 3) from the meant to the laid place. normal_mm: (n,) along the meant shape's normal, positive on its normal's side.
    rotation, shift: ``laid = rotation @ sprung + shift``. supports: numbers of the three points (3-2-1), empty for the best fit.
    """

    points: Floats
    displacement: Floats
    normal_mm: Floats
    rotation: Floats
    shift: Floats
    supports: tuple[int, ...]


@dataclass(frozen=True)
class Reading:
    """Deviation at one reference point: its number, place on the meant shape [mm], along the normal and in all [mm]."""

    name: str
    at: tuple[float, float, float]
    normal_mm: float
    size_mm: float


def best_fit(meant: TriMesh, sprung: Floats, weights: Floats | None = None) -> Laid:
    """Least-squares rigid motion; ``weights (n,)`` default to the area of each point."""
    rotation, shift = kabsch(sprung, meant.points, meant.point_areas if weights is None else weights)
    return _laid(meant, sprung, rotation, shift, ())


def kabsch(a: Floats, b: Floats, weights: Floats | None = None) -> tuple[Floats, Floats]:
    """Rotation and shift of the rigid motion that brings ``a (n, 3)`` closest to ``b``; no mirror image. Raises :class:`InputError` for fewer than 3 points or points on a line."""
    w = np.ones(len(a)) if weights is None else np.asarray(weights, dtype=np.float64)
    if a.shape != b.shape or len(a) < 3 or not (w >= 0).all() or not w.sum() > 0:
        raise InputError(f"{len(a)} and {len(b)} points cannot be laid on each other.", where="tryout reference points")
    ca, cb = (w @ a) / w.sum(), (w @ b) / w.sum()
    u, s, vt = np.linalg.svd((a - ca).T @ ((b - cb) * w[:, None]))
    if s[1] <= 1e-12 * max(s[0], 1e-300):
        raise InputError("the points lie on one line: they do not hold the shape.", where="tryout reference points", help="Choose others.")
    d = np.sign(np.linalg.det(u @ vt))
    rotation = (u @ np.diag([1.0, 1.0, d]) @ vt).T
    return rotation, cb - rotation @ ca


def three_two_one(
    meant: TriMesh, sprung: Floats, supports: tuple[int, int, int], *, up: tuple[float, float, float] = (0.0, 0.0, 1.0)
) -> Laid:
    """Lay the shape on three of its points.

    All three meet their meant places along ``up``; the first two also along the direction square to ``up`` and to the line that joins them; the first also along that
    line. Six equations for six unknowns, solved by Newton in rotation vectors. Raises :class:`InputError` for supports in line (seen along ``up``) and :class:`SolveError`
    if the motion is not found (the shape has turned by more than about a right angle).
    """
    n = np.asarray(up, dtype=np.float64) / np.linalg.norm(up)
    target, p = meant.points[list(supports)], np.asarray(sprung, dtype=np.float64)[list(supports)]
    line = target[1] - target[0]
    along = line - (line @ n) * n
    third = target[2] - target[0]
    across = np.cross(n, along)
    spread = np.linalg.norm(target.max(axis=0) - target.min(axis=0))
    if np.linalg.norm(along) < 1e-6 * spread or abs(third @ across) < 1e-3 * np.linalg.norm(across) * spread:
        raise InputError(
            "the three supports stand in line: they do not hold the sheet.",
            where="tryout reference points",
            help="Choose points that span the part.",
        )
    along, across = along / np.linalg.norm(along), across / np.linalg.norm(across)
    which = np.array([0, 1, 2, 0, 1, 0])
    rows = np.stack([n, n, n, across, across, along])
    rotation, shift = kabsch(p, target)
    for _ in range(30):
        now = p @ rotation.T + shift
        residual = ((now - target)[which] * rows).sum(1)
        if np.abs(residual).max() < 1e-11 * spread:
            return _laid(meant, np.asarray(sprung, dtype=np.float64), rotation, shift, tuple(int(k) for k in supports))
        arm = now[which] - now.mean(axis=0)
        jacobian = np.hstack([np.cross(arm, rows), rows])  # d(row . (w x arm + v))
        step = np.linalg.solve(jacobian, -residual)
        turn = _rotation(step[:3])
        centre = now.mean(axis=0)
        rotation, shift = turn @ rotation, turn @ (shift - centre) + centre + step[3:]
    raise SolveError(
        "The sprung sheet could not be laid on its three supports.",
        where="tryout reference points",
        help="Choose supports that lie farther apart.",
    )


def _rotation(w: Floats) -> Floats:
    """Rotation by the vector ``w`` [rad] (Rodrigues)."""
    angle = float(np.linalg.norm(w))
    k = np.array([[0.0, -w[2], w[1]], [w[2], 0.0, -w[0]], [-w[1], w[0], 0.0]])
    if angle < 1e-12:
        return np.eye(3) + k
    return np.eye(3) + np.sin(angle) / angle * k + (1.0 - np.cos(angle)) / angle**2 * k @ k


def _laid(meant: TriMesh, sprung: Floats, rotation: Floats, shift: Floats, supports: tuple[int, ...]) -> Laid:
    points = sprung @ rotation.T + shift
    displacement = points - meant.points
    return Laid(points, displacement, (displacement * meant.point_normals).sum(1), rotation, shift, supports)


def stiff_points(mesh: TriMesh, *, reach: float) -> NDArray[np.bool_]:
    """Points (n,) fit to carry a support: on a level face, within ``reach`` [mm] of a formed edge (which holds its shape), and ``reach / 4`` or more off the sheet's rim.

    A formed edge is where a triangle stands more than 5 degrees off the mean normal at its corner.
    """
    n = mesh.point_normals
    least = np.ones(len(mesh.points))
    for c in range(3):
        np.minimum.at(least, mesh.triangles[:, c], (mesh.normals * n[mesh.triangles[:, c]]).sum(1))
    formed = least < np.cos(np.radians(5.0))
    rim = np.unique(mesh.boundary_edges)
    level = np.abs(n[:, 2]) > LEVEL
    ok = level & ~formed
    if formed.any():
        ok &= cKDTree(mesh.points[formed]).query(mesh.points)[0] < reach
    if len(rim):
        ok &= cKDTree(mesh.points[rim]).query(mesh.points)[0] > 0.25 * reach
    return ok


def choose_supports(mesh: TriMesh, fit: NDArray[np.bool_] | None = None) -> tuple[int, int, int]:
    """Three supports far apart: the largest triangle in plan among the points ``fit`` for it (all, where none is given or they do not span one).

    The first two are the ends of the triangle's longest side. Raises :class:`InputError` for a mesh without extent in plan.
    """
    for chosen in (fit, None):
        candidates = np.arange(len(mesh.points)) if chosen is None else np.flatnonzero(chosen)
        found = _largest_triangle(mesh.points[:, :2], candidates)
        if found is not None:
            return found
    raise InputError(
        "the part has no extent in plan: three supports cannot be chosen.", where="tryout reference points", help="State them."
    )


def _largest_triangle(xy: Floats, candidates: NDArray[np.intp]) -> tuple[int, int, int] | None:
    if len(candidates) < 3:
        return None
    try:
        hull = candidates[ConvexHull(xy[candidates]).vertices]
    except QhullError:
        return None
    if len(hull) > _HULL:  # every so many of a round outline: the area loses less than one in a hundred
        hull = hull[np.linspace(0, len(hull) - 1, _HULL).astype(int)]
    triples = np.array(list(combinations(hull.tolist(), 3)))
    a, b, c = (xy[triples[:, i]] for i in range(3))
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    three = triples[int(np.argmax(area))]
    sides = [(float(np.linalg.norm(xy[three[i]] - xy[three[j]])), i, j) for i, j in ((0, 1), (1, 2), (2, 0))]
    _, i, j = max(sides)
    return int(three[i]), int(three[j]), int(three[3 - i - j])


def readings(meant: TriMesh, laid: Laid, points: dict[str, tuple[float, float, float]]) -> list[Reading]:
    """Deviation at named places ``(x, y, z)`` [mm] on the meant shape: that of the nearest triangle, between its corners."""
    import igl

    if not points:
        return []
    at = np.array(list(points.values()), dtype=np.float64)
    _, cell, foot = igl.point_mesh_squared_distance(at, np.array(meant.points), np.array(meant.triangles, dtype=np.int64))
    corners = meant.triangles[np.asarray(cell).ravel()]
    share = barycentric(np.asarray(foot), meant.points[corners])
    normal = (share * laid.normal_mm[corners]).sum(1)
    size = np.linalg.norm((share[:, :, None] * laid.displacement[corners]).sum(1), axis=1)
    return [
        Reading(name, (float(p[0]), float(p[1]), float(p[2])), float(d), float(s))
        for name, p, d, s in zip(points, np.asarray(foot), normal, size, strict=True)
    ]

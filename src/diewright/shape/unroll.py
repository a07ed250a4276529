"""A straight bend rolled open: its cylinder becomes flat or one of the wanted angle, the arc length on the mesh's surface kept, what lies beyond moved as a rigid body."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from diewright.geometry.mesh import TriMesh
from diewright.shape.flange import Flange

Floats = NDArray[np.float64]

STRAIGHT = 0.02
"""How far [mm] a point of a bend may lie off one circular cylinder, and an end of it off one straight line, to count as straight."""


@dataclass(frozen=True, eq=False)
class Cylinder:
    """A bend as a cylinder: ``axis`` (unit), a ``centre`` on it, ``radius`` [mm], unit ``start`` from the axis to the root line; ``angle`` [rad] of the whole bend, ``off`` [mm] largest misfit.

    Turning ``start`` about ``axis`` by a positive angle goes into the bend."""

    axis: Floats
    centre: Floats
    radius: float
    start: Floats
    angle: float
    off: float

    def arc(self, points: Floats) -> Floats:
        """Angle [rad] of points past the root line, ``(k,)``."""
        away = points - self.centre
        side = np.cross(self.axis, self.start)
        return np.arctan2(away @ side, away @ self.start)


@dataclass(frozen=True, eq=False)
class Opened:
    """Points and unit point normals ``(n, 3)`` after opening, ``radius (n,)`` [mm] of the opened bend's points (nan elsewhere), ``strain (m,)`` largest principal true strain in size."""

    points: Floats
    normals: Floats
    radius: Floats
    strain: Floats
    angle_was: float
    length: float
    chord: float
    how: str


def cylinder_of(points: Floats, normals: Floats, flange: Flange, mesh: TriMesh) -> Cylinder | None:
    """The cylinder of a straight bend; None if it is none within :data:`STRAIGHT`."""
    bent = np.unique(mesh.triangles[flange.bend])
    if len(flange.root) < 2 or len(flange.tip) < 2 or len(bent) < 4:
        return None
    p, n = points[bent], normals[bent]
    axis = np.linalg.svd(n[np.linalg.norm(n, axis=1) > 0.5], full_matrices=True)[2][2]
    e1 = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    e1 /= np.linalg.norm(e1)
    e2, middle = np.cross(axis, e1), p.mean(axis=0)

    def laid(v: Floats) -> tuple[Floats, Floats, Floats]:
        a = axis + v[0] * e1 + v[1] * e2
        a /= np.linalg.norm(a)
        c = middle + v[2] * e1 + v[3] * e2
        away = p - c
        return a, c, np.linalg.norm(away - np.outer(away @ a, a), axis=1)

    guess = _circle(np.column_stack([(p - middle) @ e1, (p - middle) @ e2]))
    if guess is None:
        return None
    fit = least_squares(lambda v: laid(v)[2] - v[4], np.array([0.0, 0.0, *guess]), method="lm", xtol=1e-15, ftol=1e-15)
    a, c, away = laid(fit.x)
    off = float(np.abs(away - fit.x[4]).max())
    if off > STRAIGHT:
        return None
    r = float(fit.x[4])
    start = _radial(points[flange.root].mean(axis=0) - c, a)
    if np.median(np.arctan2((p - c) @ np.cross(a, start), (p - c) @ start)) < 0:
        a = -a
    whole = Cylinder(a, c, r, start, 0.0, off)
    root, tip = whole.arc(points[flange.root]), whole.arc(points[flange.tip])
    if max(float(np.ptp(root)), float(np.ptp(tip))) * r > STRAIGHT:
        return None
    return Cylinder(a, c, r, start, float(tip.mean()), off)


def unroll(points: Floats, normals: Floats, mesh: TriMesh, flange: Flange, cylinder: Cylinder, angle: float) -> Opened:
    """Open the bend to ``angle`` [rad] from the root's tangent, positive the way it is bent.

    With arc ``s = r phi`` and ``k = angle / (r beta)``: a point goes to ``p0 + sin(k s)/k t - (1 - cos(k s))/k e``, ``e`` from the axis to the root line, ``t`` the
    tangent into the bend, its place along the axis kept; beyond the bend everything turns by ``angle - beta`` about the tip line.
    """
    c = cylinder
    a, e = c.axis, c.start
    t = np.cross(a, e)
    moved, turned, radius = points.copy(), normals.copy(), np.full(len(points), np.nan)
    bent = np.setdiff1d(np.unique(mesh.triangles[flange.bend]), flange.root)
    arc = c.arc(points[bent])
    bend = angle / c.angle
    moved[bent] = _rolled(c, arc, bend) + np.outer((points[bent] - c.centre) @ a, a) + c.centre + c.radius * e
    turned[bent] = _turn(normals[bent], a, arc * (bend - 1.0))
    radius[bent] = c.radius / abs(bend) if abs(bend) > 1e-9 else np.inf
    rigid = np.setdiff1d(np.unique(mesh.triangles[flange.beyond]), np.unique(mesh.triangles[flange.bend]))
    tip_was = c.centre + c.radius * (np.cos(c.angle) * e + np.sin(c.angle) * t)
    tip_now = _rolled(c, np.array([c.angle]), bend)[0] + c.centre + c.radius * e
    turn = np.full(len(rigid), angle - c.angle)
    moved[rigid] = _turn(points[rigid] - tip_was, a, turn) + tip_now
    turned[rigid] = _turn(normals[rigid], a, turn)
    steps = np.diff(np.unique(np.round(np.concatenate([[0.0], arc]), 9)))
    largest = float(steps.max()) if len(steps) else c.angle
    strain = np.zeros(len(mesh.triangles))
    strain[flange.cells] = _strain(c, points, moved, mesh.triangles, flange, bend)
    return Opened(moved, turned, radius, strain, c.angle, c.radius * c.angle, c.radius * (1.0 - float(np.cos(0.5 * largest))), "straight")


def _rolled(c: Cylinder, arc: Floats, bend: float) -> Floats:
    """Places of the opened section relative to the root line."""
    t, s, k = np.cross(c.axis, c.start), c.radius * arc, bend / c.radius
    if abs(bend) < 1e-9:
        return np.outer(s, t)
    return np.outer(np.sin(k * s) / k, t) - np.outer((1.0 - np.cos(k * s)) / k, c.start)


def _strain(c: Cylinder, was: Floats, now: Floats, triangles: NDArray[np.integer], flange: Flange, bend: float) -> Floats:
    """Strain of the moved triangles. In the bend both shapes are laid flat along their arcs (the chords of a circle are no strain of the sheet): before by the
    fitted cylinder, after by the angle at which each new place is seen from the new axis."""
    before, after = was.copy(), now.copy()
    bent = np.unique(triangles[flange.bend])
    t = np.cross(c.axis, c.start)
    line = c.centre + c.radius * c.start
    before[bent] = np.outer(c.radius * c.arc(was[bent]), t) + np.outer((was[bent] - c.centre) @ c.axis, c.axis) + line
    if abs(bend) > 1e-9:
        r = c.radius / bend
        away = now[bent] - (line - r * c.start)
        phi = np.arctan2(away @ t * np.sign(r), away @ c.start * np.sign(r))
        after[bent] = np.outer(r * phi, t) + np.outer(away @ c.axis, c.axis) + line
    out = np.zeros(len(triangles))
    mine, bend_cells = flange.cells, flange.bend
    out[bend_cells] = stretch(before, after, triangles[bend_cells])
    out[flange.beyond] = stretch(was, now, triangles[flange.beyond])
    return out[mine]


def stretch(was: Floats, now: Floats, triangles: NDArray[np.integer]) -> Floats:
    """Largest principal true strain in size ``(m,)`` from triangles at ``was`` to those at ``now``: ``|ln lambda|`` of the map of one plane on the other."""
    before, after = ((p[triangles[:, 1]] - p[triangles[:, 0]], p[triangles[:, 2]] - p[triangles[:, 0]]) for p in (was, now))

    def metric(e: tuple[Floats, Floats]) -> Floats:
        g = [np.einsum("ij,ij->i", x, y) for x, y in ((e[0], e[0]), (e[0], e[1]), (e[1], e[1]))]
        return np.stack([np.stack([g[0], g[1]], -1), np.stack([g[1], g[2]], -1)], -2)

    squared = np.linalg.eigvals(np.linalg.solve(metric(before), metric(after))).real
    return np.abs(0.5 * np.log(np.maximum(squared, 1e-12))).max(axis=1)


def _circle(xy: Floats) -> tuple[float, float, float] | None:
    solution, _, rank, _ = np.linalg.lstsq(np.c_[2 * xy, np.ones(len(xy))], (xy**2).sum(axis=1), rcond=None)
    square = solution[2] + solution[:2] @ solution[:2]
    return (float(solution[0]), float(solution[1]), float(np.sqrt(square))) if rank == 3 and square > 0 else None


def _radial(v: Floats, axis: Floats) -> Floats:
    v = v - (v @ axis) * axis
    return v / np.linalg.norm(v)


def _turn(v: Floats, axis: Floats, angle: Floats) -> Floats:
    """Vectors ``(k, 3)`` turned about ``axis`` by ``angle (k,)`` (Rodrigues)."""
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    return cos * v + sin * np.cross(axis, v) + (1.0 - cos) * np.outer(v @ axis, axis)

"""What a ball and a wheel can touch of a sheet, asked of the mesh itself.

A sheet of thickness t is the points within t/2 of the mesh. A ball of radius r that touches it at the point above p, with n the normal to the side asked for, has its centre at
c = p + (r + t/2) n, and it is free of the sheet where the mesh is nowhere nearer to c than r + t/2. That is exact for the mesh; at free edges the sheet's own rim counts as round.
Whether ball or wheel can be brought there from outside (through the mouth of a bottle) is not asked.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
MOST = 12
"""Parts of an edge into which a triangle is cut at most, to be asked at several places."""
MOST_CLOUD = 64
"""The same for the obstacles of a wheel: a large flat wall must not slip between its points."""
SPACING = 0.3
"""Distance of the places at which a ball is put on a triangle, in radii."""
AZIMUTHS = 24
"""Directions of the wheel's axis that are tried round the normal, beside those that the obstacles themselves suggest."""
GRAIN = 6.0
"""Cubes to the width of a wheel, from each of which one point of the sheet is taken as an obstacle."""
DEEPEST = 48
"""Obstacles that are looked at first."""


class Probe:
    """Asks one mesh; raises :class:`InputError` for a mesh without triangles."""

    def __init__(self, mesh: TriMesh, thickness: float = 0.0) -> None:
        from igl import AABB

        if not len(mesh.triangles):
            raise InputError("The mesh has no triangle that a ball could touch.")
        self.mesh, self.half = mesh, 0.5 * thickness
        self._cells = np.ascontiguousarray(mesh.triangles, dtype=np.int64)
        self._tree = AABB()
        self._tree.init(mesh.points, self._cells)

    def nearest(self, points: Floats) -> tuple[NDArray[np.int64], Floats]:
        """The triangle nearest to each of ``points (n, 3)``, and how far off it is [mm]."""
        squared, cell, _ = self._tree.squared_distance(self.mesh.points, self._cells, np.ascontiguousarray(points, dtype=np.float64))
        return np.asarray(cell).ravel(), np.sqrt(np.asarray(squared).ravel())

    def room(self, points: Floats, normals: Floats, radius: float) -> Floats:
        """Free distance between sheet and ball, ``(n,) [mm]``, 0 where it only touches, negative by how much it would cut in.

        ``points (n, 3)`` on the mesh, ``normals (n, 3)`` of unit length to the side asked for, ``radius`` of the ball [mm].
        """
        _sized(radius)
        reach = radius + self.half
        centres = np.ascontiguousarray(points + reach * normals)
        squared, _, _ = self._tree.squared_distance(self.mesh.points, self._cells, centres)
        return np.sqrt(squared) - reach

    def ball_share(self, radius: float, side: float, tolerance: float = 0.02) -> Floats:
        """Share of each triangle that a ball touches, ``(m,)`` 0..1; ``side`` +1 asks on the side of the normals, -1 on the other.

        Triangles with edges over ``SPACING`` of the radius are sampled at several places. ``tolerance`` [mm] by which the ball may cut into the facets of a round face.
        """
        _sized(radius)
        points, owner, parts = samples(self.mesh, SPACING * radius)
        free = self.room(points, side * self.mesh.normals[owner], radius) >= -tolerance
        return self._share(free, owner, parts)

    def _share(self, free: Bools, owner: NDArray[np.int64], parts: Floats) -> Floats:
        return np.bincount(owner, weights=free, minlength=len(parts)) / parts

    def wheel_share(self, radius: float, width: float, side: float, tolerance: float = 0.05) -> Floats:
        """Share of each triangle on which a wheel of ``radius`` and ``width`` [mm] can be laid, ``(m,)`` 0..1; triangles with edges over half the width are sampled at several places.

        The wheel is a ball of its radius cut to its width by two planes across its axis, with the place touched anywhere between them: a wheel dressed to a round face or edge. Then some axis
        at right angles to the normal must leave a gap as wide as the wheel, with the place in it, between all of the sheet that lies inside the ball. Spindle, guard and hand are not
        counted. Obstacles are points of the sheet, one in each cube of a sixth of the width.
        """
        if not (radius > 0 and width > 0):
            raise InputError(f"A wheel of {2 * radius:g} x {width:g} mm cannot polish anything.", help="Both must be more than 0 mm.")
        mesh, reach = self.mesh, radius + self.half
        places, owner, parts = samples(mesh, 0.5 * width)
        normals = side * mesh.normals[owner]
        reaches: Bools = self.room(places, normals, radius) >= -tolerance
        cloud = np.concatenate([mesh.points[np.unique(mesh.triangles)], samples(mesh, width / GRAIN, MOST_CLOUD)[0]])
        cloud = cloud[np.unique(np.floor(cloud * (GRAIN / width)), axis=0, return_index=True)[1]]
        tree = cKDTree(cloud)
        clear, wide = self.half - tolerance, width + 2.0 * (self.half - tolerance)
        blocked = np.flatnonzero(~reaches & (mesh.areas[owner] > 0))
        for some in np.array_split(blocked, max(len(blocked) // 1000, 1)):
            centres = places[some] + reach * normals[some]
            # the obstacles that cut in deepest rule most places out
            deep, which = tree.query(centres, k=min(DEEPEST, len(cloud)), distance_upper_bound=reach - tolerance)
            q = np.where(np.isfinite(deep)[..., None], cloud[np.minimum(which, len(cloud) - 1)] - centres[:, None], np.inf)
            axes = _axes(normals[some], np.where(np.isfinite(q), q, 0.0))
            with np.errstate(invalid="ignore"):
                open_axes = _fits(q @ axes.transpose(0, 2, 1), clear, wide)
            for i in np.flatnonzero(np.any(open_axes, axis=1)):
                inside = cloud[tree.query_ball_point(centres[i], reach - tolerance)] - centres[i]
                reaches[some[i]] = bool(np.any(_fits((inside @ axes[i][open_axes[i]].T)[None], clear, wide)))
        return self._share(reaches, owner, parts)


def _sized(radius: float) -> None:
    if not radius > 0:
        raise InputError(f"A ball of radius {radius:g} mm cannot touch anything.", help="Its diameter must be more than 0 mm.")


def _fits(along: Floats, clear: float, wide: float) -> Bools:
    """Whether the gap round 0 between numbers ``along (n, j, k)`` is ``wide``, and reaches ``clear`` to both sides; ``(n, k)``. NaN and infinite numbers bound nothing."""
    right = np.where(along >= 0, along, np.inf).min(axis=1, initial=np.inf)
    left = np.where(along < 0, -along, np.inf).min(axis=1, initial=np.inf)
    return (left + right >= wide) & (left >= clear) & (right >= clear)


def _axes(normals: Floats, obstacles: Floats) -> Floats:
    """Directions (n, k, 3) of the wheel's axis at each of n places: evenly round the normal and along the main directions of the obstacles (n, j, 3)."""
    u = np.cross(normals, np.eye(3)[np.argmin(np.abs(normals), axis=1)])
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    v = np.cross(normals, u)
    x, y = np.einsum("njk,nk->nj", obstacles, u), np.einsum("njk,nk->nj", obstacles, v)
    main = 0.5 * np.arctan2(2.0 * (x * y).sum(axis=1), (x**2 - y**2).sum(axis=1))
    even = np.broadcast_to(np.pi * np.arange(AZIMUTHS) / AZIMUTHS, (len(normals), AZIMUTHS))
    angle = np.column_stack([even, main, main + 0.5 * np.pi])[..., None]
    return np.cos(angle) * u[:, None] + np.sin(angle) * v[:, None]


def samples(mesh: TriMesh, spacing: float, most: int = MOST) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Points on the triangles, evenly, no farther apart than about ``spacing`` [mm], but at most ``most``² on each: points (k, 3), triangle of each (k,), points of each triangle (m,)."""
    corner = mesh.points[mesh.triangles]
    longest = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1)
    cuts = np.clip(np.ceil(longest / spacing), 1, most).astype(np.int64)
    points, owner = [], []
    for k in np.unique(cuts):
        which = np.flatnonzero(cuts == k)
        i, j = (a.ravel() for a in np.meshgrid(np.arange(k), np.arange(k), indexing="ij"))
        upright, turned = i + j < k, i + j < k - 1
        a = np.concatenate([(i[upright] + 1 / 3) / k, (i[turned] + 2 / 3) / k])
        b = np.concatenate([(j[upright] + 1 / 3) / k, (j[turned] + 2 / 3) / k])
        weight = np.stack([1.0 - a - b, a, b], axis=1)
        points.append((weight[None] @ corner[which]).reshape(-1, 3))
        owner.append(np.repeat(which, len(weight)))
    return np.concatenate(points), np.concatenate(owner), (cuts**2).astype(np.float64)

"""The space round a sheet as a graph whose only walls are the sheet.

A point of the sheet has a copy for each fan of tetrahedra that can be walked round it without crossing the sheet: two inside the sheet (its
sides), one on its free edge. Heights are linear in each cell, so the parts of space below (or above) any level are joined exactly as the copies
below (above) it are joined along the cells' edges: no grid, no conservative rounding, whatever the attitude.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from diewright.errors import InputError
from diewright.geometry.flood_fill import fill_round
from diewright.geometry.mesh import TriMesh
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

RIM = 24
"""Points on the rim of an added hole; between two of them the rim's lowest place is missed by 0.4 % of its diameter at most."""
_FACES = np.array([[1, 2, 3], [0, 2, 3], [0, 1, 3], [0, 1, 2]])


@dataclass(frozen=True, eq=False)
class Opening:
    """A round hole to be made in the sheet: ``centre (3,) [mm]`` near the sheet, ``diameter`` [mm]."""

    centre: Floats
    diameter: float


@dataclass(frozen=True, eq=False)
class Space:
    """The graph.

    ``points (p, 3) [mm]``; ``point_of (n,)`` the point of each copy; ``cells (k, 4)`` copies; ``volumes (k,) [mm3]``; ``sheet (m, 3)`` points,
    ``sides (2, m, 3)`` copies on the side the normal points to (0) and on the other (1); ``areas (m,) [mm2]``; ``start``, ``near`` the neighbours of
    each copy (CSR); ``open (n,)`` 1 on the box outside. Copies of a hole's rim come last and belong to no cell.
    """

    points: Floats
    point_of: Ints
    cells: Ints
    volumes: Floats
    sheet: Ints
    sides: Ints
    areas: Floats
    start: Ints
    near: Ints
    open: NDArray[np.uint8]

    @cached_property
    def places(self) -> Floats:
        """Place of each copy ``(n, 3) [mm]``."""
        return np.ascontiguousarray(self.points[self.point_of])

    @cached_property
    def size(self) -> float:
        """Diagonal of the sheet's own box [mm]."""
        at = self.points[np.unique(self.sheet)]
        return float(np.linalg.norm(at.max(axis=0) - at.min(axis=0)))

    @cached_property
    def hollow(self) -> float:
        """Volume that no way leads to from outside [mm3]: closed hollow bodies."""
        n = len(self.point_of)
        graph = coo_matrix((np.ones(len(self.near)), (np.repeat(np.arange(n), np.diff(self.start)), self.near)), shape=(n, n))
        label = connected_components(graph, directed=False)[1]
        shut = ~np.isin(label, np.unique(label[self.open == 1]))
        return float(self.volumes[shut[self.cells[:, 0]]].sum())

    @classmethod
    def round_sheet(cls, mesh: TriMesh, *, seconds: float = 120.0, watch: Watch | None = None) -> Space:
        """The space round a mesh; raises as :func:`~diewright.geometry.flood_fill.fill_round` does."""
        points, tets, sheet = fill_round(mesh, seconds=seconds, watch=watch)
        return cls.of(points, tets, sheet, np.arange(len(mesh.points), len(mesh.points) + 8))

    @classmethod
    def of(cls, points: Floats, tets: Ints, sheet: Ints, box: np.ndarray) -> Space:
        """From cells ``tets (k, 4)`` that follow the triangles ``sheet (m, 3)``; ``box`` are the points that lie in the open."""
        count = np.int64(len(points))
        stride = np.array([count * count, count, 1], dtype=np.int64)
        cell = np.repeat(np.arange(len(tets)), 4)
        local = np.tile(_FACES, (len(tets), 1))
        face = tets[cell[:, None], local]
        turn = np.argsort(face, axis=1)
        face, local = np.take_along_axis(face, turn, 1), np.take_along_axis(local, turn, 1)
        key = face.astype(np.int64) @ stride
        order = np.argsort(key, kind="stable")
        twin = np.flatnonzero(key[order][1:] == key[order][:-1])
        first, second = order[twin], order[twin + 1]
        wall = np.sort(sheet, axis=1).astype(np.int64) @ stride
        free = ~np.isin(key[first], wall)
        a = (4 * cell[first][:, None] + local[first])[free].ravel()
        b = (4 * cell[second][:, None] + local[second])[free].ravel()
        corners = 4 * len(tets)
        found, copy = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(corners, corners)), directed=False)
        cells = copy.reshape(-1, 4).astype(np.int32)
        point_of = np.zeros(found, dtype=np.int32)
        point_of[cells.ravel()] = tets.ravel()
        sides = _sides(points, tets, sheet, cells, cell, local, key, order)
        start, near = _neighbours(cells, found)
        mesh = TriMesh(points, sheet)
        return cls(
            points, point_of, cells, _volumes(points, tets), sheet, sides, np.array(mesh.areas), start, near,
            np.isin(point_of, box).astype(np.uint8),
        )  # fmt: skip

    def opened(self, openings: Sequence[Opening]) -> Space:
        """The same space with round holes in the sheet.

        A hole lets through what stands above the lowest place of its rim (from below: what stands under its highest). So a ring of rim points
        joins the two sides, each point to the corners of the triangle it lies in; the sheet has no volume, nothing else changes. Raises
        :class:`InputError` for a diameter or a centre that is no number or lies off the sheet.
        """
        if not openings:
            return self
        mesh = TriMesh(self.points, self.sheet)
        at: list[Floats] = []
        links: list[tuple[int, int]] = []
        copies = len(self.point_of)
        for hole in openings:
            rim, owner = _rim(mesh, hole)
            for place, triangle in zip(rim, owner, strict=True):
                node = copies + len(at)
                at.append(place)
                links += [(node, int(c)) for c in self.sides[:, triangle].ravel()]
        pair = np.array(links, dtype=np.int64)
        owner = np.concatenate([np.repeat(np.arange(copies), np.diff(self.start)), pair[:, 0], pair[:, 1]])
        order = np.argsort(owner, kind="stable")
        start = _rows(owner, copies + len(at))
        near = np.concatenate([self.near, pair[:, 1], pair[:, 0]])[order].astype(np.int32)
        points = np.concatenate([self.points, np.array(at)])
        point_of = np.concatenate([self.point_of, np.arange(len(self.points), len(points), dtype=np.int32)])
        return Space(
            points, point_of, self.cells, self.volumes, self.sheet, self.sides, self.areas, start, near,
            np.concatenate([self.open, np.zeros(len(at), dtype=np.uint8)]),
        )  # fmt: skip


def _volumes(points: Floats, tets: Ints) -> Floats:
    a = points[tets[:, 0]]
    return np.abs(np.einsum("ij,ij->i", np.cross(points[tets[:, 1]] - a, points[tets[:, 2]] - a), points[tets[:, 3]] - a)) / 6.0


def _sides(
    points: Floats, tets: Ints, sheet: Ints, cells: Ints, cell: np.ndarray, local: np.ndarray, key: np.ndarray, order: np.ndarray
) -> Ints:
    """Copies of the corners of each triangle of the sheet on its two sides ``(2, m, 3)``."""
    count = np.int64(len(points))
    wanted = np.sort(sheet, axis=1).astype(np.int64) @ np.array([count * count, count, 1], dtype=np.int64)
    sides = np.zeros((2, len(sheet), 3), dtype=np.int32)
    normal = TriMesh(points, sheet).doubled_normals
    back = np.argsort(np.argsort(sheet, axis=1), axis=1)
    begin = np.searchsorted(key[order], wanted)
    for offset in (0, 1):
        f = order[begin + offset]
        opposite = points[tets[cell[f], 6 - local[f].sum(axis=1)]]
        front = np.einsum("ij,ij->i", opposite - points[sheet[:, 0]], normal) > 0
        copies = np.take_along_axis(cells[cell[f][:, None], local[f]], back, 1)
        sides[0, front], sides[1, ~front] = copies[front], copies[~front]
    return sides


def _neighbours(cells: Ints, count: int) -> tuple[Ints, Ints]:
    pairs = cells[:, [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]].reshape(-1, 2).astype(np.int64)
    both = np.unique(np.concatenate([pairs[:, 0] * count + pairs[:, 1], pairs[:, 1] * count + pairs[:, 0]]))
    return _rows(both // count, count), (both % count).astype(np.int32)


def _rows(owner: np.ndarray, count: int) -> Ints:
    return np.concatenate([[0], np.cumsum(np.bincount(owner, minlength=count))]).astype(np.int32)


def _rim(mesh: TriMesh, hole: Opening) -> tuple[Floats, NDArray[np.int64]]:
    """Rim points on the sheet and their triangles; those that fall past the sheet's free edge are left out."""
    import igl

    centre = np.asarray(hole.centre, dtype=np.float64).reshape(3)
    if not np.isfinite(centre).all() or not np.isfinite(hole.diameter) or hole.diameter <= 0:
        raise InputError(
            f"A hole needs a place and a diameter above 0, and has {centre.tolist()} and {hole.diameter!r}.", help="State both in mm."
        )
    corners = mesh.points
    square, triangle, foot = igl.point_mesh_squared_distance(centre[None], corners, mesh.triangles.astype(np.int64))
    if float(np.ravel(square)[0]) > (0.5 * hole.diameter) ** 2 + 1e-9:
        raise InputError(
            f"The hole at {np.round(centre, 2).tolist()} lies {np.sqrt(float(np.ravel(square)[0])):.3g} mm off the sheet.",
            help="Take a place on the part.",
        )
    middle = np.asarray(foot).reshape(3)
    normal = mesh.normals[int(np.ravel(triangle)[0])]
    first = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    first /= np.linalg.norm(first)
    angle = 2.0 * np.pi * np.arange(RIM) / RIM
    ring = middle + 0.5 * hole.diameter * (np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * np.cross(normal, first))
    away, owner, at = igl.point_mesh_squared_distance(np.concatenate([middle[None], ring]), corners, mesh.triangles.astype(np.int64))
    near = np.sqrt(np.ravel(away)) < 0.5 * hole.diameter
    return np.asarray(at)[near], np.ravel(owner)[near].astype(np.int64)

"""The triangle mesh that every part of the desk shares."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


def _frozen(array: np.ndarray) -> np.ndarray:
    array = np.ascontiguousarray(array)
    if array.flags.writeable:
        array = array.copy()
        array.flags.writeable = False
    return array


@dataclass(frozen=True, eq=False)
class TriMesh:
    """An oriented triangle mesh.

    ``points`` is ``(n, 3) float64 [mm]``, ``triangles`` is ``(m, 3) int32``, counter-clockwise seen from the
    side the normal points to. Raises :class:`InputError` for indices out of range or coordinates that are not finite.
    """

    points: Floats
    triangles: Ints

    def __post_init__(self) -> None:
        points = _frozen(np.asarray(self.points, dtype=np.float64).reshape(-1, 3))
        triangles = _frozen(np.asarray(self.triangles, dtype=np.int32).reshape(-1, 3))
        if not np.isfinite(points).all():
            raise InputError("The mesh has a coordinate that is not a finite number.")
        if triangles.size and (triangles.min() < 0 or triangles.max() >= len(points)):
            raise InputError("The mesh has a triangle that names a point that does not exist.")
        object.__setattr__(self, "points", points)
        object.__setattr__(self, "triangles", triangles)

    @cached_property
    def doubled_normals(self) -> Floats:
        """Cross products of the edges, ``(m, 3) [mm2]``: twice the area times the unit normal."""
        a, b, c = (self.points[self.triangles[:, i]] for i in range(3))
        return np.cross(b - a, c - a)

    @cached_property
    def areas(self) -> Floats:
        """Triangle areas ``(m,) [mm2]``."""
        return 0.5 * np.linalg.norm(self.doubled_normals, axis=1)

    @cached_property
    def normals(self) -> Floats:
        """Unit normals ``(m, 3)``; zero for a triangle without area."""
        length = np.linalg.norm(self.doubled_normals, axis=1, keepdims=True)
        return np.divide(self.doubled_normals, length, out=np.zeros_like(self.doubled_normals), where=length > 0)

    @cached_property
    def centroids(self) -> Floats:
        """Triangle centroids ``(m, 3) [mm]``."""
        return self.points[self.triangles].mean(axis=1)

    @cached_property
    def point_normals(self) -> Floats:
        """Area-weighted unit normals at the points ``(n, 3)``."""
        total = np.zeros_like(self.points)
        for i in range(3):
            np.add.at(total, self.triangles[:, i], self.doubled_normals)
        length = np.linalg.norm(total, axis=1, keepdims=True)
        return np.divide(total, length, out=np.zeros_like(total), where=length > 0)

    @cached_property
    def point_areas(self) -> Floats:
        """A third of the area of the triangles at each point ``(n,) [mm2]``."""
        total = np.zeros(len(self.points))
        for i in range(3):
            np.add.at(total, self.triangles[:, i], self.areas / 3.0)
        return total

    @property
    def area(self) -> float:
        """Total area [mm2]."""
        return float(self.areas.sum())

    @cached_property
    def _directed_edges(self) -> Ints:
        t = self.triangles
        return np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])

    @cached_property
    def edges(self) -> Ints:
        """Undirected edges ``(k, 2)``, smaller index first, sorted."""
        return np.unique(np.sort(self._directed_edges, axis=1), axis=0)

    @cached_property
    def boundary_edges(self) -> Ints:
        """Directed edges that belong to one triangle only ``(b, 2)``, in the triangle's own direction."""
        directed = self._directed_edges
        key = np.sort(directed, axis=1)
        _, inverse, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)
        return directed[count[inverse.ravel()] == 1]

    @cached_property
    def boundary_loops(self) -> tuple[Ints, ...]:
        """Closed boundary loops as point indices, longest (in mm) first.

        Each loop keeps the direction of its triangles: seen from the normal's side, an outer loop runs
        counter-clockwise and a hole clockwise. At a point where loops touch, the walk takes any free edge.
        """
        after: dict[int, list[int]] = {}
        for a, b in self.boundary_edges:
            after.setdefault(int(a), []).append(int(b))
        loops: list[Ints] = []
        while after:
            start = next(iter(after))
            loop = [start]
            at = start
            while True:
                nexts = after.get(at)
                if not nexts:
                    break
                to = nexts.pop()
                if not nexts:
                    del after[at]
                if to == start:
                    break
                loop.append(to)
                at = to
            loops.append(np.array(loop, dtype=np.int32))
        loops.sort(key=lambda ring: -self.loop_length(ring))
        return tuple(loops)

    def loop_length(self, loop: Ints) -> float:
        """Length of a closed loop of point indices [mm]."""
        ring = self.points[loop]
        return float(np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1).sum())

    @cached_property
    def components(self) -> NDArray[np.int32]:
        """Number of the connected piece each triangle belongs to ``(m,)``, joined through shared points."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        e = self.edges
        n = len(self.points)
        graph = coo_matrix((np.ones(len(e)), (e[:, 0], e[:, 1])), shape=(n, n))
        _, label = connected_components(graph, directed=False)
        return label[self.triangles[:, 0]].astype(np.int32)

    def reversed(self) -> TriMesh:
        """The same mesh with every normal turned round."""
        return TriMesh(self.points, self.triangles[:, ::-1])

    def moved(self, rotation: Floats, shift: Floats | None = None) -> TriMesh:
        """The mesh turned by a ``(3, 3)`` rotation and shifted by ``(3,) [mm]``."""
        points = self.points @ np.asarray(rotation).T
        return TriMesh(points if shift is None else points + shift, self.triangles)


@dataclass(frozen=True, eq=False)
class FieldMesh:
    """A mesh with named fields: ``point`` arrays of length n and ``cell`` arrays of length m (any trailing shape)."""

    mesh: TriMesh
    point: dict[str, np.ndarray] = field(default_factory=dict)
    cell: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, array in self.point.items():
            if len(array) != len(self.mesh.points):
                raise InputError(f"Point field {name} has {len(array)} values for {len(self.mesh.points)} points.")
        for name, array in self.cell.items():
            if len(array) != len(self.mesh.triangles):
                raise InputError(f"Cell field {name} has {len(array)} values for {len(self.mesh.triangles)} triangles.")

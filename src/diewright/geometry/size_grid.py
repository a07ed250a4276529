"""A field of wanted edge lengths on a square grid, its growth limited.

``h(p) <= h(q) + g |p - q|`` for all grid points ``p, q``. Along a row of edges the size grows by ``g h`` an edge, so that neighbouring edges
differ by the ratio ``r = (1 + g/2) / (1 - g/2)`` at most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from diewright.errors import InputError

Floats = NDArray[np.float64]
SizeField = Callable[[Floats, Floats], Floats]

GRADIENT = 0.25
"""Growth of the size per unit of length in a field made from a coarse mesh."""
_MOST_POINTS = 250_000
_STEPS = [(1, 0), (0, 1), (1, 1), (1, -1), (2, 1), (1, 2), (2, -1), (1, -2)]
"""Neighbours of the distance transform; with the knight's moves the distance is too long by 2.7 % at most."""


def slope_of(growth: float) -> float:
    """Gradient ``g`` of the size that keeps the ratio of neighbouring edges below ``growth``."""
    return 2.0 * (growth - 1.0) / (growth + 1.0)


@dataclass
class SizeGrid:
    """``values (nx, ny) [mm]`` at ``low + step (i, j)``; between the grid points bilinear, outside the nearest point of the grid."""

    low: Floats
    step: float
    values: Floats
    slope: float

    def at(self, points: Floats) -> Floats:
        """Wanted size ``(n,) [mm]`` at ``points (n, 2)``."""
        n = np.array(self.values.shape)
        u = np.clip((np.asarray(points) - self.low) / self.step, 0.0, n - 1.0)
        i = np.minimum(u.astype(np.int64), n - 2)
        f, g = (u - i).T
        a, b = i.T
        v = self.values
        return (1 - f) * ((1 - g) * v[a, b] + g * v[a, b + 1]) + f * ((1 - g) * v[a + 1, b] + g * v[a + 1, b + 1])

    def centres(self) -> Floats:
        """The grid points ``(nx ny, 2) [mm]``, in the order of ``values.ravel()``."""
        nx, ny = self.values.shape
        x, y = np.meshgrid(self.low[0] + self.step * np.arange(nx), self.low[1] + self.step * np.arange(ny), indexing="ij")
        return np.column_stack([x.ravel(), y.ravel()])

    def lower(self, points: Floats, sizes: Floats) -> None:
        """Take ``sizes (n,) [mm]`` at ``points (n, 2)`` into the field where they are smaller than it, then limit the growth again."""
        corner = np.clip(((np.asarray(points) - self.low) / self.step).astype(np.int64), 0, np.array(self.values.shape) - 2)
        for i in (0, 1):
            for j in (0, 1):
                a, b = corner[:, 0] + i, corner[:, 1] + j
                away = np.linalg.norm(self.low + self.step * np.column_stack([a, b]) - points, axis=1)
                np.minimum.at(self.values, (a, b), sizes + self.slope * away)
        self.limit()

    def limit(self) -> None:
        """Limit the growth: passes over the neighbours until nothing becomes smaller."""
        v, g = self.values, self.slope * self.step / 1.027
        for axis in (0, 1):
            ramp = (g * np.arange(v.shape[axis])).reshape((-1, 1) if axis == 0 else (1, -1))
            v[:] = np.minimum(v, np.minimum.accumulate(v - ramp, axis=axis) + ramp)
            v[:] = np.flip(np.minimum.accumulate(np.flip(v + ramp, axis), axis=axis), axis) - ramp
        for _ in range(max(v.shape)):
            before = v.copy()
            for i, j in _STEPS:
                cost = g * float(np.hypot(i, j))
                a = v[: v.shape[0] - i, max(0, -j) : v.shape[1] - max(0, j)]
                b = v[i:, max(0, j) : v.shape[1] + min(0, j)]
                np.minimum(b, a + cost, out=b)
                np.minimum(a, b + cost, out=a)
            if np.abs(before - v).max() <= 1e-4 * v.min():
                return


def size_grid(size: float | SizeField, low: Floats, high: Floats, *, slope: float) -> SizeGrid:
    """The field over the box ``low``..``high`` (each ``(2,) [mm]``) of a number or of a function of ``x (n,)``, ``y (n,)``.

    The grid is about as fine as the smallest size that the function gives, at most 250,000 points. Raises :class:`InputError` for a size that is
    not a positive number.
    """
    extent = float((high - low).max())

    def grid(step: float) -> SizeGrid:
        margin = step * 1.5
        count = np.ceil((high - low + 2 * margin) / step).astype(int) + 1
        field = SizeGrid(low - margin, step, np.ones(tuple(count)), slope)
        if callable(size):
            where = field.centres()
            found = np.asarray(size(where[:, 0].copy(), where[:, 1].copy()), dtype=np.float64)
            if found.shape not in ((), (len(where),)):
                raise InputError(f"The size field gave an array of shape {found.shape} for {len(where)} points.", where="size")
            field.values[:] = np.broadcast_to(found, len(where)).reshape(field.values.shape)
        else:
            field.values[:] = float(size)
        if not (np.isfinite(field.values).all() and field.values.min() > 0):
            raise InputError(
                f"The wanted edge length must be a positive number of millimetres everywhere, and is {field.values.min():g} at least.",
                where="size",
                help="State a size above 0.",
            )
        return field

    coarse = grid(extent / 128)
    if not callable(size):
        step = max(float(size), extent / 128)
        return coarse if step >= coarse.step else grid(step)
    box = np.prod(high - low + extent / 64)
    step = max(float(coarse.values.min()), float(np.sqrt(box / _MOST_POINTS)))
    field = grid(step) if step < coarse.step else coarse
    field.limit()
    return field


class CoarseSizes:
    """A size field from the nodes of a coarse mesh: linear between them, the nearest node outside; call it with ``x (n,)``, ``y (n,)``."""

    def __init__(self, points: Floats, sizes: Floats) -> None:
        self.points, self.sizes = points, sizes
        self._inside = LinearNDInterpolator(points, sizes)
        self._tree = cKDTree(points)

    def __call__(self, x: Floats, y: Floats) -> Floats:
        where = np.column_stack([np.ravel(x), np.ravel(y)])
        found = np.asarray(self._inside(where), dtype=np.float64)
        out = np.isnan(found)
        if out.any():
            found[out] = self.sizes[self._tree.query(where[out])[1]]
        return found.reshape(np.shape(x))


def sizes_from(points: Floats, triangles: NDArray[np.int32], wanted: Floats, *, gradient: float = GRADIENT) -> CoarseSizes:
    """The size field of a coarse mesh ``points (n, 2)``, ``triangles (m, 3)`` whose elements shall get edges ``wanted (m,)`` [mm].

    A node takes the least of its elements; along every edge the size grows by ``gradient`` per unit of length at most (shortest paths over the
    edges). Raises :class:`InputError` for a wanted size that is not positive or of the wrong count.
    """
    points = np.asarray(points, dtype=np.float64)
    triangles = np.asarray(triangles)
    wanted = np.asarray(wanted, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or wanted.shape != (len(triangles),) or len(triangles) == 0:
        raise InputError(
            f"Wanted sizes of shape {wanted.shape} do not go with {len(triangles)} triangles of points {points.shape}.", where="wanted"
        )
    if not (np.isfinite(wanted).all() and wanted.min() > 0):
        raise InputError(f"A wanted size must be a positive number of millimetres, and is {wanted.min():g}.", where="wanted")
    n = len(points)
    start = np.full(n, np.inf)
    for i in range(3):
        np.minimum.at(start, triangles[:, i], wanted)
    used = np.flatnonzero(np.isfinite(start))
    edges = np.unique(np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1), axis=0)
    length = gradient * np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    # a source outside the mesh, tied to each node by that node's own wish: its shortest path to a node is the limited size there
    rows = np.r_[np.full(len(used), n), edges[:, 0], edges[:, 1]]
    columns = np.r_[used, edges[:, 1], edges[:, 0]]
    graph = csr_matrix((np.r_[start[used], length, length], (rows, columns)), shape=(n + 1, n + 1))
    limited = dijkstra(graph, indices=n)[used]
    return CoarseSizes(points[used], limited)

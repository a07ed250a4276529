"""A field of wanted edge lengths on a square grid, its growth limited.

``h(p) <= h(q) + g |p - q|`` for all grid points ``p, q``. Along a row of edges the size grows by ``g h`` an edge, so that neighbouring edges
differ by the ratio ``r = (1 + g/2) / (1 - g/2)`` at most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]
SizeField = Callable[[Floats, Floats], Floats]

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
                a, b = (corner + (i, j)).T
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

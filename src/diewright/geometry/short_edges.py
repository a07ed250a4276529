"""Triangles with no edge longer than wanted, on the same surface: what has to be done before a coarse flat face can be bent."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
MOST = 2_000_000


def with_short_edges(mesh: TriMesh, longest: float) -> TriMesh:
    """Split every edge longer than ``longest`` [mm] in the middle until none is; the old points come first and stay, the surface is the same.

    A triangle with one, two or three edges to split becomes two, three or four. Raises :class:`InputError` for a length that is not positive or needs more than
    :data:`MOST` triangles.
    """
    if not longest > 0:
        raise InputError(f"the longest edge must be above zero, and is {longest:g} mm.", where="mesh")
    points, cells = np.asarray(mesh.points), np.asarray(mesh.triangles, dtype=np.int32)
    while True:
        ends = np.sort(np.stack([cells[:, [1, 2]], cells[:, [2, 0]], cells[:, [0, 1]]], axis=1), axis=2)  # side i lies opposite corner i
        sides, number = np.unique(ends.reshape(-1, 2), axis=0, return_inverse=True)
        number = number.reshape(-1, 3)
        long = np.linalg.norm(points[sides[:, 1]] - points[sides[:, 0]], axis=1) > longest
        if not long.any():
            return TriMesh(points, cells)
        middle = np.full(len(sides), -1, dtype=np.int32)
        middle[long] = len(points) + np.arange(int(long.sum()), dtype=np.int32)
        points = np.vstack([points, points[sides[long]].mean(axis=1)])
        cells = _split(cells, middle[number], points)
        if len(cells) > MOST:
            raise InputError(f"edges of {longest:g} mm need more than {MOST} triangles.", where="mesh", help="Take longer edges.")


def _split(cells: Ints, middle: Ints, points: Floats) -> Ints:
    """New triangles from old ones and the points in the middle of their sides (-1: the side stays)."""
    count = (middle >= 0).sum(axis=1)
    out = [cells[count == 0]]
    for wanted in (1, 2, 3):
        rows = np.flatnonzero(count == wanted)
        c, m = cells[rows], middle[rows]
        # turned so that the odd one out (the only split side, or the only whole one) lies opposite the first corner
        odd = np.argmax(m >= 0, axis=1) if wanted == 1 else np.argmin(m >= 0, axis=1)
        turn = (odd[:, None] + np.arange(3)) % 3
        (a, b, d), (p, q, r) = np.take_along_axis(c, turn, 1).T, np.take_along_axis(m, turn, 1).T
        if wanted == 1:
            out += [np.stack([a, b, p], 1), np.stack([a, p, d], 1)]
        elif wanted == 3:
            out += [np.stack(t, 1) for t in ((a, r, q), (r, b, p), (q, p, d), (p, q, r))]
        else:  # the corner at a comes off; the four-sided rest is cut along its shorter diagonal
            out.append(np.stack([a, r, q], 1))
            first = np.linalg.norm(points[r] - points[d], axis=1) <= np.linalg.norm(points[b] - points[q], axis=1)
            out += [
                np.where(first[:, None], np.stack([r, b, d], 1), np.stack([r, b, q], 1)),
                np.where(first[:, None], np.stack([r, d, q], 1), np.stack([q, b, d], 1)),
            ]
    return np.vstack(out)

"""A mesh cut along the line where a field of its points is nought."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NEAR = 0.05  # of the edge: a point nearer to the line is taken to lie on it, so that no slivers come


@dataclass(frozen=True, eq=False)
class SplitMesh:
    """The finer mesh: old points first; ``parent (m,)`` the old triangle of each new one, ``side (m,)`` +1 where the field is positive, ``ends (j, 2)`` and ``share (j,)`` of the new points."""

    mesh: TriMesh
    parent: Ints
    side: Ints
    ends: Ints
    share: Floats

    def of_points(self, values: Floats) -> Floats:
        """A point field of the old mesh on the new one."""
        a, b = values[self.ends[:, 0]], values[self.ends[:, 1]]
        share = self.share.reshape(-1, *([1] * (values.ndim - 1)))
        return np.concatenate([values, (1.0 - share) * a + share * b])


def split_at(mesh: TriMesh, level: Floats) -> SplitMesh:
    """Cut every triangle that the zero of ``level (n,)`` (linear within triangles) crosses."""
    d = np.array(level, dtype=np.float64)
    e = mesh.edges.astype(np.int64)
    across = d[e[:, 0]] * d[e[:, 1]] < 0
    share = np.zeros(len(e))
    share[across] = d[e[across, 0]] / (d[e[across, 0]] - d[e[across, 1]])
    close = np.concatenate([e[across & (share < _NEAR), 0], e[across & (share > 1.0 - _NEAR), 1]])
    d[close] = 0.0
    across = d[e[:, 0]] * d[e[:, 1]] < 0
    ends, share, n = e[across], share[across], len(mesh.points)
    number = {(int(a), int(b)): n + k for k, (a, b) in enumerate(ends)}
    points = np.vstack([mesh.points, mesh.points[ends[:, 0]] + share[:, None] * (mesh.points[ends[:, 1]] - mesh.points[ends[:, 0]])])
    sign = np.sign(d).astype(np.int64)
    corner = sign[mesh.triangles]
    crossed = (corner.min(axis=1) < 0) & (corner.max(axis=1) > 0)
    whole = np.flatnonzero(~crossed)
    cells = [tuple(int(i) for i in row) for row in mesh.triangles[whole]]
    parent = whole.tolist()
    side = np.where(corner[whole].sum(axis=1) < 0, -1, 1).tolist()

    def cut(a: int, b: int) -> int:
        return number[(a, b) if a < b else (b, a)]

    for k in np.flatnonzero(crossed):
        a, b, c = (int(i) for i in mesh.triangles[k])
        for _ in range(3):  # turned until a is the point alone on its side, or lies on the line
            if sign[a] == 0 or (sign[a] != sign[b] and sign[a] != sign[c] and 0 not in (sign[b], sign[c])):
                break
            a, b, c = b, c, a
        if sign[a] == 0:
            m = cut(b, c)
            made = [((a, b, m), sign[b]), ((a, m, c), sign[c])]
        else:
            p, q = cut(a, b), cut(c, a)
            made = [((a, p, q), sign[a]), ((p, b, c), sign[b]), ((p, c, q), sign[c])]
        for cell, s in made:
            cells.append(cell)
            parent.append(int(k))
            side.append(int(s))
    return SplitMesh(TriMesh(points, np.array(cells, dtype=np.int32)), np.array(parent), np.array(side), ends, share)

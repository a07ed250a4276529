"""Split the triangles of a curved skin until its chords lie close enough to the surface.

Between two points with unit normals the surface is taken as the cubic that leaves each point at a right angle to its normal (Vlachos et al. 2001, the edge of a
curved point-normal triangle), its bow divided by ``c (1 + c) / 2`` with ``c = cos(turn / 2)``, which makes it exact on a circle of any turn. A point whose normal is 0 lies on a sharp edge:
chords that end there stay as they are, since a normal made up between them would make the offset wavy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST = 600_000
"""Triangles not exceeded."""


@dataclass(frozen=True, eq=False)
class Finer:
    """The finer mesh, its normals ``(n, 3)`` (0 at sharp points), the triangle of the given mesh each one comes from ``(m,)``, the largest sagitta left [mm]."""

    mesh: TriMesh
    normals: Floats
    parent: Ints
    sagitta: float


def refined(mesh: TriMesh, normals: Floats, chord: float, angle: float, rounds: int = 4) -> Finer:
    """Split edges whose sagitta is above ``chord`` [mm] or whose ends' normals turn by more than ``angle`` [deg]; given points keep their numbers and places."""
    points, cells, parent = np.array(mesh.points), mesh.triangles.astype(np.int64), np.arange(len(mesh.triangles))
    normal = np.array(normals, dtype=float)
    limit, sagitta = math.cos(math.radians(angle)), 0.0
    for done in range(rounds + 1):
        edge, side = _edges(cells)
        bow = _bow(points, normal, edge)
        height = np.linalg.norm(bow, axis=1)
        a, b = normal[edge[:, 0]], normal[edge[:, 1]]
        known = (np.abs(a).sum(axis=1) > 0) & (np.abs(b).sum(axis=1) > 0)
        # an edge shorter than the chord allowed needs no splitting, however far its ends turn
        turned = (
            known & (np.einsum("ij,ij->i", a, b) < limit) & (np.linalg.norm(points[edge[:, 1]] - points[edge[:, 0]], axis=1) > 4.0 * chord)
        )
        split = (height > chord) | turned
        sagitta = float(height.max(initial=0.0))
        if not split.any() or done == rounds:
            break
        if len(cells) + 2 * int(split.sum()) > MOST:
            raise SolveError(
                f"the faces need more than {MOST} triangles to keep within {chord:.2g} mm of the part.", where="faces",
                help="State a longer part.target_edge, or round the smallest radii.",
            )  # fmt: skip
        number = np.full(len(edge), -1, dtype=np.int64)
        number[split] = len(points) + np.arange(int(split.sum()))
        points = np.vstack([points, (0.5 * (points[edge[:, 0]] + points[edge[:, 1]]) + bow)[split]])
        normal = np.vstack([normal, _between(points, normal, edge[split])])
        cells, parent = _divided(points, cells, parent, number[side])
    return Finer(TriMesh(points, cells.astype(np.int32)), normal, parent, sagitta)


def _edges(cells: Ints) -> tuple[Ints, Ints]:
    """Edges ``(k, 2)`` and, for each triangle, the numbers of its edges 01, 12, 20 ``(m, 3)``."""
    every = np.sort(np.concatenate([cells[:, [0, 1]], cells[:, [1, 2]], cells[:, [2, 0]]]), axis=1)
    edge, number = np.unique(every, axis=0, return_inverse=True)
    return edge, number.reshape(3, -1).T


def _bow(points: Floats, normal: Floats, edge: Ints) -> Floats:
    """Step from the middle of each chord to the middle of its curve ``(k, 3)`` [mm]."""
    d = points[edge[:, 1]] - points[edge[:, 0]]
    a, b = normal[edge[:, 0]], normal[edge[:, 1]]
    from_a = -np.einsum("ij,ij->i", d, a)[:, None] * a
    from_b = np.einsum("ij,ij->i", d, b)[:, None] * b
    known = (np.abs(a).sum(axis=1) > 0) & (np.abs(b).sum(axis=1) > 0)
    half = np.sqrt(0.5 * (1.0 + np.clip(np.einsum("ij,ij->i", a, b), -0.5, 1.0)))  # cosine of half the turn
    return (0.25 * known / (half * (1.0 + half)))[:, None] * (from_a + from_b)


def _between(points: Floats, normal: Floats, edge: Ints) -> Floats:
    """Unit normals in the middle of the curves: the mean of the ends' and of their mirror image in the chord's bisecting plane, which bends with an S."""
    d = points[edge[:, 1]] - points[edge[:, 0]]
    total = normal[edge[:, 0]] + normal[edge[:, 1]]
    mirrored = total - (2.0 * np.einsum("ij,ij->i", d, total) / np.maximum(np.einsum("ij,ij->i", d, d), 1e-300))[:, None] * d
    middle = total + mirrored / np.maximum(np.linalg.norm(mirrored, axis=1, keepdims=True), 1e-300)
    return middle / np.maximum(np.linalg.norm(middle, axis=1, keepdims=True), 1e-300)


def _divided(points: Floats, cells: Ints, parent: Ints, new: Ints) -> tuple[Ints, Ints]:
    """Triangles with the points ``new (m, 3)`` on their edges 01, 12, 20 (-1: none) cut into two, three or four."""
    out, owner = [], []
    count = (new >= 0).sum(axis=1)

    def put(which: Ints, *corners: Ints) -> None:
        out.append(np.stack(corners, axis=1))
        owner.append(parent[which])

    put(np.flatnonzero(count == 0), *cells[count == 0].T)
    for turn in range(3):
        c = np.roll(cells, -turn, axis=1)
        e = np.roll(new, -turn, axis=1)
        if turn == 0:
            i = np.flatnonzero(count == 3)
            for corner in (
                (c[i, 0], e[i, 0], e[i, 2]),
                (e[i, 0], c[i, 1], e[i, 1]),
                (e[i, 2], e[i, 1], c[i, 2]),
                (e[i, 0], e[i, 1], e[i, 2]),
            ):
                put(i, *corner)
        i = np.flatnonzero((count == 1) & (e[:, 0] >= 0))
        put(i, c[i, 0], e[i, 0], c[i, 2])
        put(i, e[i, 0], c[i, 1], c[i, 2])
        i = np.flatnonzero((count == 2) & (e[:, 2] < 0))  # points on 01 and 12
        put(i, e[i, 0], c[i, 1], e[i, 1])
        first = np.linalg.norm(points[e[i, 0]] - points[c[i, 2]], axis=1) <= np.linalg.norm(points[c[i, 0]] - points[e[i, 1]], axis=1)
        for j, short in ((i[first], True), (i[~first], False)):
            if short:
                put(j, c[j, 0], e[j, 0], c[j, 2])
                put(j, e[j, 0], e[j, 1], c[j, 2])
            else:
                put(j, c[j, 0], e[j, 0], e[j, 1])
                put(j, c[j, 0], e[j, 1], c[j, 2])
    return np.concatenate(out), np.concatenate(owner)

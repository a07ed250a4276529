"""A thin sheet inside the electrolyte: an inner surface of the mesh that is opened, so that each side has its own nodes.

The tetrahedra conform to the surface. Round each of its nodes the tetrahedra fall into groups that are joined through faces off the surface: one
group at a rim (both sides meet there), two in the middle of a sheet, more where sheets meet. Every group gets its own copy of the node.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from diewright.errors import SolveError
from diewright.finish.current.tetra import CORNERS, signed_volumes, sorted_faces

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Opened:
    """The mesh after opening. ``origin (n,)``: node of the closed mesh that each node copies; ``upper`` and ``lower (k, 3)``: the nodes of each triangle
    of the surface, in its own order, on the side that its normal points to and on the other."""

    points: Floats
    tetrahedra: Ints
    origin: Ints
    upper: Ints
    lower: Ints


def open_surface(points: Floats, tetrahedra: Ints, triangles: Ints) -> Opened:
    """Open the mesh along ``triangles (k, 3)``, each of which must be a face of two tetrahedra.

    Raises :class:`SolveError` with the number of those that are not.
    """
    n = len(points)
    if (signed_volumes(points, tetrahedra) < 0).any():
        raise SolveError("The tetrahedra of the tank are not turned alike.", help="Mesh again with another edge.")
    on = np.zeros(n, dtype=bool)
    on[triangles.ravel()] = True
    near = np.flatnonzero(on[tetrahedra].any(axis=1))
    tets = tetrahedra[near]
    faces = np.concatenate([tets[:, CORNERS].reshape(-1, 3), triangles])
    order, first, count = sorted_faces(faces)
    inside = 4 * len(tets)
    group = np.repeat(np.arange(len(first)), count)
    mark = np.full(len(first), -1)
    cut = order >= inside
    mark[group[cut]] = order[cut] - inside
    pair = (count == 2) & (mark < 0)
    f, g = order[first[pair]], order[first[pair] + 1]
    slots = _joined(tets, faces, f, g, on)
    label = connected_components(slots, directed=False)[1].reshape(-1, 4)
    used = on[tets]
    keys, number = np.unique(label[used], return_inverse=True)
    owner = np.zeros(len(keys), dtype=np.int64)
    owner[number] = tets[used]
    # the first copy of a node keeps its number, the others come after the old nodes
    by = np.argsort(owner, kind="stable")
    again = np.r_[False, owner[by][1:] == owner[by][:-1]]
    new = np.zeros(len(keys), dtype=np.int64)
    new[by[~again]] = owner[by[~again]]
    new[by[again]] = n + np.arange(int(again.sum()))
    tets = tets.copy()
    tets[used] = new[number]
    out = tetrahedra.copy()
    out[near] = tets
    origin = np.r_[np.arange(n), owner[by[again]]]
    upper, lower = _sides(triangles, faces, tets, order, first, count, mark, inside)
    return Opened(points[origin], out, origin, upper, lower)


def _joined(tets: Ints, faces: Ints, f: Ints, g: Ints, on: NDArray[np.bool_]) -> coo_matrix:
    """Graph of the slots (tetrahedron, corner): two are joined where their tetrahedra share a face off the surface and they hold the same node of it."""
    rows, columns = [], []
    for i in range(3):
        node = faces[f, i]
        keep = on[node]
        s, t = f[keep] // 4, g[keep] // 4
        rows.append(4 * s + np.argmax(tets[s] == node[keep, None], axis=1))
        columns.append(4 * t + np.argmax(tets[t] == node[keep, None], axis=1))
    r, c = np.concatenate(rows), np.concatenate(columns)
    return coo_matrix((np.ones(len(r), dtype=np.int8), (r, c)), shape=(4 * len(tets), 4 * len(tets)))


def _sides(triangles: Ints, faces: Ints, tets: Ints, order: Ints, first: Ints, count: Ints, mark: Ints, inside: int) -> tuple[Ints, Ints]:
    """Nodes of each surface triangle in the tetrahedron on either side; ``tets`` hold the new nodes."""
    upper, lower = np.full(triangles.shape, -1), np.full(triangles.shape, -1)
    cut = np.flatnonzero(mark >= 0)
    sound = cut[count[cut] == 3]
    if len(sound) < len(triangles):
        raise SolveError(
            f"{len(triangles) - len(sound)} of {len(triangles)} triangles of the sheet are not followed by the mesh of the tank.",
            help="State another mesh quality or more distance.",
        )
    for place in range(3):
        face = order[first[sound] + place]
        real = face < inside
        face, k = face[real], mark[sound[real]]
        tet, corner = face // 4, face % 4
        old, now = faces[face], tets[tet[:, None], CORNERS[corner]]
        # bring the nodes into the order of the triangle; a face whose outward normal agrees with the triangle's lies below it
        at = np.argmax(old[:, None, :] == triangles[k][:, :, None], axis=2)
        ordered = np.take_along_axis(now, at, axis=1)
        agrees = (at[:, 1] - at[:, 0]) % 3 == 1
        lower[k[agrees]] = ordered[agrees]
        upper[k[~agrees]] = ordered[~agrees]
    return upper, lower

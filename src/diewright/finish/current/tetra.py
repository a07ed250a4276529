"""Linear tetrahedra: the conductance matrix of the electrolyte and the areas of its boundary triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix

from diewright.errors import SolveError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CORNERS = np.array([[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]])
"""Corners of the face opposite each corner of a tetrahedron, the normal pointing out of it."""


def signed_volumes(points: Floats, tetrahedra: Ints) -> Floats:
    """Volumes ``(m,) [mm3]``, positive where corner 3 lies on the side that the normal of 0, 1, 2 points to."""
    a, b, c, d = (points[tetrahedra[:, i]] for i in range(4))
    return np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a) / 6.0


def conductance(points: Floats, tetrahedra: Ints, conductivity: float) -> csr_matrix:
    """``K_ij = integral of kappa grad N_i . grad N_j`` over linear tetrahedra, ``(n, n) [A/V]``.

    ``points (n, 3) [mm]``, ``tetrahedra (m, 4)``, ``conductivity`` kappa [S/mm]. ``(K phi)_i`` is the current that enters the electrolyte at node i.
    Raises :class:`SolveError` for a tetrahedron without volume.
    """
    a, b, c, d = (points[tetrahedra[:, i]] for i in range(4))
    # six times volume times gradient of each corner's function: inward normals of the opposite faces
    g = np.stack([np.cross(d - b, c - b), np.cross(c - a, d - a), np.cross(d - a, b - a), np.cross(b - a, c - a)], axis=1)
    six = np.einsum("ij,ij->i", g[:, 3], d - a)
    if len(six) == 0 or (np.abs(six) < 1e-14 * np.abs(six).max()).any():
        raise SolveError(
            f"{int((np.abs(six) < 1e-14 * np.abs(six).max(initial=0.0)).sum())} of {len(six)} tetrahedra have no volume.",
            help="Mesh again with another edge.",
        )
    local = np.einsum("mik,mjk->mij", g, g) * (conductivity / (6.0 * np.abs(six)))[:, None, None]
    rows = np.repeat(tetrahedra, 4, axis=1).ravel()
    columns = np.tile(tetrahedra, (1, 4)).ravel()
    return coo_matrix((local.ravel(), (rows, columns)), shape=(len(points), len(points))).tocsr()


def triangle_areas(points: Floats, triangles: Ints) -> Floats:
    """Areas ``(m,) [mm2]``."""
    a, b, c = (points[triangles[:, i]] for i in range(3))
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)


def outer_triangles(tetrahedra: Ints) -> tuple[Ints, Ints]:
    """Triangles that belong to one tetrahedron only ``(b, 3)``, normals out of the electrolyte (for tetrahedra of positive volume), and their tetrahedron ``(b,)``."""
    faces = tetrahedra[:, CORNERS].reshape(-1, 3)
    order, first, count = sorted_faces(faces)
    single = order[first[count == 1]]
    return faces[single], single // 4


def sorted_faces(faces: Ints) -> tuple[Ints, Ints, Ints]:
    """``order`` that brings equal triangles (whatever their turn) together, where each group begins in it, and how many it has."""
    s = np.sort(faces, axis=1)
    order = np.lexsort((s[:, 2], s[:, 1], s[:, 0]))
    s = s[order]
    first = np.flatnonzero(np.r_[True, (s[1:] != s[:-1]).any(axis=1)])
    return order, first, np.diff(np.r_[first, len(order)])

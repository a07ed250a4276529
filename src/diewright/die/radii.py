"""The tightest bends of the drawn surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Bend:
    """Radius of the middle surface [mm] (0 on a sharp edge) and where it is."""

    radius: float
    at: tuple[float, float, float]


def tightest(mesh: TriMesh, normals: Floats, where: Mask, usable: Mask, hollow: bool) -> Bend | None:
    """Least radius among the edges of the triangles ``where (m,)``; None where nothing bends that way.

    ``hollow``: the centre lies on the side of the normals (a punch's nose, normals up), else on the other (a die shoulder). ``usable (n,)`` marks points whose
    normals can be relied on. Along an edge from a to b: ``k = (n_b - n_a).(b - a)/|b - a|^2``, exact on a circle.
    """
    t = mesh.triangles[where]
    edge = np.unique(np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1), axis=0)
    d = mesh.points[edge[:, 1]] - mesh.points[edge[:, 0]]
    square = (d * d).sum(axis=1)
    known = usable[edge].all(axis=1) & (square > 0)
    if not known.any():
        return None
    k = np.einsum("ij,ij->i", normals[edge[known, 1]] - normals[edge[known, 0]], d[known]) / square[known]
    k = -k if hollow else k
    i = int(np.argmax(k))
    if k[i] <= 1e-6:
        return None
    spot = mesh.points[edge[known][i]].mean(axis=0)
    return Bend(1.0 / float(k[i]), (float(spot[0]), float(spot[1]), float(spot[2])))

"""The mesh of a sheet part made coarse enough for a tank of several parts: even triangles, finer along rims."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import TriMesh
from diewright.geometry.remesh import remesh

CHORD = 0.2
"""How far a rim may be cut short, over the edge there."""
LOST = 0.05
"""Share of the area that may be lost before it is refused."""
GROWTH = 0.35


def plating_skin(mesh: TriMesh, edge: float, rim: float) -> TriMesh:
    """The surface with triangles of ``edge`` [mm] on the whole and ``rim`` along its rims; normals as given.

    Points lie on the given triangles, rims on the given rims (within a fifth of ``rim``). Raises :class:`InputError` for a mesh where more than two
    triangles share an edge, :class:`SolveError` when more than a twentieth of the area is lost.
    """
    directed = np.sort(mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, count = np.unique(directed, axis=0, return_counts=True)
    if (count > 2).any():
        raise InputError(
            f"{int((count > 2).sum())} edges of the part belong to three or more triangles.",
            where="part.file",
            help="Mend the shape in CAD.",
        )
    lines = np.sort(mesh.boundary_edges, axis=1)
    if len(lines):
        a, b = mesh.points[lines[:, 0]], mesh.points[lines[:, 1]]
        share = np.linspace(0.0, 1.0, 5)[:, None, None]
        tree = cKDTree((a + share * (b - a)).reshape(-1, 3))

        def wanted(x: np.ndarray) -> np.ndarray:
            return np.minimum(edge, rim + GROWTH * tree.query(x, distance_upper_bound=edge / GROWTH)[0])
    else:

        def wanted(x: np.ndarray) -> np.ndarray:
            return np.full(len(x), edge)

    p, t = remesh(mesh.points, mesh.triangles, lines, wanted, CHORD * rim, rounds=4)
    coarse = TriMesh(p, t)
    if not len(t) or abs(coarse.area - mesh.area) > LOST * mesh.area or (coarse.areas <= 1e-9 * edge**2).any():
        raise SolveError(
            f"The part's surface could not be made coarser: {coarse.area:.5g} of {mesh.area:.5g} mm2 are left with edges of {edge:.3g} mm.",
            where="plating.quality", help="State fine.",
        )  # fmt: skip
    return coarse

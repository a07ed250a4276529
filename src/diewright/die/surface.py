"""The part as the middle surface that the faces are made from: exact normals where CAD gives them, triangles fine enough at radii."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.die.finer import Finer, refined
from diewright.die.parallel import smooth_normals
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


def fine_surface(mesh: TriMesh, exact: Floats | None, chord: float, angle: float) -> Finer:
    """The part's mesh, normals up, split until chords lie within ``chord`` [mm] and turn by ``angle`` [deg] at most.

    ``exact (k, 3)`` unit normals at the first ``k`` points (0 on sharp edges), estimated from the facets at the others. Raises :class:`SolveError` for a part turned
    upside down.
    """
    if float(mesh.doubled_normals[:, 2].sum()) < 0:
        mesh = mesh.reversed()
    guess = smooth_normals(mesh)
    normals = guess.copy()
    if exact is not None:
        k = min(len(exact), len(mesh.points))
        known = exact[:k]
        facing = np.einsum("ij,ij->i", known, guess[:k])
        sharp = np.abs(known).sum(axis=1) == 0
        if (facing[~sharp] < -0.5).mean() > 0.5:
            raise SolveError("the part's normals point away from the punch.", where="faces", help="Work the stage 'tipping' again.")
        normals[:k] = np.where((facing > 0.7)[:, None] | sharp[:, None], known, guess[:k])
    facet = np.einsum("mj,mij->mi", mesh.normals, guess[mesh.triangles])
    if exact is None:
        normals[np.unique(mesh.triangles[facet < np.cos(np.deg2rad(20.0))])] = 0.0
    return refined(mesh, normals, chord, angle)


def whole_normals(finer: Finer) -> Floats:
    """Unit normals at all points ``(n, 3)``: those of :class:`Finer`, and the facets' mean at sharp points."""
    sharp = np.abs(finer.normals).sum(axis=1) == 0
    return np.where(sharp[:, None], smooth_normals(finer.mesh), finer.normals)


def same_loop(mesh: TriMesh, outer: Ints) -> Ints:
    """The boundary loop of the finer ``mesh`` that runs through the point ``outer[0]`` of the given one; raises :class:`SolveError` if there is none."""
    for loop in mesh.boundary_loops:
        if np.isin(outer, loop).all():
            return loop
    raise SolveError("the part's edge is not an edge of its mesh.", where="faces", help="Work the stage 'solution' again.")

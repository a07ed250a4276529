"""What a part mesh must be before it can be unfolded: one piece of sheet with an edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

FLATTEST = 1e-7
"""Least height of a triangle over its longest edge; below it the triangle counts as degenerate."""


@dataclass(frozen=True)
class Sheet:
    """A checked part mesh, triangles turned so that most of the sheet faces up.

    ``used (n,)``: the given point of each kept point; ``boundary (b, 2)``: directed free edges; ``owner (b,)``: their triangles.
    """

    points: Floats
    triangles: Ints
    used: NDArray[np.int64]
    boundary: Ints
    owner: NDArray[np.int64]
    loops: tuple[Ints, ...]


def _place(points: Floats, triangle: NDArray[np.int32]) -> str:
    x, y, z = points[triangle].mean(axis=0)
    return f"at ({x:.1f}, {y:.1f}, {z:.1f}) mm"


def checked_sheet(points: ArrayLike, triangles: ArrayLike) -> Sheet:
    """Check points ``(n, 3) [mm]`` and triangles ``(m, 3)``.

    Raises :class:`InputError` for coordinates that are not finite, indices out of range, degenerate triangles, and
    :class:`SolveError` for several pieces, closed surfaces, edges of three triangles, one-sided strips and handles.
    """
    p = np.asarray(points, dtype=float)
    t = np.asarray(triangles)
    if p.ndim != 2 or p.shape[1] != 3:
        raise InputError(f"The points have shape {p.shape}; expected (n, 3).", where="points")
    if t.ndim != 2 or t.shape[1] != 3 or len(t) == 0:
        raise InputError(f"The triangles have shape {t.shape}; expected (m, 3) with m of one or more.", where="triangles")
    mesh = TriMesh(p, t)
    used, inverse = np.unique(mesh.triangles, return_inverse=True)
    p, t = mesh.points[used], inverse.reshape(-1, 3).astype(np.int32)
    edges = p[t[:, [1, 2, 0]]] - p[t]
    longest = np.linalg.norm(edges, axis=2).max(axis=1)
    doubled = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    bad = np.flatnonzero(~(doubled > FLATTEST * longest**2))
    if len(bad):
        raise InputError(
            f"The part mesh has {len(bad)} triangle{'s' if len(bad) > 1 else ''} without area, the first {_place(p, t[bad[0]])}.",
            where="triangles",
            help="Mesh the part again or clean the surface there.",
        )
    mesh = TriMesh(p, t)
    pieces = int(mesh.components.max()) + 1
    if pieces > 1:
        areas = np.bincount(mesh.components, mesh.areas)
        raise SolveError(
            f"The part is in {pieces} pieces (areas {', '.join(f'{a:.0f}' for a in sorted(areas, reverse=True)[:4])} mm2); a blank can be developed for one piece of sheet.",
            help="Join the faces or leave one body.",
        )
    t = _oriented(p, t)
    mesh = TriMesh(p, t)
    if len(mesh.boundary_edges) == 0:
        raise SolveError(
            "The part is a closed surface, with no edge to lie flat.",
            help="Give one skin of the sheet, or a solid sheet whose skin can be chosen.",
        )
    loops = mesh.boundary_loops
    if sum(len(ring) for ring in loops) != len(np.unique(mesh.boundary_edges)):
        raise SolveError(
            "The part mesh has points where only the tips of triangles touch; the sheet has no width there.",
            help="Join or part the faces there.",
        )
    euler = len(p) - len(mesh.edges) + len(t)
    if euler != 2 - len(loops):
        raise SolveError(
            "The part has a handle (a tunnel through the sheet); no flat blank can be folded into it.",
            help="Check the surface for bridges.",
        )
    if mesh.doubled_normals[:, 2].sum() < 0:
        t = t[:, ::-1].copy()
        mesh = TriMesh(p, t)
        loops = mesh.boundary_loops
    directed = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]).astype(np.int64)
    n = len(p)
    key = directed[:, 0] * n + directed[:, 1]
    boundary = mesh.boundary_edges
    order = np.argsort(key)
    owner = order[np.searchsorted(key[order], boundary[:, 0].astype(np.int64) * n + boundary[:, 1])] % len(t)
    return Sheet(p, t, used.astype(np.int64), boundary, owner, loops)


def _oriented(points: Floats, triangles: Ints) -> Ints:
    """The triangles with one sense of rotation throughout."""
    n = len(points)
    directed = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).astype(np.int64)
    _, count = np.unique(np.sort(directed, axis=1) @ [n, 1], return_counts=True)
    if count.max() > 2:
        raise SolveError(
            f"The part mesh has {int((count > 2).sum())} edges where three or more triangles meet.",
            help="A sheet has one skin: remove ribs and inner walls.",
        )
    key = directed @ [n, 1]
    if len(np.unique(key)) == len(key):
        return triangles
    import igl

    turned = np.asarray(igl.bfs_orient(triangles.astype(np.int64))[0], dtype=np.int32)
    directed = np.concatenate([turned[:, [0, 1]], turned[:, [1, 2]], turned[:, [2, 0]]]).astype(np.int64)
    if len(np.unique(directed @ [n, 1])) != len(directed):
        raise SolveError("The part is a one-sided strip; no flat blank can be folded into it.", help="Check the surface for twists.")
    return turned

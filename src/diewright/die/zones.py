"""Which part of the drawn surface belongs to the blankholder, to the die radius and to the punch."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from diewright.die.extend import FLANGE, PLANE, TURN, Drawn
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

HELD = math.radians(6.0)
"""How much steeper than at its edge a flange may be where the blankholder presses on it."""
SHOULDER = 30.0
"""Largest radius of a die shoulder in sheet thicknesses: what is bent less is wall."""
POCKET = 0.1
"""Least area of a further pocket over the largest one's, and a quarter of its depth: what is smaller and apart is no punch of its own."""


@dataclass(frozen=True)
class Zones:
    """Masks over the triangles of the drawn surface ``(m,)``: ``held`` under the blankholder, ``shoulder`` over the die radius, ``punched`` on the punch."""

    held: Mask
    shoulder: Mask
    punched: Mask


def split(drawn: Drawn, thickness: float) -> Zones:
    """Zones of the drawn surface.

    The blankholder takes its own surface, what was led on from a flange, and of the part what joins that without bending down more tightly than 30 thicknesses, within
    6 degrees of the slope at the edge and a quarter of the depth of the surface's height; slopes are those against the blankholder surface there. The die shoulder is the die
    radius led out, or what follows inwards while the surface does bend that tightly. All else is the punch's, in as many pieces as there are pockets. Raises :class:`SolveError` if nothing is left for it.
    """
    mesh = drawn.mesh
    plan = mesh.centroids[:, :2]
    up, off = drawn.holder.normal(plan), mesh.centroids[:, 2] - drawn.holder.height(plan)
    slope = np.arccos(np.clip(np.einsum("ij,ij->i", mesh.normals, up), -1.0, 1.0))
    high = np.abs(off) <= max(2.0 * thickness, -0.25 * float(off.min()))
    bend = downhill_curvature(mesh, drawn.normals, up)
    tight = bend > 1.0 / (SHOULDER * thickness)
    held = flood(mesh, (drawn.kind == PLANE) | (drawn.kind == FLANGE), (slope <= drawn.flange_slope + HELD) & high & ~tight)
    shoulder = flood(mesh, held, (tight | (drawn.kind == TURN)) & ~held) & ~held
    rest = ~held & ~shoulder
    if not rest.any():
        raise SolveError(
            "the part is level nearly everywhere: there is no wall to draw, so no punch can be made.", where="faces",
            help="Choose another press direction, or give the faces as files.",
        )  # fmt: skip
    punched = pockets(mesh, rest, off)
    return Zones(held, ~held & ~punched, punched)


def flood(mesh: TriMesh, seeds: Mask, may: Mask) -> Mask:
    """Triangles reached from ``seeds`` over shared edges through triangles that ``may`` be taken; the seeds are included."""
    graph = _neighbours(mesh)
    taken = seeds | may
    inner = taken[graph.row] & taken[graph.col]
    m = len(mesh.triangles)
    _, label = connected_components(
        coo_matrix((np.ones(int(inner.sum())), (graph.row[inner], graph.col[inner])), shape=(m, m)), directed=False
    )
    return taken & np.isin(label, np.unique(label[seeds]))


def pockets(mesh: TriMesh, mask: Mask, off: Floats) -> Mask:
    """The pieces of ``mask``, joined over shared edges, with a tenth of the largest one's area at least and a quarter of its depth below the blankholder (heights ``off (m,)`` against it)."""
    graph = _neighbours(mesh)
    inner = mask[graph.row] & mask[graph.col]
    m = len(mesh.triangles)
    _, label = connected_components(
        coo_matrix((np.ones(int(inner.sum())), (graph.row[inner], graph.col[inner])), shape=(m, m)), directed=False
    )
    area = np.bincount(label, weights=np.where(mask, mesh.areas, 0.0))
    deep = np.zeros(len(area))
    np.maximum.at(deep, label[mask], -off[mask])
    first = int(np.argmax(area))
    return mask & ((area >= POCKET * area[first]) & (deep >= 0.25 * deep[first]))[label]


def _neighbours(mesh: TriMesh) -> coo_matrix:
    t, m = mesh.triangles, len(mesh.triangles)
    edge = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(m), 3)
    order = np.lexsort((edge[:, 1], edge[:, 0]))
    twin = np.flatnonzero((edge[order[1:]] == edge[order[:-1]]).all(axis=1))
    return coo_matrix((np.ones(len(twin)), (owner[order[twin]], owner[order[twin + 1]])), shape=(m, m))


def downhill_curvature(mesh: TriMesh, normals: Floats, up: Floats) -> Floats:
    """Normal curvature of each triangle in its steepest direction down from ``up (m, 3)`` [1/mm], positive where the surface bends down (a shoulder); 0 where square to it.

    With the unit normals ``n`` at the corners, linear between them, and the downhill direction ``g``: ``k = d(n . g)/dg``.
    """
    face = mesh.normals
    g = np.einsum("ij,ij->i", up, face)[:, None] * face - up
    length = np.linalg.norm(g, axis=1)
    g /= np.maximum(length, 1e-12)[:, None]
    corner = mesh.points[mesh.triangles]
    value = np.einsum("mij,mj->mi", normals[mesh.triangles], g)
    total = np.zeros(len(face))
    for i in range(3):
        opposite = corner[:, (i + 2) % 3] - corner[:, (i + 1) % 3]
        gradient = np.cross(face, opposite) / np.maximum(2.0 * mesh.areas, 1e-12)[:, None]
        total += value[:, i] * np.einsum("ij,ij->i", gradient, g)
    return np.where(length > 1e-3, total, 0.0)

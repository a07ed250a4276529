"""A mesh by its CAD faces: connected pieces, how tightly each is bent, and what hangs on what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Pieces:
    """``label (m,)`` of the piece of each triangle; ``area`` [mm2] and mean bend ``radius`` [mm] of each piece; pairs ``(k, 2)`` of triangles that share an edge."""

    label: Ints
    area: Floats
    radius: Floats
    pairs: Ints


def pieces_of(mesh: TriMesh, face: NDArray[np.integer]) -> Pieces:
    """Pieces: triangles of one CAD ``face (m,)`` joined over edges.

    Mean bend radius ``r = A / sum(theta l)`` over the piece's edges of length ``l`` that turn by ``theta`` [rad]; edges to a neighbour count half. Exact up to
    the chords for a bend of one radius: ``A = L r beta``, ``sum(theta l) = L beta``.
    """
    pairs, ends = _neighbours(mesh)
    face = np.asarray(face)
    same = face[pairs[:, 0]] == face[pairs[:, 1]]
    label = _joined(len(face), pairs[same])
    n = mesh.normals
    turn = np.arctan2(
        np.linalg.norm(np.cross(n[pairs[:, 0]], n[pairs[:, 1]]), axis=1), np.einsum("ij,ij->i", n[pairs[:, 0]], n[pairs[:, 1]])
    )
    bent = 0.5 * turn * np.linalg.norm(mesh.points[ends[:, 0]] - mesh.points[ends[:, 1]], axis=1)
    count = int(label.max()) + 1 if len(label) else 0
    total = np.bincount(label[pairs[:, 0]], bent, count) + np.bincount(label[pairs[:, 1]], bent, count)
    area = np.bincount(label, mesh.areas, count).astype(np.float64)
    return Pieces(label, area, area / np.maximum(total, 1e-12), pairs)


def parts_of(pieces: Pieces, kept: Mask) -> Ints:
    """Number of the connected part of each triangle ``kept (m,)``, joined over edges; -1 elsewhere."""
    inside = pieces.pairs[kept[pieces.pairs].all(axis=1)]
    label = _joined(len(kept), inside)
    return np.where(kept, label, -1)


def touching(pieces: Pieces, a: Mask, b: Mask) -> Ints:
    """Pairs ``(k, 2)`` of triangles of ``a`` and of ``b`` that share an edge."""
    p = pieces.pairs
    return np.concatenate([p[a[p[:, 0]] & b[p[:, 1]]], p[a[p[:, 1]] & b[p[:, 0]]][:, ::-1]])


def _joined(count: int, pairs: Ints) -> Ints:
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _neighbours(mesh: TriMesh) -> tuple[Ints, Ints]:
    """Pairs of triangles over inner edges ``(k, 2)`` and the ends of those edges ``(k, 2)``."""
    t = mesh.triangles.astype(np.int64)
    ends = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(t)), 3)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    twin = np.flatnonzero((ends[order[1:]] == ends[order[:-1]]).all(axis=1))
    return np.stack([owner[order[twin]], owner[order[twin + 1]]], axis=1), ends[order[twin]]

"""Loose sheet: flat visible areas that have hardly been stretched, so that they drum, dent and show marks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

MAJOR, MINOR = 0.02, 0.005
"""True strains below which sheet counts as loose: at least 2 % of stretch one way is common practice for panels (or 3 % of thinning, which is the looser rule)."""
THINNING = 3.0
"""Thinning [%] from which sheet is firm whatever its strains (common practice)."""
LEAST = 100.0
"""Smallest region that counts, in thicknesses squared: a coin's worth."""


@dataclass(frozen=True, eq=False)
class Loose:
    """One loose region: its triangles (least stretched first), area [mm2], area-weighted mean of the major strain, share of the faces looked at."""

    cells: NDArray[np.intp]
    area: float
    major: float
    share: float


def flat_faces(mesh: TriMesh, radius: float) -> NDArray[np.bool_]:
    """Triangles (m,) that are curved less than 1/``radius`` [mm] towards every neighbour: turn of the normals over the distance of the middles."""
    a, b = _neighbours(mesh.triangles)
    turn = np.arccos(np.clip((mesh.normals[a] * mesh.normals[b]).sum(1), -1.0, 1.0))
    curved = turn > np.linalg.norm(mesh.centroids[a] - mesh.centroids[b], axis=1) / radius
    flat = np.ones(len(mesh.triangles), dtype=np.bool_)
    flat[a[curved]] = flat[b[curved]] = False
    return flat


def loose_regions(mesh: TriMesh, major: Floats, minor: Floats, faces: NDArray[np.bool_], thickness: float) -> list[Loose]:
    """Connected loose regions within ``faces`` (m,), largest first.

    Loose: ``major < 0.02`` and ``minor < 0.005`` and less than 3 % thinner (``thinning = 1 - exp(-major - minor)``). Regions smaller than 100 thicknesses squared are left out.
    """
    thinning = 100.0 * (1.0 - np.exp(-np.maximum(major + minor, 0.0)))
    cells = np.flatnonzero(faces & (major < MAJOR) & (minor < MINOR) & (thinning < THINNING))
    if not len(cells):
        return []
    number = np.full(len(mesh.triangles), -1)
    number[cells] = np.arange(len(cells))
    a, b = _neighbours(mesh.triangles)
    both = (number[a] >= 0) & (number[b] >= 0)
    graph = coo_matrix((np.ones(int(both.sum())), (number[a[both]], number[b[both]])), shape=(len(cells), len(cells)))
    count, label = connected_components(graph, directed=False)
    area = np.bincount(label, weights=mesh.areas[cells], minlength=count)
    looked = float(mesh.areas[faces].sum())
    out = []
    for k in np.argsort(-area, kind="stable"):
        if area[k] < LEAST * thickness**2:
            break
        own = cells[label == k]
        own = own[np.argsort(major[own], kind="stable")]
        out.append(Loose(own, float(area[k]), float((major[own] * mesh.areas[own]).sum() / area[k]), float(area[k]) / looked))
    return out


def _neighbours(triangles: NDArray[np.integer]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of triangles that share an edge."""
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(triangles)), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    same = (edges[order][1:] == edges[order][:-1]).all(axis=1)
    return owner[order[:-1][same]], owner[order[1:][same]]

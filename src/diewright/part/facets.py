"""From the triangles of an STL file to one skin with a mesh that is fit for computing; runs in the child process only.

STL triangles follow the chord error alone and are long and thin. The skin is therefore meshed anew over its own triangles, its rims and
creases kept, with the same size control as CAD faces; curvature is fitted to the new mesh. If that fails, the file's triangles are used and the audit says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from diewright.errors import SolveError
from diewright.geometry.remesh import remesh
from diewright.part.audit import UNIT_MM, Audit
from diewright.part.meshing import Field, Meshed, Sizes, choose, filled, oriented, refuse_too_many
from diewright.part.reading import assemble, check_size, choose_skin, note_skins
from diewright.part.skins import find_skins
from diewright.part.stl import cleaned, read_corners

CREASE_DEG = 35.0
"""Edges where neighbouring triangles differ by more than this bound the patches."""
DRIFT = 0.005
"""A new mesh whose area differs by more than this share from the file's is not used."""


def read_facets(
    request: dict[str, Any], audit: Audit, progress: Callable[[str, float], None]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Values and arrays as for CAD files."""
    progress("reading the file", 0.1)
    unit = request["unit"]
    corners = read_corners(Path(request["path"])) * UNIT_MM[unit]
    flat = corners.reshape(-1, 3)
    box = (flat.min(axis=0).tolist(), flat.max(axis=0).tolist())
    check_size(box, unit)
    progress("checking the triangles", 0.25)
    points, triangles = cleaned(corners, audit)
    _, pair, free = _adjacent(triangles)
    closed = free == 0
    kind, skins = "mesh", None
    patch = _patches(points, triangles, pair)
    if closed:
        progress("finding the skins", 0.45)
        a, b, c = (points[triangles[:, i]] for i in range(3))
        if np.einsum("ij,ij->i", a, np.cross(b, c)).sum() < 0:
            triangles = triangles[:, ::-1]
            audit.add("repaired", "the body was inside out: its triangles are turned")
        near = np.unique(np.sort(patch[pair], axis=1), axis=0)
        skins = find_skins(points, triangles, patch, [(int(f), int(g)) for f, g in near if f != g])
        side, used, why, up = choose_skin(skins, points, triangles, patch, request)
        note_skins(skins, audit)
        kind = "solid sheet"
        mine = skins.side[patch] == side
        keep, new = np.unique(triangles[mine], return_inverse=True)
        points, triangles = points[keep], new.reshape(-1, 3)
        _, pair, free = _adjacent(triangles)
        patch = _patches(points, triangles, pair)
    else:
        used, why, up = "as drawn", "the file holds one surface without thickness; it is taken as the middle of the sheet", None
        audit.add("note", "one surface without thickness: taken as the middle of the sheet")
    progress("meshing", 0.6)
    area = float(np.linalg.norm(_doubled(points, triangles), axis=1).sum() / 2)
    stated = Sizes(request["target_edge"], request["chord_error"], request["min_edge"])
    mesh = _remeshed(points, triangles, area, stated, audit)
    progress("checking the mesh", 0.95)
    return assemble(
        mesh, mesh.face + 1, skins.thickness if skins and used == "middle" else 0.0, audit,
        {"format": "stl", "unit": unit, "unit_source": "job", "kind": kind, "skin": f"{used}: {why}", "skin_used": used, "skin_up": up,
         "thickness_found": skins.thickness if skins else None, "thickness_range": [skins.low, skins.high] if skins else None, "bodies": 1,
         "faces": int(patch.max()) + 1, "skin_faces": int(mesh.face.max()) + 1, "skin_area": area, "bbox": list(box)},
    )  # fmt: skip


def _doubled(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    return np.cross(b - a, c - a)


def _unit(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    doubled = _doubled(points, triangles)
    return doubled / np.maximum(np.linalg.norm(doubled, axis=1, keepdims=True), 1e-300)


def _adjacent(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray, int]:
    """Inner edges ``(k, 2)``, the two triangles at each ``(k, 2)``, and the number of free edges."""
    m = len(triangles)
    edge = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(m), 3)
    order = np.lexsort((edge[:, 1], edge[:, 0]))
    twin = np.flatnonzero((edge[order[1:]] == edge[order[:-1]]).all(axis=1))
    pair = np.c_[owner[order[twin]], owner[order[twin + 1]]]
    return edge[order[twin]], pair, 3 * m - 2 * len(twin)


def _patches(points: np.ndarray, triangles: np.ndarray, pair: np.ndarray) -> np.ndarray:
    """Number of the smooth patch of each triangle ``(m,)`` from 0."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    normal = _unit(points, triangles)
    smooth = np.einsum("ij,ij->i", normal[pair[:, 0]], normal[pair[:, 1]]) > math.cos(math.radians(CREASE_DEG))
    m = len(triangles)
    graph = coo_matrix((np.ones(int(smooth.sum())), (pair[smooth, 0], pair[smooth, 1])), shape=(m, m))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _remeshed(points: np.ndarray, triangles: np.ndarray, area: float, stated: Sizes, audit: Audit) -> Meshed:
    try:
        mesh = _anew(points, triangles, area, stated)
    except (SolveError, ValueError, IndexError, FloatingPointError) as error:
        audit.add("left", f"the triangles of the file are used as they are: meshing them anew failed ({str(error)[:80]})")
        return _described(points, triangles, filled(stated.target or math.sqrt(area / 5000), stated))
    audit.add("note", f"the file's {len(triangles)} triangles were replaced by {len(mesh.triangles)} of even shape over the same surface")
    return mesh


def _anew(points: np.ndarray, triangles: np.ndarray, area: float, stated: Sizes) -> Meshed:
    """Two passes as for CAD: an even mesh to see the curvature, then the mesh with sizes that follow it."""
    from scipy.spatial import cKDTree

    if stated.target:
        refuse_too_many(area / (0.433 * stated.target**2), stated.target)
    lines = _lines(points, triangles)
    even = stated.target or math.sqrt(area / 4000)
    first = filled(even, stated)
    p, t = remesh(points, triangles, lines, lambda x: np.full(len(x), even), first.chord, rounds=4)
    _compare(p, t, area)
    seen = _described(p, t, first)
    share = np.zeros(len(p))
    third = np.linalg.norm(_doubled(p, t), axis=1) / 6
    for i in range(3):
        np.add.at(share, t[:, i], third)
    field = Field(p, 1 / np.maximum(np.abs(seen.curvature), 1e-9), share)
    sizes = choose(field, area, stated)
    edge, tree = field.sizes(sizes), cKDTree(p)
    p, t = remesh(points, triangles, lines, lambda x: edge[tree.query(x)[1]], sizes.chord)
    _compare(p, t, area)
    return _described(p, t, sizes)


def _compare(points: np.ndarray, triangles: np.ndarray, area: float) -> None:
    found = float(np.linalg.norm(_doubled(points, triangles), axis=1).sum() / 2)
    if abs(found / area - 1) > DRIFT:
        raise SolveError(f"area {found:.5g} instead of {area:.5g} mm2")
    oriented(triangles, len(points))


def _lines(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Rim and crease edges ``(k, 2)``."""
    edge, pair, _ = _adjacent(triangles)
    normal = _unit(points, triangles)
    crease = edge[np.einsum("ij,ij->i", normal[pair[:, 0]], normal[pair[:, 1]]) < math.cos(math.radians(CREASE_DEG))]
    every = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    found, count = np.unique(every, axis=0, return_counts=True)
    return np.concatenate([crease, found[count == 1]])


def _described(points: np.ndarray, triangles: np.ndarray, sizes: Sizes) -> Meshed:
    """Patches, creases, fitted curvature and quality of a mesh without CAD behind it."""
    from igl import principal_curvature

    edge, pair, _ = _adjacent(triangles)
    patch = _patches(points, triangles, pair)
    crease = edge[patch[pair[:, 0]] != patch[pair[:, 1]]]
    sharp = np.zeros(len(points), dtype=np.int8)
    sharp[crease.ravel()] = 1
    every = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    found, count = np.unique(every, axis=0, return_counts=True)
    rim = found[count == 1]
    _, _, high, low, _ = principal_curvature(points, triangles.astype(np.int64), radius=3, useKring=True)
    # igl counts a surface curved away from its normal as positive
    k = -np.where(np.abs(high) > np.abs(low), high, low)
    k[sharp > 0] = 0.0
    k[rim.ravel()] = 0.0
    k = _median_over_neighbours(np.nan_to_num(k, nan=0.0, posinf=0.0, neginf=0.0), found, len(points))
    normal = np.zeros((len(points), 3))
    for i in range(3):
        np.add.at(normal, triangles[:, i], _doubled(points, triangles))
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    normal[sharp > 0] = 0.0
    return Meshed(points, triangles, patch, k, np.concatenate([crease, rim]), sharp, normal, inverse_condition(points, triangles), sizes)


def _median_over_neighbours(k: np.ndarray, edge: np.ndarray, n: int) -> np.ndarray:
    both = np.concatenate([edge, edge[:, ::-1], np.repeat(np.arange(n)[:, None], 2, axis=1)])
    order = np.lexsort((k[both[:, 1]], both[:, 0]))
    start = np.searchsorted(both[order, 0], np.arange(n))
    size = np.bincount(both[:, 0], minlength=n)
    return k[both[order[start + size // 2], 1]]


def inverse_condition(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """``4 sqrt(3) A / (a^2 + b^2 + c^2)``: the inverse condition number of a triangle against the equilateral one, 1 best, 0 flat."""
    a, b, c = (points[triangles[:, i]] for i in range(3))
    squares = ((b - a) ** 2).sum(axis=1) + ((c - b) ** 2).sum(axis=1) + ((a - c) ** 2).sum(axis=1)
    return 2 * math.sqrt(3) * np.linalg.norm(np.cross(b - a, c - a), axis=1) / np.maximum(squares, 1e-300)

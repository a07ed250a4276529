"""CAD faces to one conforming triangle mesh whose size follows curvature; runs in the child process only.

Two passes. The first, even and coarse, samples the faces: at its points the surfaces and the edges tell their curvature. The wanted edge
there is ``h = min(target, sqrt(8 R c), 0.45 R)`` with the least radius ``R`` and the chord error ``c`` (the sagitta of a chord ``h`` on radius ``R`` is
``h^2 / 8 R``), not below the minimum edge, and grows away from small features by at most 0.4 per unit of length. The second
pass meshes with that field. Points on edges shared by faces are shared by the triangles; a seam of a closed surface is no cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from diewright.errors import InputError, SolveError

TRIANGLES_WANTED = 12_000
"""Triangles aimed at when the job leaves the sizes to us."""
TRIANGLES_AUTO = 30_000
"""Triangles not exceeded when the job leaves the sizes to us: small radii are then meshed a little coarser, and the audit says so."""
TRIANGLES_MOST = 400_000
"""Triangles not exceeded whatever the job states."""
GROWTH = 0.4
ANGLE = 0.45
"""Edge over radius at most: about 26 degrees of arc, three to four edges over a quarter round."""
FEATURE_DEG = 10.0
"""Edges where the exact normals of the two faces differ by more than this are sharp."""


@dataclass(frozen=True)
class Sizes:
    """Target edge, chord error, minimum edge [mm]; ``angle`` is the edge over the radius at most."""

    target: float
    chord: float
    least: float
    angle: float = ANGLE


@dataclass
class Meshed:
    """``face`` from 0 in the order of the faces given; ``curvature`` signed, greatest in size, positive where the centre lies on the side of
    the normal [1/mm]; ``edges`` pairs of points along CAD edges; ``sharp (n,)`` 1 where faces meet at an angle;
    ``normal (n, 3)`` exact unit normals, 0 where faces meet sharply.
    """

    points: np.ndarray
    triangles: np.ndarray
    face: np.ndarray
    curvature: np.ndarray
    edges: np.ndarray
    sharp: np.ndarray
    normal: np.ndarray
    quality: np.ndarray
    sizes: Sizes


def mesh_faces(brep: str, area: float, stated: Sizes) -> Meshed:
    """Mesh the faces of a BREP file; ``area`` [mm2] is theirs, ``stated`` holds 0 for sizes left to us."""
    import gmsh

    if stated.target:
        refuse_too_many(area / (0.433 * stated.target**2), stated.target)
    gmsh.initialize(interruptible=False)
    try:
        mesh_settings(gmsh, stated.target or math.sqrt(area / 3000))
        gmsh.model.occ.importShapes(brep)
        gmsh.model.occ.synchronize()
        _generate(gmsh)
        field = Field(*_radii(gmsh))
        sizes = choose(field, area, stated)
        gmsh.option.setNumber("Mesh.MeshSizeMin", sizes.least)
        gmsh.option.setNumber("Mesh.MeshSizeMax", sizes.target)
        set_field(gmsh, field.where, field.sizes(sizes))
        gmsh.model.mesh.clear()
        _generate(gmsh)
        return _collect(gmsh, sizes)
    except (InputError, SolveError):
        raise
    except Exception as error:  # noqa: BLE001 - the mesher raises plain Exception
        raise SolveError(
            f"the mesher gave up: {error}.", where="part.file", help="Try another part.target_edge, or mend the faces in CAD."
        ) from None
    finally:
        gmsh.finalize()


def _generate(gmsh: Any) -> None:
    """Mesh; faces that algorithm 6 cannot do are tried with algorithm 5, then 1."""
    failed = ""
    for algorithm in (6, 5, 1):
        gmsh.option.setNumber("Mesh.Algorithm", algorithm)
        try:
            gmsh.model.mesh.generate(2)
        except Exception as error:  # noqa: BLE001 - plain Exception again
            failed = str(error)
            gmsh.model.mesh.clear()
            continue
        empty = [tag for _, tag in gmsh.model.getEntities(2) if len(gmsh.model.mesh.getElementsByType(2, tag)[0]) == 0]
        if not empty:
            gmsh.option.setNumber("Mesh.Algorithm", 6)
            return
        failed = f"face {empty[0]} stays empty"
        gmsh.model.mesh.clear()
    raise SolveError(
        f"the shape could not be meshed ({failed}).", where="part.file", help="Mend this face in CAD, or state another part.target_edge."
    )


def _radii(gmsh: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sample points, the least radius there, and the share of the area each stands for (0 for points of edges)."""
    where, radius, share = [], [], []
    for _, tag in gmsh.model.getEntities(2):
        nodes, x, uv = gmsh.model.mesh.getNodes(2, tag, includeBoundary=True, returnParametricCoord=True)
        high, low, _, _ = gmsh.model.getPrincipalCurvatures(tag, uv)
        k = np.nan_to_num(np.maximum(np.abs(high), np.abs(low)), nan=0.0, posinf=1e6)
        points = x.reshape(-1, 3)
        index = {int(n): i for i, n in enumerate(nodes)}
        corner = np.array([index[int(n)] for n in gmsh.model.mesh.getElementsByType(2, tag)[1]]).reshape(-1, 3)
        a, b, c = (points[corner[:, i]] for i in range(3))
        third = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 6
        weight = np.zeros(len(points))
        for i in range(3):
            np.add.at(weight, corner[:, i], third)
        where.append(points)
        radius.append(1 / np.maximum(k, 1e-9))
        share.append(weight)
    for _, tag in gmsh.model.getEntities(1):
        _, x, t = gmsh.model.mesh.getNodes(1, tag, includeBoundary=True, returnParametricCoord=True)
        if len(t) < 2:
            continue
        k = np.nan_to_num(np.abs(gmsh.model.getCurvature(1, tag, t)), nan=0.0, posinf=1e6)
        where.append(x.reshape(-1, 3))
        radius.append(1 / np.maximum(k, 1e-9))
        share.append(np.zeros(len(k)))
    return np.concatenate(where), np.concatenate(radius), np.concatenate(share)


def _wanted(radius: np.ndarray, sizes: Sizes) -> np.ndarray:
    return np.clip(np.minimum(np.sqrt(8 * radius * sizes.chord), sizes.angle * radius), sizes.least, sizes.target)


def filled(target: float, stated: Sizes, angle: float = ANGLE) -> Sizes:
    """Complete the sizes around a target edge: chord a fiftieth of it, minimum an eighth."""
    chord = stated.chord or min(max(target / 50, 0.005), 0.25)
    return Sizes(target, chord * (angle / ANGLE if not stated.chord else 1.0), min(stated.least or target / 8, target), angle)


def refuse_too_many(count: float, target: float) -> None:
    """Raise :class:`InputError` if a stated target edge would give more triangles than anyone can use."""
    if count > TRIANGLES_MOST:
        raise InputError(
            f"a target edge of {target:g} mm gives about {count:.0f} triangles; the limit is {TRIANGLES_MOST}.",
            where="part.target_edge", help="State a longer edge, or 0 to have it chosen.",
        )  # fmt: skip


class Field:
    """The wanted edge over the sample points, its growth limited: ``h(p) <= h(q) + GROWTH |p - q|`` for near ``q``."""

    def __init__(self, where: np.ndarray, radius: np.ndarray, share: np.ndarray) -> None:
        from scipy.spatial import cKDTree

        self.where, self.radius, self.share = where, radius, share
        _, near = cKDTree(where).query(where, k=min(12, len(where)))
        self.near = near.reshape(len(where), -1)
        self.away = GROWTH * np.linalg.norm(where[self.near] - where[:, None], axis=2)

    def sizes(self, sizes: Sizes) -> np.ndarray:
        wanted = _wanted(self.radius, sizes)
        for _ in range(40):
            better = np.minimum(wanted, (wanted[self.near] + self.away).min(axis=1))
            if np.allclose(better, wanted, rtol=5e-3):
                break
            wanted = better
        return wanted

    def count(self, sizes: Sizes) -> float:
        """Triangles to expect: an equilateral triangle of edge h has the area 0.433 h^2; the factor is measured on drawn parts."""
        return 1.1 * float((self.share / (0.433 * self.sizes(sizes) ** 2)).sum())


def choose(field: Field, area: float, stated: Sizes) -> Sizes:
    """The sizes to use: stated ones as they are, a target left open so that the mesh has about :data:`TRIANGLES_WANTED` triangles."""
    if stated.target:
        sizes = filled(stated.target, stated)
        refuse_too_many(field.count(sizes), stated.target)
        return sizes
    low, high = math.sqrt(area / 50_000), math.sqrt(area / 2_000)
    for _ in range(10):
        middle = math.sqrt(low * high)
        if field.count(filled(middle, stated)) > TRIANGLES_WANTED:
            low = middle
        else:
            high = middle
    target = float(f"{high:.3g}")
    for angle in (ANGLE, 0.6, 0.8, 1.0):
        sizes = filled(target, stated, angle)
        if field.count(sizes) < TRIANGLES_AUTO:
            break
    return sizes


def mesh_settings(gmsh: Any, most: float) -> None:
    """Quiet, one thread, algorithm 6, sizes from our field only."""
    gmsh.option.setNumber("General.Terminal", 0)
    gmsh.option.setNumber("General.NumThreads", 1)
    for name in ("MeshSizeFromPoints", "MeshSizeExtendFromBoundary", "MeshSizeFromCurvature"):
        gmsh.option.setNumber(f"Mesh.{name}", 0)
    gmsh.option.setNumber("Mesh.Algorithm", 6)
    gmsh.option.setNumber("Mesh.Smoothing", 5)
    gmsh.option.setNumber("Mesh.MeshSizeMax", most)


def set_field(gmsh: Any, where: np.ndarray, wanted: np.ndarray) -> None:
    """Make ``wanted (n,)`` [mm] at points ``where (n, 3)`` the size field; between them the nearest point counts."""
    view = gmsh.view.add("size")
    gmsh.view.addListData(view, "SP", len(where), np.c_[where, wanted].ravel().tolist())
    field = gmsh.model.mesh.field.add("PostView")
    gmsh.model.mesh.field.setNumber(field, "ViewTag", view)
    gmsh.model.mesh.field.setNumber(field, "UseClosest", 1)
    gmsh.model.mesh.field.setAsBackgroundMesh(field)


def _collect(gmsh: Any, sizes: Sizes) -> Meshed:
    tags, coordinates, _ = gmsh.model.mesh.getNodes()
    position = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    position[tags] = np.arange(len(tags))
    points = coordinates.reshape(-1, 3)
    triangles, face, quality = [], [], []
    for _, tag in gmsh.model.getEntities(2):
        elements, corners = gmsh.model.mesh.getElementsByType(2, tag)
        triangles.append(position[corners].reshape(-1, 3))
        face.append(np.full(len(elements), tag - 1))
        quality.append(np.array(gmsh.model.mesh.getElementQualities(elements, "minSICN")))
    corner, owner = np.concatenate(triangles), np.concatenate(face)
    corner, _ = oriented(corner, len(points))
    curvature, sharp, normal = _shape_at_points(gmsh, position, points, corner, owner, len(points))
    lines = [position[gmsh.model.mesh.getElementsByType(1, tag)[1]].reshape(-1, 2) for _, tag in gmsh.model.getEntities(1)]
    edges = np.concatenate(lines) if lines else np.zeros((0, 2), dtype=np.int64)
    used = np.zeros(len(points), dtype=bool)
    used[corner] = True
    new = np.cumsum(used) - 1
    edges = edges[used[edges].all(axis=1)]
    return Meshed(
        points[used], new[corner], owner, curvature[used], new[edges], sharp[used], normal[used], np.abs(np.concatenate(quality)), sizes
    )


def _shape_at_points(
    gmsh: Any, position: np.ndarray, points: np.ndarray, corner: np.ndarray, owner: np.ndarray, n: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Principal curvature of greatest size at each point, signed against the mesh's own orientation; where faces meet sharply; exact normals.

    The mesher's sign follows the parameters of each face; it is brought in line by comparing, face by face, with the angle between
    neighbouring triangles (positive where the second one rises on the side of the first one's normal).
    """
    first, second, edge = _pairs(corner, owner)
    a, b, c = (points[corner[:, i]] for i in range(3))
    doubled = np.cross(b - a, c - a)
    normal = doubled / np.maximum(np.linalg.norm(doubled, axis=1, keepdims=True), 1e-300)
    middle = (a + b + c) / 3
    rise = np.einsum("ij,ij->i", middle[second] - middle[first], normal[first])
    best, sharp, seen = np.zeros(n), np.zeros(n, dtype=np.int8), np.zeros((n, 3))
    limit = math.cos(math.radians(FEATURE_DEG))
    for _, tag in gmsh.model.getEntities(2):
        nodes, _, uv = gmsh.model.mesh.getNodes(2, tag, includeBoundary=True, returnParametricCoord=True)
        high, low, _, _ = gmsh.model.getPrincipalCurvatures(tag, uv)
        high, low = (np.nan_to_num(k, nan=0.0, posinf=0.0, neginf=0.0) for k in (high, low))
        here = position[nodes]
        total = np.zeros(n)
        total[here] = high + low
        mine = owner[first] == tag - 1
        agree = float((rise[mine] * total[edge[mine]].sum(axis=1)).sum())
        exact = np.nan_to_num(np.array(gmsh.model.getNormal(tag, uv)).reshape(-1, 3))
        around = np.zeros((n, 3))
        for i in range(3):
            np.add.at(around, corner[owner == tag - 1, i], doubled[owner == tag - 1])
        around = around[here]
        around /= np.maximum(np.linalg.norm(around, axis=1, keepdims=True), 1e-300)
        exact = exact if (exact * around).sum() >= 0 else -exact
        # at a pole the surface's parameters give no normal, or the opposite one: the mesh knows better there
        facing = np.einsum("ij,ij->i", exact, around)
        exact = np.where((facing < 0.5)[:, None], around, exact)
        k = np.where(np.abs(high) > np.abs(low), high, low) * (-1.0 if agree < 0 else 1.0)
        k = np.where(facing < -0.5, -k, np.where(facing < 0.5, 0.0, k))
        larger = np.abs(k) > np.abs(best[here])
        best[here[larger]] = k[larger]
        cosine = np.einsum("ij,ij->i", exact, seen[here])
        known = (np.abs(seen[here]).sum(axis=1) > 0) & (np.abs(exact).sum(axis=1) > 0)
        sharp[here[known & (cosine < limit)]] = 1
        seen[here] = exact
    seen[sharp > 0] = 0.0
    return best, sharp, seen


def _pairs(corner: np.ndarray, owner: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Triangles that share an edge within one face, and the edge."""
    m = len(corner)
    edge = np.sort(np.concatenate([corner[:, [0, 1]], corner[:, [1, 2]], corner[:, [2, 0]]]), axis=1)
    of = np.tile(np.arange(m), 3)
    order = np.lexsort((edge[:, 1], edge[:, 0]))
    twin = np.flatnonzero((edge[order[1:]] == edge[order[:-1]]).all(axis=1))
    i, j = of[order[twin]], of[order[twin + 1]]
    same = owner[i] == owner[j]
    return i[same], j[same], edge[order[twin]][same]


def oriented(triangles: np.ndarray, points: int) -> tuple[np.ndarray, int]:
    """Triangles turned so that neighbours agree, piece by piece, and how many were turned.

    Each connected piece keeps the sense of the greater number of its triangles. Raises :class:`SolveError` on an edge of three or more triangles,
    and on a surface with one side only.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order, connected_components

    m = len(triangles)
    directed = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).astype(np.int64)
    owner = np.tile(np.arange(m), 3)
    forward = directed[:, 0] < directed[:, 1]
    key = np.minimum(directed[:, 0], directed[:, 1]) * points + np.maximum(directed[:, 0], directed[:, 1])
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    new = np.flatnonzero(np.r_[True, np.diff(sorted_key) != 0])
    count = np.diff(np.r_[new, len(order)])
    if (count > 2).any():
        raise SolveError(
            f"{int((count > 2).sum())} edges of the mesh belong to three or more triangles.",
            where="part.file",
            help="Mend the shape in CAD.",
        )
    pair = new[count == 2]
    i, j = owner[order[pair]], owner[order[pair + 1]]
    same = forward[order[pair]] == forward[order[pair + 1]]
    graph = coo_matrix((np.ones(len(i)), (i, j)), shape=(m, m)).tocsr()
    pieces, label = connected_components(graph, directed=False)
    lookup = {(int(p), int(q)): bool(s) for p, q, s in zip(i, j, same, strict=True)}
    flip = np.zeros(m, dtype=bool)
    if same.any():
        symmetric = graph + graph.T
        for piece in range(pieces):
            seed = int(np.argmax(label == piece))
            nodes, before = breadth_first_order(symmetric, seed, directed=False)
            for node in nodes[1:]:
                p = int(before[node])
                turned = lookup.get((p, int(node)), lookup.get((int(node), p), False))
                flip[node] = flip[p] ^ turned
            mine = label == piece
            if flip[mine].sum() > 0.5 * mine.sum():
                flip[mine] = ~flip[mine]
        if (same != (flip[i] != flip[j])).any():
            raise SolveError(
                "the surface has one side only (it is twisted like a ribbon).", where="part.file", help="Mend the shape in CAD."
            )
    result = triangles.copy()
    result[flip] = result[flip][:, ::-1]
    return result, int(flip.sum())

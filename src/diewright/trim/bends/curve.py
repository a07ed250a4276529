"""How a bend line turns in space, point by point, and where its centre lies as seen from the flange."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
STRAIGHT = 100.0
"""A bend line that turns on more than this many legs is straight: its edge strains by less than a hundredth."""
WINDOW = (0.25, 2.0)
"""Way along the bend line over which its curvature is measured to each side: legs, and mm at least (ours)."""


def curves(was: TriMesh, root: Ints, bend: NDArray[np.bool_], base: NDArray[np.bool_], leg: float) -> Floats:
    """How the root line turns where it does: rows of its radius [mm] in space, and of the unit vector to its centre the part along the sheet that it hangs on, away from it, and
    the part along the sheet's normal on the side to which the flange is bent ``(k, 3)``.

    Through each point and two others a window away runs a circle: exact where the points lie on one. ``root`` (e, 2) are the edges of the line, ``bend`` and ``base`` (m,) the triangles
    of the bend and of what it hangs on, ``leg`` the longest flat of the flange [mm]."""
    normal = _unit(_at_points(was, base, was.doubled_normals))
    body = _at_points(was, base, was.centroids * was.areas[:, None]) / np.maximum(_at_points(was, base, was.areas[:, None]), 1e-30)
    at = np.unique(root)
    # a bend towards the normal leans its own normals back over what it hangs on
    away = was.points[at] - body[at]
    away -= np.einsum("ij,ij->i", away, normal[at])[:, None] * normal[at]
    side = 1.0 if np.einsum("ij,ij->", _at_points(was, bend, was.doubled_normals)[at], away) <= 0.0 else -1.0
    window = max(WINDOW[0] * leg, WINDOW[1])
    out = []
    for chain, closed in chains(root):
        p = was.points[chain]
        for before, i, after in triples(p, closed, window):
            a, b = p[before] - p[i], p[after] - p[i]
            square = float((np.cross(a, b) ** 2).sum())
            if square <= 0.0:
                continue
            centre = np.cross((a @ a) * b - (b @ b) * a, np.cross(a, b)) / (2.0 * square)  # from the point
            radius = float(np.linalg.norm(centre))
            if radius > STRAIGHT * leg:
                continue
            n = normal[chain[i]]
            across = np.cross(n, p[after] - p[before])
            across /= max(float(np.linalg.norm(across)), 1e-30)
            across *= 1.0 if (p[i] - body[chain[i]]) @ across >= 0.0 else -1.0
            out.append((radius, float(centre @ across) / radius, side * float(centre @ n) / radius))
    return np.array(out).reshape(-1, 3)


def _unit(v: Floats) -> Floats:
    out: Floats = v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-30)
    return out


def _at_points(mesh: TriMesh, cells: NDArray[np.bool_], weighted: Floats) -> Floats:
    """Sum of a triangle field over the chosen triangles at each point ``(n, k)``."""
    total = np.zeros((len(mesh.points), weighted.shape[1]))
    for corner in range(3):
        np.add.at(total, mesh.triangles[cells, corner], weighted[cells])
    return total


def chains(edges: Ints) -> list[tuple[Ints, bool]]:
    """Lines of points along the edges, and whether each is closed; a point where more than two edges meet ends a line."""
    beside: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    left = {frozenset(e) for e in edges.tolist()}
    starts = [p for p, others in beside.items() if len(others) != 2] + list(beside)
    out = []
    for start in starts:
        for second in beside[start]:
            if frozenset((start, second)) not in left:
                continue
            line = [start, second]
            left.discard(frozenset(line))
            while len(beside[line[-1]]) == 2 and line[-1] != start:
                onward = [q for q in beside[line[-1]] if frozenset((line[-1], q)) in left]
                if not onward:
                    break
                left.discard(frozenset((line[-1], onward[0])))
                line.append(onward[0])
            closed = line[-1] == start
            out.append((np.array(line[:-1] if closed else line, dtype=np.int64), closed))
    return out


def triples(points: Floats, closed: bool, window: float) -> list[tuple[int, int, int]]:
    """Each point of a line with the nearest ones at least a window before and after it along the line; none where the line is too short for that."""
    n = len(points)
    ring = np.concatenate([points, points, points]) if closed else points
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    out = []
    for i in range(n, 2 * n) if closed else range(n):
        before, after = int(np.searchsorted(s, s[i] - window + 1e-12, side="right")) - 1, int(np.searchsorted(s, s[i] + window - 1e-12))
        if before >= 0 and after < len(s) and after - before < n:
            out.append((before % n, i % n, after % n))
    return out

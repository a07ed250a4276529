"""How a bend line turns: the tightest radius of a line of mesh edges within the surface that it lies on, and on which side of it the flange is."""

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


def radii(was: TriMesh, now: TriMesh, root: Ints, bend: NDArray[np.bool_], base: NDArray[np.bool_], leg: float) -> dict[str, float]:
    """Tightest radius of the root line within the surface it hangs on [mm], for each sense: the flange towards the centre (its edge stretches) or away from it (it shrinks).

    Through each point and two others a window away runs a circle: exact where the points lie on one. Of its curvature what is normal to the surface is taken off. ``root`` (e, 2) are the edges of the line, ``bend`` and ``base`` (m,) the triangles of the bend and of what it hangs on, ``leg`` the longest flat of the flange [mm]."""
    normal, side = (
        _at_points(was, base, was.doubled_normals),
        _at_points(now, bend, now.centroids * now.areas[:, None]),
    )
    area = _at_points(now, bend, now.areas[:, None])[:, 0]
    window = max(WINDOW[0] * leg, WINDOW[1])
    out: dict[str, float] = {}
    for chain, closed in chains(root):
        p = was.points[chain]
        for before, i, after in triples(p, closed, window):
            a, b = p[before] - p[i], p[after] - p[i]
            square = float((np.cross(a, b) ** 2).sum())
            if square <= 0.0:
                continue
            # from the point to the centre of the circle through all three
            centre = np.cross(np.cross(a, b), (a @ a) * b - (b @ b) * a) / (2.0 * square) * -1.0
            n = normal[chain[i]] / max(float(np.linalg.norm(normal[chain[i]])), 1e-30)
            bent = centre / float(centre @ centre)
            bent = bent - (bent @ n) * n
            size = float(np.linalg.norm(bent))
            if size * STRAIGHT * max(leg, 1e-9) < 1.0:
                continue
            way = side[chain[i]] / max(float(area[chain[i]]), 1e-30) - now.points[chain[i]]
            turned = (p[after] - p[before]) - ((p[after] - p[before]) @ n) * n
            across = np.cross(n, turned)
            kind = "stretch" if (bent @ across) * (way @ across) > 0 else "shrink"
            out[kind] = min(out.get(kind, np.inf), 1.0 / size)
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

"""Cut lines against each other: the same line twice, lines that cross, and the web that is left between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.trim.lines.stated import dense

Floats = NDArray[np.float64]

SAME = 0.1
"""Lines nearer than this everywhere are one [mm]; where two come as near as that they cross or touch."""
_STEP = 1.0


@dataclass(frozen=True, eq=False)
class Meeting:
    """Two lines: ``how`` they meet, the nearest distance [mm] (0 where they cross) and the place ``at (3,)``."""

    a: int
    b: int
    how: Literal["same", "cross", "near"]
    gap: float
    at: Floats


def meetings(lines: list[Floats], near: float) -> list[Meeting]:
    """Every pair of closed lines ``(k, 3)`` that are the same, cross, or come nearer than ``near`` [mm]."""
    fine = [dense(line, _STEP) for line in lines]
    trees = [cKDTree(f) for f in fine]
    out = []
    for a in range(len(lines)):
        for b in range(a + 1, len(lines)):
            if _apart(fine[a], fine[b]) > near + _STEP:
                continue
            away, _ = trees[b].query(fine[a])
            first = int(np.argmin(away))
            if away[first] > near + 2.0 * _STEP:
                continue
            if _same(fine[a], lines[b]) and _same(fine[b], lines[a]):
                out.append(Meeting(a, b, "same", 0.0, fine[a][first]))
                continue
            gap, at = _closest(fine[a], fine[b], trees[b], near)
            if gap <= SAME:
                out.append(Meeting(a, b, "cross", 0.0, at))
            elif gap < near:
                out.append(Meeting(a, b, "near", gap, at))
    return out


def _apart(p: Floats, q: Floats) -> float:
    """Distance of the boxes of two lines [mm]."""
    gap = np.maximum(np.maximum(p.min(axis=0) - q.max(axis=0), q.min(axis=0) - p.max(axis=0)), 0.0)
    return float(np.linalg.norm(gap))


def _same(points: Floats, ring: Floats) -> bool:
    import igl

    k = len(ring)
    square, _, _ = igl.point_mesh_squared_distance(
        points, np.ascontiguousarray(ring), np.column_stack([np.arange(k), (np.arange(k) + 1) % k])
    )
    return bool(np.sqrt(np.maximum(square, 0.0)).max() <= SAME)


def _closest(p: Floats, q: Floats, tree: cKDTree, near: float) -> tuple[float, Floats]:
    """Least distance of the steps of two closed lines, and where."""
    i, j = [], []
    for k, found in enumerate(tree.query_ball_point(p, near + 2.5 * _STEP)):
        i += [k] * len(found)
        j += found
    if not i:
        return np.inf, p[0]
    gap, at = _steps_apart(p[i], np.roll(p, -1, axis=0)[i], q[j], np.roll(q, -1, axis=0)[j])
    best = int(np.argmin(gap))
    return float(gap[best]), at[best]


def _steps_apart(p0: Floats, p1: Floats, q0: Floats, q1: Floats) -> tuple[Floats, Floats]:
    """Distance of segments in space ``(k,)`` and the nearest place on the first (Ericson 2005, ch. 5.1.9)."""
    u, v, w = p1 - p0, q1 - q0, p0 - q0
    a, e, b = (u * u).sum(axis=1), (v * v).sum(axis=1), (u * v).sum(axis=1)
    c, f = (u * w).sum(axis=1), (v * w).sum(axis=1)
    size = a * e - b * b
    s = np.clip(np.divide(b * f - c * e, size, out=np.zeros_like(a), where=size > 1e-12), 0.0, 1.0)
    t = np.clip(np.divide(b * s + f, e, out=np.zeros_like(a), where=e > 1e-12), 0.0, 1.0)
    s = np.clip(np.divide(b * t - c, a, out=np.zeros_like(a), where=a > 1e-12), 0.0, 1.0)
    at = p0 + s[:, None] * u
    return np.linalg.norm(at - q0 - t[:, None] * v, axis=1), at

"""Where a face shuts in air under a sheet that comes down level: its low places, by a flood over the face's own triangle graph.

Points are taken from the lowest up. A point without a lower neighbour begins a pocket, any other joins that of its lowest neighbour; where two pockets meet, the one whose bottom is higher is
complete: the height of the meeting point over its bottom is its depth, and if that is less than ``least`` it belongs to the other (the elder rule of a merge tree; the priority flood of
terrain analysis gives the same spill levels). Points that are ``open`` let air out: what drains to them is no pocket.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
OUTSIDE = -1


@dataclass(frozen=True, eq=False)
class Pockets:
    """Low places, the deepest first.

    ``of (n,)``: number of the pocket each point drains to, -1 for none. ``bottom (k,)``: its lowest point. ``spill (k,)``: level at which it would run over [mm]; infinite for the lowest place of a
    face without openings.
    """

    of: Ints
    bottom: Ints
    spill: Floats


def pockets(height: Floats, edges: NDArray[np.integer], drain: NDArray[np.bool_], least: float) -> Pockets:
    """Pockets of ``height (n,)`` [mm] over a graph ``edges (m, 2)``, deeper than ``least`` [mm]; air leaves at the points of ``drain (n,)``."""
    count = len(height)
    level = np.where(drain, -math.inf, height)
    order = np.lexsort((np.arange(count), level))
    both = np.concatenate([edges, edges[:, ::-1]]).astype(np.intp)
    both = both[np.argsort(both[:, 0], kind="stable")]
    first = np.searchsorted(both[:, 0], np.arange(count + 1)).tolist()
    to, high, place = both[:, 1].tolist(), level.tolist(), np.argsort(order).tolist()
    tree = list(range(count))  # union-find; the root is the lowest point of its lake
    label = list(range(count))  # the point that began the pocket it drains to
    into: dict[int, int] = {}  # shallow pocket -> the one it belongs to
    spill: dict[int, float] = {}

    def root(i: int) -> int:
        while tree[i] != i:
            tree[i] = tree[tree[i]]
            i = tree[i]
        return i

    for p in order.tolist():
        lower = [q for q in to[first[p] : first[p + 1]] if place[q] < place[p]]
        if not lower:
            continue
        label[p] = label[min(lower, key=place.__getitem__)]
        for q in lower:
            a, b = root(p), root(q)
            if a == b:
                continue
            elder, younger = (a, b) if place[a] < place[b] else (b, a)
            if younger != p:
                if high[p] - high[younger] >= least and high[younger] > -math.inf:
                    spill[younger] = high[p]
                else:
                    into[younger] = elder
            tree[younger] = elder

    def owner(i: int) -> int:
        while i in into:
            i = into[i]
        return i

    begun = {owner(i) for i in set(label)}
    lowest = [i for i in begun if i not in spill and high[i] > -math.inf]
    spill.update(dict.fromkeys(lowest, math.inf))
    kept = sorted((i for i in begun if high[i] > -math.inf), key=lambda i: (-(spill[i] - high[i]), place[i]))
    number = {i: k for k, i in enumerate(kept)}
    of = np.array([number.get(owner(i), OUTSIDE) for i in label], dtype=np.intp)
    return Pockets(of, np.array(kept, dtype=np.intp), np.array([spill[i] for i in kept], dtype=np.float64))


def column_volume(mesh: TriMesh, depth: Floats) -> Floats:
    """Plan volume ``(m,)`` [mm3] between a mesh and a level ``depth (n,)`` [mm] above its points, negative depths as nothing: exact for triangles wholly below the level.

    ``V = A_plan int max(d, 0)``; with ``d`` linear, corners sorted ``d1 <= d2 <= d3``: ``A (d1+d2+d3)/3`` if all are positive, less or only the cut-off pieces otherwise.
    """
    d = np.sort(depth[mesh.triangles], axis=1)
    plan = np.abs(0.5 * mesh.doubled_normals[:, 2])
    low, mid, high = d.T
    mean = (low + mid + high) / 3.0

    def piece(tip: Floats, b: Floats, c: Floats) -> Floats:
        # integral over the corner piece where d runs from `tip` through 0 towards b and c on the other side, over the whole plan area
        return np.divide(tip**3, 3.0 * (tip - b) * (tip - c), out=np.zeros_like(tip), where=(tip != b) & (tip != c))

    only_high = (high > 0) & (mid <= 0)
    all_but_low = (mid > 0) & (low < 0)
    mean = np.where(low >= 0, mean, np.where(all_but_low, mean - piece(low, mid, high), np.where(only_high, piece(high, mid, low), 0.0)))
    return np.asarray(plan * mean)


def plan_areas(mesh: TriMesh) -> Floats:
    """Plan areas of the triangles ``(m,)`` [mm2]."""
    return np.abs(0.5 * mesh.doubled_normals[:, 2])

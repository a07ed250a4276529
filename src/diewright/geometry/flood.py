"""Pools, bubbles and air locks in the graph of a space: the kernels.

One kernel serves both: a pool under ``height``, a bubble under ``-height`` (the part upside down). A pool is a part of space below a level whose
every way out leads over that level: copies are taken in ascending order and joined to their neighbours below (union-find); a pool is shut until it
meets the open, and the height at which it does is its spill level. Volumes are those of the cells clipped by the level, exact for the triangles.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Marks = NDArray[np.uint8]


@njit(cache=True)
def _find(parent: NDArray[np.int64], i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True)
def shut(height: Floats, order: NDArray[np.int64], start: Ints, near: Ints, is_open: Marks) -> tuple[Ints, Floats, Ints, Ints]:
    """Pools of the graph under ``height (n,)``; ``order (n,)`` the copies in ascending order of it.

    Returns ``pool (n,)`` the number of the pool each copy lies in (-1 none), and per pool ``level``, ``bottom`` (lowest copy) and ``lip`` (the copy it spills over).
    A part that never meets the open (closed hollow body) is no pool.
    """
    n = height.shape[0]
    parent = np.arange(n)
    after = np.arange(n)  # ring of the members of a shut part
    lowest = np.arange(n)
    state = np.zeros(n, np.uint8)  # 0 not yet reached, 1 in a shut part, 2 in the open
    pool = np.full(n, -1, np.int32)
    level = np.zeros(n)
    bottom = np.zeros(n, np.int32)
    lip = np.zeros(n, np.int32)
    count = 0
    for v in order:
        out = is_open[v] == 1
        if not out:
            for e in range(start[v], start[v + 1]):
                if state[near[e]] == 2:
                    out = True
                    break
        state[v] = 2 if out else 1
        for e in range(start[v], start[v + 1]):
            w = near[e]
            if state[w] != 1:
                continue
            b = _find(parent, w)
            if out:
                deep = height[lowest[b]] < height[v]
                i = b
                while True:
                    state[i] = 2
                    if deep:
                        pool[i] = count
                    i = after[i]
                    if i == b:
                        break
                if deep:
                    level[count], bottom[count], lip[count] = height[v], lowest[b], v
                    count += 1
                continue
            a = _find(parent, v)
            if a == b:
                continue
            if lowest[a] == v or height[lowest[b]] < height[lowest[a]]:
                lowest[a] = lowest[b]
            parent[b] = a
            after[a], after[b] = after[b], after[a]
    return pool, level[:count].copy(), bottom[:count].copy(), lip[:count].copy()


@njit(cache=True)
def locked(pool: Ints, start: Ints, near: Ints, is_open: Marks) -> Ints:
    """Copies outside every pool that the open reaches only through a pool: ``lock (n,)`` the number of one pool beside it, else -1.

    Under a bubble: a vessel inside a bell, which no liquid ever enters. In closed hollow bodies -2.
    """
    n = pool.shape[0]
    lock = np.full(n, -2, np.int32)
    stack = np.zeros(n, np.int64)
    top = 0
    for i in range(n):
        if pool[i] >= 0:
            lock[i] = -1
        elif is_open[i] == 1:
            lock[i] = -1
            stack[top] = i
            top += 1
    while top > 0:
        top -= 1
        i = stack[top]
        for e in range(start[i], start[i + 1]):
            j = near[e]
            if lock[j] == -2:
                lock[j] = -1
                stack[top] = j
                top += 1
    for i in range(n):
        if pool[i] < 0:
            continue
        for e in range(start[i], start[i + 1]):
            if lock[near[e]] == -2:
                lock[near[e]] = pool[i]
                stack[top] = near[e]
                top += 1
        while top > 0:
            top -= 1
            j = stack[top]
            for f in range(start[j], start[j + 1]):
                if lock[near[f]] == -2:
                    lock[near[f]] = lock[j]
                    stack[top] = near[f]
                    top += 1
    return lock


@njit(cache=True)
def below(a: float, b: float, c: float, d: float, level: float) -> float:
    """Share of a tetrahedron with corner heights a, b, c, d that lies below the level; sums of positive terms only."""
    if a > b:
        a, b = b, a
    if c > d:
        c, d = d, c
    if a > c:
        a, c = c, a
    if b > d:
        b, d = d, b
    if b > c:
        b, c = c, b
    if level <= a:
        return 0.0
    if level >= d:
        return 1.0
    if level <= b:
        return (level - a) / (b - a) * (level - a) / (c - a) * (level - a) / (d - a)
    if level >= c:
        return 1.0 - (d - level) / (d - a) * (d - level) / (d - b) * (d - level) / (d - c)
    ac, ad, bc, bd = (level - a) / (c - a), (level - a) / (d - a), (level - b) / (c - b), (level - b) / (d - b)
    return bc * bd + ac * (1.0 - bc) * bd + (1.0 - bd) * ac * ad


@njit(cache=True)
def below_face(a: float, b: float, c: float, level: float) -> float:
    """Share of a triangle with corner heights a, b, c that lies below the level."""
    low, high = min(a, b, c), max(a, b, c)
    middle = max(min(a, b), min(max(a, b), c))
    if level <= low:
        return 0.0
    if level >= high:
        return 1.0
    if level <= middle:
        return (level - low) / (middle - low) * (level - low) / (high - low)
    return 1.0 - (high - level) / (high - low) * (high - level) / (high - middle)


@njit(cache=True)
def _ends(height: Floats, corners: Ints) -> tuple[int, int]:
    low, high = corners[0], corners[0]
    for c in corners[1:]:
        if height[c] < height[low]:
            low = c
        if height[c] >= height[high]:
            high = c
    return low, high


@njit(cache=True)
def held(
    height: Floats, cells: Ints, volumes: Floats, pool: Ints, level: Floats, lock: Ints, other: Ints, other_level: Floats, other_lock: Ints
) -> Floats:
    """Volume of each pool ``(p,) [mm3]``, what it locks included, less what the other kind keeps there.

    ``other``, ``other_level``, ``other_lock`` are those of the flood under ``-height`` (its levels negated heights): where a bubble stays no liquid comes,
    and where no liquid came no pool is left. Give ``other`` all -1 to count the first kind alone.
    """
    out = np.zeros(level.shape[0])
    for k in range(cells.shape[0]):
        corner = cells[k]
        low, high = _ends(height, corner)
        mine = pool[low]
        rest = lock[high] if lock[high] >= 0 else -1
        if mine < 0 and rest < 0:
            continue
        if other_lock[low] >= 0:
            continue
        h0, h1, h2, h3 = height[corner[0]], height[corner[1]], height[corner[2]], height[corner[3]]
        cap = 1.0
        if other[high] >= 0:
            cap = below(h0, h1, h2, h3, -other_level[other[high]])
        if mine < 0:
            out[rest] += cap * volumes[k]
            continue
        share = min(below(h0, h1, h2, h3, level[mine]), cap)
        out[mine] += share * volumes[k]
        if rest >= 0:
            out[rest] += (cap - share) * volumes[k]
    return out


@njit(cache=True)
def touched(height: Floats, sides: Ints, areas: Floats, pool: Ints, level: Floats, lock: Ints) -> Floats:
    """Area of the sheet's two sides that each pool touches ``(p, 2) [mm2]``."""
    out = np.zeros((level.shape[0], 2))
    for s in range(2):
        for k in range(areas.shape[0]):
            corner = sides[s, k]
            low, high = _ends(height, corner)
            mine = pool[low]
            share = 0.0
            if mine >= 0:
                share = below_face(height[corner[0]], height[corner[1]], height[corner[2]], level[mine])
                out[mine, s] += share * areas[k]
            if lock[high] >= 0:
                out[lock[high], s] += (1.0 - share) * areas[k]
    return out


@njit(cache=True)
def _totals(
    up: Floats,
    places: Floats,
    start: Ints,
    near: Ints,
    is_open: Marks,
    cells: Ints,
    volumes: Floats,
    sides: Ints,
    areas: Floats,
    weight: Floats,
) -> tuple[float, float, float, float]:
    """Air, air weighed by the sides it touches, pools: [mm3] each, and the area that air touches, weighed [mm2]."""
    n = places.shape[0]
    height = np.zeros(n)
    for i in range(n):
        height[i] = places[i, 0] * up[0] + places[i, 1] * up[1] + places[i, 2] * up[2]
    upset = -height
    order = np.argsort(height)
    pool, level, _, _ = shut(height, order, start, near, is_open)
    air, air_level, _, _ = shut(upset, order[::-1].copy(), start, near, is_open)
    air_lock = locked(air, start, near, is_open)
    pool_lock = locked(pool, start, near, is_open)
    none = np.full(n, -1, np.int32)
    bubbles = held(upset, cells, volumes, air, air_level, air_lock, none, level, none)
    pools = held(height, cells, volumes, pool, level, pool_lock, air, air_level, air_lock)
    area = touched(upset, sides, areas, air, air_level, air_lock)
    total, weighed, shown = 0.0, 0.0, 0.0
    for i in range(bubbles.shape[0]):
        seen, whole = weight[0] * area[i, 0] + weight[1] * area[i, 1], area[i, 0] + area[i, 1]
        total += bubbles[i]
        shown += seen
        if whole > 0.0:
            weighed += bubbles[i] * seen / whole
    return total, weighed, pools.sum(), shown


@njit(cache=True, parallel=True)
def totals(
    ups: Floats,
    places: Floats,
    start: Ints,
    near: Ints,
    is_open: Marks,
    cells: Ints,
    volumes: Floats,
    sides: Ints,
    areas: Floats,
    weight: Floats,
) -> Floats:
    """For each direction up ``ups (u, 3)``: air, weighed air, pools [mm3], weighed area without liquid [mm2]: ``(u, 4)``; ``weight (2,)`` of the sheet's two sides."""
    out = np.zeros((ups.shape[0], 4))
    for i in prange(ups.shape[0]):
        a, b, c, d = _totals(ups[i], places, start, near, is_open, cells, volumes, sides, areas, weight)
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = a, b, c, d
    return out

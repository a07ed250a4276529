"""The neighbours of each node of a flat mesh along a strip that follows a direction field."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@njit(cache=True, error_model="numpy")
def _walk(
    order: Ints, flat: Floats, axes: Floats, first: int, last: int, reach: float, half: Floats, turned: float, start: Ints, col: Ints, along: Floats, across: Floats,
) -> None:  # fmt: skip
    """Neighbours of the nodes ``order[first:last]``, counted into ``start[1:]`` while ``col`` is empty, else written from ``start`` on."""
    n = len(order)
    for q in range(first, last):
        i = order[q]
        at = start[q - first]
        low = q
        while low > 0 and flat[i, 0] - flat[order[low - 1], 0] <= reach:
            low -= 1
        for k in range(low, n):
            j = order[k]
            dx, dy = flat[j, 0] - flat[i, 0], flat[j, 1] - flat[i, 1]
            if dx > reach:
                break
            if dx * dx + dy * dy > reach * reach:
                continue
            c = axes[i, 0] * axes[j, 0] + axes[i, 1] * axes[j, 1]
            if abs(c) <= turned:
                continue
            # the chord of a circle stands along the mean of its two tangents
            sign = -1.0 if c < 0.0 else 1.0
            mx, my = axes[i, 0] + sign * axes[j, 0], axes[i, 1] + sign * axes[j, 1]
            size = np.sqrt(mx * mx + my * my)
            r = (dy * mx - dx * my) / size
            if abs(r) > half[i]:
                continue
            if len(col):
                col[at], along[at], across[at] = j, (dx * mx + dy * my) / size, r
            at += 1
        if not len(col):
            start[q - first + 1] = at


def neighbours(
    order: Ints, flat: Floats, axes: Floats, first: int, last: int, reach: float, half: Floats, turned: float
) -> tuple[Ints, Ints, Floats, Floats]:
    """``(node, neighbour, along, across)`` of all pairs of the nodes ``order[first:last]``, themselves included.

    ``order``: nodes by rising x. ``flat (n, 2)`` [mm], ``axes (n, 2)`` unit vectors without sign. A neighbour lies within ``reach`` [mm], no more than ``half (n,)`` [mm]
    across the strip, and its direction makes a cosine above ``turned`` with the node's own.
    """
    start = np.zeros(last - first + 1, dtype=np.int64)
    none, empty = np.zeros(0, dtype=np.int64), np.zeros(0)
    _walk(order, flat, axes, first, last, reach, half, turned, start, none, empty, empty)
    # each row was counted on from the one before it, so `start` already holds where rows begin
    col, along, across = np.zeros(start[-1], dtype=np.int64), np.zeros(start[-1]), np.zeros(start[-1])
    _walk(order, flat, axes, first, last, reach, half, turned, start, col, along, across)
    return np.repeat(order[first:last], np.diff(start)), col, along, across

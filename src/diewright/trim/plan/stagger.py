"""Steps between cutting steels, so that their largest forces do not fall together.

A piece that is shorter by ``o`` touches later by ``o``: ``F(S) = sum f_i(S - o_i)``. Steps are multiples of one sheet thickness, which parts two cuts wholly (a steel is through after at most one thickness, however far the
sheet breaks before). Every combination is tried where that is quick; else the pieces are laid one after the other, the heaviest first, where the peak stays least, and then moved one at a time while that lowers it.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.trim.plan.ops import Piece

Floats = NDArray[np.float64]
FINE = 40
"""Points a step, where that is not more than ``LONGEST`` in all."""
LONGEST = 8000
MOST = 1024
"""Combinations up to which all are tried."""
PASSES = 20
GAIN = 0.01
"""Share by which steps must lower the peak to be worth grinding (ours)."""


def best_steps(pieces: Sequence[Piece], steps: int, step: float) -> list[int]:
    """Number of steps by which each piece follows the longest ones; all 0 where nothing is gained.

    ``step`` [mm] is one thickness; pieces that are not movable touch first.
    """
    movable = [i for i, p in enumerate(pieces) if p.movable]
    if steps < 1 or len(movable) < 2:
        return [0] * len(pieces)
    reach = max(float(p.stroke[-1]) for p in pieces) + steps * step
    grid = np.linspace(0.0, reach, int(np.clip(reach / step * FINE, 200, LONGEST)) + 1)
    base = np.sum([np.zeros(len(grid)), *(p.at(grid) for p in pieces if not p.movable)], axis=0)
    curves = np.array([[pieces[i].at(grid - k * step) for k in range(steps + 1)] for i in movable])
    flat = float((base + curves[:, 0].sum(axis=0)).max())
    many = (steps + 1) ** len(movable)
    chosen = _all(base, curves) if many <= MOST else _one_by_one(base, curves)
    chosen = chosen - chosen.min()
    if float((base + _sum(curves, chosen)).max()) > (1.0 - GAIN) * flat:
        return [0] * len(pieces)
    out = [0] * len(pieces)
    for i, k in zip(movable, chosen, strict=True):
        out[i] = int(k)
    return out


def _sum(curves: Floats, chosen: NDArray[np.int64]) -> Floats:
    total: Floats = curves[np.arange(len(curves)), chosen].sum(axis=0)
    return total


def _all(base: Floats, curves: Floats) -> NDArray[np.int64]:
    """The best of every combination; of equals the one that moves the least force: heavy steels first, slim punches last."""
    levels, weight = curves.shape[1], curves[:, 0].max(axis=1)
    tried = (np.array(c) for c in itertools.product(range(levels), repeat=len(curves)))
    return min(tried, key=lambda c: (round(float((base + _sum(curves, c)).max()), 3), float(c @ weight)))


def _one_by_one(base: Floats, curves: Floats) -> NDArray[np.int64]:
    chosen = np.zeros(len(curves), dtype=np.int64)
    total = base.copy()
    for i in np.argsort(-curves[:, 0].max(axis=1), kind="stable"):
        chosen[i] = _least(total, curves[i])
        total = total + curves[i, chosen[i]]
    for _ in range(PASSES):
        before = float(total.max())
        for i in range(len(curves)):
            rest = total - curves[i, chosen[i]]
            chosen[i] = _least(rest, curves[i])
            total = rest + curves[i, chosen[i]]
        if float(total.max()) > (1.0 - 1e-6) * before:
            break
    return chosen


def _least(rest: Floats, levels: Floats) -> int:
    """The step at which the peak is least; of equals the one where the sum of squares is least, which leaves room for what follows."""
    sums = rest + levels
    return int(np.lexsort(((sums**2).sum(axis=1), np.round(sums.max(axis=1), 3)))[0])

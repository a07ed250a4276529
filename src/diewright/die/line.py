"""Values along a closed line: lengths, smoothing, tangents."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]


def steps(points: Floats) -> Floats:
    """Lengths ``(k,)`` from each point of a closed line to the next."""
    return np.asarray(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1))


def walk(points: Floats) -> Floats:
    """Length along a closed line up to each point and, last, all of it ``(k + 1,)``."""
    return np.concatenate([[0.0], np.cumsum(steps(points))])


def away(points: Floats, marked: NDArray[np.bool_]) -> Floats:
    """Distance along the closed line of each point from the nearest of those ``marked`` ``(k,)``; infinite if none is."""
    if not marked.any():
        return np.full(len(points), np.inf)
    s = walk(points)
    gap = np.abs(s[:-1, None] - s[:-1][marked][None, :])
    return np.asarray(np.minimum(gap, s[-1] - gap).min(axis=1))


def diffused(points: Floats, values: Floats, length: Floats | float, rounds: int = 1) -> Floats:
    """Values ``(k, c)`` evened along the line over about ``length`` [mm], of each step ``(k,)`` or of all, whatever the spacing of the points: ``rounds`` times

    ``u - d/ds (l^2 du/ds) = u0``, ``l^2 = length^2 / rounds``.
    """
    k = len(points)
    step = np.maximum(steps(points), 1e-9)
    carry = np.broadcast_to(np.asarray(length, dtype=float) ** 2 / rounds, (k,)) / step
    lump = 0.5 * (step + np.roll(step, 1))
    here, nxt = np.arange(k), (np.arange(k) + 1) % k
    matrix = coo_matrix(
        (
            np.concatenate([lump + carry + np.roll(carry, 1), -carry, -carry]),
            (np.concatenate([here, here, nxt]), np.concatenate([here, nxt, here])),
        ),
        shape=(k, k),
    ).tocsc()
    solver = splu(matrix)
    for _ in range(rounds):
        values = solver.solve(lump[:, None] * values)
    return np.asarray(values)


def tangents(row: Floats) -> Floats:
    """Unit tangents ``(k, c)`` of a closed line: at each point that of the circle through it and its neighbours."""
    ahead = np.roll(row, -1, axis=0) - row
    behind = np.roll(ahead, 1, axis=0)
    a, b = (np.maximum((d * d).sum(axis=1, keepdims=True), 1e-18) for d in (ahead, behind))
    t = ahead / a + behind / b
    return np.asarray(t / np.maximum(np.linalg.norm(t, axis=1, keepdims=True), 1e-18))

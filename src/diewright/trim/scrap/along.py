"""A closed cut line by its length: where it is flat enough for a joint or a chopper, and places spread evenly over what is allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.nofit import signed_area

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_WINDOW = 3.0  # mm to both sides over which the line's turn is measured


@dataclass(frozen=True, eq=False)
class Along:
    """Places on a closed line that runs anticlockwise: ``way (n,)`` [mm] from its first point, ``points (n, 2)``, ``tangent (n, 2)``, ``radius (n,)`` on which it turns within ``window`` [mm] to both sides, ``length`` of the whole [mm]."""

    way: Floats
    points: Floats
    tangent: Floats
    radius: Floats
    length: float
    window: float

    @property
    def normal(self) -> Floats:
        """Out of the line (n, 2)."""
        return np.column_stack([self.tangent[:, 1], -self.tangent[:, 0]])

    def near(self, mask: Mask, reach: float) -> Mask:
        """Places within ``reach`` [mm] along the line of any place in ``mask``."""
        at = self.way[mask]
        if not len(at):
            return np.zeros(len(self.way), dtype=bool)
        rolled = np.concatenate([at - self.length, at, at + self.length])
        rolled.sort()
        k = np.searchsorted(rolled, self.way)
        left, right = self.way - rolled[np.maximum(k - 1, 0)], rolled[np.minimum(k, len(rolled) - 1)] - self.way
        return np.asarray(np.minimum(np.abs(left), np.abs(right)) <= reach)

    def corners(self, tight: float, keep: float) -> Mask:
        """Places that turn on less than ``tight`` [mm], or lie within ``keep`` [mm] of one that does."""
        return self.near(self.radius < tight, keep + self.window)

    def index(self, way: float) -> int:
        """The place nearest to ``way`` [mm]."""
        off = np.abs(self.way - way % self.length)
        return int(np.argmin(np.minimum(off, self.length - off)))


def anticlockwise(line: Floats) -> bool:
    """Whether a closed line ``(k, 2)`` runs anticlockwise."""
    return signed_area(line) > 0


def along(line: Floats) -> Along:
    """Places along a closed anticlockwise line ``(k, 2)``, one to five millimetres apart; they lie on the polyline itself."""
    closed = np.vstack([line, line[:1]])
    way = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1)))
    total = float(way[-1])
    count = max(int(np.ceil(total / np.clip(total / 500.0, 0.5, 5.0))), 24)
    at = total * np.arange(count) / count

    def on(s: Floats) -> Floats:
        s = s % total
        return np.column_stack([np.interp(s, way, closed[:, i]) for i in range(2)])

    h = min(_WINDOW, total / 60.0)
    before, here, after = on(at - h), on(at), on(at + h)
    a, b = here - before, after - here
    turn = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
    tangent = after - before
    size = np.linalg.norm(tangent, axis=1, keepdims=True)
    tangent = np.where(size > 1e-9, tangent / np.maximum(size, 1e-300), [[1.0, 0.0]])
    return Along(at, here, tangent, h / np.maximum(turn, 1e-9), total, h)


def spread(allowed: Floats, begin: float, length: float, count: int, phase: float, *, closed: bool) -> list[float]:
    """``count`` places [mm] spread evenly over ``length`` from ``begin`` on and each moved to the nearest of the ``allowed`` ones; fewer if two fall on one.

    Closed: the first lies ``phase`` of a step in. Open: a step lies before the first and after the last, ``phase`` moves them together.
    """
    if not len(allowed) or count < 1:
        return []
    step = length / (count if closed else count + 1)
    targets = begin + step * (np.arange(count) + (phase if closed else 1.0 + phase))
    out: list[float] = []
    for t in targets:
        off = np.abs(allowed - t) if not closed else np.abs(np.remainder(allowed - t + 0.5 * length, length) - 0.5 * length)
        out.append(float(allowed[int(np.argmin(off))]))
    return sorted(set(out))

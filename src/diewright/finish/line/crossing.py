"""When two loaded moves of different hoists would meet on the track: the forbidden offsets between their starts.

Hoist ``left`` stands below hoist ``right`` on the track; their middles stay ``gap`` apart. Outside its own move the left one can flee
to lower positions at its speed, the right one to higher. With ``l(s)`` the left one's position continued downwards at its speed, ``r(s)`` the right one's
continued upwards, both concave and convex around a monotone move, the moves can be carried out with offset ``D = start of right - start of left`` if and only if
``l(s) + gap <= r(s - D)`` for every s. The forbidden D form one open interval: the bad pairs of places hang together at the pair (highest of left, lowest of right).
Both are piecewise linear, so the ends follow from the corners exactly.
"""

from __future__ import annotations

import math

import numpy as np


def forbidden(left: np.ndarray, left_speed: float, right: np.ndarray, right_speed: float, gap: float) -> tuple[float, float] | None:
    """Open interval of offsets [s] at which the two moves collide, None if they never do.

    ``left``, ``right``: (k, 2) time from each start [s] and position [m]; speeds m/s; gap m.
    """
    low, high = math.inf, -math.inf
    for s, x in left:
        span = _beyond(right, x + gap, right_speed, below=True)
        if span is not None:
            low, high = min(low, s - span[1]), max(high, s - span[0])
    for s, x in right:
        span = _beyond(left, x - gap, left_speed, below=False)
        if span is not None:
            low, high = min(low, span[0] - s), max(high, span[1] - s)
    return None if low >= high else (low, high)


def _beyond(way: np.ndarray, level: float, speed: float, *, below: bool) -> tuple[float, float] | None:
    """Times between which a way, continued at ``speed`` away from the other hoist, is below (or above) a level; None if never."""
    sign = 1.0 if below else -1.0
    short = sign * (level - way[:, 1])
    if short.max() <= 1e-9:
        return None
    times = way[:, 0]
    first, last = int(np.argmax(short > 1e-9)), len(short) - 1 - int(np.argmax(short[::-1] > 1e-9))
    begin = times[0] - short[0] / speed if first == 0 else _cross(times, short, first - 1)
    end = times[-1] + short[-1] / speed if last == len(short) - 1 else _cross(times, short, last)
    return float(begin), float(end)


def _cross(times: np.ndarray, short: np.ndarray, k: int) -> float:
    """Where the shortfall passes through zero between corners k and k + 1."""
    return float(times[k] - short[k] * (times[k + 1] - times[k]) / (short[k + 1] - short[k]))

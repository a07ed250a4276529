"""Where a row of points runs straight, where it runs round, and where neither: the cheapest row of runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.fitting import fit_circle, fit_line

Floats = NDArray[np.float64]
Kind = Literal["line", "arc", "spline"]

_MIN_ARC_SWEEP = np.deg2rad(15.0)
_STATIONS = 240  # breakpoints looked at in one section; keeps the search below a second for long outlines

# What a draughtsman would pay: a line is simplest, a spline is dearest and pays by its share of the whole outline.
_COST = {"line": 1.0, "arc": 1.5, "spline": 3.0}
_SPLINE_WHOLE = 14.0
_KINK = 3.0


@dataclass(frozen=True)
class Run:
    """Points ``first..last`` of a section as one kind of piece."""

    kind: Kind
    first: int
    last: int


def corners(p: Floats, tolerance: float) -> NDArray[np.intp]:
    """Points of a closed polygon that are true corners.

    Either a smooth curve through the points would bulge beyond five tolerances over the polygon, or the turn stands alone:
    more than 25 degrees and more than 2.5 times what its neighbours turn.
    """
    step = np.roll(p, -1, axis=0) - p
    length = np.hypot(step[:, 0], step[:, 1])
    before = np.roll(step, 1, axis=0)
    turn = np.abs(np.arctan2(before[:, 0] * step[:, 1] - before[:, 1] * step[:, 0], (before * step).sum(axis=1)))
    shorter = np.minimum(length, np.roll(length, 1))
    bulge = 0.5 * shorter * np.tan(0.25 * turn)
    beside = 0.5 * (np.roll(turn, 1) + np.roll(turn, -1))
    alone = (turn > np.deg2rad(25.0)) & (turn > 2.5 * beside)
    return np.flatnonzero(alone | ((bulge > 5.0 * tolerance) & (turn > np.deg2rad(5.0))) | (turn > np.deg2rad(100.0)))


def line_fits(p: Floats, tolerance: float) -> bool:
    """True if one straight line passes all points within the tolerance."""
    return len(p) == 2 or bool(np.abs(fit_line(p).distance(p)).max() <= tolerance)


def arc_fits(p: Floats, tolerance: float) -> bool:
    """True if one circle passes all points within the tolerance and bulges over no step by more than five."""
    found = fit_circle(p, rounds=3)  # the search asks often; the piece itself is fitted to the end later
    if found is None or np.abs(found.distance(p)).max() > tolerance:
        return False
    d = p - found.centre
    step = np.arctan2(d[:-1, 0] * d[1:, 1] - d[:-1, 1] * d[1:, 0], (d[:-1] * d[1:]).sum(axis=1))
    if (np.sign(step.sum()) * step < -1e-3).any() or abs(step.sum()) > 2 * np.pi - 1e-6:
        return False
    return bool(found.radius * (1.0 - np.cos(0.5 * np.abs(step).max())) <= 5.0 * tolerance)


def _sweep(p: Floats) -> float:
    step = np.diff(p, axis=0)
    a, b = step[:-1], step[1:]
    return abs(float(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)).sum()))


def _longest(fits: Callable[[int, int], bool], start: int, least: int, end: int) -> int:
    """Largest station up to which a run from ``start`` fits, by doubling and halving; ``start`` if none."""
    if start + least > end or not fits(start, start + least):
        return start
    good, step = start + least, least
    bad = end + 1
    while good < end:
        to = min(good + step, end)
        if fits(start, to):
            good, step = to, 2 * step
        else:
            bad = to
            break
    while bad - good > 1:
        middle = (good + bad) // 2
        if fits(start, middle):
            good = middle
        else:
            bad = middle
    return good


def segment(p: Floats, tolerance: float, whole: float) -> list[Run]:
    """The cheapest row of runs through an open row of points of an outline ``whole`` [mm] long, by dynamic programming over breakpoints."""
    n = len(p)
    if n == 2 or line_fits(p, tolerance):
        return [Run("line", 0, n - 1)]
    stride = max(1, int(np.ceil(n / _STATIONS)))
    at = np.unique(np.concatenate([np.arange(0, n - 1, stride), [n - 1]]))
    m = len(at)
    walk = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    typical = walk[-1] / (n - 1)

    def line(i: int, j: int) -> bool:
        return line_fits(p[at[i] : at[j] + 1], tolerance)

    def arc(i: int, j: int) -> bool:
        return arc_fits(p[at[i] : at[j] + 1], tolerance)

    far_line = [_longest(line, i, 1, m - 1) for i in range(m - 1)]
    far_arc = [_longest(arc, i, max(4 // stride, 1), m - 1) for i in range(m - 1)]
    cost = np.full((m, 3), np.inf)  # last kind: line, arc, spline
    came = np.zeros((m, 3, 2), dtype=np.intp)
    cost[0] = [_COST["line"], _COST["arc"], 0.0]  # nothing before: any kind may start; paid back below
    start_free = np.array([0.0, 0.0, 0.0])
    for i in range(m - 1):
        base = start_free if i == 0 else cost[i]
        best_all = (int(np.argmin(base)), float(base.min()))
        not_spline = (int(np.argmin(base[:2])), float(base[:2].min()))
        after_line = [base[0] + (_KINK if i else 0.0), base[1], base[2]]
        for kind, far in (("line", far_line[i]), ("arc", far_arc[i])):
            column = 0 if kind == "line" else 1
            prior, value = best_all if column == 1 else (int(np.argmin(after_line)), float(min(after_line)))
            for j in range(i + 1, far + 1):
                if kind == "line":
                    # Two points are always straight: a line must be long enough to mean something.
                    if at[j] - at[i] < 3 and walk[at[j]] - walk[at[i]] < 8.0 * typical:
                        continue
                elif at[j] - at[i] < 4 or _sweep(p[at[i] : at[j] + 1]) < _MIN_ARC_SWEEP:
                    continue
                total = value + _COST[kind]
                if total < cost[j, column] - 1e-12:
                    cost[j, column] = total
                    came[j, column] = (i, prior)
        prior, value = not_spline if i else (2, 0.0)
        for j in range(i + 1, m):
            total = value + _COST["spline"] + _SPLINE_WHOLE * (walk[at[j]] - walk[at[i]]) / whole
            if total < cost[j, 2] - 1e-12:
                cost[j, 2] = total
                came[j, 2] = (i, prior)
    runs: list[Run] = []
    j, kind_at = m - 1, int(np.argmin(cost[m - 1]))
    names: tuple[Kind, Kind, Kind] = ("line", "arc", "spline")
    while j > 0:
        i, prior = (int(v) for v in came[j, kind_at])
        runs.append(Run(names[kind_at], int(at[i]), int(at[j])))
        j, kind_at = i, prior
    return runs[::-1]

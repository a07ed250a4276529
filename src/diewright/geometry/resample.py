"""Polylines resampled to a wanted edge length: corners kept, tiny segments forgotten.

Outlines come with vertices a hundredth of a millimetre apart; a mesh wants edges of its own size. A corner is a place where the line turns by more
than 25 degrees within about a third of the wanted edge; between corners the points are set at equal steps of ``t = integral ds / h``.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.signal import savgol_filter

from diewright.geometry.size_grid import SizeGrid

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CORNER_DEG = 25.0
_WINDOW = 0.3  # of the wanted edge: a fillet below about 0.7 edges is a corner
_APART = 0.35  # of the wanted edge: corners nearer than this are one
_FINE = 8  # samples an edge for the smoothing


@dataclass
class Track:
    """A polyline ``points (k, 2) [mm]``, without the repeated first point if ``closed``; ``kept (k,)`` marks vertices that must stay nodes."""

    points: Floats
    closed: bool
    kept: NDArray[np.bool_]

    def __post_init__(self) -> None:
        ring = np.vstack([self.points, self.points[:1]]) if self.closed else self.points
        self.ring = ring
        self.along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))]

    @property
    def length(self) -> float:
        """Length [mm]."""
        return float(self.along[-1])

    def at(self, s: Floats) -> Floats:
        """Points ``(n, 2)`` at arc lengths ``s (n,) [mm]``; a closed line goes round, an open one stays at its ends."""
        s = np.mod(s, self.length) if self.closed else np.clip(s, 0.0, self.length)
        return np.column_stack([np.interp(s, self.along, self.ring[:, i]) for i in (0, 1)])


def track(points: Floats, closed: bool, kept: NDArray[np.bool_] | None = None) -> Track:
    """A track without repeated points (nearer than 1e-9 of its extent)."""
    points = np.asarray(points, dtype=np.float64)
    kept = np.zeros(len(points), dtype=bool) if kept is None else kept
    tiny = 1e-9 * float(np.ptp(points, axis=0).max())
    keep = [0]
    for i in range(1, len(points)):
        if np.abs(points[i] - points[keep[-1]]).max() > tiny:
            keep.append(i)
        elif kept[i]:
            keep[-1] = i
    if closed and len(keep) > 1 and np.abs(points[keep[-1]] - points[keep[0]]).max() <= tiny:
        last = keep.pop()
        if kept[last]:
            keep[0] = last
    return Track(points[keep], closed, kept[keep])


def _turn(before: Floats, after: Floats) -> Floats:
    """Unsigned angle between directions ``(n, 2)`` [deg]."""
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.degrees(np.abs(np.arctan2(cross, (before * after).sum(axis=1))))


def corners(line: Track, field: SizeGrid) -> Floats:
    """Arc lengths of the nodes that stay: kept vertices, and corners not nearer than about a third of an edge to a stronger one, sorted [mm]."""
    s = line.along[:-1] if line.closed else line.along
    p = line.points
    h = field.at(p)
    window = np.minimum(_WINDOW * h, line.length / 8)
    sharp = _turn(p - line.at(s - window), line.at(s + window) - p)
    own = _turn(p - np.roll(p, 1, axis=0), np.roll(p, -1, axis=0) - p)
    if not line.closed:
        sharp[[0, -1]] = own[[0, -1]] = 0.0
    found = [float(at) for at in s[line.kept]]
    candidate = sharp > CORNER_DEG
    share = np.diff(line.along)
    share = share[: len(s)] if line.closed else np.r_[share, 0.0]
    if line.closed and share[candidate & (own <= CORNER_DEG)].sum() > 0.6 * line.length:
        candidate &= own > CORNER_DEG  # small and round everywhere: no corner at all

    def gap(a: Floats, b: float) -> Floats:
        away = np.abs(a - b)
        return np.minimum(away, line.length - away) if line.closed else away

    taken = np.zeros(len(s), dtype=bool)
    for at in found:
        taken |= gap(s, at) < _APART * h
    for i in np.lexsort((np.arange(len(s)), -np.round(sharp, 6))):
        if not candidate[i]:
            break
        if taken[i]:
            continue
        run = np.flatnonzero((gap(s, s[i]) <= _APART * h[i]) & (sharp > sharp[i] - 0.5) & ~taken)
        pointed = run[own[run] > CORNER_DEG]
        if len(pointed):
            best = pointed[np.argmax(own[pointed])]
        else:
            centre = s[i] + np.mean(_wrapped(s[run] - s[i], line))
            best = run[np.argmin(gap(s[run], centre))]
        found.append(float(s[best]))
        taken |= gap(s, s[best]) < _APART * h
        taken[i] = True
    if not line.closed:
        found += [0.0, line.length]
    return np.unique(np.array(found))


def _wrapped(away: Floats, line: Track) -> Floats:
    return (away + 0.5 * line.length) % line.length - 0.5 * line.length if line.closed else away


def resample(line: Track, field: SizeGrid, *, least: int = 1, smooth: bool = False) -> Floats:
    """Nodes ``(n, 2) [mm]`` of a track at the field's sizes; a closed track's first node is not repeated.

    A closed track gets at least ``least`` nodes. With ``smooth`` the pieces between corners are smoothed by a local parabola over one edge
    (fourth-order accurate on a smooth curve); otherwise the nodes lie on the polyline itself.
    """
    marks = corners(line, field)
    whole = line.closed and len(marks) == 0
    start = float(marks[0]) if len(marks) else 0.0
    stops = np.r_[marks, start + line.length] if line.closed else marks
    if whole:
        stops = np.array([0.0, line.length])
    nodes = []
    for a, b in pairwise(stops):
        fine = np.linspace(a, b, max(int(np.ceil((b - a) / (0.1 * _least_on(line, field, a, b)))), 16) + 1)
        density = 1.0 / field.at(line.at(fine))
        t = np.r_[0.0, np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(fine))]
        share = (b - a) / line.length
        count = max(_count(float(t[-1])), round(least * share) if line.closed else 1)
        if line.closed and len(stops) == 2:
            count = max(count, 3)
        s = np.interp(np.linspace(0.0, t[-1], _FINE * count + 1), t, fine)
        x = line.at(s)
        if smooth and len(x) > 2 * _FINE:
            x = _smoothed(x, around=whole)
        nodes.append(x[::_FINE][:-1])
    if not line.closed:
        nodes.append(line.points[-1:])
    return np.concatenate(nodes)


def _count(edges: float) -> int:
    """Whole edges for a piece that wants ``edges`` of them: none longer than wanted by a tenth (a lone one by 0.3), none shorter than 0.65 of it."""
    count = max(round(edges), 1)
    return count + 1 if edges > count * (1.3 if count == 1 else 1.1) else count


def _least_on(line: Track, field: SizeGrid, a: float, b: float) -> float:
    return float(field.at(line.at(np.linspace(a, b, 257))).min())


def _smoothed(x: Floats, *, around: bool) -> Floats:
    if around:
        ring = savgol_filter(x[:-1], _FINE + 1, 3, axis=0, mode="wrap")
        return np.vstack([ring, ring[:1]])
    result = savgol_filter(x, _FINE + 1, 3, axis=0, mode="interp")
    result[[0, -1]] = x[[0, -1]]
    return result

"""No-fit geometry: how close two polygons may lie to each other, without turning them.

Polygon ``B`` moved by ``t`` overlaps the fixed polygon ``A`` exactly when ``t`` lies inside the Minkowski sum
``N = A + (-B)``; their distance is at least ``w`` exactly when ``t`` is at least ``w`` away from ``N``.

The boundary of ``N`` is a subset of its reduced convolution: the edges of one polygon moved to those convex corners of
the other whose range of directions holds the edge's direction (Guibas, Ramshaw, Stolfi 1983). The convolution itself lies inside
``N``. So for a straight line the outermost points of ``N`` grown by ``w`` are the outermost points, on that line,
of capsules of radius ``w`` round these segments, which is a closed form: no grid, no integer rounding, no union of polygons.
Turning both polygons turns ``N``, so one convolution serves every angle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]

_TURN_SLACK = 1e-9  # rad; a few segments too many do no harm, one too few would


def ring(points: Floats) -> Floats:
    """A polygon ``(n, 2) [mm]`` counter-clockwise, without a repeated last point or steps below 1e-9 mm.

    Raises :class:`InputError` for fewer than three points, numbers that are not finite, or a polygon without area.
    """
    p = np.asarray(points, dtype=np.float64)
    if p.ndim != 2 or p.shape[1] != 2:
        raise InputError("An outline is a list of points with two coordinates.")
    if not np.isfinite(p).all():
        raise InputError("The outline has a coordinate that is not a finite number.")
    keep = np.linalg.norm(p - np.roll(p, 1, axis=0), axis=1) > 1e-9
    p = p[keep] if keep.any() else p[:1]
    if len(p) < 3:
        raise InputError(f"An outline needs at least 3 different points; this one has {len(p)}.")
    area = signed_area(p)
    if abs(area) < 1e-9:
        raise InputError("The outline encloses no area.")
    return p if area > 0 else p[::-1].copy()


def signed_area(points: Floats) -> float:
    """Area of a closed polygon [mm2], positive when it runs counter-clockwise."""
    x, y = (points - points.mean(axis=0)).T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def turned(points: Floats, angle: float) -> Floats:
    """Points ``(..., 2)`` turned counter-clockwise about the origin by ``angle`` [rad]."""
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def convolution(a: Floats, b: Floats) -> Floats:
    """Segments ``(k, 2, 2) [mm]`` that hold the boundary of ``A + (-B)``; both polygons counter-clockwise."""
    c = -b
    return np.concatenate([_edges_on_corners(a, c), _edges_on_corners(c, a)])


def _edges_on_corners(edges_of: Floats, corners_of: Floats) -> Floats:
    step = np.roll(edges_of, -1, axis=0) - edges_of
    direction = np.arctan2(step[:, 1], step[:, 0])
    incoming = corners_of - np.roll(corners_of, 1, axis=0)
    outgoing = np.roll(corners_of, -1, axis=0) - corners_of
    cross = incoming[:, 0] * outgoing[:, 1] - incoming[:, 1] * outgoing[:, 0]
    turn = np.arctan2(cross, (incoming * outgoing).sum(axis=1))
    start = np.arctan2(incoming[:, 1], incoming[:, 0])
    # A corner that turns inwards cannot touch from outside; only convex corners carry the boundary.
    delta = np.remainder(direction[:, None] - start[None, :] + _TURN_SLACK, 2.0 * np.pi)
    e, v = np.nonzero((turn[None, :] > -_TURN_SLACK) & (delta <= turn[None, :] + 2.0 * _TURN_SLACK))
    first = edges_of[e] + corners_of[v]
    return np.stack([first, first + step[e]], axis=1)


def chords(segments: Floats, heights: Floats, gap: float = 0.0) -> tuple[Floats, Floats]:
    """Outermost points of the grown no-fit region on the lines ``y = heights``: ``(left, right)``, each ``(h,) [mm]``.

    ``segments`` comes from :func:`convolution` (turned as needed), ``heights`` rise, and ``gap`` [mm] is the least distance wanted
    between the polygons. A line that misses the region gives ``left = +inf`` and ``right = -inf``.
    """
    y = np.atleast_1d(np.asarray(heights, dtype=np.float64))
    left = np.full(len(y), np.inf)
    right = np.full(len(y), -np.inf)

    def meet(at: NDArray[np.intp], low: Floats, high: Floats) -> None:
        np.minimum.at(left, at, low)
        np.maximum.at(right, at, high)

    near = (segments[:, :, 1].min(axis=1) <= y[-1] + gap) & (segments[:, :, 1].max(axis=1) >= y[0] - gap)
    segments = segments[near]
    p, q = segments[:, 0], segments[:, 1]
    step = q - p
    length = np.hypot(step[:, 0], step[:, 1])
    normal = np.stack([step[:, 1], -step[:, 0]], axis=1) / np.where(length > 0, length, 1.0)[:, None]
    for side in (0.0,) if gap == 0.0 else (gap, -gap):
        start, end = p + side * normal, q + side * normal
        which, at = _crossed(y, np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1]))
        dy = step[which, 1]
        # A segment along the line adds nothing that its ends do not.
        slope = np.divide(step[which, 0], dy, out=np.zeros_like(dy), where=dy != 0.0)
        x = start[which, 0] + (y[at] - start[which, 1]) * slope
        meet(at, x, x)
    ends = np.unique(segments.reshape(-1, 2), axis=0)
    which, at = _crossed(y, ends[:, 1] - gap, ends[:, 1] + gap)
    half = np.sqrt(np.maximum(gap * gap - (y[at] - ends[which, 1]) ** 2, 0.0))
    meet(at, ends[which, 0] - half, ends[which, 0] + half)
    return left, right


def _crossed(y: Floats, low: Floats, high: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs (span, line) of the rising lines ``y`` that each span ``low..high`` holds."""
    first = np.searchsorted(y, low, side="left")
    count = np.searchsorted(y, high, side="right") - first
    which = np.repeat(np.arange(len(low)), count)
    return which, np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)

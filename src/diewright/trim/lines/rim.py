"""The blank's edge after the draw as far as it is known without a tryout: the developed outline laid on the drawn surface.

The developed outline of the part lands on the part's own edge. What was added to it (trim allowance) is laid off square to that edge along the surface by its width in the flat; that the flange gets
thicker and shorter in a real draw is not in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.trim.lines.mapping import to_part
from diewright.trim.lines.sheet import DrawnSheet
from diewright.trim.lines.walk import Walker

Floats = NDArray[np.float64]
_LEAST = 0.02  # mm: an allowance below that is none


@dataclass(frozen=True, eq=False)
class Rim:
    """The edge ``points (j, 3)`` on the drawn surface, the same ``flat (j, 2)`` on the blank, and how far the faces are too small for it ``short (j,)`` [mm]."""

    points: Floats
    flat: Floats
    short: Floats


def rim_of(sheet: DrawnSheet, outer: NDArray[np.integer], outline: Floats) -> Rim:
    """Lay the blank's ``outline (j, 2)`` on the drawn surface; ``outer``: point numbers of the part's edge."""
    ring = np.asarray(outer).ravel()
    flat, part = sheet.flat.points[ring, :2], sheet.part.points[ring]
    line = np.asarray(outline, dtype=np.float64)[:, :2]
    inside = shapely.Polygon(flat)
    first, share, away = _feet(flat, line)
    second = (first + 1) % len(ring)
    start = part[first] + share[:, None] * (part[second] - part[first])
    beyond = ~shapely.contains_xy(inside, line[:, 0], line[:, 1]) & (away > _LEAST)
    within = shapely.contains_xy(inside, line[:, 0], line[:, 1]) & (away > _LEAST)
    points, short = start.copy(), np.zeros(len(line))
    if within.any():
        laid = to_part(sheet.part, sheet.flat, line[within], reach=0.5)
        points[within] = np.where(np.isfinite(laid), laid, start[within])
    if beyond.any():
        foot = flat[first] + share[:, None] * (flat[second] - flat[first])
        normal, _, _ = sheet.read(start[beyond])
        direction = _carried(flat, part, first[beyond], share[beyond], (line - foot)[beyond], normal)
        points[beyond], short[beyond] = Walker(sheet.mesh).go(start[beyond], direction, away[beyond])
    return Rim(points, line, short)


def _feet(ring: Floats, points: Floats) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Nearest places of points on a closed ring in the plane: number of the side, share along it, distance."""
    a, d = ring, np.roll(ring, -1, axis=0) - ring
    size = np.maximum((d * d).sum(axis=1), 1e-300)
    share = np.clip(np.einsum("kij,ij->ki", points[:, None] - a[None], d) / size, 0.0, 1.0)
    away = np.linalg.norm(points[:, None] - a[None] - share[:, :, None] * d[None], axis=2)
    best = np.argmin(away, axis=1)
    rows = np.arange(len(points))
    return best, share[rows, best], away[rows, best]


def _carried(flat: Floats, part: Floats, first: NDArray[np.intp], share: Floats, way: Floats, normal: Floats) -> Floats:
    """A way off the flat edge ``(k, 2)`` as a direction off the part's edge ``(k, 3)``: as much along the edge and as much square to it. Both edges run the same way round."""

    def tangent(ring: Floats) -> Floats:
        t = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
        t = t / np.maximum(np.linalg.norm(t, axis=1, keepdims=True), 1e-300)
        mixed = (1.0 - share)[:, None] * t[first] + share[:, None] * t[(first + 1) % len(ring)]
        return np.asarray(mixed / np.maximum(np.linalg.norm(mixed, axis=1, keepdims=True), 1e-300))

    t2, t3 = tangent(flat), tangent(part)
    along, out = (way * t2).sum(axis=1), way[:, 0] * t2[:, 1] - way[:, 1] * t2[:, 0]
    square = np.cross(t3, normal)
    square /= np.maximum(np.linalg.norm(square, axis=1, keepdims=True), 1e-300)
    return np.asarray(along[:, None] * t3 + out[:, None] * square)

"""The edge of the blank: how far it has come in, and how much flange is left before the die radius."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]

STATIONS = 8
"""Stations by direction round the blank, the first on +x."""


@dataclass(frozen=True)
class DrawIn:
    """Draw-in at one station: ``at`` on the edge of the flat blank [mm], ``mm`` square to that edge in plan, inwards positive, ``name`` in words."""

    at: tuple[float, float]
    mm: float
    name: str


@dataclass(frozen=True, eq=False)
class EdgeMoves:
    """Draw-in all round.

    Attributes
    ----------
    every: (k,) at each node of the edge [mm], inwards positive; nan where a line square to the edge at rest meets the edge of now nowhere.
    stations: eight by direction from the middle of the blank, then ``largest`` and ``least``.
    """

    every: Floats
    stations: tuple[DrawIn, ...]


def draw_in(before: Floats, now: Floats) -> EdgeMoves:
    """What is measured with a rule on the die: square to the scribed outline of the flat blank, in plan, to the edge as it lies now.

    ``before (k, 2)`` and ``now (k, 2 or 3)``: the same nodes of the closed outer edge, in order, either way round [mm]. Raises :class:`InputError` for fewer than three nodes
    or an outline without area.
    """
    p, q = np.asarray(before, dtype=np.float64)[:, :2], np.asarray(now, dtype=np.float64)[:, :2]
    if p.shape != q.shape or len(p) < 3:
        raise InputError(f"edges of {len(p)} and {len(q)} nodes do not belong together.", where="tryout edge")
    normal = _outward(p)
    every = _along(p, normal, q)
    centre = np.asarray(shapely.Polygon(p).centroid.coords[0])
    stations = []
    for k in range(STATIONS):
        at, n = _station(p, normal, centre, 2.0 * np.pi * k / STATIONS)
        stations.append(DrawIn((float(at[0]), float(at[1])), float(_along(at[None], n[None], q)[0]), f"{360 * k // STATIONS} degrees"))
    if np.isfinite(every).any():
        for name, i in (("largest", int(np.nanargmax(every))), ("least", int(np.nanargmin(every)))):
            stations.append(DrawIn((float(p[i, 0]), float(p[i, 1])), float(every[i]), name))
    return EdgeMoves(every, tuple(stations))


def _outward(p: Floats) -> Floats:
    step = np.roll(p, -1, axis=0) - np.roll(p, 1, axis=0)
    area = 0.5 * float((p[:, 0] * np.roll(p[:, 1], -1) - p[:, 1] * np.roll(p[:, 0], -1)).sum())
    if abs(area) < 1e-12 * float(np.ptp(p, axis=0).max()) ** 2:
        raise InputError("the edge of the blank encloses no area.", where="tryout edge")
    n = np.column_stack([step[:, 1], -step[:, 0]]) * np.sign(area)
    return n / np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-300)


def _station(p: Floats, normal: Floats, centre: Floats, angle: float) -> tuple[Floats, Floats]:
    """Where the ray from the middle leaves the outline (farthest crossing), and the outward normal there."""
    ray = np.array([np.cos(angle), np.sin(angle)])
    a, b = p - centre, np.roll(p, -1, axis=0) - centre
    across_a, across_b = a[:, 0] * ray[1] - a[:, 1] * ray[0], b[:, 0] * ray[1] - b[:, 1] * ray[0]
    share = np.divide(across_a, across_a - across_b, out=np.full(len(p), np.nan), where=across_a != across_b)
    far = np.where((share >= 0.0) & (share <= 1.0), (a + np.nan_to_num(share)[:, None] * (b - a)) @ ray, -np.inf)
    i = int(np.argmax(far))
    n = (1.0 - share[i]) * normal[i] + share[i] * normal[(i + 1) % len(p)]
    return p[i] + share[i] * (np.roll(p, -1, axis=0)[i] - p[i]), n / np.linalg.norm(n)


def _along(at: Floats, normal: Floats, ring: Floats) -> Floats:
    """Way from each point against its normal to the nearest crossing with the closed ring; negative where the ring lies outside."""
    a, d = ring, np.roll(ring, -1, axis=0) - ring
    det = -normal[:, None, 0] * d[None, :, 1] + normal[:, None, 1] * d[None, :, 0]
    v = a[None] - at[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        # at - w n = a + u d
        w = (v[:, :, 0] * d[None, :, 1] - v[:, :, 1] * d[None, :, 0]) / det
        u = (normal[:, None, 1] * v[:, :, 0] - normal[:, None, 0] * v[:, :, 1]) / -det
    good = np.isfinite(w) & (u >= -1e-9) & (u <= 1.0 + 1e-9)
    size = np.where(good, np.abs(w), np.inf)
    best = np.argmin(size, axis=1)
    rows = np.arange(len(at))
    return np.where(np.isfinite(size[rows, best]), w[rows, best], np.nan)


def flange_left(now: Floats, opening: Floats, die_radius: float) -> Floats:
    """Flat flange left at each node of the edge ``(k, 2 or 3)`` [mm]: plan distance to where the die radius begins; negative on the radius or in the wall.

    ``opening (j, 2)`` is the closed punch opening line (the wall); the radius ends ``die_radius`` outside it.
    """
    ring = shapely.Polygon(np.asarray(opening, dtype=np.float64)[:, :2])
    if not ring.is_valid or ring.area <= 0:
        raise InputError("the punch opening line crosses itself or encloses no area.", where="tryout edge", help="Check the faces.")
    at = shapely.points(np.asarray(now, dtype=np.float64)[:, :2])
    away = shapely.distance(ring.exterior, at)
    return np.where(shapely.contains(ring, at), -away, away) - die_radius

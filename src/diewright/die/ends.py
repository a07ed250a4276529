"""Open ends: stretches of the part's edge that climb, as at the end of a channel, with what lies low between two climbs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from diewright.die.edge import Edge
from diewright.die.line import away

Floats = NDArray[np.float64]

ALIKE = (0.8, 0.95)
"""Cosines of the angle between a point's own way out and that of its end from which on it follows it, and follows it wholly."""
MOST = 0.6
"""Share of an end's length that must be led on alike for it to have one way."""
_PASSAGE = 15.0  # mm along the edge over which the one way passes into the edge's own


def open_end(edge: Edge) -> NDArray[np.bool_]:
    """True at the points ``(k,)`` of open ends: where the edge climbs, and what lies between a fall and the next climb below the middle of both."""
    steep, z = edge.climb > 0.5, edge.points[:, 2]
    out = steep.copy()
    begin = np.flatnonzero(~steep & np.roll(steep, 1))
    for i in map(int, begin):
        length = int(np.argmax(np.roll(steep, -i)))
        run = (i + np.arange(length)) % len(z)
        before, after = z[(i - 1) % len(z)], z[(i + length) % len(z)]
        high = [_top(z, steep, i - 1, -1), _top(z, steep, i + length, 1)]
        if max(before, after, float(z[run].max())) < 0.5 * min(float(z[run].min()) + h for h in high):
            out[run] = True
    return out


def _top(z: Floats, steep: NDArray[np.bool_], at: int, way: int) -> float:
    """Highest point of the climb that holds the point ``at``, followed one ``way``."""
    k, best = len(z), -math.inf
    for _ in range(k):
        if not steep[at % k]:
            break
        best = max(best, float(z[at % k]))
        at += way
    return best


def way_out(edge: Edge) -> Floats:
    """The way out in plan ``(k, 2)`` along which the part's own surface is led on; straight across the edge where that stands upright."""
    plan = edge.lead[:, :2]
    size = np.hypot(*plan.T)[:, None]
    return np.asarray(np.where(size > 0.02, plan / np.maximum(size, 1e-12), edge.outward))


def one_way(edge: Edge) -> Edge:
    """The edge with each open end led on one way as a whole, the mean of its own, laid into the surface at each point.

    The sections then stand in parallel planes and carry the part on as it runs, whichever way its walls lean. Where the edge turns off into the top of a wall it keeps its own way.
    """
    lead = np.array(edge.lead)
    ends = open_end(edge) if edge.climbs else np.zeros(len(lead), dtype=bool)
    for run in _runs(ends):
        mean = _common(edge.lead[run], edge.lengths[run])
        if mean is None:
            continue
        aim = mean - (edge.normal @ mean)[:, None] * edge.normal
        aim /= np.maximum(np.linalg.norm(aim, axis=1, keepdims=True), 1e-12)
        here = np.zeros(len(lead), dtype=bool)
        here[run] = True
        x = np.clip(away(edge.points, here) / _PASSAGE, 0.0, 1.0)[:, None]
        alike = np.clip((np.einsum("ij,ij->i", edge.lead, aim) - ALIKE[0]) / (ALIKE[1] - ALIKE[0]), 0.0, 1.0)[:, None]
        lead += (1.0 - x * x * (3.0 - 2.0 * x)) * alike * (aim - lead)
    return replace(edge, lead=lead / np.maximum(np.linalg.norm(lead, axis=1, keepdims=True), 1e-12))


def _common(lead: Floats, weight: Floats) -> Floats | None:
    """The way that most of an end is led on, without what turns off at its corners; None where the end has no such way."""
    mean = (lead * weight[:, None]).sum(axis=0)
    for _ in range(3):
        mean = mean / max(float(np.linalg.norm(mean)), 1e-12)
        alike = weight * (lead @ mean > ALIKE[1])
        if alike.sum() < MOST * weight.sum():
            return None
        mean = (lead * alike[:, None]).sum(axis=0)
    return np.asarray(mean / max(float(np.linalg.norm(mean)), 1e-12))


def _runs(mask: NDArray[np.bool_]) -> Iterator[NDArray[np.intp]]:
    """Contiguous runs of a closed mask."""
    k = len(mask)
    for i in np.flatnonzero(mask & ~np.roll(mask, 1)):
        length = int(np.argmin(np.roll(mask, -i))) if not mask.all() else k
        yield (i + np.arange(length)) % k

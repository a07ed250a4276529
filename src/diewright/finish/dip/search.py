"""The best attitude of a part by search over all directions up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry import flood
from diewright.geometry.flood_space import Space
from diewright.watch import Watch

Floats = NDArray[np.float64]

APART = np.radians(30.0)
"""Two attitudes count as distinct from here."""
ALIKE = 100.0
"""[mm3] costs closer than this count as equal: the attitude with more room is better then."""
MORE = 1000.0
"""[mm3] how much more the cost may become before an attitude counts as left: a rack never hangs quite as drawn."""
_CHUNK = 40


@dataclass(frozen=True, eq=False)
class Search:
    """``ups (n, 3)``; ``totals (n, 4)``: air, air weighed by significant sides, pools [mm3], significant area without liquid [mm2]; ``best (k, 3)`` refined, distinct, best first,
    ``best_totals (k, 4)``; ``best_room (k,)`` angle [deg] to the nearest swept attitude that costs 1 mL more."""

    ups: Floats
    totals: Floats
    best: Floats
    best_totals: Floats
    best_room: Floats


def even_directions(count: int) -> Floats:
    """About even unit vectors ``(count, 3)`` by the golden angle."""
    i = np.arange(count) + 0.5
    polar = np.arccos(1.0 - 2.0 * i / count)
    turn = np.pi * (1.0 + np.sqrt(5.0)) * i
    return np.stack([np.cos(turn) * np.sin(polar), np.sin(turn) * np.sin(polar), np.cos(polar)], axis=1)


def cost(totals: Floats) -> Floats:
    """Trapped air where it lies on significant surface, plus pools [mm3]."""
    return totals[:, 1] + totals[:, 2]


def sweep(space: Space, ups: Floats, weight: Floats, watch: Watch, phase: str = "trying attitudes") -> Floats:
    """Totals ``(n, 4)`` of each direction up, see :func:`diewright.geometry.flood.totals`."""
    out = np.zeros((len(ups), 4))
    for i in range(0, len(ups), _CHUNK):
        watch.step(phase, i, len(ups))
        out[i : i + _CHUNK] = flood.totals(
            np.ascontiguousarray(ups[i : i + _CHUNK]), space.places, space.start, space.near, space.open, space.cells, space.volumes, space.sides,
            space.areas, weight,
        )  # fmt: skip
    return out


def search(space: Space, count: int, weight: Floats, watch: Watch, wanted: int = 3) -> Search:
    """Sweep ``count`` directions, then refine the ``wanted`` best that lie 30 degrees apart by a pattern search on the sphere."""
    ups = even_directions(count)
    totals = sweep(space, ups, weight, watch)
    each = cost(totals)
    order = np.lexsort((-_room(ups, each, ups, each), np.floor(each / ALIKE)))
    starts: list[int] = []
    for i in order:
        if all(ups[i] @ ups[j] < np.cos(APART) for j in starts):
            starts.append(int(i))
        if len(starts) == wanted:
            break
    step = np.sqrt(4.0 * np.pi / count)
    found = [_refined(space, ups[i], totals[i], weight, step, watch) for i in starts]
    best, best_totals = np.array([f[0] for f in found]), np.array([f[1] for f in found])
    best_room = _room(ups, each, best, cost(best_totals))
    rank = np.lexsort((-best_room, np.floor(cost(best_totals) / ALIKE)))
    return Search(ups, totals, best[rank], best_totals[rank], best_room[rank])


def _room(ups: Floats, each: Floats, at: Floats, own: Floats) -> Floats:
    """Angle from each of ``at (k, 3)`` to the nearest of ``ups`` that costs :data:`MORE` than its ``own (k,)``; 180 if none does [deg]."""
    out = np.full(len(at), 180.0)
    for i, (u, c) in enumerate(zip(at, own, strict=True)):
        worse = each > c + MORE
        if worse.any():
            out[i] = float(np.degrees(np.arccos(np.clip((ups[worse] @ u).max(), -1.0, 1.0))))
    return out


def _refined(space: Space, up: Floats, totals: Floats, weight: Floats, step: float, watch: Watch) -> tuple[Floats, Floats]:
    """Six neighbours a step away, the step halved when none is better by more than a hundredth, five times."""
    for _ in range(12):
        if cost(totals[None])[0] <= ALIKE or step < 0.03 * np.sqrt(4.0 * np.pi / 1000):
            break
        first = np.cross(up, np.eye(3)[int(np.argmin(np.abs(up)))])
        first /= np.linalg.norm(first)
        angle = np.pi / 3.0 * np.arange(6)
        way = np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * np.cross(up, first)
        tried = np.cos(step) * up + np.sin(step) * way
        found = sweep(space, tried, weight, watch, "refining the best attitudes")
        best = int(np.argmin(cost(found)))
        if cost(found)[best] < 0.99 * cost(totals[None])[0]:
            up, totals = tried[best], found[best]
        else:
            step *= 0.5
    return up, totals

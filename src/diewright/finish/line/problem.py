"""The line in whole ticks of time: what the solver sees. Carries and travels are rounded up, windows inwards, so what it finds is true of the line itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diewright.errors import InputError
from diewright.finish.line.crossing import forbidden
from diewright.finish.line.plant import Move, Plant

NO_SERVICE = -1
SLACK = 1e-6
"""Rounding slack in ticks: a time that is whole but for float error stays whole."""


@dataclass(frozen=True)
class Soak:
    """A stay in a bath between the moves ``before`` and ``after`` (numbers), ``least`` to ``most`` ticks (None: no limit)."""

    station: int
    before: int
    after: int
    least: int
    most: int | None


@dataclass(frozen=True)
class Stand:
    """A stay of ``length`` ticks at a loading place that ends with a move (``ends``) or begins with one's end."""

    station: int
    move: int
    length: int
    ends: bool


@dataclass(frozen=True)
class Problem:
    """Ticks of ``tick`` seconds. ``carry`` (moves, hoists), -1 where a hoist does not serve; ``apart[i, j, g, h]`` = lowest and highest
    of the open interval of ``start j - start i`` that is forbidden when hoist g does i and h does j (lowest > highest: none); ``first`` the first move of each rack; ``longest`` a cycle that is surely long enough."""

    tick: float
    plant: Plant
    moves: tuple[Move, ...]
    carry: np.ndarray
    apart: np.ndarray
    soaks: tuple[Soak, ...]
    stands: tuple[Stand, ...]
    first: tuple[int, ...]
    longest: int

    def stays(self, station: int) -> list[Soak | Stand]:
        """All stays at a station."""
        return [*(s for s in self.soaks if s.station == station), *(s for s in self.stands if s.station == station)]


def up(seconds: float, tick: float) -> int:
    """Whole ticks that are no shorter."""
    return math.ceil(seconds / tick - SLACK)


def down(seconds: float, tick: float) -> int:
    """Whole ticks that are no longer."""
    return math.floor(seconds / tick + SLACK)


def problem_of(plant: Plant, tick: float) -> Problem:
    """Round a line to ticks. Raises :class:`InputError` for a carry that no hoist reaches or a window that holds no whole tick."""
    moves, hoists = plant.moves, range(len(plant.hoists))
    carry = np.array([[up(plant.carry(m, h), tick) if plant.serves(m, h) else NO_SERVICE for h in hoists] for m in moves])
    for m, row in zip(moves, carry, strict=True):
        if (row < 0).all():
            a, b = plant.stations[m.source].name, plant.stations[m.target].name
            raise InputError(
                f"no hoist reaches from '{a}' to '{b}' with the others beside it on the track.", where="line.hoist", help="Lengthen the track, or give a hoist more of it."
            )  # fmt: skip
    soaks, stands, first = [], [], []
    for k, m in enumerate(moves):
        visit = plant.visit(m)
        if m.step == 0:
            first.append(k)
            stands.append(Stand(m.source, k, up(plant.stations[m.source].loading, tick), True))
        else:
            least, most = up(visit.least, tick), down(visit.most, tick) if math.isfinite(visit.most) else None
            if most is not None and most < least:
                raise InputError(
                    f"the window {visit.least:g} to {visit.most:g} s of '{plant.stations[m.source].name}' holds no whole step of {tick:g} s.",
                    where="line.tick_s", help="State a finer tick, or a wider window.",
                )  # fmt: skip
            soaks.append(Soak(m.source, k - 1, k, least, most))
        if k + 1 == len(moves) or moves[k + 1].step == 0:
            stands.append(Stand(m.target, k, up(plant.stations[m.target].unloading, tick), False))
    far = max(
        (up(plant.empty(a, b, h), tick) for h in hoists for a in range(len(plant.stations)) for b in range(len(plant.stations))), default=0
    )
    longest = sum(int(r.max()) + 2 * far for r in carry) + sum(s.least for s in soaks) + sum(s.length for s in stands)
    return Problem(tick, plant, moves, carry, _apart(plant, moves, carry, tick), tuple(soaks), tuple(stands), tuple(first), max(longest, 1))


def _apart(plant: Plant, moves: tuple[Move, ...], carry: np.ndarray, tick: float) -> np.ndarray:
    n, hoists = len(moves), len(plant.hoists)
    out = np.zeros((n, n, hoists, hoists, 2), dtype=np.int64)
    out[..., 0] = 1  # lowest above highest: nothing is forbidden
    ways = {
        (i, h): _way(plant, m, h, int(carry[i, h]), tick)
        for i, m in enumerate(moves)
        for h in range(hoists)
        if carry[i, h] >= 0 and plant.tables is None
    }
    for i, a in enumerate(moves):
        for j, b in enumerate(moves):
            for g in range(hoists):
                for h in range(hoists):
                    if carry[i, g] < 0 or carry[j, h] < 0 or (i == j and g != h):
                        continue
                    if g == h:
                        span = (
                            -(int(carry[j, h]) + up(plant.empty(b.target, a.source, h), tick)),
                            int(carry[i, g]) + up(plant.empty(a.target, b.source, g), tick),
                        )
                    else:
                        left, right = ((i, g), (j, h)) if g < h else ((j, h), (i, g))
                        found = forbidden(
                            ways[left], plant.hoists[left[1]].travel, ways[right], plant.hoists[right[1]].travel, plant.gap * abs(h - g)
                        )
                        if found is None:
                            continue
                        low, high = found if g < h else (-found[1], -found[0])
                        span = (down(low, tick), up(high, tick))
                    out[i, j, g, h] = span
    return out  # fmt: skip


def _way(plant: Plant, move: Move, hoist: int, ticks: int, tick: float) -> np.ndarray:
    """Time and position of a carry that lasts whole ticks: what is left over is spent above the tank it goes to, (6, 2)."""
    corners = plant.profile(move, hoist)[:, :2]
    return np.vstack([corners, [max(ticks * tick, corners[-1, 0]), corners[-1, 1]]])

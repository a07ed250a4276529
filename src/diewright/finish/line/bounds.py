"""Cycles that no schedule can beat: what the busiest station needs, and what the hoists need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from diewright.finish.line.problem import Problem, up


@dataclass(frozen=True)
class Bounds:
    """Ticks. ``station[k]`` for each station, ``hoist`` for all of them together."""

    station: tuple[int, ...]
    hoist: int

    @property
    def cycle(self) -> int:
        """The highest of them, one tick at least."""
        return max(*self.station, self.hoist, 1)


def bounds_of(p: Problem) -> Bounds:
    """Station: its least soaks, and where it is one cell of a line with one hoist the time to take one rack away and bring the next, over its cells.

    Hoists: all carries, and the cheapest way to lead from the end of each carry to the start of another (an assignment), over the number of hoists.
    """
    stations = p.plant.stations
    need = [0.0] * len(stations)
    alone = len(p.plant.hoists) == 1
    visits = [len(p.stays(k)) for k in range(len(stations))]
    for s in p.soaks:
        need[s.station] += s.least
        if alone and stations[s.station].cells == 1 and visits[s.station] == 1:
            back = up(p.plant.empty(p.moves[s.after].target, p.moves[s.before].source, 0), p.tick)
            need[s.station] += int(p.carry[s.after, 0]) + back + int(p.carry[s.before, 0])
    for stand in p.stands:
        need[stand.station] += stand.length
    carried = [min(int(c) for c in row if c >= 0) for row in p.carry]
    hoists = range(len(p.plant.hoists))
    empty = np.array([[min(up(p.plant.empty(a.target, b.source, h), p.tick) for h in hoists) for b in p.moves] for a in p.moves])
    rows, columns = linear_sum_assignment(empty)
    total = sum(carried) + int(empty[rows, columns].sum())
    return Bounds(tuple(-(-int(n) // s.cells) for n, s in zip(need, stations, strict=True)), -(-total // len(p.plant.hoists)))

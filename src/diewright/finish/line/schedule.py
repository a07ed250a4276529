"""A cyclic schedule in seconds: when each carry of a rack starts and ends, counted from the cycle in which the rack is fetched from loading."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from diewright.finish.line.plant import Plant


@dataclass(frozen=True)
class Carry:
    """One loaded move: ``item`` of the mix, ``step`` of its recipe, ``hoist`` number, ``start`` and ``end`` [s] on the clock of the rack's own first cycle."""

    item: int
    step: int
    hoist: int
    start: float
    end: float


@dataclass(frozen=True)
class Schedule:
    """All carries of one cycle of ``cycle`` seconds; each happens again every cycle."""

    cycle: float
    carries: tuple[Carry, ...]

    def of_item(self, item: int) -> list[Carry]:
        """The carries of one rack, in the order of its recipe."""
        return sorted((c for c in self.carries if c.item == item), key=lambda c: c.step)


def soaks_table(plant: Plant, s: Schedule) -> dict[str, np.ndarray]:
    """One row a soak: ``item``, ``step``, ``tank`` (number), ``enter_s``, ``leave_s``, ``soak_s``, ``least_s``, ``most_s`` (nan: no limit)."""
    rows = []
    for item, recipe in enumerate(plant.mix):
        own = s.of_item(item)
        for before, after in pairwise(own):
            v = plant.recipes[recipe].visits[after.step]
            most = v.most if np.isfinite(v.most) else np.nan
            rows.append((item, after.step, v.station, before.end, after.start, after.start - before.end, v.least, most))
    names = ("item", "step", "tank", "enter_s", "leave_s", "soak_s", "least_s", "most_s")
    return {n: np.array([r[k] for r in rows], dtype=np.float64) for k, n in enumerate(names)}


def moves_table(plant: Plant, s: Schedule) -> dict[str, np.ndarray]:
    """One row a carry in the order of the cycle: ``item``, ``step``, ``hoist``, ``from``, ``to`` (tank numbers), ``start_s`` within the cycle, ``end_s``, ``cycles_later`` (of the rack's own)."""
    rows = []
    for c in s.carries:
        visits = plant.recipes[plant.mix[c.item]].visits
        later = np.floor(c.start / s.cycle + 1e-9)
        begin = max(c.start - later * s.cycle, 0.0)
        rows.append((c.item, c.step, c.hoist, visits[c.step].station, visits[c.step + 1].station, begin, begin + c.end - c.start, later))
    rows.sort(key=lambda r: (r[5], r[2]))
    names = ("item", "step", "hoist", "from", "to", "start_s", "end_s", "cycles_later")
    return {n: np.array([r[k] for r in rows], dtype=np.float64) for k, n in enumerate(names)}

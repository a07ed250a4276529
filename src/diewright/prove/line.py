"""Our values for ``reference/line.csv``: published cycles, played by the check, and the same lines by a mixed-integer program of its own."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from diewright.finish.line import instances
from diewright.finish.line.check import faults
from diewright.finish.line.crossing import forbidden
from diewright.finish.line.plant import Plant
from diewright.finish.line.problem import problem_of
from diewright.finish.line.schedule import Carry, Schedule
from diewright.finish.line.solve import solve
from diewright.finish.line.stated import plant_of
from diewright.finish.line.ways import ways_of
from diewright.job.schema import HoistStated, LineStated
from diewright.watch import Watch

PUBLISHED_STARTS = (0, 189, 302, 483, 74, 129, 270, 352, 448, 376, 41, 166, 218)
"""A shortest schedule of the 1976 line: starts within the cycle of 521 s."""


def solved(plant: Plant, *, other: bool = True) -> dict[str, float]:
    """Cycle, bound, faults that the check finds, and the cycle of the mixed-integer program."""
    o = solve(problem_of(plant, 1.0), 30.0, Watch())
    if o.schedule is None:
        return {}
    out = {"cycle": o.schedule.cycle, "bound": o.bound, "faults": float(len(faults(plant, o.schedule, ways_of(plant, o.schedule))))}
    return out | {"cycle by mixed-integer program": by_milp(plant)} if other else out


def by_milp(plant: Plant) -> float:
    """Shortest cycle [s] of one rack and one hoist with tables of times, tanks of one cell, by HiGHS.

    Unknown x = (T, t_0.., z_1.., b_1.., y..): z_k = b_k T linearised (b: the soak spans the end of the cycle), y orders a pair of moves.
    """
    assert plant.tables is not None
    carry, empty, visits = plant.tables.carry[0], plant.tables.empty, plant.recipes[0].visits
    n = len(carry)
    pairs = list(combinations(range(n), 2))
    big = float(sum(carry) + sum(v.least for v in visits) + max(max(r) for r in empty) * n)
    size = 1 + n + 2 * (n - 1) + len(pairs)
    t, z, b, y = 1, 1 + n, n + n, 2 * n + n - 1
    rows: list[np.ndarray] = []
    low: list[float] = []

    def at_least(terms: dict[int, float], value: float) -> None:
        row = np.zeros(size)
        for k, c in terms.items():
            row[k] += c
        rows.append(row)
        low.append(value)

    for k in range(1, n):
        soak = {t + k: 1.0, t + k - 1: -1.0, z + k - 1: 1.0}
        at_least(soak, visits[k].least + carry[k - 1])
        if np.isfinite(visits[k].most):
            at_least({i: -c for i, c in soak.items()}, -visits[k].most - carry[k - 1])
        apart = {
            b + k - 1: 1.0,
            y + pairs.index((k - 1, k)): 1.0,
        }  # a tank of one cell is left within the cycle before the next rack comes: b + y = 1
        at_least(apart, 1.0)
        at_least({i: -c for i, c in apart.items()}, -1.0)
        at_least({b + k - 1: big, z + k - 1: -1.0}, 0.0)
        at_least({0: 1.0, z + k - 1: -1.0}, 0.0)
        at_least({z + k - 1: 1.0, 0: -1.0, b + k - 1: -big}, -big)
    for k in range(n):
        at_least({0: 1.0, t + k: -1.0}, 0.0)
    at_least({0: 1.0, t + n - 1: -1.0}, carry[n - 1] + plant.stations[0].work)
    for q, (i, j) in enumerate(pairs):
        ij = carry[i] + empty[visits[i + 1].station][visits[j].station]
        ji = carry[j] + empty[visits[j + 1].station][visits[i].station]
        at_least({t + j: 1.0, t + i: -1.0, y + q: -2 * big}, ij - 2 * big)
        at_least({0: 1.0, t + i: 1.0, t + j: -1.0, y + q: -2 * big}, ji - 2 * big)
        at_least({t + i: 1.0, t + j: -1.0, y + q: 2 * big}, ji)
        at_least({0: 1.0, t + j: 1.0, t + i: -1.0, y + q: 2 * big}, ij)
    upper = np.full(size, big)
    upper[b:] = 1.0
    upper[t] = 0.0
    integer = np.zeros(size)
    integer[b:] = 1.0
    cost = np.zeros(size)
    cost[0] = 1.0
    found = milp(cost, integrality=integer, bounds=Bounds(0.0, upper), constraints=LinearConstraint(np.array(rows), np.array(low), np.inf))
    return float(found.fun) if found.success else float("nan")


def published_schedule() -> dict[str, float]:
    """The published starts, unrolled to the rack's own clock and played."""
    plant, cycle = instances.phillips_unger(), 521.0
    assert plant.tables is not None
    carries: list[Carry] = []
    end = 0.0
    for k, (start, lasts) in enumerate(zip(PUBLISHED_STARTS, plant.tables.carry[0], strict=True)):
        own = start + cycle * np.ceil(max(end - start, 0.0) / cycle)
        carries.append(Carry(0, k, 0, float(own), float(own + lasts)))
        end = carries[-1].end
    return {"faults": float(len(faults(plant, Schedule(cycle, tuple(carries)))))}


def crossing_by_hand() -> dict[str, float]:
    """Left hoist from 0 to 6 m, right hoist from 8 to 4 m, both 1 m/s, 5 s at each end, 2 m apart."""
    left = np.array([[0.0, 0.0], [5.0, 0.0], [11.0, 6.0], [16.0, 6.0]])
    right = np.array([[0.0, 8.0], [5.0, 8.0], [9.0, 4.0], [14.0, 4.0]])
    span = forbidden(left, 1.0, right, 1.0, 2.0)
    assert span is not None
    return {"lowest offset": float(span[0]), "highest offset": float(span[1])}


def hoists_added() -> dict[str, float]:
    """The typical line with one hoist and with two: the second must not make it slower, and nothing may touch."""
    cycles, wrong = [], 0
    for n in (1, 2):
        plant = plant_of(LineStated(hoist=tuple(HoistStated(name=f"hoist {k + 1}") for k in range(n))))
        o = solve(problem_of(plant, 0.5), 30.0, Watch())
        if o.schedule is None:
            return {}
        cycles.append(o.schedule.cycle)
        wrong += len(faults(plant, o.schedule, ways_of(plant, o.schedule)))
    return {"excess of two hoists over one": max(cycles[1] - cycles[0], 0.0), "faults": float(wrong)}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "phillips-unger": lambda: solved(instances.phillips_unger()),
    "phillips-unger-tenths": lambda: {"cycle": _cycle(instances.phillips_unger(), 0.1)},
    "phillips-unger-schedule": published_schedule,
    "four-stages": lambda: solved(instances.four_stages()),
    "three-stages": lambda: solved(instances.three_stages()),
    "hoists-crossing": crossing_by_hand,
    "hoists-added": hoists_added,
}


def _cycle(plant: Plant, tick: float) -> float:
    o = solve(problem_of(plant, tick), 30.0, Watch())
    return float("nan") if o.schedule is None else o.schedule.cycle

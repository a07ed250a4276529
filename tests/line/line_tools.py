"""Random lines, and the model asked about a schedule that is given: for comparing solver and check."""

from __future__ import annotations

import math
import random
from dataclasses import replace

from ortools.sat.python import cp_model

from diewright.finish.line.check import faults
from diewright.finish.line.model import build
from diewright.finish.line.plant import Hoist, Plant, Recipe, Station, Visit
from diewright.finish.line.problem import Problem
from diewright.finish.line.schedule import Carry, Schedule
from diewright.finish.line.ways import ways_of


def random_plant(seed: int, *, tanks: int = 4, hoists: int = 1, racks: int = 1, twice: bool = False) -> Plant:
    """A line with random places, windows, speeds and, with several racks, two recipes; ``twice`` sends racks to one tank two times. All carries take whole seconds."""
    r = random.Random(seed)
    together = r.random() < 0.5
    stations = [Station("in", 0.0, 1, "load-unload" if together else "load", float(r.choice([0, 10, 40])))]
    place = 0.0
    for k in range(tanks):
        place += r.choice([1.0, 2.0, 3.0])
        stations.append(Station(f"tank {k}", place, r.choice([1, 1, 1, 2, 3]), "bath"))
    if not together:
        stations.append(Station("out", place + 2.0, 1, "unload", float(r.choice([0, 20]))))

    def recipe(name: str) -> Recipe:
        order = list(range(1, tanks + 1))
        if r.random() < 0.3:
            r.shuffle(order)
        if twice and tanks > 2:
            order.insert(r.randrange(2, tanks + 1), order[0])
        visits = [Visit(0, 0.0, math.inf, 0.0)]
        for k in order:
            least = float(r.choice([10, 20, 30, 60, 120]))
            visits.append(Visit(k, least, r.choice([least, least + 10, 2 * least, math.inf]), float(r.choice([0, 3, 7]))))
        return Recipe(name, (*visits, Visit(0 if together else tanks + 1)))

    recipes = (recipe("A"), recipe("B"))
    mix = (0, 1, 0)[:racks] if racks > 1 else (0,)
    speed = r.choice([0.5, 1.0])
    gap = r.choice([1.0, 1.5, 2.0])
    low, high = -gap * (hoists - 1), place + 2.0 + gap * (hoists - 1)
    made = tuple(
        Hoist(f"hoist {h + 1}", speed if hoists > 2 else r.choice([speed, 0.5]), r.choice([0.25, 0.3]), 0.25, low, high)
        for h in range(hoists)
    )
    return Plant(tuple(stations), made, recipes, mix, 1.5, gap)


def holds(p: Problem, s: Schedule) -> bool:
    """Whether the constraint model takes a schedule: all its times, hoists and spans are fixed, the cycle too."""
    cycle = round(s.cycle / p.tick)
    m = build(p, cycle, cycle)
    by = {(c.item, c.step): c for c in s.carries}
    soaks = {k.after: n for n, k in enumerate(p.soaks)}
    for i, move in enumerate(p.moves):
        c = by[move.item, move.step]
        if round((c.end - c.start) / p.tick) < p.carry[i, c.hoist] or p.carry[i, c.hoist] < 0:
            return False
        long = round(c.start / p.tick)
        m.cp.add(m.start[i] == long % cycle)
        m.cp.add(m.does[i][c.hoist] == 1)
        if move.step:
            before = round(by[move.item, move.step - 1].start / p.tick)
            spans = (long - long % cycle - before + before % cycle) // cycle
            switches = m.spans[soaks[i]]
            if not 0 <= spans < len(switches):
                return False
            m.cp.add(switches[spans] == 1)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    return solver.solve(m.cp) in (cp_model.OPTIMAL, cp_model.FEASIBLE)


def told(plant: Plant, s: Schedule) -> list[str]:
    """What the check says of a schedule and the ways that follow from it."""
    return faults(plant, s, ways_of(plant, s))


def shifted(s: Schedule, k: int, by: float) -> Schedule:
    """The schedule with one carry moved in time."""
    c = s.carries[k]
    moved = Carry(c.item, c.step, c.hoist, c.start + by, c.end + by)
    return replace(s, carries=(*s.carries[:k], moved, *s.carries[k + 1 :]))


def handed(s: Schedule, k: int, hoist: int, lasts: float) -> Schedule:
    """The schedule with one carry given to another hoist."""
    c = s.carries[k]
    return replace(s, carries=(*s.carries[:k], replace(c, hoist=hoist, end=c.start + lasts), *s.carries[k + 1 :]))

"""The shortest cycle by constraint programming (CP-SAT): proved where time allows, else with the bound that was reached."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from dataclasses import dataclass
from typing import Literal

from ortools.sat.python import cp_model

from diewright.errors import InputError
from diewright.finish.line.bounds import bounds_of
from diewright.finish.line.model import Model, build
from diewright.finish.line.problem import Problem
from diewright.finish.line.schedule import Carry, Schedule
from diewright.watch import Watch

Status = Literal["proved", "found", "none", "open"]
"""``proved``: the shortest; ``found``: a schedule, its distance from the bound is told; ``none``: there is none; ``open``: neither found nor excluded in the time."""

WORDS: dict[int, Status] = {
    int(cp_model.OPTIMAL): "proved",
    int(cp_model.FEASIBLE): "found",
    int(cp_model.INFEASIBLE): "none",
    int(cp_model.UNKNOWN): "open",
}
PERIOD = 0.1
"""Seconds between two looks at whether the person has stopped the work."""


@dataclass(frozen=True)
class Outcome:
    """What the search gave; ``bound`` [s] is a cycle that no schedule beats (above ``limit`` where there is none); ``seconds`` the search took."""

    status: Status
    bound: float
    limit: float
    schedule: Schedule | None
    seconds: float = 0.0

    @property
    def gap(self) -> float:
        """Share by which a shorter cycle is not excluded."""
        return 0.0 if self.schedule is None else max(1.0 - self.bound / self.schedule.cycle, 0.0)


def solve(
    p: Problem,
    seconds: float,
    watch: Watch,
    *,
    most_cycle: float | None = None,
    hint: Schedule | None = None,
    phase: str = "shortest cycle",
) -> Outcome:
    """Search for at most ``seconds``; ``most_cycle`` [s] asks for no longer a cycle; ``hint`` is a schedule to begin from. Raises :class:`Cancelled`."""
    limit = p.longest if most_cycle is None else int(most_cycle / p.tick + 1e-6)
    least = bounds_of(p).cycle
    if limit < least:
        return Outcome("none", least * p.tick, limit * p.tick, None)
    model = build(p, least, limit)
    model.cp.minimize(model.cycle)
    if hint is not None:
        _hint(model, p, hint)
    solver = new_solver(seconds)
    found = run(solver, model.cp, watch, phase, seconds)
    status = WORDS.get(found)
    if status is None:
        raise InputError(f"the line cannot be put into a model: {model.cp.validate() or solver.status_name(found)}.", where="line")
    schedule = read(model, p, solver) if status in ("proved", "found") else None
    bound = limit + 1 if status == "none" else max(least, round(solver.best_objective_bound)) if schedule else least
    return Outcome(status, bound * p.tick, limit * p.tick, schedule, solver.wall_time)


def new_solver(seconds: float) -> cp_model.CpSolver:
    """A solver with a fixed seed."""
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 8
    solver.parameters.random_seed = 1
    return solver


def run(solver: cp_model.CpSolver, cp: cp_model.CpModel, watch: Watch, phase: str, seconds: float) -> int:
    """Solve in a thread of its own, so that the person can stop it at any time."""
    with ThreadPoolExecutor(1) as pool:
        future = pool.submit(solver.solve, cp)
        waited = 0.0
        try:
            while True:
                watch.step(phase, min(waited, seconds), seconds)
                try:
                    return int(future.result(timeout=PERIOD))  # type: ignore[call-overload]
                except NotYet:
                    waited += PERIOD
        finally:
            if not future.done():
                solver.stop_search()


def _hint(model: Model, p: Problem, hint: Schedule) -> None:
    cycle = round(hint.cycle / p.tick)
    model.cp.add_hint(model.cycle, cycle)
    by = {(c.item, c.step): c for c in hint.carries}
    for i, move in enumerate(p.moves):
        carry = by.get((move.item, move.step))
        if carry is None:
            continue
        model.cp.add_hint(model.start[i], round(carry.start / p.tick) % cycle)
        for h, on in enumerate(model.does[i]):
            model.cp.add_hint(on, h == carry.hoist)


def read(model: Model, p: Problem, solver: cp_model.CpSolver) -> Schedule:
    """The schedule of a solved model, each rack on its own clock."""
    cycle = solver.value(model.cycle)
    carries: list[Carry] = []
    soaks = {s.after: k for k, s in enumerate(p.soaks)}
    end = 0
    for i, move in enumerate(p.moves):
        start = solver.value(model.start[i])
        hoist = next(h for h, on in enumerate(model.does[i]) if solver.boolean_value(on))
        if move.step:
            spans = next(c for c, on in enumerate(model.spans[soaks[i]]) if solver.boolean_value(on))
            before = carries[-1]
            soak = start + spans * cycle - solver.value(model.start[i - 1]) - int(p.carry[i - 1, before.hoist])
            start = end + soak
        end = start + int(p.carry[i, hoist])
        carries.append(Carry(move.item, move.step, hoist, start * p.tick, end * p.tick))
    return Schedule(cycle * p.tick, tuple(carries))

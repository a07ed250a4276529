"""Which windows conflict: a smallest set of requirements that no cycle within the limit can keep together.

Every window end, every station's cells and the hoists stand behind a switch. The solver names a set of switches that cannot all be on; each is then left out in turn, and stays out where the rest still
cannot be kept (deletion filter): what remains is minimal, each member is needed.
"""

from __future__ import annotations

from dataclasses import dataclass

from ortools.sat.python import cp_model

from diewright.finish.line.model import build
from diewright.finish.line.problem import Problem, Soak
from diewright.finish.line.solve import new_solver, run
from diewright.watch import Watch

Requirement = tuple[str, int]
"""(``least`` | ``most`` | ``cells`` | ``hoist``, number of the soak or the station)."""


@dataclass(frozen=True)
class Conflict:
    """The requirements that cannot be kept together in a cycle of ``limit`` seconds or less; ``minimal`` where each was shown to be needed."""

    limit: float
    members: tuple[Requirement, ...]
    minimal: bool
    sentences: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """All of it in one sentence."""
        if not self.members:
            return f"No cycle of {self.limit:g} s or less holds the longest carry."
        return f"In a cycle of {self.limit:g} s or less these cannot all be kept: {'; '.join(self.sentences)}."


def conflict_of(p: Problem, limit: float, seconds: float, watch: Watch) -> Conflict | None:
    """A minimal conflict for cycles of at most ``limit`` seconds, each search in at most ``seconds``; None if they can be kept, or if that stays open."""
    most = int(limit / p.tick + 1e-6)
    least = max(min(int(c) for c in row if c >= 0) for row in p.carry)
    if most < least:
        return Conflict(limit, (), True, ())
    core = _first(p, least, most, seconds, watch)
    if core is None:
        return None
    minimal = True
    for tried, member in enumerate(list(core)):
        rest = [r for r in core if r != member]
        status = _keeps(p, least, most, rest, seconds, watch, f"what conflicts, {tried + 1}")
        if status == cp_model.INFEASIBLE:
            core = rest
        elif status == cp_model.UNKNOWN:
            minimal = False
    return Conflict(limit, tuple(core), minimal, tuple(say(p, r) for r in core))


def _first(p: Problem, least: int, most: int, seconds: float, watch: Watch) -> list[Requirement] | None:
    """All requirements where they cannot be kept, narrowed by what the solver says suffices."""
    model = build(p, least, most, guarded=True)
    by = {guard.index: name for name, guard in model.guards.items()}
    model.cp.add_assumptions(list(model.guards.values()))
    solver = new_solver(seconds)
    solver.parameters.num_workers = 1
    if run(solver, model.cp, watch, "what conflicts", seconds) == cp_model.INFEASIBLE:
        named = [by[k] for k in solver.sufficient_assumptions_for_infeasibility() if k in by]
        if named and _keeps(p, least, most, named, seconds, watch, "what conflicts") == cp_model.INFEASIBLE:
            return named
    every = list(model.guards)
    return every if _keeps(p, least, most, every, seconds, watch, "what conflicts") == cp_model.INFEASIBLE else None


def _keeps(p: Problem, least: int, most: int, kept: list[Requirement], seconds: float, watch: Watch, phase: str) -> int:
    model = build(p, least, most, guarded=True)
    for name, guard in model.guards.items():
        model.cp.add(guard == int(name in kept))
    return run(new_solver(seconds), model.cp, watch, phase, seconds)


def say(p: Problem, r: Requirement) -> str:
    """A requirement in words."""
    kind, k = r
    if kind == "hoist":
        n = len(p.plant.hoists)
        return "one hoist does all carries" if n == 1 else f"{n} hoists do all carries on one track"
    if kind == "cells":
        station = p.plant.stations[k]
        return f"'{station.name}' has {station.cells} {'cell' if station.cells == 1 else 'cells'}"
    soak: Soak = p.soaks[k]
    move, name = p.moves[soak.after], p.plant.stations[soak.station].name
    visit = p.plant.visit(move)
    if kind == "least":
        return f"at least {visit.least:g} s in '{name}'"
    carry = min(int(c) for c in p.carry[soak.after] if c >= 0) * p.tick
    return f"at most {visit.most:g} s in '{name}', from where the carry to '{p.plant.stations[move.target].name}' takes {carry:g} s"

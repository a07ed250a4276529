"""The cyclic schedule as a constraint model.

Unknown: the cycle T, the start t of each move within 0 <= t < T, its hoist, and for each soak the number of cycles it spans.
- Soak between moves i and j: least <= t_j + m T - (t_i + carry_i) <= most for one whole m.
- Two moves by hoists that could meet: t_j - t_i stays out of the forbidden open interval (a, b) modulo T: for one whole k
  t_j - t_i + k T >= b and t_j - t_i + (k - 1) T <= a.
- A station with c cells: a sole visitor stays c T at most; else the stays that cover an arrival, the arrival's own included, are c at most.
The products m T and k T become linear under their own yes-or-no unknowns.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

from ortools.sat.python import cp_model

from diewright.finish.line.problem import Problem, Soak, Stand

SHIFTS = range(-3, 5)
"""Whole cycles by which two stays at one station can lie apart; a stay begins between one cycle before and two cycles after zero, and one cell holds it for one cycle at most."""


@dataclass
class Model:
    """The model with its unknowns; ``guards`` are switches of constraints that can be dropped, by name (only where asked for)."""

    cp: cp_model.CpModel
    cycle: Any
    start: list[Any]
    does: list[list[Any]]
    spans: list[list[Any]]
    guards: dict[tuple[str, int], Any] = field(default_factory=dict)


def build(p: Problem, least_cycle: int, most_cycle: int, *, guarded: bool = False) -> Model:
    """The model with the cycle between two bounds [ticks]. ``guarded`` puts windows, cells and hoists behind switches named (kind, number)."""
    cp = cp_model.CpModel()
    n, hoists = len(p.moves), len(p.plant.hoists)
    cycle = cp.new_int_var(least_cycle, most_cycle, "cycle")
    start = [cp.new_int_var(0, most_cycle - 1, f"t{i}") for i in range(n)]
    does = [[cp.new_bool_var(f"h{i}_{h}") for h in range(hoists)] for i in range(n)]
    m = Model(cp, cycle, start, does, [])
    for i in range(n):
        cp.add_exactly_one(does[i])
        cp.add(start[i] + 1 <= cycle)
        for h in range(hoists):
            if p.carry[i, h] < 0:
                cp.add(does[i][h] == 0)
    cp.add(start[p.first[0]] == 0)
    for a, b in zip(p.first, p.first[1:], strict=False):
        cp.add(start[b] >= start[a] + 1)
    ends = [start[i] + sum(int(max(p.carry[i, h], 0)) * does[i][h] for h in range(hoists)) for i in range(n)]
    _soaks(m, p, ends, least_cycle, most_cycle, guarded)
    _stations(m, p, ends, guarded)
    _hoists(m, p, guarded)
    return m


def _guard(m: Model, kind: str, number: int, guarded: bool) -> list[Any]:
    if not guarded:
        return []
    if (kind, number) not in m.guards:
        m.guards[kind, number] = m.cp.new_bool_var(f"{kind}{number}")
    return [m.guards[kind, number]]


def _soaks(m: Model, p: Problem, ends: list[Any], least_cycle: int, most_cycle: int, guarded: bool) -> None:
    for k, s in enumerate(p.soaks):
        cells = p.plant.stations[s.station].cells
        longest = most_cycle + int(p.carry[s.before].max()) + (s.most if s.most is not None else cells * most_cycle)
        most = min(cells + 1, longest // least_cycle + 1) if not guarded else longest // least_cycle + 1
        spans = [m.cp.new_bool_var(f"m{k}_{c}") for c in range(min(most, 60) + 1)]
        m.spans.append(spans)
        m.cp.add_exactly_one(spans)
        for c, on in enumerate(spans):
            soak = m.start[s.after] + c * m.cycle - ends[s.before]
            m.cp.add(soak >= 0).only_enforce_if(on)
            m.cp.add(soak >= s.least).only_enforce_if(on, *_guard(m, "least", k, guarded))
            if s.most is not None:
                m.cp.add(soak <= s.most).only_enforce_if(on, *_guard(m, "most", k, guarded))


@dataclass(frozen=True)
class Stay:
    """A stay at a station: ``begin``, and its end under each set of switches; ``brought`` and ``fetched`` by a hoist, not by hand."""

    begin: Any
    ends: list[tuple[list[Any], Any]]
    brought: bool
    fetched: bool

    def clear(self, other: Stay) -> int:
        """Ticks from this stay's end to the other's begin: a hoist cannot lower a rack in the instant in which one is lifted out."""
        return int(self.fetched and other.brought)


def _stations(m: Model, p: Problem, ends: list[Any], guarded: bool) -> None:
    for k, station in enumerate(p.plant.stations):
        stays = [_stay(m, p, s, ends) for s in p.stays(k)]
        guard = _guard(m, "cells", k, guarded) if stays else []
        for stay in stays:
            for on, end in stay.ends:
                m.cp.add(end - stay.begin + stay.clear(stay) <= station.cells * m.cycle).only_enforce_if(*on, *guard)
        if len(stays) > 1 and station.cells == 1:
            for a, b in combinations(stays, 2):
                _apart(m, a, b, guard)
        elif len(stays) > 1:
            _counted(m, stays, station.cells, guard)


def _stay(m: Model, p: Problem, s: Soak | Stand, ends: list[Any]) -> Stay:
    if isinstance(s, Stand):
        end = m.start[s.move] if s.ends else ends[s.move] + s.length
        return Stay(end - s.length, [([], end)], not s.ends, s.ends)
    spans = m.spans[p.soaks.index(s)]
    return Stay(ends[s.before], [([on], m.start[s.after] + c * m.cycle) for c, on in enumerate(spans)], True, True)


def _apart(m: Model, a: Stay, b: Stay, guard: list[Any]) -> None:
    """One of the stays is over before the other begins, whatever cycles they belong to."""
    shifts = [m.cp.new_bool_var("") for _ in SHIFTS]
    m.cp.add_exactly_one(shifts)
    for shift, chosen in zip(SHIFTS, shifts, strict=True):
        for on, end in a.ends:
            m.cp.add(b.begin + shift * m.cycle >= end + a.clear(b)).only_enforce_if(chosen, *on, *guard)
        for on, end in b.ends:
            m.cp.add(end + b.clear(a) + shift * m.cycle <= a.begin + m.cycle).only_enforce_if(chosen, *on, *guard)


def _counted(m: Model, stays: list[Stay], cells: int, guard: list[Any]) -> None:
    """At each arrival no more stays are under way than there are cells."""
    for i, stay in enumerate(stays):
        covers = []
        for j, other in enumerate(stays):
            for shift in range(-cells - 3, 4):
                if i == j and shift == 0:
                    continue
                inside, over = m.cp.new_bool_var(""), m.cp.new_bool_var("")
                m.cp.add(other.begin + shift * m.cycle > stay.begin).only_enforce_if(inside.negated(), over.negated())
                for on, end in other.ends:
                    m.cp.add(end + other.clear(stay) + shift * m.cycle <= stay.begin).only_enforce_if(over, *on)
                covers.append(inside)
        m.cp.add(sum(covers) <= cells - 1).only_enforce_if(*guard)


def _hoists(m: Model, p: Problem, guarded: bool) -> None:
    n, hoists = len(p.moves), len(p.plant.hoists)
    guard = _guard(m, "hoist", 0, guarded)
    for i, j in combinations(range(n), 2):
        after = m.cp.new_bool_var(f"o{i}_{j}")
        for g in range(hoists):
            for h in range(hoists):
                low, high = (int(v) for v in p.apart[i, j, g, h])
                if low > high:
                    continue
                both = [m.does[i][g], m.does[j][h], *guard]
                offset = m.start[j] - m.start[i]
                if low <= 0 <= high:  # the usual case: who starts first decides
                    m.cp.add(offset >= high).only_enforce_if(after, *both)
                    m.cp.add(offset - m.cycle <= low).only_enforce_if(after, *both)
                    m.cp.add(offset + m.cycle >= high).only_enforce_if(after.negated(), *both)
                    m.cp.add(offset <= low).only_enforce_if(after.negated(), *both)
                    continue
                turns = [m.cp.new_bool_var("") for _ in range(-1, 3)]
                m.cp.add_exactly_one(turns)
                for k, on in zip(range(-1, 3), turns, strict=True):
                    m.cp.add(offset + k * m.cycle >= high).only_enforce_if(on, *both)
                    m.cp.add(offset + (k - 1) * m.cycle <= low).only_enforce_if(on, *both)
    for i in range(n):
        for h in range(hoists):
            if p.carry[i, h] >= 0:
                m.cp.add(m.cycle >= int(p.apart[i, i, h, h, 1])).only_enforce_if(m.does[i][h], *guard)
    for h in range(hoists):
        m.cp.add(sum(int(max(p.carry[i, h], 0)) * m.does[i][h] for i in range(n)) <= m.cycle).only_enforce_if(*guard)

"""What sets the cycle: the loop of carries, soaks and travels that could not be run through any faster.

With the order of carries and the cycles that each soak spans as in the schedule, every constraint reads t_j - t_i >= a - b T. A loop of them asks for T >= sum a / sum b;
in a shortest schedule at least one loop asks for exactly its cycle. One tick below, that loop has a positive sum, and Bellman-Ford finds it.
"""

from __future__ import annotations

from dataclasses import dataclass

from diewright.finish.line.problem import Problem, Soak, Stand
from diewright.finish.line.schedule import Schedule


@dataclass(frozen=True)
class Link:
    """``t[end] - t[begin] >= time - cycles T`` in ticks, and why."""

    begin: int
    end: int
    time: int
    cycles: int
    why: str
    station: int


def critical_loop(p: Problem, s: Schedule) -> list[Link]:
    """The links of a loop that sets the cycle; empty where no loop of this order does (the order itself could be better)."""
    cycle = round(s.cycle / p.tick)
    links, n = links_of(p, s), len(p.moves)
    value, come = [0] * n, [-1] * n
    last = -1
    for _ in range(n + 1):
        last = -1
        for k, e in enumerate(links):
            new = value[e.begin] + e.time - e.cycles * (cycle - 1)
            if new > value[e.end]:
                value[e.end], come[e.end], last = new, k, e.end
        if last < 0:
            return []
    for _ in range(n):
        last = links[come[last]].begin
    loop, at = [], last
    while True:
        loop.append(links[come[at]])
        at = loop[-1].begin
        if at == last:
            return loop[::-1]


def links_of(p: Problem, s: Schedule) -> list[Link]:
    """All constraints of the schedule's own order."""
    cycle = round(s.cycle / p.tick)
    by = {(c.item, c.step): c for c in s.carries}
    carries = [by[m.item, m.step] for m in p.moves]
    long = [round(c.start / p.tick) for c in carries]
    start, hoist = [t % cycle for t in long], [c.hoist for c in carries]
    name = [st.name for st in p.plant.stations]
    out: list[Link] = []
    for k in p.soaks:
        i, j, where, carry = k.before, k.after, k.station, int(p.carry[k.before, hoist[k.before]])
        spans = (long[j] - start[j] - long[i] + start[i]) // cycle
        out.append(
            Link(
                i,
                j,
                carry + k.least,
                spans,
                f"carry of {carry * p.tick:g} s to '{name[where]}' and its least soak of {k.least * p.tick:g} s",
                where,
            )
        )
        if k.most is not None:
            out.append(Link(j, i, -carry - k.most, -spans, f"the most that '{name[where]}' may hold a rack, {k.most * p.tick:g} s", where))
    out += _stations(p, cycle, long, start, hoist)
    for i, a in enumerate(p.moves):
        for j, b in enumerate(p.moves):
            low, high = (int(v) for v in p.apart[i, j, hoist[i], hoist[j]])
            if low > high:
                continue
            turn = next(
                (k for k in range(-1, 3) if start[j] - start[i] + k * cycle >= high and start[j] - start[i] + (k - 1) * cycle <= low), None
            )
            if turn is not None and i != j:
                why = (
                    f"carry to '{name[a.target]}' and the way back to '{name[b.source]}'"
                    if hoist[i] == hoist[j]
                    else f"the hoists at '{name[a.target]}' and '{name[b.source]}' keep clear of each other"
                )
                out.append(Link(i, j, high, turn, f"{why}, {high * p.tick:g} s", -1))
    return out  # fmt: skip


def _stations(p: Problem, cycle: int, long: list[int], start: list[int], hoist: list[int]) -> list[Link]:
    """One stay after the other at each station; where several kinds of stays share several cells only each kind by itself."""
    out: list[Link] = []
    for k, station in enumerate(p.plant.stations):
        ends = [_ends(p, s, hoist) for s in p.stays(k)]
        cells = "its cell is" if station.cells == 1 else f"its {station.cells} cells are"
        for a, (_, (leaves, after), fetched, _) in enumerate(ends):
            for b, ((comes, before), _, _, brought) in enumerate(ends):
                if a != b and station.cells > 1:
                    continue
                clear = int(fetched and brought)
                gap = long[leaves] + after + clear - long[comes] - before
                turns = station.cells if a == b else -(-gap // cycle)
                turns += (long[comes] - start[comes] - long[leaves] + start[leaves]) // cycle
                out.append(
                    Link(leaves, comes, after + clear - before, turns, f"the next rack of '{station.name}' comes when {cells} free", k)
                )
    return out


def _ends(p: Problem, s: Soak | Stand, hoist: list[int]) -> tuple[tuple[int, int], tuple[int, int], bool, bool]:
    """Begin and end of a stay as (move, ticks after its start), whether a hoist ends it and whether one begins it."""
    if isinstance(s, Soak):
        return (s.before, int(p.carry[s.before, hoist[s.before]])), (s.after, 0), True, True
    lasts = int(p.carry[s.move, hoist[s.move]])
    return ((s.move, -s.length), (s.move, 0), True, False) if s.ends else ((s.move, lasts), (s.move, lasts + s.length), False, True)

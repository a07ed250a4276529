"""What the stage has found of a line, and what it works out from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from diewright.finish.line.bounds import Bounds
from diewright.finish.line.conflict import Conflict
from diewright.finish.line.critical import Link
from diewright.finish.line.plant import Plant
from diewright.finish.line.problem import Problem
from diewright.finish.line.solve import Outcome
from diewright.finish.line.ways import Way

HOUR = 3600.0
GAIN = 0.05
"""Gain of throughput [%] from which a change counts as one."""


@dataclass(frozen=True)
class Found:
    """Line, search, bounds, loop that sets the cycle, ways, changes tried, and the conflict with the cycle asked for."""

    plant: Plant
    problem: Problem
    outcome: Outcome
    bounds: Bounds
    typical: bool
    parts_per_rack: int
    quantity: int
    wanted: float | None
    loop: list[Link] = field(default_factory=list)
    ways: tuple[Way, ...] = ()
    rows: list[dict[str, Any]] = field(default_factory=list)
    conflict: Conflict | None = None

    @property
    def cycle(self) -> float | None:
        """The cycle found [s]."""
        return None if self.outcome.schedule is None else self.outcome.schedule.cycle

    @property
    def racks_per_hour(self) -> float | None:
        """Racks that leave the line in an hour."""
        return None if self.cycle is None else HOUR * len(self.plant.mix) / self.cycle

    @property
    def hoist_load(self) -> list[float]:
        """Share of the cycle for which each hoist carries a rack."""
        s = self.outcome.schedule
        return (
            [] if s is None else [sum(c.end - c.start for c in s.carries if c.hoist == h) / s.cycle for h in range(len(self.plant.hoists))]
        )

    @property
    def station_bound(self) -> tuple[str, float]:
        """The station that needs the longest cycle by itself, and that cycle [s]."""
        k = max(range(len(self.plant.stations)), key=lambda i: self.bounds.station[i])
        return self.plant.stations[k].name, self.bounds.station[k] * self.problem.tick

    @property
    def bottleneck(self) -> str:
        """What holds the cycle up, in a sentence."""
        if self.cycle is None:
            return ""
        name, alone = self.station_bound
        hoists = self.bounds.hoist * self.problem.tick
        words = "the hoist" if len(self.plant.hoists) == 1 else "the hoists"
        out = f"By itself '{name}' needs a cycle of {alone:g} s and {words} {hoists:g} s; the line takes {self.cycle:g} s."
        if self.loop:
            stations = list(dict.fromkeys(self.plant.stations[e.station].name for e in self.loop if e.station >= 0))
            waits = sum(e.station < 0 for e in self.loop)
            tail = f" and {waits} {'trip' if waits == 1 else 'trips'} of hoists" if waits else ""
            out += (
                f" It is set by a loop through {_list([repr(n) for n in stations])}{tail}."
                if stations
                else f" It is set by {waits} trips of {words} alone."
            )
        best = [r for r in sorted(self.rows, key=lambda r: -r["gain_pct"]) if r["gain_pct"] > GAIN]
        if best:
            out += f" Of the changes tried most is gained by {best[0]['change']}: {best[0]['cycle']:g} s."
        elif self.rows and all(r["proved"] for r in self.rows):
            out += " No single change that was tried shortens it."
        return out


def _list(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"

"""What a hoist line is: stations in a row, hoists on one track, recipes and the mix of racks in a cycle.

Times s, positions and heights m, speeds m/s. A carry is: lift the rack out, let it drip above the tank, travel, lower it into the next.
A hoist that carries nothing travels with its arms low, under the bars that the racks hang on, so picking one up takes no time of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

Role = Literal["bath", "load", "unload", "load-unload"]
UP = 1.0
"""Height of a rack that hangs above the tanks, as a share of the lift."""


@dataclass(frozen=True)
class Station:
    """A tank, or a group of ``cells`` alike at one ``position`` [m]; ``work`` [s] is what loading and unloading take there."""

    name: str
    position: float
    cells: int = 1
    role: Role = "bath"
    work: float = 0.0

    @property
    def loading(self) -> float:
        """Time that a rack stands here before it is fetched for its first carry [s]."""
        return {"load": self.work, "load-unload": 0.5 * self.work}.get(self.role, 0.0)

    @property
    def unloading(self) -> float:
        """Time that a finished rack stands here [s]."""
        return {"unload": self.work, "load-unload": 0.5 * self.work}.get(self.role, 0.0)


@dataclass(frozen=True)
class Visit:
    """One soak of a recipe: ``station`` number, window ``least`` to ``most`` [s] (infinity: no limit), ``drip`` [s] above it when leaving."""

    station: int
    least: float = 0.0
    most: float = math.inf
    drip: float = 0.0


@dataclass(frozen=True)
class Recipe:
    """The way of one kind of rack: the first visit is where it is loaded, the last where it is unloaded."""

    name: str
    visits: tuple[Visit, ...]


@dataclass(frozen=True)
class Hoist:
    """A hoist with its speeds [m/s] and the part of the track it may use [m]. Hoists are numbered along the track."""

    name: str
    travel: float
    lift: float
    lower: float
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True)
class TimeTables:
    """Times given instead of positions: ``carry[recipe][step]`` of loaded moves and ``empty[from][to]`` between stations [s]."""

    carry: tuple[tuple[float, ...], ...]
    empty: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Move:
    """A loaded move of one rack of the mix: from visit ``step`` to the next."""

    item: int
    step: int
    source: int
    target: int


@dataclass(frozen=True)
class Plant:
    """The whole line. ``mix`` holds a recipe number for each rack of a cycle, in the order of loading; ``gap`` [m] is kept between hoists' middles; ``height`` [m] is the lift."""

    stations: tuple[Station, ...]
    hoists: tuple[Hoist, ...]
    recipes: tuple[Recipe, ...]
    mix: tuple[int, ...]
    height: float = 1.5
    gap: float = 1.5
    tables: TimeTables | None = None

    @property
    def moves(self) -> tuple[Move, ...]:
        """All loaded moves of a cycle, rack by rack."""
        return tuple(
            Move(item, step, a.station, b.station)
            for item, recipe in enumerate(self.mix)
            for step, (a, b) in enumerate(zip(self.recipes[recipe].visits, self.recipes[recipe].visits[1:], strict=False))
        )

    def visit(self, move: Move) -> Visit:
        """The soak that ends with a move."""
        return self.recipes[self.mix[move.item]].visits[move.step]

    def carry(self, move: Move, hoist: int) -> float:
        """Time of a loaded move [s]: lift, drip, travel, lower; or the table's."""
        if self.tables is not None:
            return self.tables.carry[self.mix[move.item]][move.step]
        h = self.hoists[hoist]
        return self.height / h.lift + self.visit(move).drip + self.empty(move.source, move.target, hoist) + self.height / h.lower

    def empty(self, source: int, target: int, hoist: int) -> float:
        """Time of a hoist's travel from one station to another without a rack [s]."""
        if self.tables is not None:
            return self.tables.empty[source][target]
        return abs(self.stations[target].position - self.stations[source].position) / self.hoists[hoist].travel

    def profile(self, move: Move, hoist: int) -> np.ndarray:
        """Time from the start of a move [s], position [m] and height (0 to 1) at its corners, (5, 3)."""
        h, a, b = self.hoists[hoist], self.stations[move.source].position, self.stations[move.target].position
        lifted = self.height / h.lift
        dripped = lifted + self.visit(move).drip
        there = dripped + abs(b - a) / h.travel
        return np.array([[0.0, a, 0.0], [lifted, a, UP], [dripped, a, UP], [there, b, UP], [there + self.height / h.lower, b, 0.0]])

    def reach(self, hoist: int) -> tuple[float, float]:
        """Positions that a hoist can take with the others beside it [m]."""
        low, high = -math.inf, math.inf
        for g, other in enumerate(self.hoists):
            if g <= hoist:
                low = max(low, other.low + self.gap * (hoist - g))
            if g >= hoist:
                high = min(high, other.high - self.gap * (g - hoist))
        return low, high

    def serves(self, move: Move, hoist: int) -> bool:
        """Whether a hoist reaches both ends of a move."""
        if self.tables is not None:
            return True
        low, high = self.reach(hoist)
        ends = [self.stations[s].position for s in (move.source, move.target)]
        return low <= min(ends) + 1e-9 and max(ends) <= high + 1e-9

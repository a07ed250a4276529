"""Published and computed instances with their tables of times, for checks against the outside."""

from __future__ import annotations

import math

from diewright.finish.line.plant import Hoist, Plant, Recipe, Station, TimeTables, Visit

INF = math.inf
PHILLIPS_UNGER_EMPTY = (
    (0, 11, 14, 16, 14, 19, 22, 24, 26, 29, 6, 8, 10), (11, 0, 2, 5, 2, 8, 10, 13, 15, 17, 10, 3, 1), (14, 2, 0, 2, 0, 5, 8, 10, 13, 15, 12, 6, 3),
    (16, 5, 2, 0, 2, 3, 5, 8, 10, 13, 15, 8, 6), (14, 2, 0, 2, 0, 5, 8, 10, 13, 15, 12, 6, 3), (19, 8, 5, 3, 5, 0, 3, 5, 7, 10, 18, 11, 9),
    (22, 10, 8, 5, 8, 3, 0, 2, 5, 7, 20, 14, 11), (24, 13, 10, 8, 10, 5, 2, 0, 2, 5, 23, 16, 14), (26, 15, 13, 10, 13, 7, 5, 2, 0, 2, 25, 19, 16),
    (29, 17, 15, 13, 15, 10, 7, 5, 2, 0, 27, 21, 19), (6, 10, 12, 15, 12, 18, 20, 23, 25, 27, 0, 7, 9), (8, 3, 6, 8, 6, 11, 14, 16, 19, 21, 7, 0, 2),
    (10, 1, 3, 6, 3, 9, 11, 14, 16, 19, 9, 2, 0),
)  # fmt: skip
"""L. W. Phillips, P. S. Unger, AIIE Transactions 8 (2) 1976, 219-225: empty moves [s]; station 0 loads and unloads."""


def cyclic(
    least: tuple[float, ...], most: tuple[float, ...], carry: tuple[float, ...], empty: tuple[tuple[float, ...], ...], racks: int = 1
) -> Plant:
    """A line with tables of times in which a rack passes all stations in their order; station 0 loads and unloads in ``least[0]`` seconds."""
    n = len(least)
    stations = tuple(
        Station(f"tank {k}" if k else "loading", math.nan, 1, "bath" if k else "load-unload", 0.0 if k else least[0]) for k in range(n)
    )
    visits = (Visit(0), *(Visit(k, least[k], most[k]) for k in range(1, n)), Visit(0))
    tables = TimeTables((carry,), empty)
    return Plant(stations, (Hoist("hoist", 1.0, 1.0, 1.0),), (Recipe("rack", visits),), (0,) * racks, tables=tables)  # fmt: skip


def phillips_unger(racks: int = 1) -> Plant:
    """The line of twelve tanks of Phillips and Unger (1976)."""
    return cyclic(
        (120, 150, 90, 120, 90, 30, 60, 60, 45, 130, 120, 90, 30), (INF, 200, 120, 180, 125, 40, 120, 120, 75, INF, INF, 120, 60),
        (31, 22, 22, 22, 25, 23, 22, 22, 22, 47, 27, 22, 30), PHILLIPS_UNGER_EMPTY, racks,
    )  # fmt: skip


def four_stages() -> Plant:
    """A small line of three tanks beside loading, empty moves 5 s a place."""
    return cyclic((30, 100, 30, 125), (1000, 110, 60, 130), (10, 10, 10, 20), _even(4, 5.0))


def three_stages() -> Plant:
    """The smallest line: two tanks beside loading, empty moves 1 s a place."""
    return cyclic((4, 6, 6), (INF, 7, 7), (1, 1, 2), _even(3, 1.0))


def _even(n: int, pace: float) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(pace * abs(i - j) for j in range(n)) for i in range(n))

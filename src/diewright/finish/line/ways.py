"""Where each hoist is over one cycle: piecewise linear, free of collisions where the schedule allows it.

Each hoist wants to go straight to its next rack and wait there. It is pushed aside only where another's carry needs the track. With, for each carry, the way continued
at the hoist's speed outwards (lowest and highest place it can still be at), hoist h stays between the highest of its lower limits (its own and, a gap on, the way of its
neighbour below) and the lowest of its upper limits (its own and those of all hoists above, a gap off for each). Limits set by a faster neighbour are eased to the hoist's own
speed first; clamping one way between two others then keeps its speed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from diewright.finish.line.plant import Plant
from diewright.finish.line.schedule import Carry, Schedule

Line = tuple[np.ndarray, np.ndarray]
"""Times and values at the corners of a piecewise-linear function."""


@dataclass(frozen=True)
class Way:
    """One hoist over a cycle: ``time`` [s], ``position`` [m], ``height`` (0 down, 1 up) at the corners; ``item``, ``step``: what it carries from this corner to the next, -1 nothing."""

    time: np.ndarray
    position: np.ndarray
    height: np.ndarray
    item: np.ndarray
    step: np.ndarray


def ways_of(plant: Plant, s: Schedule) -> tuple[Way, ...]:
    """The ways of all hoists; empty for a line that is given by tables of times."""
    if plant.tables is not None:
        return ()
    hoists = range(len(plant.hoists))
    lows = [_limit(plant, s, h, -1.0) for h in hoists]
    highs = [_limit(plant, s, h, 1.0) for h in hoists]
    out: list[Way] = []
    below: Line | None = None
    for h in hoists:
        speed = plant.hoists[h].travel
        low = lows[h] if below is None else combine(lows[h], eased((below[0], below[1] + plant.gap), speed, np.maximum), np.maximum)
        high = highs[h]
        for g in range(h + 1, len(plant.hoists)):
            high = combine(high, eased((highs[g][0], highs[g][1] - plant.gap * (g - h)), speed, np.minimum), np.minimum)
        below = combine(combine(_wish(plant, s, h), low, np.maximum), high, np.minimum)
        out.append(_way(plant, s, h, below))
    return tuple(out)


def combine(f: Line, g: Line, choose: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> Line:
    """The larger or smaller of two functions, with corners where they cross."""
    x = np.union1d(f[0], g[0])
    a, b = np.interp(x, *f), np.interp(x, *g)
    d = a - b
    k = np.flatnonzero(d[:-1] * d[1:] < 0)
    cross = x[k] + d[k] * (x[k + 1] - x[k]) / (d[k] - d[k + 1])
    at = np.union1d(x, cross)
    return at, choose(np.interp(at, *f), np.interp(at, *g))


def eased(f: Line, speed: float, choose: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> Line:
    """The nearest function below (minimum) or above (maximum) a periodic one that changes no faster than ``speed``: cones from its corners cut into it."""
    side = 1.0 if choose is np.minimum else -1.0
    if (np.abs(np.diff(f[1])) <= speed * np.diff(f[0]) * (1.0 + 1e-9) + 1e-12).all():
        return f
    out, cycle = f, float(f[0][-1])
    for corner, value in zip(*f, strict=True):
        for at in (corner - cycle, corner, corner + cycle):
            t = np.unique(np.clip([0.0, at, cycle], 0.0, cycle))
            out = combine(out, (t, value + side * speed * np.abs(t - at)), choose)
    return out


def _copies(plant: Plant, s: Schedule, hoist: int) -> list[tuple[Carry, float, np.ndarray]]:
    """The hoist's carries in the cycle before, in this one and in the next: carry, its start on the cycle's clock, corners of its way in time, place, height."""
    out = []
    for c in s.carries:
        if c.hoist != hoist:
            continue
        move = next(m for m in plant.moves if (m.item, m.step) == (c.item, c.step))
        corners = plant.profile(move, hoist)
        corners[-2:, 0] += max(c.end - c.start - corners[-1, 0], 0.0)  # what is left of a carry is spent above the tank it goes to
        arrived = corners[-3].copy()
        arrived[0] += abs(corners[-2, 1] - arrived[1]) / plant.hoists[hoist].travel
        arrived[1] = corners[-2, 1]
        corners = np.vstack([corners[:-2], arrived, corners[-2:]])
        base = c.start % s.cycle
        for shift in (-1, 0, 1):
            start = base + shift * s.cycle
            out.append((c, start, corners + np.array([start, 0.0, 0.0])))
    return sorted(out, key=lambda o: o[1])


def _limit(plant: Plant, s: Schedule, hoist: int, side: float) -> Line:
    """The lowest (side -1) or highest (side 1) place that the hoist can be at over the cycle."""
    bound = plant.reach(hoist)[0 if side < 0 else 1]
    ends = [st.position for st in plant.stations]
    far = (min(ends) - plant.gap * len(plant.hoists), max(ends) + plant.gap * len(plant.hoists))[0 if side < 0 else 1]
    level = bound if np.isfinite(bound) else far
    out: Line = (np.array([0.0, s.cycle]), np.array([level, level]))
    speed, long = plant.hoists[hoist].travel, 3.0 * s.cycle
    for _, _, corners in _copies(plant, s, hoist):
        t = np.concatenate([[corners[0, 0] - long], corners[:, 0], [corners[-1, 0] + long]])
        x = np.concatenate([[corners[0, 1] + side * speed * long], corners[:, 1], [corners[-1, 1] + side * speed * long]])
        inner = (t > 0.0) & (t < s.cycle)
        at = np.concatenate([[0.0], np.unique(t[inner]), [s.cycle]])
        out = combine(out, (at, np.interp(at, t, x)), np.maximum if side < 0 else np.minimum)
    return out


def _wish(plant: Plant, s: Schedule, hoist: int) -> Line:
    """Straight to the next rack and wait there; a hoist without carries stands still as far out as it may."""
    copies, speed = _copies(plant, s, hoist), plant.hoists[hoist].travel
    if not copies:
        ends = [st.position for st in plant.stations]
        low, high = plant.reach(hoist)
        place = max(low, min(ends)) if hoist < len(plant.hoists) / 2 else min(high, max(ends))
        return np.array([0.0, s.cycle]), np.array([place, place])
    t: list[float] = []
    x: list[float] = []
    for k, (_, start, corners) in enumerate(copies):
        if k:
            t.append(min(t[-1] + abs(corners[0, 1] - x[-1]) / speed, start))
            x.append(corners[0, 1])
        t.extend(corners[:, 0])
        x.extend(corners[:, 1])
    at = np.unique(np.concatenate([[0.0, s.cycle], [v for v in t if 0.0 < v < s.cycle]]))
    return at, np.interp(at, t, x)


def _way(plant: Plant, s: Schedule, hoist: int, line: Line) -> Way:
    copies = _copies(plant, s, hoist)
    corners = np.concatenate([c[:, 0] for _, _, c in copies]) if copies else np.zeros(0)
    time = np.union1d(line[0], corners[(corners > 0.0) & (corners < s.cycle)])
    time = time[np.concatenate([[True], np.diff(time) > 1e-9])]
    middle = np.concatenate([0.5 * (time[:-1] + time[1:]), [0.0]])
    height, item, step = np.zeros(len(time)), np.full(len(time), -1), np.full(len(time), -1)
    for c, start, way in copies:
        during = (time >= start - 1e-9) & (time <= way[-1, 0] + 1e-9)
        height[during] = np.maximum(height[during], np.interp(time[during], way[:, 0], way[:, 2]))
        carries = (middle > start) & (middle < way[-1, 0])
        item[carries], step[carries] = c.item, c.step
    item[-1], step[-1] = item[0], step[0]
    return Way(time, np.interp(time, *line), height, item, step)


def way_table(way: Way, lift: float) -> dict[str, np.ndarray]:
    """The way as a table: ``time_s``, ``position_m``, ``height_m``, ``loaded`` (1 while it carries), ``item``, ``step`` (-1: nothing) from this row to the next."""
    return {
        "time_s": way.time, "position_m": way.position, "height_m": lift * way.height, "loaded": (way.item >= 0).astype(np.float64),
        "item": way.item.astype(np.float64), "step": way.step.astype(np.float64),
    }  # fmt: skip

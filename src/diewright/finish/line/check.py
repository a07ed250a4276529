"""The feasibility check, apart from the solver: a schedule is played over several cycles on a plain clock, event by event, and whatever is wrong is said in a sentence.

It shares no constraint with the model: nothing is reduced modulo the cycle, times of carries are worked out anew from heights, distances and speeds.
Checked are soak windows, racks in each tank against its cells, that a hoist has one rack at most and gets from one carry to the next in time, that it is where its racks are
(nothing floats), its speed and track, and the distance between hoists at all times (ways are piecewise linear, so their corners decide).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from diewright.finish.line.plant import Plant, Visit
from diewright.finish.line.schedule import Carry, Schedule
from diewright.finish.line.ways import Way

TOLERANCE = 1e-6
"""Seconds and metres that count as nothing."""


def faults(plant: Plant, s: Schedule, ways: Sequence[Way] = ()) -> list[str]:
    """Sentences on what is wrong, none for a schedule that holds. ``ways`` are checked where they are given (a line with positions has them)."""
    out = _shape(plant, s)
    if out:
        return out
    longest = max(c.end for c in s.carries) - min(c.start for c in s.carries) + max(st.work for st in plant.stations)
    cycles = math.ceil(longest / s.cycle) + 3
    played = [(c, k * s.cycle) for k in range(cycles) for c in s.carries]
    out = [*_windows(plant, s), *_carries(plant, s), *_tanks(plant, s, cycles), *_hoists(plant, s, played)]
    if plant.tables is None and ways:
        out += _ways(plant, s, ways)
        out += _distances(plant, ways)
    return list(dict.fromkeys(out))


def _visit(plant: Plant, c: Carry, ahead: int = 0) -> Visit:
    return plant.recipes[plant.mix[c.item]].visits[c.step + ahead]


def _name(plant: Plant, c: Carry, ahead: int = 0) -> str:
    return f"'{plant.stations[_visit(plant, c, ahead).station].name}'"


def _rack(plant: Plant, item: int) -> str:
    return f"rack {item + 1}" if len(plant.mix) > 1 else "the rack"


def _shape(plant: Plant, s: Schedule) -> list[str]:
    if not math.isfinite(s.cycle) or s.cycle <= 0:
        return ["The cycle must be a time above zero."]
    for item, recipe in enumerate(plant.mix):
        if [c.step for c in s.of_item(item)] != list(range(len(plant.recipes[recipe].visits) - 1)):
            return [f"The carries of {_rack(plant, item)} are not one for each step of its recipe."]
    for c in s.carries:
        if not 0 <= c.item < len(plant.mix) or not 0 <= c.hoist < len(plant.hoists):
            return ["A carry belongs to a rack or a hoist that does not exist."]
        if not (math.isfinite(c.start) and math.isfinite(c.end)):
            return [f"The carry from {_name(plant, c)} has no time."]
    return []


def _windows(plant: Plant, s: Schedule) -> list[str]:
    out = []
    for item in range(len(plant.mix)):
        own = s.of_item(item)
        for before, after in pairwise(own):
            soak, v, name = after.start - before.end, _visit(plant, after), _name(plant, after)
            if soak < v.least - TOLERANCE:
                out.append(f"{_rack(plant, item).capitalize()} stays {soak:g} s in {name}, less than its {v.least:g} s.")
            if soak > v.most + TOLERANCE:
                out.append(f"{_rack(plant, item).capitalize()} stays {soak:g} s in {name}, more than its {v.most:g} s.")
            if soak < -TOLERANCE:
                out.append(f"{_rack(plant, item).capitalize()} leaves {name} before it is there.")
    return out


def _carries(plant: Plant, s: Schedule) -> list[str]:
    out = []
    for c in s.carries:
        if plant.tables is not None:
            need = plant.tables.carry[plant.mix[c.item]][c.step]
        else:
            hoist = plant.hoists[c.hoist]
            distance = abs(plant.stations[_visit(plant, c, 1).station].position - plant.stations[_visit(plant, c).station].position)
            need = plant.height / hoist.lift + plant.height / hoist.lower + distance / hoist.travel + _visit(plant, c).drip
        if c.end - c.start < need - TOLERANCE:
            out.append(f"The carry from {_name(plant, c)} to {_name(plant, c, 1)} is given {c.end - c.start:g} s and needs {need:g} s.")
    return out


def _tanks(plant: Plant, s: Schedule, cycles: int) -> list[str]:
    """Count racks in each station over time. Racks that hoists bring and fetch in the same instant would have to pass through each other: there the new one counts first; by hand one follows the other."""
    events: list[list[tuple[float, int, int]]] = [[] for _ in plant.stations]

    def stay(station: int, begin: float, end: float, brought: bool, fetched: bool) -> None:
        events[station].append((round(begin, 6), 1 if brought else 3, 1))
        events[station].append((round(end, 6), 2 if fetched else 0, -1))

    for k in range(cycles):
        for item in range(len(plant.mix)):
            own = s.of_item(item)
            begin = k * s.cycle
            first, last = plant.stations[_visit(plant, own[0]).station], plant.stations[_visit(plant, own[-1], 1).station]
            stay(_visit(plant, own[0]).station, begin + own[0].start - first.loading, begin + own[0].start, False, True)
            stay(_visit(plant, own[-1], 1).station, begin + own[-1].end, begin + own[-1].end + last.unloading, True, False)
            for before, after in pairwise(own):
                stay(_visit(plant, after).station, begin + before.end, begin + after.start, True, True)
    out = []
    for station, list_ in zip(plant.stations, events, strict=True):
        inside = most = 0
        for _, _, change in sorted(list_):
            inside += change
            most = max(most, inside)
        if most > station.cells:
            out.append(
                f"'{station.name}' would have to hold {most} racks at a time and has {station.cells} {'cell' if station.cells == 1 else 'cells'}."
            )
    return out  # fmt: skip


def _hoists(plant: Plant, s: Schedule, played: list[tuple[Carry, float]]) -> list[str]:
    out = []
    for h, hoist in enumerate(plant.hoists):
        own = sorted(((begin + c.start, begin + c.end, c) for c, begin in played if c.hoist == h), key=lambda o: (o[0], o[1]))
        for (_, end, a), (start, _, b) in pairwise(own):
            there, here = _visit(plant, a, 1).station, _visit(plant, b).station
            need = (
                plant.tables.empty[there][here]
                if plant.tables is not None
                else abs(plant.stations[there].position - plant.stations[here].position) / hoist.travel
            )
            if start - end < need - TOLERANCE:
                out.append(
                    f"{hoist.name} has {start - end:.6g} s from putting down in {_name(plant, a, 1)} to fetching in {_name(plant, b)} and needs {need:g} s."
                )
    return out  # fmt: skip


def _ways(plant: Plant, s: Schedule, ways: Sequence[Way]) -> list[str]:
    out = []
    if len(ways) != len(plant.hoists):
        return ["There is not one way for each hoist."]
    for h, (hoist, way) in enumerate(zip(plant.hoists, ways, strict=True)):
        t, x = way.time, way.position
        if (
            t[0] != 0.0
            or abs(t[-1] - s.cycle) > TOLERANCE
            or abs(x[0] - x[-1]) > TOLERANCE
            or abs(way.height[0] - way.height[-1]) > TOLERANCE
        ):
            out.append(f"The way of {hoist.name} does not close over the cycle.")
        if (np.abs(np.diff(x)) > hoist.travel * np.diff(t) + TOLERANCE).any():
            out.append(f"{hoist.name} would have to travel faster than {hoist.travel:g} m/s.")
        low, high = plant.reach(h)
        if (x < low - TOLERANCE).any() or (x > high + TOLERANCE).any():
            out.append(f"{hoist.name} leaves its part of the track.")
        moving = np.abs(np.diff(x)) > TOLERANCE
        if (moving & (way.item[:-1] >= 0) & (np.minimum(way.height[:-1], way.height[1:]) < 1.0 - TOLERANCE)).any():
            out.append(f"{hoist.name} travels with a rack that is not lifted out.")
        loaded = 0.0
        for c in s.carries:
            if c.hoist != h:
                continue
            loaded += c.end - c.start
            for at, station, height, when in _places(plant, c):
                clock = at % s.cycle
                if (
                    abs(float(np.interp(clock, t, x)) - station) > TOLERANCE
                    or abs(float(np.interp(clock, t, way.height)) - height) > TOLERANCE
                ):
                    out.append(f"{hoist.name} is not where its rack is when it {when} from {_name(plant, c)} to {_name(plant, c, 1)}.")
        if abs(loaded - float(np.diff(t)[way.item[:-1] >= 0].sum())) > 1e-4:
            out.append(f"The way of {hoist.name} does not carry racks for as long as the schedule says.")
    return out


def _places(plant: Plant, c: Carry) -> list[tuple[float, float, float, str]]:
    """Time, position and height at which a hoist must be during a carry, and what it does then."""
    hoist = plant.hoists[c.hoist]
    a, b = (plant.stations[_visit(plant, c, k).station].position for k in (0, 1))
    up, down = c.start + plant.height / hoist.lift, c.end - plant.height / hoist.lower
    return [
        (c.start, a, 0.0, "begins to lift"), (up, a, 1.0, "has lifted"), (up + _visit(plant, c).drip, a, 1.0, "has let the rack drip"), (down, b, 1.0, "begins to lower"), (c.end, b, 0.0, "has lowered"),
    ]  # fmt: skip


def _distances(plant: Plant, ways: Sequence[Way]) -> list[str]:
    out = []
    for h, (a, b) in enumerate(pairwise(ways)):
        t = np.union1d(a.time, b.time)
        gap = np.interp(t, b.time, b.position) - np.interp(t, a.time, a.position)
        k = int(gap.argmin())
        if gap[k] < plant.gap - TOLERANCE:
            out.append(
                f"{plant.hoists[h].name} and {plant.hoists[h + 1].name} come within {gap[k]:.3g} m of each other {t[k]:.4g} s into the cycle; {plant.gap:g} m must stay between them."
            )
    return out

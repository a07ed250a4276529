"""The press of each station, its cycle, and how fast parts come."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.press.fit import BED_MARGIN, Demand, checks, choose, rate_of
from diewright.press.table import OWN, Press, named
from diewright.trim.plan.cycle import Cycle, Event, cycle
from diewright.trim.plan.found import Group, Load, PlanInputs, Station

Floats = NDArray[np.float64]


def demand_of(g: Group, load: Load, bed: tuple[float, float], family: str) -> Demand:
    """What the station asks of a press."""
    draws = [o for o in g.operations if o.kind == "draw"]
    holder, depth = max((o.holder for o in draws), default=0.0), max((o.depth for o in draws), default=0.0)
    return Demand(load.height, load.force, holder, depth, bed, family, cutting=not draws)


def station_of(
    number: int,
    g: Group,
    load: Load,
    presses: tuple[Press, ...],
    inputs: PlanInputs,
    bed: tuple[float, float],
    family: str,
    parts: int,
    feed: str,
    drawn_on: str,
) -> Station:
    """The station on the press stated, on the one of the stage ``press`` (``drawn_on``) for the first draw if a person stated that, or on the smallest that serves."""
    demand = demand_of(g, load, bed, family)
    tall = max(o.feed for o in g.operations) + inputs.stated.clearance
    chosen, rows = choose(tuple(p for p in presses if p.stroke_mm >= tall) or presses, demand, inputs.strokes_per_minute)
    wanted = g.press
    if wanted == "auto" and inputs.press != "auto" and any(o.name == "draw 1" for o in g.operations):
        wanted = drawn_on
    if wanted != "auto":
        chosen = named(presses, wanted[len(OWN) :].strip() if wanted.startswith(OWN) else wanted)
    rate = rate_of(chosen, inputs.strokes_per_minute)
    turn = cycle(chosen, rate, load.touch, inputs.stated.dwell_s)
    window, seconds = turn.open(tall)
    rate = 60.0 / turn.period
    period = (
        turn.period + inputs.stated.hand_time_s
        if feed == "hand"
        else turn.period * max(1.0, inputs.stated.transfer_time_s / seconds if seconds > 0 else 1.0)
    )
    return Station(
        number, g, load, chosen, checks(chosen, demand, inputs.strokes_per_minute), sum(bool(r["fits"]) for r in rows), demand.slide_force(chosen), rate, turn,
        _events(g, load, chosen, inputs, turn, tall), tall, window, seconds, period, parts * 3600.0 * inputs.stated.efficiency / period,
    )  # fmt: skip


def _events(g: Group, load: Load, press: Press, inputs: PlanInputs, turn: Cycle, tall: float) -> list[Event]:
    """What happens in a cycle, in its order; what would lie above the stroke of the press is left out."""
    s = inputs.stated
    out = [Event("slide at the top", press.stroke_mm, True), Event("feeding must be over", tall, True)]
    for o in g.operations:
        if o.kind == "draw":
            if o.holder > 0:
                out.append(Event(f"blankholder touches, {o.name}", o.begin + s.holder_lead, True))
            out += [Event(f"{o.name} begins", o.begin, True), Event("part is stripped off the punch", o.begin + s.holder_lead, False)]
        elif o.kind == "cut":
            out += [
                Event(f"pad touches, {o.name}", load.touch + inputs.pad_lead, True), Event(f"{o.name} begins", load.touch, True), Event(f"{o.name} is through", inputs.entry, True),
                Event(f"steels leave the sheet, {o.name}", load.touch, False), Event(f"pad leaves the sheet, {o.name}", load.touch + inputs.pad_lead, False),
            ]  # fmt: skip
        else:
            begin = load.touch if o.kind == "blank" else o.begin
            out += [Event(f"{o.name} begins", begin, True)]
    dwell = s.dwell_mm if press.crank is not None else 0.0
    out += [
        Event("dwell begins", dwell, True),
        Event("bottom", 0.0, True),
        Event("dwell ends", dwell, False),
        Event("feeding may begin", tall, False),
    ]
    if s.knockout > 0:
        out.append(Event("upper ejector knocks out", press.stroke_mm - s.knockout, False))
    known = [e for e in out if 0.0 <= e.height <= press.stroke_mm]
    return sorted(
        dict.fromkeys(known),
        key=lambda e: (turn.angle_at(e.height, down=e.down) if e.name != "slide at the top" else 0.0, e.name != "bottom"),
    )


def together(stations: Sequence[Station], width: float, depth: float) -> tuple[Group, Load, tuple[float, float]]:
    """All stations under one slide: their forces added at each height, and the bed they ask for [mm]: a blank's room and clamping room each, one beside the other."""
    height = np.unique(np.concatenate([s.load.height for s in stations]))[::-1]
    flat, force = (np.sum([_over(s.load.height, getattr(s.load, name), height) for s in stations], axis=0) for name in ("flat", "force"))
    steps = {k: v for s in stations for k, v in s.load.steps.items()}
    g = Group("transfer", tuple(o for s in stations for o in s.group.operations), why="all stations under one slide")
    bed = (len(stations) * (width + BED_MARGIN) - BED_MARGIN, depth)
    return g, Load(height, flat, force, steps, max(s.load.touch for s in stations)), bed


def _over(height: Floats, force: Floats, wanted: Floats) -> Floats:
    inside: Floats = np.interp(wanted, height[::-1], force[::-1], left=0.0, right=0.0)
    return inside


def fastest(s: Station, transfer_time: float) -> float:
    """Strokes a minute at which the open press leaves the transfer its time; 0 where it never opens wide enough."""
    return 0.0 if s.window <= 0.0 else math.floor(10.0 * s.window / 360.0 * 60.0 / transfer_time) / 10.0

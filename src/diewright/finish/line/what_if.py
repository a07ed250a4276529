"""What a change of the line would bring: each window a tenth wider, each tank one cell more, a faster hoist, one more hoist; each solved anew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from diewright.errors import InputError
from diewright.finish.line.bounds import bounds_of
from diewright.finish.line.plant import Plant
from diewright.finish.line.problem import problem_of
from diewright.finish.line.schedule import Schedule
from diewright.finish.line.solve import solve
from diewright.finish.line.stated import validate
from diewright.watch import Watch

WIDER, FASTER = 0.1, 0.25
"""Shares by which windows and hoists' speeds are changed."""
LONGEST = 5.0
"""Most seconds for one of the searches."""


@dataclass(frozen=True)
class Change:
    """A line with one thing changed; ``kind`` is ``most``, ``least``, ``cells``, ``travel`` or ``hoist``, ``station`` -1 where it is of no tank."""

    kind: str
    station: int
    sentence: str
    plant: Plant


def changes(plant: Plant) -> Iterator[Change]:
    """All changes that are looked at, the cheap ones first."""
    if plant.tables is None:
        faster = tuple(replace(h, travel=(1.0 + FASTER) * h.travel) for h in plant.hoists)
        yield Change("travel", -1, f"hoists {100 * FASTER:g} % faster along the track", replace(plant, hoists=faster))
        last, extra = plant.hoists[-1], plant.gap
        more = (*(replace(h, high=h.high + extra) for h in plant.hoists), replace(last, name="one more hoist", high=last.high + extra))
        yield Change("hoist", -1, "one more hoist, and track for it to stand", replace(plant, hoists=more))
    used = {m.source for m in plant.moves if m.step}
    for k, s in enumerate(plant.stations):
        if k in used:
            wider = tuple(replace(t, cells=t.cells + 1) if t is s else t for t in plant.stations)
            yield Change("cells", k, f"one more cell of '{s.name}'", replace(plant, stations=wider))
    for k in sorted(used):
        for kind in ("most", "least"):
            changed = replace(plant, recipes=tuple(replace(r, visits=tuple(_wider(v, k, kind) for v in r.visits)) for r in plant.recipes))
            if changed != plant:
                text = (
                    f"'{plant.stations[k].name}' may hold a rack 10 % longer"
                    if kind == "most"
                    else f"'{plant.stations[k].name}' needs 10 % less time"
                )
                yield Change(kind, k, text, changed)


def _wider(v: Any, station: int, kind: str) -> Any:
    if v.station != station:
        return v
    return replace(v, most=(1.0 + WIDER) * v.most) if kind == "most" else replace(v, least=(1.0 - WIDER) * v.least)


def what_if(plant: Plant, tick: float, now: Schedule, proved: bool, seconds: float, watch: Watch) -> list[dict[str, Any]]:
    """One row a change: ``kind``, ``station``, ``change``, ``cycle`` [s], ``bound`` [s], ``proved``, ``gain_pct`` of throughput; changes for which the ``seconds`` do not last are left out.

    A line that is only made easier keeps its schedule, so only shorter cycles are searched: where there is none, the change brings nothing.
    """
    rows: list[dict[str, Any]] = []
    todo = list(changes(plant))
    left = seconds
    for k, change in enumerate(todo):
        if left <= 0.0:
            break
        try:
            validate(change.plant)
            p = problem_of(change.plant, tick)
        except InputError:
            continue
        cycle, bound, sure = now.cycle, now.cycle, proved
        if bounds_of(p).cycle * tick < now.cycle - 0.5 * tick:
            found = solve(p, min(LONGEST, left), watch, most_cycle=now.cycle - tick, phase=f"what if: {change.sentence}")
            left -= found.seconds
            cycle = found.schedule.cycle if found.schedule is not None else now.cycle
            bound = min(found.bound, cycle)
            sure = found.status == "proved" or (found.status == "none" and proved)
        watch.step(f"what if: {change.sentence}", k + 1, len(todo))
        rows.append({
            "kind": change.kind, "station": change.station, "change": change.sentence, "cycle": cycle, "bound": bound, "proved": sure,
            "gain_pct": 100.0 * (now.cycle / cycle - 1.0),
        })  # fmt: skip
    return rows

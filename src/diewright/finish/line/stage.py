"""The stage ``line``: the shortest cycle of the hoist line, checked by playing it, with what binds and what a change would bring."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.errors import SolveError
from diewright.finish.line.bounds import bounds_of
from diewright.finish.line.check import faults
from diewright.finish.line.conflict import Conflict, conflict_of
from diewright.finish.line.critical import critical_loop
from diewright.finish.line.found import Found
from diewright.finish.line.problem import problem_of
from diewright.finish.line.report import CAUTIONS, figures, findings, list_of_moves
from diewright.finish.line.schedule import moves_table, soaks_table
from diewright.finish.line.solve import solve
from diewright.finish.line.stated import plant_of, stated_hoists, typical
from diewright.finish.line.ways import way_table, ways_of
from diewright.finish.line.what_if import what_if
from diewright.job.schema import Job, LineStated
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch

CONFLICT_S = 10.0
"""Most seconds for each search of what conflicts."""


class LineInputs(BaseModel):
    """What the stage reads of the job: the table ``[line]`` and the quantity [parts a year]."""

    model_config = ConfigDict(frozen=True)
    line: LineStated
    quantity: int


def _inputs(job: Job) -> LineInputs:
    return LineInputs(line=job.line, quantity=job.job.quantity)


def work(inputs: LineInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Find the shortest cycle of the line and check it. Raises :class:`InputError` for a line that cannot be, :class:`SolveError` if the check refuses the schedule."""
    line = inputs.line
    plant = plant_of(line)
    problem = problem_of(plant, line.tick_s)
    outcome = solve(problem, line.time_limit_s, watch)
    wanted = None if isinstance(line.cycle_most_s, str) else line.cycle_most_s
    conflict: Conflict | None = None
    if outcome.status == "none" or (wanted is not None and outcome.bound > wanted):
        conflict = conflict_of(problem, wanted if wanted is not None and outcome.status != "none" else outcome.limit, CONFLICT_S, watch)
    f = Found(
        plant=plant, problem=problem, outcome=outcome, bounds=bounds_of(problem), typical=not line.tank, parts_per_rack=line.parts_per_rack, quantity=inputs.quantity,
        wanted=wanted, conflict=conflict,
    )  # fmt: skip
    s = outcome.schedule
    if s is None:
        return Result(values=_values(f, line), findings=findings(f), tables={"tanks": _tanks(f)})
    ways = ways_of(plant, s)
    wrong = faults(plant, s, ways)
    if wrong:
        raise SolveError(f"the schedule found does not hold when it is played: {wrong[0]}", where="line", help="Please report this line.")
    rows = what_if(plant, line.tick_s, s, outcome.status == "proved", line.what_if_s, watch)
    f = Found(**{**f.__dict__, "loop": critical_loop(problem, s), "ways": ways, "rows": rows})
    tables = {
        "tanks": _tanks(f),
        "moves": moves_table(plant, s),
        "soaks": soaks_table(plant, s),
        **{f"way_{h + 1}": way_table(w, plant.height) for h, w in enumerate(ways)},
    }
    if rows:
        tables["what_if"] = {
            "station": np.array([r["station"] for r in rows], dtype=np.float64), "cycle_s": np.array([r["cycle"] for r in rows]), "bound_s": np.array([r["bound"] for r in rows]),
            "proved": np.array([float(r["proved"]) for r in rows]), "gain_pct": np.array([r["gain_pct"] for r in rows]),
        }  # fmt: skip
    return Result(values=_values(f, line), figures=figures(f), findings=findings(f), tables=tables, files={"line.csv": list_of_moves(f)})


def _tanks(f: Found) -> dict[str, np.ndarray]:
    stations = f.plant.stations
    return {
        "position_m": np.array([s.position for s in stations]), "cells": np.array([float(s.cells) for s in stations]),
        "needs_s": np.array(f.bounds.station, dtype=np.float64) * f.problem.tick,
    }  # fmt: skip


def _values(f: Found, line: LineStated) -> dict[str, Any]:
    plant, o = f.plant, f.outcome
    rate = f.racks_per_hour
    return {
        "status": o.status, "cycle": f.cycle, "bound": o.bound, "proved": o.status == "proved", "gap_pct": None if f.cycle is None else 100.0 * o.gap,
        "racks": len(plant.mix), "racks_per_hour": rate, "parts_per_rack": f.parts_per_rack, "parts_per_hour": None if rate is None else rate * f.parts_per_rack,
        "bottleneck": f.bottleneck, "loop": [e.why for e in f.loop], "station_bound": {"name": f.station_bound[0], "cycle": f.station_bound[1]}, "hoist_bound": f.bounds.hoist * f.problem.tick,
        "hoist_load": f.hoist_load, "typical": f.typical, "tick": f.problem.tick, "gap_m": plant.gap, "lift_m": plant.height, "wanted": f.wanted,
        "tanks": [
            {"name": s.name, "position": s.position, "cells": s.cells, "role": s.role, "source": t.source}
            for s, t in zip(plant.stations, line.tank or typical()[0], strict=True)
        ],
        "hoists": [{"name": h.name, "travel": h.travel, "lift": h.lift, "lower": h.lower, "reach": list(plant.reach(k))} for k, h in enumerate(plant.hoists)],
        "recipes": [r.name for r in plant.recipes], "mix": list(plant.mix), "what_if": f.rows,
        "conflict": None if f.conflict is None else {"limit": f.conflict.limit, "minimal": f.conflict.minimal, "members": list(f.conflict.sentences), "sentence": f.conflict.sentence},
        "cautions": list(CAUTIONS),
        "stated": {"tank": [t.model_dump() for t in line.tank or typical()[0]], "hoist": [h.model_dump() for h in stated_hoists(line)]},
    }  # fmt: skip


STAGE = Stage(name="line", title="Hoist line", version=1, packages=("finish/line",), needs=(), inputs=_inputs, work=work, slow=True)

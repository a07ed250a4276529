"""Figures, findings, cautions and the shop's list of the hoist line."""

from __future__ import annotations

import csv
import io

import numpy as np

from diewright.finish.line.found import Found
from diewright.finish.line.schedule import moves_table
from diewright.job.findings import Figure, Finding

SEARCH = "searched by constraint programming; every constraint holds in whole steps of time"
BUSY = 0.95
"""Share of a cycle in which a hoist carries or must travel, from which it has nothing to spare (ours)."""

CAUTIONS = (
    "A hoist on its way crushes: fence the track, interlock the gates, and lock the drives off before anyone reaches into the line. Local codes and a licensed integrator decide.",
    "Acids, hot alkaline cleaners and chromic acid burn, and their mists harm: exhaust, splash guards, eye baths and the permitted exposure limits come before any cycle time.",
    "Never let acid and cyanide meet; drip times and rinses are part of that. A rack that drips over the next tank carries one bath into the other.",
    "Run the schedule slowly and empty first, with the emergency stop at hand; the times here know nothing of swinging racks, slow doors or a bath that is not ready.",
)


def figures(f: Found) -> tuple[Figure, ...]:
    """Cycle, bounds, throughput and load, each with its formula."""
    if f.cycle is None or f.racks_per_hour is None:
        return ()
    name, alone = f.station_bound
    sure = "proved to be the shortest" if f.outcome.status == "proved" else f"a shorter one down to {f.outcome.bound:g} s is not excluded"
    parts = f.racks_per_hour * f.parts_per_rack
    hoists = len(f.plant.hoists)
    return (
        Figure(key="cycle", label="Cycle", value=f.cycle, unit="s", formula="least T that keeps all windows, cells and ways", source=SEARCH, confidence=sure, digits=4, inputs={"racks a cycle": (len(f.plant.mix), ""), "step of time": (f.problem.tick, "s")}),
        Figure(key="bound", label="No cycle is shorter than", value=f.outcome.bound, unit="s", formula="bound of the search, or of stations and hoists", source=SEARCH, digits=4),
        Figure(key="station_bound", label=f"Needed by '{name}' alone", value=alone, unit="s", formula="(least soaks + change of racks where one hoist and one cell) / cells", source="follows from the windows", digits=4),
        Figure(key="hoist_bound", label="Needed by the hoists alone", value=f.bounds.hoist * f.problem.tick, unit="s", formula="(all carries + cheapest empty travels between them) / hoists", source="assignment of ends of carries to starts", digits=4, inputs={"hoists": (hoists, "")}),
        Figure(key="racks_per_hour", label="Racks an hour", value=f.racks_per_hour, unit="1/h", formula="3600 racks / T", inputs={"racks": (len(f.plant.mix), ""), "T": (f.cycle, "s")}, source="follows from the cycle", digits=3),
        Figure(key="parts_per_hour", label="Parts an hour", value=parts, unit="1/h", formula="racks an hour x parts a rack", inputs={"parts a rack": (f.parts_per_rack, "")}, source="follows from the cycle", digits=3),
        Figure(key="hours_a_year", label="Hours on the line for a year's parts", value=f.quantity / parts, unit="h", formula="quantity / parts an hour", inputs={"quantity": (f.quantity, "parts a year")}, source="without rejects, stops and setting up", digits=3),
        *(Figure(key=f"hoist_load_{h + 1}", label=f"{f.plant.hoists[h].name.capitalize()} carries racks for", value=100.0 * load, unit="%", formula="sum of its carries / T", source="the schedule", digits=3) for h, load in enumerate(f.hoist_load)),
    )  # fmt: skip


def findings(f: Found) -> tuple[Finding, ...]:
    """What a person should know of the line."""
    out: list[Finding] = []
    if f.typical:
        out.append(Finding(
            key="line.typical", severity="note", source="typical line, times from memory where no source is named",
            sentence="No line is stated: a typical bright nickel and chromium line with two hoists is shown.", help="State your tanks, hoists and recipes under [line].",
        ))  # fmt: skip
    cycle, bound = f.cycle, f.outcome.bound
    if cycle is None:
        if f.outcome.status == "none":
            said = f.conflict.sentence if f.conflict is not None else "What conflicts was not found in the time."
            out.append(_stop(f"There is no cycle that keeps this line's windows. {said}", None, f.outcome.limit))
        else:
            out.append(Finding(
                key="line.open", severity="attend", value=f.outcome.limit, unit="s", source=SEARCH, sentence="No schedule was found in the time, and none is excluded.",
                help="Allow a longer search (line.time_limit_s) or a coarser step (line.tick_s).",
            ))  # fmt: skip
        return tuple(out)
    if f.wanted is not None and cycle > f.wanted:
        if bound > f.wanted:
            said = f.conflict.sentence if f.conflict is not None else "What conflicts was not found in the time."
            out.append(_stop(f"A cycle of {f.wanted:g} s cannot be kept; the shortest found is {cycle:g} s. {said}", cycle, f.wanted))
        else:
            out.append(Finding(
                key="line.wanted", severity="attend", value=cycle, limit=f.wanted, unit="s", source=SEARCH,
                sentence=f"The shortest cycle found, {cycle:g} s, is longer than the {f.wanted:g} s that will do; shorter ones down to {bound:g} s are not excluded.", help="Allow a longer search (line.time_limit_s).",
            ))  # fmt: skip
    if f.outcome.status == "found":
        out.append(Finding(
            key="line.gap", severity="attend", value=100.0 * f.outcome.gap, limit=0.0, unit="%", source=SEARCH,
            sentence=f"The cycle of {cycle:g} s is not proved to be the shortest: down to {bound:g} s, {100.0 * f.outcome.gap:.2g} % less, is not excluded.",
            help="Allow a longer search (line.time_limit_s), or run this one; it holds all windows.",
        ))  # fmt: skip
    need = f.bounds.hoist * f.problem.tick
    if need > BUSY * cycle:
        out.append(Finding(
            key="line.hoist", severity="attend", value=100.0 * need / cycle, limit=100.0 * BUSY, unit="%", source="assignment bound of carries and empty travels; limit ours",
            sentence=f"The hoists need {need:g} s of a cycle of {cycle:g} s even if they never wait: a delay is not caught up.", help="Add a hoist, raise its speeds or shorten drips.",
        ))  # fmt: skip
    return tuple(out)


def _stop(sentence: str, value: float | None, limit: float) -> Finding:
    return Finding(
        key="line.infeasible", severity="stop", sentence=sentence, value=value, limit=limit, unit="s", source=f"{SEARCH}; the set is minimal where the search says so",
        help="Widen one of the windows named, add a cell or a hoist, or allow a longer cycle (line.cycle_most_s).",
    )  # fmt: skip


def list_of_moves(f: Found) -> bytes:
    """The cycle as a list for the shop: time, hoist, from, to, rack, CSV."""
    assert f.outcome.schedule is not None
    t = moves_table(f.plant, f.outcome.schedule)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["start [s]", "end [s]", "hoist", "from", "to", "drip [s]", "rack", "recipe"])
    for k in range(len(t["start_s"])):
        item, step = int(t["item"][k]), int(t["step"][k])
        recipe = f.plant.recipes[f.plant.mix[item]]
        names = [f.plant.stations[int(t[c][k])].name for c in ("from", "to")]
        writer.writerow(
            [
                _seconds(t["start_s"][k]),
                _seconds(t["end_s"][k]),
                f.plant.hoists[int(t["hoist"][k])].name,
                *names,
                f"{recipe.visits[step].drip:g}",
                item + 1,
                recipe.name,
            ]
        )
    return text.getvalue().encode()  # fmt: skip


def _seconds(value: float) -> str:
    return f"{np.round(value, 3):g}"

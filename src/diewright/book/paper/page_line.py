"""The page Hoist line: the ways of the hoists over a cycle, tanks with their windows, the moves, and what a change would bring."""

from __future__ import annotations

from typing import Any

import numpy as np

from diewright.book.paper.blocks import (  # fmt: skip
    Bench,
    Block,
    attempt,
    decisions,
    figures,
    findings,
    missing,
    origin,
    row,
    sheet,
    small,
    state_of,
    status,
    table,
)
from diewright.book.paper.colours import HAIR, INK
from diewright.book.paper.digits import quantity, said
from diewright.book.paper.svg import Svg, width_of
from diewright.book.paper.svgplot import SMALL, nice_step, tick_text, ticks
from diewright.book.paper.words import plain, stated
from diewright.job.stage import Result

STAGE = "line"
DASHES = ("", "2.2 1.0", "0.7 0.9")


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page; a job whose line is neither stated nor worked has none."""
    found = bench.result(STAGE)
    if STAGE not in bench.states or (found is None and not bench.job.line.tank):
        return []
    values = bench.values(STAGE)
    blocks: list[Block | None] = [*status(bench, STAGE)]
    if found and "way_1" in found.tables:
        caption = "Ways of the hoists over one cycle: thick with a rack, thin empty; grey bars are racks in the tanks."
        blocks.append(attempt("The ways of the hoists", lambda: bench.svg("line-ways", ways(found, bench.width), caption)))
    else:
        blocks.append(missing("There is no schedule of the hoists to show yet."))
    if found:
        blocks += [_said(values), _tanks(found), _moves(found), _changes(values)]
    blocks.append(row(decisions("Decisions", stated(bench.job.line, skip=("tank", "hoist", "recipe")), slim=True)))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == STAGE]))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append({"kind": "cautions", "title": "Cautions", "lines": [plain(c) for c in values.get("cautions") or ()]})
    blocks.append(small("Method and sources", [
        "The shortest cycle is searched by constraint programming in whole steps of time and played by a check of its own: windows, cells, times of the hoists, their distance on the track.", *origin(bench, STAGE),
    ]))  # fmt: skip
    return [sheet("Hoist line", state_of(bench, STAGE), blocks)]


def _said(v: dict[str, Any]) -> Block | None:
    loop = "; ".join(v.get("loop") or [])
    return small("What sets the cycle", [s for s in (str(v.get("bottleneck") or ""), f"The loop: {loop}." if loop else "") if s])


def _tanks(found: Result) -> Block | None:
    v, needs = found.values, found.tables["tanks"]["needs_s"]
    rows = []
    for k, (t, s) in enumerate(zip(v["tanks"], v["stated"]["tank"], strict=True)):
        most = "–" if t["role"] != "bath" else "no limit" if isinstance(s["most_s"], str) else said(s["most_s"], "", 5)
        rows.append(
            [
                t["name"],
                f"{t['position']:.2f}",
                str(t["cells"]),
                said(s["least_s"], "", 5),
                most,
                said(s["drip_s"], "", 3),
                said(float(needs[k]), "", 5),
                s["source"] or "–",
            ]
        )
    names = (
        ("Tank", "left", 1.0),
        ("At, m", "right", 0.0),
        ("Cells", "right", 0.0),
        ("Least, s", "right", 0.0),
        ("Most, s", "right", 0.0),
        ("Drip, s", "right", 0.0),
        ("Needs, s", "right", 0.0),
        ("From", "left", 2.0),
    )
    return table("Tanks and windows", list(names), rows)  # fmt: skip


def _moves(found: Result) -> Block | None:
    if "moves" not in found.tables:
        return None
    v, m = found.values, found.tables["moves"]
    rows = [
        [f"{m['start_s'][k]:.1f}", f"{m['end_s'][k]:.1f}", v["hoists"][int(m["hoist"][k])]["name"], v["tanks"][int(m["from"][k])]["name"], v["tanks"][int(m["to"][k])]["name"], str(int(m["item"][k]) + 1)]
        for k in range(len(m["start_s"]))
    ]  # fmt: skip
    names = (
        ("Starts, s", "right", 0.0),
        ("Ends, s", "right", 0.0),
        ("Hoist", "left", 1.0),
        ("From", "left", 1.0),
        ("To", "left", 1.0),
        ("Rack", "right", 0.0),
    )
    return table(f"The cycle of {quantity(float(v['cycle']), 's', 5)}, move by move", list(names), rows)


def _changes(v: dict[str, Any]) -> Block | None:
    rows = [
        [w["change"], said(w["cycle"], "", 5), f"{w['gain_pct']:.1f}", "yes" if w["proved"] else f"no, from {w['bound']:g} s"]
        for w in sorted(v.get("what_if") or [], key=lambda w: -w["gain_pct"])
        if w["gain_pct"] > 0.05 or not w["proved"]
    ]
    if not rows:
        return None
    return table("What a change would bring", [("Change", "left", 1.0), ("Cycle, s", "right", 0.0), ("Gain, %", "right", 0.0), ("Proved", "left", 0.0)], rows)  # fmt: skip


def ways(found: Result, width: float) -> Svg:
    """The time-way diagram: time across, tanks at their places upwards; soaks as bars, ways of hoists as lines."""
    v, cycle = found.values, float(found.values["cycle"])
    tanks = v["tanks"]
    lines = [{k: np.asarray(c, dtype=float) for k, c in found.tables[f"way_{n + 1}"].items()} for n in range(len(v["hoists"]))]
    places = np.array([t["position"] for t in tanks])
    low = min(float(places.min()), *(float(w["position_m"].min()) for w in lines))
    high = max(float(places.max()), *(float(w["position_m"].max()) for w in lines))
    steps = np.diff(np.unique(places))
    tall = float(np.clip((high - low) / (float(steps.min()) if len(steps) else 1.0) * 4.2, 60.0, 120.0))
    svg = Svg(width, tall + 16.0)
    left, right, top = 3.0 + max(width_of(plain(t["name"]), SMALL) for t in tanks), width - 2.0, 4.0

    def x(t: Any) -> Any:
        return left + np.asarray(t) / cycle * (right - left)

    def y(m: Any) -> Any:
        return top + tall - (np.asarray(m) - low) / max(high - low, 1e-9) * tall

    for t in tanks:
        at = float(y(t["position"]))
        svg.line(left, at, right, at, width=0.1, colour=HAIR)
        svg.text(left - 1.2, at + 0.9, plain(t["name"]), anchor="end", size=SMALL)
    step = nice_step(cycle, 7)
    for t in ticks(0.0, cycle, 7):
        at = float(x(t))
        svg.line(at, top, at, top + tall + 1.2, width=0.1, colour=HAIR)
        svg.text(at, top + tall + 4.4, tick_text(t, step), anchor="middle", size=SMALL)
    svg.text(right, top + tall + 9.0, "time in the cycle, s", anchor="end", size=SMALL, italic=True)
    soaks = found.tables["soaks"]
    for tank, enter, leave in zip(soaks["tank"], soaks["enter_s"], soaks["leave_s"], strict=True):
        for k in range(int(enter // cycle), int(leave // cycle) + 1):
            a, b = max(float(enter) - k * cycle, 0.0), min(float(leave) - k * cycle, cycle)
            if b > a:
                svg.line(float(x(a)), float(y(places[int(tank)])), float(x(b)), float(y(places[int(tank)])), width=1.3, colour=HAIR)
    for n, w in enumerate(lines):
        for k in range(len(w["time_s"]) - 1):
            pair = np.column_stack([x(w["time_s"][k : k + 2]), y(w["position_m"][k : k + 2])])
            svg.path(pair, width=0.6 if w["loaded"][k] else 0.2, dash=DASHES[n % 3])
        svg.text(
            float(right) - 1.0,
            float(y(w["position_m"][-1])) - 1.0,
            plain(v["hoists"][n]["name"]),
            anchor="end",
            size=SMALL,
            halo=True,
            colour=INK,
        )
    return svg

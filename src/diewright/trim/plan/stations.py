"""Which operations share a die, and the force of each station over the slide's height."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.job.schema import PlanStation
from diewright.trim.plan.found import Group, Load
from diewright.trim.plan.ops import Operation, Piece
from diewright.trim.plan.stagger import best_steps

Floats = NDArray[np.float64]
PAIRS = (("trim", "pierce"), ("second trim", "second pierce"), ("cam trim", "cam pierce"))


def tight_webs(operations: Sequence[Operation], webs: Sequence[Mapping[str, Any]], least: float) -> dict[tuple[str, str], str]:
    """Pairs of trim and piercing between whose cuts a web is less than ``least`` [mm], with the sentence that says so."""
    of = {p.id: o.name for o in operations if o.kind == "cut" for p in o.pieces}
    out: dict[tuple[str, str], str] = {}
    for w in webs:
        a, b = w["between"]
        pair = next((p for p in PAIRS if {of.get(a), of.get(b)} == set(p)), None)
        if pair is not None and float(w["mm"]) < least and pair not in out:
            out[pair] = f"{a} and {b} leave a web of {float(w['mm']):.3g} mm in the die, {least:.3g} mm are wanted"
    return out


def automatic(operations: Sequence[Operation], tight: Mapping[tuple[str, str], str], compound: bool) -> list[Group]:
    """Groups in order: trim and piercing of one stroke share a die where the webs allow, cams together, blank and draw only where a compound die is asked for; all else on its own."""
    names = {o.name: o for o in operations}
    pairs = [p for p in PAIRS if p not in tight] + ([("blank", "draw 1")] if compound else [])
    out, done = [], set()
    for o in operations:
        if o.name in done:
            continue
        pair = next((p for p in pairs if o.name in p and set(p) <= set(names)), (o.name,))
        done |= set(pair)
        why = (
            ""
            if len(pair) == 1
            else "one die cuts and draws"
            if "blank" in pair
            else "cams share a die"
            if "cam trim" in pair
            else "both go straight down and the webs between them are wide enough"
        )
        out.append(Group(" and ".join(pair), tuple(names[n] for n in pair), why=why))
    return out


def grouped(operations: Sequence[Operation], stated: Sequence[PlanStation], auto: list[Group]) -> tuple[list[Group], list[str]]:
    """The stated stations, and what they leave of the automatic ones put in where it belongs. Raises :class:`InputError` for an operation that there is not, or that is claimed twice."""
    names = {o.name: o for o in operations}
    claimed: dict[str, int] = {}
    out = []
    for i, s in enumerate(stated):
        where = f"plan.station.{i}.operations"
        for n in s.operations:
            if n not in names:
                raise InputError(f"there is no operation '{n}'.", where=where, help=f"The part has: {', '.join(names)}.")
            if n in claimed:
                raise InputError(
                    f"the operation '{n}' is claimed twice, by stations {claimed[n] + 1} and {i + 1}.",
                    where=where,
                    help="Name each operation in one station.",
                )
            claimed[n] = i
        out.append(Group(s.name or " and ".join(s.operations), tuple(names[n] for n in s.operations), s.press, True, "stated"))
    if not stated:
        return auto, []
    order = {o.name: k for k, o in enumerate(operations)}
    left = [
        Group(" and ".join(o.name for o in rest), rest, why=g.why if len(rest) == len(g.operations) else "")
        for g in auto
        if (rest := tuple(o for o in g.operations if o.name not in claimed))
    ]
    for g in left:
        first = order[g.operations[0].name]
        after = [k for k, other in enumerate(out) if min(order[o.name] for o in other.operations) < first]
        out.insert(max(after, default=-1) + 1, g)
    return out, [o.name for g in left for o in g.operations]


def wrong_order(groups: Sequence[Group], operations: Sequence[Operation]) -> list[tuple[str, str]]:
    """Operations that stand before one that must come first: blank, draws in their order, then cuts and bends; hems after their flange."""
    step = {o.name: _step(o, k) for k, o in enumerate(operations)}
    at = {o.name: i for i, g in enumerate(groups) for o in g.operations}
    return [(a.name, b.name) for a in operations for b in operations if step[a.name] < step[b.name] and at[a.name] > at[b.name]]


def _step(o: Operation, k: int) -> int:
    """Operations of the same step may be done in any order."""
    if o.kind in ("blank", "draw"):
        return k
    return {"pre-hem": 1001, "hem": 1002}.get(o.name, 1000)


def must_part(g: Group) -> str | None:
    """Why the operations of a group cannot share a die; None where they can."""
    kinds = [o.kind for o in g.operations]
    draws = [o.name for o in g.operations if o.kind == "draw"]
    if len(draws) > 1:
        return f"{' and '.join(draws)} each need a stroke of their own"
    hems = [o.name for o in g.operations if o.name in ("flange", "pre-hem", "hem")]
    if len(hems) > 1 and set(hems) & {"pre-hem", "hem"}:
        return f"{' and '.join(hems)} work the same flange one after the other"
    if "blank" in kinds and set(kinds) - {"blank", "draw"} and "draw" not in kinds:
        return "blank and later cuts have the draw between them"
    return None


def load_of(g: Group, thickness: float, steps: int) -> Load:
    """Force of the station over the slide's height, flat and with the best steps of one thickness."""
    cuts = [p for o in g.operations if o.kind == "cut" for p in o.pieces]
    rest = [p for o in g.operations if o.kind != "cut" for p in o.pieces]
    if any(o.kind == "draw" for o in g.operations):  # the blank is cut before the draw begins, and what is cut of the drawn part at its end
        begin = max(p.touch for o in g.operations if o.kind == "draw" for p in o.pieces)
        rest = [Piece(p.id, p.stroke, p.force, begin, p.movable) if p.id == "blank" else p for p in rest]
    chosen = best_steps(cuts, steps, thickness)
    pads = [pad for o in g.operations for pad in o.pads]
    plain, stepped = ([k * thickness for k in ks] for ks in ([0] * len(cuts), chosen))
    knots = np.concatenate([_heights(cuts, rest, offsets) for offsets in (plain, stepped)])
    height = np.unique(np.round(np.append(knots, 0.0), 9))[::-1]
    flat, force = (_force(height, cuts, rest, pads, offsets) for offsets in (plain, stepped))
    live = np.flatnonzero((flat > 0) | (force > 0))
    if len(live):
        height, flat, force = (a[max(int(live[0]) - 1, 0) :] for a in (height, flat, force))
    touch = max([_bottom(cuts, stepped), *(p.touch for p in rest)])
    return Load(height, flat, force, {p.id: k for p, k in zip(cuts, chosen, strict=True) if k}, touch)


def _bottom(cuts: Sequence[Piece], offsets: Sequence[float]) -> float:
    """Height of the slide when the longest steels touch [mm]: the last ones must still go through."""
    return max((o + p.touch for p, o in zip(cuts, offsets, strict=True)), default=0.0)


def _heights(cuts: Sequence[Piece], rest: Sequence[Piece], offsets: Sequence[float]) -> Floats:
    top = _bottom(cuts, offsets)
    found = [top - o - p.stroke for p, o in zip(cuts, offsets, strict=True)] + [p.touch - p.stroke for p in rest]
    # just past both ends of each curve, where it falls to nothing
    ends = np.concatenate([[h[0] + 1e-6, h[-1] - 1e-6] for h in found])
    return np.concatenate([*found, ends[ends >= 0.0]])


def _force(
    height: Floats, cuts: Sequence[Piece], rest: Sequence[Piece], pads: Sequence[tuple[Floats, Floats]], offsets: Sequence[float]
) -> Floats:
    top = _bottom(cuts, offsets)
    total = np.zeros(len(height))
    for p, o in zip(cuts, offsets, strict=True):
        total += p.at(top - height - o)
    for p in rest:
        total += p.at(p.touch - height)
    for stroke, force in pads:
        s = top - height
        slope = (force[-1] - force[0]) / max(float(stroke[-1] - stroke[0]), 1e-9)
        total += np.where(s < -1e-9, 0.0, np.interp(s, stroke, force) + slope * np.maximum(s - stroke[-1], 0.0))
    return total

"""What is told about the details of the faces, as findings."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from diewright.die.detail_found import SHARP, BeadFound, Details
from diewright.die.detail_zones import EASE
from diewright.job.findings import Finding, Place

Floats = NDArray[np.float64]

CHORD = 0.02
"""Chords of the faces' triangles, in thicknesses (as they are made): what reaches over an edge or fills a gap by less is not told."""
MANY = 40
"""More holes than this are no longer drilled: the air wants another way out (ours)."""


def findings_of(d: Details) -> Iterator[Finding]:
    """Findings of the details."""
    if d.bead is not None:
        yield from _bead(d.bead)
    yield from _pins(d)
    yield from _vents(d)
    t = d.thickness
    if d.corners and d.corners[0].most > CHORD * t:
        worst = d.corners[0]
        yield Finding(
            key="details.corner", severity="attend", value=d.clearance + worst.most, limit=d.clearance, unit="mm", source="thickness of the one-step solution against the gap of the faces in the closed position",
            sentence=f"The wall wants {worst.most:.3g} mm more room than the faces leave it at {len(d.corners)} place{'s' if len(d.corners) > 1 else ''}; most {_at(worst.at)}.",
            help="Open the die there by the field allowance_mm, or state a larger faces.clearance.", place=_place([s.at for s in d.corners]),
        )  # fmt: skip
    if d.ironed > 0 and d.solution_gap is not None:
        yield Finding(
            key="details.ironed", severity="note", value=d.ironed, unit="MPa", source="one-step solution",
            sentence=f"The solution presses upright walls into a gap of {d.solution_gap:.3g} mm with up to {d.ironed:.3g} MPa: how thick they would grow without it is not in the allowance.",
            help="Where corners of the wall gall in the tryout, open them further.",
        )  # fmt: skip
    if d.eased and d.eased[0].most > EASE * t:
        yield Finding(
            key="details.relief", severity="note", value=d.eased[0].most, limit=EASE * t, unit="mm", source="thickness of the one-step solution; limit ours",
            sentence=f"The flange thickens by up to {d.eased[0].most:.3g} mm: the blankholder is eased there by as much (field relief_mm), or it bears on these places alone.",
            help="Spot the blankholder over the zone 'bears' first.", place=_place([s.at for s in d.eased]),
        )  # fmt: skip


def _bead(b: BeadFound) -> Iterator[Finding]:
    on = b.line.on
    if not on.any():
        yield Finding(
            key="details.bead_none", severity="attend", value=0.0, limit=0.0, unit="mm", source="common practice: no bead where the sheet is pressed together; limit ours",
            sentence=f"The bead's line turns on less than {b.line.least:.3g} mm all round, or leaves only short pieces between such corners: nothing of it is cut.",
            help="Hold back by the blankholder force, or state a smaller details.bead_least_radius.",
        )  # fmt: skip
        return
    for key, name, room in (
        ("details.bead_blank", "blank's edge at the start of the draw", b.room_blank),
        ("details.bead_holder", "blankholder's edge", b.room_holder),
    ):
        out = on & (room < -CHORD * b.nominal)
        if out.any():
            yield Finding(
                key=key, severity="attend", value=float(room[on].min()), limit=0.0, unit="mm", source="geometry",
                sentence=f"The groove of the draw bead reaches over the {name} along {100 * out.sum() / on.sum():.3g} % of what is cut, by up to {-room[on].min():.3g} mm.",
                help="State a smaller tryout.bead_offset or bead, or a larger blank.trim_allowance.", place=_flat(b.line.points[out]),
            )  # fmt: skip
    if b.room_die < -CHORD * b.nominal:
        yield Finding(
            key="details.bead_die", severity="attend", value=b.room_die, limit=0.0, unit="mm", source="geometry",
            sentence=f"The groove of the draw bead runs {-b.room_die:.3g} mm into the die radius.",
            help=f"State tryout.bead_offset = {b.offset - b.room_die:.4g} at least, or a smaller bead.",
        )  # fmt: skip
    if not on.all():
        yield Finding(
            key="details.bead_corners", severity="note", value=b.line.length - b.cut_length, unit="mm", source="common practice; the radius is ours",
            sentence=f"The bead is left out along {b.line.length - b.cut_length:.4g} of {b.line.length:.4g} mm, in {int((~b.line.cut).sum())} corners where its line turns on less than {b.line.least:.3g} mm; the tryout feels none there either.",
            help="State details.bead_least_radius to cut more or less of it.", place=_flat(b.line.points[~on]),
        )  # fmt: skip


def _pins(d: Details) -> Iterator[Finding]:
    p = d.pins
    if not d.fixes:
        free = "does not fix its turn" if p.rank < 3 else f"holds its turn only weakly (condition number {p.condition:.3g})"
        rows = "locator matrix of the three pins; limit ours"
        yield Finding(
            key="details.locators", severity="note" if p.round else "attend", value=min(p.condition, 1e6), limit=SHARP, source=rows, place=_flat(p.touch[:3]),
            sentence=f"The blank lies against two pins and one, and that {free}{': it is round' if p.round else ''}.",
            help="Lay it by its rolling direction, if that matters." if p.round else "Give it a notch or a pilot hole outside the part.",
        )  # fmt: skip
    if d.pin_room.min() < 0:
        yield Finding(
            key="details.locator_opening", severity="stop", value=float(d.pin_room.min()), limit=0.0, unit="mm", source="geometry",
            sentence=f"{int((d.pin_room < 0).sum())} of the pins stand in the punch opening, where the blank does not reach beyond it.",
            help="Make the blank larger (blank.trim_allowance) or the pins thinner (details.locator_diameter).", place=_flat(p.at[d.pin_room < 0]),
        )  # fmt: skip
    if d.pin_bead is not None and d.pin_bead.min() < 0:
        yield Finding(
            key="details.locator_bead", severity="attend", value=float(d.pin_bead.min()), limit=0.0, unit="mm", source="geometry",
            sentence=f"{int((d.pin_bead < 0).sum())} of the pins stand in the groove of the draw bead.",
            help="State a smaller tryout.bead_offset, or a larger blank.trim_allowance.", place=_flat(p.at[d.pin_bead < 0]),
        )  # fmt: skip


def _vents(d: Details) -> Iterator[Finding]:
    wanted = sum(q.wanted for q in d.air.pockets)
    if wanted > MANY:
        yield Finding(
            key="details.vents", severity="attend", value=float(wanted), limit=float(MANY), unit="holes", source="ours",
            sentence=f"The air under the sheet wants {wanted} holes ({sum(q.section for q in d.air.pockets):.3g} mm2) to leave at {1e-3 * d.air_speed:.3g} m/s.",
            help="Let it out through a recess in the scrap, state a larger details.vent_diameter or details.air_speed, or press more slowly.",
        )  # fmt: skip
    short = [q for q in d.air.pockets if len(q.holes) < q.wanted]
    if short:
        yield Finding(
            key="details.vents_room", severity="note", value=float(sum(len(q.holes) for q in short)), limit=float(sum(q.wanted for q in short)), unit="holes", source="two diameters between holes (ours)",
            sentence=f"{len(short)} pocket{'s' if len(short) > 1 else ''} ha{'ve' if len(short) > 1 else 's'} room for {sum(len(q.holes) for q in short)} of {sum(q.wanted for q in short)} holes on level ground near the bottom.",
            help="Drill the others higher up, or let the air out another way.", place=_place([q.at for q in short]),
        )  # fmt: skip
    steep = [q for q in d.air.pockets if not q.clear]
    if steep:
        yield Finding(
            key="details.vents_radius", severity="attend", value=float(len(steep)), limit=0.0, unit="pockets", source="common practice: no vent on a visible radius",
            sentence=f"{len(steep)} pocket{'s have' if len(steep) > 1 else ' has'} no level ground clear of radii near the bottom: the vent at the lowest point stands on a radius.",
            help="Move it where the part does not show, or vent through an insert's joint.", place=_place([q.at for q in steep]),
        )  # fmt: skip
    hollow = [q for q in d.air.pockets if q.face == "punch"]
    if hollow:
        yield Finding(
            key="details.punch_pockets", severity="note", value=float(len(hollow)), unit="pockets", source="flood over the punch's own triangles",
            sentence=f"The punch has {len(hollow)} hollow{'s' if len(hollow) > 1 else ''} that the sheet closes before it fills; they are vented through the punch.",
            help="The same holes let air in when the part is stripped.", place=_place([q.at for q in hollow]),
        )  # fmt: skip


def _at(p: tuple[float, float, float]) -> str:
    return f"at ({p[0]:.0f}, {p[1]:.0f}) mm"


def _place(points: list[tuple[float, float, float]]) -> Place:
    return Place(points=tuple(points[:40]), label=_at(points[0]))


def _flat(points: Floats) -> Place:
    step = max(len(points) // 40, 1)
    return _place([(float(x), float(y), 0.0) for x, y in points[::step]])

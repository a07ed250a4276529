"""What the stage ``finish`` has to say."""

from __future__ import annotations

import numpy as np

from diewright.finish.found import Found
from diewright.finish.prepare.steps import leaves
from diewright.finish.records.readings import overall
from diewright.finish.spec.classes import MEANING, served
from diewright.geometry.sides import Region
from diewright.job.findings import Finding, Place, Severity

LITTLE_BALL = 0.98
"""Share of the picked surface that the ball touches, below which it is spoken of (ours)."""
WORST = 12
SEVERITY: dict[str, Severity] = {"conforms": "note", "not proven": "attend", "does not": "stop"}


def findings(f: Found) -> tuple[Finding, ...]:
    """Specification first, then preparation, rack and records."""
    return (*_class(f), *_ball(f), *_prepare(f), *_recesses(f), *_rack(f), *_readings(f), *_book(f))


def _class(f: Found) -> list[Finding]:
    w = f.wanted
    out = []
    if w.open:
        out.append(Finding(
            key="finish.class", severity="attend", value=float(w.service), source="ISO 1456 and ASTM B456: service conditions",
            sentence=f"No service condition is stated: {w.service} ({MEANING[w.service]}) was taken, {w.name}.", help="State finish.service, or nickel_um and chromium_um.",
        ))  # fmt: skip
    if w.row and w.row.known_by == "memory-uncertain":
        out.append(Finding(
            key="finish.class_source", severity="attend", value=w.nickel, unit="µm", source=w.row.source,
            sentence=f"{w.name} for {w.base} is from uncertain memory.", help="Read the standard, and state nickel_um and chromium_um.",
        ))  # fmt: skip
    if (
        w.row is None
        and (serves := served(w.base, w.nickel, w.chromium, f.stated.chromium)) < w.service
        and not isinstance(f.stated.service, str)
    ):
        out.append(Finding(
            key="finish.class_short", severity="attend", value=float(serves), limit=float(w.service), source="ISO 1456 and ASTM B456: least thickness by service condition",
            sentence=f"{w.nickel:g} µm of nickel with {w.chromium:g} µm of chromium {f'serve condition {serves}' if serves else 'serve no condition of the table'}, {w.service} is stated.",
            help="Thicker nickel, microporous chromium, or a milder service condition.",
        ))  # fmt: skip
    if f.stated.side == "auto" and f.significant.faces is None and len(f.significant.sides) == 1:
        out.append(Finding(
            key="finish.side", severity="note", source="geometry: the side whose normals point away from the part's middle",
            sentence=f"The {f.significant.side} side of the sheet is taken as the one that is seen.", help="State finish.side or the faces that count.",
        ))  # fmt: skip
    return out


def _ball(f: Found) -> list[Finding]:
    out = []
    for side in f.significant.sides:
        share = f.share(side)
        if share < LITTLE_BALL:
            at = [r for s, r in f.untouched if s == side]
            out.append(Finding(
                key="finish.ball" if len(f.significant.sides) == 1 else f"finish.ball.{side}", severity="note", value=100.0 * share, limit=100.0, unit="%",
                source="ISO 27830: a ball of 20 mm", place=_place([r.at for r in at], f"{side} side, not touched") if at else None,
                sentence=f"A ball of {f.stated.ball_mm:g} mm touches {100.0 * share:.3g} % of the picked surface of the {side} side; no least thickness is owed on the rest.",
                help="Where such a place must be protected, agree a thickness for it in writing.",
            ))  # fmt: skip
    return out


def _prepare(f: Found) -> list[Finding]:
    out = []
    on = f.polished
    if (low := float(f.left[on].min())) < f.least:
        out.append(Finding(
            key="finish.thin", severity="stop" if low <= 0 else "attend", value=low, limit=f.least, unit="mm",
            source="stated least_thickness" if not isinstance(f.stated.least_thickness, str) else "0.75 of the sheet (ours)", place=_worst(f, np.where(on, f.left, np.inf)),
            sentence=f"{low:.3g} mm of sheet are left after polishing at the thinnest place, {f.least:.3g} are wanted; {float(f.mesh.areas[on & (f.left < f.least)].sum()) / 100:.3g} cm2 are thinner.",
            help="A smoother sheet and die radius, fewer or finer grits, or a thicker sheet.",
        ))  # fmt: skip
    ends = leaves(f.steps)
    if ends[1] > f.stated.polish_ra_um:
        out.append(Finding(
            key="finish.rough", severity="attend", value=ends[1], limit=f.stated.polish_ra_um, unit="µm Ra", source=f.steps[-1].source,
            sentence=f"The last step, {f.steps[-1].name}, leaves {ends[0]:g} to {ends[1]:g} µm Ra, {f.stated.polish_ra_um:g} are wanted before plating.", help="State finer grits or a buff.",
        ))  # fmt: skip
    for a, b in zip(f.steps, f.steps[1:], strict=False):
        if a.number and b.number and a.ra[0] > b.ra[1]:
            out.append(Finding(
                key=f"finish.jump.{b.number}", severity="attend", value=float(b.number), limit=float(a.number), source="published step 30 to 40 numbers (ASM Handbook vol 5)",
                sentence=f"From {a.name} to {b.name} is a long way: the finer one must take off up to {b.stock[1]:.3g} µm.", help="Put a grit between them.",
            ))  # fmt: skip
    fast = max(f.steps, key=lambda s: s.rpm)
    if fast.rpm > f.stated.wheel_rpm_most:
        out.append(Finding(
            key="finish.wheel", severity="stop", value=fast.rpm, limit=f.stated.wheel_rpm_most, unit="1/min", source="speed marked on the wheel",
            sentence=f"A wheel of {f.stated.wheel_mm:g} mm would have to turn {fast.rpm:.0f} times a minute for {fast.speed:.3g} m/s, {f.stated.wheel_rpm_most:g} are marked on it: it could burst.",
            help="Take a larger wheel; never run one above its mark.",
        ))  # fmt: skip
    if not f.drawn.known.all():
        out.append(Finding(
            key="finish.unknown", severity="note", value=float(f.mesh.areas[~f.drawn.known].sum()), unit="mm2", source="draw shape",
            sentence="Part of the surface is not in the one-step solution: it counts as the sheet was rolled.", help="Work it out with a tryout.",
        ))  # fmt: skip
    return out


def _recesses(f: Found) -> list[Finding]:
    out = []
    for i, (side, r) in enumerate(f.recesses, start=1):
        out.append(Finding(
            key=f"finish.recess.{i}", severity="attend", value=r.area, limit=0.0, unit="mm2", source="geometry: a wheel as a ball cut to its width, exact to a sixth of it", place=_place(_spread(f, r), f"{side} side"),
            sentence=f"{r.area / 100:.3g} cm2 of the {side} side are in a recess that a wheel of {f.stated.wheel_mm:g} x {f.stated.wheel_width:g} mm does not reach.",
            help="A smaller wheel, a belt, a mop or a hand tool there; or leave it as drawn and agree it.",
        ))  # fmt: skip
    return out


def _rack(f: Found) -> list[Finding]:
    out = []
    lay = f.layout
    if lay.immersed > f.stated.tank_depth:
        out.append(Finding(
            key="finish.depth", severity="attend", value=lay.immersed, limit=f.stated.tank_depth, unit="mm", source="finish.tank_depth",
            sentence=f"The rack reaches {lay.immersed:.0f} mm deep, the bath is {f.stated.tank_depth:g} mm.", help="Fewer rows: state a lower rack_height.",
        ))  # fmt: skip
    if len(f.contacts) < lay.contacts:
        out.append(Finding(
            key="finish.contacts", severity="attend", value=float(len(f.contacts)), limit=float(lay.contacts), source="geometry",
            sentence=f"Only {len(f.contacts)} places at free edges were found for {lay.contacts} contacts.", help="Hang the part another way, or on stronger contacts.",
        ))  # fmt: skip
    elif (marks := max((c.marks for c in f.contacts), default=0.0)) > 1.0:
        out.append(Finding(
            key="finish.marks", severity="note", value=marks, limit=0.0, unit="mm2", source="geometry: within 3 mm of the contact", place=_place([c.at for c in f.contacts], "contacts"),
            sentence=f"A contact leaves a mark of up to {marks:.2g} mm2 on surface that counts: the shown side runs to every edge it could hang by.", help="Agree the place of the marks, or leave a tab that is cut off later.",
        ))  # fmt: skip
    return out


def _readings(f: Found) -> list[Finding]:
    out = []
    for layer in dict.fromkeys(x.layer for x in f.readings or []):
        some = [x for x in f.readings or [] if x.layer == layer]
        least = min(some, key=lambda x: x.mean - x.uncertainty)
        word = overall(some)
        out.append(Finding(
            key=f"finish.readings.{layer}", severity=SEVERITY[word], value=least.mean, limit=least.limit, unit="µm",
            source="ISO 14253-1 for a lower limit; uncertainty k = 2",
            sentence=f"{layer.capitalize()}: {len(some)} places, least {least.mean:.3g} ± {least.uncertainty:.2g} µm at {least.place}, {least.limit:g} are wanted: {'conformity is proved' if word == 'conforms' else 'neither conformity nor its contrary is proved' if word == 'not proven' else 'it does not conform'}.",
            help="" if word == "conforms" else "More readings at that place, a method of less uncertainty, or longer plating.",
        ))  # fmt: skip
    return out


def _book(f: Found) -> list[Finding]:
    return [
        Finding(
            key=f"finish.bath.{b.what.replace(' ', '_')}", severity="note", value=b.to_add, unit=b.unit, source=b.rests_on,
            sentence=f"Add {b.to_add:.3g} {b.unit} of {b.what}." if b.to_add > 0 else f"No {b.what} is to be added: the balance is {-b.to_add:.3g} {b.unit} above where the book began.",
            help="Analyse the bath before you add; this is a balance, no measurement.",
        )
        for b in f.book or []
    ]  # fmt: skip


def _place(points: list[tuple[float, float, float]], label: str) -> Place:
    return Place(points=tuple(points[:WORST]), label=label)


def _spread(f: Found, r: Region) -> list[tuple[float, float, float]]:
    some = r.cells[np.linspace(0, len(r.cells) - 1, min(WORST - 1, len(r.cells))).astype(int)]
    return [r.at, *((float(x), float(y), float(z)) for x, y, z in f.mesh.centroids[some])]


def _worst(f: Found, field: np.ndarray) -> Place:
    order = np.argsort(field, kind="stable")[:WORST]
    return _place([(float(x), float(y), float(z)) for x, y, z in f.mesh.centroids[order]], "thinnest")

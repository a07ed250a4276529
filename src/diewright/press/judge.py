"""What the press stage has to say: findings from the figures and from the checks of the chosen press."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from diewright.job.findings import Figure, Finding
from diewright.job.stage import Result
from diewright.press.drawn import Drawn
from diewright.press.figures import Draft, Metal
from diewright.press.fit import RESERVE, Check
from diewright.press.radii import die_radius_range, punch_radius_least
from diewright.press.ratios import romanovskii_factors
from diewright.press.table import Press

TIGHT = 2.0
"""Radius over thickness below which a draw radius is struck in a later operation (common practice)."""


def findings_of(
    part: Drawn, metal: Metal, case: Draft | None, shape: Result, press: Press, found: Sequence[Check],
    figures: Sequence[Figure], holder: float, stated_holder: object,
) -> list[Finding]:  # fmt: skip
    """All findings of the stage."""
    value = {f.key: f.value for f in figures}
    out = [
        Finding(
            key=f"press.{c.key}",
            severity=c.level,
            sentence=c.sentence,
            value=c.value,
            limit=c.limit,
            unit=c.unit,
            source=c.source,
            help=c.help,
        )
        for c in found
        if c.level != "ok"
    ]
    if case is None:
        out.append(Finding(
            key="press.flat", severity="note", sentence="The part is flat: there is nothing to draw, the figures are those of cutting it.",
            value=part.depth, limit=0.5 * part.thickness, unit="mm", source="depth below half the thickness",
        ))  # fmt: skip
    else:
        out += [*_draws(part, case), *_forces(case, value), *_holder(part, case, holder, stated_holder), *_radii(part, shape)]
        if not part.is_round:
            out.append(Finding(
                key="press.equivalent", severity="note",
                sentence="The part is not round: draw ratio and forces come from circles of equal area and the length of its outline.",
                source="equivalent diameters, common practice", help="Take the forces as within 40 %; a virtual tryout gives them properly.",
            ))  # fmt: skip
    out += _cut(press, value, case is not None)
    return out


def _draws(part: Drawn, case: Draft) -> Iterator[Finding]:
    beta, limit, n = part.ratio, case.limit, len(case.draws)
    if beta > limit:
        text = f"The draw ratio is {beta:.2f}, one draw reaches about {limit:.2f}: "
        text += f"the cup takes {n} draws." if part.is_round else "one draw is unlikely to be enough (equivalent ratio)."
        yield Finding(
            key="press.draw_ratio", severity="attend", sentence=text, value=beta, limit=limit, source="Tschaetsch, limiting draw ratio (from memory)",
            help="Plan the redraws of the sequence, or ask for a shallower or wider part, or a sheet with a higher r-value.",
        )  # fmt: skip
    elif part.is_round:
        m1 = romanovskii_factors(part.thickness, part.blank_diameter)[0][0]
        if beta > 1.0 / m1:
            yield Finding(
                key="press.draws_differ", severity="attend", value=beta, limit=1.0 / m1, source="Romanovskii, first draw (from memory)",
                sentence=f"Handbooks differ: one draw is allowed up to {limit:.2f} by one and up to {1.0 / m1:.2f} by another; the part asks for {beta:.2f}.",
                help="Try the blankholder force and lubrication early, or plan a redraw.",
            )  # fmt: skip
    if not case.inside_table:
        relative = 100.0 * part.thickness / part.blank_diameter
        edge = 2.0 if relative > 2.0 else 0.08
        yield Finding(
            key="press.draw_table", severity="note" if relative > 2.0 else "attend", value=relative, limit=edge, unit="%", source="Romanovskii, table of draws (from memory)",
            sentence=f"The sheet's thickness is {relative:.2f} % of the blank's diameter, outside the table of draws (0.08 to 2 %): its end column is used.",
            help="Thin sheet wrinkles first: count on more draws." if relative < 1.0 else "Thick sheet draws further: the count is on the careful side.",
        )  # fmt: skip
    if n > 1:
        yield Finding(
            key="press.redraws", severity="note", value=float(n), sentence="Force curve and press are those of the first draw; each redraw needs its own press choice.",
            source="the wall of a redraw carries at most its tear-off force, listed with the sequence", help="Choose the redraw presses from the sequence.",
        )  # fmt: skip


def _forces(case: Draft, value: dict[str, float | None]) -> Iterator[Finding]:
    best, tear = value.get("draw_force_slab"), value.get("bottom_tear_force")
    if best is not None and tear is not None and best > tear:
        yield Finding(
            key="press.bottom_tear", severity="attend", value=best / 1000.0, limit=tear / 1000.0, unit="kN", source="wall length times thickness times Rm",
            sentence=f"The draw needs about {best / 1000.0:.0f} kN, the wall carries {tear / 1000.0:.0f} kN before the bottom tears off.",
            help="Larger radii, less blankholder force, better lubrication, a smaller blank, or one more draw.",
        )  # fmt: skip
    inverse, handbook = value.get("draw_force_inverse"), value.get("draw_force_perimeter")
    if inverse and handbook and not 0.5 <= inverse / handbook <= 2.0:
        yield Finding(
            key="press.force_spread", severity="attend", value=inverse / 1000.0, limit=handbook / 1000.0, unit="kN", source="inverse solution against the handbook form",
            sentence=f"The inverse solution gives {inverse / 1000.0:.0f} kN, the handbook form {handbook / 1000.0:.0f} kN: they differ by more than a factor of two.",
            help="Plan with the larger one until a tryout decides.",
        )  # fmt: skip


def _holder(part: Drawn, case: Draft, used: float, stated: object) -> Iterator[Finding]:
    if case.holder_free:
        yield Finding(
            key="press.no_holder", severity="note", value=part.blank_diameter - case.first.diameter, limit=18.0 * part.thickness, unit="mm",
            sentence="The flange is short for its thickness: the cup can be drawn without a blankholder.", source="D - d <= 18 s, Esser & Arend 1940 (from memory)",
        )  # fmt: skip
    if stated is None or case.holder_handbook <= 0.0 or case.holder_free:
        return
    ratio = used / case.holder_handbook
    if not 0.5 <= ratio <= 2.0:
        severity: Literal["attend", "note"] = "attend" if ratio < 0.5 else "note"
        yield Finding(
            key="press.blankholder", severity=severity, value=used / 1000.0, limit=case.holder_handbook / 1000.0, unit="kN", source="Siebel form of the holder pressure",
            sentence=f"The blankholder force is {used / 1000.0:.1f} kN, the handbook starts at {case.holder_handbook / 1000.0:.1f} kN.",
            help="Too little wrinkles the flange." if ratio < 0.5 else "Too much tears the wall; bead restraint may be meant.",
        )  # fmt: skip


def _radii(part: Drawn, shape: Result) -> Iterator[Finding]:
    s = part.thickness
    advice = {"radius_concave_min": ("concave", punch_radius_least(s)), "radius_convex_min": ("convex", die_radius_range(s)[0])}
    for key, (word, good) in advice.items():
        radius = shape.values.get(key)
        if radius is None or radius >= good:
            continue
        tight = radius < TIGHT * s
        yield Finding(
            key=f"press.radius_{word}", severity="attend" if tight else "note", value=float(radius), limit=good, unit="mm", source="4 s at the punch, 5 s at the die (handbook, from memory)",
            sentence=f"The smallest {word} radius of the part is {radius:.2f} mm, {radius / s:.1f} times the thickness; a draw likes {good:.1f} mm or more.",
            help="Draw with a larger radius and strike the part's own in a second operation, or ask for a larger radius.",
        )  # fmt: skip


def _cut(press: Press, value: dict[str, float | None], drawn: bool) -> Iterator[Finding]:
    force = value.get("blanking_force") or 0.0
    limit = RESERVE * 1000.0 * press.force_kn
    if drawn and force > limit:
        yield Finding(
            key="press.blanking", severity="note", value=force / 1000.0, limit=limit / 1000.0, unit="kN", source="four fifths of the nominal force, common practice",
            sentence=f"Cutting the blank takes {force / 1000.0:.0f} kN: not on {press.name} with flat tools.",
            help="Cut the blank on a larger press, by laser, or grind shear on the tool.",
        )  # fmt: skip

"""What the tryout of the draws has to say: where it tears, which draw limits, what the press lacks, and another sequence where one draw carries too much."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Finding, Place
from diewright.tryout.draws_handbook import evened
from diewright.tryout.findings import FAR, IRONED, KINETIC, RESERVE, WRINKLE
from diewright.tryout.loads import Reserve

Floats = NDArray[np.float64]
Row = Mapping[str, Any]
OFF = 2.0
"""How far the wall may stand off its diameter, over the thickness, before the draw counts as not reached (ours)."""
LOADED = 90.0
"""Share of the tear-off force [%] from which on a draw is told as heavily loaded (common practice)."""
FLC = "forming limit curve of the sheet with the strain path through all draws (plastic strain over the direction of straining; Stoughton and Yoon 2012, from memory)"


@dataclass(frozen=True)
class Judged:
    """What the findings need: rows of the draws, planned draws, wanted margin [%], thickness [mm], the part's height [mm], name of the press and its reserve in each draw."""

    rows: Sequence[dict[str, Any]]
    planned: int
    margin_wanted: float
    thickness: float
    part_height: float
    blank: float
    press: str
    reserves: Mapping[int, Reserve]


def findings_of(j: Judged) -> list[Finding]:
    """All findings, ``stop`` first."""
    found = [*_stopped(j), *_margin(j), *_reached(j), *_load(j), *_press(j), *_wrinkle(j), *_ironing(j), *_height(j), *_run(j)]
    return sorted(found, key=lambda f: ("stop", "attend", "note").index(f.severity))


def limiting(rows: Sequence[Row], wanted: float) -> tuple[int, str]:
    """Number of the draw that limits the sequence, and why in a sentence: the first that tears or takes the margin to its least, if that is below the ``wanted`` one [%]; else the most heavily loaded."""
    margins = [float(r["margin_pct"]) for r in rows]
    least = min(margins)
    if least < wanted:
        # a row's margin is the least so far
        k = next(i for i, m in enumerate(margins) if m <= max(least + 0.5, -1e-9 if least < 0 else -math.inf))
    else:
        k = max(range(len(rows)), key=lambda i: _use(rows[i]))
    return int(rows[k]["draw"]), (
        f"Draw {rows[k]['draw']} limits the sequence: its punch force is {_use(rows[k]):.0f} % of what tears the bottom off; "
        f"the margin is {margins[k]:.1f} percent points, {rows[k]['margin_height_mm']:.0f} mm above the bottom."
    )


def _use(row: Row) -> float:
    return 100.0 * float(row["punch_kN"]) / float(row["tear_kN"])


def _when(row: Row) -> str:
    stroke = float(row.get("tear_at_stroke_mm", math.nan))
    return f" at a stroke of {stroke:.0f} mm" if math.isfinite(stroke) else ""


def proposal(rows: Sequence[Row], blank: float) -> dict[str, Any] | None:
    """Diameters [mm] at which all draws would carry the same share of their tear-off force; None for a single draw or one that was not worked."""
    draws = [r for r in rows if r["kind"] != "restrike"]
    if len(draws) < 2 or any(r["stopped"] is not None for r in draws):
        return None
    ratios = np.array([float(r["ratio_wanted"]) for r in draws])
    loads = np.array([float(r["draw_kN"]) / float(r["tear_kN"]) for r in draws])
    wanted = evened(loads, ratios)
    return {"ratios": wanted.tolist(), "diameters": (blank / np.cumprod(wanted))[:-1].tolist(), "loads": loads.tolist()}


def _stopped(j: Judged) -> Iterator[Finding]:
    for r in j.rows:
        if r["stopped"] is not None:
            yield Finding(
                key="draws_tryout.stopped", severity="stop", value=float(r["draw"]), limit=float(j.planned), source="explicit tryout of the draws",
                sentence=f"{str(r['kind']).capitalize()} {r['draw']} of {j.planned} broke off: {r['stopped']}", help="What is shown is its last good frame; the draws after it were not worked.",
            )  # fmt: skip


def _margin(j: Judged) -> Iterator[Finding]:
    k, why = limiting(j.rows, j.margin_wanted)
    r = next(r for r in j.rows if r["draw"] == k)
    least = float(r["margin_pct"])
    where = Place(points=(tuple(float(v) for v in r["margin_at"]),), label=f"draw {k}, {r['margin_height_mm']:.0f} mm above the bottom")  # type: ignore[arg-type]
    shown = _proposed(j)
    if least < 0.0:
        far = f"{-least:.1f}" if least > -FAR else f"more than {FAR:g}"
        yield Finding(
            key="draws_tryout.tear", severity="stop", value=least, limit=0.0, unit="%", source=FLC, place=where,
            sentence=f"The cup tears in draw {k}{_when(r)}, {r['margin_height_mm']:.0f} mm above the bottom: in the end it is {far} percent points beyond the forming limit. Its punch force is {_use(r):.0f} % of what tears the bottom off.{shown}",
            help="A smaller ratio there (draws.diameters), larger radii, less friction or sleeve force, or one draw more.",
        )  # fmt: skip
    elif least < j.margin_wanted:
        yield Finding(
            key="draws_tryout.neck", severity="attend", value=least, limit=j.margin_wanted, unit="%", source="stated: blank.margin_wanted", place=where,
            sentence=f"{why} {j.margin_wanted:g} are wanted.{shown}", help="Take over other diameters (draws.diameters), larger radii or less friction.",
        )  # fmt: skip
    else:
        yield Finding(
            key="draws_tryout.limits", severity="note", value=least, limit=j.margin_wanted, unit="%", source=FLC, sentence=why, place=where
        )


def _reached(j: Judged) -> Iterator[Finding]:
    for r in j.rows:
        wanted, off = float(r["diameter_wanted_mm"]), OFF * j.thickness
        wall, rim = float(r["diameter_mm"]), 2.0 * float(r["rim_radius_mm"])
        if r["stopped"] is not None or (abs(wall - wanted) <= off and rim <= wanted + 2.0 * off):
            continue
        through = f"its rim is still {rim:.1f} mm wide" if rim > wanted + 2.0 * off else f"its wall is {wall:.1f} mm across"
        yield Finding(
            key=f"draws_tryout.reached.{r['draw']}", severity="stop", value=wall if math.isfinite(wall) else None, limit=wanted, unit="mm",
            source=f"mean of the upright wall within {OFF:g} thicknesses, rim within {2 * OFF:g}", sentence=f"Draw {r['draw']} does not reach its diameter of {wanted:.1f} mm: {through}.",
            help="Look at the cup after this draw: it tears, is not drawn through, or its wall folds.",
        )  # fmt: skip


def _proposed(j: Judged) -> str:
    other = proposal(j.rows, j.blank)
    return "" if other is None else f" At diameters of {', '.join(f'{d:.1f}' for d in other['diameters'])} mm all draws would carry alike."


def _load(j: Judged) -> Iterator[Finding]:
    r = max(j.rows, key=_use)
    if _use(r) > LOADED and float(r["margin_pct"]) >= 0.0:
        yield Finding(
            key="draws_tryout.load", severity="attend", value=_use(r), limit=LOADED, unit="%", source="largest punch force over pi d s Rm; nine tenths, common practice",
            sentence=f"Draw {r['draw']} takes {_use(r):.0f} % of the force that tears the bottom off a new sheet: the foot has little left.{_proposed(j)}",
            help="Other diameters (draws.diameters), a larger die radius (draws.die_radii), less friction, or annealing before it.",
        )  # fmt: skip


def _press(j: Judged) -> Iterator[Finding]:
    for k, r in j.reserves.items():
        name = j.press or "The press"
        if r.share > 1.0:
            yield Finding(
                key=f"draws_tryout.press.{k}", severity="stop", value=r.need_kN, limit=r.have_kN, unit="kN", source="force diagram of the press against the force of the draw",
                sentence=f"{name} is too weak for draw {k}: {r.need_kN:.0f} kN are needed {r.height:.1f} mm above bottom, it gives {r.have_kN:.0f} kN there.",
                help="A larger press for this draw; less force on the blankholder if the cup allows it.",
            )  # fmt: skip
        elif r.share > RESERVE:
            yield Finding(
                key=f"draws_tryout.press.{k}", severity="attend", value=100.0 * r.share, limit=100.0 * RESERVE, unit="%", source="four fifths of the force there, common practice",
                sentence=f"{name} is used to {100 * r.share:.0f} % in draw {k}, {r.height:.1f} mm above bottom.", help="Leave a fifth for wear, dry sheet and a thicker coil.",
            )  # fmt: skip


def _wrinkle(j: Judged) -> Iterator[Finding]:
    limit = WRINKLE * j.thickness
    over = [r for r in j.rows if float(r["wrinkle_mm"]) > limit]
    if over:
        r = over[0]
        yield Finding(
            key="draws_tryout.wrinkle", severity="attend", value=float(r["wrinkle_mm"]), limit=limit, unit="mm", source=f"{WRINKLE:g} of the thickness, crest over valley, common practice",
            sentence=f"The cup wrinkles by {r['wrinkle_mm']:.2f} mm after draw {r['draw']}.", help="More force on its blankholder or sleeve, or a smaller die radius there.",
        )  # fmt: skip


def _ironing(j: Judged) -> Iterator[Finding]:
    r = max(j.rows, key=lambda row: float(row["ironed_pct"]))
    if float(r["ironed_pct"]) > IRONED:
        gap = j.thickness * (1.0 + float(r["thickening_pct"]) / 100.0) / (1.0 + float(r["ironed_pct"]) / 100.0)
        yield Finding(
            key="draws_tryout.ironing", severity="attend", value=float(r["ironed_pct"]), limit=IRONED, unit="%", source="thickness over the gap between punch and die, 2 % common practice",
            sentence=f"The rim has thickened to {j.thickness * (1 + float(r['thickening_pct']) / 100):.2f} mm where the gap of draw {r['draw']} is {gap:.2f} mm: it is ironed by {r['ironed_pct']:.0f} % as it leaves the die.",
            help="Trim the rim before this draw, open the clearance (faces.clearance), or plan for ironing; the run does not thin the sheet by it, so the real wall comes out somewhat higher.",
        )  # fmt: skip


def _height(j: Judged) -> Iterator[Finding]:
    last = j.rows[-1]
    if last["stopped"] is not None or len(j.rows) < j.planned:
        return
    low = float(last["height_min_mm"])
    if low < j.part_height:
        d = float(last["diameter_wanted_mm"])
        need = math.sqrt(j.blank**2 + 4.0 * d * (j.part_height - low))
        yield Finding(
            key="draws_tryout.height", severity="attend", value=low, limit=j.part_height, unit="mm", source="lowest place of the rim in the run against the part's height",
            sentence=f"The rim's lowest place is {low:.1f} mm above the bottom, the part is {j.part_height:.1f} mm high: a blank of {need:.1f} mm instead of {j.blank:.1f} mm fills it (constant area).",
            help="State draws.blank_diameter, with what the trim steel needs on top.",
        )  # fmt: skip
    ears = float(last["height_max_mm"]) - low
    yield Finding(
        key="draws_tryout.ears", severity="note", value=ears, limit=None, unit="mm", source="highest less lowest place of the rim in the run",
        sentence=f"Ears stand {ears:.1f} mm above the valleys of the rim after the last draw; they are trimmed.", help="A sheet with less difference between its r-values has smaller ears.",
    )  # fmt: skip


def _run(j: Judged) -> Iterator[Finding]:
    r = max(j.rows, key=lambda row: float(row["kinetic_pct"]))
    if float(r["kinetic_pct"]) > 100.0 * KINETIC:
        yield Finding(
            key="draws_tryout.kinetic", severity="attend", value=float(r["kinetic_pct"]), limit=100.0 * KINETIC, unit="%", source="share of motion in the internal energy",
            sentence=f"In draw {r['draw']} the sheet's motion holds {r['kinetic_pct']:.1f} % of its internal energy: the tools run too fast in the computation.", help="Forces and wrinkles of this draw are uncertain; a finer quality runs slower.",
        )  # fmt: skip

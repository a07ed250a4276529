"""The stage ``press``: first press figures, the force over the stroke, and the press that carries it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.errors import InputError
from diewright.geometry.need import finite, not_negative, positive
from diewright.job.findings import Figure
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.press import drawing
from diewright.press.cautions import CAUTIONS
from diewright.press.drawn import Drawn, read_drawn, value_of
from diewright.press.figures import Draft, Metal, draft, drawing_figures
from diewright.press.figures_cutting import cutting_figures
from diewright.press.fit import Demand, checks, choose, rate_of, utilisation
from diewright.press.judge import findings_of
from diewright.press.stroke import Cup, curve_work, draw_curve
from diewright.press.table import OWN, OWN_FILE, Press, generic_presses, named, own_presses
from diewright.watch import Watch

POINTS = 121


class PressInputs(BaseModel):
    """What the stage reads of the job: thickness mm, friction -, name of the press, strokes 1/min."""

    model_config = ConfigDict(frozen=True)
    thickness: float
    friction: float
    name: str
    strokes_per_minute: float


def _inputs(job: Job) -> PressInputs:
    return PressInputs(
        thickness=job.sheet.thickness, friction=job.blank.friction, name=job.press.name, strokes_per_minute=job.press.strokes_per_minute
    )


def _files(job: Job) -> dict[str, str]:
    return {"press.name": OWN_FILE} if job.press.name.startswith(OWN) else {}


def read_metal(sheet: Result, thickness: float) -> Metal:
    """The sheet's few handbook numbers from the result of the stage ``sheet``."""
    v = sheet.values
    anisotropy = v.get("anisotropy") or {}
    rbar = value_of({"rbar": v.get("rbar", anisotropy.get("rbar"))}, "rbar", "sheet")
    return Metal(
        rm=positive(value_of(v, "Rm", "sheet"), "Rm", "MPa"), rp02=positive(value_of(v, "Rp02", "sheet"), "Rp0.2", "MPa"),
        rbar=positive(rbar, "the mean r-value"), n=not_negative(value_of(v, "n", "sheet"), "the hardening exponent n"),
        family=str(value_of(v, "family", "sheet")), thickness=thickness,
    )  # fmt: skip


def flow_of(sheet: Result) -> Any:
    """Flow stress [MPa] as a function of plastic strain: the sheet's hardening table."""
    table = sheet.tables.get("hardening")
    if table is None or len(table.get("strain", ())) < 2:
        raise InputError("the stage 'sheet' gives no hardening table.", where="sheet.hardening", help="Run the stage 'sheet' again.")
    strain, stress = np.asarray(table["strain"], dtype=float), np.asarray(table["stress"], dtype=float)
    return lambda e: np.interp(e, strain, stress)


def force_curve(
    part: Drawn, case: Draft, flow: Any, holder: float, friction: float, peak: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Strokes [mm], draw force scaled to the headline ``peak`` [N], and the slab method's own force [N].

    The first of several draws of a cup is taken as it is. Otherwise the cup of equal areas is drawn until its rim is as large as the part's own in plan, and
    its stroke is stretched to the part's depth (nothing to stretch for a cup with upright walls); the force follows the length of the real outline. Where the flange is too narrow for the slab method, the force rises with the wall's angle alone.
    """
    first = case.first
    cup = Cup(case.blank_diameter, first.diameter, part.thickness, first.punch_radius, first.die_radius)
    strokes = np.linspace(0.0, first.height, POINTS)
    reach = min(first.height, cup.full_draw)
    if len(case.draws) == 1 and part.rim_diameter > 0.0:
        reach = max(cup.stroke_at_rim(part.rim_diameter), 0.2 * sum(cup.arcs))
    at = strokes * (reach / first.height)
    slab = draw_curve(cup, flow, at, holder, friction) * (case.wall_length / (np.pi * first.diameter))
    top = float(slab.max())
    if top <= 0.0:
        shape = np.sin(cup.wall_angle(at))
        return strokes, shape * (peak / float(shape.max())), slab
    return strokes, slab * (peak / top), slab


def _presses(inputs: PressInputs, files: Mapping[str, InputFile]) -> tuple[tuple[Press, ...], str]:
    if inputs.name.startswith(OWN):
        return own_presses(files["press.name"].path), inputs.name[len(OWN) :].strip() or "auto"
    return generic_presses(), inputs.name


def _holes(blank: Result) -> float:
    total = 0.0
    for name, ring in blank.arrays.items():
        if name.startswith("hole_") and ring.ndim == 2 and ring.shape[1] >= 2 and len(ring) >= 3:
            xy = np.asarray(ring[:, :2], dtype=float)
            total += float(np.linalg.norm(xy - np.roll(xy, -1, axis=0), axis=1).sum())
    return total


def work(inputs: PressInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """The stage's work; see the module's docstring."""
    watch.step("press figures", 0, 3)
    shape, sheet, blank = upstream["shape"], upstream["sheet"], upstream["blank"]
    metal = read_metal(sheet, inputs.thickness)
    part = read_drawn(shape, blank, inputs.thickness)
    presses, wanted = _presses(inputs, files)
    case, holder, slab = None, 0.0, np.zeros(POINTS)
    figures: list[Figure] = cutting_figures(part, metal, _holes(blank))
    if part.flat:
        cut = next(f.value for f in figures if f.key == "blanking_force") or 0.0
        strokes = np.linspace(0.0, part.thickness, POINTS)
        force, depth = np.full(POINTS, cut), part.thickness
    else:
        case = draft(part, metal)
        inverse = blank.values.get("draw_force")
        inverse = None if inverse is None else not_negative(inverse, "the inverse solution's draw force", "N")
        peak = drawing.draw_force_perimeter(case.wall_length, part.thickness, metal.rm, max(1.0, case.ratio))
        if not part.is_round and inverse is not None:
            peak = max(peak, inverse)
        stated = blank.values.get("blankholder_force")
        holder = case.holder_handbook if stated is None else not_negative(stated, "the blankholder force", "N")
        if case.holder_free and stated is None:
            holder = 0.0
        strokes, force, slab = force_curve(part, case, flow_of(sheet), holder, inputs.friction, peak)
        depth = part.depth
    watch.step("press figures", 1, 3)

    height = strokes[-1] - strokes
    area_work = curve_work(strokes, force)
    demand = Demand(height, force, holder, depth, part.blank_box, metal.family, cutting=part.flat)
    press, candidates = choose(presses, demand, inputs.strokes_per_minute)
    if wanted != "auto":
        press = named(presses, wanted)
    if case is not None:
        share = drawing.DRAW_WORK_SHARE["single" if press.slide_pushes_cushion else "double"]
        figures = drawing_figures(part, metal, case, holder, float(force.max()), inverse, share) + figures
        figures += _slab_figure(part, case, slab, holder, inputs.friction)
    found = checks(press, demand, inputs.strokes_per_minute)
    figures += _press_figures(press, demand, inputs.strokes_per_minute, area_work)
    watch.step("press figures", 2, 3)

    held = np.where(force > 0.0, holder, 0.0) if part.flat else np.full(POINTS, holder)
    table = {
        "stroke_mm": strokes, "height_above_bottom_mm": height, "draw_kN": force / 1000.0, "blankholder_kN": held / 1000.0,
        "capacity_kN": press.capacity(height) / 1000.0, "slide_kN": demand.slide_force(press) / 1000.0, "draw_slab_kN": slab / 1000.0,
    }  # fmt: skip
    for name, column in table.items():
        if not np.isfinite(column).all():
            raise InputError(f"the column {name} of the force curve came out as no number.", where="press", help="Check sheet and blank.")
    sequence = (
        [d.as_dict() | {"tear_force_kN": np.pi * d.diameter * part.thickness * metal.rm / 1000.0} for d in case.draws] if case else []
    )
    values = {
        "operation": "cutting" if part.flat else "drawing", "round": part.is_round, "equivalent": not part.is_round,
        "press": press.model_dump(mode="json") | {"rated_height_mm": press.rated_height, "chosen": "auto" if wanted == "auto" else "stated"},
        "strokes_per_minute": rate_of(press, inputs.strokes_per_minute), "candidates": candidates,
        "draw_sequence": sequence if part.is_round else [], "draw_table_inside": case.inside_table if case else None,
        "checks": [{"key": c.key, "level": c.level, "sentence": c.sentence, "value": c.value, "limit": c.limit, "unit": c.unit} for c in found],
        "curve_work_J": area_work, "curve_how": _curve_how(part), "punch_outline": {"length": part.outline.length, "area": part.outline.area, "how": part.outline.how},
        "cautions": list(CAUTIONS),
    }  # fmt: skip
    findings = findings_of(part, metal, case, shape, press, found, figures, holder, blank.values.get("blankholder_force"))
    watch.step("press figures", 3, 3)
    return Result(values=values, figures=tuple(figures), findings=tuple(findings), tables={"force_stroke": table})


def _curve_how(part: Drawn) -> str:
    if part.flat:
        return "cutting force over the sheet's thickness; it fades as the crack runs, which is left out"
    if part.is_round:
        return "shape by the slab method for the first draw (stretched to the part's depth where the walls slope), scaled to the handbook's largest force; draw_slab_kN is the slab method unscaled"
    return "shape borrowed from the round cup of equal areas, stretched to the part's depth and scaled to the largest force: an estimate of the course only"


def _slab_figure(part: Drawn, case: Draft, slab: np.ndarray, holder: float, friction: float) -> list[Figure]:
    return [
        Figure(
            key="draw_force_slab",
            label="Largest draw force by the slab method",
            value=float(slab.max()),
            unit="N",
            formula="F = pi dm s {e^(mu pi/2) [1.1 int kf dr/r + 2 mu F_BH/(pi D s)] + kf s/(2 r_M)}, largest over the stroke",
            inputs={
                "dm": (case.first.diameter, "mm"),
                "s": (part.thickness, "mm"),
                "mu": (friction, ""),
                "F_BH": (holder, "N"),
                "r_M": (case.die_radius, "mm"),
            },
            source="Siebel & Beisswaenger 1955 (from memory), integrated over the flange with the sheet's hardening",
            confidence="within about 20 % for round cups" if part.is_round else "equivalent cup: order of size",
        )
    ]


def _press_figures(press: Press, demand: Demand, stated_rate: float, area_work: float) -> list[Figure]:
    share, i = utilisation(press, demand)
    limit = float(press.capacity(demand.height)[i])
    speed = press.speed(float(demand.height.max()), rate_of(press, stated_rate))
    how = "F_N min(1, sin a_N / sin a)" if press.crank is not None else "F_N"
    return [
        Figure(
            key="press_utilisation", label="Largest use of the press's force", value=100.0 * share if np.isfinite(share) else None, unit="%",
            formula=f"(F_draw + F_BH where the slide pushes the cushion) / ({how})",
            inputs={"F_slide": (float(demand.slide_force(press)[i]), "N"), "F_press": (limit, "N"), "height": (float(demand.height[i]), "mm"), "press": (press.name, "")},
            source="crank kinematics at constant torque; press table", confidence=f"press data: {press.source}",
        ),
        Figure(
            key="slide_work", label="Work of the slide a stroke", value=demand.slide_work(press), unit="J",
            formula="W = max(x F h, int F dh) + F_BH h where the slide pushes the cushion",
            inputs={"int F dh": (area_work, "J"), "F_BH": (demand.holder, "N"), "h": (float(demand.height.max()), "mm")},
            source="integral of the force curve; Tschaetsch", confidence="within about 25 %",
        ),
        Figure(
            key="touch_speed", label="Slide speed at first touch", value=finite(speed, "the slide speed"), unit="mm/s",
            formula="v = 2 pi n/60 dh/da" if press.crank is not None else "pressing speed",
            inputs={"n": (rate_of(press, stated_rate), "1/min"), "h": (float(demand.height.max()), "mm"), "S": (press.stroke_mm, "mm")},
            source="crank kinematics" if press.crank is not None else "press table", confidence="flywheel speed taken as constant",
        ),
    ]  # fmt: skip


STAGE = Stage(
    name="press", title="Press", version=1, packages=("press", "geometry", "mechanics/crank", "sheet/cutting"), needs=("shape", "sheet", "blank"),
    inputs=_inputs, work=work, files=_files,
)  # fmt: skip

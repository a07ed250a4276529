"""The stage ``cutting``: what the cuts of the stage ``trim`` ask of steels, punches, die buttons, springs and press."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.need import finite, positive
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.sheet import cutting as handbook
from diewright.trim.loads.figures import figures_of
from diewright.trim.loads.findings import findings_of
from diewright.trim.loads.found import CAM_GAIN, CutFound, CuttingInputs, Found, Metal, Operation, Stripper
from diewright.trim.loads.law import ShearLaw
from diewright.trim.loads.line import Cut, elements, read_cuts
from diewright.trim.loads.load import Load, curve, strokes_of
from diewright.trim.loads.press import capacity, energy_limit, press_of
from diewright.trim.loads.punches import die_button, hole_by_strength, outline_section, punch_of, round_section
from diewright.trim.loads.springs import choose, place
from diewright.trim.loads.steels import burr_side, edge_quality, it_grade, tool_sizes
from diewright.trim.loads.tables import CAUTIONS, arrays_of, tables_of, values_of
from diewright.trim.loads.webs import webs
from diewright.watch import Watch

Floats = NDArray[np.float64]
WEB_REACH = 10.0
"""Webs wider than this many thicknesses are of no interest."""
FALLBACK_PENETRATION = 0.4
"""Penetration at break of a metal that no table knows (ours)."""
PAD_ROOM = 60.0
"""How far a pad reaches round its cuts where no closed trim line bounds it [mm] (ours)."""


def _inputs(job: Job) -> CuttingInputs:
    return CuttingInputs(thickness=job.sheet.thickness, **job.cutting.model_dump())


def read_metal(inputs: CuttingInputs, sheet: Result) -> Metal:
    """The sheet's cutting numbers; a metal no table knows is refused unless its shear strength and clearance are stated."""
    v = sheet.values
    family, rm, rp = (
        str(v.get("family", "")),
        positive(finite(v.get("Rm", np.nan), "Rm"), "Rm", "MPa"),
        finite(v.get("Rp02", np.nan), "Rp0.2"),
    )
    how: dict[str, str] = {}
    known = family in handbook.SHEAR_SHARE
    try:
        shear = handbook.shear_strength(rm, family) if isinstance(inputs.shear_strength, str) else inputs.shear_strength
        share, how["clearance"] = (
            handbook.allowance(family, rm, rp) if isinstance(inputs.clearance, str) else (inputs.clearance / 100.0, "stated")
        )
    except InputError as error:
        raise InputError(
            error.what,
            where="sheet.material",
            help="State cutting.shear_strength and cutting.clearance, or choose a sheet of a known family.",
        ) from None
    how["shear"] = f"{handbook.SHEAR_SHARE[family]:g} Rm" if isinstance(inputs.shear_strength, str) else "stated"
    if not isinstance(inputs.penetration, str):
        p, how["penetration"] = inputs.penetration, "stated"
    elif known:
        p, how["penetration"] = handbook.penetration(family, rm), "die design handbooks, from memory"
    else:
        p, how["penetration"] = FALLBACK_PENETRATION, "ours: the metal is not in the table"
    return Metal(family, known, rm, inputs.thickness, shear, p, share, how)


def work(inputs: CuttingInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """See the module's docstring. Raises :class:`InputError` for cuts, a sheet or a press that cannot be used."""
    metal = read_metal(inputs, upstream["sheet"])
    press = press_of(upstream["press"].values)
    table = upstream["press"].tables.get("force_stroke")
    if table is None:
        raise InputError("the stage 'press' gives no force curve.", where="press", help="Work the stage 'press' again.")
    cuts = read_cuts(upstream["trim"], inputs.thickness)
    groups = _groups(cuts, inputs)
    middle = np.mean([c.points.mean(axis=0) for c in cuts], axis=0) if cuts else np.zeros(3)
    found_cuts = []
    for i, cut in enumerate(cuts):
        watch.step("cuts", i, len(cuts))
        found_cuts.append(_cut(cut, inputs, metal, groups[cut.id], middle))
    operations = []
    names = list(dict.fromkeys(c.operation for c in cuts))
    for i, name in enumerate(names):
        watch.step("operations", i, len(names))
        operations.append(_operation(name, [c for c in found_cuts if c.cut.operation == name], inputs, metal, press, table))
    watch.step("webs")
    visible = "lower" if inputs.visible == "auto" else inputs.visible
    found = Found(inputs, metal, found_cuts, operations, webs(cuts, WEB_REACH * metal.thickness), press, energy_limit(press), visible)  # type: ignore[arg-type]
    return Result(
        values=values_of(found) | {"cautions": list(CAUTIONS)}, figures=tuple(figures_of(found)), findings=tuple(findings_of(found)),
        tables=tables_of(found), arrays=arrays_of(found),
    )  # fmt: skip


def _groups(cuts: list[Cut], inputs: CuttingInputs) -> dict[str, int]:
    """Group of each cut in the stagger: the largest punches of each operation come first, trims are in the first."""
    out = {c.id: 0 for c in cuts}
    if inputs.stagger <= 0:
        return out
    for name in {c.operation for c in cuts}:
        punches = sorted(
            (c for c in cuts if c.operation == name and c.kind == "pierce"), key=lambda c: (-float(np.ptp(c.across, axis=0).max()), c.id)
        )
        for i, c in enumerate(punches):
            out[c.id] = i * inputs.stagger_groups // len(punches)
    return out


def _cut(cut: Cut, inputs: CuttingInputs, metal: Metal, group: int, middle: Floats) -> CutFound:
    trim = cut.kind == "trim"
    law = ShearLaw.of(metal.penetration)
    stress = metal.shear * inputs.wear
    shear, depth = (inputs.shear, inputs.shear_depth) if trim else (inputs.punch_shear, inputs.punch_shear_depth)
    depth = depth if shear != "none" else 0.0
    follow = trim and inputs.trim_steel == "follow"
    plain = Load(elements(cut, follow=follow), law, stress)
    shaped = Load(elements(cut, follow=follow, shear=shear, depth=depth, pitch=inputs.shear_pitch), law, stress, group * inputs.stagger)
    thickness = float(np.median(cut.thickness))
    clearance = metal.clearance * thickness
    flat = curve([plain], strokes_of([plain], plain.last))
    sheared = curve([shaped], strokes_of([shaped], shaped.last)) if depth > 0 or shaped.shift > 0 else flat
    found = CutFound(
        cut, plain, shaped, flat, sheared, plain.full / inputs.wear, clearance, burr_side(cut, middle),
        edge_quality(metal.clearance, thickness, inputs.wear), depth, group,
    )  # fmt: skip
    return found if trim else _with_punch(found, inputs, metal)


def _with_punch(found: CutFound, inputs: CuttingInputs, metal: Metal) -> CutFound:
    cut, thickness = found.cut, float(np.median(found.cut.thickness))
    sizes = None
    if cut.diameter is not None:
        auto = isinstance(inputs.hole_tolerance, str)
        tolerance = it_grade(min(cut.diameter, 500.0), 11) if auto else inputs.hole_tolerance  # type: ignore[assignment]
        sizes = tool_sizes(cut.diameter, found.clearance, "hole", float(tolerance))
        section = round_section(sizes.punch)
    else:
        section = outline_section(cut.across)
    guided = inputs.punch_guide != "free"
    strength = hole_by_strength(thickness, metal.shear * inputs.wear)
    return replace(
        found, sizes=sizes, punch=punch_of(section, found.flat.peak, inputs.punch_length, inputs.punch_guide),
        button=die_button(section.widest + 2.0 * found.clearance, thickness),
        smallest=handbook.smallest_hole(thickness, metal.family, metal.rm, guided) if metal.known else strength,
    )  # fmt: skip


def _operation(
    name: str, cuts: list[CutFound], inputs: CuttingInputs, metal: Metal, press: Mapping[str, object], table: Mapping[str, Floats]
) -> Operation:
    plain, shaped = (
        [replace(load, gain=CAM_GAIN if name == "cam" else 1.0) for load in loads]
        for loads in ([c.plain for c in cuts], [c.shaped for c in cuts])
    )
    bottom = max(load.last for load in shaped) + inputs.entry
    strokes = strokes_of(shaped, bottom)
    sheared = curve(shaped, strokes)
    flat = curve(plain, strokes_of(plain, max(load.last for load in plain) + inputs.entry))
    if name == "cam":
        strippers = [_stripper(c.cut.id, [c], inputs, metal, c.shaped.last) for c in cuts]
    else:
        strippers = [_stripper(name, cuts, inputs, metal, bottom - inputs.entry)]
    pad = np.sum(
        [np.zeros(len(strokes)), *(s.springs.force_at(inputs.pad_lead + strokes) for s in strippers if s.springs is not None)], axis=0
    )
    plan = np.concatenate([c.cut.points[:, :2] for c in cuts])
    centre = 0.5 * (plan.min(axis=0) + plan.max(axis=0)) if isinstance(inputs.press_centre, str) else np.asarray(inputs.press_centre)
    arm = np.nan_to_num(np.linalg.norm(sheared.centre[:, :2] - centre, axis=1))
    height = bottom - strokes
    return Operation(name, cuts, flat, sheared, height, capacity(press, table, height), pad, strippers, centre, arm * sheared.force)


def _stripper(of: str, cuts: list[CutFound], inputs: CuttingInputs, metal: Metal, through: float) -> Stripper:
    force = handbook.stripping_force(sum(c.sharp for c in cuts), inputs.stripping_share)
    area = np.array([c.plain.elements.area for c in cuts])
    us = float(sum(handbook.stripping_force_us(a / metal.thickness, metal.thickness) for a in area))
    lines = [c.cut.across for c in cuts]
    weight = [(c.plain.elements.length * c.plain.elements.along) for c in cuts]
    at = [c.plain.elements.middle @ np.column_stack(c.cut.frame) for c in cuts]
    centre = np.sum([w @ p for w, p in zip(weight, at, strict=True)], axis=0) / area.sum()
    work_way = inputs.pad_lead + through + inputs.entry
    room = _room(cuts, lines)
    springs = choose(force, work_way, inputs.springs, room)
    places = None if springs is None else place(springs, room, centre)
    return Stripper(of, force, us, work_way, centre, springs, places)


def _room(cuts: list[CutFound], lines: list[Floats]) -> shapely.Geometry:
    """Region across the travel in which a pad's springs stand: inside the largest closed trim line, clear of the punches; else round all cuts."""
    trims = [shapely.Polygon(p).buffer(0) for c, p in zip(cuts, lines, strict=True) if c.cut.kind == "trim" and c.cut.closed]
    holes = shapely.union_all([shapely.Polygon(p).buffer(0) for c, p in zip(cuts, lines, strict=True) if c.cut.kind == "pierce"])
    base = max(trims, key=lambda g: float(g.area)) if trims else shapely.MultiPoint(np.concatenate(lines)).convex_hull.buffer(PAD_ROOM)
    room = base.difference(holes)
    return max(getattr(room, "geoms", [room]), key=lambda g: float(g.area)) if not room.is_empty else room


STAGE = Stage(
    name="cutting", title="Cutting", version=1, packages=("trim/loads", "sheet/cutting", "mechanics/crank"),
    needs=("sheet", "press", "trim"), inputs=_inputs, work=work,
)  # fmt: skip

"""The stage ``bends``: flanges that are bent or hemmed after the draw: what they take of the flat, force, radius, leg, springback, strain of curved edges."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.need import finite, positive
from diewright.job.schema import BendStated, Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.trim.bends import law
from diewright.trim.bends.found import Bend, BendsInputs, Found, Metal, Operation, Worked
from diewright.trim.bends.read import Line, bend_of, read_lines
from diewright.trim.bends.tell import figures_of, findings_of, tables_of, values_of
from diewright.trim.loads.press import capacity, press_of
from diewright.watch import Watch

Floats = NDArray[np.float64]
DIE_RADIUS = 3.0
"""Radius of the wiping steel over the thickness (common practice)."""
RUB = 0.2
"""Force over the largest while the steel slides down the flange that is already up (ours)."""
CLOSE = 2.0
"""Way over the thickness within which a hem is pressed shut (ours)."""
HEM_AT = 165.0
"""A flange of the part that is folded by more than this is a hem [deg] (ours)."""
POINTS = 201


def _inputs(job: Job) -> BendsInputs:
    return BendsInputs(
        stated=job.bends, flange=job.shape.flange if job.bends.from_shape or any(b.flange for b in job.bends.bend) else (), thickness=job.sheet.thickness,
        rolling_direction=job.sheet.rolling_direction, hole_thicknesses=job.trim.bend_thicknesses,
    )  # fmt: skip


def work(inputs: BendsInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """See the module's docstring. Raises :class:`InputError` for bends that cannot be understood, a sheet or a press that cannot be used."""
    metal, bending = read_sheet(upstream["sheet"], inputs.thickness)
    press = press_of(upstream["press"].values)
    table = upstream["press"].tables.get("force_stroke")
    if table is None:
        raise InputError("the stage 'press' gives no force curve.", where="press", help="Work the stage 'press' again.")
    bends, left_out = _bends(inputs, upstream)
    worked = []
    for i, b in enumerate(bends):
        watch.step("bends", i, len(bends))
        worked.append(_work(b, inputs, metal, bending))
    operations = []
    for name in ("flange", "pre-hem", "hem"):
        mine = [w for w in worked if name in (step for step, _ in w.bend.steps)]
        if mine:
            stroke, force = _curve(name, mine, inputs)
            operations.append(Operation(name, [w.bend.number for w in mine], stroke, force, capacity(press, table, stroke[-1] - stroke)))
    found = Found(inputs, metal, worked, operations, press, left_out)
    lines = {f"line_{w.bend.number}": w.bend.at for w in worked if len(w.bend.at)}
    return Result(values_of(found), tuple(figures_of(found)), tuple(findings_of(found)), {}, tables_of(found, _curve), lines)


def read_sheet(sheet: Result, thickness: float) -> tuple[Metal, law.Bending]:
    """Strengths and strains of the sheet, and its bending from the hardening table."""
    v, table = sheet.values, sheet.tables.get("hardening")
    if table is None or len(table.get("strain", ())) < 2:
        raise InputError("the stage 'sheet' gives no hardening table.", where="sheet.hardening", help="Work the stage 'sheet' again.")
    modulus = positive(v.get("E", math.nan), "Young's modulus", "MPa")
    metal = Metal(
        str(v.get("family", "")), positive(v.get("Rm", math.nan), "Rm", "MPa"), positive(v.get("Rp02", math.nan), "Rp0.2", "MPa"), modulus,
        positive(v.get("n", math.nan), "the hardening exponent n"), math.log1p(positive(v.get("A80", math.nan), "A80", "%") / 100.0),
    )  # fmt: skip
    return metal, law.Bending.of(table["strain"], table["stress"], modulus, thickness, finite(v.get("nu", math.nan), "Poisson's ratio"))


def _bends(inputs: BendsInputs, upstream: Mapping[str, Result]) -> tuple[list[Bend], list[str]]:
    """The flanges of the draw shape in their order, with what is stated of them, then the bends of their own."""
    shape, tipping = upstream["shape"], upstream["tipping"]
    told: dict[int, BendStated] = {}
    for i, b in enumerate(inputs.stated.bend):
        if b.flange is None:
            continue
        if b.flange in told:
            raise InputError(
                f"flange {b.flange} is bent twice.",
                where=f"bends.bend.{i}",
                help="State each flange once, or leave the number out for a bend of its own.",
            )
        bend_of(shape.values, b.flange)
        told[b.flange] = b
    numbers = sorted(told if not inputs.stated.from_shape else {int(f["number"]) for f in shape.values.get("flanges") or []})
    lines = read_lines(shape, tipping, inputs.flange, inputs.thickness) if numbers else []
    out: list[Bend] = []
    for number in numbers:
        if number > len(lines):
            raise InputError(
                f"flange {number} is not stated under [[shape.flange]] any more.", where="bends.bend", help="Work the stage 'shape' again."
            )
        out.append(
            _of_shape(len(out) + 1, number, told.get(number, BendStated()), lines[number - 1], bend_of(shape.values, number), inputs)
        )
    left_out = (
        [] if inputs.stated.from_shape else [f"flange {f['number']}" for f in shape.values.get("flanges") or [] if f["number"] not in told]
    )
    own = [(i, b) for i, b in enumerate(inputs.stated.bend) if b.flange is None]
    return out + [_of_its_own(len(out) + k + 1, b, inputs, f"bends.bend.{i}") for k, (i, b) in enumerate(own)], left_out


def _given(value: float | str, otherwise: float) -> float:
    return otherwise if isinstance(value, str) else float(value)


def _of_shape(number: int, flange: int, b: BendStated, line: Line, found: Mapping[str, float | None], inputs: BendsInputs) -> Bend:
    s = inputs.thickness
    was, stands = (
        finite(found["angle_was_deg"] or 0.0, "the angle of the flange"),
        finite(found["angle_deg"] or 0.0, "the angle of the flange"),
    )
    turned = _given(b.angle, abs(was - stands))
    kind = "hem" if b.kind == "hem" or turned > HEM_AT else "bend"
    middle = found["bend_radius"] or finite(found["developed"] or 0.0, "the arc") / max(math.radians(abs(was)), 1e-9)
    r = _given(b.radius, max(float(middle) - 0.5 * s, 0.0))
    angle = 180.0 if kind == "hem" else turned
    leg = _given(b.leg, line.leg[0] + 0.5 * law.setback(min(angle, 180.0), r, s))
    worst = _worst(line, stands, turned, math.radians(turned) * (r + 0.5 * s))
    curve = b.line if b.line != "auto" else "straight" if worst is None else "stretch" if worst[1] > 0 else "shrink"
    same = worst is not None and b.line in ("auto", "stretch" if worst[1] > 0 else "shrink") and isinstance(b.line_radius, str)
    return _bend(
        number, b, inputs, name=b.name or f"flange {flange}", flange=flange, kind=kind, angle=angle, r=r, length=_given(b.length, line.length), leg=leg, reach=line.leg[1], line=curve,
        line_radius=0.0 if curve == "straight" else _line_radius(b, worst[0] if same and worst else 0.0, f"bends.bend (flange {flange})"), rolling=_given(b.rolling, line.off(inputs.rolling_direction)),
        hole=line.hole if math.isfinite(line.hole) else None, hole_at=line.hole_at, at=line.at, stands=stands, edge=worst[1] if same and worst else None,
    )  # fmt: skip


def _worst(line: Line, stands: float, turned: float, arc: float) -> tuple[float, float] | None:
    """Radius of the bend line where the flange's edge strains the most [mm], and that true strain; None where the line does not turn enough to strain it by a hundredth."""
    before, after = ((law.reach(a, arc, line.leg[1]), law.rise(a, arc, line.leg[1])) for a in (stands, stands + turned))
    found = [(float(radius), law.edge_strain(radius, towards, over, before, after)) for radius, towards, over in line.curves]
    worst = max(found, key=lambda f: abs(f[1]), default=None)
    return None if worst is None or abs(worst[1]) < 0.01 else worst


def _line_radius(b: BendStated, known: float, where: str) -> float:
    if isinstance(b.line_radius, str) and known <= 0.0:
        raise InputError(f"the bend line is to {b.line} its edge, and no radius of it is known.", where=where, help="State line_radius.")
    return _given(b.line_radius, known)


def _of_its_own(number: int, b: BendStated, inputs: BendsInputs, where: str) -> Bend:
    wanted = ("length", "leg") if b.kind == "hem" else ("angle", "radius", "length", "leg")
    for name in wanted:
        if isinstance(getattr(b, name), str):
            raise InputError(
                f"a bend of its own needs {', '.join(wanted)}: {name} is not stated.",
                where=f"{where}.{name}",
                help="State it, or name a flange of the draw shape.",
            )
    angle = 180.0 if b.kind == "hem" else float(b.angle)
    if b.kind == "bend" and angle >= 180.0:
        raise InputError(
            f"a bend by {angle:g} degrees lies back on the sheet.", where=f"{where}.angle", help='State kind = "hem", or a smaller angle.'
        )
    r, leg = _given(b.radius, 0.0), float(b.leg)
    curve = "straight" if b.line == "auto" else b.line
    return _bend(
        number, b, inputs, name=b.name or f"bend {number}", flange=None, kind=b.kind, angle=angle, r=r, length=float(b.length), leg=leg, reach=max(leg - 0.5 * law.setback(angle, r, inputs.thickness), 0.0),
        line=curve, line_radius=0.0 if curve == "straight" else _line_radius(b, 0.0, f"{where}.line_radius"), rolling=_given(b.rolling, 90.0), hole=None if isinstance(b.hole_distance, str) else b.hole_distance,
        hole_at=np.zeros(3), at=np.zeros((0, 3)), stands=0.0, edge=None,
    )  # fmt: skip


def _bend(number: int, b: BendStated, inputs: BendsInputs, **known: object) -> Bend:
    """With the way of bending and its opening; a V-die bends straight lines that are not folded past 150 degrees."""
    s, r, angle = inputs.thickness, float(known["r"]), float(known["angle"])  # type: ignore[arg-type]
    method = inputs.stated.method if b.method == "auto" else b.method
    if method == "v" and known["kind"] == "bend" and angle > 150.0:
        raise InputError(
            f"{known['name']}: a V-die does not bend by {angle:.4g} degrees.",
            where="bends.method",
            help="Bend it in two steps, or wipe it.",
        )
    if method == "v" and known["line"] != "straight":
        raise InputError(f"{known['name']}: a V-die bends straight lines only.", where="bends.method", help="Wipe it over an edge.")
    opening = law.v_opening(r, s) if method == "v" else r + s + _given(inputs.stated.die_radius, DIE_RADIUS * s)
    other = None if isinstance(b.other_leg, str) else b.other_leg
    return Bend(number=number, method=method, other_leg=other, opening=_given(b.die_opening, opening), **known)  # type: ignore[arg-type]


def _work(b: Bend, inputs: BendsInputs, metal: Metal, bending: law.Bending) -> Worked:
    s, stated = inputs.thickness, inputs.stated
    din = stated.neutral == "din"
    share = 0.5 * law.neutral_k(b.r, s) if din else _given(stated.k_factor, law.k_factor(b.r, s))
    taken = (
        law.hem_deduction(b.r, s, None if din else lambda r, s: share)
        if b.kind == "hem"
        else law.deduction(b.angle, b.r, s, None if din else share)
    )
    force = law.bend_force(b.method, metal.rm, b.length, s, b.opening)
    hem = stated.hem_force * law.bend_force("v", metal.rm, b.length, s, law.v_opening(0.0, s)) if b.kind == "hem" else None
    least, source = law.least_radius(metal.family, metal.rm, s, b.rolling)
    edge = b.edge
    if b.line != "straight" and edge is None:
        arc = math.radians(b.angle) * (b.r + 0.5 * s)
        before, after = ((law.reach(a, arc, b.reach), law.rise(a, arc, b.reach)) for a in (b.stands, b.stands + b.angle))
        edge = law.edge_strain(b.line_radius, 1.0 if b.line == "stretch" else -1.0, 0.0, before, after)
    try:
        sprung = law.springback(bending, b.angle, b.r) if b.kind == "bend" else None
    except SolveError:
        sprung = None
    turned = b.angle if b.kind == "bend" else 90.0
    return Worked(
        b, s, share, taken, force, hem, least, source, law.least_leg(b.method, turned, b.r, s, b.opening), sprung, law.gardiner(b.r, s, metal.rp, metal.modulus), edge
    )  # fmt: skip


def _curve(name: str, bends: list[Worked], inputs: BendsInputs) -> tuple[Floats, Floats]:
    """Force over the stroke of one operation, from the first touch of the longest one, all at bottom together: the largest force over the way of bending (safe side), a rest while
    the steel slides down the flange; hems rise over their last two thicknesses."""
    s = inputs.thickness
    ways = [_way(name, w, inputs) for w in bends]
    strokes = np.linspace(0.0, max(max(whole for whole, _, _ in ways), 1e-6), POINTS)
    strokes = np.unique(np.concatenate([strokes, *([strokes[-1] - whole, strokes[-1] - whole + bent] for whole, bent, _ in ways)]))
    total = np.zeros(len(strokes))
    for whole, bent, force in ways:
        u = strokes - (strokes[-1] - whole)
        if name == "hem":
            total += force * np.clip((u - (whole - CLOSE * s)) / (CLOSE * s), 0.0, 1.0)
        else:
            total += np.where(u < -1e-12, 0.0, np.where(u <= bent + 1e-12, force, RUB * force))
    return strokes, total


def _way(name: str, w: Worked, inputs: BendsInputs) -> tuple[float, float, float]:
    """Stroke from touch to bottom, stroke within which it bends [mm], and force [N]."""
    b, s = w.bend, w.s
    if name == "hem":
        return max(b.leg * math.sin(math.radians(45.0)), CLOSE * s), CLOSE * s, w.hem_force or 0.0
    if name == "pre-hem":
        way = max(b.leg * (1.0 - math.cos(math.radians(45.0))), s)
        return way, way, w.force
    if b.method == "v":
        way = 0.5 * b.opening * math.tan(math.radians(min(b.angle, 90.0 if b.kind == "hem" else b.angle) / 2.0))
        return way, way, w.force
    bent = b.opening
    return max(b.leg, bent), bent, w.force


STAGE = Stage(
    name="bends", title="Bends", plural=True, version=1, packages=("trim/bends", "trim/loads/press", "mechanics/crank"), needs=("tipping", "shape", "sheet", "press"), inputs=_inputs, work=work,
)  # fmt: skip

"""Values, tables, figures and findings of the stage ``bends``."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Figure, Finding, Place
from diewright.trim.bends.found import BendsInputs, Found, Operation, Worked
from diewright.trim.bends.law import ALONG
from diewright.trim.loads.press import RESERVE

Floats = NDArray[np.float64]
SAID = 12
"""Bends whose numbers can be opened; the others stand in the table."""
HEM_BREAK = 20.0
"""Elongation A80 below which a hem is likely to crack [%] (common practice)."""
RIGHT = 92.0
"""A wiping die that moves straight bends up to this [deg], with what springback needs (ours)."""
CAUTIONS = (
    "A closing bending die crushes and amputates, and the flange that swings up strikes from outside the die: guard both. The press law and standards of your country come first.",
    "Bent edges are sharp, hems hide burrs: gloves for handling, never at the closing tool.",
    "These figures are for planning. Springback and least radii differ from coil to coil: try a strip of the coil before the die is hardened.",
)


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _row(w: Worked) -> dict[str, Any]:
    b, p = w.bend, w.sprung
    return {
        "number": b.number, "flange": b.flange, "angle_deg": b.angle, "radius_mm": b.r, "length_mm": b.length, "leg_mm": b.leg, "other_leg_mm": b.other_leg, "rolling_deg": b.rolling,
        "opening_mm": b.opening, "k_share": w.share, "arc_mm": w.arc, "deduction_mm": w.deduction, "flat_leg_mm": w.flat_leg, "developed_mm": w.developed, "force_kN": w.force / 1000,
        "hem_kN": None if w.hem_force is None else w.hem_force / 1000, "least_radius_mm": w.least_radius, "least_leg_mm": w.least_leg, "outer_strain_pct": 100 * w.strain,
        "left_share": None if p is None else p.left, "springback_deg": None if p is None else b.angle * (1 - p.left), "tool_angle_deg": None if p is None else p.tool_angle,
        "tool_radius_mm": None if p is None else p.tool_radius, "radius_ratio": w.gardiner, "line_radius_mm": b.line_radius if b.line != "straight" else None,
        "edge_strain_pct": None if w.edge is None else _number(100 * math.expm1(w.edge) if math.isfinite(w.edge) else None), "hole_mm": b.hole,
    }  # fmt: skip


def values_of(f: Found) -> dict[str, Any]:
    """The stage's values; null where a number does not apply."""
    bends = [
        {
            "name": w.bend.name, "kind": w.bend.kind, "method": w.bend.method, "line": w.bend.line, "radius_source": w.radius_source,
            "steps": [{"operation": n, "angle_deg": a, "force_kN": (w.hem_force or 0.0) / 1000 if n == "hem" else w.force / 1000} for n, a in w.bend.steps], **_row(w),
        }
        for w in f.bends
    ]  # fmt: skip
    operations = [
        {"name": o.name, "bends": o.bends, "force_kN": float(o.force.max()) / 1000, "touch_height_mm": float(o.height[0]), "work_J": float(np.trapezoid(o.force, o.stroke)) / 1000, "use_pct": 100 * _use(o)[0]}
        for o in f.operations
    ]  # fmt: skip
    return {
        "bends": bends,
        "operations": operations,
        "left_out": f.left_out,
        "neutral": f.inputs.stated.neutral,
        "cautions": list(CAUTIONS),
    }


def tables_of(f: Found, curve: Callable[[str, list[Worked], BendsInputs], tuple[Floats, Floats]]) -> dict[str, dict[str, Floats]]:
    """``bends``: the numbers as columns (nan: does not apply); ``force_operation_<k>`` and, of each bend, ``force_<number>`` of its first step."""
    rows = [_row(w) for w in f.bends]
    names = list(rows[0]) if rows else ["number", "angle_deg", "radius_mm", "length_mm", "force_kN"]
    out: dict[str, dict[str, Floats]] = {"bends": {n: np.array([math.nan if r[n] is None else float(r[n]) for r in rows]) for n in names}}
    for k, o in enumerate(f.operations):
        out[f"force_operation_{k + 1}"] = {
            "stroke_mm": o.stroke,
            "height_above_bottom_mm": o.height,
            "force_kN": o.force / 1000,
            "capacity_kN": o.capacity / 1000,
        }
    for w in f.bends:
        stroke, force = curve("flange", [w], f.inputs)
        out[f"force_{w.bend.number}"] = {"stroke_mm": stroke, "height_above_bottom_mm": stroke[-1] - stroke, "force_kN": force / 1000}
    return out


def _use(o: Operation) -> tuple[float, int]:
    share = o.force / np.maximum(o.capacity, 1e-9)
    share[(o.force > 0) & (o.capacity <= 0)] = np.inf
    i = int(share.argmax())
    return float(min(share[i], 1e6)), i


def figures_of(f: Found) -> Iterator[Figure]:
    """Figures of the first bends, each with formula, inputs and source."""
    for w in f.bends[:SAID]:
        yield from _figures(w, f)
    for o in f.operations:
        yield Figure(
            key=f"bends_{o.name}_force", label=f"Force of the operation {o.name}", value=float(o.force.max()), unit="N", formula="sum of its bends over the stroke", inputs={"bends": (float(len(o.bends)), "")},
            source="Groover's form (from memory); hems by a multiple, common practice", confidence="within about 30 %",
        )  # fmt: skip


def _figures(w: Worked, f: Found) -> Iterator[Figure]:
    b, s = w.bend, w.s
    k = f"bends_{b.number}"
    din = f.inputs.stated.neutral == "din"
    size: dict[str, tuple[float | str, str]] = {"r": (b.r, "mm"), "s": (s, "mm"), "a": (b.angle, "deg")}
    flat_hem = b.kind == "hem" and b.r <= 0
    yield Figure(
        key=f"{k}_deduction", label=f"Off the two outer legs, {b.name}", value=w.deduction, unit="mm", formula="0.43 s" if flat_hem else "v = set-back - (pi a/180) (r + K s)", inputs=size | {"K": (w.share, "")},
        source="closed hem: common practice, from memory" if flat_hem else "DIN 6935: K = k/2, k = 0.65 + 0.5 lg(r/s), 1 at most (from memory)" if din else "K factor (Groover, from memory, or stated)",
        confidence="within about 0.1 s; the K of a shop's own tools is better", digits=4,
    )  # fmt: skip
    if w.developed is not None:
        yield Figure(
            key=f"{k}_developed",
            label=f"Developed length, {b.name}",
            value=w.developed,
            unit="mm",
            formula="l = a + b - v",
            inputs={"a": (b.leg, "mm"), "b": (b.other_leg or 0.0, "mm"), "v": (w.deduction, "mm")},
            source="legs measured on the outside",
            digits=5,
        )
    yield Figure(
        key=f"{k}_force", label=f"Bend force, {b.name}", value=w.force, unit="N", formula=f"F = {1.33 if b.method == 'v' else 0.33:g} Rm w s^2/D", inputs={"Rm": (f.metal.rm, "MPa"), "w": (b.length, "mm"), "s": (s, "mm"), "D": (b.opening, "mm")},
        source="Groover (from memory)", confidence="within about 30 %; bottoming a V-die takes several times as much",
    )  # fmt: skip
    if w.hem_force is not None:
        yield Figure(
            key=f"{k}_hem",
            label=f"Force to close the hem, {b.name}",
            value=w.hem_force,
            unit="N",
            formula="F = c 1.33 Rm w s^2/(8 s)",
            inputs={"c": (f.inputs.stated.hem_force, "")},
            source="common practice: 3 to 5 times the bend in a V-die",
            confidence="within a factor of two",
        )
    if w.sprung is not None:
        p = w.sprung
        yield Figure(
            key=f"{k}_tool_angle", label=f"Angle to bend to under load, {b.name}", value=p.tool_angle, unit="deg", formula="1/R - 12 M/(E' s^3) = 1/R_wanted, M = 2 int s y dy; a_tool = a R/R_tool",
            inputs=size | {"E": (f.metal.modulus, "MPa"), "r_tool": (p.tool_radius, "mm"), "springs back": (b.angle * (1 - p.left), "deg")},
            source="elastic-plastic bending of wide sheet with its hardening, middle fibre neutral", confidence="wiped bends spring more than this by their clearance: try it", digits=4,
        )  # fmt: skip
    yield Figure(
        key=f"{k}_ratio", label=f"Radius before over after springback, {b.name}", value=w.gardiner, formula="4 X^3 - 3 X + 1, X = r Y/(E s)", inputs=size | {"Y": (f.metal.rp, "MPa"), "E": (f.metal.modulus, "MPa")},
        source="Gardiner 1957", confidence="no hardening; a narrow strip", digits=4,
    )  # fmt: skip
    if w.edge is not None and math.isfinite(w.edge):
        yield Figure(
            key=f"{k}_edge", label=f"True strain of the edge, {b.name}", value=w.edge, formula="ln(R/R0)", inputs={"radius of the bend line": (b.line_radius, "mm"), "leg past the tangent line": (b.reach, "mm"), "way": (b.line, "")},
            source="closed form for a round bend line", confidence="the middle of a long curve; its ends strain less",
        )  # fmt: skip


def _place(w: Worked) -> Place | None:
    if not len(w.bend.at):
        return Place(label=w.bend.name)
    return Place(points=tuple((float(x), float(y), float(z)) for x, y, z in w.bend.at[:: max(1, len(w.bend.at) // 20)]), label=w.bend.name)


def findings_of(f: Found) -> Iterator[Finding]:
    """All findings of the stage."""
    if not f.bends:
        yield Finding(
            key="bends.none",
            severity="note",
            sentence="No flange is drawn open and no bend is stated: there is nothing to bend.",
            source="stage shape",
            help="State flanges under [[shape.flange]], or bends under [[bends.bend]].",
        )
    if f.left_out:
        yield Finding(
            key="bends.left_out",
            severity="attend",
            value=float(len(f.left_out)),
            sentence=f"Drawn open, but bent nowhere: {', '.join(f.left_out)}.",
            source="bends.from_shape",
            help="Set bends.from_shape, or state a bend for it.",
        )
    for w in f.bends:
        yield from _sizes(w, f)
        yield from _edge(w, f)
    for o in f.operations:
        yield from _press(o, f)


def _sizes(w: Worked, f: Found) -> Iterator[Finding]:
    b, s, i = w.bend, w.s, w.bend.number
    if b.r < w.least_radius and b.kind == "bend":
        along = " with its line near the rolling direction" if b.rolling < ALONG else ""
        yield Finding(
            key=f"bends.radius.{i}", severity="attend", value=b.r, limit=w.least_radius, unit="mm", source=w.radius_source, place=_place(w), sentence=f"{b.name} has an inner radius of {b.r:.3g} mm; {w.least_radius:.3g} mm are usual{along}. The outer fibre strains by {100 * w.strain:.0f} %.",
            help="Soft deep-drawing sheet bears less than the rule: try a strip, burr inside. Else a larger radius, or turn the blank to the rolling direction.",
        )  # fmt: skip
    if b.kind == "hem" and 100 * math.expm1(f.metal.broken) < HEM_BREAK:
        yield Finding(
            key=f"bends.hem.{i}",
            severity="attend",
            value=100 * math.expm1(f.metal.broken),
            limit=HEM_BREAK,
            unit="%",
            source="common practice",
            place=_place(w),
            sentence=f"{b.name} is folded flat, and the sheet stretches by only {100 * math.expm1(f.metal.broken):.0f} %: it is likely to crack.",
            help="Fold it round a rope (an inner radius of a thickness or more).",
        )
    if b.leg < w.least_leg:
        rule = "half the die's opening along the bent leg (geometry)" if b.method == "v" else "r + 2.5 s, common practice"
        yield Finding(
            key=f"bends.flange.{i}", severity="stop" if b.method == "v" or b.leg <= b.r + s else "attend", value=b.leg, limit=w.least_leg, unit="mm", source=rule, place=_place(w), sentence=f"{b.name} is {b.leg:.3g} mm high at its lowest place: {w.least_leg:.3g} mm are needed to bend it {'in a V-die of ' + format(b.opening, '.3g') + ' mm' if b.method == 'v' else 'over an edge'}.",
            help="A narrower die, a higher flange that is trimmed after bending, or a smaller radius.",
        )  # fmt: skip
    limit = f.inputs.hole_thicknesses * s + b.r
    if b.hole is not None and b.hole < limit:
        at = Place(points=((float(b.hole_at[0]), float(b.hole_at[1]), float(b.hole_at[2])),), label=b.name) if len(b.at) else _place(w)
        yield Finding(
            key=f"bends.hole.{i}",
            severity="attend",
            value=b.hole,
            limit=limit,
            unit="mm",
            source="inner radius and two thicknesses from the tangent line, common practice",
            place=at,
            sentence=f"A hole lies {b.hole:.3g} mm from the bend of {b.name}: it is pulled out of round.",
            help="Pierce it after the bend, or move it.",
        )
    if b.kind == "bend" and w.sprung is None:
        yield Finding(
            key=f"bends.springback.{i}",
            severity="stop",
            source="elastic-plastic bending",
            place=_place(w),
            sentence=f"{b.name} does not stay bent to {b.r:.4g} mm: no tool radius leaves it after springback.",
            help="A smaller radius, or stretch it while it is bent.",
        )
    elif w.sprung is not None and b.angle * (1 - w.sprung.left) > 0.05:
        yield Finding(
            key=f"bends.springback.{i}", severity="note", value=b.angle * (1 - w.sprung.left), unit="deg", source="elastic-plastic bending of wide sheet", place=_place(w), sentence=f"{b.name} springs back by {b.angle * (1 - w.sprung.left):.2g} degrees: bend it by {w.sprung.tool_angle:.4g} degrees over {w.sprung.tool_radius:.3g} mm.",
            help="Wipe with an undercut of that angle, or coin the radius.",
        )  # fmt: skip
    steep = b.stands + b.angle if w.sprung is None else b.stands + w.sprung.tool_angle
    if b.kind == "bend" and b.method == "wipe" and steep > max(RIGHT, b.stands):
        yield Finding(
            key=f"bends.cam.{i}",
            severity="attend",
            value=steep,
            limit=RIGHT,
            unit="deg",
            source="geometry of a die that moves straight",
            place=_place(w),
            sentence=f"{b.name} is bent to {steep:.4g} degrees under load: a straight wiping steel does not reach past a right angle.",
            help="Plan a cam, a rocker, or a second step.",
        )


def _edge(w: Worked, f: Found) -> Iterator[Finding]:
    b, i = w.bend, w.bend.number
    if w.edge is None:
        return
    if w.edge > 0:
        auto = isinstance(f.inputs.stated.edge_limit, str)
        limit = f.metal.uniform if auto else math.log1p(float(f.inputs.stated.edge_limit) / 100)  # type: ignore[arg-type]
        if w.edge > limit:
            tears = w.edge > max(f.metal.broken, limit)
            said = (
                f"stretches by {100 * math.expm1(w.edge):.0f} %"
                if math.isfinite(w.edge)
                else "would have to reach past the centre of its curve"
            )
            yield Finding(
                key=f"bends.stretch.{i}", severity="stop" if tears else "attend", value=_number(100 * math.expm1(min(w.edge, 50.0))) if math.isfinite(w.edge) else None, limit=100 * math.expm1(limit), unit="%",
                source="uniform strain of the sheet (n)" if auto else "bends.edge_limit", place=_place(w), sentence=f"The edge of {b.name} {said}; it necks beyond {100 * math.expm1(limit):.0f} %{', and this tears' if tears else ''}.", help="A lower flange, a larger radius in plan, notches in the edge; fine edges without burr bear more.",
            )  # fmt: skip
    elif 100 * -math.expm1(w.edge) > f.inputs.stated.shrink_limit:
        yield Finding(
            key=f"bends.stretch.{i}", severity="attend", value=100 * math.expm1(w.edge), limit=-f.inputs.stated.shrink_limit, unit="%", source="bends.shrink_limit, common practice", place=_place(w),
            sentence=f"The edge of {b.name} shrinks by {-100 * math.expm1(w.edge):.1f} %: it wrinkles unless it is held.", help="A lower flange, a pad against it, or notches.",
        )  # fmt: skip


def _press(o: Operation, f: Found) -> Iterator[Finding]:
    use, i = _use(o)
    name = str(f.press.get("name", "the press"))
    if use > RESERVE:
        yield Finding(
            key="bends.force" if o.name == "flange" else f"bends.force.{o.name}", severity="stop" if use > 1 else "attend", value=float(o.force[i]) / 1000, limit=RESERVE * float(o.capacity[i]) / 1000, unit="kN", source=f"four fifths of the force of {name} at that height, common practice",
            sentence=f"The operation {o.name} takes {o.force[i] / 1000:.0f} kN at {o.height[i]:.1f} mm above bottom, {name} gives {o.capacity[i] / 1000:.0f} kN there.", help="Bend in two operations, or take a larger press.",
        )  # fmt: skip
    stroke = float(f.press.get("stroke_mm") or 0.0)
    if float(o.height[0]) > 0.5 * stroke:
        yield Finding(
            key=f"bends.stroke.{o.name}",
            severity="attend",
            value=float(o.height[0]),
            limit=0.5 * stroke,
            unit="mm",
            source="half the stroke of the press, common practice",
            sentence=f"The operation {o.name} begins {o.height[0]:.0f} mm above bottom; {name} has a stroke of {stroke:g} mm.",
            help="Take a press with a longer stroke.",
        )

"""Figures of the stage ``cutting``: each number with formula, inputs and source."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from diewright.job.findings import Figure
from diewright.sheet import cutting as handbook
from diewright.trim.loads.found import Found, Operation
from diewright.trim.loads.press import REVERSE, reverse_load
from diewright.trim.loads.punches import ALLOWED, FACTOR, MODULUS, YIELD
from diewright.trim.loads.steels import wear_share

PLAN = "for planning, within about 15 %"


def figures_of(f: Found) -> Iterator[Figure]:
    """All figures: the metal's, those of the heaviest operation, its stripper, and of the punch with least to spare."""
    m = f.metal
    yield Figure(
        key="cutting_shear", label="Shear strength", value=m.shear, unit="MPa", formula=f"tau = {m.how['shear']}", inputs={"Rm": (m.rm, "MPa")},
        source="share of Rm by family, common practice" if m.how["shear"] != "stated" else "stated", confidence=PLAN,
    )  # fmt: skip
    yield Figure(
        key="cutting_penetration", label="Penetration at break", value=100.0 * m.penetration, unit="% of the thickness", formula="p by material", inputs={"family": (m.family, ""), "Rm": (m.rm, "MPa")},
        source=m.how["penetration"], confidence="a clean edge lets the steel in deeper than a large clearance",
    )  # fmt: skip
    yield Figure(
        key="cutting_clearance", label="Cutting clearance a side", value=m.clearance * m.thickness, unit="mm", formula="c = Ac t", inputs={"Ac": (m.clearance, ""), "t": (m.thickness, "mm"), "class": (m.how["clearance"], "")},
        source="stated" if m.how["clearance"] == "stated" else "Groover (from memory)", confidence="5 to 10 % of the thickness is usual for steel",
    )  # fmt: skip
    if not f.operations:
        return
    yield from _operation(f, f.heaviest)
    yield from _edge(f)
    punched = [c for c in f.cuts if c.punch is not None]
    if punched:
        yield from _punch(f)


def _operation(f: Found, o: Operation) -> Iterator[Figure]:
    m = f.metal
    area = sum(c.plain.elements.area for c in o.cuts)
    length = sum(float(c.plain.elements.length.sum()) for c in o.cuts)
    deepest = max(c.depth for c in o.cuts)
    force = o.flat.peak
    yield Figure(
        key="cutting_force_flat", label=f"Cutting force with plain steels, {o.name}", value=force, unit="N", formula="largest of sum k tau L t/cos(lean) f(u)",
        inputs={"tau": (m.shear, "MPa"), "k": (f.inputs.wear, ""), "L": (length, "mm"), "A": (area, "mm2"), "F all at once": (sum(c.sharp for c in o.cuts) * f.inputs.wear, "N")},
        source="Groover F = tau L t, over the line as it lies and each piece's own penetration", confidence=f"{PLAN}; wear factor included",
    )  # fmt: skip
    yield Figure(
        key="cutting_force_sheared", label=f"Cutting force with shear and stagger, {o.name}", value=o.sheared.peak, unit="N", formula="as before, with the ground edge's height",
        inputs={"I": (deepest, "mm"), "stagger": (f.inputs.stagger, "mm"), "at stroke": (o.sheared.peak_stroke, "mm")},
        source="integral over the line", confidence=PLAN,
    )  # fmt: skip
    if deepest > 0:
        reduced = sum(handbook.force_with_shear(c.flat.peak, m.thickness, c.depth, m.penetration) for c in o.cuts)
        yield Figure(
            key="cutting_force_handbook", label="The same by the handbook's form", value=reduced, unit="N", formula="sum of F p t/(p t + I)",
            inputs={"F": (force, "N"), "p": (m.penetration, ""), "t": (m.thickness, "mm"), "I": (deepest, "mm")}, source="handbook form, from memory",
            confidence="the form is the mean over the stroke p t + I: where the whole edge is engaged evenly the true peak is F p t/I",
        )  # fmt: skip
    yield Figure(
        key="cutting_work", label=f"Work of the cut, {o.name}", value=o.sheared.work, unit="J", formula="W = sum k tau L t^2 Phi(1), exact integral",
        inputs={"Phi(1)": (float(o.cuts[0].plain.law.work(np.array(1.0))), "")}, source="integral of the force law", confidence=PLAN,
    )  # fmt: skip
    full = sum(c.plain.full for c in o.cuts)
    along = (
        sum(
            c.plain.full * float(np.average(c.plain.elements.along, weights=c.plain.elements.length * c.plain.elements.along))
            for c in o.cuts
        )
        / full
    )
    yield Figure(
        key="cutting_work_handbook", label="The same by the handbook's form", value=o.gain * handbook.cutting_energy(full, along, m.penetration), unit="J", formula="E = k F p t, k = 1, t along the travel",
        inputs={"F": (full, "N"), "p": (m.penetration, ""), "t": (along, "mm"), "k of our law": (o.cuts[0].plain.law.fullness, "")}, source="handbook form, from memory", confidence=PLAN,
    )  # fmt: skip
    i = o.tightest
    yield Figure(
        key="cutting_use", label="Largest use of the press's force", value=100.0 * float(o.slide[i] / max(o.capacity[i], 1e-9)), unit="%", formula="(F_cut + F_pad) / F_press(height)",
        inputs={"F_cut": (float(o.sheared.force[i]), "N"), "F_pad": (float(o.pad[i]), "N"), "F_press": (float(o.capacity[i]), "N"), "height": (float(o.height[i]), "mm"), "press": (str(f.press.get("name", "")), "")},
        source="force curve of the stage press", confidence=f"press data: {f.press.get('source', '')}",
    )  # fmt: skip
    yield Figure(
        key="cutting_touch_height", label="Height above bottom at which the steels touch", value=float(o.height[0]), unit="mm", formula="way through the sheet, shear, stagger, slope of a level steel, and entry",
        inputs={"entry": (f.inputs.entry, "mm"), "full force of the press up to": (float(f.press.get("rated_height_mm") or 0.0), "mm")}, source="geometry; press table", confidence="exact for the line as it lies",
    )  # fmt: skip
    yield Figure(
        key="cutting_reverse", label="Reverse load at the break", value=reverse_load(o.sheared.released), unit="N", formula=f"F_rev = {REVERSE:g} F_released",
        inputs={"F_released": (o.sheared.released, "N"), "at stroke": (o.sheared.released_stroke, "mm")}, source="half of what a crack releases swings back (ours)", confidence="order of size; measure it on the press",
    )  # fmt: skip
    yield Figure(
        key="cutting_tilt", label="Tilting moment of the load", value=float(o.tilt.max()) / 1e6, unit="kNm", formula="M = F e",
        inputs={"e at the peak": (float(np.linalg.norm(o.off)), "mm"), "F": (o.sheared.peak, "N")}, source="centre of the load against the slide's centre", confidence="exact for the line as it lies",
    )  # fmt: skip
    yield Figure(
        key="cutting_thrust", label="Side thrust left over", value=o.sheared.thrust_max, unit="N", formula="|sum 0.2 F n|", inputs={"0.2": ("0.1 to 0.3 of the force", "")},
        source="common practice", confidence="order of size; round a closed line it balances",
    )  # fmt: skip
    for s in o.strippers[:1]:
        yield Figure(
            key="cutting_stripping", label=f"Stripping force, {s.of}", value=s.force, unit="N", formula=f"F_s = {f.inputs.stripping_share:g} tau L t (0.10 to 0.20)",
            inputs={"F_s by the US rule": (s.force_us, "N")}, source="common practice; US rule 3500 psi (from memory)", confidence="within a factor of two",
        )  # fmt: skip

    if o.strippers and (p := o.strippers[0].springs) is not None:
        yield Figure(
            key="cutting_springs", label=f"Springs for {o.strippers[0].of}: {p.count} of '{p.name}'", value=p.force, unit="N", formula="preload of all together, at least the stripping force",
            inputs={"preload": (p.preload, "mm"), "deflection": (p.deflection, "mm"), "at bottom": (p.force_end, "N"), "share of a long life's deflection": (p.life, "")}, source="springs.toml, sizes as in ISO 10243 and ISO 11901 (typical, from memory)",
            confidence="generic sizes: check the maker's sheet",
        )  # fmt: skip


def _edge(f: Found) -> Iterator[Figure]:
    e, t = f.heaviest.cuts[0].edge, f.metal.thickness
    words = {
        name: (f"{100 * low:.0f} to {100 * high:.0f}", "% of t")
        for name, (low, high) in (("roll-over", e.rollover), ("burnish", e.burnish), ("fracture", e.fracture))
    }
    yield Figure(
        key="cutting_burr", label="Height of the burr to count on", value=max(c.edge.burr for c in f.cuts), unit="mm", formula="by clearance, times 1 + 4 (k - 1) for worn edges", inputs={"c/t": (f.metal.clearance, ""), "t": (t, "mm"), **words},
        source="edge types of the die handbooks for mild steel (from memory); burr heights ours", confidence="order of size",
    )  # fmt: skip


def _punch(f: Found) -> Iterator[Figure]:
    c = min((c for c in f.cuts if c.punch is not None), key=lambda c: c.punch.safety if c.punch is not None else math.inf)
    p = c.punch
    if p is None:
        return
    guide = f.inputs.punch_guide
    yield Figure(
        key="cutting_buckling", label=f"Buckling force of the slimmest punch, {c.cut.id}", value=p.buckling, unit="N", formula="pi^2 E I/(K L)^2, Johnson's parabola below the slenderness sqrt(2 pi^2 E/s)",
        inputs={"E": (MODULUS, "MPa"), "I": (p.section.inertia, "mm4"), "K": (FACTOR[guide], guide), "L": (p.free, "mm"), "s": (YIELD, "MPa"), "F": (p.force, "N")}, source="Euler; Johnson's form from memory", confidence="taken as slim over all its free length: safe side",
    )  # fmt: skip
    yield Figure(
        key="cutting_punch_stress", label=f"Stress in that punch, {c.cut.id}", value=p.stress, unit="MPa", formula="s = F/A", inputs={"F": (p.force, "N"), "A": (p.section.area, "mm2"), "planned with": (ALLOWED, "MPa")}, source="common practice", confidence="sound grinding and guiding",
    )  # fmt: skip
    if c.sizes is not None and c.cut.diameter is not None:
        auto = isinstance(f.inputs.hole_tolerance, str)
        yield Figure(
            key="cutting_punch_size", label=f"Size of that punch, {c.cut.id}", value=c.sizes.punch, unit="mm", formula="d + x T, 0 to -IT6; die 2 c larger, 0 to +IT7",
            inputs={"d": (c.cut.diameter, "mm"), "T": ("H11" if auto else f"{f.inputs.hole_tolerance:g}", "mm"), "c": (c.clearance, "mm"), "die": (c.sizes.die, "mm"), "x": (_x(f, c.cut.diameter), "")}, source="ISO 286-1 tolerances; share x of the tolerance from die handbooks (from memory)", confidence="the hole shrinks a little round the punch; not in it",
            digits=5,
        )  # fmt: skip


def _x(f: Found, diameter: float) -> float:
    return 0.75 if isinstance(f.inputs.hole_tolerance, str) else wear_share(min(diameter, 500.0), f.inputs.hole_tolerance)

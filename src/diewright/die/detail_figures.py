"""The figures of the details, with formula and source."""

from __future__ import annotations

import math
from collections.abc import Iterator

from diewright.die.detail_found import Details
from diewright.die.detail_vents import ORIFICE, back_pressure
from diewright.job.findings import Figure


def figures_of(d: Details) -> Iterator[Figure]:
    """Figures of the details."""
    t = (d.thickness, "mm")
    b = d.bead
    if b is not None:
        yield Figure(key="details.bead_length", label="Length of the bead's line", value=b.line.length, unit="mm", formula="opening moved out by d", inputs={"d": (b.offset, "mm")}, confidence="exact geometry; inner corners rounded, so that it may differ there from the tryout's line", digits=5)  # fmt: skip
        yield Figure(key="details.bead_cut", label="Length of bead that is cut", value=b.cut_length, unit="mm", formula="where the line turns on R or more, and runs longer than 4 groove widths", inputs={"R": (b.line.least, "mm")}, source="common practice", confidence="the radius is ours", digits=4)  # fmt: skip
        yield Figure(key="details.bead_restraint", label="Restraint of the bead", value=b.restraint, unit="N/mm", formula="as stated" if b.force is None else "bending under tension, event by event", source="" if b.force is None else "Marciniak, Duncan, Hu 2002, ch. 10 (from memory, derived anew)", confidence="exact" if b.force is None else "without the Bauschinger effect")  # fmt: skip
    if b is not None and b.groove is not None and b.force is not None:
        g = b.groove
        made: dict[str, tuple[float | str, str]] = {"R": (g.radius, "mm"), "b": (g.flat, "mm"), "g": (g.gap, "mm")}
        rule = "g = s for a locking bead, 1.1 s else: as in the restraint"
        yield Figure(key="details.groove_width", label="Groove, between its walls", value=g.groove_width, unit="mm", formula="2 R + b + 2 g", inputs=made, source=rule, confidence="the restraint was computed with this gap")  # fmt: skip
        yield Figure(key="details.groove_mouth", label="Groove, over its shoulder radii", value=g.mouth, unit="mm", formula="2 R + b + 2 g + 2 R", inputs=made, source="shoulders of the nose's radius", confidence="the restraint was computed with these shoulders")  # fmt: skip
        yield Figure(key="details.groove_depth", label="Groove's depth from the die's face", value=g.depth, unit="mm", formula="h + f,  f = max(0.5 s, 0.5 mm)", inputs={"h": (g.height, "mm"), "s": t}, source="common practice: the sheet is not struck on the floor", confidence="h follows from the bead's geometry, f is a rule")  # fmt: skip
        yield Figure(key="details.bead_uplift", label="Force with which the bead lifts the blankholder", value=1e-3 * b.force.uplift * b.cut_length, unit="kN", formula="F = q L", inputs={"q": (b.force.uplift, "N/mm"), "L": (b.cut_length, "mm")}, source="uplift of the computed restraint", confidence="on top of the blankholder force")  # fmt: skip
    yield Figure(
        key="details.condition", label="How sharply three pins hold the blank", value=d.pins.condition if math.isfinite(d.pins.condition) else None, formula="largest over least singular value of [n_x, n_y, (p x n)/L]",
        inputs={"rank": (float(d.pins.rank), "")}, confidence="exact; 1 is perfect, none: a motion is free",
    )  # fmt: skip
    run, holes = d.air.run, d.air.pockets
    crank = d.press["kind"] != "hydraulic"
    yield Figure(
        key="details.closing_time", label="Time from touch to closed", value=run.time, unit="s", formula="a / (2 pi n), slide h above bottom at a" if crank else "h / v",
        inputs={"h": (d.stroke, "mm"), **({"n": (d.rate, "1/min"), "S": (float(d.press["stroke_mm"]), "mm")} if crank else {"v": (float(d.press["speed_mm_s"]), "mm/s")})}, source="kinematics of the press", confidence="exact for the press's data",
    )  # fmt: skip
    yield Figure(key="details.air_volume", label="Air under the flat sheet", value=1e-3 * d.air.volume, unit="cm3", formula="int (z_sheet - z_die) dA in plan", confidence="exact on the triangles; a curved blankholder's sheet is led straight across the opening")  # fmt: skip
    yield Figure(
        key="details.vent_section", label="Cross section of all vents", value=sum(q.section for q in holes), unit="mm2", formula="A = k V / (tau v), for each pocket also what is shut in over its own depth",
        inputs={"V": (d.air.volume, "mm3"), "tau": (run.time, "s"), "k": (run.peak, ""), "v": (1e-3 * d.air_speed, "m/s")}, source="common practice: a limit on the air's speed", confidence="order of size",
    )  # fmt: skip
    yield Figure(key="details.air_pressure", label="Pressure that the air builds up", value=1e6 * back_pressure(d.air_speed), unit="Pa", formula="dp = rho/2 (v/c)^2", inputs={"v": (1e-3 * d.air_speed, "m/s"), "c": (ORIFICE, ""), "rho": (1.2, "kg/m3")}, source="Bernoulli; c handbook (from memory)", confidence="incompressible, sharp hole; with as many holes as wanted")  # fmt: skip
    most = d.corners[0].most if d.corners else 0.0
    yield Figure(
        key="details.allowance", label="Largest extra opening at a corner", value=most, unit="mm", formula="max(s_wall - u, 0)", inputs={"u": (d.clearance, "mm"), "s_wall": ("none known", "") if d.wall_thickest is None else (d.wall_thickest, "mm")},
        source="thickness of the one-step solution, gap measured on the faces", confidence="total strain; upright walls are held in the solution's own gap",
    )  # fmt: skip

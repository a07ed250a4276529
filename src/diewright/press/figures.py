"""The press figures with formula, inputs and source open to view: drawing. Cutting and press follow in their own files."""

from __future__ import annotations

import math
from dataclasses import dataclass

from diewright.job.findings import Figure
from diewright.press import drawing, holder, radii, ratios
from diewright.press.drawn import Drawn
from diewright.press.sequence import Draw

BAND_ROUND = "handbook forms lie within about 20 % of measured forces for round cups of ductile sheet"
BAND_OTHER = "equivalent outline: within about 40 %, on the high side for straight sides"
EXACT = "follows exactly from its inputs"
RANGE = "usual shop range, settled at tryout"


@dataclass(frozen=True)
class Metal:
    """The sheet in the few numbers that handbook formulas ask for: ``rm``, ``rp02`` [MPa], ``rbar``, ``n`` [-], ``family``, ``thickness`` [mm]."""

    rm: float
    rp02: float
    rbar: float
    n: float
    family: str
    thickness: float


@dataclass(frozen=True)
class Draft:
    """The first draw as the desk sees it; lengths mm, forces N, work J. ``limit`` is the draw ratio that is judged by."""

    first: Draw
    draws: tuple[Draw, ...]
    inside_table: bool
    blank_diameter: float
    wall_length: float
    ratio: float
    limit: float
    die_radius: float
    clearance: float
    holder_pressure: float
    holder_area: float
    holder_handbook: float
    holder_free: bool


def draft(part: Drawn, metal: Metal) -> Draft:
    """Limit, number of draws, radii, clearance and holder of the first draw."""
    s, d, big = part.thickness, part.diameter, part.blank_diameter
    limit = ratios.limit_tschaetsch(d, s, ratios.draws_well(metal.family, metal.rbar))
    if part.is_round:
        draws, inside = _sequence(part, limit)
    else:
        low, high = radii.die_radius_range(s)
        radius = min(max(radii.die_radius(big, d, s), low), high)
        draws, inside = (Draw(1, d, part.depth, part.ratio, radii.punch_radius_least(s), radius),), True
    first = draws[0]
    ratio = big / first.diameter
    clearance = radii.draw_clearance(s, metal.family)
    pressure = holder.holder_pressure_siebel(ratio, first.diameter, s, metal.rm)
    if part.is_round:
        area = holder.holder_area_round(big, first.diameter - s + 2.0 * clearance, first.die_radius)
    else:
        area = max(0.0, part.blank_area - part.outline.grown_area(clearance + first.die_radius))
    return Draft(
        first=first,
        draws=draws,
        inside_table=inside,
        blank_diameter=big,
        wall_length=math.pi * first.diameter if part.is_round else part.wall_length,
        ratio=ratio,
        limit=limit,
        die_radius=first.die_radius,
        clearance=clearance,
        holder_pressure=pressure,
        holder_area=area,
        holder_handbook=holder.holder_force(pressure, area),
        holder_free=part.is_round and holder.draws_without_holder(big, first.diameter, s),
    )


def _sequence(part: Drawn, limit: float) -> tuple[tuple[Draw, ...], bool]:
    from diewright.press.sequence import cup_sequence

    draws, inside = cup_sequence(part.blank_diameter, part.diameter, part.thickness, one_draw_limit=limit)
    last = draws[-1]
    # a flange may be left on the part: the depth of the last draw is the part's own
    own = Draw(last.draw, last.diameter, part.depth, last.ratio, last.punch_radius, last.die_radius)
    kept = tuple(Draw(d.draw, d.diameter, min(d.height, part.depth), d.ratio, d.punch_radius, d.die_radius) for d in draws[:-1])
    return (*kept, own), inside


def drawing_figures(
    part: Drawn, metal: Metal, case: Draft, holder_used: float, force: float, inverse: float | None, share: float
) -> list[Figure]:
    """Figures of the draw. ``force`` is the headline force [N], ``inverse`` the inverse solution's own force [N] or None, ``share`` the x of the work."""
    s, d, big, beta, length = part.thickness, case.first.diameter, case.blank_diameter, case.ratio, case.wall_length
    band = BAND_ROUND if part.is_round else BAND_OTHER
    letter = "pi d" if part.is_round else "L"
    wall: dict[str, tuple[float | str, str]] = {"d": (d, "mm")} if part.is_round else {"L": (length, "mm")}
    base: dict[str, tuple[float | str, str]] = {**wall, "s": (s, "mm"), "Rm": (metal.rm, "MPa")}
    ratio_in: dict[str, tuple[float | str, str]] = {"beta": (beta, "")}
    groover = drawing.draw_force_perimeter(length, s, metal.rm, max(1.0, beta))
    oehler = drawing.draw_force_oehler(length, s, metal.rm, beta, case.limit)
    tear = drawing.bottom_tear_force(length, s, metal.rm)
    out = [
        Figure(
            key="draw_ratio", label="Draw ratio of the part" if part.is_round else "Equivalent draw ratio", value=part.ratio, unit="", digits=3,
            formula="beta = D / d" if part.is_round else "beta = sqrt(A_blank / A_punch)",
            inputs={"D": (big, "mm"), "d": (part.diameter, "mm"), "A_blank": (part.blank_area, "mm2"), "A_punch": (part.outline.area, "mm2")},
            source="definition", confidence=part.how,
        ),
        Figure(
            key="draw_ratio_limit", label="Limiting draw ratio, first draw", value=case.limit, digits=3,
            formula="beta_max = 2.15 - d/(1000 s)" if ratios.draws_well(metal.family, metal.rbar) else "beta_max = 2.0 - 1.1 d/(1000 s)",
            inputs={"d": (part.diameter, "mm"), "s": (s, "mm"), "rbar": (metal.rbar, ""), "family": (metal.family, "")},
            source="Tschaetsch, Metal Forming Practise (from memory)", confidence="within about 0.15 with good lubrication; authors differ",
        ),
        Figure(
            key="draw_ratio_limit_whiteley", label="Limiting draw ratio after Whiteley", value=ratios.limit_whiteley(metal.rbar),
            formula="LDR = exp(eta sqrt((rbar + 1)/2))", inputs={"eta": (0.79, ""), "rbar": (metal.rbar, "")},
            source="Whiteley 1960; Hosford & Caddell (from memory)", confidence="laboratory limit, no reserve",
        ),
        Figure(
            key="draw_ratio_limit_leu", label="Limiting draw ratio after Leu", value=ratios.limit_leu(metal.rbar, metal.n),
            formula="LDR = sqrt(exp(2 f e^-n sqrt((1+r)/2)) + exp(2 n sqrt((1+r)/2)) - 1)",
            inputs={"f": (0.9, ""), "rbar": (metal.rbar, ""), "n": (metal.n, "")},
            source="Leu 1997 (from memory)", confidence="laboratory limit, no reserve",
        ),
        Figure(
            key="draws", label="Number of draws", value=float(len(case.draws)) if part.is_round else None, digits=2,
            formula="least N with D m1 ... mN <= d (m by 100 s/D); one draw where beta <= beta_max",
            inputs={"D": (big, "mm"), "d": (part.diameter, "mm"), "100 s/D": (100.0 * s / big, "%"), "beta_max": (case.limit, "")},
            source="Romanovskii, cylindrical cups without flange (from memory)",
            confidence=("without annealing between draws; careful: other handbooks allow fewer" if part.is_round else "counted for round cups only"),
        ),
        Figure(
            key="draw_force", label="Largest draw force" + (", first draw" if len(case.draws) > 1 else ""), value=force, unit="N",
            formula=f"F = {letter} s Rm (beta - 0.7)" if part.is_round or inverse is None else "larger of L s Rm (beta - 0.7) and the inverse solution's punch force",
            inputs={**base, **ratio_in, **({} if inverse is None or part.is_round else {"F_inverse": (inverse, "N")})},
            source="Groover; Kalpakjian & Schmid ch. 7 (from memory)",
            confidence=f"upper estimate; {band}",
        ),
        Figure(
            key="draw_force_perimeter", label="Draw force, handbook form", value=groover, unit="N", formula=f"F = {letter} s Rm (beta - 0.7)",
            inputs={**base, **ratio_in}, source="Groover; Kalpakjian & Schmid ch. 7 (from memory)", confidence=band,
        ),
        Figure(
            key="draw_force_oehler", label="Draw force after Oehler", value=oehler, unit="N", formula=f"F = n {letter} s Rm, n = 1.2 (beta - 1)/(beta_max - 1)",
            inputs={**base, **ratio_in, "beta_max": (case.limit, "")}, source="Oehler & Kaiser (from memory)", confidence=band,
        ),
        Figure(
            key="bottom_tear_force", label="Force that tears the bottom off", value=tear, unit="N", formula=f"F = {letter} s Rm", inputs=base,
            source="Oehler & Kaiser; common practice", confidence="upper bound of what the wall carries; plane strain can add 10 to 20 %",
        ),
        Figure(
            key="blankholder_pressure", label="Blankholder pressure", value=case.holder_pressure, unit="MPa",
            formula="p = [(beta - 1)^2 + d/(200 s)] Rm/400", inputs={**ratio_in, "d": (d, "mm"), "s": (s, "mm"), "Rm": (metal.rm, "MPa")},
            source="Siebel form; Kugler, Umformtechnik 2009", confidence="starting value; the three forms differ by a factor of two",
        ),
        Figure(
            key="blankholder_pressure_cubic", label="Blankholder pressure, second form",
            value=holder.holder_pressure_cubic(beta, big, s, metal.rm), unit="MPa", formula="p = 0.0025 [(beta - 1)^3 + 0.005 D/s] Rm",
            inputs={**ratio_in, "D": (big, "mm"), "s": (s, "mm"), "Rm": (metal.rm, "MPa")}, source="Siebel, second form (from memory)",
            confidence="factor 0.002 to 0.003",
        ),
        Figure(
            key="blankholder_pressure_yield", label="Blankholder pressure from the yield strength", value=holder.holder_pressure_yield(metal.rp02),
            unit="MPa", formula="p = 0.015 Rp0.2", inputs={"Rp0.2": (metal.rp02, "MPa")}, source="Groover (from memory)", confidence="rule of thumb",
        ),
        Figure(
            key="holder_area", label="Blank area under the holder at first touch", value=case.holder_area, unit="mm2",
            formula="A = pi/4 [D^2 - (d_die + 2 r_M)^2]" if part.is_round else "A = A_blank - area of the punch outline grown by u + r_M",
            inputs={"D": (big, "mm"), "d": (d, "mm"), "u": (case.clearance, "mm"), "r_M": (case.die_radius, "mm"), "A_blank": (part.blank_area, "mm2")},
            source="geometry; Manufacturing Review 3 (2016)", confidence=EXACT if part.is_round else part.how,
        ),
        Figure(
            key="blankholder_force", label="Blankholder force, handbook", value=case.holder_handbook, unit="N", formula="F = p A",
            inputs={"p": (case.holder_pressure, "MPa"), "A": (case.holder_area, "mm2")}, source="Siebel form of the pressure on the holder area",
            confidence="starting value for tryout, within a factor of two",
        ),
        Figure(
            key="blankholder_force_used", label="Blankholder force used here", value=holder_used, unit="N",
            formula="force of the blank's solution; the handbook's where that has none; 0 where no holder is needed",
            inputs={"F_handbook": (case.holder_handbook, "N")}, source="stage blank", confidence="as stated or estimated there",
        ),
        Figure(
            key="draw_work", label="Draw work", value=drawing.draw_work(force, case.first.height, share), unit="J", formula="W = x F h",
            inputs={"x": (share, ""), "F": (force, "N"), "h": (case.first.height, "mm")}, source="Tschaetsch (from memory)",
            confidence="within about 25 %; add the cushion's work on a single-action press",
        ),
        *_tool_figures(part, metal, case),
    ]  # fmt: skip
    if inverse is not None:
        out.append(
            Figure(
                key="draw_force_inverse",
                label="Punch force of the one-step inverse solution",
                value=inverse,
                unit="N",
                formula="sum of the vertical membrane forces at the punch",
                inputs={},
                source="stage blank",
                confidence="one step, no path: within about 40 %",
            )
        )
    return out


def _tool_figures(part: Drawn, metal: Metal, case: Draft) -> list[Figure]:
    s, d, big = part.thickness, case.first.diameter, case.blank_diameter
    low, high = radii.die_radius_range(s)
    return [
        Figure(
            key="draw_clearance", label="Draw clearance a side", value=case.clearance, unit="mm", formula="u = s + k sqrt(10 s)",
            inputs={"s": (s, "mm"), "k": (radii.OEHLER_K[metal.family], "")}, source="Oehler & Kaiser (from memory)", confidence=RANGE,
        ),
        Figure(
            key="draw_clearance_rule", label="Draw clearance a side, short rule", value=radii.draw_clearance_groover(s), unit="mm", formula="c = 1.1 t",
            inputs={"t": (s, "mm")}, source="Groover (from memory)", confidence=RANGE,
        ),
        Figure(
            key="die_radius", label="Die radius, first draw", value=case.die_radius, unit="mm",
            formula="r_M = 0.035 [50 + (D - d)] sqrt(s), held to 5 s ... 10 s",
            inputs={"D": (big, "mm"), "d": (d, "mm"), "s": (s, "mm"), "r_M free": (radii.die_radius(big, d, s), "mm"), "5 s": (low, "mm"), "10 s": (high, "mm")},
            source="Oehler & Kaiser; handbook range (from memory)", confidence=RANGE,
        ),
        Figure(
            key="punch_radius", label="Least punch radius", value=radii.punch_radius_least(s), unit="mm", formula="r_P >= 4 s (better 5 s)",
            inputs={"s": (s, "mm")}, source="handbook (from memory)", confidence=RANGE,
        ),
    ]  # fmt: skip

"""The stage ``nest``: blanks on a strip, and strips on a sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.blank.drawing import nest_drawing
from diewright.blank.nesting import LAYOUTS, WEB_RULE, Layout, Nester, Webs, on_length, rule_web, webs
from diewright.geometry.record import from_record
from diewright.job.findings import Figure, Finding
from diewright.job.schema import Job, NestStated
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch

PITCHES = 3
"""How many pitches are kept for the drawing."""

POOR = 50.0
"""Utilisation [%] below which a finding asks for a look (common practice)."""


class NestInputs(BaseModel):
    """What the stage reads of the job: all of ``nest``, the sheet's thickness [mm] and rolling direction [deg]."""

    model_config = ConfigDict(frozen=True)
    nest: NestStated
    thickness: float
    rolling_direction: float


def _inputs(job: Job) -> NestInputs:
    return NestInputs(nest=job.nest, thickness=job.sheet.thickness, rolling_direction=job.sheet.rolling_direction)


def work(inputs: NestInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Find the best layout of each kind and choose one."""
    blank, sheet = upstream["blank"], upstream["sheet"]
    stated, density = inputs.nest, float(sheet.values["density"])
    polygon = np.asarray(blank.arrays["outline"], dtype=np.float64)
    outline = from_record(blank.values["pieces"])
    longest = float(np.ptp(polygon, axis=0).max())
    bridges = webs(inputs.thickness, longest, _number(stated.web), _number(stated.edge_web))
    rolling = np.deg2rad(inputs.rolling_direction)
    room = np.deg2rad(min(stated.grain_tolerance, 90.0))
    # The kept polygon lies up to a chord inside the true outline, on both of two neighbours.
    slack = 2.0 * float(blank.values["cut"]["chord"])
    nester = Nester(
        polygon, bridges, area=outline.area, slack=slack, angles=(rolling - room, rolling + room), width_max=stated.strip_width_max
    )
    asked = LAYOUTS if stated.layout == "auto" else (stated.layout,)
    found = [layout for layout in (nester.best(name, watch) for name in asked) if layout is not None]
    findings: list[Finding] = list(_webs(bridges, inputs.thickness, longest))
    if not found:
        width, _ = nester.narrowest()
        findings.append(Finding(
            key="nest.strip_width", severity="stop", value=width, limit=stated.strip_width_max, unit="mm", source="stated: nest.strip_width_max",
            sentence=f"No {'layout' if stated.layout == 'auto' else stated.layout + ' layout'} fits the strip: one row needs {width:.1f} mm at least, {stated.strip_width_max:g} mm is the widest.",
            help="Allow a wider strip, a larger grain tolerance, one row, or split the blank.",
        ))  # fmt: skip
        return Result(
            values={"layouts": [], "chosen": None, "web_rule": bridges.source, "why": "no layout fits the strip"}, findings=tuple(findings)
        )
    found.sort(key=lambda f: (round(f.metal, 6), f.parts))
    each = int(blank.values["parts"])
    rows = [_row(f, polygon, rolling, inputs.thickness, density, stated, each) for f in found]
    best = found[0]
    findings += _utilisation(best, rows[0])
    if stated.sheet_length > 0 and rows[0]["parts_per_sheet"] == 0:
        findings.append(Finding(
            key="nest.sheet_length", severity="stop", value=stated.sheet_length, unit="mm", source="stated: nest.sheet_length",
            sentence=f"No blank fits a strip {stated.sheet_length:g} mm long.", help="Use a longer sheet, or turn the blank (grain tolerance).",
        ))  # fmt: skip
    pierced = [from_record(r) for r in blank.values.get("hole_pieces", [])]
    return Result(
        values={"layouts": rows, "chosen": 0, "web_rule": bridges.source, "why": "least metal per blank" if len(found) > 1 else "the only layout asked for or possible"},
        figures=_figures(best, rows[0], inputs.thickness, density, each),
        findings=tuple(findings),
        arrays={f"placed_{i}": f.placed(polygon, PITCHES) for i, f in enumerate(found)},
        files={"nest.dxf": nest_drawing(best, outline, pierced, inputs.thickness, PITCHES)},
    )  # fmt: skip


def _number(value: Any) -> float | None:
    return None if isinstance(value, str) else float(value)


def _row(f: Layout, polygon: np.ndarray, rolling: float, thickness: float, density: float, stated: NestStated, each: int) -> dict[str, Any]:
    """A layout in figures; ``each``: parts that a blank gives. What is counted or weighed is parts."""
    turn = float(np.degrees(np.arctan(np.tan(f.angle - rolling))))  # a direction has no sense: -90 to 90
    per_strip = on_length(f, polygon, stated.sheet_length) if stated.sheet_length > 0 else None
    strips = int((stated.strip_width_max + 1e-9) // f.strip_width) if per_strip is not None else None
    blanks = per_strip * strips if per_strip is not None and strips is not None else None
    parts = blanks * each if blanks is not None else None
    sheet_area = stated.sheet_length * stated.strip_width_max
    coil = f.metal * thickness * density * 1e-9 * 1000.0 / each
    return {
        "layout": f.layout, "pitch": f.pitch, "strip_width": f.strip_width, "angle_deg": turn, "web": f.web, "edge_web": f.edge_web,
        "utilisation_pct": 100.0 * f.utilisation, "parts_per_pitch": f.parts * each, "blanks_per_pitch": f.parts, "coil_kg_per_1000": coil, "parts_per_sheet": parts,
        "strips_per_sheet": strips, "sheet_utilisation_pct": 100.0 * f.area * blanks / sheet_area if blanks is not None else None,
        "sheet_kg_per_1000": sheet_area * thickness * density * 1e-6 / parts if parts else None,
    }  # fmt: skip


def _webs(bridges: Webs, thickness: float, longest: float) -> list[Finding]:
    rule = rule_web(thickness, longest)
    if bridges.web >= rule - 1e-9:
        return []
    return [Finding(
        key="nest.web", severity="attend", value=bridges.web, limit=rule, unit="mm", source=WEB_RULE,
        sentence=f"The web of {bridges.web:g} mm between blanks is thinner than the {rule:.2f} mm of the rule: it may twist and be drawn into the die.",
        help="Widen the web, or make sure of sharp tools and a tight stripper.",
    )]  # fmt: skip


def _utilisation(best: Layout, row: dict[str, Any]) -> list[Finding]:
    share = row["utilisation_pct"]
    poor = share < POOR
    return [Finding(
        key="nest.utilisation", severity="attend" if poor else "note", value=share, limit=POOR, unit="%", source="blank area over strip area; limit is common practice",
        sentence=f"{best.layout.capitalize()} uses {share:.1f} % of the strip ({best.strip_width:.1f} mm wide, pitch {best.pitch:.2f} mm).",
        help="Look at the blank's corners, the trim allowance and the grain tolerance." if poor else "",
    )]  # fmt: skip


def _figures(best: Layout, row: dict[str, Any], thickness: float, density: float, each: int) -> tuple[Figure, ...]:
    n = (float(best.parts), "blanks a pitch")
    what, more = ("blanks", "") if each == 1 else ("parts", f", {each} parts a blank")
    pitch, width = (best.pitch, "mm"), (best.strip_width, "mm")
    return (
        Figure(key="nest.utilisation", label="Utilisation", value=row["utilisation_pct"], unit="%", formula="100 n A / (P W)",
               inputs={"n": n, "A": (best.area, "mm2"), "P": pitch, "W": width}, confidence="exact geometry; kept holes count as blank"),
        Figure(key="nest.coil", label=f"Coil for 1000 {what}", value=row["coil_kg_per_1000"], unit="kg", formula="1000 P W t rho / n",
               inputs={"P": pitch, "W": width, "t": (thickness, "mm"), "rho": (density, "kg/m3"), "n": (float(best.parts * each), f"{what} a pitch")}, confidence=f"without coil ends and set-up{more}"),
        Figure(key="nest.web", label="Web between blanks", value=best.web, unit="mm", formula="max(1.25 t, 0.8 mm, 0.005 L up to 3 mm) or as stated",
               inputs={"t": (thickness, "mm")}, source="common practice"),
        Figure(key="nest.edge_web", label="Web at the strip's edge", value=best.edge_web, unit="mm", formula="t + 0.015 D or as stated",
               inputs={"t": (thickness, "mm")}, source="Donaldson, LeCain, Goold, Tool Design (from memory)"),
    )  # fmt: skip


NEST = Stage(
    name="nest", title="Nesting", version=1, packages=("blank/nest", "blank/nesting", "blank/drawing", "geometry"), needs=("blank", "sheet"), inputs=_inputs, work=work,
)  # fmt: skip

__all__ = ["NEST", "NestInputs", "work"]

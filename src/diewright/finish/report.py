"""What the stage ``finish`` hands over: meshes, values, figures."""

from __future__ import annotations

from typing import Any

import numpy as np

from diewright.finish.cautions import CAUTIONS
from diewright.finish.found import Found
from diewright.finish.prepare.grits import WHEEL_SPEED, roughness_class
from diewright.finish.prepare.start import PEAKS
from diewright.finish.prepare.steps import leaves
from diewright.finish.prepare.wheel import rim_speed
from diewright.finish.rack.contacts import UPPER
from diewright.finish.records.readings import METHODS, overall
from diewright.finish.report_tables import tables
from diewright.finish.spec.classes import MEANING, served
from diewright.finish.surface import values as surface_values
from diewright.geometry.mesh import FieldMesh
from diewright.job.findings import Figure

BALL_SOURCE = "ISO 27830: least local thickness where a ball of 20 mm touches (read)"
OURS = "estimate of ours; state your own rates"


def meshes(f: Found) -> dict[str, FieldMesh]:
    """The part with what counts, what ball and wheel reach, and what polishing takes; ``significant`` is a number of 0 or 1, shares go from 0 to 1."""
    m = f.significant
    cell = {
        "significant": m.any_side.astype(np.float64), "significant_upper": m.counts("upper").astype(np.float64), "significant_lower": m.counts("lower").astype(np.float64),
        "picked": m.picked.astype(np.float64), "ball_upper": m.ball["upper"], "ball_lower": m.ball["lower"],
        "wheel_upper": f.wheel["upper"], "wheel_lower": f.wheel["lower"], "start_ra_um": f.start.ra, "scratched": f.start.scratched.astype(np.float64),
        "removed_um": f.removed, "thickness_left": f.left, "known": f.drawn.known.astype(np.float64),
    }  # fmt: skip
    return {"part": FieldMesh(f.mesh, cell=cell)}


def values(f: Found) -> dict[str, Any]:
    """JSON-ready values."""
    w, m, lay, row = f.wanted, f.significant, f.layout, f.wanted.row
    return {
        "class": w.name, "base": w.base, "service": w.service, "service_text": MEANING[w.service], "service_open": w.open, "nickel_um": w.nickel, "chromium_um": w.chromium,
        "copper_um": w.copper, "class_source": row.source if row else "stated in the job", "class_known_by": row.known_by if row else "stated",
        "serves": served(w.base, w.nickel, w.chromium, f.stated.chromium),
        "tests": [
            {"test": "thickness", "text": f"at {len(f.spots)} places of the plan: {', '.join(f'{k} ({v})' for k, v in METHODS.items())}"},
            {"test": "adhesion", "text": "file, bend or thermal shock test, ISO 2819 (from memory)"},
            {"test": "corrosion", "text": f"{f.test.method} {f.test.hours:g} h; {f.test.source}", "hours": f.test.hours, "method": f.test.method},
            *([{"test": "layers", "text": "STEP test of the potentials (ASTM B764): semibright nobler than bright by 100 to 200 mV (from memory)"}] if row and row.kind == "d" else []),
        ],
        **surface_values(f.mesh, m, f.stated.ball_mm),
        "start": {
            "rolled_ra_um": f.start.rolled, "source": f.start.source, "ra_max_um": float(f.start.ra[m.picked].max()), "ra_mean_um": float(np.average(f.start.ra[m.picked], weights=f.mesh.areas[m.picked])),
            "scratched_mm2": float(f.mesh.areas[m.picked & f.start.scratched].sum()), "roughness_class": roughness_class(float(f.start.ra[m.picked].max())),
        },
        "steps": [{"name": s.name, "grit": s.number or None, "ra_um": list(s.ra), "stock_um": list(s.stock), "speed_m_s": s.speed, "rpm": s.rpm, "source": s.source} for s in f.steps],
        "ends_ra_um": list(leaves(f.steps)), "removed_max_um": float(f.removed.max()), "thickness_left_min": float(f.left[m.picked].min()), "thickness_least": f.least,
        "effort": {"area_cm2": f.effort.area, "minutes": list(f.effort.minutes), "wheels_per_1000": list(f.effort.wheels)},
        "recesses": [{"side": s, "area": r.area, "at": list(r.at)} for s, r in f.recesses], "untouched": [{"side": s, "area": r.area, "at": list(r.at)} for s, r in f.untouched],
        "rack": {
            "parts": lay.parts, "columns": lay.columns, "rows": lay.rows, "limits": vars(lay.limits), "binding": lay.limits.binding, "area_dm2": lay.area, "current_A": lay.current,
            "rack_current_A": lay.parts * lay.current, "current_density": lay.density, "contacts": lay.contacts, "load_kg": lay.load, "immersed_mm": lay.immersed, "size": lay.size.tolist(),
            "facing": f.turn[1].tolist(), "up": f.turn[2].tolist(),
        },
        "drag_out_ml_m2": f.drag_out, "anodes_kg": f.anodes_kg,
        "spots": [{"name": s.name, "at": list(s.at), "side": s.side, "why": s.why} for s in f.spots],
        "readings": None if f.readings is None else {
            "places": [{"place": x.place, "layer": x.layer, "method": x.method, "count": x.count, "um": x.mean, "uncertainty_um": x.uncertainty, "limit_um": x.limit, "verdict": x.verdict} for x in f.readings],
            "layers": {
                layer: {"verdict": overall(some), "mean_um": float(np.mean([x.mean for x in some])), "least_um": min(x.mean for x in some)}
                for layer in dict.fromkeys(x.layer for x in f.readings) for some in [[x for x in f.readings if x.layer == layer]]
            },
        },
        "book": None if f.book is None else [{"what": b.what, "unit": b.unit, "current": b.current, "drag_out": b.drag_out, "added": b.added, "to_add": b.to_add, "rests_on": b.rests_on} for b in f.book],
        "alternatives": [
            {"key": p.choice.key, "title": p.choice.title, "serves": p.serves, "relative_cost": None if p.relative is None else list(p.relative), "part_cost": p.part, "rate_stated": p.stated,
             "loses": p.choice.loses, "allows": p.choice.allows, "source": "your rate" if p.stated else OURS}
            for p in f.alternatives
        ],
        "cautions": list(CAUTIONS), "take_over": _take_over(f),
    }  # fmt: skip


def _take_over(f: Found) -> dict[str, Any]:
    """Rack for the stages ``plating``, ``line`` and ``dip``; these take at most 20 columns and rows and 60 parts, a larger rack is offered to ``line`` and ``dip`` only."""
    lay = f.layout
    fields: dict[str, Any] = {"line.parts_per_rack": lay.parts, "dip.parts": lay.parts}
    if max(lay.columns, lay.rows) <= 20 and lay.parts <= 60:
        facing, up = (tuple(float(v) for v in row) for row in f.turn[1:])
        fields |= {
            "plating.columns": lay.columns,
            "plating.rows": lay.rows,
            "plating.spacing": f.stated.spacing,
            "plating.facing": facing,
            "plating.up": up,
        }
    return {"fields": fields, "files": {}}


def figures(f: Found) -> tuple[Figure, ...]:
    """Numbers of specification, preparation, rack and records, each with formula, inputs and source."""
    w, lay, s, worst = f.wanted, f.layout, f.stated, int(np.argmin(np.where(f.significant.picked, f.left, np.inf)))
    first = f.steps[0]
    source = f"{w.row.source} ({w.row.known_by})" if w.row else "stated in the job"
    out = [
        Figure(key="finish.nickel", label="Least local nickel", value=w.nickel, unit="µm", formula="class of base metal, service condition and chromium", inputs={"base": (w.base, ""), "service condition": (w.service, ""), "class": (w.name, "")}, source=source),
        Figure(key="finish.chromium", label="Least local chromium", value=w.chromium, unit="µm", formula="class", source=source),
        Figure(key="finish.significant", label="Surface that counts", value=1e-2 * f.significant_area, unit="cm2", formula="area of the picked triangles that the ball touches", inputs={"ball": (s.ball_mm, "mm"), "sheet": (f.sheet, "mm")}, source=BALL_SOURCE, confidence="exact for the mesh; rims count as round"),
        Figure(key="finish.start_ra", label="Roughest start surface", value=float(f.start.ra[f.polished].max()), unit="µm Ra", formula="R0 + c d eps", inputs={"R0": (f.start.rolled, "µm"), "c": (s.peel_factor, ""), "d": (s.grain_um, "µm"), "eps": (float(f.drawn.strain[f.polished].max()), "")}, source=f"orange peel, linear law from memory; R0: {f.start.source}", confidence="a factor of 2 either way"),
        Figure(key="finish.removed", label="Sheet removed by polishing, at most", value=float(f.removed.max()), unit="µm", formula="1.5 peak-to-valley of the start + sum over the steps of 1.5 k Ra of the step before", inputs={"k": (PEAKS, ""), "first step": (first.stock[1], "µm"), "least": (float(f.removed_least.max()), "µm")}, source="common practice: a step takes off the scratches of the one before; bands of Ra differ by a factor of 3", confidence=f"band {float(f.removed_least.max()):.3g} to {float(f.removed.max()):.3g} µm"),
        Figure(key="finish.left", label="Thinnest sheet after polishing", value=float(f.left[worst]), unit="mm", formula="drawn thickness - removed", inputs={"drawn": (float(f.drawn.thickness[worst]), "mm"), "removed": (float(f.removed[worst]) * len(f.significant.sides), "µm")}, source="one-step solution"),
        Figure(key="finish.wheel_turns", label="Speed of the wheel", value=first.rpm, unit="1/min", digits=4, formula="60 000 v / (pi D)", inputs={"v": (first.speed, "m/s"), "D": (s.wheel_mm, "mm"), "rim speed at the marked speed": (rim_speed(s.wheel_mm, s.wheel_rpm_most), "m/s")}, source=f"{WHEEL_SPEED:g} m/s (7500 ft/min): ASM Handbook vol 5 (read)"),
        Figure(key="finish.minutes", label="Polishing time a part", value=float(np.mean(f.effort.minutes)), unit="min", formula="steps * area / rate", inputs={"area": (f.effort.area, "cm2"), "steps": (len(f.steps), ""), "rate from": (s.rate_cm2_min[0], "cm2/min"), "rate to": (s.rate_cm2_min[1], "cm2/min")}, source=OURS, confidence=f"band {f.effort.minutes[0]:.3g} to {f.effort.minutes[1]:.3g} min"),
        Figure(key="finish.area", label="Area plated of a part", value=lay.area, unit="dm2", formula="2 A + t L of its edges", inputs={"A": (1e-4 * f.mesh.area, "dm2"), "t": (f.sheet, "mm")}, source="geometry"),
        Figure(key="finish.parts", label="Parts on a rack", value=lay.parts, formula="least of room, spine, rectifier and weight, in full rows", inputs={k: (v, "") for k, v in vars(lay.limits).items()}, source="spine and contacts: common practice"),
        Figure(key="finish.contacts", label="Contacts a part", value=lay.contacts, formula="max(2, I / I_contact)", inputs={"I": (lay.current, "A"), "I_contact": (s.hook_a, "A")}, source=f"common practice; in the upper {100 * UPPER:g} % of the part"),
        Figure(key="finish.drag_out", label="Bath carried out", value=f.drag_out, unit="mL/m2", formula="min(0.02 A sqrt(U phi / d), 0.65 s l / (d g) + 0.001 A) / A" if isinstance(s.drag_out_ml_m2, str) else "stated", source="Kushner; Konishi et al. 1974 (abstract read)" if isinstance(s.drag_out_ml_m2, str) else "stated"),
    ]  # fmt: skip
    for b in f.book or []:
        out.append(Figure(key=f"finish.add.{b.what.replace(' ', '_')}", label=f"{b.what.capitalize()} to add", value=b.to_add, unit=b.unit, formula="taken by the current + drag-out - added", inputs={"current": (b.current, b.unit), "drag-out": (b.drag_out, b.unit), "added": (b.added, b.unit)}, source=b.rests_on))  # fmt: skip
    return tuple(out)


__all__ = ["figures", "meshes", "tables", "values"]

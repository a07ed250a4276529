"""Values, tables and arrays of the stage ``cutting``."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.trim.loads.found import CutFound, Found, Operation, Stripper
from diewright.trim.loads.press import reverse_load
from diewright.trim.loads.steels import offset_line

Floats = NDArray[np.float64]
CAUTIONS = (
    "Punches, steels and slugs are sharp, and a closing tool amputates: guard the point of operation, and lock out and block the slide before reaching in. The press law and standards of your country come first.",
    "Gas springs hold their pressure with the press off: only trained people open, fill or take out, and never by force. Relieve coil springs before plates are unscrewed.",
    "When the sheet breaks, the press snaps back: bolts, dowels and heads loosen. Keep within the reverse load that the press maker allows.",
    "These figures are for planning. A qualified die engineer judges the tool, the press maker's diagrams judge the load.",
)


def _number(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)


def values_of(f: Found) -> dict[str, Any]:
    """The stage's values; null where a number does not apply."""
    m = f.metal
    return {
        "metal": {
            "family": m.family, "shear_MPa": m.shear, "penetration": m.penetration, "clearance_share": m.clearance, "wear": f.inputs.wear, "thickness": m.thickness, "how": dict(m.how),
        },
        "visible": f.visible,
        "cuts": [_cut(f, c) for c in f.cuts],
        "operations": [_operation(f, o) for o in f.operations],
        "heaviest": f.heaviest.name if f.operations else None,
        "punches": [c.cut.id for c in f.cuts if c.punch is not None],
        "webs": [{"between": [w.a, w.b], "mm": w.distance, "over_thickness": w.distance / m.thickness, "at": w.at.tolist()} for w in f.webs[:50]],
    }  # fmt: skip


def _cut(f: Found, c: CutFound) -> dict[str, Any]:
    e = c.edge
    thickness = float(np.median(c.cut.thickness))
    return {
        "id": c.cut.id, "kind": c.cut.kind, "operation": c.cut.operation, "length_mm": float(c.plain.elements.length.sum()), "wall_mm2": c.plain.elements.area,
        "thickness": thickness, "clearance_mm": c.clearance, "sharp_kN": c.sharp / 1000, "flat_kN": c.flat.peak / 1000, "sheared_kN": c.sheared.peak / 1000,
        "work_J": c.flat.work, "shear_depth_mm": c.depth, "group": c.group, "burr_side": c.burr, "burr_mm": e.burr, "burr_seen": c.burr == f.visible,
        "rollover_pct": [100 * x for x in e.rollover], "burnish_pct": [100 * x for x in e.burnish], "fracture_pct": [100 * x for x in e.fracture],
        "tool": "post to the line, trim steel larger by the clearance" if c.cut.kind == "trim" else "punch to the hole, die larger by the clearance",
        "punch_mm": None if c.sizes is None else c.sizes.punch, "die_mm": None if c.sizes is None else c.sizes.die,
        "slug_mm": None if c.sizes is None else c.sizes.die, "paired": None if c.sizes is None else c.sizes.paired,
    }  # fmt: skip


def _operation(f: Found, o: Operation) -> dict[str, Any]:
    i = o.tightest
    return {
        "name": o.name, "cuts": [c.cut.id for c in o.cuts], "flat_kN": o.flat.peak / 1000, "sheared_kN": o.sheared.peak / 1000, "slide_kN": float(o.slide.max()) / 1000,
        "touch_height_mm": float(o.height[0]), "work_J": o.sheared.work, "energy_limit_J": f.energy, "use_pct": 100 * float(o.slide[i] / max(o.capacity[i], 1e-9)), "use_height_mm": float(o.height[i]),
        "released_kN": o.sheared.released / 1000, "reverse_kN": reverse_load(o.sheared.released) / 1000, "reverse_pct": 100 * reverse_load(o.sheared.released) / (1000 * float(f.press["force_kn"])),
        "centre": o.sheared.peak_centre.tolist(), "press_centre": o.press_centre.tolist(), "off_mm": float(np.linalg.norm(o.off)), "tilt_kNm": float(o.tilt.max()) / 1e6,
        "thrust_kN": o.sheared.thrust_max / 1000, "strippers": [_stripper(s) for s in o.strippers],
    }  # fmt: skip


def _stripper(s: Stripper) -> dict[str, Any]:
    p = s.springs
    return {
        "of": s.of, "force_kN": s.force / 1000, "centre": s.centre.tolist(), "work_mm": s.work, "springs": None if p is None else p.name, "count": None if p is None else p.count,
        "preload_mm": None if p is None else p.preload, "preload_kN": None if p is None else p.force / 1000, "end_kN": None if p is None else p.force_end / 1000,
        "life_share": None if p is None else p.life, "places": None if s.places is None else s.places.tolist(), "off_mm": _number(s.off),
    }  # fmt: skip


def tables_of(f: Found) -> dict[str, dict[str, Floats]]:
    """Force tables of the heaviest operation, of each operation and each cut; cuts, punches and springs as columns."""
    out: dict[str, dict[str, Floats]] = {}
    if f.operations:
        out["force"] = _force(f.heaviest)
    for k, o in enumerate(f.operations):
        out[f"force_operation_{k + 1}"] = _force(o)
    for c in f.cuts:
        stroke = c.sheared.stroke
        flat = np.interp(stroke, c.flat.stroke, c.flat.force, right=0.0)
        out[f"force_{c.cut.id}"] = {"stroke_mm": stroke, "flat_kN": flat / 1000, "sheared_kN": c.sheared.force / 1000}
    cuts = [_cut(f, c) for c in f.cuts]
    numbers = (
        "length_mm",
        "wall_mm2",
        "thickness",
        "clearance_mm",
        "sharp_kN",
        "flat_kN",
        "sheared_kN",
        "work_J",
        "shear_depth_mm",
        "group",
        "burr_mm",
    )
    out["cuts"] = {"row": np.arange(len(cuts), dtype=np.float64)} | {n: np.array([float(c[n]) for c in cuts]) for n in numbers}
    out["cuts"]["burr_seen"] = np.array([float(c["burr_seen"]) for c in cuts])
    out["punches"] = _punches(f)
    springs = [(s, p) for o in f.operations for s in o.strippers if (p := s.springs) is not None]
    out["springs"] = {
        name: np.array([float(of(s, p)) for s, p in springs])
        for name, of in (
            ("gas", lambda s, p: p.kind == "gas"), ("count", lambda s, p: p.count), ("diameter_mm", lambda s, p: p.diameter), ("length_mm", lambda s, p: p.length),
            ("preload_mm", lambda s, p: p.preload), ("deflection_mm", lambda s, p: p.deflection), ("needed_kN", lambda s, p: s.force / 1000), ("preload_kN", lambda s, p: p.force / 1000),
            ("end_kN", lambda s, p: p.force_end / 1000), ("life_share", lambda s, p: p.life), ("off_mm", lambda s, p: np.nan if s.off is None else s.off),
        )
    }  # fmt: skip
    return out


def _force(o: Operation) -> dict[str, Floats]:
    s = o.sheared
    return {
        "stroke_mm": s.stroke, "height_above_bottom_mm": o.height, "flat_kN": np.interp(s.stroke, o.flat.stroke, o.flat.force, right=0.0) / 1000, "sheared_kN": s.force / 1000,
        "pad_kN": o.pad / 1000, "slide_kN": o.slide / 1000, "capacity_kN": o.capacity / 1000, "centre_x_mm": s.centre[:, 0], "centre_y_mm": s.centre[:, 1], "tilt_kNm": o.tilt / 1e6,
        "thrust_x_kN": s.thrust[:, 0] / 1000, "thrust_y_kN": s.thrust[:, 1] / 1000, "thrust_z_kN": s.thrust[:, 2] / 1000,
    }  # fmt: skip


def _punches(f: Found) -> dict[str, Floats]:
    rows = [(i, c, c.punch, c.button) for i, c in enumerate(f.cuts)]
    nan = float("nan")
    columns: dict[str, list[float]] = {}
    for i, c, p, b in rows:
        if p is None or b is None:
            continue
        z = c.sizes
        row = {
            "cut": i, "diameter_mm": c.cut.diameter if c.cut.diameter is not None else nan, "narrowest_mm": p.section.narrowest, "smallest_allowed_mm": c.smallest if c.smallest is not None else nan,
            "punch_mm": nan if z is None else z.punch, "punch_tolerance_mm": nan if z is None else z.punch_tolerance, "die_mm": nan if z is None else z.die, "die_tolerance_mm": nan if z is None else z.die_tolerance,
            "force_kN": p.force / 1000, "stress_MPa": p.stress, "length_mm": p.length, "free_mm": p.free, "longest_free_mm": p.longest, "buckling_kN": p.buckling / 1000, "slenderness": p.slenderness, "safety": p.safety,
            "shank_mm": nan if p.shank is None else p.shank, "head_mm": p.head, "head_MPa": p.head_pressure, "button_mm": nan if b.outside is None else b.outside, "land_mm": b.land,
            "relief_mm": b.relief, "taper_deg": b.taper, "slugs_in_land": b.slugs,
        }  # fmt: skip
        for name, value in row.items():
            columns.setdefault(name, []).append(float(value))
    return {name: np.array(column) for name, column in columns.items()}


def arrays_of(f: Found) -> dict[str, Floats]:
    """Outlines of the tools across the travel (k, 2) [mm]: ``inner_<id>`` punch or post, ``outer_<id>`` die or trim steel; ``frame_<id>`` (3, 3) its two axes and the travel; ``springs_<k>`` (n, 2)."""
    out: dict[str, Floats] = {}
    for c in f.cuts:
        e1, e2 = c.cut.frame
        out[f"frame_{c.cut.id}"] = np.array([e1, e2, c.cut.direction])
        if c.cut.closed:
            out[f"inner_{c.cut.id}"] = c.cut.across
            out[f"outer_{c.cut.id}"] = offset_line(c.cut, c.clearance)
    for k, s in enumerate(s for o in f.operations for s in o.strippers):
        if s.places is not None:
            out[f"springs_{k + 1}"] = s.places
    return out

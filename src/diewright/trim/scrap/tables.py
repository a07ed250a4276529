"""Values, figures, tables and arrays of the stage ``scrap``."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Figure
from diewright.trim.scrap.found import CHUTE_ROOM, Found
from diewright.trim.scrap.pieces import in_space

Floats = NDArray[np.float64]
CAUTIONS = (
    "Scrap has knife edges and comes out under spring force: chutes are guarded, and pieces are taken out with a hook and gloves, never by hand with the press on.",
    "A piece that stays in the die is cut twice at the next stroke and breaks steels: watch the chutes or fit a sensor. Lock out and block the slide before reaching in.",
    "These figures are for planning. A qualified die engineer judges the tool; local law and standards come first.",
)


def _deg(way: float | None) -> float:
    return float("nan") if way is None else math.degrees(way) % 360.0


def values_of(f: Found) -> dict[str, Any]:
    """The stage's values; null where a number does not apply."""
    steels = [s for g in f.segmented for s in g.steels]
    return {
        "pieces": len(f.pieces), "slugs": [s.cut for s in f.slugs], "choppers": sum(len(c.choppers) for c in f.chopped), "scrap_kg": f.mass,
        "fall": sum(p.way is not None for p in f.pieces), "hooked": [i for i, p in enumerate(f.pieces, start=1) if not p.free.spans], "held": [i for i, p in enumerate(f.pieces, start=1) if p.free.spans and not p.between.spans],
        "piece_max": f.inputs.longest, "chute_width": f.chute if f.pieces else None, "drop_height": f.drop,
        "rings": [
            {"cut": c.ring.line.cut.id, "closed": c.ring.closed, "pieces": len(c.pieces), "choppers": len(c.choppers), "area": float(c.ring.region.area), "view": "blank" if c.ring.line.flat else "plan" if c.ring.line.straight else "travel", "refused": c.refused}
            for c in f.chopped
        ],
        "bare": {k: v[0] for k, v in f.lines.bare.items()}, "unknown": dict(f.lines.unknown), "thinnest": {k: t.width for k, t in f.thin.items()},
        "section": {"height": f.section.height, "width": f.section.width, "screw": f"M{f.section.screw:g}", "dowel": f.section.dowel},
        "steel": {"number": f.grade.number, "name": f.grade.name, "hardness": f.grade.hardness, "why": f.grade.why},
        "steels": len(steels), "steels_kg": sum(s.mass for s in steels), "joints": sum(len(g.joints) for g in f.segmented), "cautions": list(CAUTIONS),
        "cuts": [c for c in dict.fromkeys([*(k.cut.id for k in f.lines.lines), *(s.cut for s in f.slugs)])],
    }  # fmt: skip


def figures_of(f: Found) -> list[Figure]:
    """Numbers that can be opened."""
    out = [
        Figure(
            key="scrap_mass", label="Scrap of a stroke", value=f.mass, unit="kg", formula="m = rho (sum A_i t_i + slugs)", inputs={"rho": (f.density, "kg/m3"), "pieces": (float(len(f.pieces)), ""), "slugs": (float(len(f.slugs)), "")},
            source="geometry of the drawn sheet", confidence="exact for the rim as it is known without a tryout",
        ),
    ]  # fmt: skip
    if f.blank_mass:
        out.append(
            Figure(
                key="scrap_share", label="Scrap of the blank", value=100.0 * f.mass / f.blank_mass, unit="%", formula="m / m_blank", inputs={"m": (f.mass, "kg"), "m_blank": (f.blank_mass, "kg")}, source="geometry", confidence="holes pierced in the blank before the draw are not in it",
            )
        )  # fmt: skip
    if f.pieces:
        out.append(
            Figure(
                key="chute_width", label="Width of the chutes", value=f.chute, unit="mm", formula="w = 1.4 d" if isinstance(f.inputs.chute_width, str) else "stated", inputs={"d": (f.across, "mm"), "factor": (CHUTE_ROOM, "")}, source="common practice", confidence="d exact",
            )
        )  # fmt: skip
        angles = [p.chute for p in f.pieces if p.chute is not None]
        if angles:
            flattest = min(angles, key=lambda c: c.angle)
            out.append(
                Figure(
                    key="chute_angle", label="Flattest chute", value=flattest.angle, unit="deg", formula="atan((h - piece)/run)", inputs={"h": (f.drop, "mm"), "run": (flattest.run, "mm")}, source="geometry; 30 deg at least for sheet on steel, common practice", confidence="as good as the stated heights",
                )
            )  # fmt: skip
    return out


def tables_of(f: Found) -> dict[str, dict[str, Floats]]:
    """``pieces``, ``choppers``, ``steels``, ``joints`` as columns."""
    number = {c: float(i) for i, c in enumerate(values_of(f)["cuts"])}
    nan = float("nan")
    pieces: list[dict[str, float]] = [
        {
            "piece": i, "slug": 0.0, "cut": number[p.cut], "area_mm2": p.area, "mass_kg": p.mass, "length_mm": p.length, "width_mm": p.width, "across_mm": p.across, "height_mm": p.high, "free_deg": p.free.total_deg, "between_deg": p.between.total_deg,
            "way_deg": _deg(p.way), "run_mm": p.chute.run if p.chute else nan, "needed_mm": p.chute.needed if p.chute else nan, "chute_deg": p.chute.angle if p.chute else nan,
        }
        for i, p in enumerate(f.pieces, start=1)
    ]  # fmt: skip
    pieces += [
        {
            "piece": i, "slug": 1.0, "cut": number[s.cut], "area_mm2": s.area, "mass_kg": s.mass, "length_mm": s.length, "width_mm": s.width, "across_mm": s.across, "height_mm": nan, "free_deg": nan, "between_deg": nan,
            "way_deg": nan, "run_mm": nan, "needed_mm": nan, "chute_deg": s.slope,
        }
        for i, s in enumerate(f.slugs, start=len(f.pieces) + 1)
    ]  # fmt: skip
    choppers = []
    for c in f.chopped:
        for k in c.choppers:
            (x0, y0, z0), (x1, y1, z1) = in_space(c.ring, k)
            choppers.append(
                {"cut": number[c.ring.line.cut.id], "x_mm": x0, "y_mm": y0, "z_mm": z0, "end_x_mm": x1, "end_y_mm": y1, "end_z_mm": z1, "way_mm": k.way, "width_mm": k.width, "turn_deg": k.turn, "lean_deg": k.lean}
            )  # fmt: skip
    steels = [
        {
            "steel": i, "cut": number[s.cut], "upper": float(s.side == "upper"), "edge_mm": s.edge, "width_mm": f.section.width, "height_mm": f.section.height, "force_kN": s.force / 1000, "thrust_kN": s.thrust / 1000, "screws": s.screws,
            "screw_mm": f.section.screw, "dowels": s.dowels, "dowel_mm": f.section.dowel, "key": float(s.key), "mass_kg": s.mass,
        }
        for i, s in enumerate((s for g in f.segmented for s in g.steels), start=1)
    ]  # fmt: skip
    joints = [
        {"cut": number[j.cut], "across_1_mm": j.at[0], "across_2_mm": j.at[1], "way_mm": j.way, "radius_mm": min(j.radius, 1e6), "chopper_mm": j.chopper if math.isfinite(j.chopper) else nan}
        for g in f.segmented for j in g.joints
    ]  # fmt: skip
    return {"pieces": _columns(pieces), "choppers": _columns(choppers), "steels": _columns(steels), "joints": _columns(joints)}


def _columns(rows: list[dict[str, Any]]) -> dict[str, Floats]:
    return {k: np.array([float(r[k]) for r in rows]) for k in rows[0]} if rows else {}


def arrays_of(f: Found) -> dict[str, Floats]:
    """``piece_<i>`` (k, 3) outlines, slugs after the pieces; ``free_<i>`` (n, 2) begin and width of its free directions [deg]; ``steel_<i>`` (k, 2) across the travel."""
    out: dict[str, Floats] = {f"piece_{i}": p.outline for i, p in enumerate(f.pieces, start=1)}
    out |= {f"piece_{i}": s.outline for i, s in enumerate(f.slugs, start=len(f.pieces) + 1)}
    out |= {f"free_{i}": np.degrees(np.array(p.free.spans, dtype=np.float64).reshape(-1, 2)) for i, p in enumerate(f.pieces, start=1)}
    for i, s in enumerate((s for g in f.segmented for s in g.steels), start=1):
        if s.outline is not None:
            out[f"steel_{i}"] = np.asarray(s.outline.exterior.coords)[:-1]
    return out

"""What the stage ``dip`` hands over: meshes, tables, values, figures."""

from __future__ import annotations

from typing import Any

import numpy as np

from diewright.finish.dip import rules
from diewright.finish.dip.found import Found
from diewright.finish.dip.holes import Measured
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.findings import Figure
from diewright.job.schema import DipStated
from diewright.job.stage import Result

CAUTIONS = (
    "Plating baths are corrosive and poisonous, some cause cancer (chromium(VI), nickel salts): extraction, splash guards, and the plating shop's own rules and licences come first.",
    "A vessel that is shut, or that a bath can shut, can burst when it is heated or lift off the rack: never dip a closed hollow part.",
    "A part that carries liquid mixes baths: acid carried into a cyanide bath sets hydrogen cyanide free. Rinse between, and ask the plater.",
)


def meshes(f: Found) -> dict[str, FieldMesh]:
    """``part`` with the pockets on its faces; the free surfaces of bubbles and pools, where there are any."""
    space = f.at.space
    used = np.unique(space.sheet)
    number = np.full(len(space.points), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    air, pool = f.at.on_faces("air"), f.at.on_faces("pool")
    part = FieldMesh(
        TriMesh(space.points[used], number[space.sheet].astype(np.int32)),
        point={"air_depth": f.at.depth_at_points("air")[used], "pool_depth": f.at.depth_at_points("pool")[used]},
        cell={
            "air": air.max(axis=0),
            "pool": pool.max(axis=0),
            "air_front": air[0],
            "air_back": air[1],
            "pool_front": pool[0],
            "pool_back": pool[1],
        },
    )
    out = {"part": part}
    for name, found in (("surface_air", f.air), ("surface_pool", f.pools)):
        pieces = [f.at.free_surface(m.pocket) for m in found]
        if sum(len(p.triangles) for p in pieces):
            shift = np.cumsum([0, *(len(p.points) for p in pieces)])
            whole = TriMesh(
                np.concatenate([p.points for p in pieces]),
                np.concatenate([p.triangles + s for p, s in zip(pieces, shift[:-1], strict=True)]),
            )
            owner = np.concatenate([np.full(len(p.triangles), i, dtype=np.int32) for i, p in enumerate(pieces)])
            out[name] = FieldMesh(whole, cell={"pocket": owner})
    return out


def tables(f: Found) -> dict[str, dict[str, np.ndarray]]:
    """``pockets`` one row each, bubbles first; ``attitudes`` the best of the search, ``attitude_pockets`` theirs."""
    rows = [(0.0, i, m) for i, m in enumerate(f.air)] + [(1.0, i, m) for i, m in enumerate(f.pools)]
    pockets = [_row(f, kind, i, m) for kind, i, m in rows]
    names = list(_row(f, 0.0, 0, rows[0][2])) if rows else []
    s = f.search
    best = {
        "up_x": s.best[:, 0], "up_y": s.best[:, 1], "up_z": s.best[:, 2], "air_mm3": s.best_totals[:, 0], "air_significant_mm3": s.best_totals[:, 1],
        "pool_mm3": s.best_totals[:, 2], "dry_significant_mm2": s.best_totals[:, 3], "room_deg": s.best_room,
        "air_pockets": np.array([float(len(a.air)) for a in f.best]), "pools": np.array([float(len(a.pools)) for a in f.best]),
    }  # fmt: skip
    out = {"attitudes": best}
    if rows:
        out["pockets"] = {n: np.array([p[n] for p in pockets], dtype=np.float64) for n in names}
    each = [(a, kind, p) for a, at in enumerate(f.best) for kind, found in ((0.0, at.air), (1.0, at.pools)) for p in found]
    if each:
        out["attitude_pockets"] = {
            "attitude": np.array([float(a) for a, _, _ in each]), "kind": np.array([k for _, k, _ in each]), "mm3": np.array([p.volume for _, _, p in each]),
            "depth_mm": np.array([p.depth for _, _, p in each]), **{f"far_{c}_mm": np.array([p.far[k] for _, _, p in each]) for k, c in enumerate("xyz")},
        }  # fmt: skip
    return out


def _row(f: Found, kind: float, i: int, m: Measured) -> dict[str, float]:
    p = m.pocket
    return {
        "kind": kind, "number": float(i), "mm3": p.volume, "depth_mm": p.depth, "surface_mm": p.surface, "width_mm": m.width, "band_mm3": f.band(m),
        "front_mm2": p.area[0], "back_mm2": p.area[1], "significant_mm2": f.shown(m), "far_x_mm": float(p.far[0]), "far_y_mm": float(p.far[1]), "far_z_mm": float(p.far[2]),
        "lip_x_mm": float(p.lip[0]), "lip_y_mm": float(p.lip[1]), "lip_z_mm": float(p.lip[2]), "kept_share": m.kept, "rise_mm": m.rise, "hole_mm": m.hole,
        "hole_by_time_mm": m.by_time, "hole_table_mm": np.nan if m.table is None else m.table, "time_s": m.time, "head_left_mm": m.head_left, "holds": float(m.holds), "after_mm3": m.after, "saved_mm3": m.saved,
    }  # fmt: skip


def values(f: Found, d: DipStated, part: Result) -> dict[str, Any]:
    """JSON-ready values."""
    named_air, named_pool = sum(m.pocket.volume for m in f.air), sum(m.pocket.volume for m in f.pools)
    return {
        "up": f.at.up.tolist(), "chosen": "auto" if f.auto else "stated", "coordinates": "part", "significant": d.significant, "front_is_upper": f.sheet.front_is_upper,
        "skin": part.values.get("skin"), "air_mm3": f.at.air_total, "pool_mm3": f.at.pool_total, "air_unnamed_mm3": f.at.air_total - named_air,
        "pool_unnamed_mm3": f.at.pool_total - named_pool, "air_pockets": len(f.air), "pools": len(f.pools), "air_at_depth_mm3": sum(m.kept * m.pocket.volume for m in f.air),
        "with_holes": None if f.improved is None else {"air_mm3": f.improved.air_total, "pool_mm3": f.improved.pool_total},
        "attitudes": [{"up": u.tolist(), "air_mm3": float(t[0]), "air_significant_mm3": float(t[1]), "pool_mm3": float(t[2]), "room_deg": float(n)} for u, t, n in zip(f.search.best, f.search.best_totals, f.search.best_room, strict=True)],
        "tried": len(f.search.ups), "holes_shut": list(f.sheet.shut), "lift_N": f.lift, "weight_in_bath_N": f.weight_in_bath,
        "drag_out": {
            "part_mL": f.drag.total, "rack_mL": d.parts * f.drag.total, "pulled_mL": f.drag.pulled, "bead_mL": f.drag.bead, "film_mL": f.drag.film, "drained_mL": f.drag.drained,
            "running_mL": f.drag.running, "pools_mL": f.drag.pools, "area_mm2": f.drag.area, "edge_mm": f.drag.edge, "run_mm": f.drag.run,
            "published": {name: [g * rules.GALLONS_PER_1000_FT2 * 1e-6 * f.drag.area for g in band] for name, band in rules.AREA_FIGURES.items()},
        },
        "space": {"points": len(f.at.space.points), "cells": len(f.at.space.cells), "triangles": len(f.at.space.sheet)}, "cautions": list(CAUTIONS),
    }  # fmt: skip


def figures(f: Found, d: DipStated) -> tuple[Figure, ...]:
    """Air, pools and drag-out, each with its formula and source."""
    g = f.drag
    exact = "exact for the mesh; the sheet counts as one skin without thickness; quasi-static"
    return (
        Figure(
            key="dip.air", label="Trapped air", value=f.at.air_total, unit="mm3", digits=4, confidence=exact,
            formula="space whose highest way out to the open dips below it, clipped by that height",
        ),
        Figure(
            key="dip.pool", label="Bath left in pools", value=f.at.pool_total, unit="mm3", digits=4, confidence=exact,
            formula="space whose lowest way out to the open rises above it, clipped by that height",
        ),
        Figure(
            key="dip.drag_out", label="Drag-out of a part", value=g.total, unit="mL", formula="min(0.02 A sqrt(U phi / d), 0.65 s l / (d g) + 0.001 A) + pools, in cgs",
            inputs={
                "A": (g.area, "mm2"), "U": (d.out_speed, "mm/s"), "phi": (d.viscosity, "mPa s"), "d": (d.density, "kg/m3"), "s": (d.surface_tension, "mN/m"),
                "l": (g.edge, "mm"), "pools": (g.pools, "mL"),
            },
            source="Kushner; Konishi, Hirohata, Kubota, Yuri, J. Met. Finish. Soc. Japan 25 (1974) 2-7 (abstract read)",
            confidence="bead plus or minus 15 %; shop figures for such parts are 16 to 980 mL/m2 by shape and draining",
        ),
        Figure(
            key="dip.running", label="Film still running after the drip time", value=g.running, unit="mL", formula="(2/3) sqrt(mu L / (rho g t)) on both sides",
            inputs={"mu": (d.viscosity, "mPa s"), "L": (g.run, "mm"), "rho": (d.density, "kg/m3"), "t": (d.drip_time, "s")},
            source="Jeffreys 1930 (from memory)", confidence="a vertical plate; by slope elsewhere",
        ),
    )  # fmt: skip

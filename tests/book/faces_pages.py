"""Results in the form of docs/design/stages.md for the pages Faces, Draws, Proposal and Compensation: tools by formula, made-up runs."""

from __future__ import annotations

import numpy as np
from drawn_cup import DEPTH, DIE, NOSE, OPENING, PUNCH, T0, Nothing, disc, drawn, strains, tools, work_faces, work_tryout
from drawn_cup import _inputs as read_tryout
from synthetic import work_part, work_press, work_sheet

from diewright.geometry import FieldMesh, TriMesh
from diewright.job.findings import Finding, Place
from diewright.job.graph import Graph
from diewright.job.series import FieldSeries
from diewright.job.stage import Result, Stage

SHIFT = 0.6  # of the die's rim [mm]
ROUND = 24.0  # degrees by which the tools are turned, so that no plane of a section meets their points


def turned(mesh: TriMesh) -> TriMesh:
    a = np.radians(ROUND)
    c, s = np.cos(a), np.sin(a)
    return TriMesh(mesh.points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]), mesh.triangles)


def faces(inputs, upstream, files, watch):
    made = work_faces(inputs, upstream, files, watch)
    shape = {"kind": "flat", "direction": None, "level": 0.0, "depth_least": 12.0, "depth_mean": 12.5, "depth_most": 13.0, "uneven_flat": 3e-15, "uneven_curved": None, "gauss": 0.0, "bend": None,
             "lead_on": "profile", "wall_angle": [8.0, 8.0], "punch_radius": [5.0, 6.0]}  # fmt: skip
    return Result(
        values={**made.values, "gap_min": T0, "gap_max": 1.1 * T0, "blankholder": shape}, findings=made.findings, meshes={n: FieldMesh(turned(m)) for n, m in tools().items()}, arrays=made.arrays,
    )  # fmt: skip


def details(inputs, upstream, files, watch):
    made = upstream["faces"].meshes
    a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    fields = {
        n: FieldMesh(m.mesh, {}, {"zone": (m.mesh.centroids[:, 2] > -1.0).astype(float), "gap": np.full(len(m.mesh.triangles), T0)})
        for n, m in made.items()
    }
    values = {
        "bead": {"kind": "round", "offset": 12.0, "cut_length": 251.0, "length": 251.0, "pieces": 1, "restraint": 88.0, "uplift_kN": 21.0, "locks": False, "after_draw_in": "The blank's edge stays on it."},
        "locators": {"count": 3, "fixes": False, "round": True, "diameter": 10.0, "opening_least": 20.0, "bead_least": 8.0}, "vents": {"count": 1, "wanted": 2, "volume": 64000.0}, "allowance_max": 0.02,
        "zones": {"die": {"bears": 4200.0, "relieved": 0.0}},
    }  # fmt: skip
    pins = np.array([[55.0, 0.0, -1.0, 0.0], [0.0, 55.0, 0.0, -1.0], [-55.0, 0.0, 1.0, 0.0]])
    return Result(
        values=values, meshes=fields, arrays={"bead_line": (OPENING + 12) * np.column_stack([np.cos(a), np.sin(a)]), "locators": pins, "vents": np.array([[0.0, 0.0, -26.0, 4.0, 0.0, 1.0]])},
        tables={"locators": {"x_mm": pins[:, 0], "y_mm": pins[:, 1], "opening_mm": np.full(3, 20.0), "bead_mm": np.full(3, 8.0)}}, files={"details.dxf": b"0\nEOF\n"},
    )  # fmt: skip


def cad(inputs, upstream, files, watch):
    tool = {"faces": 27, "kept": 1, "moved": 9, "fitted": 17, "gap": 0.0004, "break_deg": 0.48, "valid": True, "deviation": {"max": 0.0013}}
    return Result(
        values={"tools": {"die": tool, "punch": tool, "blankholder": tool}, "remarks": ["Three holes are left out."], "faults": [], "moved": False},
        findings=(Finding(key="cad.off.die", severity="note", sentence="The die lies 0.001 mm off the tryout's.", value=0.0013, limit=0.016, unit="mm"),),
        files={"die.step": b"ISO-10303-21;", "sections.dxf": b"0\nEOF\n"},
    )  # fmt: skip


def proposal(inputs, upstream, files, watch):
    flat, triangles = disc()
    shape = drawn(flat, DEPTH)
    tried = {
        "how": np.array(["faces", "faces", "one-step", "one-step", "tryout", "tryout", "tryout"]), "blankholder": np.array(["flat", "cylindrical", "", "", "flat", "flat", "flat"]),
        "force_kN": np.array([0.0, 0.0, 10.0, 40.0, 20.0, 10.0, 14.0]), "die_radius_mm": np.array([6.0, 6.0, 0.0, 0.0, 6.0, 6.0, 8.0]), "bead_mm": np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2.0]),
        "stops": np.array([0.0, 1.0, 0.0, 0.0, 1.0, 0.0, 0.0]), "margin_pct": np.array([np.nan, np.nan, 30.0, 22.0, -4.0, 6.0, 12.5]), "thinning_pct": np.array([np.nan, np.nan, 4.0, 9.0, 31.0, 17.0, 15.0]),
        "wrinkle_mm": np.array([np.nan, np.nan, np.nan, np.nan, 0.0, 0.31, 0.05]), "score": np.array([0.0, 1000.1, 0.0, 0.0, 1142.0, 141.0, 1.0]),
        "says": np.array(["", "the wall folds at the corner.", "", "", "tryout.neck", "tryout.wrinkle", "tryout.loose"]),
    }  # fmt: skip
    values = {
        "score": 1.0, "good": True, "stops": 0, "says": ["tryout.loose"], "force_kN": 14.0, "base_kN": 20.0, "die_radius": 8.0, "bead_mm": 2.0, "blankholder": "flat", "margin_min_pct": 12.5,
        "thinning_max_pct": 15.0, "wrinkle_height_max": 0.05, "tryouts": 3,
        "take_over": {"fields": {"tryout.blankholder_force_kn": 14.0, "faces.die_radius": 8.0, "tryout.bead_kind": "round", "tryout.bead_height": 2.0}, "files": {}},
    }  # fmt: skip
    return Result(
        values=values,
        meshes={"drawn": FieldMesh(TriMesh(shape, triangles), {}, strains(flat, triangles, shape, DEPTH))},
        tables={"tried": tried},
    )


def compensation(inputs, upstream, files, watch):
    meshes = {}
    for name, mesh in tools().items():
        r = np.hypot(*mesh.points[:, :2].T)
        along = SHIFT * np.sin(3 * np.arctan2(mesh.points[:, 1], mesh.points[:, 0])) * np.clip((r - 20) / 40, 0, 1)
        shift = np.column_stack([0 * r, 0 * r, along])
        meshes[name] = FieldMesh(
            TriMesh(mesh.points + shift, mesh.triangles), {"shift": shift, "shift_mm": np.abs(along), "shift_normal_mm": along}, {}
        )
    flat, triangles = disc()
    shape = drawn(flat, DEPTH)
    for name, most in (("before", 0.8), ("sprung", 0.1)):
        off = most * np.cos(2 * np.arctan2(flat[:, 1], flat[:, 0])) * (np.hypot(*flat.T) / 50) ** 2
        meshes[name] = FieldMesh(
            TriMesh(shape, triangles),
            {"deviation_mm": off, "displacement": np.column_stack([0 * off, 0 * off, off]), "displacement_mm": np.abs(off)},
            {},
        )
    rows = {
        "run": np.arange(4.0), "max_mm": np.array([0.8, 0.3, 0.1, 0.12]), "rms_mm": np.array([0.3, 0.09, 0.03, 0.04]), "fit_max_mm": np.array([0.8, 0.3, 0.1, 0.12]), "fit_rms_mm": np.array([0.3, 0.09, 0.03, 0.04]),
        "supports_max_mm": np.array([0.9, 0.33, 0.11, 0.13]), "supports_rms_mm": np.array([0.35, 0.1, 0.04, 0.05]), "left_max_pct": np.array([100.0, 37.5, 12.5, 15.0]), "left_rms_pct": np.array([100.0, 30.0, 10.0, 13.3]),
        "lift_max_mm": np.array([0.0, 0.02, 0.01, 0.01]), "shift_max_mm": np.array([0.0, 0.7, 0.85, 0.9]),
    }  # fmt: skip
    values = {
        "runs": 4, "best": 2, "factor": 1.0, "wave_mm": 24.0, "quality": "coarse", "tolerance_mm": 0.15, "alignment": "best fit", "blankholder": "keep", "blankholder_stated": "auto", "before_max_mm": 0.8,
        "before_rms_mm": 0.3, "after_max_mm": 0.1, "after_rms_mm": 0.03, "left_max_pct": 12.5, "left_rms_pct": 10.0, "shift_max_mm": 0.85, "points": 900, "gap_change_mm": 0.003, "gap_min_mm": 0.79, "gap_min_before_mm": 0.8,
        "draft_min_deg": 3.1, "draft_min_before_deg": 5.0, "undercut_mm2": 0.0, "holder_move_mm": 0.0, "holder_tilt_deg": 0.0, "turn_max_deg": 1.2, "turn_step_deg": 0.4, "stretch_max_pct": 0.1, "stroke": DEPTH,
        "trim": {"how": "line", "off_mm": None}, "mesh": {"triangles": len(triangles), "edge_median": 2.0}, "take_over": {"fields": {}, "files": {"faces.shift_file": "compensation.csv"}},
    }  # fmt: skip
    worst = shape[0].tolist()
    note = Finding(
        key="compensation.reached",
        severity="note",
        sentence="The part comes within 0.1 mm.",
        value=0.1,
        limit=0.15,
        unit="mm",
        place=Place(points=((worst[0], worst[1], worst[2]),), label="middle"),
    )
    return Result(values=values, findings=(note,), meshes=meshes, tables={"iterations": rows}, files={"compensation.csv": b"x [mm],y [mm],z [mm],dx [mm],dy [mm],dz [mm]\n0,0,0,0,0,0.1\n9,0,0,0,0,0.1\n0,9,0,0,0,0.1\n9,9,1,0,0,0.2\n"})  # fmt: skip


def draws(inputs, upstream, files, watch):
    """Two draws whose tools are those of the cup, the second narrower."""
    rows, meshes, arrays = [], {}, {}
    for k, (d, before, height) in enumerate(((56.0, 100.0, 30.0), (44.0, 56.0, 45.0)), 1):
        rows.append({
            "draw": k, "kind": "draw" if k == 1 else "redraw", "diameter": d, "before": before, "ratio": before / d, "height": height, "height_table": None, "punch_radius": NOSE, "die_radius": DIE, "clearance": 1.1 * T0,
            "foot": 0.0, "punch_diameter": d - T0, "die_diameter": d + T0, "stroke": height + 4.0, "holder_force": 9000.0 / k, "source": "made up",
        })  # fmt: skip
        scale = np.array([d / (2 * PUNCH), d / (2 * PUNCH), 1.0])
        for name, mesh in tools().items():
            meshes[f"{name}_{k}"] = FieldMesh(TriMesh(mesh.points * scale, mesh.triangles))
        arrays[f"meridian_{k}"] = np.array([[0.0, 0.0], [d / 2 - 5, 0.0], [d / 2 - 1.5, 1.5], [d / 2, 5.0], [d / 2, height]])
    values = {
        "draws": rows,
        "why_none": None,
        "blank_diameter": 100.0,
        "single": False,
        "round": True,
        "thickness": T0,
        "part_height": 44.0,
        "part_off_mm": 0.0,
        "axis": [0.0, 0.0],
        "notes": ["The cup is drawn through."],
    }
    return Result(values=values, meshes=meshes, arrays=arrays)


def no_draws(inputs, upstream, files, watch):
    return Result(
        values={
            "draws": [],
            "why_none": "Only round parts get a sequence of draws.",
            "blank_diameter": None,
            "single": None,
            "round": False,
        }
    )


def draws_tryout(inputs, upstream, files, watch):
    flat, triangles = disc()
    steps = (0.0, DEPTH / 2, DEPTH / 2, DEPTH)
    points = np.stack([drawn(flat, h) for h in steps])
    each = [strains(flat, triangles, p, h) for p, h in zip(points, steps, strict=True)]
    cell = {k: np.stack([f[k] for f in each]) for k in each[0]}
    s = np.linspace(0, DEPTH, 30)
    curve = {
        "draw": np.repeat([1.0, 2.0], 30),
        "stroke_mm": np.concatenate([s, s]),
        "punch_kN": np.concatenate([40 * np.sin(s / 12), 22 * np.sin(s / 14)]),
        "blankholder_kN": np.full(60, 9.0),
    }
    r = np.linspace(0, 50, 20)
    profile = {f"profile_{k}": {"blank_radius_mm": r, "thickness_mm": T0 * (1 + 0.002 * k * (r - 25))} for k in (1, 2)}
    rows = [
        {"draw": k, "kind": kind, "stopped": None, "margin_pct": m, "thinning_pct": 12.0, "thickening_pct": 9.0, "punch_kN": f, "handbook_kN": 1.1 * f, "tear_kN": 60.0, "blankholder_kN": 9.0 / k, "height_min_mm": 29.0,
         "height_max_mm": 31.0, "wrinkle_mm": 0.01}
        for k, kind, m, f in ((1, "draw", 14.2, 40.0), (2, "redraw", 8.1, 22.0))
    ]  # fmt: skip
    values = {
        "draws": rows,
        "why_none": None,
        "limiting": 2,
        "why": "Draw 2 limits.",
        "proposal": {"ratios": [1.7, 1.33], "diameters": [58.84], "loads": [0.6, 0.7]},
        "blank_diameter": 100.0,
        "planned": 2,
        "stopped": None,
    }
    return Result(
        values=values, tables={"press_curve": curve, **profile}, arrays={"frame_draw": np.array([1, 1, 2, 2], dtype=np.int32), "frame_stroke": np.array([0.0, DEPTH, 0.0, DEPTH])},
        series={"sheet": FieldSeries(np.arange(4) * 0.1, points.astype(np.float32), triangles, {}, cell)},
    )  # fmt: skip


def graph(*, round_part: bool = True) -> Graph:
    """The stages that these pages read, and their own."""

    def stage(name, title, needs, work, inputs=lambda job: Nothing(), slow=False):
        return Stage(name, title, 1, ("watch",), needs, inputs, work, slow=slow)

    return Graph([
        stage("part", "Part", (), work_part), stage("sheet", "Sheet", (), work_sheet), stage("press", "Press", (), work_press), stage("faces", "Faces", ("part",), faces), stage("details", "Details of the faces", ("faces",), details), stage("cad", "The faces as CAD", ("faces",), cad, slow=True),
        stage("draws", "Draws", ("part",), draws if round_part else no_draws), stage("draws_tryout", "Tryout of the draws", ("draws",), draws_tryout, slow=True), stage("proposal", "Proposal", ("press",), proposal, slow=True),
        stage("tryout", "Tryout", ("faces", "press", "sheet"), work_tryout, read_tryout, slow=True), stage("compensation", "Compensation", ("faces",), compensation, slow=True),
    ])  # fmt: skip


GRAPH = graph()
OPENED = 2 * OPENING  # of the punch [mm]

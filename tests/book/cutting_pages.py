"""Results in the form of docs/design/stages.md for the pages Cutting and Press plan: a drawn cup by formula, cut round its flange and in its bottom."""

from __future__ import annotations

import numpy as np
from drawn_cup import DEPTH, R0, T0, Nothing, disc, drawn, work_faces
from synthetic import work_part, work_press, work_sheet

from diewright.geometry import FieldMesh, TriMesh
from diewright.job.findings import Finding, Place
from diewright.job.graph import Graph
from diewright.job.stage import Result, Stage

EDGE, HOLE = 35.5, 6.0  # radii of trim line and hole [mm]
RIM = float(np.hypot(*drawn(disc()[0], DEPTH)[-1, :2]))
PIECES = 4
LEAN = 12.5
ANGLE = np.linspace(0, 2 * np.pi, 120, endpoint=False)
EVENTS = [
    ("slide at the top", 0.0, 0.0, 160.0), ("feeding must be over", 80.0, 0.44, 90.0), ("pad touches, trim", 150.0, 0.83, 9.0), ("trim begins", 155.0, 0.86, 6.0), ("trim is through", 170.0, 0.94, 1.0),
    ("bottom", 180.0, 1.0, 0.0), ("steels leave the sheet, trim", 205.0, 1.14, 6.0), ("pad leaves the sheet, trim", 210.0, 1.17, 9.0), ("feeding may begin", 280.0, 1.56, 90.0), ("upper ejector knocks out", 330.0, 1.83, 140.0),
]  # fmt: skip


def ring(radius: float, z: float, n: int = 120) -> np.ndarray:
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.column_stack([radius * np.cos(a), radius * np.sin(a), np.full(n, z)])


def blank(inputs, upstream, files, watch):
    return Result(
        values={"area": np.pi * R0**2, "perimeter": 2 * np.pi * R0, "bbox": [2 * R0, 2 * R0]}, arrays={"outline": ring(R0, 0.0)[:, :2]}
    )


def trim(inputs, upstream, files, watch):
    flat, triangles = disc()
    mesh = TriMesh(drawn(flat, DEPTH), triangles)
    out = (np.hypot(*mesh.centroids[:, :2].T) > EDGE).astype(float)
    cuts = [
        {"id": name, "kind": kind, "operation": operation, "direction": way, "cam_deg": cam, "from_horizontal_deg": 90.0 - cam, "length_mm": 2 * np.pi * r, "closed": True, "lean_max_deg": lean, "lean_at": [r, 0.0, z],
         "lean_straight_deg": lean, "thickness_min": 0.78, "thickness_max": 0.84, "thickness_known": 1.0, "diameter": 2 * r if kind == "pierce" else None, "area_mm2": np.pi * r * r, "cams": []}
        for name, kind, operation, way, cam, r, z, lean in (("edge", "trim", "first trim", [0.0, 0.0, -1.0], 0.0, EDGE, 0.0, LEAN), ("hole_1", "pierce", "second trim", [0.0, 0.5, -np.sqrt(0.75)], 30.0, HOLE, -DEPTH, 2.0))
    ]  # fmt: skip
    arrays = {"rim": ring(RIM, 0.0), "rim_flat": ring(R0, 0.0)[:, :2]}
    for name, r, z, lean in (("edge", EDGE, 0.0, LEAN), ("hole_1", HOLE, -DEPTH, 2.0)):
        arrays |= {
            f"cut_{name}": ring(r, z),
            f"lean_{name}": lean * (0.5 + 0.5 * np.cos(ANGLE)),
            f"thickness_{name}": 0.81 + 0.03 * np.sin(ANGLE),
            f"flat_{name}": ring(1.1 * r, 0.0)[:, :2],
        }
    finding = Finding(
        key="trim.lean.edge",
        severity="attend",
        sentence="The sheet leans by 12.5 deg under the steel of the edge.",
        value=LEAN,
        limit=10.0,
        unit="deg",
        place=Place(points=((EDGE, 0.0, 0.0),), label="edge"),
    )
    values = {"cuts": cuts, "operations": [], "left_out": {"hole_9": "it lies off the sheet"}, "not_mapped": {}, "limits": {"care": 10.0, "most": 30.0, "knife": 5.0, "web": 1.6}, "thickness": T0}  # fmt: skip
    return Result(
        values=values,
        findings=(finding,),
        arrays=arrays,
        meshes={"drawn": FieldMesh(mesh, {}, {"thickness": np.full(len(triangles), T0), "lean_deg": 10 * out, "scrap": out, "zone": out})},
    )


def force(peak: float) -> dict[str, np.ndarray]:
    s = np.linspace(0, 2.0, 201)
    flat = peak * np.clip(s / 0.1, 0, 1) * (s < 0.5)
    return {"stroke_mm": s, "flat_kN": flat, "sheared_kN": 0.5 * peak * np.clip(s / 0.2, 0, 1) * (s < 1.0)}


def cutting(inputs, upstream, files, watch):
    def row(name, kind, operation, r, flat):
        round_hole = kind == "pierce"
        return {
            "id": name, "kind": kind, "operation": operation, "length_mm": 2 * np.pi * r, "wall_mm2": 190.0, "thickness": T0, "clearance_mm": 0.05, "sharp_kN": flat / 1.2, "flat_kN": flat, "sheared_kN": flat / 2, "work_J": 30.0,
            "shear_depth_mm": 0.5, "group": 0, "burr_side": "lower", "burr_mm": 0.047, "burr_seen": not round_hole, "rollover_pct": [4.0, 7.0], "burnish_pct": [36.0, 56.0], "fracture_pct": [37.0, 60.0],
            "tool": "post to the line, trim steel larger by the clearance", "punch_mm": 12.043 if round_hole else None, "die_mm": 12.139 if round_hole else None, "slug_mm": 12.139 if round_hole else None, "paired": True if round_hole else None,
        }  # fmt: skip

    stripper = {"of": "first trim", "force_kN": 9.0, "centre": [0.0, 0.0], "work_mm": 5.5, "springs": "coil spring, heavy, 25 x 51", "count": 6, "preload_mm": 4.6, "preload_kN": 9.0, "end_kN": 18.0, "life_share": 0.87, "places": [], "off_mm": 0.4}  # fmt: skip
    operation = {
        "name": "first trim", "cuts": ["edge"], "flat_kN": 60.0, "sheared_kN": 30.0, "slide_kN": 41.0, "touch_height_mm": 3.0, "work_J": 30.0, "energy_limit_J": None, "use_pct": 6.5, "use_height_mm": 3.0, "released_kN": 25.0,
        "reverse_kN": 12.5, "reverse_pct": 2.0, "centre": [0.0, 0.0, 0.0], "press_centre": [0.0, 0.0], "off_mm": 0.0, "tilt_kNm": 0.0, "thrust_kN": 0.1, "strippers": [stripper],
    }  # fmt: skip
    n = 201
    whole = {
        **force(60.0),
        "height_above_bottom_mm": 3.0 - np.linspace(0, 2.0, n),
        "pad_kN": np.linspace(9, 14, n),
        "capacity_kN": np.full(n, 630.0),
    }
    whole |= {"slide_kN": whole["sheared_kN"] + whole["pad_kN"], "centre_x_mm": np.full(n, np.nan), "centre_y_mm": np.full(n, np.nan)}
    one = np.array([1.0])
    punch = {
        "cut": one, "diameter_mm": 12 * one, "narrowest_mm": 12.043 * one, "smallest_allowed_mm": 0.4 * one, "punch_mm": 12.043 * one, "punch_tolerance_mm": 0.011 * one, "die_mm": 12.139 * one, "die_tolerance_mm": 0.018 * one,
        "force_kN": 7.0 * one, "stress_MPa": 61.0 * one, "length_mm": 80 * one, "free_mm": 56 * one, "longest_free_mm": 700 * one, "buckling_kN": 150 * one, "slenderness": 18 * one, "safety": 21.4 * one, "shank_mm": 16 * one,
        "head_mm": 19 * one, "head_MPa": 25 * one, "button_mm": 25 * one, "land_mm": 3 * one, "relief_mm": 0.5 * one, "taper_deg": 0.5 * one, "slugs_in_land": np.nan * one,
    }  # fmt: skip
    cuts = [row("edge", "trim", "first trim", EDGE, 60.0), row("hole_1", "pierce", "second trim", HOLE, 7.0)]
    values = {"metal": {"family": "steel", "shear_MPa": 240.0}, "visible": "lower", "cuts": cuts, "operations": [operation], "heaviest": "first trim", "punches": ["hole_1"], "webs": [{"between": ["edge", "hole_1"], "mm": 32.0, "over_thickness": 40.0, "at": [20.0, 0.0, 0.0]}], "cautions": ["Punches are sharp."]}  # fmt: skip
    frame = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]])
    arrays = {f"frame_{c}": frame for c in ("edge", "hole_1")}
    return Result(values=values, tables={"force": whole, "force_operation_1": whole, "force_edge": force(60.0), "force_hole_1": force(7.0), "cuts": {}, "punches": punch, "springs": {}}, arrays=arrays)  # fmt: skip


def scrap(inputs, upstream, files, watch):
    """Four quarters of the ring and the slug; the third piece is hooked."""
    arrays, way = {}, []
    for k in range(PIECES):
        a = np.linspace(k, k + 1, 20) * 2 * np.pi / PIECES
        outline = np.concatenate([np.column_stack([r * np.cos(b), r * np.sin(b), 0 * b]) for r, b in ((EDGE, a), (RIM, a[::-1]))])
        arrays[f"piece_{k + 1}"] = outline
        way.append(np.nan if k == 2 else 45.0 + 90.0 * k)
        body = np.concatenate([np.column_stack([r * np.cos(b), -r * np.sin(b)]) for r, b in ((EDGE, a), (EDGE + 40, a[::-1]))])
        arrays[f"steel_{k + 1}"] = body
    arrays["piece_5"] = ring(HOLE, -DEPTH)
    nan = np.nan
    pieces = {
        "piece": np.arange(1.0, 6.0), "slug": np.array([0, 0, 0, 0, 1.0]), "cut": np.array([0, 0, 0, 0, 1.0]), "area_mm2": np.full(5, 300.0), "mass_kg": np.full(5, 0.0019), "length_mm": np.full(5, 61.0), "width_mm": np.full(5, 20.0),
        "across_mm": np.full(5, 63.0), "height_mm": np.full(5, 0.8), "free_deg": np.array([90, 90, 0, 90, nan]), "between_deg": np.array([90, 90, 0, 90, nan]), "way_deg": np.array([*way, nan]), "run_mm": np.array([150, 150, nan, 150, nan]),
        "needed_mm": np.array([87, 87, nan, 87, nan]), "chute_deg": np.array([35, 35, nan, 35, 90.0]),
    }  # fmt: skip
    a = np.arange(PIECES) * np.pi / 2
    choppers = {"cut": 0 * a, "x_mm": EDGE * np.cos(a), "y_mm": EDGE * np.sin(a), "z_mm": 0 * a, "end_x_mm": RIM * np.cos(a), "end_y_mm": RIM * np.sin(a), "end_z_mm": 0 * a, "way_mm": EDGE * a, "width_mm": 0 * a + 5, "turn_deg": 0 * a, "lean_deg": 0 * a}  # fmt: skip
    steels = {"steel": np.arange(1.0, 5.0), "cut": 0 * a, "upper": 0 * a + 1, "edge_mm": 0 * a + 59.7, "width_mm": 0 * a + 40, "height_mm": 0 * a + 50, "force_kN": 0 * a + 15, "thrust_kN": 0 * a + 3, "screws": 0 * a + 2, "screw_mm": 0 * a + 10, "dowels": 0 * a + 2, "dowel_mm": 0 * a + 10, "key": 0 * a, "mass_kg": 0 * a + 1.6}  # fmt: skip
    joints = {"cut": 0 * a, "across_1_mm": EDGE * np.cos(a), "across_2_mm": -EDGE * np.sin(a), "way_mm": EDGE * a, "radius_mm": 0 * a + EDGE, "chopper_mm": 0 * a + 12}  # fmt: skip
    values = {
        "pieces": PIECES, "slugs": ["hole_1"], "choppers": PIECES, "scrap_kg": 0.0095, "fall": 3, "hooked": [3], "held": [], "piece_max": 250.0, "chute_width": 90.0, "drop_height": 120.0, "rings": [], "bare": {}, "unknown": {}, "thinnest": {"edge": 4.2},
        "section": {"height": 50.0, "width": 40.0, "screw": "M10", "dowel": 10.0}, "steel": {"number": "1.2842", "name": "90MnCrV8", "hardness": "58 to 60 HRC", "why": "soft sheet and few parts"}, "steels": 4, "steels_kg": 6.4, "joints": 4, "cuts": ["edge", "hole_1"],
        "cautions": ["Scrap has knife edges."],
    }  # fmt: skip
    finding = Finding(key="scrap.hooked.3", severity="stop", sentence="Piece 3 is hooked on the post.")
    return Result(values=values, findings=(finding,), tables={"pieces": pieces, "choppers": choppers, "steels": steels, "joints": joints}, arrays=arrays, files={"cutting.dxf": b"0\nEOF\n", "steels.csv": b"steel\n1\n"})  # fmt: skip


def developed(inputs, upstream, files, watch):
    rows = {"run": np.arange(2.0), "blank": np.array(["as it stands", "developed"]), "max_mm": np.array([1.9, 0.4]), "rms_mm": np.array([0.8, 0.2]), "over_mm": np.array([1.9, 0.4]), "short_mm": np.array([0.3, 0.1]), "area_mm2": np.array([7854.0, 7700.0]), "moved_mm": np.array([np.nan, 1.4])}  # fmt: skip
    holes = [{"id": "hole_1", "wanted": [0.0, 0.0, -DEPTH], "flat": [0.5, -0.25], "flat_size": [11.8, 11.8], "one_step_off_mm": 0.3, "springback_mm": 0.02, "springback": [0.0, 0.0, 0.02]}]  # fmt: skip
    values = {
        "runs": 2,
        "best": 1,
        "holes": holes,
        "reached": True,
        "after_max_mm": 0.4,
        "take_over": {"fields": {"blank.trim_allowance": 0.0}, "files": {}},
    }
    return Result(
        values=values, tables={"iterations": rows}, arrays={"outline": ring(0.97 * R0, 0.0)[:, :2]}, files={"developed.dxf": b"0\nEOF\n"}
    )


def bends(inputs, upstream, files, watch):
    bend = {
        "number": 1, "name": "rear flange", "flange": 1, "kind": "bend", "method": "wipe", "line": "straight", "angle_deg": 90.0, "radius_mm": 2.0, "length_mm": 60.0, "leg_mm": 12.0, "other_leg_mm": None, "rolling_deg": 90.0, "opening_mm": 6.0, "k_share": 0.4,
        "arc_mm": 3.6, "deduction_mm": 2.1, "flat_leg_mm": 11.0, "developed_mm": None, "force_kN": 5.5, "hem_kN": None, "least_radius_mm": 0.8, "radius_source": "DIN 6935", "least_leg_mm": 4.0, "outer_strain_pct": 16.7, "left_share": 0.98, "springback_deg": 1.3,
        "tool_angle_deg": 91.3, "tool_radius_mm": 1.97, "radius_ratio": 1.02, "line_radius_mm": None, "edge_strain_pct": None, "hole_mm": 14.0, "steps": [],
    }  # fmt: skip
    s = np.linspace(0, 10, 30)
    curve = {
        "stroke_mm": s,
        "height_above_bottom_mm": 10 - s,
        "force_kN": 5.5 * np.exp(-(((s - 4) / 2) ** 2)),
        "capacity_kN": np.full(30, 630.0),
    }
    operation = {"name": "flange", "bends": [1], "force_kN": 5.5, "touch_height_mm": 10.0, "work_J": 20.0, "use_pct": 0.9}
    return Result(
        values={"bends": [bend], "operations": [operation], "left_out": [], "neutral": "din", "cautions": ["Bent edges are sharp."]}, tables={"force_operation_1": curve},
    )  # fmt: skip


def plan(inputs, upstream, files, watch):
    def station(number, operation, kind):
        return {
            "station": number, "name": operation, "operations": [operation], "why": "", "stated": False, "how": {operation: "force curves of the stage cutting"}, "force_flat_kN": 60.0, "force_kN": 48.0, "slide_kN": 55.0, "lowered_pct": 20.0,
            "steps": [{"piece": "hole_1", "steps": 2}], "touch_height_mm": 6.0, "press": f"{kind.capitalize()} 630 kN", "press_kind": kind, "press_kN": 630.0, "presses_that_serve": 5, "share_pct": 8.7, "share_height_mm": 3.0, "work_J": 50.0,
            "rate_per_min": 30.0, "feed_height_mm": 90.0, "window_deg": 160.0, "window_s": 0.89, "period_s": 10.0 * number, "parts_per_hour": 288.0 / number, "checks": [{"key": "bed", "level": "ok", "sentence": "It fits."}],
            "events": [{"event": e, "angle_deg": a, "time_s": t, "slide_mm": h} for e, a, t, h in EVENTS],
        }  # fmt: skip

    a = np.arange(361.0)
    slide = 80.0 * (1 + np.cos(np.radians(a)))
    turn = {"angle_deg": a, "time_s": a / 180.0, "slide_mm": slide, "speed_mm_s": 80 * np.sin(np.radians(a)) * np.pi}
    h = np.linspace(6, 0, 80)
    load = {"stroke_mm": 6 - h, "height_above_bottom_mm": h, "flat_kN": 60 * np.exp(-((h - 5) ** 2)), "force_kN": 48 * np.exp(-(((h - 4.5) / 1.5) ** 2)), "slide_kN": 55 * np.exp(-(((h - 4.5) / 1.5) ** 2)), "capacity_kN": np.full(80, 630.0)}  # fmt: skip
    tables = {"cycle": turn}
    for n in ("1", "2"):
        tables |= {f"cycle_{n}": turn, f"load_{n}": load}
    values = {
        "feed": "hand", "operations": [], "stations": [station(1, "trim", "crank"), station(2, "pierce", "hydraulic")], "transfer": None, "cycle_of": 1, "unclaimed": [], "parts": 1, "compound": {"possible": False, "why": "the wall is too thin"},
        "parts_per_hour": 144.0, "slowest": "pierce", "safety": {"stop_time_s": 0.2, "curtain_mm": 400.0, "two_hand_mm": 570.0, "us_mm": 320.0, "trip_mm": None}, "cautions": ["Guard the point of operation."],
    }  # fmt: skip
    return Result(values=values, tables=tables)


def graph() -> Graph:
    """The stages that these pages read."""

    def stage(name, title, needs, work, slow=False):
        return Stage(name, title, 1, ("watch",), needs, lambda job: Nothing(), work, slow=slow)

    return Graph([
        stage("part", "Part", (), work_part), stage("sheet", "Sheet", (), work_sheet), stage("press", "Press", (), work_press), stage("blank", "Blank", (), blank), stage("faces", "Faces", ("part",), work_faces),
        stage("trim", "Cut lines", ("faces",), trim), stage("developed", "Developed blank", ("trim",), developed, slow=True), stage("cutting", "Cutting", ("trim", "press"), cutting), stage("scrap", "Scrap and steels", ("cutting",), scrap),
        stage("bends", "Bends", ("press",), bends), stage("plan", "Press plan", ("cutting", "bends"), plan),
    ])  # fmt: skip


GRAPH = graph()

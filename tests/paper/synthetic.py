"""A job of made-up results in the form of docs/design/stages.md, so that the print is tested without CAD and solvers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.desk import Desk
from diewright.errors import SolveError
from diewright.geometry import FieldMesh, TriMesh
from diewright.job import file as job_file
from diewright.job.findings import Figure, Finding, Place
from diewright.job.graph import Graph
from diewright.job.stage import Result, Stage

LONG, WIDE, DEPTH = 320.0, 210.0, 42.0


class Read(BaseModel):
    model_config = ConfigDict(frozen=True)
    thickness: float
    friction: float


def _inputs(job):
    return Read(thickness=job.sheet.thickness, friction=job.blank.friction)


def _grid(nx: int = 90, ny: int = 60) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.linspace(-LONG / 2, LONG / 2, nx), np.linspace(-WIDE / 2, WIDE / 2, ny))
    flat = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    i = (np.arange(ny - 1)[:, None] * nx + np.arange(nx - 1)).ravel()
    triangles = np.concatenate([np.column_stack([i, i + 1, i + nx + 1]), np.column_stack([i, i + nx + 1, i + nx])])
    return flat, triangles.astype(np.int32)


def pan() -> tuple[TriMesh, TriMesh]:
    """A drawn pan with a flange, and its flat blank."""
    flat, triangles = _grid()
    q = np.maximum(np.abs(flat[:, :2]) - np.array([LONG / 2 - 75, WIDE / 2 - 75]), 0.0)
    inside = 25.0 - np.hypot(*q.T)
    s = np.clip((inside + 14.0) / 22.0, 0.0, 1.0)
    z = -DEPTH * s * s * (3 - 2 * s)
    formed = flat.copy()
    formed[:, :2] *= 0.94
    formed[:, 2] = z
    return TriMesh(formed, triangles), TriMesh(flat, triangles)


PAN, FLAT = pan()


def work_part(inputs, upstream, files, watch):
    return Result(
        values={
            "format": "STEP", "unit": "mm", "unit_source": "file", "kind": "solid sheet", "skin": "upper, seen against the press direction", "thickness_found": 0.8,
            "bodies": 1, "faces": 34, "bbox": [[-150.4, -98.7, -42.0], [150.4, 98.7, 0.0]],
            "audit": [{"what": "gap between two faces closed", "severity": "repaired", "count": 2, "where": "faces 12 and 13"}],
            "holes": [{"id": 1, "centre": [0, 0, -42], "axis": [0, 0, 1], "perimeter": 37.7, "diameter": 12.0, "round": True, "area": 113.1}],
            "mesh": {"triangles": 10502, "points": 5400, "edge_min": 0.61, "edge_median": 3.42, "edge_max": 5.9, "quality_min": 0.52, "chord_error": 0.05},
        },
        findings=(Finding(key="part.gap", severity="note", sentence="Two faces did not meet and were closed over 0.02 mm.", value=0.02, limit=0.05, unit="mm", source="common practice"),),
        meshes={"part": FieldMesh(PAN, {}, {"face": np.zeros(len(PAN.triangles), dtype=np.int64)})},
    )  # fmt: skip


def work_tipping(inputs, upstream, files, watch):
    normals = PAN.normals
    draft = np.degrees(np.arcsin(np.clip(np.abs(normals[:, 2]), 0, 1)))
    return Result(
        values={
            "direction": [0.0, 0.0, -1.0], "rotation": np.eye(3).tolist(), "shift": [0.0, 0.0, 0.0], "chosen": "auto", "depth": DEPTH, "plan_bbox": [[-150.4, -98.7], [150.4, 98.7]],
            "candidates": [{"direction": [0, 0, -1], "undercut_share": 0.0, "depth": 42.0, "balance": 0.98, "score": 0.91, "why": "no undercut, least depth"},
                           {"direction": [0, 0, 1], "undercut_share": 0.31, "depth": 42.0, "balance": 0.97, "score": 0.22, "why": "walls undercut"}],
            "developed_area": 71234.5, "undercut_area": 0.0, "undercut_regions": [], "draft_min_deg": 12.4, "radius_concave_min": 6.2, "radius_convex_min": None,
            "volume": 56987.6, "mass_kg": 0.447, "round": {"is_round": False, "diameter": None, "axis": None}, "draw_ratio": None,
        },
        figures=(Figure(key="depth", label="Depth of draw", value=DEPTH, unit="mm", formula="h = max(z) - min(z)", inputs={"z": ("all points", "")}, source="geometry", confidence="exact geometry"),),
        findings=(Finding(key="tipping.radius", severity="attend", sentence="The least hollow radius is small for this thickness.", value=6.2, limit=6.4, unit="mm",
                          source="common practice: 8 t", help="Enlarge the radius, or restrike it in a second operation.", place=Place(points=((-70.0, -20.0, -40.0),), label="rear left corner")),),
        meshes={"part": FieldMesh(PAN, {"depth": -PAN.points[:, 2], "radius": np.full(len(PAN.points), 20.0)}, {"draft_deg": draft, "undercut": np.zeros(len(draft), dtype=np.int64)})},
    )  # fmt: skip


def work_sheet(inputs, upstream, files, watch):
    e = np.linspace(0, 2, 401)
    minor = np.linspace(-0.6, 0.6, 241)
    t = np.linspace(0, 2 * np.pi, 181)
    a, b = np.cos(t) * np.sqrt(2.6), np.sin(t) * np.sqrt(2 / 3.2)
    angle = np.linspace(0, 90, 91)
    return Result(
        values={
            "sheet": {"name": "DC04", "sources": {"E": "EN 10130, general", "Rp02": "EN 10130, table 2", "Rm": "EN 10130, table 2", "r90": "EN 10130, table 2"}},
            "hardening": {"law": "swift", "parameters": {"K": 520.3, "e0": 0.0071, "n": 0.221}, "text": "s = K (e0 + e)^n"}, "yield_surface": {"kind": "hill48", "parameters": {}},
            "anisotropy": {"F": 0.3, "G": 0.34, "H": 0.66, "N": 1.4, "r0": 1.9, "r45": 1.4, "r90": 2.1, "rbar": 1.7, "delta_r": 0.6},
            "limit": {"kind": "keeler-brazier", "flc0": 0.31, "text": "Keeler and Brazier"}, "fit": None, "E": 210000.0, "nu": 0.3, "density": 7850.0, "Rp02": 180.0, "Rm": 305.0,
            "n": 0.221, "A80": 38.0, "family": "steel",
        },
        tables={
            "hardening": {"strain": e, "stress": 520.3 * (0.0071 + e) ** 0.221},
            "limit": {"minor": minor, "major": 0.31 + np.where(minor < 0, -minor, 0.6 * minor)},
            "yield_locus": {"s11": (a + b) / np.sqrt(2), "s22": (a - b) / np.sqrt(2)},
            "directional": {"angle": angle, "stress_ratio": 1 + 0.03 * np.sin(np.radians(2 * angle)), "r": 1.7 + 0.3 * np.cos(np.radians(4 * angle))},
        },
    )  # fmt: skip


def strains() -> dict[str, np.ndarray]:
    area = PAN.areas / FLAT.areas
    major = 0.42 * np.clip(area - 1, 0, None) + 0.02
    minor = -0.5 * major * np.cos(FLAT.centroids[:, 0] / 40)
    thickness = 0.8 * np.exp(-(major + minor))
    return {
        "major": major, "minor": minor, "thickness": thickness, "thinning_pct": 100 * (1 - thickness / 0.8), "margin_pct": 100 * (np.exp(0.31 + np.abs(minor)) - np.exp(major)),
        "plastic_strain": major, "wrinkle": np.clip(-minor, 0, 1), "angle": np.zeros(len(major)),
    }  # fmt: skip


def work_blank(inputs, upstream, files, watch):
    if inputs.friction > 0.5:
        raise SolveError("the solution did not settle after 60 iterations.", where="blank", help="Lower the friction.")
    cell = strains()
    t = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    power = 0.35
    outline = np.column_stack([
        LONG / 2 * np.sign(np.cos(t)) * np.abs(np.cos(t)) ** power, WIDE / 2 * np.sign(np.sin(t)) * np.abs(np.sin(t)) ** power,
    ])  # fmt: skip
    hole = np.column_stack([6 * np.cos(t), 6 * np.sin(t)])
    return Result(
        values={
            "area": 66120.0, "perimeter": 1012.3, "bbox": [LONG, WIDE], "mass_kg": 0.415, "flange_area": 21400.0, "blankholder_force": 48200.0,
            "iterations": [{"iteration": 1, "residual": 0.9, "step": 4.1}, {"iteration": 23, "residual": 3.2e-7, "step": 2e-6}], "converged": True,
            "margin_min_pct": float(cell["margin_pct"].min()), "thinning_max_pct": float(cell["thinning_pct"].max()), "thickening_max_pct": 4.2, "wrinkle_index_max": 0.4,
            "cut": {"lines": 8, "arcs": 12, "splines": 2, "deviation": 0.04},
        },
        figures=(Figure(key="blankholder", label="Blankholder pressure", value=2.25, unit="MPa", formula="p = 0.0025 [(b0 - 1)^3 + 0.005 D/t] Rm",
                        inputs={"Rm": (305.0, "MPa"), "D": (290.1, "mm"), "t": (0.8, "mm")}, source="Siebel 1954 (from memory)", confidence="band 0.8 to 1.2 of this"),),
        findings=(
            Finding(key="blank.margin", severity="stop", sentence="The margin to necking is below zero at the rear left corner.", value=-3.1, limit=10.0, unit="%",
                    source="stated: margin wanted", help="A larger radius, more draft or less restraint usually helps.", place=Place(points=((-88.0, 61.0, -20.0),), label="rear left corner")),
            Finding(key="blank.thinning", severity="attend", sentence="Thinning is more than wanted.", value=21.3, limit=20.0, unit="%", source="stated: thinning limit"),
        ),
        meshes={"part": FieldMesh(PAN, {}, cell), "flat": FieldMesh(FLAT, {}, cell)},
        arrays={"outline": outline * [(LONG + 10) / LONG, (WIDE + 10) / WIDE], "outline_net": outline, "hole_1": hole},
        files={"blank.dxf": b"0\nEOF\n"},
    )  # fmt: skip


def work_nest(inputs, upstream, files, watch):
    outline = upstream["blank"].arrays["outline"]
    pitch, width = float(np.ptp(outline[:, 1])) + 2.4, float(np.ptp(outline[:, 0])) + 5
    turned = outline[:, ::-1] * [1, -1] + [float(np.ptp(outline[:, 1])) / 2 + 2.5, width / 2]
    layouts = [{"layout": "one-up", "pitch": pitch, "strip_width": width, "angle_deg": 90.0, "web": 2.4, "edge_web": 2.5, "utilisation_pct": 83.4, "parts_per_pitch": 1,
                "coil_kg_per_1000": 498.0, "parts_per_sheet": 0}]  # fmt: skip
    return Result(
        values={"layouts": layouts, "chosen": 0, "web_rule": "web t + 0.01 D (from memory)"},
        arrays={"placed_0": np.stack([turned + np.array([i * pitch, 0.0]) for i in range(4)])},
        files={"nest.dxf": b"0\nEOF\n"},
    )


def work_press(inputs, upstream, files, watch):
    s = np.linspace(0, DEPTH, 61)
    draw = 186.0 * np.sin(np.clip(s / DEPTH * 2.2, 0, np.pi / 2 + 0.8)) ** 1.2
    h = DEPTH - s
    capacity = np.minimum(630.0, 630.0 * 0.5 / np.sqrt(np.clip(h / 130 * (2 - h / 130), 1e-4, None) + 1e-6))
    figures = tuple(
        Figure(key=k, label=label, value=value, unit=unit, formula="F = L t Rm m", inputs={"L": (812.0, "mm"), "t": (0.8, "mm"), "Rm": (305.0, "MPa")}, source="Tschaetsch (from memory)",
               confidence="within about 20 %")
        for k, label, value, unit in (("draw_force", "Draw force", 186_000.0, "N"), ("draw_work", "Draw work", 4820.0, "J"), ("draw_clearance", "Draw clearance", 0.94, "mm"), ("die_radius", "Die radius", 6.4, "mm"))
    )  # fmt: skip
    return Result(
        values={
            "press": {"name": "Crank 630 kN", "kind": "crank single", "force_kn": 630.0, "stroke_mm": 130.0, "strokes_per_minute": [40, 90], "cushion_kn": 60.0, "source": "generic, common practice"},
            "candidates": [{"name": "Crank 400 kN", "fits": False, "why": "the bed is too small"}, {"name": "Crank 630 kN", "fits": True, "why": "force, work and bed suffice"}],
            "draw_sequence": [], "checks": [],
        },
        figures=figures,
        findings=(Finding(key="press.cushion", severity="note", sentence="The cushion is used to 80 %.", value=48_200.0, limit=60_000.0, unit="N", source="press table"),),
        tables={"force_stroke": {"stroke_mm": s, "height_above_bottom_mm": h, "draw_kN": draw, "blankholder_kN": np.full(61, 48.2), "capacity_kN": capacity}},
    )  # fmt: skip


def graph() -> Graph:
    def stage(name, title, needs, work):
        return Stage(name, title, 1, ("watch",), needs, _inputs, work)

    return Graph([
        stage("part", "Part", (), work_part), stage("tipping", "Tipping", ("part",), work_tipping), stage("sheet", "Sheet", (), work_sheet),
        stage("blank", "Blank", ("tipping", "sheet"), work_blank), stage("nest", "Nest", ("blank", "sheet"), work_nest), stage("press", "Press", ("tipping", "sheet", "blank"), work_press),
    ])  # fmt: skip


def folder_with(folder: Path, **job: dict) -> Path:
    """A job folder."""
    about = {"title": "Pan of a test", "number": "T-17", "revision": "B", "drawn_by": "A. Draughter", "quantity": 12000}
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(
        job_file.text_of({"job": {**about, **job.pop("job", {})}, "sheet": {"thickness": 0.8}, **job}), encoding="utf-8"
    )
    return folder


def desk_in(folder: Path, *, worked: bool = True, **job: dict) -> Desk:
    """A desk over made-up stages, all worked unless ``worked`` is False."""
    desk = Desk(folder_with(folder, **job), graph())
    if worked:
        desk.work()
    return desk

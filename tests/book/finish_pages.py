"""Results for the pages Dip and Plating: a cup really dipped by the stage, and a plated rack by formula in the form of docs/design/stages.md."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "dip"))
sys.path.insert(0, str(Path(__file__).parents[1] / "paper"))
from flood_shapes import cup
from pydantic import BaseModel, ConfigDict

from diewright.desk import Desk
from diewright.finish.dip.stage import STAGE as DIP
from diewright.geometry import FieldMesh, TriMesh
from diewright.job import file as job_file
from diewright.job.findings import Figure, Finding, Place
from diewright.job.graph import Graph
from diewright.job.stage import Result, Stage

COUNT, R, H = 24, 50.0, 40.0
FACETS = COUNT * np.sin(2 * np.pi / COUNT) / (2 * np.pi)  # area of the polygon over that of the circle
FULL_ML = FACETS * np.pi * R**2 * H / 1000.0
SIZE, GAP = 100.0, 40.0


def leaning_ml(degrees: float) -> float:
    """What a cup holds that leans so little that its bottom stays covered (the rim's polygon as a circle)."""
    return float(FACETS * np.pi * R**2 * (H - R * np.tan(np.radians(degrees))) / 1000.0)


class Read(BaseModel):
    model_config = ConfigDict(frozen=True)
    bodies: int = 0
    baths: tuple[str, ...] = ()


def _none(job):
    return Read()


def _rack(job):
    return Read(bodies=len(job.plating.bodies), baths=tuple(x.bath for x in job.plating.layers))


def work_part(inputs, upstream, files, watch):
    return Result(values={"holes": [], "skin": "middle"}, meshes={"part": FieldMesh(cup(count=COUNT))})


def work_tipping(inputs, upstream, files, watch):
    return Result(values={"direction": [0.0, 0.0, -1.0]})


def work_sheet(inputs, upstream, files, watch):
    return Result(values={"density": 7850.0})


def plate(cx: float) -> TriMesh:
    """A square standing in the bath at y = 0."""
    n = 11
    s = np.linspace(-SIZE / 2, SIZE / 2, n)
    x, z = np.meshgrid(s, s)
    i = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    triangles = np.concatenate([np.column_stack([i, i + 1, i + n + 1]), np.column_stack([i, i + n + 1, i + n])])
    return TriMesh(np.column_stack([x.ravel() + cx, np.zeros(n * n), z.ravel()]), triangles.astype(np.int32))


def _box(low, high) -> tuple[np.ndarray, np.ndarray]:
    corners = np.array([[(low, high)[(i >> k) & 1][k] for k in range(3)] for i in range(8)], dtype=float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return corners, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])


def thickness(mesh: TriMesh, cx: float, metal: str, side: str) -> np.ndarray:
    """Thicker towards the edge, half of it on the lower side."""
    out = np.maximum(np.abs(mesh.centroids[:, 0] - cx), np.abs(mesh.centroids[:, 2])) / (SIZE / 2)
    return (10.0 + 30.0 * out**4) * (0.04 if metal == "chromium" else 1.0) * (0.5 if side == "lower" else 1.0)


def work_plating(inputs, upstream, files, watch):
    names = [("chromium" if "chromium" in b else "nickel") for b in inputs.baths]
    middles = (-(SIZE + GAP) / 2, (SIZE + GAP) / 2)
    meshes, rows = {}, []
    for i, cx in enumerate(middles, 1):
        mesh = plate(cx)
        cell = {
            "significant_upper": np.ones(len(mesh.triangles), dtype=np.int8),
            "significant_lower": np.zeros(len(mesh.triangles), dtype=np.int8),
        }
        for k, name in enumerate(names, 1):
            for s, side in enumerate(("upper", "lower")):
                um = thickness(mesh, cx, name, side)
                cell |= {f"{name}_um_{side}": um, f"{name}_current_density_{side}": um / 5.0}
                rows.append({"layer": k, "part": i, "side": s, "min_um": um.min(), "mean_um": um.mean(), "max_um": um.max(), "mean_over_min": um.mean() / um.min() if side == "upper" else np.inf,
                             "min_a_dm2": um.min() / 5, "mean_a_dm2": um.mean() / 5, "max_a_dm2": um.max() / 5, "burnt_pct": 3.0, "starved_pct": 0.0})  # fmt: skip
        meshes[f"part_{i}"] = FieldMesh(mesh, {}, cell)
    bath, anode = ([-220.0, -260.0, -140.0], [220.0, 260.0, 110.0]), ([-60.0, 200.0, -50.0], [60.0, 230.0, 50.0])
    pieces = [(0, *_box(*bath)), (1, *_box(*anode))]
    start = np.cumsum([0, *(len(p) for _, p, _ in pieces)])
    tank = TriMesh(
        np.concatenate([p for _, p, _ in pieces]),
        np.concatenate([t + s for (_, _, t), s in zip(pieces, start[:-1], strict=True)]).astype(np.int32),
    )
    meshes["tank"] = FieldMesh(tank, {}, {"kind": np.concatenate([np.full(len(t), k, dtype=np.int8) for k, _, t in pieces])})
    layers = [
        {"name": n, "bath": b, "title": f"{n.capitalize()} bath", "minimum_um": 12.0 if n == "nickel" else 0.3, "timed": True, "conductivity_s_m": 8.0, "tafel_slope_mv": 100.0, "minutes": 41.0, "current_A": 33.0, "mean_a_dm2": 4.0,
         "voltage_V": 6.5, "energy_kWh": 0.15, "metal_parts_g": 12.0, "metal_thieves_g": 0.0, "min_um": 10.1, "thinnest_um": 10.4, "mean_um": 17.0, "max_um": 39.0, "mean_over_min": 1.7, "short_pct": 8.0, "burnt_pct": 3.0, "starved_pct": 0.0}
        for n, b in zip(names, inputs.baths, strict=True)
    ]  # fmt: skip
    tables = {"parts": {c: np.array([float(r[c]) for r in rows]) for c in rows[0]}}
    if inputs.bodies:
        tables["bodies"] = {
            "layer": np.arange(1.0, len(names) + 1), **{f"{c}_{w}": np.full(len(names), v) for c in ("min_um", "mean_over_min") for w, v in (("without", 1.7), ("with", 1.4))},
        }  # fmt: skip
    burn = Finding(
        key="plating.burn.nickel", severity="attend", sentence="Nickel may burn at the rim.", value=7.8, limit=6.0, unit="A/dm2",
        place=Place(points=((70.0, 0.0, 50.0),), label="part 2 of the rack, tank coordinates"),
    )  # fmt: skip
    return Result(
        values={"parts": 2, "significant_side": "upper", "outer_side": "upper", "bath": [list(b) for b in bath], "anodes": [[list(a) for a in anode]], "layers": layers, "mesh": {"tetrahedra": 1}},
        meshes=meshes, tables=tables, findings=(burn,), figures=(Figure(key="plating.nickel.minutes", label="Time for nickel", value=41.0, unit="min", formula="t = d / (k i)"),),
    )  # fmt: skip


def work_anodes(inputs, upstream, files, watch):
    tried = {
        "distance": [200.0, 160.0, 140.0],
        "span": [120.0, 110.0, 90.0],
        "length": [100.0, 90.0, 80.0],
        "ratio": [1.6, 1.3, 1e6],
        "mean_over_min": [1.7, 1.4, np.nan],
        "max_over_mean": [3.0, 2.2, np.nan],
    }
    return Result(
        values={"tries": 3, "best": 1, "before": 1.6, "after": 1.3, "gain_pct": 18.8, "quality": "coarse", "take_over": {"fields": {"plating.anode_distance": 160.0}, "files": {}}},
        tables={"tried": {k: np.array(v) for k, v in tried.items()}},
    )  # fmt: skip


def _stage(name, title, needs, inputs, work, slow=False):
    return Stage(name, title, 1, ("watch",), needs, inputs, work, slow=slow)


GRAPH = Graph([
    _stage("part", "Part", (), _none, work_part), _stage("tipping", "Tipping", ("part",), _none, work_tipping), _stage("sheet", "Sheet", (), _none, work_sheet), DIP,
    _stage("plating", "Plating", ("tipping",), _rack, work_plating, slow=True), _stage("anodes", "Anode placement", ("tipping",), _none, work_anodes, slow=True),
])  # fmt: skip


def finished_job(folder: Path, **dip) -> Path:
    """The job folder of the cup, mouth down in the bath unless stated otherwise, all worked."""
    job = folder / "cup"
    job.mkdir(parents=True)
    stated = {"job": {"title": "Cup by formula", "number": "T-40"}, "dip": {"directions": 200, "attitude": [0.0, 0.0, -1.0], **dip}}
    (job / "job.toml").write_text(job_file.text_of(stated), encoding="utf-8")
    Desk(job, GRAPH).work(*GRAPH.stages)
    return job

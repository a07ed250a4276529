"""A cup drawn by formula, not by a solver: results in the form of docs/design/stages.md for the pages of the tryout.

A round blank of radius ``R0`` is drawn over a flat punch. At stroke h the middle surface is the shape of least length between punch and die (bottom, nose
arc, straight wall, die arc, flange). A ring of metal lies where the metal inside it has the same volume as before; the thickness follows a stated law.
From that position and thickness the strains are exact: hoop ln(r/s), thickness stated, meridian by constancy of volume.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from pydantic import BaseModel, ConfigDict

sys.path.insert(0, str(Path(__file__).parents[1] / "paper"))
from synthetic import work_part, work_press, work_sheet

from diewright.geometry import FieldMesh, TriMesh
from diewright.job.findings import Finding, Place
from diewright.job.graph import Graph
from diewright.job.series import FieldSeries
from diewright.job.stage import Result, Stage

R0, T0, DEPTH = 50.0, 0.8, 26.0
PUNCH, NOSE, DIE = 27.0, 5.0, 6.0
OPENING = PUNCH + 1.1 * T0
HOLD, DRAW, DWELL = 4, 24, 2


def disc(rings: int = 30, around: int = 72) -> tuple[np.ndarray, np.ndarray]:
    """Flat round blank: points (n, 2), triangles (m, 3)."""
    s = np.linspace(0, R0, rings + 1)[1:]
    a = np.linspace(0, 2 * np.pi, around, endpoint=False)
    points = np.concatenate([[[0, 0]], np.column_stack([np.outer(s, np.cos(a)).ravel(), np.outer(s, np.sin(a)).ravel()])])
    j, k = np.arange(around), (np.arange(around) + 1) % around
    cells = [np.column_stack([np.zeros(around, int), 1 + j, 1 + k])]
    for i in range(rings - 1):
        p, q = 1 + i * around, 1 + (i + 1) * around
        cells += [np.column_stack([p + j, q + j, q + k]), np.column_stack([p + j, q + k, p + k])]
    return points, np.concatenate(cells).astype(np.int32)


def meridian(h: float) -> np.ndarray:
    """The middle surface's meridian (k, 2) of r, z at stroke h, from the middle outward; the flange lies at z = 0."""
    nose, die = NOSE + T0 / 2, DIE + T0 / 2
    a = np.array([PUNCH - NOSE, -h + nose])  # centres of the two arcs
    b = np.array([OPENING + DIE, -die])
    d = b - a
    # the common tangent that goes below the nose's centre and above the die's: an inner tangent
    tilt = np.arctan2(d[1], d[0]) + np.arcsin(min((nose + die) / np.hypot(*d), 1.0))
    t1 = np.linspace(-np.pi / 2, tilt - np.pi / 2, 24)
    t2 = np.linspace(tilt + np.pi / 2, np.pi / 2, 24)
    bottom = np.column_stack([np.linspace(0, a[0], 40)[:-1], np.full(39, -h)])
    first = a + nose * np.column_stack([np.cos(t1), np.sin(t1)])
    second = b + die * np.column_stack([np.cos(t2), np.sin(t2)])
    wall = first[-1] + np.linspace(0, 1, 30)[1:-1, None] * (second[0] - first[-1])
    flange = np.column_stack([np.linspace(b[0], R0 + 5, 120)[1:], np.zeros(119)])
    return np.concatenate([bottom, first, wall, second, flange])


def thickness_strain(s: np.ndarray, h: float) -> np.ndarray:
    """The stated law: thinnest at the nose, thickest at the rim, growing with the stroke."""
    return (h / DEPTH) * (0.11 * (s / R0) ** 3 - 0.17 * np.exp(-(((s - PUNCH) / 5.5) ** 2)))


def drawn(points: np.ndarray, h: float, waves: float = 0.0) -> np.ndarray:
    """Positions (n, 3) of the blank's points at stroke h."""
    if h < 1e-9:
        return np.column_stack([points, np.zeros(len(points))])
    line = meridian(h)
    step = np.diff(line, axis=0)
    area = np.concatenate([[0], np.cumsum(np.pi * (line[1:, 0] + line[:-1, 0]) * np.hypot(*step.T))])
    s = np.linspace(0, R0, 2000)
    flat = 2 * np.pi * s * np.exp(-thickness_strain(s, h))
    used = np.concatenate([[0], np.cumsum((flat[1:] + flat[:-1]) / 2 * np.diff(s))])
    here = np.hypot(*points.T)
    at = np.interp(here, s, used)
    r, z = np.interp(at, area, line[:, 0]), np.interp(at, area, line[:, 1])
    angle = np.arctan2(points[:, 1], points[:, 0])
    share = h / DEPTH * (here / R0) ** 4
    r = r * (1 + 0.012 * np.cos(4 * angle) * share)
    z = z + waves * np.sin(12 * angle) * np.clip((r - OPENING - DIE) / 8, 0, 1)
    return np.column_stack([r * np.cos(angle), r * np.sin(angle), z])


def strains(points: np.ndarray, triangles: np.ndarray, formed: np.ndarray, h: float) -> dict[str, np.ndarray]:
    """Cell fields of the triangles, strains by the gradient of each."""
    rest, now = points[triangles], formed[triangles]
    e = np.stack([rest[:, 1] - rest[:, 0], rest[:, 2] - rest[:, 0]], axis=2)
    g = np.stack([now[:, 1] - now[:, 0], now[:, 2] - now[:, 0]], axis=2) @ np.linalg.inv(e)
    stretch = np.sqrt(np.maximum(np.linalg.eigvalsh(np.swapaxes(g, 1, 2) @ g), 1e-9))
    minor, major = np.log(stretch[:, 0]), np.log(stretch[:, 1])
    third = -(major + minor)
    plastic = np.sqrt(2 / 3 * (major**2 + minor**2 + third**2))
    limit = 0.31 + np.where(minor < 0, -minor, 0.6 * minor)
    return {
        "thickness": T0 * np.exp(third), "thinning_pct": 100 * (1 - np.exp(third)), "major": major, "minor": minor, "plastic_strain": plastic,
        "stress": 520 * (0.007 + plastic) ** 0.22 * (h > 0), "margin_pct": 100 * (np.exp(limit) - np.exp(major)), "wrinkle": np.clip(-minor * 1.4, 0, 1) * (major < 0.15),
    }  # fmt: skip


def face(line: np.ndarray, up: bool, around: int = 72) -> TriMesh:
    """A turned surface of a meridian (k, 2), normals up or down."""
    a = np.linspace(0, 2 * np.pi, around, endpoint=False)
    points = np.concatenate([np.column_stack([r * np.cos(a), r * np.sin(a), np.full(around, z)]) for r, z in line])
    j, k = np.arange(around), (np.arange(around) + 1) % around
    cells = []
    for i in range(len(line) - 1):
        p, q = i * around, (i + 1) * around
        cells += [np.column_stack([p + j, q + j, q + k]), np.column_stack([p + j, q + k, p + k])]
    cells = np.concatenate(cells)
    return TriMesh(points, cells if up else cells[:, ::-1])


def tools() -> dict[str, TriMesh]:
    """Die, punch and blankholder in the closed position."""
    t = np.linspace(np.pi, np.pi / 2, 14)
    q = np.linspace(-np.pi / 2, 0, 14)
    die = np.concatenate(
        [[[OPENING, -DEPTH - 8]], np.column_stack([OPENING + DIE + DIE * np.cos(t), -T0 / 2 - DIE + DIE * np.sin(t)]), [[R0 + 12, -T0 / 2]]]
    )
    z = -DEPTH + T0 / 2
    punch = np.concatenate([[[0.01, z]], np.column_stack([PUNCH - NOSE + NOSE * np.cos(q), z + NOSE + NOSE * np.sin(q)]), [[PUNCH, 12.0]]])
    holder = np.array([[OPENING + 1.0, T0 / 2], [(OPENING + R0) / 2, T0 / 2], [R0 + 12, T0 / 2]])
    return {"die": face(die, up=True), "punch": face(punch, up=False), "blankholder": face(holder, up=False)}


def strokes() -> tuple[np.ndarray, np.ndarray]:
    """Stroke [mm] and number of the operation of each frame."""
    h = np.concatenate([np.zeros(HOLD), DEPTH * np.arange(1, DRAW + 1) / DRAW, np.full(DWELL, DEPTH)])
    return h, np.repeat([0, 1, 2], [HOLD, DRAW, DWELL])


def punch_force(h: np.ndarray) -> np.ndarray:
    """A force curve with its maximum at two thirds of the stroke [kN]."""
    x = np.asarray(h) / DEPTH
    return 61.0 * np.sin(np.pi / 2 * np.minimum(x / 0.66, 1)) * np.where(x > 0.66, 1 - 0.5 * (x - 0.66), 1)


def work_faces(inputs, upstream, files, watch):
    touch = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    return Result(
        values={"kind": "made", "stroke": DEPTH, "clearance": 1.1 * T0, "die_radius": DIE, "punch_radius": NOSE, "holder_gap": T0, "opening_area": np.pi * OPENING**2,
                "notes": ["The blankholder is flat.", "The wall was led out of the part's edge by 8 mm."], "extended": True},
        findings=(Finding(key="faces.radius", severity="note", sentence="The die radius is 7.5 times the thickness.", value=DIE, limit=4.8, unit="mm", source="common practice: 6 t"),),
        meshes={n: FieldMesh(m) for n, m in tools().items()},
        arrays={"trim_line": np.column_stack([40 * np.cos(touch), 40 * np.sin(touch), 0 * touch]), "opening": OPENING * np.column_stack([np.cos(touch), np.sin(touch)]), "die_touch": np.zeros(1)},
    )  # fmt: skip


def work_tryout(inputs, upstream, files, watch):
    flat, triangles = disc()
    h, operation = strokes()
    points = np.stack([drawn(flat, x) for x in h])
    fields = [strains(flat, triangles, p, x) for p, x in zip(points, h, strict=True)]
    cell = {k: np.stack([f[k] for f in fields]) for k in fields[0]}
    flange = np.hypot(points[..., 0], points[..., 1]) > OPENING + DIE
    point = {
        "pressure": np.where(flange, 2.1, 0) * (h > 0)[:, None] + 0.0, "sliding": np.linalg.norm(points - points[:1], axis=2) * flange,
        "wrinkle_height": 0.06 * (h / DEPTH)[:, None] * flange,
    }  # fmt: skip
    names = ["hold", "draw", "dwell"]
    for i, x in enumerate(h):
        watch.step("drawing", i, len(h))
        if watch.looked_at:
            time.sleep(inputs.delay / len(h))
            past = h[: i + 1]
            watch.show("sheet", {
                "points": points[i], "triangles": triangles, "thinning_pct": cell["thinning_pct"][i],
                "curve": np.column_stack([past, punch_force(past), np.full(i + 1, inputs.force)]),
            }, {"operation": names[operation[i]], "stroke_mm": float(x), "stroke_end_mm": DEPTH, "punch_kN": float(punch_force(x)), "blankholder_kN": inputs.force})  # fmt: skip
    s = np.concatenate([np.zeros(5), np.linspace(0, DEPTH, 110), np.full(5, DEPTH)])
    force = punch_force(s)
    work = np.concatenate([[0], np.cumsum((force[1:] + force[:-1]) / 2 * np.diff(s))])  # kN mm = J
    row = np.zeros_like(s)
    last = points[-1]
    inner = np.hypot(*flat[triangles].mean(axis=1).T) < 0.93 * R0
    used = np.unique(triangles[inner])
    renumber = np.zeros(len(flat), dtype=int)
    renumber[used] = np.arange(len(used))
    open_by = np.clip((last[:, 2] + DEPTH) / DEPTH, 0, 1)[:, None] * np.column_stack([last[:, :2] / 80, np.full(len(last), 0.22)])
    end = {k: v[-1] for k, v in cell.items()}

    def sprung(by: float, some: bool) -> FieldMesh:
        d = by * open_by
        if some:
            return FieldMesh(
                TriMesh((last + d)[used], renumber[triangles[inner]]),
                {"displacement": d[used], "displacement_mm": np.linalg.norm(d[used], axis=1)},
                {k: v[inner] for k, v in end.items()},
            )
        return FieldMesh(TriMesh(last + d, triangles), {"displacement": d, "displacement_mm": np.linalg.norm(d, axis=1)}, end)

    worst = int(np.argmin(end["margin_pct"]))
    edge = np.arange(len(flat) - 72, len(flat))
    faces = tools()
    shifts = np.column_stack(
        [0 * h, DEPTH - h + (h == 0) * np.maximum(3.0 - np.arange(len(h)), 0), (h == 0) * np.maximum(6.0 - 2 * np.arange(len(h)), 0)]
    )
    ring = points[-1][edge]
    rubbed = {
        n: {
            "wear": np.exp(-((np.hypot(*m.points[:, :2].T) - OPENING - 3) ** 2) / 40) * 31,
            "pressure_max": np.exp(-((np.hypot(*m.points[:, :2].T) - OPENING - 3) ** 2) / 25) * 84,
        }
        for n, m in faces.items()
    }
    return Result(
        values={
            "operations": [{"name": n, "from": a, "to": b, "steps": c} for n, a, b, c in (("hold", 0, 3, 1200), ("draw", 4, 27, 42000), ("dwell", 28, 29, 900))],
            "tools": ["die", "punch", "blankholder"], "press_work_J": float(work[-1]), "punch_force_max_kN": float(force.max()), "blankholder_force_kN": inputs.force,
            "thinning_max_pct": float(end["thinning_pct"].max()), "margin_min_pct": float(end["margin_pct"].min()), "wrinkle_height_max": 0.06,
            "draw_in": [{"at": (R0 * np.array([np.cos(a), np.sin(a)])).tolist(), "mm": float(R0 - np.hypot(*ring[round(a / (2 * np.pi) * 72) % 72][:2]))} for a in np.radians([0, 45, 90, 135, 180, 225, 270, 315])],
            "penetration_max_share": 0.031, "kinetic_share_max": 0.021, "balance_worst_pct": 0.6, "mass_added_share": 0.0,
            "springback": [{"point": "rim, front", "at": [0.0, -40.0, 0.0], "released_mm": 0.21, "trimmed_mm": 0.34}, {"point": "rim, right", "at": [40.0, 0.0, 0.0], "released_mm": 0.2, "trimmed_mm": 0.31}],
            "mesh": {"triangles": len(triangles), "edge_min": 1.1, "edge_max": 4.4, "how": "graded by the radius of the tool below"}, "stopped": None,
        },
        findings=(
            Finding(key="tryout.margin", severity="attend", sentence="The margin to necking at the punch nose is smaller than wanted.", value=float(end["margin_pct"][worst]), limit=25.0, unit="%",
                    source="stated: margin wanted", help="A larger punch radius or less blankholder force helps.", place=Place(points=(tuple(last[triangles[worst]].mean(axis=0).tolist()),), label="punch nose")),
        ),
        meshes={"drawn": sprung(0.0, False), "released": sprung(0.6, False), "trimmed": sprung(1.0, True), **{n: FieldMesh(m, rubbed[n]) for n, m in faces.items()}},
        series={"sheet": FieldSeries(np.arange(len(h)) * 0.01, points.astype(np.float32), triangles, point, cell)},
        tables={"press_curve": {
            "time": np.linspace(0, 0.29, len(s)), "operation": np.concatenate([np.zeros(5), np.ones(110), np.full(5, 2.0)]), "stroke_mm": s, "height_above_bottom_mm": DEPTH - s, "punch_kN": force,
            "blankholder_kN": np.full(len(s), inputs.force), "kinetic_J": 0.02 * work * np.exp(-s / 8), "internal_J": work * 0.93, "external_J": work, "balance_pct": row + 0.4,
            "centre_x_mm": row + 0.2, "centre_y_mm": row - 0.1, "tilt_kNmm": force * 0.2, "draw_in_max_mm": 9.0 * s / DEPTH,
        }},
        arrays={
            "frame_stroke": h, "frame_operation": operation.astype(float), "tools": shifts, "edge_start": flat[edge], "edge_end": ring,
            "skid": np.stack([last[edge], last[edge] + [0.0, 0.0, 0.01]], axis=1),
        },
    )  # fmt: skip


def work_window(inputs, upstream, files, watch):
    forces = np.array([6.0, 9.0, 14.0, 20.0, 30.0, 44.0, 66.0])
    wrinkles = np.array([7.0, 11.5, 19.0, np.nan, np.nan, np.nan, np.nan])
    tears = np.array([np.nan, np.nan, np.nan, np.nan, np.nan, 21.0, 14.5])
    s = np.linspace(0, DEPTH, 40)
    height = [np.clip(s - (w if np.isfinite(w) else 30), 0, None) * 0.09 + 0.01 * s / f for w, f in zip(wrinkles, forces, strict=True)]
    margin = [36 - 30 * (s / DEPTH) ** 1.5 * (f / 40) ** 0.55 for f in forces]
    runs = {
        "blankholder_kN": forces, "friction": np.full(7, 0.12), "wrinkle_height_mm": np.array([x.max() for x in height]), "wrinkle_at_stroke_mm": wrinkles,
        "margin_pct": np.array([m.min() for m in margin]), "tear_at_stroke_mm": tears, "thinning_pct": 9 + 6 * np.log(forces), "draw_in_mm": 11 - 0.05 * forces,
        "punch_kN": 48 + 0.4 * forces,
    }  # fmt: skip
    return Result(
        values={"wrinkles_below_kN": 17.0, "tears_above_kN": 37.0, "recommended_kN": 25.1, "distance_low_pct": 32.3, "distance_high_pct": 32.2,
                "why": "The middle between wrinkling and tearing, by ratio.", "friction": 0.12},
        findings=(Finding(key="window.width", severity="note", sentence="The window is wide enough to be held in the shop.", value=2.2, limit=1.5, source="common practice"),),
        tables={"runs": runs, **{f"run_{i}": {"stroke_mm": s, "wrinkle_height_mm": height[i], "margin_pct": margin[i]} for i in range(7)}},
    )  # fmt: skip


class Read(BaseModel):
    model_config = ConfigDict(frozen=True)
    force: float
    delay: float = 0.0


def _inputs(job):
    force = job.blank.blankholder_force_kn
    return Read(force=18.0 if force == "auto" else float(force), delay=job.press.strokes_per_minute)  # the rate serves as seconds of work


class Nothing(BaseModel):
    model_config = ConfigDict(frozen=True)


def graph(*, with_tryout: bool = True) -> Graph:
    """The stages that the pages of the tryout read, and those pages' own."""

    def stage(name, title, needs, work, inputs=lambda job: Nothing()):
        return Stage(name, title, 1, ("watch",), needs, inputs, work)

    first = [stage("part", "Part", (), work_part), stage("sheet", "Sheet", (), work_sheet), stage("press", "Press", (), work_press)]
    if not with_tryout:
        return Graph(first)
    return Graph([
        *first, stage("faces", "Faces", ("part",), work_faces), stage("tryout", "Tryout", ("faces", "press", "sheet"), work_tryout, _inputs),
        stage("window", "Blankholder window", ("faces", "sheet"), work_window),
    ])  # fmt: skip


GRAPH = graph()

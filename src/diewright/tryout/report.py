"""From a run of the press to the stage's result: fields, curves, springback, figures, findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import DeskError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.plane_mesh import PlaneMesh
from diewright.job.findings import Figure, Finding
from diewright.job.places import zones
from diewright.job.stage import Result
from diewright.mechanics.forming.run import Outcome
from diewright.mechanics.shell.model import ShellModel
from diewright.tryout.after import Cut, find_cut, release, trim
from diewright.tryout.blank_mesh import BlankLines
from diewright.tryout.edge import EdgeMoves, draw_in, flange_left
from diewright.tryout.fields import Fields, fields_over_time, tool_offsets
from diewright.tryout.findings import WRINKLE, Tried, findings_of
from diewright.tryout.loads import Reserve, against_press, work
from diewright.tryout.loose import flat_faces, loose_regions
from diewright.tryout.press_run import Wanted
from diewright.tryout.reference_points import Laid, choose_supports, readings, stiff_points, three_two_one
from diewright.tryout.setup import OPERATIONS
from diewright.tryout.sheet_law import yield_surface
from diewright.watch import Watch

Floats = NDArray[np.float64]
AFTER_FIRST = 0.1  # of the stroke: before that next to no work has been done and the share of motion says nothing


@dataclass(frozen=True, eq=False)
class Worked:
    """Everything that a run leaves behind."""

    inputs: Any
    upstream: Mapping[str, Result]
    wanted: Wanted
    mesh: PlaneMesh
    flat: TriMesh
    lines: BlankLines
    model: ShellModel
    outcome: Outcome
    how: str
    saved: float | None
    rolling: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class After:
    """Shapes after the press has opened; None where springback was not asked for or did not close (``why``)."""

    cut: Cut
    released: Laid | None
    trimmed: Laid | None
    part: TriMesh | None
    cells: NDArray[np.integer]
    read: list[dict[str, Any]]
    why: str


def press_curve(w: Worked) -> dict[str, Floats]:
    """Columns of ``press_curve``; the force of a tool is what it brings along its way, in kN."""
    c, names = w.outcome.curve, w.model.tools.names
    p, h = names.index("punch"), names.index("blankholder")
    stroke = float(w.upstream["faces"].values["stroke"])
    force = -1e-3 * c["force"][:, :, 2]
    fz = c["force"][:, p, 2]
    loaded = np.abs(fz) > 1.0
    safe = np.where(loaded, fz, 1.0)
    return {
        "time": c["time"], "operation": c["operation"], "stroke_mm": np.maximum(stroke + c["travel"][:, p], 0.0),
        "height_above_bottom_mm": np.maximum(-c["travel"][:, p], 0.0), "punch_kN": force[:, p], "blankholder_kN": force[:, h],
        "kinetic_J": 1e-3 * c["kinetic"], "internal_J": 1e-3 * c["internal"], "external_J": 1e-3 * c["external"], "balance_pct": 100.0 * c["balance"],
        "centre_x_mm": np.where(loaded, c["moment"][:, p, 1] / safe, np.nan), "centre_y_mm": np.where(loaded, c["moment"][:, p, 0] / safe, np.nan),
        "tilt_kNmm": 1e-3 * np.hypot(c["moment"][:, p, 0], c["moment"][:, p, 1]),
    }  # fmt: skip


def report(w: Worked, watch: Watch) -> Result:
    """The stage's result."""
    t, faces, frames = w.inputs.thickness, w.upstream["faces"], w.outcome.frames
    drawn = TriMesh(frames[-1].x, w.flat.triangles)
    cut = find_cut(w.mesh, drawn, w.lines, faces.arrays["trim_line"], float(np.median(np.sqrt(w.mesh.areas / 0.433))))
    # a wall that went over the die radius is what a draw does; marks count on the faces that lie level in the press, within the part
    level = np.abs(drawn.normals[:, 2]) > 0.7
    inside = np.zeros(len(w.flat.points), dtype=bool)
    inside[np.unique(w.flat.triangles[cut.kept & level & ~_under_holder(w, frames[-1].x, frames[-1].travel, drawn)])] = True
    watch.step("strains, margins and marks", 0.0, 1.0)
    surface = yield_surface(w.upstream["sheet"])
    limit = w.upstream["sheet"].tables["limit"]
    got = fields_over_time(
        w.flat, frames, w.model.tools, t, surface, {k: np.asarray(v) for k, v in limit.items()}, faces, w.rolling, inside
    )
    after = _after(w, drawn, cut, watch)
    watch.step("findings", 0.95, 1.0)
    curve = press_curve(w)
    ring = w.mesh.outline_nodes
    edge = draw_in(w.flat.points[ring, :2], drawn.points[ring])
    tried = _tried(w, got, drawn, cut, curve, edge)
    last = {name: v[-1].astype(np.float64) for name, v in got.series.cell.items()}
    points = {name: v[-1].astype(np.float64) for name, v in got.series.point.items()}
    curve["draw_in_max_mm"] = _draw_in_over(w, ring, curve["time"])
    meshes = {"drawn": FieldMesh(drawn, points, last)}
    for name, face in got.wear.items():
        meshes[name] = FieldMesh(faces.meshes[name].mesh, {"wear": face.wear, "pressure_max": face.pressure_max}, {})
    if after.released is not None:
        meshes["released"] = FieldMesh(TriMesh(after.released.points, w.flat.triangles), _moved(after.released), last)
    if after.trimmed is not None and after.part is not None:
        meshes["trimmed"] = FieldMesh(
            TriMesh(after.trimmed.points, after.part.triangles), _moved(after.trimmed), {k: v[after.cells] for k, v in last.items()}
        )  # fmt: skip
    findings = findings_of(tried, w.inputs.margin_wanted) + _after_findings(after)
    return Result(
        values=_values(w, got, after, edge, curve, tried),
        figures=tuple(_figures(w, curve, tried, after, got)),
        findings=tuple(findings),
        meshes=meshes,
        tables={"press_curve": curve},
        arrays={
            "frame_stroke": np.array([np.interp(f.time, curve["time"], curve["stroke_mm"]) if len(curve["time"]) else 0.0 for f in frames]),
            "frame_operation": np.array([f.operation for f in frames], dtype=np.int32), "tools": np.array([-f.travel for f in frames]),
            "edge_start": w.flat.points[ring, :2], "edge_end": drawn.points[ring], "skid": got.skid.segments,
        },
        series={"sheet": got.series},
    )  # fmt: skip


def _moved(laid: Laid) -> dict[str, Floats]:
    return {"displacement": laid.displacement, "displacement_mm": np.linalg.norm(laid.displacement, axis=1), "deviation_mm": laid.normal_mm}


def _after(w: Worked, drawn: TriMesh, cut: Cut, watch: Watch) -> After:
    cells = np.flatnonzero(cut.kept)
    if not w.inputs.springback or w.outcome.stopped is not None:
        return After(cut, None, None, None, cells, [], "" if w.outcome.stopped is None else "the draw broke off")
    m = w.model
    try:
        watch.step("release", 0.3, 1.0)
        free = release(m.patches, m.form(), m.material, m.stations)
        watch.step("trim and springback", 0.6, 1.0)
        part = trim(w.flat, w.inputs.thickness, w.rolling, free, cut.kept, m.material, m.stations)
    except DeskError as error:
        if error.__class__.__name__ == "Cancelled":
            raise
        return After(cut, None, None, None, cells, [], error.what)
    meant = TriMesh(drawn.points[part.nodes], part.patches.conn[:, :3])
    supports = _supports(meant, w.inputs.thickness)
    trimmed = three_two_one(meant, part.form.x[: part.patches.n], supports)
    whole = three_two_one(drawn, free.form.x[: free.patches.n], tuple(int(part.nodes[i]) for i in supports))  # type: ignore[arg-type]
    named = _places(meant, w.inputs.reference_points)
    read = [
        {"point": a.name, "at": list(a.at), "released_mm": b.normal_mm, "trimmed_mm": a.normal_mm, "trimmed_size_mm": a.size_mm}
        for a, b in zip(readings(meant, trimmed, named), readings(drawn, whole, named), strict=True)
    ]
    return After(cut, whole, trimmed, meant, part.kept, read, "")


def _supports(meant: TriMesh, thickness: float) -> tuple[int, int, int]:
    fit = stiff_points(meant, reach=40.0 * thickness)
    return choose_supports(meant, fit if fit.any() else None)


def _places(meant: TriMesh, stated: tuple[tuple[float, float, float], ...]) -> dict[str, tuple[float, float, float]]:
    """Stated points, else the middle and eight places round the part's rim, in the toolmaker's words."""
    if stated:
        return {f"point {i + 1}": p for i, p in enumerate(stated)}
    p = meant.points
    centre = 0.5 * (p[:, :2].min(axis=0) + p[:, :2].max(axis=0))
    half = 0.5 * np.maximum(np.ptp(p[:, :2], axis=0), 1e-9)
    unit = (p[:, :2] - centre) / half
    names = {
        "right": (1, 0), "rear right corner": (1, 1), "rear": (0, 1), "rear left corner": (-1, 1), "left": (-1, 0), "front left corner": (-1, -1),
        "front": (0, -1), "front right corner": (1, -1),
    }  # fmt: skip
    out = {"middle": int(np.argmin((unit**2).sum(axis=1)))}
    for name, d in names.items():
        way = np.array(d) / np.hypot(*d)
        out[name] = int(np.argmax(unit @ way - 0.35 * np.abs(unit @ np.array([-way[1], way[0]]))))
    return {name: (float(p[i, 0]), float(p[i, 1]), float(p[i, 2])) for name, i in out.items()}


def _after_findings(after: After) -> list[Finding]:
    if not after.why:
        return []
    return [
        Finding(
            key="tryout.springback", severity="attend", sentence=f"Springback was not found: {after.why}.".replace("..", "."), source="explicit tryout, then static release",
            help="Look at the drawn shape; a finer mesh or a draw without wrinkles usually closes.",
        )
    ]  # fmt: skip


def _draw_in_over(w: Worked, ring: NDArray[np.integer], time: Floats) -> Floats:
    most = []
    for f in w.outcome.frames:
        every = draw_in(w.flat.points[ring, :2], f.x[ring]).every
        most.append(float(np.nanmax(every)) if np.isfinite(every).any() else 0.0)
    return np.interp(time, [f.time for f in w.outcome.frames], most)


def _tried(w: Worked, got: Fields, drawn: TriMesh, cut: Cut, curve: dict[str, Floats], edge: EdgeMoves) -> Tried:
    t, faces, last = w.inputs.thickness, w.upstream["faces"], w.outcome.frames[-1]
    values = faces.values
    ring = w.mesh.outline_nodes
    offsets = tool_offsets(w.model.tools, last.x, last.travel)
    names = w.model.tools.names
    flange = _under_holder(w, last.x, last.travel, drawn)
    zone = zones(drawn, flange)
    gap_node = offsets[names.index("die")] + offsets[names.index("punch")]
    gap = gap_node[drawn.triangles].min(axis=1)
    height = got.series.point["wrinkle_height"]
    over = _lasting(height.max(axis=1) > WRINKLE * t)
    strokes = np.interp(got.series.times, curve["time"], curve["stroke_mm"]) if len(curve["time"]) else np.zeros(len(got.series.times))
    inner = cut.kept & flat_faces(drawn, 60.0 * t) & ~flange
    cell = got.series.cell
    stroke = float(values["stroke"])
    draw = (curve["stroke_mm"] > AFTER_FIRST * stroke) & (curve["internal_J"] > 0)
    kinetic = curve["kinetic_J"][draw] / curve["internal_J"][draw]
    press = w.upstream["press"]
    figures = {f.key: f.value for f in press.figures}
    deepest = w.outcome.curve["deepest"]
    return Tried(
        mesh=drawn, zone=zone, thickness0=t, margin=cell["margin_pct"][-1].astype(np.float64), thickness=cell["thickness"][-1].astype(np.float64),
        straight=got.straight, bent_share=got.bent_share, wrinkle=height[-1].astype(np.float64),
        wrinkle_stroke=float(strokes[over[0]]) if len(over) else None,
        loose=loose_regions(drawn, cell["major"][-1].astype(np.float64), cell["minor"][-1].astype(np.float64), inner, t),
        gap=gap, press=str((press.values.get("press") or {}).get("name", "")), reserve=_reserve(w, curve),
        punch_kN=float(curve["punch_kN"].max(initial=0.0)), handbook_kN=_kilo(figures.get("draw_force")),
        edge=edge, flange=flange_left(drawn.points[ring], faces.arrays["opening"], float(values.get("die_radius") or 0.0)), edge_at=drawn.points[ring],
        drawn_through=bool(values.get("extended")), skid=got.skid, kinetic=float(kinetic.max(initial=0.0)), balance=_balance(w),
        penetration=float(deepest.max(initial=0.0)), mass=w.model.masses.share, stopped=w.outcome.stopped,
    )  # fmt: skip


def _lasting(over: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Frames from which on it is over until the end."""
    under = np.flatnonzero(~over)
    return np.arange(under[-1] + 1 if len(under) else 0, len(over))


def _under_holder(w: Worked, points: Floats, travel: Floats, drawn: TriMesh) -> NDArray[np.bool_]:
    """Triangles (m,) that lie against the blankholder."""
    offset = tool_offsets(w.model.tools, points, travel)[w.model.tools.names.index("blankholder")]
    return np.asarray(np.isfinite(offset)[drawn.triangles].all(axis=1))


def _kilo(value: float | None) -> float | None:
    return None if value is None else 1e-3 * float(value)


def _balance(w: Worked) -> float:
    """Worst of two [%]: the sum of works over the run (an identity of central differences), and the work done on the sheet against what its stations hold
    at the end (elastic energy and plastic work), which is independent of it; with a back stress only the first."""
    worst = 100.0 * float(np.abs(w.outcome.curve["balance"][-1:]).max(initial=0.0))
    if w.model.material.kinematic or not len(w.outcome.curve["internal"]):
        return worst
    r, internal = w.model.recovered(), float(w.outcome.curve["internal"][-1])
    if internal <= 0:
        return worst
    return max(worst, 100.0 * abs(r.elastic_energy + r.plastic_work - internal) / internal)


def _reserve(w: Worked, curve: dict[str, Floats]) -> Reserve | None:
    press = w.upstream["press"]
    chosen, table = press.values.get("press"), press.tables.get("force_stroke")
    if not chosen or table is None or not len(curve["stroke_mm"]):
        return None
    double = "double" in str(chosen.get("kind", ""))
    need = curve["punch_kN"] + (0.0 if double else curve["blankholder_kN"])
    moving = curve["operation"] == 1
    if not moving.any():
        return None
    return against_press(
        curve["stroke_mm"][moving], curve["height_above_bottom_mm"][moving], need[moving], np.asarray(table["height_above_bottom_mm"]), np.asarray(table["capacity_kN"])
    )  # fmt: skip


def _values(w: Worked, got: Fields, after: After, edge: EdgeMoves, curve: dict[str, Floats], tried: Tried) -> dict[str, Any]:
    cell, last = got.series.cell, w.outcome.frames[-1]
    figures = w.mesh.figures()
    rows = w.outcome.marks
    stroke = float(w.upstream["faces"].values["stroke"])
    return {
        "operations": [{"name": n, "from": float(a), "to": float(b), "steps": int(s)} for n, a, b, s in rows] + _broken(w),
        "tools": list(w.model.tools.names), "stroke": stroke, "press_work_J": work(curve["stroke_mm"], 1000.0 * curve["punch_kN"]),
        "punch_force_max_kN": tried.punch_kN, "blankholder_force_kN": 1e-3 * w.wanted.force, "blankholder_end_kN": 1e-3 * w.wanted.force_end,
        "friction": {"die": w.wanted.friction_die, "punch": w.wanted.friction_punch}, "bead": _bead(w),
        "sag_mm": float((w.flat.points[:, 2] - w.outcome.frames[0].x[:, 2]).max()) if w.wanted.gravity else None,
        "thinning_max_pct": float(cell["thinning_pct"][-1].max()), "thickening_max_pct": float(-cell["thinning_pct"][-1].min()),
        "margin_min_pct": float(tried.margin.min()), "margin_straight_min_pct": float(got.straight.min()), "bent_share": got.bent_share,
        "wrinkle_height_max": float(tried.wrinkle.max()) if tried.wrinkle is not None else None,
        "draw_in": [{"at": list(s.at), "mm": s.mm, "name": s.name} for s in edge.stations],
        "penetration_max_share": tried.penetration, "kinetic_share_max": tried.kinetic, "balance_worst_pct": tried.balance,
        "mass_added_share": tried.mass, "friction_heat_J": 1e-3 * float(w.outcome.curve["heat"][-1]) if len(w.outcome.curve["heat"]) else 0.0,
        "springback": after.read, "springback_max_mm": float(np.abs(after.trimmed.normal_mm).max()) if after.trimmed is not None else None,
        "released_max_mm": float(np.abs(after.released.normal_mm).max()) if after.released is not None else None,
        "supports": [] if after.part is None or after.trimmed is None else [after.part.points[i].tolist() for i in after.trimmed.supports],
        "trim": {"how": after.cut.how, "off_mm": after.cut.off, "triangles": int(after.cut.kept.sum())},
        "mesh": {
            "triangles": int(figures["triangles"]), "points": int(figures["points"]), "edge_min": figures["edge_min"], "edge_median": figures["edge_median"],
            "edge_max": figures["edge_max"], "quality_min": figures["quality_min"], "how": w.how, "saved": w.saved, "notes": list(w.mesh.notes),
        },
        "steps": int(sum(s for *_, s in rows)), "step_s": float(w.model.dt), "stopped": w.outcome.stopped, "stopped_help": w.outcome.help,
        "limit": w.upstream["sheet"].values["limit"]["text"], "travel_end": last.travel.tolist(),
    }  # fmt: skip


def _bead(w: Worked) -> dict[str, Any] | None:
    """The draw bead; its uplift [kN] comes on top of the blankholder force, which is what presses on the flange."""
    b = w.wanted.bead
    if b is None:
        return None
    return {
        "kind": w.inputs.bead_kind, "restraint_N_per_mm": b.restraint, "offset_mm": b.offset, "length_mm": b.length, "pieces": 1 if b.pieces is None else len(b.pieces), "locks": b.locks,
        "thinning_pct": 100.0 * (1.0 - float(np.exp(-b.thinning))), "uplift_kN": None if b.uplift is None else 1e-3 * b.uplift * b.length,
    }  # fmt: skip


def _bead_figures(w: Worked) -> list[Figure]:
    b = w.wanted.bead
    if b is None:
        return []
    if b.uplift is None:
        return [
            Figure(
                key="bead_restraint",
                label="Restraint of the draw bead",
                value=b.restraint,
                unit="N/mm",
                formula="as stated",
                source="the blank page",
            )
        ]
    source = "cross section of the bead, hardening curve of the sheet"
    return [
        Figure(
            key="bead_restraint", label="Restraint of the draw bead", value=b.restraint, unit="N/mm", source=source,
            formula="the bead locks: what the sheet carries in plane strain" if b.locks else "bending and unbending work at each radius, exp(mu theta) along each arc",
            inputs={"thinning on the way through": (100.0 * (1.0 - float(np.exp(-b.thinning))), "%")},
        ),
        Figure(key="bead_uplift", label="Uplift of the draw bead", value=1e-3 * b.uplift * b.length, unit="kN", formula="tension and closing moment of both flanks along the bead; comes on top of the blankholder force, which presses on the flange", source=source),
    ]  # fmt: skip


def _broken(w: Worked) -> list[dict[str, Any]]:
    """The operation in which the run broke off."""
    if w.outcome.stopped is None or not len(w.outcome.frames):
        return []
    began = w.outcome.marks[-1][2] if w.outcome.marks else 0.0
    return [
        {
            "name": OPERATIONS[min(len(w.outcome.marks), len(OPERATIONS) - 1)],
            "from": float(began),
            "to": float(w.outcome.frames[-1].time),
            "steps": 0,
        }
    ]


def _figures(w: Worked, curve: dict[str, Floats], tried: Tried, after: After, got: Fields) -> list[Figure]:
    source = "explicit tryout of this job"
    handbook = tried.handbook_kN
    out = [
        Figure(
            key="punch_force", label="Largest punch force", value=tried.punch_kN, unit="kN", formula="sum of the contact forces on the punch along its way, largest over the stroke", source=source,
            confidence="" if handbook is None else f"the handbook's draw force is {handbook:.3g} kN", inputs={} if handbook is None else {"handbook": (handbook, "kN")},
        ),
        Figure(key="press_work", label="Press work", value=work(curve["stroke_mm"], 1000.0 * curve["punch_kN"]), unit="J", formula="W = integral of punch force over its way", source=source),
        Figure(key="margin", label="Least margin to necking", value=float(tried.margin.min()), unit="%", formula="least distance to the forming limit in major engineering strain, strain path followed", source=source,
               inputs={"straight path": (float(got.straight.min()), "%")}),
        Figure(key="thinning", label="Largest thinning", value=float(got.series.cell["thinning_pct"][-1].max()), unit="%", formula="1 - t/t0", source=source),
    ]  # fmt: skip
    out += _bead_figures(w)
    if after.trimmed is not None:
        out.append(
            Figure(
                key="springback", label="Largest springback after trim", value=float(np.abs(after.trimmed.normal_mm).max()), unit="mm", source="static release of the drawn sheet, laid on three points",
                formula="largest deviation along the normal from the shape in the closed tool",
            )
        )  # fmt: skip
    return out

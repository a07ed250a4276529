"""The stage ``draws_tryout``: the draws of a round cup run one after the other on one sheet, a quarter of it, with everything it has suffered passed on.

The quarter is exact for round tools and a round blank: the sheet's properties are symmetric about the rolling direction and across it, wherever that lies in the press.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.findings import Figure, Finding
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.mechanics.forming.frames import Frame
from diewright.mechanics.forming.run import Curve
from diewright.mechanics.forming.sequence import blank_sheet
from diewright.tryout.draws_findings import Judged, findings_of, limiting, proposal
from diewright.tryout.draws_handbook import SOURCE
from diewright.tryout.draws_mesh import Quarter, edge_for, quarter
from diewright.tryout.draws_read import Reader, force_curve
from diewright.tryout.draws_run import QUARTERS, Drawn, How, work_draw
from diewright.tryout.loads import Reserve, against_press
from diewright.tryout.press_run import lengthened_step
from diewright.tryout.setup import Part
from diewright.tryout.sheet_law import flow_stress, shell_material, yield_surface
from diewright.watch import Watch

SPEED = {"coarse": 10_000.0, "normal": 8_000.0, "fine": 6_000.0}
"""Punch speed in the computation [mm/s]: the share of motion it leaves is in the result."""
FRAMES = 20
"""Pictures a draw."""


class DrawsTryoutInputs(BaseModel):
    """What the stage reads of the job: friction, quality, stations, hardening, thickness [mm], rolling direction [deg], wanted margin [%]."""

    model_config = ConfigDict(frozen=True)
    friction_die: float
    friction_punch: float
    quality: Literal["coarse", "normal", "fine"]
    stations: int
    back_modulus: float
    back_recall: float
    thickness: float
    rolling_direction: float
    margin_wanted: float


def _inputs(job: Job) -> DrawsTryoutInputs:
    t, b = job.tryout, job.blank
    return DrawsTryoutInputs(
        friction_die=b.friction if isinstance(t.friction_die, str) else t.friction_die, friction_punch=b.friction if isinstance(t.friction_punch, str) else t.friction_punch,
        quality=job.draws.quality, stations=t.stations, back_modulus=t.back_modulus, back_recall=t.back_recall,
        thickness=job.sheet.thickness, rolling_direction=job.sheet.rolling_direction, margin_wanted=b.margin_wanted,
    )  # fmt: skip


def work(inputs: DrawsTryoutInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Run the sequence; a part without one says why."""
    draws = upstream["draws"]
    planned: list[dict[str, Any]] = list(draws.values["draws"])
    if not planned:
        why = str(draws.values["why_none"])
        return Result(
            values={"draws": [], "why_none": why},
            findings=(
                Finding(
                    key="draws_tryout.none",
                    severity="note",
                    sentence=why,
                    source="stage draws",
                    help="The tryout of the faces judges a single draw.",
                ),
            ),
        )
    t, blank = inputs.thickness, float(draws.values["blank_diameter"])
    tightest = min(min(float(d["die_radius"]), float(d["punch_radius"])) for d in planned)
    mesh = quarter(blank, float(planned[-1]["diameter"]), edge_for(blank, t, tightest, inputs.quality))
    material = shell_material(upstream["sheet"], back_modulus=inputs.back_modulus, recall=inputs.back_recall)
    how = How(
        t, inputs.friction_die, inputs.friction_punch, flow_stress(upstream["sheet"]), SPEED[inputs.quality], FRAMES,
        0.9 * lengthened_step(mesh.points, mesh.triangles, t, material),
    )  # fmt: skip
    limit = {k: np.asarray(v) for k, v in upstream["sheet"].tables["limit"].items()}
    reader = Reader(mesh, t, yield_surface(upstream["sheet"]), limit, float(upstream["sheet"].values["Rm"]), _flow(upstream["sheet"]))
    sheet = blank_sheet(mesh.points, mesh.triangles, t, material, symmetry="xy", stations=inputs.stations)
    done: list[Drawn] = []
    rows, profiles = [], {}
    for i, draw in enumerate(planned):
        name = f"{draw['kind']} {draw['draw']}"
        shown = Part(watch, name, i / len(planned), (i + 1) / len(planned))
        d = work_draw(sheet, draw, draws, how, shown.watch(), Shown(watch, mesh, draw, name))
        sheet = d.sheet
        done.append(d)
        row = reader.add(d)
        profiles[f"profile_{d.number}"] = reader.profile(d)
        if d.outcome.stopped is None:
            row = reader.with_volume(row, profiles[f"profile_{d.number}"], np.asarray(draws.arrays[f"meridian_{d.number}"]))
        rows.append(row)
        if d.outcome.stopped is not None:
            break
    return _report(inputs, upstream, mesh, reader, done, rows, profiles, how)


def _flow(sheet: Result) -> Callable[[np.ndarray], np.ndarray]:
    strain, stress = (np.asarray(sheet.tables["hardening"][name], dtype=np.float64) for name in ("strain", "stress"))
    return lambda plastic: np.interp(plastic, strain, stress)


class Shown:
    """Live frames for whoever looks: the quarter, and forces of the whole cup."""

    def __init__(self, watch: Watch, mesh: Quarter, draw: Mapping[str, Any], name: str) -> None:
        self._watch, self._mesh, self._draw, self._name = watch, mesh, draw, name

    def __call__(self, frame: Frame, curve: Curve) -> None:
        """Show one frame."""
        if not self._watch.looked_at or not curve.rows:
            return
        c, end = curve.table(), float(self._draw["stroke"])
        stroke = np.maximum(end + c["travel"][:, 1], 0.0)
        force = -1e-3 * QUARTERS * c["force"][:, :, 2]
        holder = force[:, 2] if force.shape[1] > 2 else np.zeros(len(force))
        self._watch.show(
            "sheet",
            {"points": frame.x, "triangles": self._mesh.triangles, "thinning_pct": 100.0 * (1.0 - frame.stretch), "curve": np.column_stack([stroke, force[:, 1], holder])},
            {"operation": self._name, "stroke_mm": float(stroke[-1]), "stroke_end_mm": end, "punch_kN": float(force[-1, 1]), "blankholder_kN": float(holder[-1])},
        )  # fmt: skip


def _reserves(press: Result, done: list[Drawn]) -> dict[int, Reserve]:
    """The press's force diagram against each draw, up to the height that it was drawn for."""
    table, chosen = press.tables.get("force_stroke"), press.values.get("press")
    if table is None or not chosen:
        return {}
    heights, capacity = np.asarray(table["height_above_bottom_mm"]), np.asarray(table["capacity_kN"])
    double = "double" in str(chosen.get("kind", ""))
    out = {}
    for d in done:
        c = force_curve(d)
        known = c["height_above_bottom_mm"] <= heights.max()
        if known.any():
            need = c["punch_kN"] + (0.0 if double else c["blankholder_kN"])
            out[d.number] = against_press(c["stroke_mm"][known], c["height_above_bottom_mm"][known], need[known], heights, capacity)
    return out


def _report(
    inputs: DrawsTryoutInputs, upstream: Mapping[str, Result], mesh: Quarter, reader: Reader, done: list[Drawn], rows: list[dict[str, Any]], profiles: dict[str, dict[str, np.ndarray]], how: How,
) -> Result:  # fmt: skip
    draws, press = upstream["draws"].values, upstream["press"]
    reserves = _reserves(press, done)
    for row in rows:
        row["press_share_pct"] = 100.0 * reserves[row["draw"]].share if row["draw"] in reserves else math.nan
    number, why = limiting(rows, inputs.margin_wanted)
    blank = float(draws["blank_diameter"])
    judged = Judged(
        rows, len(draws["draws"]), inputs.margin_wanted, inputs.thickness, float(draws["part_height"]), blank, str((press.values.get("press") or {}).get("name", "")), reserves
    )  # fmt: skip
    curves = [force_curve(d) for d in done]
    series = reader.series(math.radians(inputs.rolling_direction))
    last = series.frame(-1)
    kept = [k for k in rows[0] if isinstance(rows[0][k], (int, float)) and not isinstance(rows[0][k], bool)]
    values = {
        "draws": [{k: _plain(v) for k, v in row.items()} for row in rows], "why_none": None, "limiting": number, "why": why, "proposal": proposal(rows, blank),
        "blank_diameter": blank, "planned": len(draws["draws"]), "stopped": rows[-1]["stopped"],
        "operations": [{"draw": d.number, "name": n, "from": a, "to": b, "steps": s} for d in done for n, a, b, s in d.outcome.marks],
        "mesh": {"triangles": len(mesh.triangles), "edge": mesh.edge, "rings": len(mesh.radii), "how": "rings of a quarter; a quarter stands for the whole cup"},
        "friction": {"die": how.friction_die, "punch": how.friction_punch}, "speed": how.speed,
    }  # fmt: skip
    return Result(
        values=values, figures=tuple(f for row in rows for f in _figures(row)), findings=tuple(findings_of(judged)),
        meshes={"drawn": FieldMesh(TriMesh(last.mesh.points, last.mesh.triangles), last.point, last.cell)},
        tables={
            "draws": {k: np.array([float(row[k]) for row in rows]) for k in kept}, "press_curve": {k: np.concatenate([c[k] for c in curves]) for k in curves[0]}, **profiles,
        },
        arrays={"frame_draw": np.array(reader.number, dtype=np.int32), "frame_stroke": np.array(reader.strokes), "tools": np.array(reader.travels)},
        series={"sheet": series},
    )  # fmt: skip


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _figures(row: Mapping[str, Any]) -> list[Figure]:
    k, source = row["draw"], "explicit tryout of the draws"
    out = [
        Figure(key=f"margin_{k}", label=f"Draw {k}: margin to necking", value=row["margin_pct"], unit="%", formula="least over the sheet and over all draws so far", source=source),
        Figure(key=f"punch_force_{k}", label=f"Draw {k}: largest punch force", value=row["punch_kN"], unit="kN", formula="largest mean over a hundredth of the stroke", inputs={"F_tear": (row["tear_kN"], "kN")}, source=source),
        Figure(key=f"height_{k}", label=f"Draw {k}: height of the cup", value=row["height_mm"], unit="mm", formula="mean rim over the middle of the bottom", inputs={"h at constant thickness": (row["height_handbook_mm"], "mm"), "lowest": (row["height_min_mm"], "mm"), "highest": (row["height_max_mm"], "mm")}, source=source),
    ]  # fmt: skip
    if math.isfinite(row["handbook_kN"]):
        out.append(
            Figure(
                key=f"handbook_force_{k}",
                label=f"Draw {k}: punch force by the handbook",
                value=row["handbook_kN"],
                unit="kN",
                formula="F = pi d s Rm k(m)",
                inputs={"m": (1.0 / row["ratio_wanted"], "")},
                source=SOURCE,
                confidence="within about 20 %; before ironing",
            )
        )
    return out


STAGE = Stage(
    name="draws_tryout", title="The tryout of the draws", version=1, packages=("tryout", "mechanics", "sheet", "geometry"), needs=("sheet", "press", "draws"), inputs=_inputs, work=work,
    slow=True,
)  # fmt: skip

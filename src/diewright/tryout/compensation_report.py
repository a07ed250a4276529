"""From the runs of the compensation to the stage's result: what is left by iteration, the field, the moved faces, findings."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.shift_field import csv_bytes
from diewright.job.findings import Figure
from diewright.job.stage import Result
from diewright.tryout.compensation_checks import Checked, check_moved
from diewright.tryout.compensation_core import Compensated, Round
from diewright.tryout.compensation_findings import findings_of
from diewright.tryout.compensation_runs import JobDraw, moved_result
from diewright.tryout.reference_points import Laid, best_fit, choose_supports, stiff_points, three_two_one

Floats = NDArray[np.float64]
SOURCE = "explicit tryouts of this job with static springback, each in the faces moved after the one before"


def supports(meant: TriMesh, thickness: float) -> tuple[int, int, int]:
    """Three points of the part to lay it on, as the tryout takes them."""
    fit = stiff_points(meant, reach=40.0 * thickness)
    return choose_supports(meant, fit if fit.any() else None)


def report(inputs: Any, faces: Result, got: Compensated, draw: JobDraw, wave: float) -> Result:
    """Tables, meshes, file, values, figures and findings of the stage."""
    t, best = inputs.thickness, got.chosen
    checked = None
    if best.field is not None:
        moved_sheet = got.nominal.points + best.field.at(got.nominal.points)
        checked = check_moved(got.rounds[0].faces, best.faces, got.nominal, moved_sheet, t)
    table = _table(got, t)
    meshes = {name: _shown(got, best, name) for name in ("die", "punch", "blankholder")}
    meshes["sprung"] = _sprung(best.laid, best)
    meshes["before"] = _sprung(got.rounds[0].laid, got.rounds[0])
    here = moved_result(faces, {n: m.mesh for n, m in meshes.items() if n in best.faces}, best.field, t)
    values = _values(inputs, got, draw, wave, table, checked, here)
    return Result(
        values=values, figures=tuple(_figures(values)), findings=tuple(findings_of(got, checked, inputs, table)), meshes=meshes,
        tables={"iterations": table}, arrays={name: here.arrays[name] for name in ("trim_line", "opening", "die_touch")},
        files={} if best.field is None else {"compensation.csv": csv_bytes(best.field)},
    )  # fmt: skip


def _table(got: Compensated, thickness: float) -> dict[str, Floats]:
    """A row a run: the deviation of the trimmed part along the normal, as it was laid, by best fit and on three supports, and what is left of the first run's."""
    rows: dict[str, list[float]] = {
        k: [] for k in ("max_mm", "rms_mm", "fit_max_mm", "fit_rms_mm", "supports_max_mm", "supports_rms_mm", "lift_max_mm", "shift_max_mm")
    }
    on = supports(got.rounds[0].meant, thickness)
    for r in got.rounds:
        rows["max_mm"].append(r.max_mm)
        rows["rms_mm"].append(r.rms_mm)
        w = r.meant.point_areas / r.meant.area
        for name, laid in (
            ("fit", best_fit(r.meant, r.pressed.part.points)),
            ("supports", three_two_one(r.meant, r.pressed.part.points, on)),
        ):
            rows[f"{name}_max_mm"].append(float(np.abs(laid.normal_mm).max()))
            rows[f"{name}_rms_mm"].append(float(np.sqrt(w @ laid.normal_mm**2)))
        rows["lift_max_mm"].append(float(np.abs(r.lift).max()))
        rows["shift_max_mm"].append(0.0 if r.field is None else float(np.linalg.norm(r.field.at(r.meant.points), axis=1).max()))
    out = {"run": np.arange(len(got.rounds), dtype=np.float64), **{k: np.array(v) for k, v in rows.items()}}
    out["left_max_pct"] = 100.0 * out["max_mm"] / max(float(out["max_mm"][0]), 1e-12)
    out["left_rms_pct"] = 100.0 * out["rms_mm"] / max(float(out["rms_mm"][0]), 1e-12)
    return out


def _shown(got: Compensated, best: Round, name: str) -> FieldMesh:
    """A face as it is to be cut, with the way its points have come."""
    shift = best.faces[name].points - got.rounds[0].faces[name].points
    along = (shift * got.rounds[0].faces[name].point_normals).sum(axis=1)
    return FieldMesh(best.faces[name], {"shift": shift, "shift_mm": np.linalg.norm(shift, axis=1), "shift_normal_mm": along}, {})


def _sprung(laid: Laid, r: Round) -> FieldMesh:
    """The trimmed part after springback, laid on the one wanted."""
    point = {
        "deviation_mm": laid.normal_mm,
        "displacement": laid.displacement,
        "displacement_mm": np.linalg.norm(laid.displacement, axis=1),
    }
    return FieldMesh(TriMesh(laid.points, r.meant.triangles), point, {})


def _values(
    inputs: Any, got: Compensated, draw: JobDraw, wave: float, table: dict[str, Floats], checked: Checked | None, here: Result
) -> dict[str, Any]:  # fmt: skip
    b = got.best
    field = got.chosen.field
    return {
        "runs": len(got.rounds), "best": b, "factor": inputs.factor, "wave_mm": wave, "quality": inputs.mesh, "tolerance_mm": inputs.tolerance,
        "alignment": inputs.alignment, "blankholder": got.holder, "blankholder_stated": inputs.blankholder,
        "before_max_mm": float(table["max_mm"][0]), "before_rms_mm": float(table["rms_mm"][0]), "after_max_mm": float(table["max_mm"][b]),
        "after_rms_mm": float(table["rms_mm"][b]), "left_max_pct": float(table["left_max_pct"][b]), "left_rms_pct": float(table["left_rms_pct"][b]),
        "shift_max_mm": float(table["shift_max_mm"][b]), "points": 0 if field is None else len(field.points),
        "gap_change_mm": None if checked is None else checked.gap_change, "gap_min_mm": None if checked is None else checked.gap_after,
        "gap_min_before_mm": None if checked is None else checked.gap_before,
        "draft_min_deg": None if checked is None else checked.draft_after, "draft_min_before_deg": None if checked is None else checked.draft_before,
        "undercut_mm2": None if checked is None else checked.undercut_area, "holder_move_mm": None if checked is None else checked.holder_move,
        "holder_file_mm": _file_off(got),
        "holder_tilt_deg": None if checked is None else checked.holder_steepest, "turn_max_deg": None if checked is None else checked.turn,
        "stretch_max_pct": None if checked is None else 100.0 * checked.stretch, "turn_step_deg": None if checked is None else checked.fair,
        "take_over": {"fields": {}, "files": {} if field is None else {"faces.shift_file": "compensation.csv"}},
        "stroke": here.values["stroke"], "trim": {"how": draw.trim_how, "off_mm": draw.trim_off},
        "mesh": {"triangles": len(draw.mesh.triangles), "edge_median": float(np.median(np.sqrt(draw.mesh.areas / 0.433)))},
    }  # fmt: skip


def _file_off(got: Compensated) -> float | None:
    """How far the field alone would take a blankholder that keeps its surface off it [mm]: it is exact at its points, the faces are corrected between them."""
    field = got.chosen.field
    if field is None or got.holder != "keep":
        return None
    face = got.rounds[0].faces["blankholder"]
    return float(np.abs((field.at(face.points) * face.point_normals).sum(axis=1)).max())


def _figures(v: dict[str, Any]) -> list[Figure]:
    out = [
        Figure(
            key="left", label="Deviation left", value=v["left_max_pct"], unit="%", source=SOURCE, formula="largest deviation of the trimmed part in the moved faces over that in the nominal ones",
            inputs={"in the nominal faces": (v["before_max_mm"], "mm"), "in the moved faces": (v["after_max_mm"], "mm")},
        ),
        Figure(key="left_rms", label="Deviation left, mean square", value=v["left_rms_pct"], unit="%", formula="as above, root of the mean square over the part's area", source=SOURCE,
               inputs={"in the nominal faces": (v["before_rms_mm"], "mm"), "in the moved faces": (v["after_rms_mm"], "mm")}),
        Figure(key="shift", label="Largest move of the faces", value=v["shift_max_mm"], unit="mm", formula="u = -f sum of the smoothed deviations, where the part lies", source=SOURCE,
               inputs={"f": (v["factor"], ""), "shortest wave passed on by half": (v["wave_mm"], "mm")}),
    ]  # fmt: skip
    if v["gap_change_mm"] is not None:
        out += [
            Figure(key="gap_change", label="Change of the gap between punch and die", value=v["gap_change_mm"], unit="mm", formula="distance from points of the punch to the die, before and after, largest difference", source="measured on the faces"),
            Figure(key="draft", label="Least draft of the moved faces", value=v["draft_min_deg"], unit="deg", formula="angle of the face to the press direction where it forms the sheet", source="measured on the faces", inputs={"before": (v["draft_min_before_deg"], "deg")}),
        ]  # fmt: skip
    return out

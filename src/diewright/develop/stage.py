"""The stage ``developed``: the blank whose formed edge falls on the wanted line, so that the trim can be left out, and where every cut lies on it."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.develop.core import CHORD, Developed, Formed, Round, develop, flat_places, mean_place, smooth
from diewright.develop.drawing import developed_drawing
from diewright.develop.findings import figures_of, findings_of
from diewright.develop.runs import JobForm
from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import FieldMesh
from diewright.geometry.outline import Fit
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.trim.lines.mapping import spots
from diewright.tryout.setup import TryoutInputs, tryout_inputs
from diewright.watch import Watch

Floats = NDArray[np.float64]
ALLOWANCE = 0.05
"""An outline with more metal than this outside the developed one [mm] is run as it is first."""


class DevelopedInputs(TryoutInputs):
    """What the tryout reads, and when the edge is good enough: tolerance [mm] and most runs."""

    tolerance: float
    runs: int


def _inputs(job: Job) -> DevelopedInputs:
    own = {"quality": job.trim.edge_quality, "reference_points": ()}
    return DevelopedInputs(**{**tryout_inputs(job).model_dump(), **own}, tolerance=job.trim.edge_tolerance, runs=job.trim.edge_runs)


def work(inputs: DevelopedInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """The blank as it is, then blanks whose outline is carried back from the formed edge."""
    blank, cuts, parts = upstream["blank"], upstream["trim"], int(upstream["shape"].values["parts"])
    if parts > 1:
        raise InputError(
            f"{parts} parts are drawn in one stroke and cut from each other after it: no outline of the blank spares that cut.", where="shape.copies",
            help="Trim them, or develop the blank of one part in a copy of this job.",
        )  # fmt: skip
    net, stated = (np.asarray(blank.arrays[name], dtype=np.float64)[:, :2] for name in ("outline_net", "outline"))
    edge = np.asarray(cuts.arrays["cut_edge"], dtype=np.float64)
    extra = len(net) != len(stated) or float(np.abs(net - stated).max()) > ALLOWANCE
    if extra and inputs.runs < 2:
        raise InputError(
            "a blank with trim allowance takes two runs at least: one as it is, one developed.",
            where="trim.edge_runs",
            help="State 2 or more.",
        )
    kept = tuple(np.asarray(a)[:, :2] for name, a in sorted(blank.arrays.items()) if name.startswith("hole_"))
    form = JobForm(inputs, upstream, kept, watch, inputs.runs)
    got = develop(form, net, edge, tolerance=inputs.tolerance, runs=inputs.runs, whole=stated if extra else None)
    watch.step("lines on the blank", 0.96, 1.0)
    return _result(inputs, upstream, got, form, edge)


def _result(inputs: DevelopedInputs, upstream: Mapping[str, Result], got: Developed, form: JobForm, edge: Floats) -> Result:
    best, cuts, solution = got.chosen, upstream["trim"], upstream["solution"]
    fit = got.fit if got.fit is not None else smooth(best.outline, inputs.tolerance)
    from_ = got.rounds[0] if got.rounds[0].whole else best
    lines = _lines(from_, best, cuts)
    sprung, why = _sprung(inputs, form, got)
    holes = _holes(best, cuts, lines, solution, sprung)
    values = _values(inputs, got, fit, holes, why)
    outline = fit.outline.points(CHORD)
    first = next(r for r in got.rounds if not r.whole) if any(not r.whole for r in got.rounds) else got.rounds[0]
    lines_flat = {f"flat_{name}": flat for name, flat in lines.items()}
    drawn = best.formed.drawn
    return Result(
        values=values, figures=tuple(figures_of(values)), findings=tuple(findings_of(values)),
        tables={"iterations": _table(got)},
        meshes={"drawn": FieldMesh(drawn), "flat": FieldMesh(best.formed.flat)},
        arrays={
            "outline": outline, "wanted": edge, "edge_start": first.formed.drawn.points[first.formed.ring], "over_start": first.over,
            "edge_end": drawn.points[best.formed.ring], "over_end": best.over, **lines_flat,
        },
        files={"developed.dxf": developed_drawing(fit.outline, [flat for name, flat in lines.items() if name in {h["id"] for h in holes}], inputs.rolling_direction, inputs.thickness)},
    )  # fmt: skip


def _lines(whole: Round, best: Round, cuts: Result) -> dict[str, Floats]:
    """Every cut of the trim by the material points: from the run with the addendum where there is one, the edge from the best. Points that no sheet covers are nan."""
    out = {}
    for cut in cuts.values["cuts"]:
        name = cut["id"]
        points = np.asarray(cuts.arrays[f"cut_{name}"], dtype=np.float64)
        run = best if name == "edge" or _covers(best.formed, points) else whole
        flat = flat_places(run.formed, points)
        found = spots(run.formed.drawn, points)
        if name != "edge":
            flat[found.rim & (found.off > 1.0)] = np.nan
        out[name] = flat
    return out


def _covers(formed: Formed, points: Floats) -> bool:
    found = spots(formed.drawn, points)
    return not bool((found.rim & (found.off > 1.0)).any())


def _sprung(inputs: DevelopedInputs, form: JobForm, got: Developed) -> tuple[Floats | None, str]:
    """The best run's sheet after release, or why it was not found."""
    if not inputs.springback:
        return None, ""
    try:
        return form.sprung(got.best, got.chosen.formed.drawn), ""
    except SolveError as error:
        return None, error.what


def _holes(best: Round, cuts: Result, lines: dict[str, Floats], solution: Result, sprung: Floats | None) -> list[dict[str, Any]]:
    """Holes on the blank: where they must be pierced in the flat to come out in place, how far off the one-step solution's place would come out, and what springback moves them by."""
    out = []
    for cut in cuts.values["cuts"]:
        name = cut["id"]
        if cut["kind"] != "pierce" or np.isnan(lines[name]).any():
            continue
        wanted = np.asarray(cuts.arrays[f"cut_{name}"], dtype=np.float64)
        one_step = np.asarray(cuts.arrays[f"flat_{name}"], dtype=np.float64)
        level = float(best.formed.flat.points[0, 2])
        off = None
        if np.isfinite(one_step).all():
            at = spots(best.formed.flat, np.column_stack([one_step, np.full(len(one_step), level)])).on(best.formed.drawn)
            off = float(np.linalg.norm(mean_place(at) - mean_place(wanted)))
        there = spots(best.formed.drawn, wanted)
        move = (
            None
            if sprung is None
            else mean_place(there.of_points(best.formed.drawn.triangles, sprung)) - mean_place(there.on(best.formed.drawn))
        )
        flat = lines[name]
        out.append({
            "id": name, "wanted": mean_place(wanted).tolist(), "flat": mean_place(flat).tolist(), "flat_size": [float(v) for v in np.ptp(flat, axis=0)],
            "one_step_off_mm": off, "springback_mm": None if move is None else float(np.linalg.norm(move)), "springback": None if move is None else move.tolist(),
        })  # fmt: skip
    return out


def _table(got: Developed) -> dict[str, np.ndarray]:
    rows = got.rounds
    return {
        "run": np.arange(len(rows)), "blank": np.array(["with allowance" if r.whole else "developed" if k else "as it stands" for k, r in enumerate(rows)]),
        "max_mm": np.array([r.max_mm for r in rows]), "rms_mm": np.array([r.rms_mm for r in rows]), "over_mm": np.array([float(r.over.max()) for r in rows]),
        "short_mm": np.array([float(-r.over.min()) for r in rows]), "area_mm2": np.array([_area(r.outline) for r in rows]),
        "moved_mm": np.array([np.nan, *(_moved(a.outline, b.outline) for a, b in pairwise(rows))]),
    }  # fmt: skip


def _area(p: Floats) -> float:
    return 0.5 * abs(float((p[:, 0] * np.roll(p[:, 1], -1) - p[:, 1] * np.roll(p[:, 0], -1)).sum()))


def _moved(a: Floats, b: Floats) -> float:

    return float(shapely.hausdorff_distance(shapely.LinearRing(a), shapely.LinearRing(b), densify=0.05))


def _values(inputs: DevelopedInputs, got: Developed, fit: Fit, holes: list[dict[str, Any]], why: str) -> dict[str, Any]:
    judged = [r for r in got.rounds if not r.whole]
    first, best = judged[0], got.chosen
    low, high = fit.outline.points(CHORD).min(axis=0), fit.outline.points(CHORD).max(axis=0)
    return {
        "runs": len(got.rounds), "best": got.best, "tolerance_mm": inputs.tolerance, "reached": best.max_mm <= inputs.tolerance, "whole_first": got.rounds[0].whole,
        "before_max_mm": first.max_mm, "before_rms_mm": first.rms_mm, "after_max_mm": best.max_mm, "after_rms_mm": best.rms_mm, "over_mm": float(best.over.max()), "short_mm": float(-best.over.min()),
        "worst_at": best.formed.drawn.points[best.formed.ring[int(np.argmax(np.abs(best.over)))]].tolist(),
        "area": fit.outline.area, "perimeter": fit.outline.perimeter, "bbox": [float(v) for v in high - low], "cut": {**fit.outline.counts(), "deviation": round(fit.deviation, 6)},
        "holes": holes, "springback_why": why, "broke": got.broke, "quality": inputs.quality, "triangles": len(best.formed.flat.triangles),
        "edge_mm": float(np.median(np.linalg.norm(np.diff(best.formed.flat.points[best.formed.ring], axis=0), axis=1))),
        "take_over": {"fields": {"blank.trim_allowance": 0.0}, "files": {"blank.outline_file": "developed.dxf"}},
    }  # fmt: skip


STAGE = Stage(
    name="developed", title="Developed blank", version=1, packages=("develop", "trim/lines", "tryout", "mechanics", "sheet", "geometry"),
    needs=("shape", "sheet", "solution", "blank", "faces", "press", "trim"), inputs=_inputs, work=work, slow=True,
)  # fmt: skip

"""The sequence of draws of a deep cup, against the handbook's table, heights and forces.

The shipped cup (60 mm across, 94.5 mm high, 1 mm DC05, 164.8 mm blank) is drawn three times on the coarse mesh. The handbook's forces and heights are its own; the limit of
each row was set before the runs: 3 % for heights, 20 % for forces.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from diewright.die.draw_plan import cup_meridian
from diewright.die.draw_profile import turned
from diewright.die.draws import STAGE as DRAWS
from diewright.geometry.mesh import FieldMesh
from diewright.job.schema import Job, parse
from diewright.job.stage import Result
from diewright.press.sequence import cup_sequence
from diewright.sheet.stage import STAGE as SHEET
from diewright.tryout.draws import STAGE as TRYOUT
from diewright.watch import Watch

BLANK, CUP, HEIGHT, RADIUS = 164.8, 59.98, 94.5, 6.0
TABLE: list[dict[str, Any]] = [d.as_dict() for d in cup_sequence(BLANK, CUP, 1.0)[0]]
"""The press stage's sequence of the shipped cup."""


def _job() -> Job:
    return parse({"job": {"title": "deep cup"}, "sheet": {"material": "DC05", "thickness": 1.0}, "draws": {"quality": "coarse"}})


@cache
def drawn() -> tuple[Result, Result]:
    """The stages ``draws`` and ``draws_tryout`` of the cup."""
    job, watch = _job(), Watch()
    part = turned(cup_meridian(CUP, 0.0, RADIUS, HEIGHT) - [0.0, HEIGHT], True, 0.05, 6.0)
    shape = Result(
        values={"depth": HEIGHT, "radius_concave_min": RADIUS, "round": {"is_round": True, "diameter": CUP, "axis": [0.0, 0.0]}}, meshes={"part": FieldMesh(part)}
    )  # fmt: skip
    sheet = SHEET.work(SHEET.inputs(job), {}, {}, watch)
    press = Result(values={"operation": "drawing", "draw_sequence": TABLE, "draw_table_inside": True})
    draws = DRAWS.work(DRAWS.inputs(job), {"shape": shape, "sheet": sheet, "blank": Result(), "press": press}, {}, watch)
    return draws, TRYOUT.work(TRYOUT.inputs(job), {"sheet": sheet, "press": press, "draws": draws}, {}, watch)


def ratios() -> dict[str, float]:
    """``d_n/d_(n-1)`` of each draw over Romanovskii's least at 100 t/D = 0.607, and their product."""
    draws, _ = drawn()
    m = [1.0 / d["ratio"] for d in draws.values["draws"]]
    return {
        "product of all d_n/d_(n-1)": m[0] * m[1] * m[2],
        "number of draws": float(len(m)),
        **{f"d_n/d_(n-1) of draw {k}": v for k, v in enumerate(m, 1)},
    }


def heights() -> dict[str, float]:
    """Mean height of the cup in the run over that of constant volume with the measured thickness, and over that of constant thickness."""
    _, run = drawn()
    out = {}
    for row in run.values["draws"]:
        out[f"height over constant volume, draw {row['draw']}"] = row["height_mm"] / row["height_volume_mm"]
        out[f"height over constant thickness, draw {row['draw']}"] = row["height_mm"] / row["height_handbook_mm"]
    return out


def forces() -> dict[str, float]:
    """Largest punch force before the rim leaves blankholder or sleeve, over the handbook's."""
    _, run = drawn()
    return {f"force over the handbook's, draw {row['draw']}": row["draw_kN"] / row["handbook_kN"] for row in run.values["draws"]}


def reached() -> dict[str, float]:
    """Draws that went through without a stop finding; diameter reached over wanted; margin of the last."""
    _, run = drawn()
    rows = run.values["draws"]
    return {
        "draws that ran through": float(sum(r["stopped"] is None for r in rows)), "stop findings": float(sum(f.severity == "stop" for f in run.findings)),
        **{f"diameter over wanted, draw {r['draw']}": r["diameter_mm"] / r["diameter_wanted_mm"] for r in rows},
    }  # fmt: skip


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "draws-ratios": ratios,
    "draws-heights": heights,
    "draws-forces": forces,
    "draws-reached": reached,
}

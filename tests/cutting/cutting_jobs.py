"""Hand-made results of the stages before ``cutting``, with the contract of the stage ``trim``."""

from __future__ import annotations

import numpy as np

from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.press.table import generic_presses, named
from diewright.trim.loads.stage import STAGE
from diewright.watch import Watch

DOWN = (0.0, 0.0, -1.0)


def circle(diameter: float, centre=(0.0, 0.0, 0.0), n: int = 720) -> np.ndarray:
    a = 2.0 * np.pi * np.arange(n) / n
    return np.column_stack([0.5 * diameter * np.cos(a), 0.5 * diameter * np.sin(a), 0.0 * a]) + np.asarray(centre)


def rectangle(w: float, h: float, centre=(0.0, 0.0, 0.0)) -> np.ndarray:
    return np.array([[-w, -h, 0.0], [w, -h, 0.0], [w, h, 0.0], [-w, h, 0.0]]) / 2.0 + np.asarray(centre)


def cut(name, points, *, kind="pierce", operation="first trim", direction=DOWN, closed=True, lean=0.0, thickness=1.0, diameter=None):
    n = len(points)
    lean, thickness = np.broadcast_to(lean, n).astype(float), np.broadcast_to(thickness, n).astype(float)
    return (
        {"id": name, "kind": kind, "operation": operation, "direction": list(direction), "closed": closed, "diameter": diameter},
        points,
        lean,
        thickness,
    )


def trim_of(*cuts) -> Result:
    arrays = {}
    for entry, points, lean, thickness in cuts:
        arrays |= {f"cut_{entry['id']}": points, f"lean_{entry['id']}": lean, f"thickness_{entry['id']}": thickness}
    return Result(values={"cuts": [c[0] for c in cuts]}, arrays=arrays)


def upstream(*cuts, family="steel", rm=300.0, rp=165.0, press="Crank 1000 kN", **other) -> dict[str, Result]:
    p = named(generic_presses(), press)
    height = np.linspace(0.0, 30.0, 121)[::-1]
    table = {"stroke_mm": 30.0 - height, "height_above_bottom_mm": height, "capacity_kN": p.capacity(height) / 1000.0}
    return {
        "sheet": Result(values={"family": family, "Rm": rm, "Rp02": rp}),
        "press": Result(values={"press": p.model_dump(mode="json") | {"rated_height_mm": p.rated_height} | other}, tables={"force_stroke": table}),
        "trim": trim_of(*cuts),
    }  # fmt: skip


def work(*cuts, up=None, thickness: float = 1.0, before=None, **stated) -> Result:
    job = parse({"sheet": {"thickness": thickness}, "cutting": stated})
    return STAGE.work(STAGE.inputs(job), upstream(*cuts, **(up or {})) if before is None else before, {}, Watch())


def keys(r: Result) -> set[str]:
    return {f.key for f in r.findings}

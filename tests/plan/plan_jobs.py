"""Hand-made results of the stages before ``plan``, with their contracts."""

from __future__ import annotations

import numpy as np

from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.press.table import generic_presses, named
from diewright.trim.plan.stage import STAGE
from diewright.watch import Watch


def circle(d, n=180):
    a = 2 * np.pi * np.arange(n) / n
    return 0.5 * d * np.column_stack([np.cos(a), np.sin(a)])


def curve(force, way=1.0, break_at=0.5, n=201):
    """A cut of ``force`` [kN]: full up to the break, nothing after it."""
    s = np.linspace(0.0, way, n)
    return {"stroke_mm": s, "flat_kN": np.where(s < break_at, force, 0.0), "sheared_kN": np.where(s < break_at, force, 0.0)}


def cutting(operations=None, webs=(), thickness=1.0, pad=0.0):
    """``operations``: name -> list of (id, kind, kN)."""
    operations = (
        {"first trim": [("edge", "trim", 200.0), ("h1", "pierce", 20.0), ("h2", "pierce", 20.0)]} if operations is None else operations
    )
    cuts, rows, tables = [], [], {}
    for k, (name, mine) in enumerate(operations.items()):
        gain = 1.25 if name == "cam" else 1.0
        for i, kind, force in mine:
            cuts.append({"id": i, "kind": kind, "operation": name})
            tables[f"force_{i}"] = curve(force)
        s = np.linspace(0.0, 2.0, 201)
        total = gain * sum(f for *_, f in mine)
        tables[f"force_operation_{k + 1}"] = {
            "stroke_mm": s,
            "height_above_bottom_mm": 2.0 - s,
            "sheared_kN": np.where(s < 0.5, total, 0.0),
            "pad_kN": np.full(201, pad),
        }
        rows.append({"name": name, "cuts": [i for i, *_ in mine], "touch_height_mm": 2.0})
    metal = {"shear_MPa": 240.0, "wear": 1.0, "penetration": 0.5, "thickness": thickness}
    return Result(
        values={"metal": metal, "cuts": cuts, "operations": rows, "webs": [{"between": list(b), "mm": mm} for b, mm in webs]}, tables=tables
    )


def bends(*operations):
    """``operations``: (name, kN, touch)."""
    tables = {}
    for k, (_, force, touch) in enumerate(operations):
        s = np.linspace(0.0, touch, 51)
        tables[f"force_operation_{k + 1}"] = {"stroke_mm": s, "height_above_bottom_mm": touch - s, "force_kN": np.full(51, force)}
    return Result(values={"operations": [{"name": n} for n, *_ in operations]}, tables=tables)


def upstream(
    depth=20.0, draw=100.0, holder=30.0, press="Crank 1000 kN", draws=(), operation="drawing", blank_d=200.0, opening_d=100.0, **other
) -> dict[str, Result]:
    p = named(generic_presses(), press)
    height = np.linspace(depth, 0.0, 41)
    return {
        "shape": Result(values={"depth": depth}),
        "sheet": Result(values={"family": "steel", "Rm": 300.0}),
        "blank": Result(values={"perimeter": np.pi * blank_d, "bbox": [blank_d, blank_d], "parts": 1}, arrays={"outline": circle(blank_d)}),
        "press": Result(
            values={"operation": operation, "press": p.model_dump(mode="json")},
            tables={"force_stroke": {"stroke_mm": depth - height, "height_above_bottom_mm": height, "draw_kN": draw * np.sin(np.pi * height / depth), "blankholder_kN": np.full(41, holder)}},
        ),
        "faces": Result(values={"stroke": depth}, arrays={"opening": circle(opening_d)}),
        "draws": Result(values={"draws": list(draws)}),
        "cutting": cutting(),
        "bends": bends(),
        **other,
    }  # fmt: skip


def work(up=None, thickness=1.0, job=None, **stated) -> Result:
    job = parse({"sheet": {"thickness": thickness}, "plan": stated, **(job or {})})
    return STAGE.work(STAGE.inputs(job), {**upstream(), **(up or {})}, {}, Watch())


def names(r: Result) -> list[list[str]]:
    return [s["operations"] for s in r.values["stations"]]


def keys(r: Result) -> set[str]:
    return {f.key for f in r.findings}


def finding(r: Result, key: str):
    return next(f for f in r.findings if f.key == key)

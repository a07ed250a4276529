"""Results of the stages before ``bends``: a real draw shape of a made mesh, a plain sheet and a press."""

from __future__ import annotations

import numpy as np
from shape_parts import prismatic, shaped, tipping_of

from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.press.table import generic_presses, named
from diewright.trim.bends.stage import STAGE
from diewright.watch import Watch

CHANNEL = [("line", 60.0), ("arc", 5.0, 80.0), ("line", 40.0), ("arc", 4.0, -80.0), ("line", 25.0), ("arc", 3.0, 90.0), ("line", 20.0)]
SHEET = {"E": 207_000.0, "nu": 0.3, "Rm": 300.0, "Rp02": 165.0, "n": 0.22, "A80": 41.0, "family": "steel"}


def sheet(**more) -> Result:
    v = SHEET | more
    p = np.linspace(0.0, 2.0, 2001)
    return Result(values=v, tables={"hardening": {"strain": p, "stress": v["Rp02"] * (1.0 + p / 0.002) ** 0.1}})


def press(name="Crank 1000 kN") -> Result:
    p = named(generic_presses(), name)
    height = np.linspace(0.0, 30.0, 121)[::-1]
    return Result(
        values={"press": p.model_dump(mode="json") | {"rated_height_mm": p.rated_height}},
        tables={"force_stroke": {"stroke_mm": 30.0 - height, "height_above_bottom_mm": height, "capacity_kN": p.capacity(height) / 1000.0}},
    )


PLAIN = tipping_of(*prismatic(CHANNEL))


def work(bend=(), flange=(), thickness=1.0, tip=None, up=None, trim=None, rolling=0.0, **stated) -> Result:
    """The stage on a channel whose flanges ``flange`` are drawn open."""
    tip = PLAIN if tip is None else tip
    job = parse(
        {
            "sheet": {"thickness": thickness, "rolling_direction": rolling},
            "shape": {"flange": list(flange)},
            "bends": {"bend": list(bend), **stated},
            "trim": trim or {},
        }
    )
    shape = shaped(tip, thickness=thickness, flange=list(flange))
    return STAGE.work(STAGE.inputs(job), {"tipping": tip, "shape": shape, "sheet": sheet(), "press": press(), **(up or {})}, {}, Watch())


def keys(r: Result) -> set[str]:
    return {f.key for f in r.findings}

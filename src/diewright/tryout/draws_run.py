"""Runs the draws of a cup one after the other on one sheet: tools, operations, what is passed on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.job.stage import Result
from diewright.mechanics.contact.tools import ToolSet
from diewright.mechanics.forming.draw import DrawPlan, draw_operations
from diewright.mechanics.forming.frames import Frame
from diewright.mechanics.forming.hits import redraw, restrike
from diewright.mechanics.forming.operations import Move, Operation
from diewright.mechanics.forming.run import Curve, Outcome
from diewright.mechanics.forming.sequence import Hit, Sheet, work_hit
from diewright.watch import Watch

Floats = NDArray[np.float64]
QUARTERS = 4.0
"""A quarter of the cup is worked: forces are four times those of the model."""
CLOSING = 1000.0
"""Speed at which a sleeve is brought onto the cup [mm/s]; a free one would fall on it."""
GAP = 0.02
"""Where that stroke ends above the sheet, over the thickness."""


@dataclass(frozen=True)
class How:
    """How the draws are run: thickness [mm], friction, flow stress [MPa] that bounds the contact pressure, punch speed in the computation [mm/s], pictures a draw, step [s]."""

    thickness: float
    friction_die: float
    friction_punch: float
    flow: float
    speed: float
    frames: int
    step: float


@dataclass(frozen=True, eq=False)
class Drawn:
    """One draw after its run: its record of the stage ``draws``, what ran, the sheet after it, and its tools for distances."""

    draw: Mapping[str, Any]
    outcome: Outcome
    sheet: Sheet
    tools: ToolSet
    operations: tuple[str, ...]

    @property
    def number(self) -> int:
        """Its number, from 1."""
        return int(self.draw["draw"])

    @property
    def kind_is_draw(self) -> bool:
        """Whether it draws, and does not only strike."""
        return str(self.draw["kind"]) != "restrike"

    def column(self, tool: str) -> int:
        """Number of a tool in the columns of the curve."""
        return self.tools.names.index(tool)

    def stroke(self, travel: Floats) -> Floats:
        """Punch travel [mm] from touching the sheet."""
        return np.asarray(np.maximum(float(self.draw["stroke"]) + travel, 0.0))


def work_draw(
    sheet: Sheet, draw: Mapping[str, Any], faces: Result, how: How, watch: Watch, hear: Callable[[Frame, Curve], None] | None = None
) -> Drawn:
    """One draw of the sheet as it was left by the draw before."""
    hit = hit_of(sheet, draw, faces, how)
    passed = work_hit(sheet, hit, step=how.step, watch=watch, on_frame=hear)
    assert passed.outcome is not None
    return Drawn(draw, passed.outcome, passed.sheet, ToolSet(hit.tools, np.ones(1), 1), tuple(o.name for o in hit.operations))


def hit_of(sheet: Sheet, draw: Mapping[str, Any], faces: Result, how: How) -> Hit:
    """Tools and operations of a draw; the first one takes the flat blank at z = 0, a redraw lets the cup down on its die, a restrike sets it on its bottom."""
    k, t = int(draw["draw"]), how.thickness
    names = ("die", "punch") if draw["kind"] == "restrike" else ("die", "punch", "blankholder")
    tools = {n: (faces.meshes[f"{n}_{k}"].mesh.points, faces.meshes[f"{n}_{k}"].mesh.triangles) for n in names}
    label = f"{draw['kind']} {k}"
    if draw["kind"] == "restrike":
        down = (0.0, 0.0, -float(sheet.x[:, 2].min()))
        lift = float(draw["stroke"]) + t
        return restrike(
            sheet, tools, flow_stress=how.flow, friction=how.friction_die, lift=lift, speed=0.4 * how.speed, name=label, shift=down, frames=6
        )  # fmt: skip
    plan = DrawPlan(
        float(draw["stroke"]), float(draw["holder_force"]) / QUARTERS, speed=how.speed, frames=how.frames,
        friction={"die": how.friction_die, "blankholder": how.friction_die, "punch": how.friction_punch},
    )  # fmt: skip
    flat = float(np.ptp(sheet.x[:, 2])) < 1e-9
    hit = redraw(sheet, tools, plan, flow_stress=how.flow, name=label, shift=(0.0, 0.0, 0.0) if flat else None)
    if flat:
        return hit
    above = -dict(hit.travel)["blankholder"]
    rest = (Move("die", "rest"), Move("punch", "rest"))
    close = Operation("close the sleeve", (*rest, Move("blankholder", "stroke", to=-GAP * t)), max(above / CLOSING, 5e-4), frames=1)
    return replace(hit, operations=(close, *draw_operations(plan, t)))

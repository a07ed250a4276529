"""The usual hits as tools and operations: draw and redraw, restrike, flange. Faces are given in the closed position, everything closes along z."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.mechanics.contact.reach import first_touch
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.forming.draw import DrawPlan, Face, draw_operations, tools_of
from diewright.mechanics.forming.operations import Move, Operation
from diewright.mechanics.forming.sequence import Hit, Sheet

Floats = NDArray[np.float64]
GAP = 0.02  # over the thickness: between a tool and the sheet before it closes


def _need(faces: Mapping[str, Face], names: tuple[str, ...], hit: str) -> None:
    missing = [n for n in names if n not in faces]
    if missing:
        raise InputError(f"the faces lack {' and '.join(missing)}.", where=f"hit {hit}")


def _half(sheet: Sheet) -> Floats:
    """Half the present thickness at the nodes (n,) [mm]."""
    corner = sheet.patches.conn[:, :3].ravel()
    share = np.bincount(corner, weights=np.repeat(sheet.form.stretch.astype(np.float64), 3), minlength=len(sheet.patches.points))[
        : sheet.patches.n
    ]
    count = np.bincount(corner, minlength=len(sheet.patches.points))[: sheet.patches.n]
    return 0.5 * sheet.thickness * np.where(count > 0, share / np.maximum(count, 1), 1.0)


def _above(sheet: Sheet, tool: Tool, shift: Floats, highest: float) -> float:
    """Travel at which a tool that comes from ``highest`` above its closed place stands just off the sheet."""
    half = _half(sheet) + GAP * sheet.thickness
    return first_touch(tool, sheet.x + shift, half, -highest, 0.0)


def redraw(
    sheet: Sheet,
    faces: Mapping[str, Face],
    plan: DrawPlan,
    *,
    flow_stress: float,
    name: str = "redraw",
    shift: tuple[float, float, float] | None = None,
) -> Hit:
    """The next draw of a cup that stands open upwards: its bottom lies on the die, the sleeve inside it holds it down as blankholder, the punch goes through both.

    ``faces``: die, punch, blankholder (the sleeve) with the sheet's middle surface on the die at z = 0 in the closed position, as of a first draw (which this makes too).
    ``plan.stroke``: punch travel from touching the bottom. ``shift``: how the cup is set down; without it straight down until it lies on the die.
    Raises :class:`InputError` where a face is missing.
    """
    _need(faces, ("die", "punch", "blankholder"), name)
    tools = {t.name: t for t in tools_of(faces, sheet.thickness, plan, flow_stress=flow_stress)}
    down = np.array(shift if shift is not None else (0.0, 0.0, -float(sheet.x[:, 2].min())), dtype=np.float64)
    if shift is None:
        # let the cup down onto the die: the die, moved up against it from below, says how far that is
        high = float(np.ptp(sheet.x[:, 2])) + sheet.thickness
        down[2] -= first_touch(tools["die"], sheet.x + down, _half(sheet), -high, high)
    high = float(np.ptp(sheet.x[:, 2])) + plan.stroke
    holder = _above(sheet, tools["blankholder"], down, high)
    travel = (("punch", min(-(plan.stroke + GAP * sheet.thickness), _above(sheet, tools["punch"], down, high))), ("blankholder", holder))
    mass = sheet.material.density * float((sheet.patches.coef[:, 16]).sum()) * sheet.thickness
    ops = draw_operations(plan, sheet.thickness, mass=mass)
    return Hit(name, tuple(tools.values()), ops, travel, shift=(float(down[0]), float(down[1]), float(down[2])))


def restrike(
    sheet: Sheet, faces: Mapping[str, Face], *, flow_stress: float, friction: float = 0.1, lift: float | None = None, speed: float = 2000.0, dwell: float = 1e-3,
    damping: float = 2e3, name: str = "restrike", shift: tuple[float, float, float] = (0.0, 0.0, 0.0), frames: int = 6,
) -> Hit:  # fmt: skip
    """The drawn sheet struck once more between a die and a punch of the shape that is wanted; ``lift`` [mm] above closed is where the punch starts, without it just off the sheet."""
    _need(faces, ("die", "punch"), name)
    plan = DrawPlan(1.0, friction=dict.fromkeys(faces, friction))
    tools = tools_of({k: faces[k] for k in ("die", "punch")}, sheet.thickness, plan, flow_stress=flow_stress)
    high = float(np.ptp(sheet.x[:, 2])) + 10.0 * sheet.thickness
    start = _above(sheet, tools[1], np.array(shift), high) if lift is None else -lift
    ops = (
        Operation("close", (Move("die", "rest"), Move("punch", "stroke", to=0.0)), max(abs(start) / speed / 0.85, 2e-4), frames=frames),
        Operation("dwell", (Move("die", "rest"), Move("punch", "rest")), dwell, damping=damping, frames=1),
    )
    return Hit(name, tools, ops, (("punch", start),), shift=shift)


def flange(
    sheet: Sheet, faces: Mapping[str, Face], pad_force: float, stroke: float, *, flow_stress: float, friction: float = 0.1, speed: float = 2000.0, dwell: float = 1e-3,
    damping: float = 2e3, name: str = "flange", shift: tuple[float, float, float] = (0.0, 0.0, 0.0), frames: int = 10,
) -> Hit:  # fmt: skip
    """A pad holds the sheet on the post (``die``), the wiping ``steel`` comes down past its edge by ``stroke`` [mm] and stands there; ``pad_force`` [N] of the part of the sheet that is modelled."""
    _need(faces, ("die", "pad", "steel"), name)
    plan = DrawPlan(1.0, friction=dict.fromkeys(faces, friction))
    down = (0.0, 0.0, -1.0)
    tools = tuple(
        t if t.name == "die" else replace(t, direction=down)
        for t in tools_of({k: faces[k] for k in ("die", "pad", "steel")}, sheet.thickness, plan, flow_stress=flow_stress)
    )
    pad = _above(sheet, tools[1], np.array(shift), 10.0 * sheet.thickness)
    time = max(stroke / speed / 0.85, 2e-4)
    hold = Move("pad", "force", to=pad_force)
    ops = (
        Operation("pad", (Move("die", "rest"), hold, Move("steel", "rest")), max(0.15 * time, 1e-3), damping=damping, frames=1),
        Operation("wipe", (Move("die", "rest"), hold, Move("steel", "stroke", to=0.0)), time, frames=frames),
        Operation("dwell", (Move("die", "rest"), hold, Move("steel", "rest")), dwell, damping=damping, frames=1),
    )
    return Hit(name, tools, ops, (("pad", pad), ("steel", -stroke)), shift=shift)

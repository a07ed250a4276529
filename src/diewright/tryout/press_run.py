"""One run of the press: the blank between the faces, hold, draw, dwell. No judgement, nothing kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh
from diewright.job.stage import Result
from diewright.mechanics.contact.tools import Tool, ToolSet
from diewright.mechanics.forming.draw import DrawPlan, draw_operations, set_draw, tools_of
from diewright.mechanics.forming.frames import Frame
from diewright.mechanics.forming.gravity import sag
from diewright.mechanics.forming.run import Curve, Outcome, Run
from diewright.mechanics.shell.form import ShellForm, at_rest
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.mechanics.shell.step import element_steps
from diewright.tryout.bead_line import Bead, lay_bead
from diewright.watch import Watch

Floats = NDArray[np.float64]
HEAVIER = 0.03  # share of the sheet's mass that may be added to lengthen the step


@dataclass(frozen=True)
class Wanted:
    """What decides a run: forces [N], expected draw work [N mm] (or over the share of the stroke), friction, punch speed [mm/s] in the computation, points through the thickness, pictures,
    the draw bead, and whether the blank sags first."""

    force: float
    force_end: float
    work: float | tuple[tuple[float, float], ...]
    friction_die: float
    friction_punch: float
    speed: float = 5000.0
    stations: int = 5
    frames: int = 24
    bead: Bead | None = None
    gravity: bool = False


def press_tools(faces: Result, thickness: float, wanted: Wanted, flow: float) -> tuple[Tool, ...]:
    """Die, punch and blankholder as distances."""
    plan = plan_of(faces, wanted)
    meshes = {name: (faces.meshes[name].mesh.points, faces.meshes[name].mesh.triangles) for name in ("die", "punch", "blankholder")}
    return tools_of(meshes, thickness, plan, flow_stress=flow)


def plan_of(faces: Result, wanted: Wanted) -> DrawPlan:
    """The draw as the mechanics want it."""
    stroke = float(faces.values["stroke"])
    force: float | tuple[tuple[float, float], ...] = wanted.force
    if wanted.force_end != wanted.force:
        force = ((0.0, wanted.force), (1.0, wanted.force_end))
    return DrawPlan(
        stroke, force,
        friction={"die": wanted.friction_die, "blankholder": wanted.friction_die, "punch": wanted.friction_punch},
        speed=wanted.speed, frames=wanted.frames, work=wanted.work, dwell=0.04 * stroke / wanted.speed,
    )  # fmt: skip


def lengthened_step(
    points: Floats, triangles: NDArray[np.integer], thickness: float, material: ShellMaterial, share: float = HEAVIER
) -> float:
    """The longest step [s] for which mass scaling adds at most ``share`` of the sheet's mass."""
    patches = build_patches(points, triangles, thickness)
    steps = element_steps(patches, material, patches.points, np.ones(len(triangles)))
    mass = patches.coef[:, 16]
    low, high = float(steps.min()), float(np.median(steps))
    for _ in range(40):
        middle = 0.5 * (low + high)
        added = float((mass * (np.maximum(1.0, (middle / steps) ** 2) - 1.0)).sum() / mass.sum())
        low, high = (middle, high) if added <= share else (low, middle)
    return low


def run_press(
    sheet: TriMesh,
    thickness: float,
    material: ShellMaterial,
    tools: tuple[Tool, ...],
    faces: Result,
    wanted: Wanted,
    *,
    rolling: tuple[float, float, float],
    watch: Watch,
    hear: Callable[[ShellModel, Frame, Curve], None] | None = None,
) -> tuple[ShellModel, Outcome]:
    """Hold, draw, dwell; the model as it stands at the end and what the run gave."""
    plan = plan_of(faces, wanted)
    step = 0.9 * lengthened_step(sheet.points, sheet.triangles, thickness, material)
    holder = faces.meshes["blankholder"].mesh
    curved = float(np.ptp(holder.points[:, 2])) > 0.2
    raised = {"blankholder": -(float(np.ptp(holder.points[:, 2])) + 0.02 * thickness)} if curved else {}
    form = weight = None
    if wanted.gravity:
        form, weight = laid_down(sheet, thickness, material, tools, rolling, wanted.stations)
    model = set_draw(
        sheet.points, sheet.triangles, thickness, material, tools, plan, rolling=rolling, stations=wanted.stations, step=step, start_travel=raised, form=form
    )  # fmt: skip
    if weight is not None:
        model.external[: model.patches.n, 2] = -weight
    if wanted.bead is not None:
        lay_bead(model.tools, wanted.bead, sheet.points, sheet.triangles, faces.arrays["opening"])
    run = Run(
        model,
        draw_operations(plan, thickness, mass=model.masses.true, bend=curved),
        watch=watch,
        on_frame=None if hear is None else lambda f, c: hear(model, f, c),
    )
    return model, run.work()


def laid_down(
    sheet: TriMesh, thickness: float, material: ShellMaterial, tools: tuple[Tool, ...], rolling: tuple[float, float, float], stations: int
) -> tuple[ShellForm, Floats]:
    """The blank sagged on the die, and the weight of its nodes [N], which goes on acting."""
    patches = build_patches(sheet.points, sheet.triangles, thickness, rolling=rolling)
    layers = through_thickness(stations)
    die = ToolSet(tuple(t for t in tools if t.name == "die"), np.ones(patches.n), 1)
    found = sag(patches, material, layers, at_rest(patches, layers, kinematic=material.kinematic), die)
    return found.form, found.weight

"""A draw in the usual order: the blank lies on the die, the blankholder closes with its force, the punch goes to the bottom and dwells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

from diewright.errors import InputError
from diewright.mechanics.contact.grid import distance_grid
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.forming.operations import Move, Operation, careful_profile, profile_time
from diewright.mechanics.shell.form import ShellForm
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import Mirror, Patches, build_patches
from diewright.mechanics.shell.stations import through_thickness

Floats = NDArray[np.float64]
Face = tuple[ArrayLike, ArrayLike]  # points (n, 3), triangles (m, 3), normals towards the sheet


@dataclass(frozen=True)
class DrawPlan:
    """What decides a draw.

    Attributes
    ----------
    stroke: punch travel from touching the flat blank to the bottom [mm]. force: blankholder [N], of the part of the sheet that is modelled; or a curve of (share of the draw, N).
    gap: with a number the blankholder is held at this gap over the sheet's thickness [mm] instead of pressed.
    friction: of each tool by name, ``0.1`` for one not named. fade, power: see :class:`Tool`.
    speed: of the punch in the computation [mm/s]; dwell: [s]. frames: pictures of the draw.
    work: expected in all [N mm] of the part that is modelled, or pairs of (share of the stroke, work so far): the punch starts slowly so that its motion stays small against the work done; 0: a plain smooth stroke.
    block: how far the blankholder may go below the nominal thickness before distance blocks stop it, share of the thickness.
    """

    stroke: float
    force: float | tuple[tuple[float, float], ...] = 0.0
    gap: float | None = None
    friction: Mapping[str, float] = field(default_factory=dict)
    fade: float = 0.0
    power: float = 0.0
    speed: float = 5000.0
    dwell: float = 0.0
    frames: int = 24
    block: float = 0.1
    kinematics: tuple[tuple[float, float], ...] = ()
    work: float | tuple[tuple[float, float], ...] = 0.0


def symmetric(points: Floats, triangles: NDArray[np.integer], axes: str) -> tuple[Mirror, ...]:
    """Mirrors on the rim sides that lie in the planes x = 0 (``"x"``) and y = 0 (``"y"``)."""
    ends = np.sort(np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    sides, count = np.unique(ends, axis=0, return_counts=True)
    rim = sides[count == 1]
    out = []
    for axis in axes:
        d = "xy".index(axis)
        on = np.abs(points[:, d]) < 1e-7
        held = rim[on[rim].all(axis=1)]
        if len(held) == 0:
            raise InputError(f"no side of the mesh lies on the plane {axis} = 0.", where="symmetry")
        normal = (1.0, 0.0, 0.0) if d == 0 else (0.0, 1.0, 0.0)
        out.append(Mirror(held, np.broadcast_to(normal, (len(held), 3))))
    return tuple(out)


def tools_of(
    faces: Mapping[str, Face], thickness: float, plan: DrawPlan, *, flow_stress: float, spacing: float | None = None
) -> tuple[Tool, ...]:
    """The tools of faces given in the closed position; the die stands still, the others close downwards.

    ``flow_stress`` [MPa] sets the largest pressure: four times it. ``spacing`` of the distance grids: half the thickness, 0.2 to 1 mm.
    """
    h = float(np.clip(0.5 * thickness, 0.2, 1.0)) if spacing is None else spacing
    band = 0.8 * thickness + 2.0 * h
    out = []
    for name, (points, triangles) in faces.items():
        grid = distance_grid(points, triangles, spacing=h, band=band)
        up = name == "die" or name.startswith("pad")
        out.append(
            Tool(
                name, grid, (0.0, 0.0, 1.0 if up else -1.0), plan.friction.get(name, 0.1), plan.fade, plan.power,
                cap=4.0 * flow_stress,
            )
        )  # fmt: skip
    return tuple(out)


def draw_operations(plan: DrawPlan, thickness: float, *, mass: float = 0.0, bend: bool = False) -> tuple[Operation, ...]:
    """Hold, draw, dwell. ``mass`` [t] of the sheet is needed where the plan states its work. With ``bend`` the blankholder closes by stroke first (a curved blankholder bends the blank)."""
    ops: list[Operation] = []
    hold = 0.12 * plan.stroke / plan.speed
    stop = plan.block * thickness
    if plan.gap is not None:
        holder = Move("blankholder", "stroke", to=-plan.gap)
        keep = Move("blankholder", "rest")
    else:
        start = plan.force if isinstance(plan.force, (int, float)) else plan.force[0][1]
        holder = Move("blankholder", "force", to=float(start), stop=stop)
        curve = () if isinstance(plan.force, (int, float)) else plan.force
        keep = Move("blankholder", "force", to=float(start), curve=curve, stop=stop)
    rest = (Move("die", "rest"), Move("punch", "rest"))
    if bend:
        ops.append(
            Operation("close the blankholder", (*rest, Move("blankholder", "stroke", to=-0.02 * thickness)), max(hold, 4e-3), frames=4)
        )
    ops.append(Operation("hold", (*rest, holder), hold, frames=1))
    profile: tuple[tuple[float, float], ...] = ()
    time = plan.stroke / plan.speed / (1.0 - 0.15)
    if plan.work and mass > 0 and not plan.kinematics:
        profile = careful_profile(mass, plan.work, plan.speed)
        time = profile_time(plan.stroke, profile)
    punch = Move("punch", "stroke", to=0.0, curve=plan.kinematics, profile=profile)
    ops.append(Operation("draw", (Move("die", "rest"), punch, keep), time, frames=plan.frames))
    if plan.dwell > 0:
        ops.append(
            Operation(
                "dwell",
                (*rest, keep if not isinstance(plan.force, tuple) else Move("blankholder", "force", to=plan.force[-1][1], stop=stop)),
                plan.dwell,
                frames=1,
            )
        )
    return tuple(ops)


def set_draw(
    points: ArrayLike,
    triangles: ArrayLike,
    thickness: float,
    material: ShellMaterial,
    tools: tuple[Tool, ...],
    plan: DrawPlan,
    *,
    rolling: ArrayLike = (1.0, 0.0, 0.0),
    symmetry: str = "",
    stations: int = 5,
    real: DTypeLike = np.float32,
    step: float | None = None,
    start_travel: Mapping[str, float] | None = None,
    form: ShellForm | None = None,
) -> ShellModel:
    """The sheet on its die with the punch raised by its stroke and the blankholder just above.

    ``points`` (n, 3) of the blank's middle surface where it lies on the die. ``symmetry``: planes of symmetry, of "xy". ``form``: as it lies there, if not flat.
    """
    x, tri = np.asarray(points, dtype=np.float64), np.asarray(triangles)
    mirrors = symmetric(x, tri, symmetry)
    patches = build_patches(x, tri, thickness, rolling=rolling, mirrors=mirrors)
    model = ShellModel(patches, material, through_thickness(stations), form=start_form(patches, form), real=real, tools=tools, step=step)
    hold_symmetry(model, patches, symmetry)
    names = model.tools.names
    for name in names:
        model.tools.by_speed(name, 0)
    gap = 0.02 * thickness
    if "punch" in names:
        model.tools.set_travel("punch", -(plan.stroke + gap))
    if "blankholder" in names:
        model.tools.set_travel("blankholder", -gap if plan.gap is None else -(plan.gap + gap))
    for name, travel in (start_travel or {}).items():
        model.tools.set_travel(name, travel)
    return model


def hold_symmetry(model: ShellModel, patches: Patches, symmetry: str) -> None:
    """Hold the nodes on planes of symmetry in them."""
    for axis in symmetry:
        on = np.abs(patches.points[: patches.n, "xy".index(axis)]) < 1e-7
        model.prescribe(np.flatnonzero(on), axis)


def start_form(patches: Patches, form: ShellForm | None) -> ShellForm | None:
    """A form to start from, checked against the mesh."""
    if form is not None and len(form.stretch) != len(patches.conn):
        raise InputError(f"a form of {len(form.stretch)} triangles on a mesh of {len(patches.conn)}.", where="tryout")
    return form

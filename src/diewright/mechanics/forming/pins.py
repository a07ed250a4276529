"""A blankholder on cushion pins: each pin pushes with its own force at its own place, and the tool tilts as the guides let it.

Rigid for the small slopes ``a`` along x and ``b`` along y that guides allow: ``M s'' = F - P``, ``I_x a'' = sum F_i (x_i - xc) - sum P_j (x_j - xc)`` and the same for y;
``F_i`` of the pins, ``P_j`` of the sheet's nodes, about the mean place of the pins. The inertia is that of the tool's mass at the pins.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.mechanics.contact import layout as at
from diewright.mechanics.shell.model import ShellModel

Floats = NDArray[np.float64]
RAMP, POINTS = 0.15, 24  # as of a force on the whole tool


@dataclass(frozen=True)
class Pin:
    """One pin at ``x``, ``y`` [mm]: its force [N], or a curve of (share of the operation, N)."""

    x: float
    y: float
    force: float | tuple[tuple[float, float], ...]


def press_by_pins(
    model: ShellModel,
    name: str,
    pins: tuple[Pin, ...],
    time: float,
    *,
    start: float,
    mass: float,
    drag: float,
    stop: float = math.inf,
    most: float = 0.02,
) -> float:
    """Set a tool of the model on its pins for the next ``time`` [s]; returns the total force at the end [N].

    ``start`` [N]: what presses on it now, from which forces without a curve rise smoothly. ``mass`` [t], ``drag`` [1/s], ``stop`` [mm], ``most`` slope: see ``ToolSet``.
    Raises :class:`InputError` for pins in a line, forces below zero, or a model that is one part of a mirrored sheet (its mirror would not tilt with it).
    """
    where = f"pins of {name}"
    places = np.array([[p.x, p.y] for p in pins], dtype=np.float64).reshape(-1, 2)
    if len(places) < 3 or not np.isfinite(places).all():
        raise InputError(f"{len(places)} pins cannot hold a tool level: expected at least three with finite places.", where=where)
    if len(model.patches.ghost):
        raise InputError("a tool that tilts needs the whole sheet, not a part of it with planes of symmetry.", where=where)
    centre = places.mean(axis=0)
    arm = places - centre
    spread = (arm**2).mean(axis=0)
    if float(np.linalg.svd(arm, compute_uv=False)[-1]) < 1e-3 * float(np.abs(arm).max(initial=0.0)) or spread.min() <= 0:
        raise InputError("the pins stand in a line and cannot hold the tool level.", where=where)
    curves = [_curve(p, where) for p in pins]
    shares = np.unique(np.concatenate([RAMP * np.linspace(0.0, 1.0, POINTS), [0.0, 1.0], *[c[0] for c in curves if c is not None]]))
    force = np.zeros((len(pins), len(shares)))
    fixed = np.array([c is None for c in curves])
    rise = np.sin(0.5 * np.pi * np.clip(shares / RAMP, 0.0, 1.0)) ** 2
    for k, (p, c) in enumerate(zip(pins, curves, strict=True)):
        force[k] = float(p.force) * rise if c is None else np.interp(shares, *c)  # type: ignore[arg-type]
    if not np.isfinite(force).all() or force.min() < 0:
        raise InputError("a pin pushes; expected forces from 0 N.", where=where)
    before, moments = _now(model, name, start, centre)
    fade = (1.0 - rise) * (fixed.any())
    total = force.sum(axis=0) + before * fade
    turn = arm.T @ force + moments[:, None] * fade
    t = model.time + shares * time
    h = [model.history(t, v) for v in (total, turn[0], turn[1])]
    model.tools.by_pins(
        name, h[0], (h[1], h[2]), (float(centre[0]), float(centre[1])), mass=mass, inertia=(mass * float(spread[0]), mass * float(spread[1])), drag=drag, stop=stop, most=most
    )  # fmt: skip
    return float(total[-1])


def _curve(pin: Pin, where: str) -> tuple[Floats, Floats] | None:
    if isinstance(pin.force, (int, float)):
        return None
    a = np.array(pin.force, dtype=np.float64)
    if a.ndim != 2 or a.shape[1] != 2 or len(a) < 2 or a[0, 0] != 0.0 or a[-1, 0] != 1.0 or (np.diff(a[:, 0]) <= 0).any():
        raise InputError("expected at least two pairs whose shares rise from 0 to 1.", where=where)
    return a[:, 0], a[:, 1]


def _now(model: ShellModel, name: str, start: float, centre: Floats) -> tuple[float, Floats]:
    """Force and moments about ``centre`` that press on the tool now: those of its pins, or ``start`` evenly."""
    tools, k = model.tools, model.tools.number(name)
    if tools.sizes[k, at.Z_TILT] != at.TILTING:
        return start, np.zeros(2)
    rows = [int(tools.sizes[k, at.Z_HISTORY]), *(int(r) for r in tools.sizes[k, at.Z_TURN : at.Z_TURN + 2])]
    force, *turn = (float(np.interp(model.time, model._times[r], model._values[r])) for r in rows)
    return force, np.array(turn) + force * (tools.numbers[k, at.N_CENTRE : at.N_CENTRE + 2] - centre)

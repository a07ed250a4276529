"""Where a vent or drain hole would help, how large, and what it does: computed again with the hole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.finish.dip import rules
from diewright.geometry.flood_measure import mouth_width, pressed, volume_curve
from diewright.geometry.flood_pockets import Attitude, Pocket, attitude
from diewright.geometry.flood_space import Opening

Floats = NDArray[np.float64]

STEP = 0.5
"""[mm] to which a hole is rounded up: drills come so."""


@dataclass(frozen=True)
class Bath:
    """What decides about holes: density [kg/m3], surface tension [mN/m], depth over the part [mm], speed in [mm/s], drip time [s], least hole [mm]."""

    density: float
    tension: float
    depth: float
    in_speed: float
    drip: float
    hole_least: float


@dataclass(frozen=True, eq=False)
class Measured:
    """A pocket with its ``width`` [mm] at the free surface; ``kept`` share of a bubble's volume at depth (1 for a pool) and ``rise`` of its surface [mm];
    ``hole`` [mm] proposed at its far end, ``by_time`` [mm] (time alone), ``table`` [mm] (guidance, None beyond the table), ``time`` [s] with the hole, ``head_left`` [mm], ``holds``: surface tension
    keeps the pocket shallow as it is;
    ``after`` volume of its kind that stays with this hole alone, over the part [mm3], ``saved`` less than before."""

    pocket: Pocket
    width: float
    kept: float
    rise: float
    hole: float
    by_time: float
    table: float | None
    time: float
    head_left: float
    holds: bool
    after: float
    saved: float


def measure(at: Attitude, pocket: Pocket, bath: Bath, before: float) -> Measured:
    """Measure one pocket and flood the part again with its hole.

    A pool has the drip time to run out (1 s at least), a bubble the time in which its depth passes the surface; neither hole is narrower than the one
    whose drop or bubble holds as much head as the pocket has, unless that one would be wider than half the pocket: then it ``holds``.
    """
    distance, volume = volume_curve(at, pocket)
    width = mouth_width(at.free_surface(pocket), at.up)
    driving = 1.0 if pocket.kind == "pool" else bath.density / rules.AIR_DENSITY
    allowed = max(bath.drip, 1.0) if pocket.kind == "pool" else max(pocket.depth / bath.in_speed, 0.1)
    by_time = rules.hole_for_time(distance, volume, allowed, driving)
    breaks = rules.head_left(1.0, bath.tension, bath.density) / pocket.depth
    holds = breaks > 0.5 * width
    hole = STEP * float(np.ceil(max(by_time, 0.0 if holds else breaks, bath.hole_least, STEP) / STEP - 1e-9))
    again = attitude(at.space.opened([Opening(pocket.far, hole)]), at.up)
    after = again.air_total if pocket.kind == "air" else again.pool_total
    kept, rise = 1.0, 0.0
    if pocket.kind == "air":
        top = float(at.height[at.space.sides].max())
        kept, rise = pressed(distance, volume, bath.depth + top - pocket.surface, rules.ATMOSPHERE, bath.density * rules.GRAVITY)
    return Measured(
        pocket, width, kept, rise, hole, by_time, rules.vent_by_table(width), rules.emptying_time(distance, volume, hole, driving),
        rules.head_left(hole, bath.tension, bath.density), holds, after, before - after,
    )  # fmt: skip


def measured(at: Attitude, bath: Bath) -> tuple[list[Measured], list[Measured]]:
    """Bubbles and pools of an attitude, each measured."""
    return [measure(at, p, bath, at.air_total) for p in at.air], [measure(at, p, bath, at.pool_total) for p in at.pools]


def with_all(at: Attitude, found: list[Measured]) -> Attitude:
    """The same attitude with all proposed holes."""
    return attitude(at.space.opened([Opening(m.pocket.far, m.hole) for m in found]), at.up)

"""What the job states about leading the edge on, made into values along the edge, and the blankholder surface for them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from diewright.die import rules
from diewright.die.edge import Edge
from diewright.die.fit import Wanted, choose, landing, leaning, mode_of
from diewright.die.holder import Holder
from diewright.die.holder_fit import Spread
from diewright.die.line import walk
from diewright.die.profile import Lead
from diewright.errors import InputError

Floats = NDArray[np.float64]
Way = Literal["auto", "blend", "profile"]
Places = tuple[Mapping[str, Any], ...]


@dataclass(frozen=True)
class Values:
    """Values of the section where no place states another: trim land, punch radius and die radius of the faces [mm], wall angle [rad from vertical]."""

    land: float
    punch: float
    angle: float
    radius: float


def values_of(thickness: float, land: float | str, punch: float | str, angle: float | str, radius: float | str) -> Values:
    """Values stated, or by the handbook where they say ``auto``; ``angle`` stated in degrees."""
    return Values(
        rules.trim_land(thickness) if isinstance(land, str) else land,
        rules.punch_radius(thickness) if isinstance(punch, str) else punch,
        math.radians(rules.WALL_ANGLE if isinstance(angle, str) else angle),
        rules.die_radius(thickness) if isinstance(radius, str) else radius,
    )


def leads(
    edge: Edge, values: Values, thickness: float, way: Way, wanted: Wanted, blank: Floats, places: Places = ()
) -> tuple[Lead, Holder, Spread]:
    """How the edge is led on and the blankholder surface that serves it under the flat ``blank (k, 2)``.

    ``auto`` blends a flange while that lies within one die radius of the blankholder surface all round, and puts the full profile between otherwise. Raises :class:`InputError` where a
    blend is stated for an edge that is no flange.
    """
    half = 0.5 * thickness

    def at(name: str, base: float) -> Floats:
        return along(edge, base, [(p["x"], p["y"], p[name]) for p in places if p.get(name) is not None])

    angle = np.radians(at("wall_angle", math.degrees(values.angle)))
    lead = Lead(
        mode_of(edge),
        at("trim_land", values.land),
        at("punch_radius", values.punch) + half,
        leaning(edge, angle),
        at("die_radius", values.radius) + half,
    )
    if way == "profile":
        lead = replace(lead, mode="profile")
    if way == "blend" and lead.mode != "blend":
        raise InputError(
            "the part's edge is not a flange all round, so it cannot be blended into the blankholder surface.",
            where="faces.lead_on",
            help="State auto.",
        )
    holder, spread = choose(edge, lead, wanted, thickness, blank)
    if way == "auto" and lead.mode == "blend":
        plan, heights = landing(edge, lead)
        if (np.abs(holder.height(plan) - heights) > lead.radius).any():
            lead = replace(lead, mode="profile")
            holder, spread = choose(edge, lead, wanted, thickness, blank)
    return lead, holder, spread


def along(edge: Edge, base: float, places: list[tuple[float, float, float]]) -> Floats:
    """A value at the edge's points ``(k,)``: ``base`` without ``places`` (x, y, value), else theirs at the nearest edge points and a smooth step along the edge between."""
    k = len(edge.points)
    if not places:
        return np.full(k, base)
    s = walk(edge.points)
    at = np.array([s[int(np.argmin(np.hypot(edge.points[:, 0] - x, edge.points[:, 1] - y)))] for x, y, _ in places])
    value = np.array([v for _, _, v in places])
    order = np.argsort(at, kind="stable")
    at, value = at[order], value[order]
    after = np.searchsorted(at, s[:-1], side="right")
    before, after = (after - 1) % len(at), after % len(at)
    gap = np.where(after == before, s[-1], (at[after] - at[before]) % s[-1])
    x = np.clip(((s[:-1] - at[before]) % s[-1]) / np.maximum(gap, 1e-9), 0.0, 1.0)
    return np.asarray(value[before] + (value[after] - value[before]) * x * x * (3.0 - 2.0 * x))

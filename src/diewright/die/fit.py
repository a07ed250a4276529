"""Which blankholder surface serves a part's edge, how high it stands, and how the edge is led on to it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.die.edge import LEVEL, Edge
from diewright.die.ends import open_end, way_out
from diewright.die.holder import Holder, Spread, fit_cylinder, plane_spread
from diewright.die.line import away
from diewright.die.profile import Lead, Mode, need, rise, shoulder
from diewright.errors import InputError, SolveError

Floats = NDArray[np.float64]

UNEVEN, BETTER = 3.0, 0.5
"""A curved blankholder is chosen where the plane leaves the wanted heights uneven by more than this many thicknesses (root mean square), and the curved one at most this share of that."""
CLIMB_ANGLE = math.radians(25.0)
"""Least wall angle from vertical at an open end, where the sections of a climbing edge lie in one plane and only the lean of the wall keeps them apart."""
_BEYOND = 20.0  # mm along the edge to either side of a climb over which the wall takes that angle
_FINE = 1.0  # chord of the trial sections: their points are not used


@dataclass(frozen=True, eq=False)
class Wanted:
    """What is stated about the blankholder: ``kind``, ``direction`` [deg] or None, ``shift`` [mm], ``tilt`` (slopes along x and y), ``radius`` [mm] the tightest bend allowed."""

    kind: Literal["auto", "flat", "cylindrical"] = "auto"
    direction: float | None = None
    shift: float = 0.0
    tilt: tuple[float, float] = (0.0, 0.0)
    radius: float = 200.0


def plain(edge: Edge, land: float, radius: float, punch: float | None = None, angle: float = 0.0, mode: Mode | None = None) -> Lead:
    """The same values [mm, middle surface; rad from vertical] all round; the mode is that of the edge unless given: its walls, or its flange, or the full profile where it has both or an open end."""
    ones = np.ones(len(edge.points))
    return Lead(mode or mode_of(edge), land * ones, (radius if punch is None else punch) * ones, leaning(edge, angle * ones), radius * ones)


def mode_of(edge: Edge) -> Mode:
    """How an edge is led on that nothing is stated about: a flange all round blended, walls all round by land and die radius, anything else by the full profile."""
    flange = edge.is_flange
    if edge.climbs or (edge.elevation < -LEVEL).any() or (flange.any() and not flange.all()):
        return "profile"
    return "blend" if flange.all() else "wall"


def leaning(edge: Edge, angle: Floats) -> Floats:
    """Elevation of the wall ``(k,)``: leaning by ``angle`` [rad], and by :data:`CLIMB_ANGLE` at least at open ends, with a smooth passage between."""
    if edge.climbs:
        x = np.clip(away(edge.points, open_end(edge)) / _BEYOND, 0.0, 1.0)
        angle = np.maximum(angle, CLIMB_ANGLE * (1.0 - x * x * (3.0 - 2.0 * x)))
    return np.asarray(0.5 * math.pi - angle)


def landing(edge: Edge, lead: Lead) -> tuple[Floats, Floats]:
    """Where the sections land in plan ``(k, 2)`` and the heights [mm] wanted there ``(k,)``: the least a wall needs, where a flange leads by itself."""
    if lead.mode == "blend":
        return edge.points[:, :2], edge.points[:, 2] + np.tan(edge.elevation) * lead.land / 3.0
    out, up = need(edge, lead)
    way = way_out(edge) if lead.mode == "profile" else edge.outward
    return edge.points[:, :2] + out[:, None] * way, edge.points[:, 2] + up


def settle(edge: Edge, lead: Lead, holder: Holder) -> Holder:
    """The surface ``holder`` moved up or down to where it serves: as low as leaves every wall its least length, or through the mean of where a flange leads."""
    plan, wanted = landing(edge, lead)
    if lead.mode == "blend":
        return holder.raised(float(np.average(wanted - holder.height(plan), weights=edge.lengths)))
    holder = holder.raised(float((wanted - holder.height(plan)).max()))
    if holder.kind == "flat" and holder.tilt == (0.0, 0.0):
        return holder
    for _ in range(20):
        if lead.mode == "profile":
            spare = rise(edge, way_out(edge), lead, holder, _FINE).spare
        else:
            spare = shoulder(edge.points, edge.outward, edge.elevation, lead.land, lead.radius, holder, _FINE).spare
        least = float(spare.min())
        holder = holder.raised(-least)
        if abs(least) < 1e-6:
            return holder
    raise SolveError(
        "no height of the curved blankholder surface serves all of the edge.",
        where="faces",
        help="State faces.blankholder = flat, or a smaller tilt.",
    )


def choose(edge: Edge, lead: Lead, wanted: Wanted, thickness: float) -> tuple[Holder, Spread]:
    """The blankholder surface and how uneven the wanted heights are about a plane and about a cylinder.

    Auto takes the plane unless it leaves more than 3 thicknesses (root mean square) and the best cylinder at most half of that; a part with an open end gets the plane, since its
    end would pull the cylinder down. Raises :class:`SolveError` where a stated cylinder cannot be had.
    """
    if wanted.shift < 0.0 and lead.mode != "blend":
        raise InputError(
            f"a blankholder surface {-wanted.shift:g} mm lower leaves the wall less than its trim land.", where="faces.blankholder_shift",
            help="State 0 or more, or a smaller faces.trim_land.",
        )  # fmt: skip
    plan, heights = landing(edge, lead)
    weight = edge.lengths
    flat = plane_spread(plan, heights, weight)
    found = None
    if wanted.kind != "flat" and not (wanted.kind == "auto" and edge.climbs):
        found = fit_cylinder(plan, heights, weight, wanted.radius, wanted.direction)
    if wanted.kind == "cylindrical" and found is None:
        raise SolveError(
            f"no cylindrical blankholder follows the part's edge within a bend of {wanted.radius:.3g} mm and a slope of 25 deg.", where="faces.blankholder",
            help="State flat, or another faces.blankholder_direction.",
        )  # fmt: skip
    curved = None if found is None else found[1]
    use = wanted.kind == "cylindrical" or (
        wanted.kind == "auto" and curved is not None and flat > UNEVEN * thickness and curved < BETTER * flat
    )
    holder = replace(found[0], tilt=wanted.tilt) if use and found is not None else Holder(0.0, tilt=wanted.tilt)
    return settle(edge, lead, holder).raised(wanted.shift), Spread(flat, curved)

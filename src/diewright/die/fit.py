"""Which blankholder surface serves a part's edge, how high it stands, and how the edge is led on to it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.die.edge import LEVEL, Edge
from diewright.die.ends import open_end, way_out
from diewright.die.holder import Holder
from diewright.die.holder_fit import Spread, fit_cylinder, plane_spread
from diewright.die.holder_ruled import Aim, area_of, fit_cone, fit_developable
from diewright.die.line import away
from diewright.die.profile import Lead, Mode, need, rise, shoulder
from diewright.errors import InputError, SolveError

Floats = NDArray[np.float64]

UNEVEN, UNEVEN_CURVED, BETTER = 3.0, 1.0, 0.5
"""The next surface of plane, cylinder, cone, general developable is chosen over a simpler one where that leaves the wanted heights uneven by more than so many thicknesses (root mean square; the
plane, and what is curved already), and the next one at most this share of that."""
REACH = 20.0
"""How far outside the blank and the landing line a curved surface is held to its bounds [mm]: somewhat further than it is laid out."""
CLIMB_ANGLE = math.radians(25.0)
"""Least wall angle from vertical at an open end, where the sections of a climbing edge lie in one plane and only the lean of the wall keeps them apart."""
_BEYOND = 20.0  # mm along the edge to either side of a climb over which the wall takes that angle
_FINE = 1.0  # chord of the trial sections: their points are not used


@dataclass(frozen=True, eq=False)
class Wanted:
    """What is stated about the blankholder: ``kind``, ``direction`` [deg] of a cylinder or None, ``shift`` [mm], ``tilt`` (slopes along x and y), ``radius`` [mm] the tightest bend allowed,
    ``apex`` of a cone in plan [mm] or None, ``rulings`` of a general developable surface (x, y [mm], angle from +x [deg])."""

    kind: Literal["auto", "flat", "cylindrical", "conical", "developable"] = "auto"
    direction: float | None = None
    shift: float = 0.0
    tilt: tuple[float, float] = (0.0, 0.0)
    radius: float = 200.0
    apex: tuple[float, float] | None = None
    rulings: tuple[tuple[float, float, float], ...] = ()


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


def choose(edge: Edge, lead: Lead, wanted: Wanted, thickness: float, blank: Floats) -> tuple[Holder, Spread]:
    """The blankholder surface and how uneven the wanted heights are about those that were tried.

    Auto goes from plane over cylinder and cone to the general developable surface and takes the next where the one it has leaves more than 3 thicknesses (the plane) or 1 (what is curved already), root
    mean square, and the next at most half of that; a part with an open end gets the plane, since its end would pull any other down. Cone and developable surface are fitted only where they are stated or
    what is simpler leaves more than that. ``blank (k, 2)`` is the flat blank, over which a curved surface keeps its bounds. Raises :class:`SolveError` where a stated kind cannot be had.
    """
    if wanted.shift < 0.0 and lead.mode != "blend":
        raise InputError(
            f"a blankholder surface {-wanted.shift:g} mm lower leaves the wall less than its trim land.", where="faces.blankholder_shift",
            help="State 0 or more, or a smaller faces.trim_land.",
        )  # fmt: skip
    plan, heights = landing(edge, lead)
    weight = edge.lengths
    auto = wanted.kind == "auto" and not edge.climbs
    flat = plane_spread(plan, heights, weight)
    holder, uneven, limit = Holder(0.0), flat, UNEVEN * thickness
    aim = Aim(plan, heights, weight, wanted.radius, area_of(plan, blank, REACH))
    ways: dict[str, Callable[[], tuple[Holder, float] | None]] = {
        "cylindrical": lambda: fit_cylinder(plan, heights, weight, wanted.radius, wanted.direction),
        "conical": lambda: fit_cone(aim, wanted.apex),
        "developable": lambda: fit_developable(aim, wanted.rulings),
    }
    left: dict[str, float | None] = {}
    for kind, fitted in ways.items():
        stated = wanted.kind == kind
        beside = kind == "cylindrical" and wanted.kind not in ("auto", "flat")  # people compare with the cylinder's number
        if not (stated or beside or (auto and (uneven > limit or kind == "cylindrical"))):
            continue
        found = fitted()
        left[kind] = None if found is None else found[1]
        if stated and found is None:
            raise SolveError(_LACKING[kind].format(radius=wanted.radius), where="faces.blankholder", help=_HELP[kind])
        if found is not None and (stated or (auto and uneven > limit and found[1] < BETTER * uneven)):
            holder, uneven, limit = found[0], found[1], UNEVEN_CURVED * thickness
    spread = Spread(flat, left.get("cylindrical"), left.get("conical"), left.get("developable"))
    return settle(edge, lead, holder.tilted(wanted.tilt)).raised(wanted.shift), spread


_LACKING = {
    "cylindrical": "no cylindrical blankholder follows the part's edge within a bend of {radius:.3g} mm and a slope of 25 deg.",
    "conical": "no conical blankholder follows the part's edge within a bend of {radius:.3g} mm and a slope of 25 deg with its apex far enough outside the blank.",
    "developable": "no developable blankholder follows the part's edge within a bend of {radius:.3g} mm and a slope of 25 deg with rulings that do not meet near the blank.",
}
_HELP = {
    "cylindrical": "State flat, or another faces.blankholder_direction.",
    "conical": "State flat, or another apex (faces.blankholder_apex_x, faces.blankholder_apex_y).",
    "developable": "State flat, or other rulings (faces.blankholder_ruling).",
}

"""Working faces that are known in closed form: round and square cups, a dome and a channel.

All are given in the closed position. The middle surface of the flange lies at z = 0, that of the bottom at z = -depth: the die's top plane is
at z = -t/2, the blankholder at z = +t/2, the punch's bottom at z = -depth + t/2. The die is an open ring, radius and wall that ends 1 mm below
the closed sheet, where ``bottom`` closes it with a plane. Normals: die up and into the opening, punch and blankholder down and outwards. Lengths mm.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.die.loft import ANGLE, CHORD, arc, divisions, joined, loft
from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

BELOW = 1.0
"""How far the die's wall reaches below the closed sheet [mm]."""
ABOVE = 5.0
"""How far the punch's wall reaches above the blankholder [mm]."""
OVERLAP = 5.0
"""How far the faces of a quarter reach over its planes of symmetry [mm]."""
MARGIN = 10.0
"""How far die and blankholder reach beyond the blank [mm]."""


def _need(condition: bool, what: str) -> None:
    if not condition:
        raise InputError(what, help="Change the tool's dimensions.")


def _punch_profile(half: float, radius: float, depth: float, t: float, chord: float, angle: float) -> Floats:
    """Points (offset from the wall, z) of a flat punch from the rim of its flat up its wall ``(k, 2)``; offset 0 is the wall."""
    z = -depth + 0.5 * t
    nose = arc((-radius, z + radius), radius, -0.5 * math.pi, 0.0, chord, angle) if radius > 0 else np.array([[0.0, z]])
    return np.vstack([nose, [[0.0, 0.5 * t + ABOVE]]])


def _die_profile(radius: float, depth: float, t: float, out: float, chord: float, angle: float) -> Floats:
    """Points (offset from the wall, z) of a die from the foot of its wall to its outer edge ``out`` beyond the wall."""
    top = -0.5 * t
    shoulder = arc((radius, top - radius), radius, math.pi, 0.5 * math.pi, chord, angle) if radius > 0 else np.array([[0.0, top]])
    return np.vstack([[[0.0, -depth - 0.5 * t - BELOW]], shoulder, [[out, top]]])


def _tools(
    punch_ring: Callable[[float], Floats], die_ring: Callable[[float], Floats], punch: Floats, die: Floats,
    holder: tuple[float, float], t: float, pole: Floats | None, closed: bool, bottom: bool,
) -> dict[str, TriMesh]:  # fmt: skip
    """Sweep the profiles: ``*_ring(offset)`` gives the plan line ``(k, 2)`` at an offset from the wall; ``pole`` closes flats to a point."""

    def swept(ring: Callable[[float], Floats], profile: Floats, closing: bool, up: bool) -> TriMesh:
        rings = [np.column_stack([(line := ring(float(o))), np.full(len(line), z)]) for o, z in profile]
        if closing and pole is not None:
            rings.insert(0, np.array([[pole[0], pole[1], profile[0, 1]]]))
        return loft(rings, closed=closed, up=up)

    flat = np.array([[holder[0], 0.5 * t], [holder[1], 0.5 * t]])
    return {
        "die": swept(die_ring, die, bottom, True),
        "punch": swept(punch_ring, punch, True, False),
        "blankholder": swept(die_ring, flat, False, False),
    }


def _circle(radius: float, chord: float, angle: float, widest: float) -> Callable[[float], Floats]:
    count = 4 * divisions(widest, 0.5 * math.pi, chord, angle)
    at = 2.0 * math.pi * np.arange(count) / count
    unit = np.stack([np.cos(at), np.sin(at)], axis=1)
    return lambda offset: (radius + offset) * unit


def round_cup_tools(
    punch_d: float, punch_r: float, die_d: float, die_r: float, depth: float, thickness: float, blank_d: float,
    flat_bottom: bool = True, *, bottom: bool = False, chord: float = CHORD, angle: float = ANGLE,
) -> dict[str, TriMesh]:  # fmt: skip
    """Faces of a round cup: punch diameter and nose radius, die diameter and radius, draw depth, sheet thickness, blank diameter [mm].

    ``flat_bottom=False`` makes the punch a hemisphere of its own diameter (``punch_r`` is then not used). ``chord`` [mm] and ``angle`` [deg] bound every arc.
    """
    t, p, d = thickness, 0.5 * punch_d, 0.5 * die_d
    _need(0 < p < d and t > 0 and depth > 0, f"A punch of {punch_d:g} mm does not fit a die of {die_d:g} mm.")
    nose = p if not flat_bottom else punch_r
    _need(0 <= nose <= p, f"The punch radius {punch_r:g} mm is larger than half the punch.")
    out = max(0.5 * blank_d + MARGIN - d, die_r + MARGIN)
    punch = _punch_profile(p, nose, depth, t, chord, angle)
    if nose == p:
        punch = punch[1:]  # the first point is the pole itself
    tools = _tools(
        _circle(p, chord, angle, p), _circle(d, chord, angle, d + die_r), punch, _die_profile(die_r, depth, t, out, chord, angle),
        (0.0, out), t, np.zeros(2), True, bottom,
    )  # fmt: skip
    if nose == p:  # the pole lies at the punch's lowest point, not level with the first ring
        points = tools["punch"].points.copy()
        points[0, 2] = -depth + 0.5 * t
        tools["punch"] = TriMesh(points, tools["punch"].triangles)
    return tools


def hemisphere_tools(
    punch_d: float, die_d: float, die_r: float, depth: float, thickness: float, blank_d: float,
    *, bottom: bool = False, chord: float = CHORD, angle: float = ANGLE,
) -> dict[str, TriMesh]:  # fmt: skip
    """Faces of a dome: a hemispherical punch in a round die, otherwise as :func:`round_cup_tools`."""
    return round_cup_tools(punch_d, 0.5 * punch_d, die_d, die_r, depth, thickness, blank_d, False, bottom=bottom, chord=chord, angle=angle)


def _square(half: float, corner: float, chord: float, angle: float, widest: float, quarter: bool) -> Callable[[float], Floats]:
    count = divisions(max(widest, 1e-9), 0.5 * math.pi, chord, angle)

    def ring(offset: float) -> Floats:
        side, r = half + offset, max(corner + offset, 0.0)
        at = np.linspace(0.0, 0.5 * math.pi, count + 1)
        first = np.stack([side - r + r * np.cos(at), side - r + r * np.sin(at)], axis=1)
        if quarter:
            return np.vstack([[[side, -OVERLAP]], first, [[-OVERLAP, side]]])
        turns = [np.array([[1, 0], [0, 1]]), np.array([[0, 1], [-1, 0]]), -np.eye(2), np.array([[0, -1], [1, 0]])]
        return np.concatenate([first @ turn for turn in turns])

    return ring


def square_cup_tools(
    punch_side: float, punch_corner: float, punch_r: float, die_side: float, die_corner: float, die_r: float, depth: float,
    thickness: float, blank_side: float, quarter: bool = False, *, bottom: bool = False, chord: float = CHORD, angle: float = ANGLE,
) -> dict[str, TriMesh]:  # fmt: skip
    """Faces of a square cup: sides and plan corner radii of punch and die, nose and die radius, depth, thickness, blank side [mm].

    ``quarter`` gives x, y > -5 mm only: a quarter with a little overlap, so that points on its planes of symmetry see a face on both sides.
    """
    t, p, d = thickness, 0.5 * punch_side, 0.5 * die_side
    _need(0 < p < d and t > 0 and depth > 0, f"A punch of {punch_side:g} mm does not fit a die of {die_side:g} mm.")
    _need(
        0 <= punch_r <= punch_corner <= p, f"The punch radius {punch_r:g} mm must not be larger than the plan corner {punch_corner:g} mm."
    )
    _need(0 <= die_corner <= d, f"The plan corner {die_corner:g} mm is larger than half the die.")
    out = max(0.5 * blank_side + MARGIN - d, die_r + MARGIN)
    pole = np.full(2, -OVERLAP) if quarter else np.zeros(2)
    return _tools(
        _square(p, punch_corner, chord, angle, punch_corner, quarter), _square(d, die_corner, chord, angle, die_corner + die_r, quarter),
        _punch_profile(p, punch_r, depth, t, chord, angle), _die_profile(die_r, depth, t, out, chord, angle), (0.0, out), t, pole, not quarter, bottom,
    )  # fmt: skip


def channel_tools(
    punch_width: float, punch_r: float, die_width: float, die_r: float, depth: float, thickness: float, blank_length: float, blank_width: float,
    half: bool = False, *, bottom: bool = False, chord: float = CHORD, angle: float = ANGLE,
) -> dict[str, TriMesh]:  # fmt: skip
    """Faces of a straight channel (drawing a strip to a U): the profile lies in xz, drawn out over ``blank_width`` in y with 5 mm to spare [mm].

    ``half`` gives x > -5 mm only.
    """
    t, p, d, reach = thickness, 0.5 * punch_width, 0.5 * die_width, 0.5 * blank_width + OVERLAP
    _need(0 < p < d and t > 0 and depth > 0, f"A punch of {punch_width:g} mm does not fit a die of {die_width:g} mm.")
    _need(0 <= punch_r <= p, f"The punch radius {punch_r:g} mm is larger than half the punch.")
    out = max(0.5 * blank_length + MARGIN - d, die_r + MARGIN)
    right_punch, right_die = _punch_profile(p, punch_r, depth, t, chord, angle), _die_profile(die_r, depth, t, out, chord, angle)
    middle = -OVERLAP if half else 0.0

    def extruded(profile: Floats, wall: float, up: bool, to_middle: bool) -> TriMesh:
        xz = profile + np.array([wall, 0.0])
        if to_middle:
            xz = np.vstack([[[middle, xz[0, 1]]], xz])
        near, far = (np.column_stack([xz[:, 0], np.full(len(xz), y), xz[:, 1]]) for y in (-reach, reach))
        right = loft([near, far], closed=False, up=not up)
        if half:
            return right
        mirrored = TriMesh(right.points * [-1.0, 1.0, 1.0], right.triangles[:, ::-1])
        return joined([right, mirrored])

    flat = np.array([[0.0, 0.5 * t], [out, 0.5 * t]])
    return {
        "die": extruded(right_die, d, True, bottom),
        "punch": extruded(right_punch, p, False, True),
        "blankholder": extruded(flat, d, False, False),
    }

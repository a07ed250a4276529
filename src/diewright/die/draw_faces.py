"""Die, punch and blankholder (a sleeve from the second draw on) of each draw, turned about z, in the closed position.

Draw 1: the middle surface of the blank lies at z = 0 on the level die. A redraw: the cup of the draw before stands open upwards, the middle of its bottom at z = 0, its cone of
45 degrees on the die's cone; the sleeve inside holds the cone down, the punch goes through both. The punch is made to the cup's inside, all of the clearance is on the die.
Below its land the die is relieved, so that a rim that has passed it is free. A restrike closes the bottom between punch and die.
"""

from __future__ import annotations

import math

from diewright.die import draw_rules as rules
from diewright.die.draw_plan import Draw, cone_level
from diewright.die.draw_profile import Floats, rounded, turned
from diewright.geometry.mesh import TriMesh

ROOT = math.sqrt(2.0)
LIFT = ROOT - 1.0
"""A parallel to a level line and a cone of 45 degrees at distance a: their corner moves inwards by ``a (sqrt(2) - 1)``."""
ABOVE = 5.0
"""How far the punch's wall reaches above the sheet it draws [mm]."""
BEYOND = 10.0
"""How far die and blankholder reach beyond the blank [mm]."""
CONE_BEYOND = 6.0
"""How far the cone of a redraw's die reaches beyond the cup that stands on it [mm]."""


def faces(draw: Draw, before: Draw | None, thickness: float, chord: float, angle: float) -> dict[str, TriMesh]:
    """``die`` (normals up and into the opening), ``punch`` and ``blankholder`` (normals down and outwards); a restrike has no blankholder."""
    lines = profiles(draw, before, thickness, chord, angle)
    return {name: turned(line, name == "die", chord, angle) for name, line in lines.items()}


def profiles(draw: Draw, before: Draw | None, thickness: float, chord: float, angle: float) -> dict[str, Floats]:
    """Meridians ``(k, 2)`` of r, z [mm], inside first."""
    if draw.kind == "restrike":
        return _struck(draw, thickness, chord, angle)
    die = _first_die(draw, thickness) if before is None else _redraw_die(draw, before, thickness)
    holder = _flat_holder(draw, thickness) if before is None else _sleeve(draw, before, thickness)
    top = 0.0 if before is None else before.height * (1.0 + rules.RIM)
    return {
        "die": rounded(*die, chord, angle), "punch": punch_line(draw, thickness, -draw.stroke, max(top, 0.0) + ABOVE, chord, angle),
        "blankholder": rounded(*holder, chord, angle),
    }  # fmt: skip


def punch_line(draw: Draw, thickness: float, level: float, top: float, chord: float, angle: float) -> Floats:
    """Meridian of the punch, the middle of the bottom under it at ``level`` [mm]."""
    z, wall = level + 0.5 * thickness, 0.5 * draw.punch_diameter
    if draw.foot <= 0:
        return rounded([(0.0, z), (wall, z), (wall, top)], [draw.punch_radius], chord, angle)
    inner = 0.5 * draw.foot - 0.5 * thickness * LIFT
    return rounded([(0.0, z), (inner, z), (wall, z + wall - inner), (wall, top)], [draw.punch_radius, draw.punch_radius], chord, angle)


Line = tuple[list[tuple[float, float]], list[float]]


def _land(wall: float, edge: float, bottom: float, t: float) -> list[tuple[float, float]]:
    """Die below its radius: relieved wall from ``bottom`` up, a bevel of 45 degrees, the land's lower end at ``edge``."""
    free = rules.relief(t)
    return [(wall + free, bottom), (wall + free, edge - free), (wall, edge)]


def _first_die(d: Draw, t: float) -> Line:
    wall, top = 0.5 * d.die_diameter, -0.5 * t
    out = max(0.5 * d.before + BEYOND, wall + d.die_radius + BEYOND)
    low = _land(wall, top - d.die_radius - rules.die_land(t), -d.stroke - 2.0 * t, t)
    return [*low, (wall, top), (out, top)], [0.0, 0.0, d.die_radius]


def _redraw_die(d: Draw, before: Draw, t: float) -> Line:
    wall, corner = 0.5 * d.die_diameter, cone_level(d.die_diameter, before.foot, t)
    low = _land(wall, corner - d.die_radius * math.tan(math.pi / 8.0) - rules.die_land(t), -d.stroke - 2.0 * t, t)
    out = 0.5 * before.die_diameter + CONE_BEYOND
    return [*low, (wall, corner), (out, corner + out - wall)], [0.0, 0.0, d.die_radius]


def _flat_holder(d: Draw, t: float) -> Line:
    inner = 0.5 * d.punch_diameter + rules.sleeve_play(t)
    out = max(0.5 * d.before + BEYOND, 0.5 * d.die_diameter + d.die_radius + BEYOND)
    return [(inner, 0.5 * t), (out, 0.5 * t)], []


def _sleeve(d: Draw, before: Draw, t: float) -> Line:
    play = rules.sleeve_play(t)
    inner, outer = 0.5 * d.punch_diameter + play, 0.5 * before.punch_diameter - play
    level = -0.5 * before.foot + t / ROOT  # z of the sheet's inner face over r on the cone
    high = before.height * (1.0 + rules.RIM) + ABOVE
    return [(inner, inner + level), (outer, outer + level), (outer, high)], [
        min(before.punch_radius, (outer - inner) * ROOT / math.tan(math.pi / 8.0) * 0.9)
    ]


def _struck(d: Draw, t: float, chord: float, angle: float) -> dict[str, Floats]:
    """The cup stands on the closed die, its bottom's middle at z = 0; the die's radius is the part's outside."""
    wall, top = 0.5 * d.die_diameter, 0.5 * d.height
    radius = d.punch_radius + t
    die = rounded([(0.0, -0.5 * t), (wall, -0.5 * t), (wall, top)], [radius], chord, angle)
    return {"die": die, "punch": punch_line(d, t, 0.0, d.height + ABOVE, chord, angle)}

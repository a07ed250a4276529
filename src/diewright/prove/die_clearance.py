"""A cup with a ring bead and a leaning wall: the break that ``sin^2(slope)`` leaves in a die in closed form, what is left of it on the die made, and the gaps beside it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.die import rules
from diewright.die.build import Built, Stated, build
from diewright.die.clearance import sine_share
from diewright.die.gaps import gap
from diewright.die.loft import loft
from diewright.die.stated import values_of
from diewright.watch import Watch

Floats = NDArray[np.float64]

THICKNESS, BEAD, STEEP, LEAN = 1.0, 4.0, np.radians(45.0), np.radians(12.0)
"""Sheet thickness and radius of both arcs of the bead [mm], its slope half way up, the wall's lean from upright."""
PLATEAU, NOSE, SHOULDER = 12.0, 6.0, 7.0
"""Radius up to which the middle is level, radii of bottom and shoulder [mm]."""
TURNS = 72


def _bands() -> list[tuple[Floats, Floats]]:
    """Pieces of the middle surface's section: points (r, z) and slopes, the part's level floor 14 mm wide, its wall 8 mm, its flange 15 mm."""
    steep = np.pi / 2 - LEAN
    bands: list[tuple[Floats, Floats]] = [(np.array([[4.0, 0.0], [PLATEAU, 0.0]]), np.zeros(2))]
    for radius, last, length in (
        (-BEAD, -STEEP, 0.0),
        (BEAD, 0.0, 0.0),
        (0.0, 0.0, 14.0),
        (NOSE, steep, 0.0),
        (0.0, steep, 8.0),
        (-SHOULDER, 0.0, 0.0),
        (0.0, 0.0, 15.0),
    ):
        start, first = bands[-1][0][-1], bands[-1][1][-1]
        if radius:
            slope = np.linspace(first, last, 9)
            way = radius * np.column_stack([np.sin(slope) - np.sin(first), np.cos(first) - np.cos(slope)])
        else:
            slope = np.full(5, first)
            way = np.linspace(0.0, length, 5)[:, None] * np.array([np.cos(first), np.sin(first)])
        bands.append((start + way, slope))
    return bands


def _faces() -> Built:
    bands = _bands()
    top = bands[-1][0][-1, 1]
    at = 2.0 * np.pi * np.arange(TURNS) / TURNS
    unit = np.stack([np.cos(at), np.sin(at)], axis=1)
    rings, normals, number = [np.array([[0.0, 0.0, -top]])], [np.array([[0.0, 0.0, 1.0]])], [np.zeros(TURNS, dtype=np.int64)]
    for i, (section, slope) in enumerate(bands):
        for j in range(0 if i == 0 else 1, len(section)):
            r, z = section[j]
            rings.append(np.column_stack([r * unit, np.full(TURNS, z - top)]))
            normals.append(np.column_stack([-np.sin(slope[j]) * unit, np.full(TURNS, np.cos(slope[j]))]))
            if len(rings) > 2:
                number.append(np.full(2 * TURNS, i))
    part = loft(rings, closed=True)
    blank = (rings[-1][:, :2] / np.linalg.norm(rings[-1][0, :2])) * 85.0
    stated = Stated(THICKNESS, rules.wall_gap(THICKNESS, "steel"), values_of(THICKNESS, "auto", "auto", "auto", "auto"))
    return build(part, np.concatenate(normals), part.boundary_loops[0], blank, stated, Watch(), np.concatenate(number))


def _break(share: Callable[[Floats, Floats], Floats], extra: float) -> float:
    """Turn [deg] of the die's section where the bead's arcs meet, from steps of 0.001 rad along either arc."""
    top, out = _bands()[-1][0][-1, 1], []
    for number, way in ((1, -1.0), (2, 1.0)):
        section, slope = _bands()[number]
        meet, radius, at = (section[-1], -BEAD, slope[-1]) if number == 1 else (section[0], BEAD, slope[0])
        turned = at + 1e-3 * np.arange(2.0) * np.sign(radius) * way
        p = meet + radius * np.column_stack([np.sin(turned) - np.sin(at), np.cos(at) - np.cos(turned)])
        n = np.column_stack([-np.sin(turned), np.cos(turned)])
        space = [np.column_stack([x[:, 0], np.zeros(2), x[:, 1]]) for x in (p, n)]
        face = p - (0.5 * THICKNESS + extra * share(space[0] - [0.0, 0.0, top], space[1]))[:, None] * n
        out.append(way * (face[1] - face[0]))
    (a, b), (c, d) = out
    return float(abs(np.degrees(np.arctan2(a * d - b * c, a * c + b * d))))


def bead() -> dict[str, float]:
    """Breaks of the die with ``sin^2`` and as made [deg], and the gaps on the leaning wall and the level floor [mm]."""
    b = _faces()
    rule, extra = b.faces.rule, rules.wall_gap(THICKNESS, "steel") - THICKNESS
    floor, wall = (_bands()[i][0] for i in (3, 5))
    top = _bands()[-1][0][-1, 1]
    p = b.faces.upper.mesh.points
    r, z = np.hypot(*p[:, :2].T), p[:, 2] + top
    on_floor = (r > floor[0, 0] + 1.0) & (r < floor[-1, 0] - 1.0) & (z < floor[0, 1] + THICKNESS)
    on_wall = (z > wall[0, 1] + 1.0) & (z < wall[-1, 1] - 1.0) & (r > floor[-1, 0])
    return {
        "break by sin^2": _break(lambda x, n: sine_share(x, n, rule.holder, rule.radius), extra), "break of the die": _break(rule.share, extra),
        "gap on the leaning wall": float(np.median(gap(p[on_wall], b.faces.die).value)), "gap on the floor": float(np.median(gap(p[on_floor], b.faces.die).value)),
    }  # fmt: skip

"""Sections set up across an edge: the way out spread where neighbours would cross, and the unit normals of what they sweep."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.die.edge import Edge, spot_of
from diewright.die.line import away, diffused, tangents
from diewright.die.profile import Strip
from diewright.errors import SolveError

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

CLOSEST = 0.5
"""How close neighbouring sections may come together at their far end, as a share of their distance at the edge in plan."""
CLOSEST_CLIMBING = 0.1
"""The same where the edge climbs, as a share of their distance along the edge."""


class Folds(SolveError):
    """What is led out of the edge would fold, where the edge turns inwards too tightly."""


Crossing = Callable[[Floats, Floats, Strip], Mask]


def swept(edge: Edge, outward: Floats, sections: Callable[[Floats], Strip], crossing: Crossing) -> tuple[Floats, Floats, Strip]:
    """Points ``(k, s, 3)`` of the sections set up across the edge, the way out in plan ``(k, 2)``, and the sections.

    Where neighbouring sections would cross (the edge turns inwards more tightly than it is led on), the way out is spread along the edge over a growing length.
    Raises :class:`Folds` where that does not help.
    """
    given, troubled = outward, np.zeros(len(outward), dtype=bool)
    strip = sections(outward)
    reach = max(float(strip.points[:, -1, 0].max()), 1e-3)
    spread = 0.1 * reach
    while True:
        columns = edge.points[:, None, :] + np.concatenate([strip.points[:, :, :1] * outward[:, None, :], strip.points[:, :, 1:]], axis=2)
        found = crossing(columns, outward, strip)
        if not found.any():
            return columns, outward, strip
        troubled |= found
        spread *= 1.25
        if spread > 10.0 * reach:
            break
        outward = _spread(edge.points, given, troubled, spread)
        strip = sections(outward)
    raise Folds(
        f"the surface led out of the part's edge would fold at ({spot_of(edge.points[int(np.argmax(found))])}) mm, where the edge turns inwards more tightly than the {reach:.1f} mm it is led on.",
        where="faces", help="State a smaller faces.die_radius, faces.trim_land or faces.wall_angle, or round that corner of the part.",
    )  # fmt: skip


def _spread(points: Floats, outward: Floats, troubled: Mask, length: float) -> Floats:
    """The way out ``(k, 2)`` evened over about ``length`` [mm] of the edge round the points ``troubled``."""
    near = away(points, troubled) <= 3.0 * length
    even = diffused(points, outward, np.where(near & np.roll(near, -1), length, 0.0))
    return np.asarray(even / np.maximum(np.hypot(*even.T), 1e-12)[:, None])


def crossing_in_plan(columns: Floats, outward: Floats, strip: Strip) -> Mask:
    """True at points whose outer neighbour step in plan runs against the inner one, or hardly with it."""
    near, far = columns[:, 0, :2], columns[:, -1, :2]
    step, moved = np.roll(near, -1, axis=0) - near, np.roll(far, -1, axis=0) - far
    along = np.einsum("ij,ij->i", step, moved) / np.maximum(np.einsum("ij,ij->i", step, step), 1e-12)
    return np.asarray((along < CLOSEST) | np.roll(along < CLOSEST, 1))


def crossing_in_space(normal: Floats) -> Crossing:
    """As :func:`crossing_in_plan`, judged in the surface itself: ``normal (k, 3)`` at the edge, turned up with the section, against the normal of the far end's facet."""

    def judge(columns: Floats, outward: Floats, strip: Strip) -> Mask:
        a, b = strip.elevation[:, 0], strip.elevation[:, -1]
        turn = b - a
        out, up = np.einsum("ij,ij->i", normal[:, :2], outward), normal[:, 2]
        flat = normal[:, :2] - out[:, None] * outward
        turned = np.column_stack(
            [flat + (out * np.cos(turn) - up * np.sin(turn))[:, None] * outward, out * np.sin(turn) + up * np.cos(turn)]
        )
        wall = np.column_stack([np.cos(b)[:, None] * outward, np.sin(b)])
        step = np.roll(columns[:, 0], -1, axis=0) - columns[:, 0]
        moved = np.roll(columns[:, -1], -1, axis=0) - columns[:, -1]
        length = np.maximum(np.linalg.norm(step, axis=1), 1e-9)
        here = np.einsum("ij,ij->i", np.cross(wall, moved), turned)
        there = np.einsum("ij,ij->i", np.cross(np.roll(wall, -1, axis=0), moved), np.roll(turned, -1, axis=0))
        share = np.minimum(here, there) / length
        limit = np.maximum(CLOSEST * np.hypot(*step[:, :2].T) / length, CLOSEST_CLIMBING)
        found = share < np.where(limit > 0.9 * CLOSEST, limit, CLOSEST_CLIMBING)
        return np.asarray(found | np.roll(found, 1))

    return judge


def standing(columns: Floats, outward: Floats, elevation: Floats) -> Floats:
    """Unit normals ``(k, s, 3)`` of the swept sections, up: the section's own tangent across that of the line through its neighbours."""
    out = np.zeros_like(columns)
    for j in range(columns.shape[1]):
        e = elevation[:, j]
        section = np.column_stack([np.cos(e)[:, None] * outward, np.sin(e)])
        n = np.cross(section, tangents(columns[:, j]))
        size = np.linalg.norm(n, axis=1, keepdims=True)
        own = np.column_stack([-np.sin(e)[:, None] * outward, np.cos(e)])
        out[:, j] = np.where(size > 0.05, n / np.maximum(size, 1e-18), own)
    return out

"""The flange of a part: what the blankholder presses on, and with what force by the handbook."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

_LEVEL = 20.0  # deg: steepest slope of a flange at its edge
_TURN = 10.0  # deg: how much steeper it may become inwards before it counts as die radius
_STEEP = 35.0  # deg: what stands steeper is wall


@dataclass(frozen=True)
class Flange:
    """``cells``: triangles under the blankholder; ``area`` [mm2] of them; ``opening`` [mm2] plan area inside; ``why`` in words."""

    cells: NDArray[np.bool_]
    area: float
    opening: float
    why: str

    @property
    def there(self) -> bool:
        """True if there is a flange."""
        return bool(self.cells.any())


def find_flange(mesh: TriMesh, outer: NDArray[np.int32], thickness: float) -> Flange:
    """Triangles joined to the outer edge ``outer`` (point numbers) that slope as it does: within 20 degrees of level at the edge, at most 10 degrees
    steeper inwards, in the top tenth of the depth.

    The mesh is in press coordinates, holes filled. A part with nothing steeper than 35 degrees has no wall, so no flange either; nor
    has one whose level rim is narrower than twice the thickness on average.
    """
    plan = 0.5 * np.abs(mesh.doubled_normals[:, 2])
    none = np.zeros(len(mesh.triangles), dtype=bool)
    whole = _plan_area(mesh, outer)
    slope = np.degrees(np.arccos(np.clip(np.abs(mesh.normals[:, 2]), 0.0, 1.0)))
    top, depth = float(mesh.points[:, 2].max()), float(np.ptp(mesh.points[:, 2]))
    if depth < thickness or mesh.areas[slope > _STEEP].sum() < 0.01 * mesh.area:
        return Flange(none, 0.0, whole, "the part has no wall, so nothing is a flange")
    high = mesh.centroids[:, 2] >= top - max(0.1 * depth, 2.0 * thickness)
    on_edge = np.zeros(len(mesh.points), dtype=bool)
    on_edge[outer] = True
    seeds = high & (slope <= _LEVEL) & (on_edge[mesh.triangles].sum(axis=1) >= 1)
    if not seeds.any():
        return Flange(none, 0.0, whole, "the part has no flange: its edge is a wall")
    candidate = high & (slope <= min(float(np.median(slope[seeds])) + _TURN, _LEVEL + _TURN))
    reached = seeds & candidate
    while True:
        touched = np.zeros(len(mesh.points), dtype=bool)
        touched[mesh.triangles[reached]] = True
        more = reached | (candidate & (touched[mesh.triangles].sum(axis=1) >= 2))
        if (more == reached).all():
            break
        reached = more
    width = float(mesh.areas[reached].sum()) / max(mesh.loop_length(outer), 1e-12)
    if width < 2.0 * thickness:
        return Flange(none, 0.0, whole, "the part has no flange: its edge is a wall")
    opening = whole - float(plan[reached].sum())
    if opening < 0.02 * whole:
        return Flange(none, 0.0, whole, "the part is level nearly everywhere, so nothing is a flange")
    return Flange(reached, float(mesh.areas[reached].sum()), opening, "the level rim in the top tenth of the depth")


def _plan_area(mesh: TriMesh, outer: NDArray[np.int32]) -> float:
    x, y = mesh.points[outer, :2].T
    return abs(0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))


@dataclass(frozen=True)
class Hold:
    """The handbook's blankholder figures: draw ratio, diameter [mm], pressure [MPa], area [mm2], force [N]."""

    ratio: float
    diameter: float
    pressure: float
    area: float
    force: float


def handbook_hold(blank_area: float, opening: float, thickness: float, rm: float) -> Hold:
    """Siebel's form ``p = [(beta - 1)^2 + d / (200 s)] Rm / 400`` on the blank outside the die opening, at the start of the draw.

    ``beta = sqrt(A_blank / A_opening)`` and ``d = sqrt(4 A_opening / pi)`` put circles of equal area in the place of the outlines (common
    practice). Source of the form: Kugler, Umformtechnik, Hanser 2009.
    """
    ratio = float(np.sqrt(max(blank_area / opening, 1.0)))
    diameter = float(np.sqrt(4.0 * opening / np.pi))
    pressure = ((ratio - 1.0) ** 2 + diameter / (200.0 * thickness)) * rm / 400.0
    area = max(blank_area - opening, 0.0)
    return Hold(ratio, diameter, pressure, area, pressure * area)

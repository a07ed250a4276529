"""What the tool adds to the one-step solution of a drawn wall: the clearance it passes through, and the tension an open rim was drawn under."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.blank.flange import Flange
from diewright.blank.formulas import draw_clearance
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.tension import wall_drag, wall_tension

Floats = NDArray[np.float64]

_UPRIGHT = 20.0  # deg from upright: a wall that both punch and die face at the end
_WALL = 35.0  # deg from level: what stands steeper is wall (as for the flange)
_CLOSED = 0.95  # share of the edge that must be wall: a bent channel has no drawn rim


@dataclass(frozen=True, eq=False)
class Tool:
    """``gap`` [mm] between punch and die, ``limits (m,)`` [mm] of the sheet's thickness (infinite off upright walls), ``drag (m,)`` [N] along the wall of an
    open rim, ``tension`` [N/mm] at its foot."""

    gap: float
    limits: Floats
    drag: Floats
    tension: float


def tool_of(
    mesh: TriMesh, outer: NDArray[np.int32], flange: Flange, thickness: float, family: str, hardening: tuple[ArrayLike, ArrayLike], rm: float
) -> Tool:  # fmt: skip
    """Gap and drag for a part in press coordinates with its outer edge ``outer`` (point numbers)."""
    gap = draw_clearance(thickness, family)
    lean = np.abs(mesh.normals[:, 2])
    limits = np.where(lean < np.sin(np.deg2rad(_UPRIGHT)), gap, np.inf)
    drag, tension = np.zeros(len(mesh.triangles)), 0.0
    if not flange.there and _drawn_rim(mesh, outer, lean):
        ratio = float(np.sqrt(max(mesh.area / flange.opening, 1.0)))
        depth, rising = wall_tension(ratio, thickness, hardening, rm)
        wall = lean < np.cos(np.deg2rad(_WALL))
        below = np.maximum(float(mesh.points[outer, 2].mean()) - mesh.centroids[:, 2], 0.0)
        drag = np.where(wall, wall_drag(below, mesh.areas, float(np.sqrt(flange.opening / np.pi)), depth, rising), 0.0)
        tension = float(rising[-1])
    return Tool(gap, limits, drag, tension)


def _drawn_rim(mesh: TriMesh, outer: NDArray[np.int32], lean: Floats) -> bool:
    """Whether nearly all of the edge is the top of a wall."""
    nxt = np.full(len(mesh.points), -1)
    nxt[outer] = np.roll(outer, -1)
    wall = total = 0.0
    for k in range(3):
        a, b = mesh.triangles[:, k], mesh.triangles[:, (k + 1) % 3]
        on = (nxt[a] == b) | (nxt[b] == a)
        length = np.linalg.norm(mesh.points[b[on]] - mesh.points[a[on]], axis=1)
        total += float(length.sum())
        wall += float(length[lean[on] < np.cos(np.deg2rad(_WALL))].sum())
    return total > 0 and wall >= _CLOSED * total

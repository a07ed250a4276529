"""How far a hole lies from the nearest bend's tangent line.

Common practice: a hole's edge keeps two thicknesses and the inner radius away from the line where the bend begins; nearer, the button has no flat to hold the sheet on and a hole that is there before the bend is pulled out of round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh
from diewright.trim.lines.mapping import spots

Floats = NDArray[np.float64]

BEND = 10.0
"""Radii below this many thicknesses count as bends (ours)."""


@dataclass(frozen=True, eq=False)
class NearBend:
    """Distance of a line from the bend's tangent line [mm] (0: on the bend), what is wanted there, inner radius of the bend, and the place ``(3,)``."""

    distance: float
    wanted: float
    radius: float
    at: Floats


class Bends:
    """The bends of a part from the signed least ``radius (k,)`` [mm] at its first points; the mesh's points after them (filled holes) belong to none."""

    def __init__(self, part: TriMesh, radius: Floats | None, filled: NDArray[np.bool_], thickness: float) -> None:
        self._t = thickness
        r = np.full(len(part.points), np.inf)
        if radius is not None:
            r[: len(radius)] = np.abs(np.where(np.isfinite(radius) & (radius != 0), radius, np.inf))
        tight = (r[part.triangles] <= BEND * thickness).all(axis=1)  # a triangle beside the bend has two points on its tangent line
        tight &= ~filled
        self._radius = r[part.triangles].min(axis=1)[tight]
        self._mesh = TriMesh(part.points, part.triangles[tight]) if tight.any() else None

    def nearest(self, line: Floats, factor: float) -> NearBend | None:
        """Where the room ``distance - (factor t + r)`` of a closed line is least, r the inner radius; None without bends."""
        if self._mesh is None:
            return None
        found = spots(self._mesh, line)
        inner = np.maximum(self._radius[found.triangles] - 0.5 * self._t, 0.0)
        wanted = factor * self._t + inner
        worst = int(np.argmin(found.off - wanted))
        return NearBend(float(found.off[worst]), float(wanted[worst]), float(inner[worst]), line[worst])

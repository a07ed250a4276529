"""Where to measure: places spread over the significant surface by farthest points, and the recesses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh
from diewright.geometry.sides import Region


@dataclass(frozen=True)
class Spot:
    """A place to measure: name, triangle, press coordinates [mm], side, why."""

    name: str
    cell: int
    at: tuple[float, float, float]
    side: str
    why: str


def plan(mesh: TriMesh, counts: dict[str, NDArray[np.bool_]], recesses: Sequence[tuple[str, Region]], wanted: int) -> list[Spot]:
    """``wanted`` places on each side of ``counts`` (fewer where it has fewer triangles that count), then one in each of ``recesses`` (side, region) that counts.

    The first place is the one nearest to the middle of the surface, each further one the farthest from all before: no place of the surface is then farther from a measured one
    than twice the best possible (Gonzalez 1985).
    """
    spots: list[Spot] = []
    for side, which in counts.items():
        cells = np.flatnonzero(which)
        x, near = mesh.centroids[cells], np.full(len(cells), np.inf)
        for k in range(min(wanted, len(cells))):
            # the middle first
            at = int(np.argmax(near) if k else np.argmin(np.linalg.norm(x - np.average(x, axis=0, weights=mesh.areas[cells]), axis=1)))
            if near[at] == 0.0:
                break
            spots.append(
                _spot(f"S{len(spots) + 1}", mesh, int(cells[at]), side, "farthest from the places before" if k else "middle of the surface")
            )
            near = np.minimum(near, np.linalg.norm(x - x[at], axis=1))
    for k, (side, region) in enumerate(recesses, start=1):
        inside = region.cells[counts[side][region.cells]]
        if len(inside):
            at_cell = inside[np.argmin(np.linalg.norm(mesh.centroids[inside] - np.array(region.at), axis=1))]
            spots.append(_spot(f"R{k}", mesh, int(at_cell), side, "recess: little current comes here"))
    return spots


def _spot(name: str, mesh: TriMesh, cell: int, side: str, why: str) -> Spot:
    x = mesh.centroids[cell]
    return Spot(name, cell, (float(x[0]), float(x[1]), float(x[2])), side, why)

"""The mesh of the blank for the tryout: lines of the later trim, and fine where a coarse first run saw the sheet bend.

A coarse first run (even edges) records the sharpest bend that every triangle has seen. The second mesh takes edges that turn by at most ``TURN`` along that
bend, between the finest edge of the quality and ``COARSEN`` times it. What it saves is in the result (``mesh["saved"]``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.cut_line import map_line
from diewright.geometry.mesh import TriMesh
from diewright.geometry.plane_mesh import PlaneMesh, SizeField, mesh_region, sizes_from
from diewright.job.stage import Result
from diewright.mechanics.forming.frames import Frame
from diewright.watch import Watch

Floats = NDArray[np.float64]
TURN = math.radians(18.0)
COARSEN = 2.6
EDGE = {"coarse": 1.6, "normal": 1.0, "fine": 0.65}  # finest edge over that of "normal"
MOST = {"coarse": 4_000, "normal": 14_000, "fine": 60_000}  # triangles


@dataclass(frozen=True)
class BlankLines:
    """What the mesh has to follow: the blank's outline (k, 2), its holes, and the flat lines of the later trim: the outer one (None: the blank's own edge) and the holes."""

    outline: Floats
    holes: tuple[Floats, ...]
    trim: Floats | None
    pierced: Mapping[str, Floats]


def blank_lines(solution: Result, blank: Result) -> BlankLines:
    """Lines of the job's blank. Holes that are pierced after the draw are carried from the part to the flat blank by the one-step solution."""
    outline, net = blank.arrays["outline"], blank.arrays["outline_net"]
    allowance = len(net) != len(outline) or float(np.abs(net - outline).max()) > 1e-6
    flat, part = solution.meshes["flat"].mesh, solution.meshes["part"].mesh
    kept = {name: a for name, a in blank.arrays.items() if name.startswith("hole_")}
    pierced = {}
    for name, loop in solution.arrays.items():
        if name.startswith("hole_") and name not in kept:
            ring = np.asarray(loop).ravel()
            pierced[name] = map_line(flat, part, part.points[np.append(ring, ring[0])]).points
    return BlankLines(outline, tuple(kept.values()), net if allowance else None, pierced)


def finest_edge(thickness: float, radii: list[float | None], quality: str) -> float:
    """Edge for the tightest radius: a turn of ``TURN`` at the middle surface, 1.2 to 8 thicknesses, times the quality's factor [mm]."""
    known = [r for r in radii if r is not None and r > 0]
    tight = min(known, default=8.0 * thickness) + 0.5 * thickness
    return EDGE[quality] * float(np.clip(1.3 * TURN * tight, 1.2 * thickness, 8.0 * thickness))


def even_mesh(lines: BlankLines, size: float | SizeField, most: int, watch: Watch) -> PlaneMesh:
    """A mesh of the blank; lines of the trim that come too close to the edge are left out by the mesher, which says so."""
    along = [] if lines.trim is None else [_closed(lines.trim)]
    along += [_closed(hole) for hole in lines.pierced.values()]
    try:
        return mesh_region(lines.outline, holes=lines.holes, lines=along, size=size, most=most, watch=watch)
    except InputError:
        # lines that touch each other: mesh without them, the cut then follows whole triangles
        return mesh_region(lines.outline, holes=lines.holes, size=size, most=most, watch=watch)


def _closed(line: Floats) -> Floats:
    return line if np.allclose(line[0], line[-1]) else np.vstack([line, line[:1]])


def coarse_size(area: float, finest: float, quality: str) -> float:
    """Even edge of the first run: twice the finest, but not more triangles than a quarter of the quality's."""
    return max(2.0 * finest, math.sqrt(area / (0.433 * 0.25 * MOST[quality])))


def graded(mesh: PlaneMesh, frames: list[Frame], finest: float, quality: str) -> SizeField:
    """Sizes for the second mesh from the frames of the coarse run."""
    bend = np.zeros(len(mesh.triangles))
    for f in frames:
        k = f.curvature
        mean, half = 0.5 * (k[:, 0] + k[:, 1]), np.hypot(0.5 * (k[:, 0] - k[:, 1]), k[:, 2])
        bend = np.maximum(bend, np.abs(mean) + half)
    size = np.clip(TURN / np.maximum(bend, 1e-9), finest, COARSEN * finest)
    # neighbours of a bend see it next: the worst of each triangle and the ones around it
    spread = np.full(len(mesh.points), np.inf)
    np.minimum.at(spread, mesh.triangles, size[:, None])
    size = np.minimum(size, spread[mesh.triangles].min(axis=1))
    count = float((mesh.areas / (0.433 * size**2)).sum())
    if count > 0.9 * MOST[quality]:
        size = size * math.sqrt(count / (0.9 * MOST[quality]))
    return sizes_from(mesh.points, mesh.triangles, size)


def as_sheet(mesh: PlaneMesh, level: float) -> TriMesh:
    """The flat blank lying at ``level`` [mm]."""
    return TriMesh(np.column_stack([mesh.points, np.full(len(mesh.points), level)]), mesh.triangles)

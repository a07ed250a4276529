"""Faces made from the part: punch, die and blankholder as skins parallel to the drawn sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.die.clearance import REACH, Clearance, sine_share
from diewright.die.extend import Drawn
from diewright.die.parallel import Parallel, parallel
from diewright.die.seams import Origin, find_seams
from diewright.die.zones import Zones
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

SKIRT = 3.0
"""How far the punch's wall reaches above the sheet on the blankholder plane [mm]."""


@dataclass(frozen=True, eq=False)
class Made:
    """The faces in the closed position, both offsets of the whole drawn surface, the punch opening line (of several pockets one line round them all), and the rule of the clearance they were made with."""

    die: TriMesh
    punch: TriMesh
    blankholder: TriMesh
    lower: Parallel
    upper: Parallel
    opening: Floats
    rule: Clearance


def make(drawn: Drawn, zones: Zones, thickness: float, extra: float, origin: Origin | None = None) -> Made:
    """Faces from the drawn middle surface; ``origin`` what the part's triangles are known by in CAD.

    Punch and blankholder lie ``t/2`` above it, the die ``t/2 + c f`` below with ``f = sin^2(slope)``, eased where the curvature jumps on a slope (:mod:`diewright.die.clearance`), so that the gap is ``t`` on
    level areas and ``t + c`` at a vertical wall, right from the line where the corner ends (``extra`` is ``c`` [mm]; the blend between is ours). Where the blankholder surface itself slopes, its own
    ``sin^2`` is taken off on it and, fading, near it: under the blankholder the gap is ``t``.
    """
    normals, holder, radius = drawn.normals, drawn.holder, float(drawn.lead.radius.max())
    seams = find_seams(drawn, origin, lambda p, n: sine_share(p, n, holder, radius), extra, REACH * thickness)
    rule = Clearance(holder, radius, seams)
    upper = parallel(drawn.mesh, normals, np.full(len(normals), 0.5 * thickness))
    lower = parallel(drawn.mesh, normals, -(0.5 * thickness + extra * rule.share(drawn.mesh.points, normals)))
    punch = part_of(upper.mesh, zones.punched)
    loops = _rims(punch)
    lines = [punch.points[loop][:, :2] for loop in loops]
    for loop, line in zip(loops, lines, strict=True):
        punch = _skirted(punch, loop, drawn.holder.height(line) + 0.5 * thickness + SKIRT)
    opening = lines[0] if len(lines) == 1 else line_round(lines)
    return Made(lower.mesh, punch.reversed(), part_of(upper.mesh, zones.held).reversed(), lower, upper, opening, rule)


def part_of(mesh: TriMesh, mask: NDArray[np.bool_]) -> TriMesh:
    """The triangles of ``mask`` as a mesh of their own."""
    used, number = np.unique(mesh.triangles[mask], return_inverse=True)
    return TriMesh(mesh.points[used], number.reshape(-1, 3).astype(np.int32))


def _rims(punch: TriMesh) -> list[Ints]:
    """The longest free edge of each piece of the punch."""
    piece = np.zeros(len(punch.points), dtype=np.int64)
    piece[punch.triangles] = punch.components[:, None]
    found: dict[int, Ints] = {}
    for loop in punch.boundary_loops:
        found.setdefault(int(piece[loop[0]]), loop)
    return list(found.values())


def line_round(lines: list[Floats]) -> Floats:
    """One closed line ``(k, 2)`` round several closed lines: their areas grown until they touch, and shrunk again."""
    areas = [shapely.Polygon(line).buffer(0.0) for line in lines]
    grow = 0.6 * max(min(float(a.distance(b)) for b in areas if b is not a) for a in areas)
    whole = shapely.union_all(areas)
    while whole.geom_type != "Polygon":
        whole = shapely.union_all(areas).buffer(grow, quad_segs=24).buffer(-grow, quad_segs=24)
        grow *= 1.3
    return np.asarray(whole.exterior.coords)[:-1]


def _skirted(punch: TriMesh, loop: Ints, top: Floats) -> TriMesh:
    """The punch (normals up) with a vertical wall from its edge ``loop`` up to ``top (k,)`` [mm], so that it has no free edge that the sheet can meet."""
    low = punch.points[loop]
    height = float(np.max(top - low[:, 2]))
    rows = max(int(np.ceil(height / 5.0)), 1)
    points, cells, before = [punch.points], [punch.triangles], np.asarray(loop, dtype=np.int32)
    count = len(punch.points)
    for j in range(1, rows + 1):
        ring = low.copy()
        ring[:, 2] += (np.maximum(top - low[:, 2], 0.1)) * j / rows
        now = (count + np.arange(len(loop))).astype(np.int32)
        a, b, c, d = before, np.roll(before, -1), now, np.roll(now, -1)
        cells += [np.stack([a, c, d], axis=1), np.stack([a, d, b], axis=1)]
        points.append(ring)
        before, count = now, count + len(loop)
    return TriMesh(np.concatenate(points), np.concatenate(cells).astype(np.int32))

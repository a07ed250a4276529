"""Faces made from the part: punch, die and blankholder as skins parallel to the drawn sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.die.extend import Drawn
from diewright.die.parallel import Parallel, parallel
from diewright.die.zones import Zones
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

SKIRT = 3.0
"""How far the punch's wall reaches above the sheet on the blankholder plane [mm]."""


@dataclass(frozen=True, eq=False)
class Made:
    """The faces in the closed position, the number of drawn triangles each offset turned over with one place of it, and the punch opening line (of several pockets one line round them all)."""

    die: TriMesh
    punch: TriMesh
    blankholder: TriMesh
    lower: Parallel
    upper: Parallel
    opening: Floats


def make(drawn: Drawn, zones: Zones, thickness: float, extra: float) -> Made:
    """Faces from the drawn middle surface.

    Punch and blankholder lie ``t/2`` above it, the die ``t/2 + c f`` below with ``f = sin^2(slope)``, so that the gap is ``t`` on level areas and ``t + c`` at a vertical wall
    (``extra`` is ``c`` [mm]; the blend between is ours). Where the blankholder surface itself slopes, its own ``sin^2`` is taken off on it and, fading, near it:
    under the blankholder the gap is ``t``.
    """
    normals = drawn.normals
    upper = parallel(drawn.mesh, normals, np.full(len(normals), 0.5 * thickness))
    lower = parallel(drawn.mesh, normals, -(0.5 * thickness + extra * opening_share(drawn)))
    punch = part_of(upper.mesh, zones.punched)
    loops = _rims(punch)
    lines = [punch.points[loop][:, :2] for loop in loops]
    for loop, line in zip(loops, lines, strict=True):
        punch = _skirted(punch, loop, drawn.holder.height(line) + 0.5 * thickness + SKIRT)
    return Made(lower.mesh, punch.reversed(), part_of(upper.mesh, zones.held).reversed(), lower, upper, lines[0] if len(lines) == 1 else line_round(lines))


def opening_share(drawn: Drawn) -> Floats:
    """The share ``f (n,)`` of the clearance ``c`` by which the gap is more than the thickness at the drawn surface's points, 0 to 1.

    ``f = sin^2(slope) - w sin^2(slope of the blankholder surface)``; ``w`` is 1 on that surface and fades with the distance from it (to two and a half die radii) and the angle to it (60 deg).
    """
    n = drawn.normals
    share = 1.0 - np.clip(n[:, 2], -1.0, 1.0) ** 2
    plan = drawn.mesh.points[:, :2]
    up = drawn.holder.normal(plan)
    own = 1.0 - up[:, 2] ** 2
    if own.max() < 1e-12:
        return np.asarray(share)
    near = np.abs(drawn.mesh.points[:, 2] - drawn.holder.height(plan)) / float(drawn.lead.radius.max())
    even = (np.einsum("ij,ij->i", n, up) - 0.5) / (np.cos(np.deg2rad(6.0)) - 0.5)
    w = _eased(even) * _eased((2.5 - near) / 1.5)
    return np.asarray(np.clip(share - w * own, 0.0, 1.0))


def _eased(x: Floats) -> Floats:
    x = np.clip(x, 0.0, 1.0)
    return np.asarray(x * x * (3.0 - 2.0 * x))


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

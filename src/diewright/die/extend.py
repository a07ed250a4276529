"""The drawn surface led on from the part's edge to the blankholder plane, and that plane laid out to its outer limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

from diewright.die.edge import Edge, plane_level, sections
from diewright.die.flat import even_line, flat_ring
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

PART, WALL, FLANGE, PLANE = 0, 1, 2, 3
"""Kinds of triangles of the drawn surface: the part, what is led out of a wall, out of a flange, the blankholder plane."""
BEYOND = 15.0
"""How far the blankholder plane reaches beyond the blank [mm]."""
CLOSEST = 0.5
"""How close neighbouring sections may come together at the blankholder plane, as a share of their distance at the part's edge."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """The middle surface of the drawn sheet with what is led on from it; ``normals (n, 3)`` unit normals at its points, up; ``kind (m,)`` of each triangle;
    ``level`` [mm] of the blankholder plane; ``flange_slope`` [rad] of the part's flange at its edge (median, 0 without one); ``led`` true where something had
    to be led out of the edge. ``columns (k, s, 3)`` the sections from the part's edge to the blankholder surface, closed along the edge, with unit normals ``standing (k, s, 3)``;
    ``outer (j, 2)`` the blankholder's outer limit in plan."""

    mesh: TriMesh
    normals: Floats
    kind: NDArray[np.int8]
    level: float
    flange_slope: float
    led: bool
    columns: Floats
    standing: Floats
    outer: Floats


def lead_on(part: TriMesh, normals: Floats, edge: Edge, blank: Floats, land: float, radius: float, chord: float, spacing: float) -> Drawn:
    """Lead the surface on.

    ``normals (n, 3)`` unit normals at the part's points; ``blank (k, 2)`` is the flat blank's outline; ``land`` and ``radius`` [mm] those of the middle surface; ``chord`` [mm] the chord error at the radius;
    ``spacing`` [mm] of the points on the plane. Raises :class:`SolveError` where the surface would fold.
    """
    level = plane_level(edge, land, radius)
    section, elevation = sections(edge, level, land, radius, chord)
    columns, outward = _swept(edge, section)
    standing = _standing(elevation, outward)
    k, s = len(edge.points), section.shape[1]
    points, cells, kinds, up = [part.points], [part.triangles], [np.full(len(part.triangles), PART)], [normals]
    numbers = edge.numbers
    count = len(part.points)
    for j in range(1, s):
        new = (count + np.arange(k)).astype(np.int32)
        points.append(columns[:, j])
        up.append(standing[:, j])
        cells.append(_strip(numbers, new))
        kinds.append(np.tile(np.where(edge.is_flange & np.roll(edge.is_flange, -1), FLANGE, WALL), 2))
        numbers, count = new, count + k
    inner = columns[:, -1, :2]
    outer = _limit(inner, blank, spacing)
    flat, plane = flat_ring(inner, outer, spacing)
    points.append(np.column_stack([flat[k:], np.full(len(flat) - k, level)]))
    up.append(np.tile([0.0, 0.0, 1.0], (len(flat) - k, 1)))
    number = np.concatenate([numbers, count + np.arange(len(flat) - k)]).astype(np.int32)
    cells.append(number[plane])
    kinds.append(np.full(len(plane), PLANE))
    mesh = TriMesh(np.concatenate(points), np.concatenate(cells).astype(np.int32))
    return Drawn(mesh, np.concatenate(up), np.concatenate(kinds).astype(np.int8), level, edge.flange_slope, s > 1, columns, standing, outer)


def _strip(inner: Ints, outer: Ints) -> Ints:
    a, b = inner, np.roll(inner, -1)
    c, d = outer, np.roll(outer, -1)
    return np.concatenate([np.stack([a, c, d], axis=1), np.stack([a, d, b], axis=1)]).astype(np.int32)


def _standing(elevation: Floats, outward: Floats) -> Floats:
    """Unit normals ``(k, s, 3)`` of the swept sections, up."""
    return np.concatenate([-np.sin(elevation)[:, :, None] * outward[:, None, :], np.cos(elevation)[:, :, None]], axis=2)


def _swept(edge: Edge, section: Floats) -> tuple[Floats, Floats]:
    """Points ``(k, s, 3)`` of the sections set up across the edge, and the way out in plan.

    Where neighbouring sections would cross (the edge turns inwards more tightly than it is led on), the way out is spread along the edge over a growing length.
    """
    outward, reach = edge.outward, float(section[:, -1, 0].max())
    troubled = np.zeros(len(outward), dtype=bool)
    spread = 0.1 * reach
    while spread <= 10.0 * reach or not troubled.any():
        columns = edge.points[:, None, :] + np.concatenate([section[:, :, :1] * outward[:, None, :], section[:, :, 1:]], axis=2)
        crossing = _crossing(edge.points[:, :2], columns[:, -1, :2])
        if not crossing.any():
            return columns, outward
        troubled |= crossing
        spread *= 1.25
        outward = _spread(edge, troubled, spread)
    i = int(np.argmax(crossing))
    spot = ", ".join(f"{v:.0f}" for v in edge.points[i])
    raise SolveError(
        f"the surface led out of the part's edge would fold at ({spot}) mm, where the edge turns inwards more tightly than the {reach:.1f} mm it is led on.",
        where="faces", help="State a smaller faces.die_radius or faces.trim_land, or round that corner of the part.",
    )  # fmt: skip


def _spread(edge: Edge, troubled: NDArray[np.bool_], length: float) -> Floats:
    """The way out ``(k, 2)`` evened over about ``length`` [mm] of the edge round the points ``troubled``: ``u - d/ds (l^2 du/ds) = u0``."""
    k = len(edge.points)
    step = np.linalg.norm(np.roll(edge.points, -1, axis=0) - edge.points, axis=1)
    at = np.concatenate([[0.0], np.cumsum(step)])
    gaps = np.abs(at[:-1, None] - at[:-1][troubled][None, :])
    near = np.minimum(gaps, at[-1] - gaps).min(axis=1) <= 3.0 * length
    carry = np.where(near & np.roll(near, -1), length**2, 0.0) / np.maximum(step, 1e-9)
    lump = 0.5 * (step + np.roll(step, 1))
    here, nxt = np.arange(k), (np.arange(k) + 1) % k
    matrix = coo_matrix(
        (
            np.concatenate([lump + carry + np.roll(carry, 1), -carry, -carry]),
            (np.concatenate([here, here, nxt]), np.concatenate([here, nxt, here])),
        ),
        shape=(k, k),
    ).tocsc()
    even = splu(matrix).solve(lump[:, None] * edge.outward)
    return np.asarray(even / np.maximum(np.hypot(*even.T), 1e-12)[:, None])


def _crossing(near: Floats, far: Floats) -> NDArray[np.bool_]:
    """True at points whose outer neighbour step runs against the inner one, or hardly with it."""
    step, moved = np.roll(near, -1, axis=0) - near, np.roll(far, -1, axis=0) - far
    along = np.einsum("ij,ij->i", step, moved) / np.maximum(np.einsum("ij,ij->i", step, step), 1e-12)
    return np.asarray((along < CLOSEST) | np.roll(along < CLOSEST, 1))


def _limit(inner: Floats, blank: Floats, spacing: float) -> Floats:
    """Outer limit of the plane ``(k, 2)``, counter-clockwise: :data:`BEYOND` outside both the blank and what was led on."""
    reach = shapely.union_all([shapely.Polygon(inner).buffer(0.0), shapely.Polygon(blank).buffer(0.0)])
    limit = reach.buffer(BEYOND + 1.0, quad_segs=16)
    if not isinstance(limit, shapely.Polygon):
        raise SolveError(
            "the developed blank does not lie over the part.", where="faces", help="Work the stages 'solution' and 'blank' again."
        )
    line = np.asarray(shapely.get_exterior_ring(shapely.orient_polygons(shapely.Polygon(limit.exterior))).coords)[:-1]
    return even_line(line, spacing)

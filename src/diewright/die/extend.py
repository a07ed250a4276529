"""The drawn surface led on from the part's edge to the blankholder surface, and that surface laid out to its outer limit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.die import profile, sweep
from diewright.die.edge import Edge, along_surface, settled
from diewright.die.ends import way_out
from diewright.die.fit import plain, settle
from diewright.die.flat import even_line, flat_ring
from diewright.die.holder import Holder
from diewright.die.line import tangents
from diewright.die.profile import Lead
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

PART, WALL, FLANGE, PLANE, TURN = 0, 1, 2, 3, 4
"""Kinds of triangles of the drawn surface: the part, what is led out of a wall, out of a flange, the blankholder surface, the die radius led out of a wall."""
BEYOND = 15.0
"""How far the blankholder surface reaches beyond the blank [mm]."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """The middle surface of the drawn sheet with what is led on from it; ``normals (n, 3)`` unit normals at its points, up; ``kind (m,)`` of each triangle;
    ``level`` [mm] of the blankholder surface (its mean over the edge's landing line, the height of a plane); ``flange_slope`` [rad] of the part's flange at its edge to that surface (median, 0 without one);
    ``led`` true where something had to be led out of the edge. ``columns (k, s, 3)`` the sections from the part's edge to the blankholder surface, closed along the edge, with unit
    normals ``standing (k, s, 3)``; ``outer (j, 2)`` the blankholder's outer limit in plan.

    ``joints``: the numbers of the points along ``s`` at which two pieces of a section meet tangentially. By ``lead.mode``: ``blend`` none (one cubic); ``wall`` ``(land end,)``: a straight line
    and the die radius; ``profile`` ``(land end, punch radius end, wall end, die radius begin)``: line, arc, line, line (in line with the one before wherever the section
    stands square to the wall), arc. ``holder`` is the blankholder surface itself.
    """

    mesh: TriMesh
    normals: Floats
    kind: NDArray[np.int8]
    level: float
    flange_slope: float
    led: bool
    columns: Floats
    standing: Floats
    outer: Floats
    joints: tuple[int, ...]
    holder: Holder
    lead: Lead


@dataclass(frozen=True, eq=False)
class _Swept:
    """Columns with normals, joints, and the number of the point at which the die radius begins."""

    columns: Floats
    standing: Floats
    joints: tuple[int, ...]
    turn: int


def lead_on(
    part: TriMesh, normals: Floats, edge: Edge, blank: Floats, land: float, radius: float, chord: float, spacing: float,
    lead: Lead | None = None, holder: Holder | None = None,
) -> Drawn:  # fmt: skip
    """Lead the surface on.

    ``normals (n, 3)`` unit normals at the part's points; ``blank (k, 2)`` is the flat blank's outline; ``land`` and ``radius`` [mm] those of the middle surface; ``chord`` [mm] the chord error at the radius;
    ``spacing`` [mm] of the points on the blankholder surface. ``lead`` and ``holder`` (already at its height) state more; without them the edge is led on with the same values all round onto the lowest plane
    that serves. Raises :class:`SolveError` where the surface would fold.
    """
    lead = lead or plain(edge, land, radius)
    holder = holder or settle(edge, lead, Holder(0.0))
    made = _profiled(edge, lead, holder, chord) if lead.mode == "profile" else _direct(edge, lead, holder, chord)
    columns, standing = made.columns, made.standing
    standing[:, 0] = normals[edge.numbers]
    k, s = columns.shape[:2]
    points, cells, kinds, up = [part.points], [part.triangles], [np.full(len(part.triangles), PART)], [normals]
    numbers = edge.numbers
    count = len(part.points)
    for j in range(1, s):
        new = (count + np.arange(k)).astype(np.int32)
        points.append(columns[:, j])
        up.append(standing[:, j])
        cells.append(_strip(numbers, new))
        kinds.append(np.full(2 * k, FLANGE if lead.mode == "blend" else TURN if j > made.turn else WALL))
        numbers, count = new, count + k
    inner = columns[:, -1, :2]
    outer = _limit(inner, blank, spacing)
    flat, plane = flat_ring(inner, outer, spacing)
    points.append(np.column_stack([flat[k:], holder.height(flat[k:])]))
    up.append(holder.normal(flat[k:]))
    number = np.concatenate([numbers, count + np.arange(len(flat) - k)]).astype(np.int32)
    cells.append(number[plane])
    kinds.append(np.full(len(plane), PLANE))
    mesh = TriMesh(np.concatenate(points), np.concatenate(cells).astype(np.int32))
    level = float(np.average(holder.height(inner), weights=edge.lengths))
    return Drawn(
        mesh, np.concatenate(up), np.concatenate(kinds).astype(np.int8), level, _flange_slope(edge, holder), s > 1, columns, standing, outer,
        made.joints, holder, lead,
    )  # fmt: skip


def _direct(edge: Edge, lead: Lead, holder: Holder, chord: float) -> _Swept:
    """Sections of one run: a blend, or a wall with its die radius."""
    blending = lead.mode == "blend"

    def sections(outward: Floats) -> profile.Strip:
        turned = np.abs(outward - edge.outward).max(axis=1) > 1e-9
        steep = np.where(turned, np.minimum(along_surface(edge.normal, outward, edge.elevation), 0.5 * np.pi), edge.elevation)
        if blending:
            return profile.blend(replace(edge, outward=outward, elevation=steep), lead, holder, chord)
        return profile.shoulder(edge.points, outward, steep, lead.land, lead.radius, holder, chord)

    columns, outward, strip = sweep.swept(edge, edge.outward, sections, sweep.crossing_in_plan)
    standing = sweep.standing(columns, outward, strip.elevation)
    if strip.points.shape[1] > 1:
        standing[:, -1] = holder.normal(columns[:, -1, :2])
    return _Swept(columns, standing, strip.joints, strip.points.shape[1] if blending else strip.joints[0])


def _profiled(edge: Edge, lead: Lead, holder: Holder, chord: float) -> _Swept:
    """Land, punch radius and wall set up along the part's own surface, then the die radius turned out square to the line on which the wall ends."""
    low, out, strip = sweep.swept(
        edge, way_out(edge), lambda outward: profile.rise(edge, outward, lead, holder, chord), sweep.crossing_in_space(edge.normal)
    )
    below = sweep.standing(low, out, strip.elevation)
    top, along = low[:, -1], tangents(low[:, -1])
    e = strip.elevation[:, -1]
    up = np.column_stack([np.cos(e)[:, None] * out, np.sin(e)])
    up -= np.einsum("ij,ij->i", up, along)[:, None] * along
    side = np.stack([along[:, 1], -along[:, 0]], axis=1)
    side /= np.maximum(np.hypot(*side.T), 1e-12)[:, None]
    steep = np.minimum(settled(np.arctan2(up[:, 2], np.einsum("ij,ij->i", up[:, :2], side))), 0.5 * np.pi)
    brim = replace(edge, points=top, outward=side, elevation=steep)
    high, out, bent = sweep.swept(
        brim,
        side,
        lambda outward: profile.shoulder(top, outward, steep, np.zeros(len(top)), lead.radius, holder, chord),
        sweep.crossing_in_plan,
    )
    above = sweep.standing(high, out, bent.elevation)
    above[:, -1] = holder.normal(high[:, -1, :2])
    joints = (*strip.joints, strip.joints[-1] + bent.joints[0])
    return _Swept(np.concatenate([low, high[:, 1:]], axis=1), np.concatenate([below, above[:, 1:]], axis=1), joints, joints[-1])


def _flange_slope(edge: Edge, holder: Holder) -> float:
    flange = edge.is_flange
    if not flange.any():
        return 0.0
    slope = np.arctan(np.einsum("ij,ij->i", holder.gradient(edge.points[flange, :2]), edge.outward[flange]))
    return float(np.median(np.abs(edge.elevation[flange] - slope)))


def _strip(inner: Ints, outer: Ints) -> Ints:
    a, b = inner, np.roll(inner, -1)
    c, d = outer, np.roll(outer, -1)
    return np.concatenate([np.stack([a, c, d], axis=1), np.stack([a, d, b], axis=1)]).astype(np.int32)


def _limit(inner: Floats, blank: Floats, spacing: float) -> Floats:
    """Outer limit of the blankholder surface ``(k, 2)``, counter-clockwise: :data:`BEYOND` outside both the blank and what was led on."""
    reach = shapely.union_all([shapely.Polygon(inner).buffer(0.0), shapely.Polygon(blank).buffer(0.0)])
    limit = reach.buffer(BEYOND + 1.0, quad_segs=16)
    if not isinstance(limit, shapely.Polygon):
        raise SolveError(
            "the developed blank does not lie over the part.", where="faces", help="Work the stages 'solution' and 'blank' again."
        )
    line = np.asarray(shapely.get_exterior_ring(shapely.orient_polygons(shapely.Polygon(limit.exterior))).coords)[:-1]
    return even_line(line, spacing)

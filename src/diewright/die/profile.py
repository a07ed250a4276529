"""The section that runs round the part's edge: trim land, punch radius, wall, die radius, blankholder surface; lines and arcs that meet tangentially.

In a vertical section the surface leaves the part under the elevation ``alpha`` (0 level, 90 deg straight up), goes straight over the trim land ``L``, turns up
on the punch radius ``r`` to the wall's elevation ``beta = 90 deg - wall angle``, climbs, and turns out on the die radius ``R`` to the slope ``sigma`` of the blankholder surface. In
(out, up), all radii those of the middle surface:

    land    (L cos a, L sin a)
    punch   r (sin b - sin a, cos a - cos b)
    wall    l (cos b, sin b)
    die     R (sin b - sin s, cos s - cos b)

Where the part ends in a wall already (``alpha >= beta``) there is no punch radius and the land is part of the wall.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.die.edge import Edge, along_surface
from diewright.die.ends import way_out
from diewright.die.holder import Holder
from diewright.die.loft import divisions

Floats = NDArray[np.float64]

Mode = Literal["blend", "wall", "profile"]
LEAST = 1.0
"""Shortest piece of a section [mm]: where a piece shrinks to nothing it is kept as a short straight one, so that all sections have the same points."""
SPARE = 0.5
"""Wall left above the punch radius' own sweep, over which the die radius may settle to the wall's course [mm]."""
TURN = 6.0
"""Largest turn of an arc within one chord [deg]."""


@dataclass(frozen=True, eq=False)
class Lead:
    """How the edge is led on, by its points: ``land``, ``punch`` and ``radius`` ``(k,)`` [mm, middle surface], ``steep (k,)`` elevation of the wall [rad].

    ``mode``: ``blend`` (a flange near the blankholder surface: one cubic), ``wall`` (the part's own walls: land and die radius), ``profile`` (all pieces).
    """

    mode: Mode
    land: Floats
    punch: Floats
    steep: Floats
    radius: Floats


@dataclass(frozen=True, eq=False)
class Strip:
    """Points of the sections ``(k, s, 2)`` (out, up) [mm] from the edge on, their elevation ``(k, s)`` [rad], the numbers of the points at which pieces meet,
    and ``spare (k,)`` [mm]: how much higher than need be the blankholder surface stands there."""

    points: Floats
    elevation: Floats
    joints: tuple[int, ...]
    spare: Floats


def need(edge: Edge, lead: Lead) -> tuple[Floats, Floats]:
    """Way out in plan and least height over the edge's own points [mm], ``(k,)`` each, of a level blankholder surface that leaves every piece its length."""
    if lead.mode == "profile":
        a, b = angles(edge, lead)
        sweep = np.maximum(b - a, 1e-6)
        r, land = np.maximum(lead.punch, LEAST / sweep), np.maximum(lead.land, LEAST)
        out = land * np.cos(a) + r * (np.sin(a + sweep) - np.sin(a)) + LEAST * np.cos(b)
        return out, land * np.sin(a) + r * (np.cos(a) - np.cos(a + sweep)) + LEAST * np.sin(b) + lead.radius + SPARE
    a = edge.elevation
    return lead.land * np.cos(a) + lead.radius * np.sin(a), lead.land * np.sin(a) + lead.radius * (1.0 - np.cos(a))


def angles(edge: Edge, lead: Lead) -> tuple[Floats, Floats]:
    """Elevation at the edge and of the wall ``(k,)`` [rad] of a full profile, from the way the surface itself leaves the part."""
    a = np.arcsin(np.clip(edge.lead[:, 2], -1.0, 1.0))
    a = np.where(a > 0.5 * math.pi - math.radians(1.0), 0.5 * math.pi, a)
    return a, np.maximum(a, lead.steep)


def rise(edge: Edge, outward: Floats, lead: Lead, holder: Holder, chord: float) -> Strip:
    """Land, punch radius and wall up to where the die radius can begin whatever way it turns: ``R`` and :data:`SPARE` below the blankholder surface."""
    a, b = angles(edge, lead)
    turned = (np.abs(outward - way_out(edge)).max(axis=1) > 1e-9) & (a < 0.5 * math.pi)
    a = np.where(turned, np.minimum(along_surface(edge.normal, outward, a), 0.5 * math.pi), a)
    sweep = np.maximum(np.maximum(b, a) - a, 1e-6)
    radius = np.maximum(lead.punch, LEAST / sweep)
    land = np.maximum(lead.land, LEAST)
    lands = max(math.ceil(float(land.max()) / 3.0), 1)
    arcs = divisions(float(lead.punch.max()), float(sweep.max()), chord, TURN)
    first = land[:, None, None] * np.linspace(0.0, 1.0, lands + 1)[None, :, None] * _way(a)[:, None, :]
    at = a[:, None] + sweep[:, None] * np.linspace(0.0, 1.0, arcs + 1)
    bend = radius[:, None, None] * np.stack([np.sin(at) - np.sin(a)[:, None], np.cos(a)[:, None] - np.cos(at)], axis=2)
    bend = first[:, -1:] + bend
    end, top = bend[:, -1], at[:, -1]
    length = np.full(len(a), LEAST)
    for _ in range(30):
        plan = edge.points[:, :2] + (end[:, :1] + (length * np.cos(top))[:, None]) * outward
        grade = holder.gradient(plan)
        # whatever way the die radius turns out, the surface may fall by its steepest slope over one radius
        lack = holder.height(plan) - lead.radius * (1.0 + np.hypot(*grade.T)) - SPARE - edge.points[:, 2] - end[:, 1] - length * np.sin(top)
        slope = np.einsum("ij,ij->i", grade, outward)
        length = length + lack / np.maximum(np.sin(top) - slope * np.cos(top), 0.2)
    rows = max(math.ceil(float(length.max()) / 12.0), 1)
    wall = end[:, None] + length[:, None, None] * np.linspace(0.0, 1.0, rows + 1)[None, 1:, None] * _way(top)[:, None, :]
    points = np.concatenate([first, bend[:, 1:], wall], axis=1)
    elevation = np.concatenate([np.repeat(a[:, None], lands, axis=1), at, np.repeat(top[:, None], rows, axis=1)], axis=1)
    spare = (length - LEAST) * np.maximum(np.sin(top) - slope * np.cos(top), 0.2)
    return Strip(points, elevation, (lands, lands + arcs, lands + arcs + rows), spare)


def _way(angle: Floats) -> Floats:
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def shoulder(points: Floats, outward: Floats, a: Floats, land: Floats, radius: Floats, holder: Holder, chord: float) -> Strip:
    """Straight on from a wall under the elevation ``a (k,)`` and out over the die radius onto the blankholder surface, tangent to it."""
    straight = np.zeros(len(a))
    slope = np.zeros(len(a))
    for _ in range(40):
        out = straight * np.cos(a) + radius * (np.sin(a) - np.sin(slope))
        up = straight * np.sin(a) + radius * (np.cos(slope) - np.cos(a))
        plan = points[:, :2] + out[:, None] * outward
        steep = np.einsum("ij,ij->i", holder.gradient(plan), outward)
        slope = np.arctan(steep)
        lack = holder.height(plan) - points[:, 2] - up
        straight = straight + lack / np.maximum(np.sin(a) - steep * np.cos(a), 0.2)
    lands = max(math.ceil(float(land.max()) / 3.0), 1)
    arcs = divisions(float(radius.max()), 0.5 * math.pi, chord, TURN)
    line = straight[:, None, None] * np.linspace(0.0, 1.0, lands + 1)[None, :, None] * _way(a)[:, None, :]
    at = a[:, None] + (slope - a)[:, None] * np.linspace(0.0, 1.0, arcs + 1)
    bend = radius[:, None, None] * np.stack([np.sin(a)[:, None] - np.sin(at), np.cos(at) - np.cos(a)[:, None]], axis=2)
    made = np.concatenate([line, line[:, -1:] + bend[:, 1:]], axis=1)
    return Strip(
        made,
        np.concatenate([np.repeat(a[:, None], lands, axis=1), at], axis=1),
        (lands,),
        (straight - land) * np.maximum(np.sin(a) - steep * np.cos(a), 0.2),
    )


def blend(edge: Edge, lead: Lead, holder: Holder, chord: float) -> Strip:
    """A flange led on with one cubic, tangent to it and to the blankholder surface and no tighter than the die radius; a single point where it lies in that surface already."""
    a, slope = edge.elevation, np.tan(edge.elevation)
    reach = np.array(lead.land)
    for _ in range(20):
        plan = edge.points[:, :2] + reach[:, None] * edge.outward
        there = np.einsum("ij,ij->i", holder.gradient(plan), edge.outward)
        climb = holder.height(plan) - edge.points[:, 2]
        # second derivative of the cubic at its ends, over the straight line that the surface goes on with: (6 rise - 4 slope D) / D^2 and (2 slope D - 6 rise) / D^2
        bend = np.sqrt(12.0 * np.abs(climb - there * reach) * lead.radius)
        wanted = np.maximum(np.maximum(lead.land, 8.0 * np.abs(slope - there) * lead.radius), bend)
        reach = 0.5 * (reach + wanted) if holder.kind != "flat" else wanted
    if np.abs(a).max() == 0.0 and np.abs(climb).max() < 1e-6 and holder.kind == "flat":
        return Strip(np.zeros((len(a), 1, 2)), np.zeros((len(a), 1)), (), np.zeros(len(a)))
    plan = edge.points[:, :2] + reach[:, None] * edge.outward
    there = np.einsum("ij,ij->i", holder.gradient(plan), edge.outward)
    climb = holder.height(plan) - edge.points[:, 2]
    count = divisions(float(lead.radius.max()), 0.5 * math.pi, chord, TURN) + max(math.ceil(float(lead.land.max()) / 3.0), 1)
    u = np.linspace(0.0, 1.0, count + 1)[None, :]
    s, e, h, d = slope[:, None], there[:, None], climb[:, None], reach[:, None]
    up = d * (s * (u**3 - 2 * u**2 + u) + e * (u**3 - u**2)) + h * (3 * u**2 - 2 * u**3)
    steep = s * (3 * u**2 - 4 * u + 1) + e * (3 * u**2 - 2 * u) + h / d * (6 * u - 6 * u**2)
    return Strip(np.stack([u * d, up], axis=2), np.arctan(steep), (), np.zeros(len(a)))

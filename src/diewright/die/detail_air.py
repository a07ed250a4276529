"""The air of a pair of faces: pockets of die and punch with their volumes, and the vents they get."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.die.detail_pockets import Pockets, column_volume, plan_areas, pockets
from diewright.die.detail_vents import DRILLS, Closing, closing, drill, places, section
from diewright.die.made import part_of
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

LEAST = 1.0
"""A low place less deep than this many thicknesses is no pocket (ours)."""
SMALL = 0.25 * math.pi * DRILLS[0] ** 2
"""A low place that is smaller in plan than the smallest drill [mm2] is none; what drains to it goes to the deepest (ours)."""
SKIN = 0.02
"""Cavity and pockets begin where the face lies this many thicknesses below the sheet, or below their rim."""


@dataclass(frozen=True, eq=False)
class Pocket:
    """A place where air is shut in.

    ``face``; ``at`` its lowest point of the die (highest of the punch); ``depth`` below its rim, or below the flat sheet for the die's deepest; ``area`` in plan [mm2]; ``displaced``: share of the volume under the
    sheet that drains there, ``trapped``: what is left in it once the sheet lies over its rim [mm3]; ``section`` wanted [mm2]; holes of ``diameter`` [mm], ``wanted`` and placed (``holes (j, 3)``); ``clear`` of radii.
    """

    face: Literal["die", "punch"]
    at: tuple[float, float, float]
    depth: float
    area: float
    displaced: float
    trapped: float
    section: float
    diameter: float
    wanted: int
    holes: Floats
    clear: bool


@dataclass(frozen=True, eq=False)
class Air:
    """All pockets, how the slide closes, the whole volume under the sheet [mm3], and the number of the pocket at each triangle of die and punch (-1 none)."""

    pockets: tuple[Pocket, ...]
    run: Closing
    volume: float
    die: NDArray[np.int32]
    punch: NDArray[np.int32]


def air_of(
    faces: Mapping[str, TriMesh], opening: shapely.Polygon, die_radius: float, thickness: float, clearance: float, travel: float,
    press: Mapping[str, Any], rate: float, speed: float, stated: float | None,
) -> Air:  # fmt: skip
    """Air under a sheet that closes over ``travel`` [mm] at ``rate`` strokes a minute; ``speed`` [mm/s] the air may take, ``stated`` drill [mm]. Raises :class:`InputError` as :func:`detail_vents.closing`."""
    run = closing(press, rate, travel)
    die, punch = faces["die"], faces["punch"]
    sheet = sheet_level(faces["blankholder"], die.points[:, :2], thickness)
    over = shapely.contains_xy(opening.buffer(die_radius + 2.0 * clearance), die.centroids[:, 0], die.centroids[:, 1])
    deep = sheet - die.points[:, 2]
    mask = over & (deep[die.triangles].max(axis=1) > SKIN * thickness)
    found: list[Pocket] = []
    marks = {"die": np.full(len(die.triangles), -1, dtype=np.int32), "punch": np.full(len(punch.triangles), -1, dtype=np.int32)}
    total = 0.0

    def gather(face: Literal["die", "punch"], mesh: TriMesh, cells: NDArray[np.intp], height: Floats, depth: Floats, p: Pockets) -> float:
        owner = p.of[mesh.triangles[np.arange(len(mesh.triangles)), np.argmin(height[mesh.triangles], axis=1)]]
        column, plan = column_volume(mesh, depth), plan_areas(mesh)
        spills = np.where(np.isfinite(p.spill), p.spill, height[p.bottom] + depth[p.bottom])
        low = height[mesh.triangles].min(axis=1)
        areas = [float(plan[(owner == k) & (low < level - SKIN * thickness)].sum()) for k, level in enumerate(spills)]
        for k, area in enumerate(areas):
            if area < SMALL and (k or face == "punch"):
                owner[owner == k] = 0 if face == "die" else -1
        for k, bottom in enumerate(p.bottom):
            if not (owner == k).any():
                continue
            mine, last, spill, area = owner == k, not np.isfinite(p.spill[k]), float(spills[k]), areas[k]
            own = TriMesh(mesh.points, mesh.triangles[mine])
            locked = float(column[mine].sum()) if last else float(column_volume(own, spill - height).sum())
            displaced = float(column[mine].sum()) if face == "die" else locked
            deep = spill - float(height[bottom])
            whole = section(displaced, run, speed) if face == "die" else 0.0
            wanted = max(whole, section(locked, closing(press, rate, min(deep, travel)), speed))
            diameter, count = drill(wanted, stated)
            at = mesh.points[bottom]
            holes, clear = places(mesh, height, p.of == k, int(bottom), thickness, diameter, count)
            marks[face][cells[mine]] = len(found)
            found.append(
                Pocket(
                    face, (float(at[0]), float(at[1]), float(at[2])), deep, area, displaced, locked, wanted, diameter, count, holes, clear
                )
            )
        return float(column.sum())

    if mask.any():
        cavity, used = part_of(die, mask), np.unique(die.triangles[mask])
        height = cavity.points[:, 2]
        p = pockets(height, cavity.edges, np.zeros(len(height), dtype=bool), LEAST * thickness)
        total = gather("die", cavity, np.flatnonzero(mask), height, deep[used], p)
    height = -punch.points[:, 2]
    drain = np.zeros(len(height), dtype=bool)
    drain[punch.boundary_edges.ravel()] = True
    p = pockets(height, punch.edges, drain, LEAST * thickness)
    gather("punch", punch, np.arange(len(punch.triangles)), height, np.zeros(len(height)), p)
    return Air(tuple(found), run, total, marks["die"], marks["punch"])


def sheet_level(holder: TriMesh, xy: Floats, thickness: float) -> Floats:
    """Level ``(k,)`` [mm] of the lower skin of a sheet held by the blankholder, led straight across the opening, at plan points ``(k, 2)``; beyond the blankholder that of its nearest point."""
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import cKDTree

    z = holder.points[:, 2] - thickness
    if float(np.ptp(z)) < 1e-6:
        return np.full(len(xy), float(z.mean()))
    level = LinearNDInterpolator(holder.points[:, :2], z)(xy)
    out = np.isnan(level)
    level[out] = z[cKDTree(holder.points[:, :2]).query(xy[out])[1]]
    return np.asarray(level)

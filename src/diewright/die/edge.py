"""How the drawn surface stands along the part's edge, and the section it is led on with.

In a vertical section across the edge the surface leaves the part under the elevation ``alpha`` (0 level, 90 deg straight up). A wall is led on
straight over the trim land ``L`` and turned outwards over the die radius ``R`` (middle surface) onto the blankholder plane:

    h = L cos(alpha) + R sin(alpha),   v = L sin(alpha) + R (1 - cos(alpha)).

The plane is at one level, so the land grows where the edge lies lower. A flange (``alpha`` within 20 deg of level) is led on with a cubic that leaves
tangentially and ends level, no tighter than ``R``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.die.loft import divisions
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

LEVEL = math.radians(20.0)
"""Steepest slope at the edge that is still led on as a flange."""
CLIMB = math.radians(50.0)
"""Steepest climb of the edge along its own course."""
_UPRIGHT = math.radians(1.0)  # a wall within this of vertical is led on vertical: facets of a round wall lean by about as much
_TRUE = math.radians(0.3)  # a flange within this of level is level
_SMOOTH = 8.0  # mm: length along the edge over which direction and elevation are averaged


@dataclass(frozen=True)
class Edge:
    """The part's edge: points ``(k, 3)`` counter-clockwise in plan, their numbers in the mesh, the way out in plan ``(k, 2)``, elevation ``(k,)`` [rad]."""

    points: Floats
    numbers: Ints
    outward: Floats
    elevation: Floats

    @property
    def is_flange(self) -> NDArray[np.bool_]:
        """True where the edge is a flange."""
        return np.abs(self.elevation) <= LEVEL

    @property
    def flange_slope(self) -> float:
        """Median slope of the flange at its edge [rad]; 0 without one."""
        return float(np.median(np.abs(self.elevation[self.is_flange]))) if self.is_flange.any() else 0.0


def find_edge(mesh: TriMesh, outer: Ints) -> Edge:
    """The edge ``outer`` (point numbers) of a mesh whose normals point up; raises :class:`SolveError` where it points down or inwards."""
    loop = outer
    x, y = mesh.points[loop, :2].T
    if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0:
        loop = loop[::-1]
    points = mesh.points[loop]
    along = np.roll(points, -1, axis=0) - points
    length = np.linalg.norm(along, axis=1)
    _refuse_open_end(points, along, length)
    normal = _normals_along(mesh, loop)
    conormal = np.cross(along / np.maximum(length, 1e-12)[:, None], normal)  # in the surface, out of the part
    plan = np.stack([along[:, 1], -along[:, 0]], axis=1)
    steep = np.arctan2(conormal[:, 2], np.einsum("ij,ij->i", conormal[:, :2], plan) / np.maximum(np.hypot(*plan.T), 1e-12))
    sides = np.column_stack([plan / np.maximum(np.hypot(*plan.T), 1e-12)[:, None], np.cos(steep), np.sin(steep)])
    weight = length[:, None]
    at = (sides * weight + np.roll(sides * weight, 1, axis=0)) / (weight + np.roll(weight, 1, axis=0))
    at = _averaged(at, length)
    outward = at[:, :2] / np.maximum(np.hypot(*at[:, :2].T), 1e-12)[:, None]
    elevation = np.arctan2(at[:, 3], at[:, 2])
    elevation = np.where(np.abs(elevation - 0.5 * math.pi) < _UPRIGHT, 0.5 * math.pi, elevation)
    elevation = np.where(np.abs(elevation) < _TRUE, 0.0, elevation)
    bad = (elevation < -LEVEL) | (elevation > 0.5 * math.pi + math.radians(5.0))
    if bad.any():
        i = int(np.argmax(bad))
        spot = ", ".join(f"{v:.0f}" for v in points[i])
        said = "points down" if elevation[i] < 0 else "leans inwards"
        raise SolveError(
            f"the part's edge {said} ({math.degrees(elevation[i]):.0f} deg) at ({spot}) mm: no blankholder surface can be led out of it.",
            where="faces", help="Unfold that flange in CAD, choose another press direction, or give the faces as files.",
        )  # fmt: skip
    return Edge(points, np.asarray(loop, dtype=np.int32), outward, np.minimum(elevation, 0.5 * math.pi))


def _refuse_open_end(points: Floats, along: Floats, length: Floats) -> None:
    climb = np.abs(along[:, 2]) / np.maximum(length, 1e-12)
    if climb.max() <= math.sin(CLIMB):
        return
    i = int(np.argmax(climb))
    spot = ", ".join(f"{v:.0f}" for v in points[i])
    raise SolveError(
        f"the part's edge climbs under {math.degrees(math.asin(min(climb[i], 1.0))):.0f} deg at ({spot}) mm, as at the open end of a channel: no blankholder surface "
        "can be led out of it yet.", where="faces", help="Close the end in CAD down to where it is trimmed, or give the faces as files.",
    )  # fmt: skip


def _normals_along(mesh: TriMesh, loop: Ints) -> Floats:
    """Unit normals of the triangles at the edges of the loop ``(k, 3)``."""
    of = {}
    for i, (a, b, c) in enumerate(mesh.triangles.tolist()):
        for p, q in ((a, b), (b, c), (c, a)):
            of[(p, q)] = i
    cells = [of.get((int(p), int(q)), of.get((int(q), int(p)), -1)) for p, q in zip(loop, np.roll(loop, -1), strict=True)]
    if min(cells) < 0:
        raise SolveError("the part's edge is not an edge of its mesh.", where="faces", help="Work the stage 'solution' again.")
    return mesh.normals[np.array(cells)]


def _averaged(values: Floats, length: Floats) -> Floats:
    """Values ``(k, c)`` diffused along the closed edge over about :data:`_SMOOTH` mm."""
    rounds = int(np.clip(round((_SMOOTH / max(float(np.median(length)), 1e-9)) ** 2), 1, 60))
    for _ in range(rounds):
        values = 0.25 * np.roll(values, 1, axis=0) + 0.5 * values + 0.25 * np.roll(values, -1, axis=0)
    return values


def plane_level(edge: Edge, land: float, radius: float) -> float:
    """Level of the blankholder plane's middle surface [mm]: the lowest that leaves every wall its land; over a flange alone the mean of where its slope leads."""
    a, z = edge.elevation, edge.points[:, 2]
    wall = ~edge.is_flange
    if wall.any():
        return float((z + land * np.sin(a) + radius * (1.0 - np.cos(a)))[wall].max())
    length = np.linalg.norm(np.roll(edge.points, -1, axis=0) - edge.points, axis=1)
    led = z + np.tan(a) * land / 3.0
    return float(np.average(led, weights=0.5 * (length + np.roll(length, 1))))


def sections(edge: Edge, level: float, land: float, radius: float, chord: float) -> tuple[Floats, Floats]:
    """Section points ``(k, s, 2)`` (out, up) [mm] from each edge point to the blankholder plane and the elevation there ``(k, s)`` [rad].

    ``s = 1`` where all of the edge lies in the plane already.
    """
    a, rise = edge.elevation, level - edge.points[:, 2]
    flange = edge.is_flange
    if flange.all() and np.abs(a).max() == 0.0 and np.abs(rise).max() < 1e-6:
        return np.zeros((len(a), 1, 2)), np.zeros((len(a), 1))
    arcs = divisions(radius, 0.5 * math.pi, chord, 6.0)
    lands = max(math.ceil(land / 3.0), 1)
    count = arcs + lands
    made = [
        _flange_section(a[i], rise[i], land, radius, count) if flange[i] else _wall_section(a[i], rise[i], radius, lands, arcs)
        for i in range(len(a))
    ]
    return np.stack([m[0] for m in made]), np.stack([m[1] for m in made])


def _wall_section(a: float, rise: float, radius: float, lands: int, arcs: int) -> tuple[Floats, Floats]:
    length = (rise - radius * (1.0 - math.cos(a))) / math.sin(a)
    straight = np.linspace(0.0, length, lands + 1)[:, None] * np.array([math.cos(a), math.sin(a)])
    at = np.linspace(a, 0.0, arcs + 1)
    bend = np.stack([radius * (math.sin(a) - np.sin(at)), radius * (np.cos(at) - math.cos(a))], axis=1)
    return np.vstack([straight, straight[-1] + bend[1:]]), np.concatenate([np.full(lands, a), at])


def _flange_section(a: float, rise: float, land: float, radius: float, count: int) -> tuple[Floats, Floats]:
    slope = math.tan(a)
    # second derivative of the cubic at its ends: (6 rise - 4 slope D) / D^2 and (2 slope D - 6 rise) / D^2
    reach = max(land, 8.0 * abs(slope) * radius, math.sqrt(12.0 * abs(rise) * radius))
    u = np.linspace(0.0, 1.0, count + 1)
    v = slope * reach * (u**3 - 2 * u**2 + u) + rise * (3 * u**2 - 2 * u**3)
    steep = slope * (3 * u**2 - 4 * u + 1) + rise / reach * (6 * u - 6 * u**2)
    return np.stack([u * reach, v], axis=1), np.arctan(steep)

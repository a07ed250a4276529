"""How the drawn surface stands along the part's edge: its way out, its elevation, and where no surface can be led out of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.die.line import diffused, steps
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

LEVEL = math.radians(20.0)
"""Steepest slope at the edge that is still led on as a flange."""
CLIMB = math.radians(50.0)
"""Climb of the edge along its own course above which it is an open end."""
DOWN = math.radians(60.0)
"""Steepest fall of the surface at its edge from which it can be turned up again."""
_UPRIGHT = math.radians(1.0)  # a wall within this of vertical is led on vertical: facets of a round wall lean by about as much
_TRUE = math.radians(0.3)  # a flange within this of level is level
_SMOOTH = 4.0  # mm: length along the edge over which direction and elevation are evened (standard deviation 5.7 mm)
_ROUNDS = 4


@dataclass(frozen=True)
class Edge:
    """The part's edge: points ``(k, 3)`` counter-clockwise in plan, their numbers in the mesh, the way out in plan ``(k, 2)``, elevation ``(k,)`` [rad].

    ``lead (k, 3)`` is the unit vector that leaves the part in its own surface across the edge, ``normal (k, 3)`` the surface's unit normal there, up, and
    ``climb (k,)`` the sine of the edge's own climb. Where the edge climbs (an open end) only these are to be relied on.
    """

    points: Floats
    numbers: Ints
    outward: Floats
    elevation: Floats
    lead: Floats
    normal: Floats
    climb: Floats

    @property
    def is_flange(self) -> NDArray[np.bool_]:
        """True where the edge is a flange."""
        return np.abs(self.elevation) <= LEVEL

    @property
    def climbs(self) -> bool:
        """True if the part has an open end."""
        return bool(self.climb.max() > math.sin(CLIMB))

    @property
    def lengths(self) -> Floats:
        """Length of the edge that belongs to each point ``(k,)`` [mm]."""
        step = steps(self.points)
        return np.asarray(0.5 * (step + np.roll(step, 1)))

    @property
    def flange_slope(self) -> float:
        """Median slope of the flange at its edge [rad]; 0 without one."""
        return float(np.median(np.abs(self.elevation[self.is_flange]))) if self.is_flange.any() else 0.0


def find_edge(mesh: TriMesh, outer: Ints, normals: Floats | None = None) -> Edge:
    """The edge ``outer`` (point numbers) of a mesh whose normals point up, with unit normals ``(n, 3)`` at its points where they are known better than from the facets.

    Raises :class:`SolveError` where it points down steeply or leans inwards.
    """
    loop = outer
    x, y = mesh.points[loop, :2].T
    if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0:
        loop = loop[::-1]
    points = mesh.points[loop]
    along = np.roll(points, -1, axis=0) - points
    length = np.linalg.norm(along, axis=1)
    climb = np.abs(along[:, 2]) / np.maximum(length, 1e-12)
    normal = _normals_along(mesh, loop)
    conormal = np.cross(along / np.maximum(length, 1e-12)[:, None], normal)  # in the surface, out of the part
    plan = np.stack([along[:, 1], -along[:, 0]], axis=1)
    side = plan / np.maximum(np.hypot(*plan.T), 1e-12)[:, None]
    steep = np.arctan2(conormal[:, 2], np.einsum("ij,ij->i", conormal[:, :2], side))
    lead = diffused(points, _to_points(conormal, length), _SMOOTH, _ROUNDS)
    up = _unit(_to_points(normal, length)) if normals is None else normals[loop]
    lead -= np.einsum("ij,ij->i", lead, up)[:, None] * up  # evened along the edge, and yet in the surface
    at = diffused(points, _to_points(np.column_stack([side, np.cos(steep), np.sin(steep)]), length), _SMOOTH, _ROUNDS)
    outward = at[:, :2] / np.maximum(np.hypot(*at[:, :2].T), 1e-12)[:, None]
    elevation = np.arctan2(at[:, 3], at[:, 2])
    if normals is not None:
        elevation = along_surface(up, outward, elevation)
    elevation = settled(elevation)
    # along a climb the side in plan says nothing, and the mean near one little
    _refuse(points, elevation, diffused(points, (climb > math.sin(CLIMB))[:, None].astype(float), _SMOOTH, _ROUNDS)[:, 0] < 0.02)
    return Edge(
        points, np.asarray(loop, dtype=np.int32), outward, np.minimum(elevation, 0.5 * math.pi), _unit(lead), up,
        np.maximum(climb, np.roll(climb, 1)),
    )  # fmt: skip


def along_surface(normal: Floats, outward: Floats, elevation: Floats) -> Floats:
    """Elevation ``(k,)`` [rad] under which a surface of unit normals ``(k, 3)`` runs along ``outward (k, 2)``; the one given where it stands along that way."""
    across, up = -np.einsum("ij,ij->i", normal[:, :2], outward), normal[:, 2]
    return np.where(np.hypot(across, up) > 0.5, np.arctan2(across, up), elevation)


def settled(elevation: Floats) -> Floats:
    """Elevations [rad] with those near upright made upright and those near level made level."""
    elevation = np.where(np.abs(elevation - 0.5 * math.pi) < _UPRIGHT, 0.5 * math.pi, elevation)
    return np.where(np.abs(elevation) < _TRUE, 0.0, elevation)


def spot_of(point: Floats) -> str:
    """A place in a sentence."""
    return ", ".join(f"{v:.0f}" for v in point)


def _refuse(points: Floats, steep: Floats, judged: NDArray[np.bool_]) -> None:
    bad = ((steep < -DOWN) | (steep > 0.5 * math.pi + math.radians(5.0))) & judged
    if not bad.any():
        return
    i = int(np.argmax(bad))
    down = steep[i] < 0
    raise SolveError(
        f"the part's edge {'points down' if down else 'leans inwards'} ({math.degrees(steep[i]):.0f} deg) at ({spot_of(points[i])}) mm: "
        "no blankholder surface can be led out of it.", where="faces",
        help="Unfold that flange in CAD, choose another press direction, or give the faces as files.",
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


def _to_points(values: Floats, length: Floats) -> Floats:
    """Values of the edges ``(k, c)`` at the points between them, weighted by length."""
    w = length[:, None]
    return (values * w + np.roll(values * w, 1, axis=0)) / np.maximum(w + np.roll(w, 1, axis=0), 1e-12)


def _unit(v: Floats) -> Floats:
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-12))

"""Vents: how much air has to leave while the press closes, what cross section lets it, and where holes for it stand.

    Q = k V / tau,   A = Q / v,   dp = rho/2 (v / c_d)^2

``V`` volume under the sheet, ``tau`` time from touch to closed, ``k`` largest over mean speed of the slide in that time, ``v`` speed of the air in the holes. ``A`` from a limit on the
air's speed is common practice; the pressure it costs is that of an orifice (incompressible; Bernoulli). For a crank (stroke ``S``, rod ``l``, ``n`` strokes a second) ``tau = a/(2 pi n)``
with the crank angle ``a`` at which the slide is ``h`` above its bottom; a hydraulic slide runs at its pressing speed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

DENSITY = 1.2e-12
"""Of air [t/mm3]."""
ORIFICE = 0.6
"""Contraction of the flow through a sharp hole (handbook, from memory)."""
DRILLS = (2.0, 3.0, 4.0, 5.0, 6.0)
"""Drills that vents are made with [mm] (common practice: small enough not to mark the sheet)."""
FEW = 12
"""As many holes a pocket as one would drill; more ask for a larger drill, as far as it goes (ours)."""
LEVEL = 0.5
"""Holes stand within this many thicknesses of the pocket's lowest place (ours)."""
VISIBLE = 30.0
"""A face bent more tightly than this many thicknesses is a radius and gets no hole (as the die shoulder in the faces)."""


@dataclass(frozen=True)
class Closing:
    """Time from touch to closed [s], and the slide's largest speed in it over the mean."""

    time: float
    peak: float


def closing(press: Mapping[str, Any], rate: float, travel: float) -> Closing:
    """How the slide of a ``press`` (its values) runs its last ``travel`` [mm] at ``rate`` strokes a minute. Raises :class:`InputError` where it cannot."""
    if travel <= 0:
        raise InputError(f"a punch travel of {travel:.3g} mm closes nothing.", where="details", help="Look at the findings of the faces.")
    if press["kind"] == "hydraulic":
        return Closing(travel / float(press["speed_mm_s"]), 1.0)
    stroke, rod = float(press["stroke_mm"]), float(press["rod_mm"])
    if travel > stroke:
        raise InputError(
            f"the press's stroke of {stroke:g} mm is less than the punch travel of {travel:.4g} mm.",
            where="press.name",
            help="Choose a press with a longer stroke.",
        )
    r = 0.5 * stroke

    def fall(a: Floats) -> Floats:
        return np.asarray(
            r * (1.0 - np.cos(a)) + (0.0 if rod <= 0 else (r * np.sin(a)) ** 2 / (rod + np.sqrt(rod**2 - (r * np.sin(a)) ** 2)))
        )

    low, high = 0.0, math.pi
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if float(fall(np.array(middle))) < travel else (low, middle)
    a = np.linspace(0.0, high, 2001)
    steepest = float(np.diff(fall(a)).max() / (a[1] - a[0]))
    return Closing(high / (2.0 * math.pi * rate / 60.0), steepest * high / travel)


def section(volume: float, run: Closing, speed: float) -> float:
    """Cross section [mm2] that lets ``volume`` [mm3] out at ``speed`` [mm/s] of the air."""
    return run.peak * volume / run.time / speed


def back_pressure(speed: float) -> float:
    """What the air's ``speed`` [mm/s] in a hole costs [MPa]."""
    return 0.5 * DENSITY * (speed / ORIFICE) ** 2


def drill(area: float, stated: float | None) -> tuple[float, int]:
    """Diameter [mm] and number of the holes for a cross section [mm2]: the smallest drill that needs no more than FEW, or the largest."""
    for d in DRILLS if stated is None else (stated,):
        count = max(math.ceil(area / (0.25 * math.pi * d * d) - 1e-9), 1)
        if count <= FEW:
            break
    return d, count


def flatness(mesh: TriMesh) -> Floats:
    """Largest curvature ``(m,)`` [1/mm] of each triangle against its neighbours: turn of the normals at the corners over the edges' lengths."""
    n, t = mesh.point_normals, mesh.triangles
    out = np.zeros(len(t))
    for i in range(3):
        a, b = t[:, i], t[:, (i + 1) % 3]
        out = np.maximum(
            out, np.linalg.norm(n[a] - n[b], axis=1) / np.maximum(np.linalg.norm(mesh.points[a] - mesh.points[b], axis=1), 1e-9)
        )
    return out


def places(
    mesh: TriMesh, height: Floats, mine: NDArray[np.bool_], bottom: int, thickness: float, diameter: float, count: int
) -> tuple[Floats, bool]:
    """Centres ``(j, 3)`` of at most ``count`` holes in the pocket of points ``mine (n,)`` with its lowest point ``bottom``, and whether they stand clear of radii.

    Among the triangles within LEVEL thicknesses of the lowest place that are no radius, nor within half a hole of one: first the one nearest to the lowest level and farthest from radii, then each as far from
    the others as it goes. Holes stand two diameters apart at least, so that there may be fewer than wanted. Without such a triangle the lowest point itself is given, with False.
    """
    from scipy.spatial import cKDTree

    cells = mine[mesh.triangles].all(axis=1)
    bent = flatness(mesh) > 1.0 / (VISIBLE * thickness)
    level = height[mesh.triangles].max(axis=1) <= height[bottom] + LEVEL * thickness
    able = np.flatnonzero(cells & level & ~bent & (np.abs(mesh.normals[:, 2]) > 0.5))
    centre = mesh.centroids[able]
    if len(able) and bent.any():
        corner = np.unique(mesh.triangles[bent])
        away = cKDTree(mesh.points[corner]).query(centre)[0]
        clear = away > 0.5 * diameter + thickness
        able, centre, away = able[clear], centre[clear], away[clear]
    else:
        away = np.zeros(len(able))
    if not len(able):
        return mesh.points[[bottom]], False
    first = int(np.lexsort((-away.round(6), (height[mesh.triangles[able]].min(axis=1) - height[bottom]).round(3)))[0])
    chosen, nearest = [first], np.linalg.norm(centre[:, :2] - centre[first, :2], axis=1)
    while len(chosen) < count:
        farthest = int(np.argmax(np.minimum(nearest, 1e9)))
        if nearest[farthest] < 2.0 * diameter:
            break
        chosen.append(farthest)
        nearest = np.minimum(nearest, np.linalg.norm(centre[:, :2] - centre[farthest, :2], axis=1))
    return centre[chosen], True

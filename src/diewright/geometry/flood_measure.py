"""Measures of one pocket: how much it holds at any level, how its free surface is shaped, what pressure makes of a bubble."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from diewright.geometry.flood import below
from diewright.geometry.flood_pockets import Attitude, Pocket
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
LEVELS = 33


@njit(cache=True)
def _filled(corners: Floats, volumes: Floats, levels: Floats) -> Floats:
    out = np.zeros(levels.shape[0])
    for k in range(corners.shape[0]):
        for j in range(levels.shape[0]):
            out[j] += volumes[k] * below(corners[k, 0], corners[k, 1], corners[k, 2], corners[k, 3], levels[j])
    return out


def volume_curve(at: Attitude, pocket: Pocket) -> tuple[Floats, Floats]:
    """Distance from the far end ``(k,) [mm]`` and volume between the far end and there ``(k,) [mm3]``; exact at each level, locked parts left out."""
    f = at.flood(pocket.kind)
    h = f.height[at.space.cells]
    low = np.take_along_axis(at.space.cells, h.argmin(axis=1)[:, None], 1)[:, 0]
    mine = f.pool[low] == pocket.number
    floor = float(f.height[f.bottom[pocket.number]])
    levels = np.linspace(floor, float(f.level[pocket.number]), LEVELS)
    return levels - floor, _filled(h[mine], at.space.volumes[mine], levels)


def mouth_width(surface: TriMesh, up: Floats) -> float:
    """Diameter of the largest circle in a free surface [mm]: the width of a groove, the diameter of a bowl; 0 for an empty surface."""
    import shapely

    if not len(surface.triangles):
        return 0.0
    first = np.cross(up, np.eye(3)[int(np.argmin(np.abs(up)))])
    first /= np.linalg.norm(first)
    plane = surface.points @ np.stack([first, np.cross(up, first)], axis=1)
    size = float(np.ptp(plane, axis=0).max())
    grid = 1e-6 * size  # ends that lie closer are one, so that the lines close
    edges = grid * np.round(plane[surface.boundary_edges] / grid)
    edges = edges[(edges[:, 1] != edges[:, 0]).any(axis=1)]
    region = shapely.build_area(shapely.MultiLineString(list(edges)))
    parts = [p for p in getattr(region, "geoms", [region]) if p.geom_type == "Polygon" and p.area > 0]
    return max((2.0 * float(shapely.maximum_inscribed_circle(p, tolerance=1e-3 * size).length) for p in parts), default=0.0)


def pressed(distance: Floats, volume: Floats, depth: float, gas: float, weight: float) -> tuple[float, float]:
    """A bubble under pressure: share of its volume left, and how far its surface has risen [mm].

    ``distance``, ``volume`` from :func:`volume_curve`; ``depth`` [mm] of its surface under the bath's before it gives way; ``gas`` the air's pressure when it was cut off [Pa];
    ``weight`` rho g of the liquid [N/m3]. Isothermal: V (p0 + rho g z) = V0 p0, z at the risen surface (Boyle).
    """
    if volume[-1] <= 0:
        return 1.0, 0.0
    low, high = 0.0, float(distance[-1])
    for _ in range(60):
        middle = 0.5 * (low + high)
        here = float(np.interp(middle, distance, volume))
        z = 1e-3 * (depth - (distance[-1] - middle))
        if here * (gas + weight * max(z, 0.0)) > volume[-1] * gas:
            high = middle
        else:
            low = middle
    return float(np.interp(0.5 * (low + high), distance, volume) / volume[-1]), float(distance[-1] - 0.5 * (low + high))

"""Liquid that a part carries away in one attitude."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.finish.dip import rules
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DragOut:
    """Of one part, [mL] but where said: pulled out (Kushner), bead at the lower edges, film (Konishi), the least of both ways, film still running after the
    drip time (Jeffreys), pools; ``total`` is Konishi's and the pools; area of both sides [mm2], lower edge [mm], length that the film runs [mm]."""

    pulled: float
    bead: float
    film: float
    drained: float
    running: float
    pools: float
    total: float
    area: float
    edge: float
    run: float


def drag_out(
    mesh: TriMesh, up: Floats, pools: float, speed: float, drip: float, viscosity: float, density: float, tension: float
) -> DragOut:
    """From the sheet's mesh, the direction up, its pools [mm3] and the bath; see :mod:`~diewright.finish.dip.rules`."""
    area = 2.0 * mesh.area
    edge = lower_edge(mesh, up)
    height = float(np.ptp(mesh.points[np.unique(mesh.triangles)] @ up))
    drained = rules.konishi(area, edge, speed, viscosity, density, tension)
    return DragOut(
        rules.kushner(area, speed, viscosity, density), rules.edge_bead(edge, tension, density), rules.film(area), drained,
        _running(mesh, up, height, speed, drip, viscosity, density), 1e-3 * pools, drained + 1e-3 * pools, area, edge, height,
    )  # fmt: skip


def lower_edge(mesh: TriMesh, up: Floats) -> float:
    """Length of free edge at which drops hang [mm]: each edge counts by the rise of the sheet away from it, ``sum l max(0, n.up)``.

    n is the unit vector in the sheet at right angles to the edge, into the sheet: 1 at the lower edge of a vertical plate, 0 at its sides and its upper edge.
    """
    edges = mesh.boundary_edges
    if not len(edges):
        return 0.0
    t = mesh.triangles
    owner = {(int(a), int(b)): i for k in range(3) for i, (a, b) in enumerate(zip(t[:, k], t[:, (k + 1) % 3], strict=True))}
    normal = mesh.normals[[owner[int(a), int(b)] for a, b in edges]]
    along = mesh.points[edges[:, 1]] - mesh.points[edges[:, 0]]
    return float(np.maximum(np.cross(normal, along) @ up, 0.0).sum())


def _running(mesh: TriMesh, up: Floats, height: float, speed: float, drip: float, viscosity: float, density: float) -> float:
    """Film on both sides after dripping [mL]: Jeffreys' mean thickness for a run as long as the part is high, on a slope with the share of gravity along it,
    never thicker than what is pulled out (a level face does not drain)."""
    slope = np.sqrt(np.maximum(1.0 - (mesh.normals @ up) ** 2, 1e-12))
    thickest = 1e3 * rules.kushner(1.0, speed, viscosity, density)
    steep = rules.draining_film(height, drip, viscosity, density) if drip > 0 else math.inf
    return float(1e-3 * 2.0 * (mesh.areas * np.minimum(steep / np.sqrt(slope), thickest)).sum())

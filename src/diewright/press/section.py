"""The part's outline a third of its depth below the top: what stands for the punch where a part is not round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiPoint, Polygon
from shapely.ops import unary_union

from diewright.geometry.mesh import TriMesh


@dataclass(frozen=True)
class Outline:
    """A drawn outline in plan: ``length`` round it [mm], enclosed ``area`` [mm2], and how it was found."""

    length: float
    area: float
    how: str
    polygon: Polygon | None = None

    def grown_area(self, distance: float) -> float:
        """Area of the outline moved outwards by ``distance`` [mm2]; for a convex outline ``A + L e + pi e^2``."""
        if self.polygon is not None:
            return float(self.polygon.buffer(distance, quad_segs=16).area)
        return self.area + self.length * distance + np.pi * distance**2


def section_outline(mesh: TriMesh, level: float) -> Outline | None:
    """Outline that the mesh makes at ``z = level`` [mm]: the hull of each piece of wall that is cut, pieces that overlap joined.

    The hull stands for the punch: it closes the gaps that holes in the wall leave. None if no wall is cut there.
    """
    z = mesh.points[:, 2] - level
    scale = float(np.ptp(mesh.points[:, 2])) or 1.0
    z = np.where(np.abs(z) < 1e-9 * scale, 1e-9 * scale, z)  # a point on the plane counts as above it
    above = z[mesh.triangles] > 0.0
    cut = above.any(axis=1) & ~above.all(axis=1)
    if not cut.any():
        return None
    cut_mesh = TriMesh(mesh.points, mesh.triangles[cut])
    edges = cut_mesh.edges
    a, b = edges[:, 0], edges[:, 1]
    crossing = (z[a] > 0.0) != (z[b] > 0.0)
    a, b = a[crossing], b[crossing]
    share = (z[a] / (z[a] - z[b]))[:, None]
    points = mesh.points[a, :2] * (1.0 - share) + mesh.points[b, :2] * share
    # an edge that crosses belongs to the piece of wall of its triangles
    piece = np.zeros(len(mesh.points), dtype=np.int64)
    piece[cut_mesh.triangles.ravel()] = np.repeat(cut_mesh.components, 3)
    hulls = [MultiPoint(points[piece[a] == label]).convex_hull for label in np.unique(piece[a])]
    whole = MultiPoint(points).convex_hull
    if whole.geom_type != "Polygon" or whole.area <= 0.0:
        return None
    joined = unary_union([h for h in hulls if h.geom_type == "Polygon"])
    # opposite walls that do not meet, as of a channel, enclose nothing by themselves: the punch spans them
    joined = whole if joined.area < 0.2 * whole.area else joined
    parts = list(joined.geoms) if hasattr(joined, "geoms") else [joined]
    length, area = float(sum(p.length for p in parts)), float(sum(p.area for p in parts))
    return Outline(length, area, "hull of the part's section a third of its depth below the top", parts[0] if len(parts) == 1 else None)


def box_outline(width: float, height: float) -> Outline:
    """Outline of the part's plan box [mm], where no mesh is at hand."""
    return Outline(2.0 * (width + height), width * height, "the part's plan box")

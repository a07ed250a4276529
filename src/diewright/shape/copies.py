"""Where the copies of a part lie beside each other in one draw, and whether they lie clear."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

TOUCH = 0.01
"""Shared plan area [mm2] from which copies overlap."""


def placements(mesh: TriMesh, copies: str, side: float, spacing: float) -> Floats:
    """Placements ``(2, 4, 4)`` in press coordinates of ``copies`` "mirrored" (about an upright plane), "turned" (by 180 degrees about an upright axis) or "shifted" along ``side`` [rad] in plan.

    ``spacing`` [mm] is the distance of the two upright planes square to the side that touch the copies where they face each other.
    """
    u, v = np.array([np.cos(side), np.sin(side), 0.0]), np.array([-np.sin(side), np.cos(side), 0.0])
    along, across = mesh.points @ u, mesh.points @ v
    middle = float(along.max()) + 0.5 * spacing
    second = np.eye(4)
    if copies == "mirrored":
        second[:3, :3] -= 2.0 * np.outer(u, u)
        second[:3, 3] = 2.0 * middle * u
    elif copies == "turned":
        second[:3, :3] = np.diag([-1.0, -1.0, 1.0])
        second[:3, 3] = 2.0 * middle * u + (float(across.min()) + float(across.max())) * v
    else:
        second[:3, 3] = (float(np.ptp(along)) + spacing) * u
    return np.stack([np.eye(4), second])


def placed(points: Floats, placement: Floats) -> Floats:
    """Points ``(n, 3)`` moved by a placement ``(4, 4)``."""
    return points @ placement[:3, :3].T + placement[:3, 3]


def shadow(points: Floats, triangles: NDArray[np.integer]) -> shapely.Geometry:
    """Plan area covered by triangles; those that stand upright left out."""
    plan = shapely.polygons(points[triangles][:, :, :2])
    return shapely.union_all(plan[shapely.area(plan) > 1e-9], grid_size=1e-6)


def clear_shadows(mesh: TriMesh, second: Floats) -> tuple[shapely.Geometry, shapely.Geometry]:
    """Plan areas of the part and of its copy; raises :class:`InputError` where they overlap."""
    one = shadow(mesh.points, mesh.triangles)
    other = shapely.transform(one, lambda xy: xy @ second[:2, :2].T + second[:2, 3])  # upright motions move the plan alone
    common = shapely.intersection(one, other)
    if common.area > TOUCH:
        at = common.representative_point()
        raise InputError(
            f"the copies overlap by {common.area:.3g} mm2 in plan, at ({at.x:.1f}, {at.y:.1f}) mm.", where="shape.spacing", help="State more spacing, or another side.",
        )  # fmt: skip
    return one, other

"""Holes of a one-skin mesh: every closed free edge but the outer one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from diewright.geometry.mesh import TriMesh

ROUND = 0.015
"""A hole is round if no point of its edge is further from the fitted cylinder than this share of the radius."""


@dataclass(frozen=True)
class Hole:
    """One hole: ``loop`` point indices; ``centre`` and ``axis`` of its edge; ``diameter`` [mm] if round; ``perimeter`` [mm], ``area`` [mm2]."""

    id: int
    loop: np.ndarray
    centre: tuple[float, float, float]
    axis: tuple[float, float, float]
    diameter: float | None
    perimeter: float
    area: float

    def as_dict(self) -> dict[str, Any]:
        """As the stage contract names it."""
        return {
            "id": self.id, "centre": list(self.centre), "axis": list(self.axis), "perimeter": self.perimeter,
            "diameter": self.diameter, "round": self.diameter is not None, "area": self.area,
        }  # fmt: skip


def outer_loop(mesh: TriMesh) -> np.ndarray:
    """The outer free edge: the one that encloses the greatest plane area; empty for a closed mesh."""
    loops = mesh.boundary_loops
    if not loops:
        return np.zeros(0, dtype=np.int32)
    return max(loops, key=lambda loop: float(np.linalg.norm(_vector_area(mesh.points[loop]))) + 1e-6 * mesh.loop_length(loop))


def find_holes(mesh: TriMesh, drawn: np.ndarray | None = None) -> tuple[Hole, ...]:
    """Every hole, greatest first, numbered from 1.

    ``drawn (n, 3)``: points on the skin as drawn, where the hole is measured; its centre is given on the mesh itself.
    """
    points = mesh.points if drawn is None else drawn
    outer = outer_loop(mesh)
    found = []
    for loop in mesh.boundary_loops:
        if len(loop) == len(outer) and np.array_equal(loop, outer):
            continue
        ring = points[loop]
        centre, axis, diameter = _fit(ring)
        if axis[int(np.argmax(np.abs(axis)))] < 0:
            axis = -axis
        centre = centre + mesh.points[loop].mean(axis=0) - ring.mean(axis=0)
        length = float(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum())
        found.append((loop, centre, axis, diameter, length, float(np.linalg.norm(_vector_area(ring)))))
    found.sort(key=lambda h: -h[5])
    return tuple(
        Hole(i, loop, _triple(centre), _triple(axis), diameter, perimeter, area)
        for i, (loop, centre, axis, diameter, perimeter, area) in enumerate(found, 1)
    )


def _triple(v: np.ndarray) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def _vector_area(ring: np.ndarray) -> np.ndarray:
    moved = ring - ring.mean(axis=0)
    return 0.5 * np.cross(moved, np.roll(moved, -1, axis=0)).sum(axis=0)


def _fit(ring: np.ndarray) -> tuple[np.ndarray, np.ndarray, float | None]:
    """Centre, axis and, if the edge lies on a circular cylinder, its diameter.

    Starts from the normal of the vector area; the axis is then turned so that the distances from it differ least, which makes a hole
    pierced askew through a crowned face round again.
    """
    from scipy.optimize import least_squares

    normal = _vector_area(ring)
    size = float(np.linalg.norm(normal))
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    weight = 0.5 * (step + np.roll(step, 1))
    centre = (ring * weight[:, None]).sum(axis=0) / weight.sum()
    if size < 1e-9 or len(ring) < 6:
        return centre, np.array([0.0, 0.0, 1.0]), None
    normal /= size
    helper = np.eye(3)[int(np.argmin(np.abs(normal)))]
    e1 = np.cross(normal, helper)
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(normal, e1)
    radius = np.sqrt(size / np.pi)

    def distances(v: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        axis = normal + v[0] * e1 + v[1] * e2
        axis /= np.linalg.norm(axis)
        middle = centre + v[2] * e1 + v[3] * e2
        away = ring - middle
        away = away - np.outer(away @ axis, axis)
        return np.linalg.norm(away, axis=1) - v[4], axis, middle

    def residual(v: np.ndarray) -> np.ndarray:
        # the last two terms keep the axis of a plane ring, where a tilt changes little, at its normal
        return np.r_[distances(v)[0] / radius, 1e-3 * v[:2]]

    fitted = least_squares(residual, np.array([0.0, 0.0, 0.0, 0.0, radius]), method="lm")
    off, axis, middle = distances(fitted.x)
    if np.abs(off).max() > ROUND * radius or np.hypot(*fitted.x[:2]) > 0.6:
        return centre, normal, None
    middle = middle + ((centre - middle) @ axis) * axis
    return middle, axis, 2 * float(fitted.x[4])

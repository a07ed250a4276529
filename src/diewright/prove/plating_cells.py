"""Cells with known answers, made of grids of bricks cut into tetrahedra, for the checks of the current distribution."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from diewright.finish.current.tetra import outer_triangles, signed_volumes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Grid:
    """``points (n, 3)`` mapped, ``tetrahedra (m, 4)``, ``outer (b, 3)`` boundary triangles with their middles before mapping ``at (b, 3)``, ``plain (n, 3)`` points before mapping."""

    points: Floats
    tetrahedra: Ints
    outer: Ints
    at: Floats
    plain: Floats

    def face(self, axis: int, value: float) -> Ints:
        """Boundary triangles in the plane ``axis = value`` of the unmapped grid."""
        return self.outer[np.abs(self.at[:, axis] - value) < 1e-9]


def grid(
    x: Floats,
    y: Floats,
    z: Floats,
    shape: Callable[[Floats], Floats] = lambda p: p,
    keep: Callable[[Floats], NDArray[np.bool_]] | None = None,
) -> Grid:
    """Bricks between the values of ``x``, ``y``, ``z``, each cut into six tetrahedra round its diagonal; ``keep`` says by their middles which stay, ``shape`` moves the points."""
    plain = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1).reshape(-1, 3)
    i = np.arange(len(plain)).reshape(len(x), len(y), len(z))
    corner = [i[a : len(x) - 1 + a, b : len(y) - 1 + b, c : len(z) - 1 + c].ravel() for a in (0, 1) for b in (0, 1) for c in (0, 1)]
    if keep is not None:
        stays = keep(np.mean([plain[c] for c in corner], axis=0))
        corner = [c[stays] for c in corner]
    tetrahedra = np.concatenate([np.stack([corner[0], corner[a], corner[a + b], corner[7]], axis=1) for a, b, _ in permutations((4, 2, 1))])
    used, tetrahedra = np.unique(tetrahedra, return_inverse=True)
    plain, tetrahedra = plain[used], tetrahedra.reshape(-1, 4)
    points = shape(plain)
    wrong = signed_volumes(points, tetrahedra) < 0
    tetrahedra[wrong] = tetrahedra[wrong][:, [0, 2, 1, 3]]
    outer, _ = outer_triangles(tetrahedra)
    return Grid(points, tetrahedra, outer, plain[outer].mean(axis=1), plain)


def graded(begin: float, end: float, count: int, power: float, both: bool = False) -> Floats:
    """``count`` steps from ``begin`` to ``end``, small at ``begin`` (at both ends if ``both``)."""
    s = np.linspace(0.0, 1.0, count + 1)
    if both:
        s = np.where(s < 0.5, 0.5 * (2 * s) ** power, 1.0 - 0.5 * (2 - 2 * s) ** power)
        return begin + (end - begin) * s
    return begin + (end - begin) * s**power


def cylinder(inner: float, outer: float, rings: int, sectors: int, angle: float = np.pi / 2) -> Grid:
    """A sector between two cylinders, one step along the axis: grid coordinates log r, angle, z."""

    def shape(p: Floats) -> Floats:
        r = np.exp(p[:, 0])
        return np.column_stack([r * np.cos(p[:, 1]), r * np.sin(p[:, 1]), p[:, 2]])

    return grid(np.linspace(np.log(inner), np.log(outer), rings + 1), np.linspace(0, angle, sectors + 1), np.array([0.0, inner]), shape)


def sphere(inner: float, outer: float, rings: int, sectors: int) -> Grid:
    """A sixth of the room between two spheres (the pyramid over one side of a cube): grid coordinates 1/r, and two angles of the cube's side."""

    def shape(p: Floats) -> Floats:
        side = np.column_stack([np.ones(len(p)), np.tan(p[:, 1]), np.tan(p[:, 2])])
        return side / np.linalg.norm(side, axis=1, keepdims=True) / p[:, :1]

    a = np.linspace(-np.pi / 4, np.pi / 4, sectors + 1)
    return grid(np.linspace(1.0 / outer, 1.0 / inner, rings + 1), a, a, shape)


def disk_wedge(radius: float, reach: float, rings: int, steps: int, angle: float = 0.15) -> Grid:
    """A thin wedge of the half space over a disk in a plane, in oblate spheroidal coordinates ``sinh u``, ``eta``: grid coordinates u, eta, angle.

    ``r = a sqrt((1 + xi^2)(1 - eta^2))``, ``z = a xi eta`` with ``xi = sinh u`` from 0 (the disk) to ``reach``; the plane round the disk is eta = 0, and a
    thread round the axis is left out.
    """

    def shape(p: Floats) -> Floats:
        xi = np.sinh(p[:, 0])
        r = radius * np.sqrt((1.0 + xi**2) * (1.0 - p[:, 1] ** 2))
        return np.column_stack([r * np.cos(p[:, 2]), r * np.sin(p[:, 2]), radius * xi * p[:, 1]])

    eta = np.sin(np.linspace(0.0, 0.5 * np.pi - 3e-3, steps + 1))
    return grid(np.linspace(0.0, np.arcsinh(reach), rings + 1), eta, np.array([0.0, angle]), shape)

"""How much of the clearance the die opens at each place of the drawn surface: ``sin^2`` of the slope, eased where the surface's curvature jumps.

Along a line across which the normal curvature jumps by ``dk``, ``f0 = sin^2(slope)`` turns by ``sin(2 slope) dk`` and a die that lies ``c f0`` further down would break by ``c`` times that. With
``q`` the points of all such lines (*seams*), the share is

    f(p) = (f0(p) + sum_q K(p, q) f0(q)) / (1 + sum_q K(p, q)),   K = a w l^2 (1 - r^2 / l^2)^3 / (r^2 + e^2)^(3/2) ds,   r = |p - q| < l,

so that on a seam it is the seam's own value and leaves it level to both sides, and beyond the reach ``l`` it is ``f0``. Of the turn 5 % is left (``e = l / 10``). Where ``f0`` is
one value on both a face and its outline, as on every plane and upright wall, ``f`` is that value. ``K`` depends on the place alone (and, for faces that look away from each other, on the
normals), so triangles and CAD surfaces can use it alike. The form is ours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.die.holder import Holder

Floats = NDArray[np.float64]

REACH = 3.0
"""How far the share is eased to either side of a seam at most, in thicknesses."""
_STRENGTH = 0.1  # a: half of the passage is done at 0.4 of the reach, and it is nowhere steeper than 1.5 times the unchanged share
_CORE = 0.1  # e in reaches
MANY = 20_000
"""Points looked at in one go."""


@dataclass(frozen=True, eq=False)
class Seams:
    """Points along the seams ``at (k, 3)`` [mm], normals ``up (k, 3)``, ``share (k,)`` of the unchanged rule, ``reach (k,)`` [mm], and ``weight (k,)`` [mm]: that of the seam times the length a point stands for."""

    at: Floats
    up: Floats
    share: Floats
    reach: Floats
    weight: Floats

    def ease(self, points: Floats, normals: Floats, share: Floats) -> Floats:
        """The share ``(n,)`` at points ``(n, 3)`` where the unchanged rule says ``share``."""
        out = np.array(share, dtype=float)
        if not len(self.at):
            return out
        tree, most = cKDTree(self.at), float(self.reach.max())
        for first in range(0, len(points), MANY):
            p, n = points[first : first + MANY], normals[first : first + MANY]
            near = np.flatnonzero(np.isfinite(tree.query(p, distance_upper_bound=most)[0]))
            if not len(near):
                continue
            pair = cKDTree(p[near]).sparse_distance_matrix(tree, most, output_type="ndarray")
            i, j, r = near[pair["i"]], pair["j"], pair["v"]
            reach = self.reach[j]
            kernel = np.clip(1.0 - (r / reach) ** 2, 0.0, None) ** 3 * reach**2 / (r**2 + (_CORE * reach) ** 2) ** 1.5
            kernel *= _STRENGTH * self.weight[j] * eased(2.0 * np.einsum("ij,ij->i", n[i], self.up[j]) + 1.0)
            total = np.bincount(i, kernel, len(p))
            out[first : first + MANY] += np.bincount(i, kernel * (self.share[j] - share[first + i]), len(p)) / (1.0 + total)
        return out


@dataclass(frozen=True, eq=False)
class Clearance:
    """The rule: blankholder surface, largest die radius [mm] of the middle surface, and the seams."""

    holder: Holder
    radius: float
    seams: Seams

    def share(self, points: Floats, normals: Floats) -> Floats:
        """The share ``f (n,)`` of the clearance by which the gap is more than the thickness, 0 to 1, at points of the drawn surface with unit normals ``(n, 3)``."""
        return self.seams.ease(points, normals, sine_share(points, normals, self.holder, self.radius))


def sine_share(points: Floats, normals: Floats, holder: Holder, radius: float) -> Floats:
    """The unchanged rule ``f0 (n,)``: ``sin^2(slope) - w sin^2(slope of the blankholder surface)``.

    ``w`` is 1 on that surface and fades with the distance from it (to two and a half die radii) and the angle to it (60 deg).
    """
    share = 1.0 - np.clip(normals[:, 2], -1.0, 1.0) ** 2
    plan = points[:, :2]
    up = holder.normal(plan)
    own = 1.0 - up[:, 2] ** 2
    if own.max(initial=0.0) < 1e-12:
        return np.asarray(share)
    near = np.abs(points[:, 2] - holder.height(plan)) / radius
    even = (np.einsum("ij,ij->i", normals, up) - 0.5) / (np.cos(np.deg2rad(6.0)) - 0.5)
    w = eased(even) * eased((2.5 - near) / 1.5)
    return np.asarray(np.clip(share - w * own, 0.0, 1.0))


def eased(x: Floats) -> Floats:
    """``3 x^2 - 2 x^3`` between 0 and 1."""
    x = np.clip(x, 0.0, 1.0)
    return np.asarray(x * x * (3.0 - 2.0 * x))

"""The wall gap: the sheet between punch and die cannot grow thicker than the clearance.

Condition on the thickness strain ``x = ln(t / gap) <= 0`` with a pressure ``p >= 0`` on both faces, ``p x = 0``. A stiff penalty in each triangle would
hold the flat area of every triangle: more conditions than a mesh of linear triangles has freedom (it locks). So the penalty is soft and the pressure is built up
around the points (augmented Lagrangian: M. R. Hestenes, J. Optim. Theory Appl. 4 (1969) 303): with the kept pressure ``q``::

    p = max(0, q + k x),    q <- average around the points of p,    until x is near 0 in the average around every point

The kept pressure enters the element as a shift of its gap (by ``-q / k``, and the ease of the penalty): nothing else changes there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from diewright.mechanics.membrane import GAP_EASE, gap_penalty

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

GAP_STIFFNESS = 5.0
"""Stiffness of the soft penalty in flow stresses at strain 1."""

BOLD = 0.5
"""Share of the pressure's last change that is added to it: the sheet yields to about two thirds of a change."""


@dataclass(frozen=True, eq=False)
class Gap:
    """``limit (m,)``: largest thickness strain of each triangle, infinite where no tool is near; ``kept (m,)`` pressure [MPa]; ``stiffness`` [MPa]."""

    limit: Floats
    kept: Floats
    stiffness: float

    @property
    def there(self) -> bool:
        """Whether any triangle has a gap."""
        return bool(np.isfinite(self.limit).any())

    @property
    def reached(self) -> Floats:
        """Thickness strain at which the pressure starts ``(m,)``: at the limit itself it has the kept value."""
        share = self.kept / self.stiffness
        return self.limit - np.where(share >= 0.5 * GAP_EASE, share + 0.5 * GAP_EASE, np.sqrt(2.0 * GAP_EASE * share))

    def pressure(self, flat: Floats, triangles: Ints, areas: Floats) -> Floats:
        """Pressure on the sheet ``(m,)`` [MPa]; ``areas (m,)`` of the part."""
        return _pressures(thickening(flat, triangles, areas) - self.reached, self.stiffness)

    def excess(self, flat: Floats, triangles: Ints, areas: Floats) -> float:
        """Largest thickness strain beyond the gap, averaged around a point."""
        inside = np.isfinite(self.limit)
        over = np.where(inside, thickening(flat, triangles, areas) - np.where(inside, self.limit, 0.0), 0.0)
        around = _around(over, triangles, areas * inside, len(flat))
        return float(around.max())

    def pressed(self, flat: Floats, triangles: Ints, areas: Floats, firmer: float = 1.0) -> Gap:
        """The gap, ``firmer`` times as stiff, with the pressure of now (and :data:`BOLD` of its last change more) as the kept one, smoothed over the triangles around each point."""
        weight = areas * np.isfinite(self.limit)
        now = self.pressure(flat, triangles, areas)
        around = _around(now + BOLD * (now - self.kept), triangles, weight, len(flat))
        return replace(
            self, stiffness=firmer * self.stiffness, kept=np.where(weight > 0, np.maximum(around[triangles].mean(axis=1), 0.0), 0.0)
        )


def thickening(flat: Floats, triangles: Ints, areas: Floats) -> Floats:
    """Thickness strain ``ln(A0 / a)`` of each triangle ``(m,)``."""
    u, v = flat[triangles[:, 1]] - flat[triangles[:, 0]], flat[triangles[:, 2]] - flat[triangles[:, 0]]
    return np.asarray(np.log(0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / areas))


def _around(values: Floats, triangles: Ints, weight: Floats, nodes: int) -> Floats:
    """Weighted averages at the points ``(nodes,)``; 0 where nothing has weight."""
    total = np.bincount(triangles.ravel(), np.repeat(weight, 3), minlength=nodes)
    summed = np.bincount(triangles.ravel(), np.repeat(weight * values, 3), minlength=nodes)
    return np.asarray(np.divide(summed, total, out=np.zeros(nodes), where=total > 0))


@njit(cache=True, error_model="numpy")
def _pressures(over: Floats, stiffness: float) -> Floats:
    out = np.zeros(len(over))
    for i in range(len(over)):
        out[i] = gap_penalty(over[i], stiffness)[1]
    return out

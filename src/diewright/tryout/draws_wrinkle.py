"""Wrinkles of a turned cup, ring by ring: what is left of a ring's shape when the mean and the ears are taken out.

A ring of the blank becomes, in a draw without wrinkles, a curve whose radius and height hold the mean and the ears of an orthotropic sheet, ``cos 2a`` and ``cos 4a``. Those three are
fitted by least squares; the rest, along the normal of the mean meridian, is crest and valley. Waves of two or three round the quarter's mirror images (6, 8, ... round the cup) are
seen from five points a wave on; odd numbers round the cup cannot form in a quarter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LEAST = 7
"""Points that a ring needs: three fitted, and a wave."""


class RingMeter:
    """``ring (n,)``: number of each point's ring; ``flat (n, 2)``: points of the blank, whose angle is kept."""

    def __init__(self, flat: Floats, ring: NDArray[np.integer]) -> None:
        angle = np.arctan2(flat[:, 1], flat[:, 0])
        self._rows = [np.flatnonzero(ring == k) for k in range(int(ring.max()) + 1)]
        self._out = []
        for row in self._rows:
            a = np.column_stack([np.ones(len(row)), np.cos(2 * angle[row]), np.cos(4 * angle[row])])
            self._out.append(np.eye(len(row)) - a @ np.linalg.pinv(a) if len(row) >= LEAST else None)

    def heights(self, points: Floats) -> Floats:
        """Crest over valley ``(n,)`` [mm] of the ring that each point belongs to; 0 on rings with too few points."""
        r, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
        mean = np.array([[r[row].mean(), z[row].mean()] for row in self._rows])
        way = np.gradient(mean, axis=0)
        way = way / np.maximum(np.hypot(*way.T), 1e-12)[:, None]
        found = np.zeros(len(points))
        for k, (row, out) in enumerate(zip(self._rows, self._out, strict=True)):
            if out is not None:
                rest = out @ (r[row] * -way[k, 1] + z[row] * way[k, 0])
                found[row] = float(np.ptp(rest))
        return found


def ring_means(values: Floats, ring: NDArray[np.integer], angle: Floats) -> Floats:
    """Mean of ``values (n,)`` over each ring, by trapezoids over the angle ``(n,)`` [rad]; ``(rings,)``."""
    out = []
    for k in range(int(ring.max()) + 1):
        at = np.flatnonzero(ring == k)
        if len(at) == 1:
            out.append(float(values[at[0]]))
            continue
        order = at[np.argsort(angle[at])]
        out.append(float(np.trapezoid(values[order], angle[order]) / np.ptp(angle[order])))
    return np.array(out)

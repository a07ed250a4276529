"""Fields on triangles carried to the points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def to_points(cell: Floats, triangles: NDArray[np.int32], areas: Floats, n: int) -> Floats:
    """Area averages at the points of a field on the triangles; points without a triangle get 0."""
    total, weight = np.zeros(n), np.zeros(n)
    for i in range(3):
        np.add.at(total, triangles[:, i], cell * areas)
        np.add.at(weight, triangles[:, i], areas)
    return np.divide(total, weight, out=np.zeros(n), where=weight > 0)

"""Where the rack may touch a part: at its edges and holes, high in the attitude it hangs in, away from what counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
UPPER = 0.35
"""Upper share of the part's height in which it is hung."""
NEAR = 3.0
"""A contact mark reaches this far from the edge [mm] (ours)."""
APART = 20.0
"""Two contacts stand at least this far apart, so that each has room for its hook [mm] (ours)."""


@dataclass(frozen=True)
class Contact:
    """A proposed place: press coordinates [mm]; ``hole`` or edge; ``marks``: significant surface that the ball touches within reach of the mark [mm2]; ``height`` below the part's top [mm]."""

    at: tuple[float, float, float]
    hole: bool
    marks: float
    height: float


def contacts(mesh: TriMesh, turn: Floats, counts: NDArray[np.bool_], outer: int, wanted: int) -> list[Contact]:
    """``wanted`` places on the free edges, the best first: least marking, then highest, each new one as far from the others across the rack as may be and 20 mm at least. Fewer where no more find room.

    ``turn``: see :func:`~diewright.finish.rack.layout.attitude`; ``counts (m,)`` significant triangles; ``outer`` the number of the outer loop. A closed part without edges has none.
    """
    loops = mesh.boundary_loops
    if not loops:
        return []
    points = np.concatenate(loops)
    hole = np.concatenate([np.full(len(loop), i != outer) for i, loop in enumerate(loops)])
    x = mesh.points[points] @ turn.T
    everything = mesh.points[np.unique(mesh.triangles)] @ turn.T
    top, height = everything[:, 2].max(), max(float(np.ptp(everything[:, 2])), 1e-9)
    width = max(float(np.ptp(everything[:, 0])), 1e-9)
    centre = np.average(mesh.centroids @ turn.T, axis=0, weights=mesh.areas)
    high = x[:, 2] >= top - UPPER * height
    if not high.any():
        high = x[:, 2] >= x[:, 2].max() - 1e-9
    marks = _marked(mesh, counts, mesh.points[points])
    # cost without unit: share of the mark that counts, depth below the top; a hole takes a hook better than an edge
    area = np.pi * NEAR**2
    cost = marks / area + 0.5 * (top - x[:, 2]) / height - 0.2 * hole
    cost[~high] = np.inf
    chosen: list[int] = []
    for _ in range(wanted):
        # both sides of the centre of gravity first, then spread
        far = np.min(np.abs(x[:, None, 0] - x[chosen, 0]), axis=1) if chosen else np.abs(x[:, 0] - centre[0])
        other = (x[:, 0] - centre[0]) * (x[chosen[0], 0] - centre[0]) < 0 if len(chosen) == 1 else np.ones(len(x), dtype=bool)
        rank = np.where(other | ~other.any(), cost, np.inf) - far / width
        if chosen:
            rank[np.linalg.norm(x[:, None] - x[chosen], axis=2).min(axis=1) < APART] = np.inf
        best = int(np.argmin(rank))
        if not np.isfinite(rank[best]):
            break
        chosen.append(best)
    at = mesh.points[points[chosen]] if chosen else np.zeros((0, 3))
    return [
        Contact((float(p[0]), float(p[1]), float(p[2])), bool(hole[i]), float(marks[i]), float(top - x[i, 2]))
        for p, i in zip(at, chosen, strict=True)
    ]


def _marked(mesh: TriMesh, counts: NDArray[np.bool_], points: Floats) -> Floats:
    """Significant area within ``NEAR`` of each point [mm2], at most that of the round mark."""
    from scipy.spatial import cKDTree

    from diewright.geometry.accessible import samples

    spots, owner, parts = samples(mesh, NEAR / 2)
    weight = (mesh.areas / parts * counts)[owner]
    near = cKDTree(spots).query_ball_point(points, NEAR)
    return np.array([min(float(weight[i].sum()), np.pi * NEAR**2) for i in near])

"""The pockets of a part in one attitude, quick enough to turn the part by hand.

The space round the part is filled once, by the stage, and kept in its result; what is left for each attitude is one sort of the heights and two
passes over the graph (see ``geometry/flood.py``), a few milliseconds for ten thousand triangles.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from diewright.geometry.flood_pockets import Attitude, Pocket, attitude
from diewright.geometry.flood_space import Opening, Space


def space_of(arrays: Mapping[str, np.ndarray]) -> Space:
    """The space from the arrays of the stage's result: ``space_points``, ``space_tets``, ``space_sheet``, ``space_box``."""
    return Space.of(
        np.asarray(arrays["space_points"], dtype=np.float64), np.asarray(arrays["space_tets"], dtype=np.int32),
        np.asarray(arrays["space_sheet"], dtype=np.int32), np.asarray(arrays["space_box"]),
    )  # fmt: skip


def arrays_of(space: Space) -> dict[str, np.ndarray]:
    """The arrays from which :func:`space_of` makes the space again."""
    return {
        "space_points": space.points, "space_tets": space.point_of[space.cells], "space_sheet": space.sheet,
        "space_box": np.unique(space.point_of[space.open == 1]),
    }  # fmt: skip


def pockets(space: Space, holes: Sequence[Opening], up: Sequence[float], least: float = 0.0) -> dict[str, Any]:
    """Pockets with ``holes`` made in the part and ``up`` in its coordinates.

    ``air`` and ``pools``: lists as :func:`row` gives them, greatest first; ``air_mm3``, ``pool_mm3`` totals; ``air_on_faces``, ``pool_on_faces`` ``(2, m)``: the pocket
    at each triangle's front and back, -1 none; ``air_depth``, ``pool_depth`` ``(p,) [mm]`` at the points. A caller that keeps the holes for many
    attitudes passes ``space.opened(holes)`` and no holes. Raises :class:`InputError` and :class:`SolveError` as ``attitude`` does.
    """
    at = attitude(space.opened(holes), np.asarray(up, dtype=np.float64), least=least)
    return {
        "up": at.up.tolist(), "air": [row(p) for p in at.air], "pools": [row(p) for p in at.pools], "air_mm3": at.air_total, "pool_mm3": at.pool_total,
        "air_on_faces": at.on_faces("air"), "pool_on_faces": at.on_faces("pool"), "air_depth": at.depth_at_points("air"), "pool_depth": at.depth_at_points("pool"),
    }  # fmt: skip


def row(p: Pocket) -> dict[str, Any]:
    """One pocket in plain numbers: ``mm3``, ``depth_mm``, ``surface_mm`` (height along up), ``far`` and ``lip`` places, ``front_mm2``, ``back_mm2``."""
    return {
        "mm3": p.volume, "depth_mm": p.depth, "surface_mm": p.surface, "far": p.far.tolist(), "lip": p.lip.tolist(), "front_mm2": p.area[0],
        "back_mm2": p.area[1],
    }  # fmt: skip


def both(at: Attitude) -> list[Pocket]:
    """Bubbles, then pools."""
    return [*at.air, *at.pools]

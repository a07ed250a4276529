"""The part in the bath in any attitude, answered while a person turns it: the space of one result is kept, each attitude is one flood."""

from __future__ import annotations

import threading
from collections.abc import Sequence

import numpy as np

from diewright.book import views
from diewright.desk import Desk
from diewright.errors import InputError
from diewright.finish.dip import live
from diewright.geometry.flood_measure import mouth_width
from diewright.geometry.flood_pockets import Attitude, Pocket, attitude
from diewright.geometry.flood_space import Opening, Space
from diewright.job.live import pack
from diewright.job.stage import Result
from diewright.watch import Frame

STAGE = "dip"
MEASURED = 24
"""Pockets of each kind whose free surface and width are told; the largest come first."""


class Baths:
    """Keeps the space of the result asked for last, once as it is and once with the proposed holes; one flood at a time."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._key = ""
        self._space: Space | None = None
        self._opened: Space | None = None

    def answer(self, key: str, up: Sequence[float], holes: bool) -> bytes:
        """The pockets with ``up`` in part coordinates as one packed frame (see :mod:`diewright.job.live`).

        Values: ``up``, ``air`` and ``pools`` (as ``finish/dip/live.row`` gives them, and ``width_mm``), totals, ``low`` and ``high`` of the part along up. Arrays: the pocket at
        each triangle's front and back, counted from 1 (0: none), and the free surfaces with the pocket of each triangle. Raises :class:`InputError` for a key
        that is gone, a direction that is none, and holes where none are proposed.
        """
        with self._lock:
            space = self._space_of(key, holes)
            at = attitude(space, np.asarray(up, dtype=np.float64), least=self._desk.job.dip.pocket_least)
            return pack(frame_of(at))

    def _space_of(self, key: str, holes: bool) -> Space:
        if key != self._key or self._space is None:
            found = views.keyed(self._desk, STAGE, key)
            if "space_points" not in found.arrays:
                raise InputError("this result has no space to turn the part in.", where=STAGE, help="Work it again.")
            self._space, self._opened, self._key = live.space_of(found.arrays), None, key
        if not holes:
            return self._space
        if self._opened is None:
            self._opened = self._space.opened(openings(views.keyed(self._desk, STAGE, key)))
        return self._opened


def openings(found: Result) -> list[Opening]:
    """The holes that the result proposes; raises :class:`InputError` where it proposes none."""
    t = found.tables.get("pockets")
    if t is None:
        raise InputError("no holes are proposed: nothing stays in the attitude that was worked.", where=STAGE)
    return [
        Opening(np.array([t["far_x_mm"][i], t["far_y_mm"][i], t["far_z_mm"][i]]), float(t["hole_mm"][i])) for i in range(len(t["hole_mm"]))
    ]


def frame_of(at: Attitude) -> Frame:
    """What the page draws of one attitude."""
    height = at.height[at.space.sides]
    arrays: dict[str, np.ndarray] = {}
    rows: dict[str, list[dict[str, object]]] = {}
    for kind, found in (("air", at.air), ("pool", at.pools)):
        front, back = at.on_faces(kind)  # type: ignore[arg-type]
        arrays[f"{kind}_front"], arrays[f"{kind}_back"] = (front + 1).astype(np.uint32), (back + 1).astype(np.uint32)
        rows[kind] = _measured(at, kind, found, arrays)
    return Frame(
        "dip", arrays,
        {
            "up": at.up.tolist(), "air": rows["air"], "pools": rows["pool"], "air_mm3": at.air_total, "pool_mm3": at.pool_total, "low": float(height.min()),
            "high": float(height.max()),
        },
    )  # fmt: skip


def _measured(at: Attitude, kind: str, found: Sequence[Pocket], arrays: dict[str, np.ndarray]) -> list[dict[str, object]]:
    points: list[np.ndarray] = [np.zeros((0, 3))]
    triangles: list[np.ndarray] = [np.zeros((0, 3), dtype=np.int64)]
    owner: list[np.ndarray] = [np.zeros(0, dtype=np.int64)]
    rows: list[dict[str, object]] = []
    count = 0
    for i, pocket in enumerate(found):
        row: dict[str, object] = live.row(pocket)
        if i < MEASURED:
            surface = at.free_surface(pocket)
            points.append(surface.points)
            triangles.append(surface.triangles + count)
            owner.append(np.full(len(surface.triangles), i + 1))
            count += len(surface.points)
            row["width_mm"] = mouth_width(surface, at.up)
        rows.append(row)
    arrays[f"{kind}_surface_points"] = np.concatenate(points)
    arrays[f"{kind}_surface_triangles"] = np.concatenate(triangles).astype(np.uint32)
    arrays[f"{kind}_surface_pocket"] = np.concatenate(owner).astype(np.uint32)
    return rows

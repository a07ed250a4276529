"""Springs of the stripper: which, how many, with what preload, and where, so that they push where the sheet clings.

The sheet is stripped while the steels go back, until their points leave it: the pad then stands at its preload again, so the preload alone must give
the stripping force. The deflection at work is the pad's lead, the way through the sheet and the entry into the die.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial.distance import pdist

from diewright.geometry.need import not_negative, positive

Floats = NDArray[np.float64]
COUNTS = (2, 3, 4, 6, 8, 10, 12, 16, 20, 24)
MOST_COILS = 12
"""More coil springs than this and gas springs are taken where both are allowed (ours)."""
LEAST_PRELOAD = 0.05
"""Least preload of a coil spring over its free length, so that it does not rattle (common practice)."""
ROOM = 4.0
"""Free room round a spring [mm] (common practice)."""


@lru_cache(maxsize=1)
def spring_table() -> dict[str, Any]:
    """The generic table of springs."""
    return tomllib.loads((Path(__file__).parent / "springs.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Springs:
    """A set of equal springs: ``name``, ``count``, ``diameter`` of a spring [mm], ``length`` free length or gas stroke [mm], ``preload`` and ``deflection`` of each
    (without preload) [mm]; ``force`` and ``force_end`` of all together at preload and at bottom [N]; ``life`` whole deflection over the one allowed for a long life."""

    kind: Literal["coil", "gas"]
    name: str
    count: int
    diameter: float
    length: float
    preload: float
    deflection: float
    force: float
    force_end: float
    life: float

    def force_at(self, pressed: Floats) -> Floats:
        """Force of all [N] at a deflection beyond the preload [mm]; none while the pad does not touch."""
        x = np.asarray(pressed, dtype=np.float64)
        return np.where(x < 0, 0.0, self.force + (self.force_end - self.force) * x / max(self.deflection, 1e-12))


def coil_sets(force: float, work: float) -> list[Springs]:
    """All sets of coil springs whose preload gives ``force`` [N] and that bear ``work`` [mm] on top of it for a long life."""
    need, way = positive(force, "the stripping force", "N"), not_negative(work, "the way of the pad", "mm")
    table, out = spring_table(), []
    for grade in table["coil"]:
        for size, stiffness in grade["stiffness_n"].items():
            for length in table["coil_lengths_mm"]:
                if length < 1.2 * float(size):
                    continue
                rate, allowed = stiffness / length, grade["long_life"] * length
                for n in COUNTS:
                    preload = max(need / (n * rate), LEAST_PRELOAD * length)
                    if preload + way <= allowed:
                        out.append(Springs(
                            "coil", f"coil spring, {grade['class']}, {size} x {length}", n, float(size), float(length), preload, way,
                            n * rate * preload, n * rate * (preload + way), (preload + way) / allowed,
                        ))  # fmt: skip
                        break
    return out


def gas_sets(force: float, work: float) -> list[Springs]:
    """All sets of gas springs whose first force is ``force`` [N] together and whose stroke holds ``work`` [mm]."""
    need, way = positive(force, "the stripping force", "N"), not_negative(work, "the way of the pad", "mm")
    gas, out = spring_table()["gas"], []
    stroke = next((s for s in gas["strokes_mm"] if gas["used"] * s >= way), None)
    if stroke is None:
        return []
    for size in gas["sizes"]:
        n = next((c for c in COUNTS if c * size["force_n"] >= need), None)
        if n is not None:
            begin = n * float(size["force_n"])
            end = begin * (1.0 + (size["rise"] - 1.0) * way / stroke)
            name = f"gas spring, {size['force_n'] / 1000:g} kN, stroke {stroke}"
            out.append(Springs("gas", name, n, float(size["body_mm"]), float(stroke), 0.0, way, begin, end, way / (gas["used"] * stroke)))
    return out


def choose(force: float, work: float, wanted: Literal["auto", "coil", "gas"], room: shapely.Geometry | None = None) -> Springs | None:
    """The set that takes the least room, ground times length; none if no set of the table serves.

    Sets of three and more are preferred, two push a pad askew. ``room``: region in plan inside which the springs stand; the first set that stands in it without touching is taken.
    """
    coils = coil_sets(force, work) if wanted != "gas" else []
    few = [s for s in coils if s.count <= MOST_COILS]
    sets = few if wanted == "auto" and few else coils
    if wanted == "gas" or not sets:
        sets = sets + (gas_sets(force, work) if wanted != "coil" else [])
    if not sets:
        return None
    ranked = sorted(sets, key=lambda s: (s.count < 3, s.count * (s.diameter + ROOM) ** 2 * s.length, s.force))
    if room is None or room.is_empty:
        return ranked[0]
    middle = shapely.get_coordinates(room.centroid)[0]
    return next((s for s in ranked if place(s, room, middle) is not None), ranked[0])


def _ring(springs: Springs, room: shapely.Geometry) -> shapely.Geometry | None:
    inner = room.buffer(-(0.5 * springs.diameter + ROOM))
    if inner.is_empty:
        return None
    return max(getattr(inner, "geoms", [inner]), key=lambda g: float(g.area)).exterior


def place(springs: Springs, room: shapely.Geometry, centre: Floats) -> Floats | None:
    """Places (n, 2) [mm] of the springs along the inside of the region ``room``, as near to balance about ``centre`` (2,) as an even spacing that is turned and squeezed allows.

    The spacing along the ring follows ``1 + a cos(2 pi s + phase)``, a and the phase searched; none where they do not fit without touching.
    """
    ring = _ring(springs, room)
    if ring is None or ring.length < springs.count * (springs.diameter + ROOM):
        return None
    n, total = springs.count, float(ring.length)
    best: tuple[float, Floats] | None = None
    for squeeze in (0.0, 0.2, 0.4, 0.6):
        for start in np.arange(24) / (24.0 * n):
            for phase in (0.0,) if squeeze == 0.0 else np.arange(12) * (2.0 * math.pi / 12):
                s = (np.arange(n) / n + start) % 1.0
                at = total * ((s + squeeze / (2.0 * math.pi) * np.sin(2.0 * math.pi * s + phase)) % 1.0)
                points = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
                if n > 1 and pdist(points).min() < springs.diameter + ROOM:
                    continue
                off = float(np.linalg.norm(points.mean(axis=0) - centre))
                if best is None or off < best[0] - 1e-9:
                    best = off, points
    return None if best is None else best[1]

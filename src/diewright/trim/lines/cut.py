"""Every cut with its direction, angle, thickness and length."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.job.schema import TrimLine
from diewright.trim.lines.angle import DOWN, Piece, cam_deg, lean_deg, middle_axis, pieces, travel
from diewright.trim.lines.mapping import to_flat
from diewright.trim.lines.project import axes
from diewright.trim.lines.sheet import DrawnSheet
from diewright.trim.lines.stated import dense

Floats = NDArray[np.float64]
Operation = Literal["first trim", "second trim", "cam"]

SAMPLE = 2.0
"""Longest step of a cut line [mm]; points added lie on its straight pieces."""

GAIN = 1.0
"""A cam must be better than straight down by this [deg], or it is not worth its slide (ours)."""


@dataclass(frozen=True, eq=False)
class Cut:
    """One cut.

    ``points (k, 3)`` closed polyline on the middle surface, ``direction`` of the steel's travel, ``normals (k, 3)``, ``lean (k,)`` [deg], ``thickness (k,)`` [mm] and whether it is known there, ``flat (k, 2)`` on the blank (nan: not mapped),
    ``straight_lean`` [deg] the worst with the press direction, ``stretches`` by cams of their own where no single direction serves.
    """

    name: str
    kind: Literal["trim", "pierce"]
    points: Floats
    direction: Floats
    operation: Operation
    stated_direction: bool
    stated_operation: bool
    normals: Floats
    lean: Floats
    thickness: Floats
    known: NDArray[np.bool_]
    flat: Floats
    diameter: float | None
    straight_lean: float
    stretches: tuple[Piece, ...] = field(default=())

    @property
    def length(self) -> float:
        """Length of the closed line [mm]."""
        return float(np.linalg.norm(self.points - np.roll(self.points, 1, axis=0), axis=1).sum())

    @property
    def worst(self) -> int:
        """Number of the point where the sheet leans most."""
        return int(np.argmax(self.lean))

    @property
    def area(self) -> float:
        """Area enclosed, seen along the direction [mm2]."""
        return float(shapely.Polygon(self.points @ axes(self.direction).T[:, :2]).area)

    def as_dict(self) -> dict[str, Any]:
        """The row of ``values["cuts"]``."""
        return {
            "id": self.name, "kind": self.kind, "operation": self.operation, "direction": self.direction.tolist(), "cam_deg": cam_deg(self.direction),
            "from_horizontal_deg": 90.0 - cam_deg(self.direction), "length_mm": self.length, "closed": True, "lean_max_deg": float(self.lean.max()), "lean_at": self.points[self.worst].tolist(),
            "lean_straight_deg": self.straight_lean, "thickness_min": float(self.thickness.min()), "thickness_max": float(self.thickness.max()), "thickness_known": float(self.known.mean()),
            "diameter": self.diameter, "area_mm2": self.area,
            "cams": [{"from": p.first, "to": p.last, "direction": p.direction.tolist(), "cam_deg": cam_deg(p.direction), "lean_max_deg": p.worst} for p in self.stretches],
        }  # fmt: skip


def make_cut(
    name: str, kind: Literal["trim", "pierce"], points: Floats, sheet: DrawnSheet, most: float, *, direction: Floats | None = None, stated: TrimLine | None = None, diameter: float | None = None,
) -> Cut:  # fmt: skip
    """A cut along a closed line on the sheet. Straight down where the sheet leans by ``most`` [deg] at the most; else along the direction that makes the worst lean least, if that is less."""
    ring = dense(points, SAMPLE)
    normals, thickness, known = sheet.read(ring)
    straight = float(lean_deg(normals, DOWN).max())
    way = DOWN if direction is None else direction
    stretches: tuple[Piece, ...] = ()
    if direction is None and straight > most:
        axis = middle_axis(normals)
        inwards = sheet.part.centroids.mean(axis=0) - ring.mean(axis=0)
        if axis is not None and axis.worst < straight - GAIN:
            way = travel(axis.direction, inwards)
        if axis is None or axis.worst > most:
            stretches = tuple(pieces(normals, most, inwards))
    lean = lean_deg(normals, way)
    auto: Operation = "cam" if cam_deg(way) > 1e-3 or stretches else "first trim"
    asked = "auto" if stated is None else stated.operation
    return Cut(
        name, kind, ring, way, auto if asked == "auto" else asked, direction is not None, asked != "auto", normals, lean, thickness, known, to_flat(sheet.part, sheet.flat, ring, sheet.reach), diameter, straight, stretches,
    )  # fmt: skip

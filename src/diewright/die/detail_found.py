"""What is found about the details of the faces, before it is told."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.die.detail_air import Air
from diewright.die.detail_locators import Locators
from diewright.die.detail_zones import Spot, Zoned
from diewright.mechanics.forming.bead_line import BeadLine, Groove, Kind
from diewright.mechanics.forming.beads import Restraint

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SHARP = 10.0
"""Condition number of the locator matrix above which the blank is not held sharply (ours)."""


@dataclass(frozen=True, eq=False)
class BeadFound:
    """The bead with what is measured on it [mm, N/mm]: ``room_blank``, ``room_holder (k,)`` from the groove's edge to the blank's edge at the start of the stroke and to the blankholder's own, positive inside;
    ``nominal`` thickness of the sheet, ``thickness (k,)`` of the drawn one at the line where ``known``."""

    kind: Kind
    groove: Groove | None
    force: Restraint | None
    line: BeadLine
    offset: float
    auto: bool
    half: float
    die_radius: float
    room_blank: Floats
    room_holder: Floats
    restraint: float
    nominal: float
    thickness: Floats
    known: Mask

    @property
    def room_die(self) -> float:
        """From the die radius to the groove [mm] where the wall is upright; negative where they run into each other. The opening line lies a thickness inside the die's wall."""
        return self.offset - self.half - self.die_radius - self.nominal

    @property
    def cut_length(self) -> float:
        """Length that is cut [mm]."""
        return self.line.cut_length

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        g, f, on = self.groove, self.force, self.line.on
        section = (
            None
            if g is None
            else {
                "bead_width": g.width,
                "groove_width": g.groove_width,
                "mouth": g.mouth,
                "depth": g.depth,
                "floor": g.floor,
                "gap": g.gap,
                "shoulder": g.radius,
                "flat": g.flat,
            }
        )
        return {
            "kind": self.kind, "radius": None if g is None else g.radius, "height": None if g is None else g.height, "groove": section, "offset": self.offset, "auto": self.auto,
            "half_width": self.half, "length": self.line.length, "cut_length": self.cut_length, "pieces": int(self.line.cut.sum()), "least_radius": self.line.least,
            "room_blank": float(self.room_blank[on].min()) if on.any() else None, "inside_blank": float((self.room_blank >= 0).mean()),
            "room_holder": float(self.room_holder[on].min()) if on.any() else None, "inside_holder": float((self.room_holder >= 0).mean()), "room_die": self.room_die,
            "restraint": self.restraint, "uplift": None if f is None else f.uplift, "uplift_kN": None if f is None else 1e-3 * f.uplift * self.cut_length,
            "thinning": None if f is None else f.thinning, "locks": False if f is None else f.locks, "wrap_deg": None if f is None else math.degrees(f.wrap),
        }  # fmt: skip

    def _span(self, begin: float, end: float) -> NDArray[np.intp]:
        count = len(self.line.s)
        step = self.line.length / count
        return np.arange(round(begin / step), round(end / step)) % count

    def table(self) -> dict[str, Floats]:
        """One row a piece; ``thickness_mm`` nan where the part does not reach to the line."""
        rows = []
        for (begin, end), cut in zip(self.line.bounds, self.line.cut, strict=True):
            i = self._span(begin, end)
            a, b = self.line.points[i[0]], self.line.points[i[-1]]
            bend = self.line.radius[i]
            known = self.known[i]
            rows.append(
                (
                    begin,
                    end,
                    end - begin,
                    float(cut),
                    float(np.min(bend[bend > 0], initial=math.inf)),
                    *a,
                    *b,
                    float(self.thickness[i][known].mean()) if known.any() else math.nan,
                )
            )
        names = (
            "begin_mm",
            "end_mm",
            "length_mm",
            "cut",
            "radius_least_mm",
            "begin_x_mm",
            "begin_y_mm",
            "end_x_mm",
            "end_y_mm",
            "thickness_mm",
        )
        table = np.array(rows)
        table[:, 4] = np.minimum(table[:, 4], 1e6)
        return dict(zip(names, table.T, strict=True))


@dataclass(frozen=True, eq=False)
class Details:
    """Everything found, for values, figures and findings [mm]; ``air_speed`` [mm/s], ``ironed`` largest pressure with which the solution holds the wall in its gap [MPa], ``solution_gap`` that gap."""

    thickness: float
    clearance: float
    bead: BeadFound | None
    pins: Locators
    pin_diameter: float
    opening: shapely.Polygon
    air: Air
    air_speed: float
    zoned: Mapping[str, Zoned]
    corners: list[Spot]
    eased: list[Spot]
    ironed: float
    solution_gap: float | None
    stroke: float
    press: Mapping[str, Any]
    rate: float

    @property
    def fixes(self) -> bool:
        """Whether the pins hold the blank, and sharply."""
        return self.pins.rank == 3 and self.pins.condition <= SHARP

    @cached_property
    def pin_room(self) -> Floats:
        """Distance of each pin's surface from the opening ``(k,)``; negative where it stands in it."""
        at = shapely.points(self.pins.at)
        away = shapely.distance(at, self.opening.exterior)
        return np.asarray(np.where(shapely.contains(self.opening, at), -away, away) - 0.5 * self.pin_diameter)

    @cached_property
    def pin_bead(self) -> Floats | None:
        """Distance of each pin's surface from the groove ``(k,)``; None without a bead."""
        if self.bead is None:
            return None
        return np.asarray(
            shapely.distance(shapely.points(self.pins.at), shapely.LinearRing(self.bead.line.points))
            - self.bead.half
            - 0.5 * self.pin_diameter
        )

    @property
    def wall_thickest(self) -> float | None:
        """Thickest sheet that the solution has at the die outside the blankholder [mm]; None where the part does not reach it."""
        z = self.zoned["die"]
        mask = z.known & (np.abs(z.mesh.normals[:, 2]) < math.sqrt(0.5))
        return float(z.thickness[mask].max()) if mask.any() else None

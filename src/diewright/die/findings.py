"""What is measured on the faces, as findings and figures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.die import rules
from diewright.die.extend import Drawn
from diewright.die.gaps import Gap
from diewright.die.made import Made
from diewright.die.zones import Zones
from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Figure, Finding, Place

Floats = NDArray[np.float64]

TIGHT = 0.9
"""Faces closer than this share of the thickness at closed crush the sheet."""


@dataclass(frozen=True, eq=False)
class Measured:
    """Faces in the closed position with what was stated and what is measured [mm]; ``made``, ``drawn`` and ``zones`` only where they are made."""

    kind: str
    thickness: float
    wall_gap: float
    family: str
    clearance_stated: bool
    radius: float | None
    radius_stated: bool
    land: float | None
    level: float
    led: bool
    die: TriMesh
    punch: TriMesh
    blankholder: TriMesh
    gap: Gap
    made: Made | None = None
    drawn: Drawn | None = None
    zones: Zones | None = None

    @property
    def die_touch(self) -> float:
        """Level of the middle surface of a flat sheet that lies on the die [mm]."""
        return float(self.die.points[:, 2].max()) + 0.5 * self.thickness

    @property
    def stroke(self) -> float:
        """Punch travel from touching the flat sheet on the die to closed [mm]."""
        return self.die_touch + 0.5 * self.thickness - float(self.punch.points[:, 2].min())

    @property
    def holder_gap(self) -> float:
        """Gap between blankholder and die at closed [mm]: the median over the blankholder."""
        from diewright.die.gaps import gap

        return float(np.median(gap(self.blankholder.centroids, self.die).value))

    @property
    def punch_radius(self) -> float | None:
        """Least radius of the punch where it bends the sheet (convex seen from the sheet) [mm]."""
        return None

    @staticmethod
    def opening_area(opening: Floats) -> float:
        """Plan area of the punch opening [mm2]."""
        x, y = opening.T
        return abs(0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))

    def notes(self) -> list[str]:
        """What was done, in sentences."""
        out = []
        if self.radius is not None and self.land is not None:
            out.append(
                f"The part ends in a wall: it is led on over a trim land of {self.land:.3g} mm at least and a die radius of {self.radius:.3g} mm onto the blankholder plane."
            )
        elif self.led:
            out.append("The part ends in a flange: it is led on tangentially and blended into one blankholder plane.")
        elif self.kind == "made":
            out.append("The part ends in a flat flange, which lies in the blankholder plane.")
        return out


def findings_of(m: Measured) -> Iterator[Finding]:
    """Findings of the faces."""
    t = m.thickness
    i = int(np.argmin(m.gap.value))
    if m.gap.least < TIGHT * t:
        yield Finding(
            key="faces.gap", severity="stop", value=m.gap.least, limit=TIGHT * t, unit="mm", source="common practice: the sheet must have room",
            sentence=f"Punch and die leave {m.gap.least:.3g} mm for a sheet of {t:.3g} mm in the closed position.",
            help="Check the radii of the part against the sheet's thickness, or the faces given.", place=_spots(m.gap.at[m.gap.value < TIGHT * t], m.gap.at[i]),
        )  # fmt: skip
    if m.made is not None and m.drawn is not None:
        for side, name in ((m.made.lower, "die"), (m.made.upper, "punch")):
            if side.folded.any():
                spots = m.drawn.mesh.centroids[side.folded]
                yield Finding(
                    key=f"faces.fold.{name}", severity="stop", value=float(side.folded.sum()), limit=0.0, unit="triangles", source="geometry",
                    sentence=f"The {name}'s face folds over itself at {int(side.folded.sum())} triangles, where the part bends more tightly than it is offset.",
                    help="Enlarge that radius in CAD to more than half the thickness.", place=_spots(spots, spots[0]),
                )  # fmt: skip


def _spots(points: Floats, first: Floats) -> Place:
    step = max(len(points) // 40, 1)
    chosen = [first, *points[::step]]
    return Place(points=tuple((float(p[0]), float(p[1]), float(p[2])) for p in chosen), label=f"at ({first[0]:.0f}, {first[1]:.0f}) mm")


def figures_of(m: Measured) -> Iterator[Figure]:
    """Figures of the faces, with formula and source."""
    t = (m.thickness, "mm")
    if m.clearance_stated or m.kind == "given":
        yield Figure(
            key="faces.clearance", label="Gap between punch and die at a wall", value=m.wall_gap, unit="mm",
            formula="as stated" if m.clearance_stated else "measured on the faces given", confidence="exact",
        )  # fmt: skip
    else:
        yield Figure(
            key="faces.clearance", label="Gap between punch and die at a wall", value=m.wall_gap, unit="mm", formula="u = s + k sqrt(10 s)",
            inputs={"s": t, "k": (rules.CLEARANCE_K[m.family], "mm^0.5")}, source="Oehler & Kaiser (from memory)",
            confidence="handbook rule; the gap is s on level areas and grows to u with sin^2 of the slope, a blend of ours",
        )  # fmt: skip
    if m.radius is not None:
        yield Figure(
            key="faces.die_radius", label="Die radius", value=m.radius, unit="mm",
            formula="as stated" if m.radius_stated else "R = 8 s, 4 mm to 15 mm", inputs={"s": t}, source="" if m.radius_stated else "common practice",
            confidence="exact" if m.radius_stated else "handbook range 5 s to 10 s",
        )  # fmt: skip
    yield Figure(
        key="faces.stroke", label="Punch travel from touch to closed", value=m.stroke, unit="mm", formula="h = z_sheet + s/2 - z_punch",
        inputs={"z_sheet": (m.die_touch, "mm"), "s": t, "z_punch": (float(m.punch.points[:, 2].min()), "mm")}, confidence="exact geometry", digits=4,
    )  # fmt: skip
    yield Figure(key="faces.gap_min", label="Least gap between punch and die, closed", value=m.gap.least, unit="mm", formula="distance of the punch's points from the die", confidence="exact geometry")  # fmt: skip
    yield Figure(key="faces.gap_max", label="Largest gap between punch and die, closed", value=m.gap.most, unit="mm", formula="distance of the punch's points from the die", confidence="exact geometry")  # fmt: skip

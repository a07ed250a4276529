"""What is measured on the faces, as findings and figures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diewright.die import rules
from diewright.die.evenness import Surface
from diewright.die.gaps import Gap
from diewright.die.radii import Bend
from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Figure, Finding, Place

Floats = NDArray[np.float64]

TIGHT = 0.9
"""Faces closer than this share of the thickness at closed crush the sheet."""


PLACED = 1.0
"""Given faces whose die lies further than this many thicknesses from where the part puts it are likely in other coordinates."""
NEAR = 5.0
"""A gap of more than this many thicknesses means that two faces do not work together."""
HELD = 10.0
"""Width of sheet that should be left under the blankholder at the end of the draw [mm] (common practice)."""
DIE_LEAST, PUNCH_LEAST = 5.0, 4.0
"""Least radius of the die and of the punch in thicknesses (handbook ranges 5 to 10 and 4 to 5, from memory)."""


@dataclass(frozen=True, eq=False)
class Measured:
    """Faces in the closed position with what was stated and what is measured [mm].

    ``gap`` between punch and die; ``holder`` between blankholder and die; ``shoulder`` and ``nose``: the tightest bends of the sheet's middle over the die and round the punch
    (made faces only); ``led_radius`` and ``land`` where a wall was led out; ``die_offset`` the greatest distance of the die from the middle surface;
    ``surface``: the blankholder surface and the section in numbers (made faces only), ``allowance`` how far the blank reaches beyond what the part alone needs, ``stated`` the names of the section's fields that were stated;
    ``folded``, ``crossed``: name of a face -> places where its offset folds, where it runs through itself; ``off_place`` how far the part's lower skin lies from the die (given faces only).
    """

    kind: str
    thickness: float
    wall_gap: float
    family: str
    clearance_stated: bool
    die: TriMesh
    punch: TriMesh
    blankholder: TriMesh
    gap: Gap
    holder: Gap
    notes: tuple[str, ...] = ()
    led_radius: float | None = None
    radius_stated: bool = False
    land: float | None = None
    shoulder: Bend | None = None
    nose: Bend | None = None
    folded: Mapping[str, Floats] = field(default_factory=dict)
    crossed: Mapping[str, Floats] = field(default_factory=dict)
    off_place: float | None = None
    touch: float | None = None
    surface: Surface | None = None
    allowance: float | None = None
    stated: frozenset[str] = frozenset()

    @property
    def die_touch(self) -> float:
        """Level of the middle surface of a flat sheet that lies on the die [mm]: ``touch`` where that is known, else over the die's highest place."""
        if self.touch is not None:
            return self.touch
        return float(self.die.points[:, 2].max()) + 0.5 * self.thickness

    @property
    def stroke(self) -> float:
        """Punch travel from touching the flat sheet on the die to closed [mm]."""
        return self.die_touch + 0.5 * self.thickness - float(self.punch.points[:, 2].min())

    @property
    def holder_gap(self) -> float:
        """Gap between blankholder and die at closed [mm]: the median over the blankholder."""
        return float(np.median(self.holder.value))

    @property
    def die_radius(self) -> float | None:
        """Radius of the die's shoulder [mm]: as led out, or the tightest of the part's own less half the thickness."""
        if self.shoulder is None:
            return self.led_radius
        own = max(self.shoulder.radius - 0.5 * self.thickness, 0.0)
        return own if self.led_radius is None else min(own, self.led_radius)

    @property
    def punch_radius(self) -> float | None:
        """Tightest radius of the punch where the sheet bends round it [mm]."""
        return None if self.nose is None else max(self.nose.radius - 0.5 * self.thickness, 0.0)


def findings_of(m: Measured) -> Iterator[Finding]:
    """Findings of the faces."""
    t = m.thickness
    yield from _gaps(m)
    for name, spots in m.folded.items():
        yield Finding(
            key=f"faces.fold.{name}", severity="stop", value=float(len(spots)), limit=0.0, unit="triangles", source="geometry",
            sentence=f"The {name}'s face folds over itself at {len(spots)} triangles, where the part bends more tightly than the face is offset.",
            help="Enlarge that radius in CAD to more than half the thickness.", place=_spots(spots, spots[0]),
        )  # fmt: skip
    if m.surface is not None and m.surface.developed is not None and m.allowance is not None and m.allowance < m.surface.developed + HELD:
        need = math.ceil(m.surface.developed + HELD)
        yield Finding(
            key="faces.blank", severity="attend", value=m.allowance, limit=m.surface.developed + HELD, unit="mm", source=f"longest section round the edge and {HELD:g} mm to hold (common practice)",
            sentence=f"The blank reaches {m.allowance:.3g} mm beyond what the part alone needs; the led wall takes {m.surface.developed:.3g} mm of sheet, and {HELD:g} mm should stay under the blankholder.",
            help=f"State blank.trim_allowance = {need}, less where the tryout shows that the sheet stretches instead.",
        )  # fmt: skip
    for name, spots in m.crossed.items():
        yield Finding(
            key=f"faces.crossing.{name}", severity="stop", value=float(len(spots)), limit=0.0, unit="triangles", source="geometry, exact arithmetic",
            sentence=f"The {name}'s face runs through itself at {len(spots)} triangles.",
            help="Enlarge the radii there, or state a smaller faces.die_radius, faces.punch_radius or faces.trim_land.", place=_spots(spots, spots[0]),
        )  # fmt: skip
    if m.stroke <= 0:
        yield Finding(
            key="faces.stroke", severity="stop", value=m.stroke, limit=0.0, unit="mm", source="geometry",
            sentence=f"The punch does not enter the die: at closed its lowest point stands {-m.stroke:.3g} mm above a sheet lying on the die.",
            help="Give the faces in the closed position, in the part's coordinates, and check part.press_direction.",
        )  # fmt: skip
    if m.off_place is not None and m.off_place > PLACED * t:
        yield Finding(
            key="faces.place", severity="attend", value=m.off_place, limit=PLACED * t, unit="mm", source="common practice",
            sentence=f"The given die lies {m.off_place:.3g} mm off the part's lower skin (median over the part).",
            help="Check that the faces are in the part's own coordinates; for a draw shape that differs from the part this is as it should be.",
        )  # fmt: skip
    corner = None if m.surface is None else m.surface.corner
    if corner is not None and corner.radius < PUNCH_LEAST * t:
        yield Finding(
            key="faces.corner", severity="attend", value=corner.radius, limit=PUNCH_LEAST * t, unit="mm", source=f"handbook: {PUNCH_LEAST:g} thicknesses at least (from memory)",
            sentence=f"The wall led out of the part's edge turns in plan on a radius of {corner.radius:.3g} mm, {corner.radius / t:.2g} times the thickness.",
            help="State a larger faces.wall_angle or faces.trim_land there, or close that end of the part in CAD with a larger corner.",
            place=_spots(np.array([corner.at]), np.array(corner.at)),
        )  # fmt: skip
    for key, name, bend, radius, least in (
        ("faces.die_radius", "die", m.shoulder, m.die_radius, DIE_LEAST), ("faces.punch_radius", "punch", m.nose, m.punch_radius, PUNCH_LEAST),
    ):  # fmt: skip
        if bend is not None and radius is not None and radius < least * t:
            yield Finding(
                key=key, severity="attend", value=radius, limit=least * t, unit="mm", source=f"handbook: {least:g} thicknesses at least (from memory)",
                sentence=f"The tightest radius of the {name} is {radius:.3g} mm, {radius / t:.2g} times the thickness.",
                help="Draw with a larger radius and strike it to size afterwards, or enlarge it in CAD.", place=_spots(np.array([bend.at]), np.array(bend.at)),
            )  # fmt: skip


def _gaps(m: Measured) -> Iterator[Finding]:
    t = m.thickness
    for key, names, gap in (("faces.gap", "Punch and die", m.gap), ("faces.holder_gap", "Blankholder and die", m.holder)):
        tight = gap.value < TIGHT * t
        if tight.any():
            yield Finding(
                key=key, severity="stop", value=gap.least, limit=TIGHT * t, unit="mm", source="common practice: the sheet must have room",
                sentence=f"{names} leave {gap.least:.3g} mm for a sheet of {t:.3g} mm in the closed position.",
                help="Check the part's radii against the thickness." if m.kind == "made" else "Give each face on its own side of the sheet: offset by half the thickness from its middle.",
                place=_spots(gap.at[tight], gap.at[int(np.argmin(gap.value))]),
            )  # fmt: skip
        middle = float(np.median(gap.value))
        if middle > NEAR * t:
            yield Finding(
                key=f"{key}.far", severity="stop", value=middle, limit=NEAR * t, unit="mm", source="geometry",
                sentence=f"{names} do not face each other: their median distance at closed is {middle:.3g} mm for a sheet of {t:.3g} mm.",
                help="Give all faces in the closed position, in the part's coordinates.",
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
            confidence="handbook rule; the gap is s on level areas and grows to u with sin^2 of the slope, held for up to 3 s to either side of lines where the curvature jumps on a slope so that the die does not break there: a blend of ours",
        )  # fmt: skip
    if m.led_radius is not None:
        yield Figure(
            key="faces.die_radius", label="Die radius", value=m.led_radius, unit="mm",
            formula="as stated" if m.radius_stated else "R = 8 s, 4 mm to 15 mm", inputs={"s": t}, source="" if m.radius_stated else "common practice",
            confidence="exact" if m.radius_stated else "handbook range 5 s to 10 s",
        )  # fmt: skip
        yield Figure(
            key="faces.trim_land", label="Trim land", value=m.land, unit="mm", formula="as stated, or 3 mm + 2 s", inputs={"s": t}, source="common practice",
            confidence="the least; it grows where the edge lies lower, so that the blankholder plane is level",
        )  # fmt: skip
    if m.surface is not None:
        yield from m.surface.figures(m.thickness, m.stated)
    for key, label, bend in (
        ("faces.die_radius_least", "Tightest radius of the die", m.shoulder),
        ("faces.punch_radius", "Tightest radius of the punch", m.nose),
    ):
        if bend is not None:
            yield Figure(
                key=key, label=label, value=max(bend.radius - 0.5 * m.thickness, 0.0), unit="mm", formula="R = R_middle - s/2",
                inputs={"R_middle": (bend.radius, "mm"), "s": t}, confidence="from the part's exact normals along the edges of its mesh",
            )  # fmt: skip
    yield Figure(
        key="faces.stroke", label="Punch travel from touch to closed", value=m.stroke, unit="mm", formula="h = z_sheet + s/2 - z_punch",
        inputs={"z_sheet": (m.die_touch, "mm"), "s": t, "z_punch": (float(m.punch.points[:, 2].min()), "mm")}, confidence="exact geometry", digits=4,
    )  # fmt: skip
    yield Figure(key="faces.gap_min", label="Least gap between punch and die, closed", value=m.gap.least, unit="mm", formula="distance of the punch's points from the die", confidence="exact geometry")  # fmt: skip
    yield Figure(key="faces.gap_max", label="Largest gap between punch and die, closed", value=m.gap.most, unit="mm", formula="distance of the punch's points from the die", confidence="exact geometry")  # fmt: skip

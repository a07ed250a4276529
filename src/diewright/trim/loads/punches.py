"""Punches and die buttons: section, shank and head, buckling, compression, head pressure, button, land and slug."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.need import not_negative, positive

Floats = NDArray[np.float64]
Guide = Literal["free", "guided", "fixed"]

FACTOR: dict[Guide, float] = {"free": 2.0, "guided": 0.7, "fixed": 0.5}
"""Buckling length over free length: held in the plate and free at the point; its point guided by the stripper; held at both ends (Euler)."""
MODULUS = 210_000.0
"""Young's modulus of tool steel [MPa]."""
YIELD = 2000.0
"""Compressive strength of hardened tool steel at 60 HRC [MPa] (typical, from memory)."""
ALLOWED = 1200.0
"""Compressive stress that a slim punch is planned with [MPa] (common practice)."""
HEAD_ALLOWED = 250.0
"""Pressure of the head that a plate of soft steel bears without a hardened backing plate [MPa] (common practice)."""
BUCKLING_SAFETY = 2.0
"""Buckling force over punch force wanted (common practice: 2 to 3)."""

SHANKS = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0)
"""Preferred shank diameters [mm] (typical, from memory)."""
BUTTONS = (6.0, 8.0, 10.0, 13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0)
"""Preferred outside diameters of die buttons [mm] (preferred numbers; typical, from memory)."""
HOLDER_SHARE = 0.3
"""Part of the punch's length that its plate holds (common practice)."""


@dataclass(frozen=True)
class Section:
    """Section of a punch's cutting end: ``area`` [mm2], least second moment ``inertia`` [mm4], ``perimeter``, ``narrowest`` (largest circle inside) and ``widest`` (circle round it) [mm]."""

    area: float
    inertia: float
    perimeter: float
    narrowest: float
    widest: float


def round_section(diameter: float) -> Section:
    """Section of a round punch, in closed form."""
    d = positive(diameter, "the punch diameter", "mm")
    return Section(math.pi * d**2 / 4.0, math.pi * d**4 / 64.0, math.pi * d, d, d)


def outline_section(line: Floats) -> Section:
    """Section of a punch with the closed outline ``(k, 2)`` [mm], by Green's theorem; raises :class:`InputError` for one that crosses itself."""
    shape = shapely.Polygon(line)
    if not shape.is_valid or shape.area <= 0:
        raise InputError("the outline of a punch crosses itself.", where="trim.cuts", help="Correct the hole's line.")
    p = np.asarray(shapely.geometry.polygon.orient(shape).exterior.coords) - np.asarray(shape.centroid.coords)[0]
    x, y, xn, yn = p[:-1, 0], p[:-1, 1], p[1:, 0], p[1:, 1]
    cross = x * yn - xn * y
    ixx = float(np.sum(cross * (y**2 + y * yn + yn**2))) / 12.0
    iyy = float(np.sum(cross * (x**2 + x * xn + xn**2))) / 12.0
    ixy = float(np.sum(cross * (x * yn + 2 * x * y + 2 * xn * yn + xn * y))) / 24.0
    least = 0.5 * (ixx + iyy) - math.hypot(0.5 * (ixx - iyy), ixy)
    inside = float(shapely.maximum_inscribed_circle(shape, tolerance=1e-3 * math.sqrt(shape.area)).length)
    return Section(float(shape.area), least, float(shape.length), 2.0 * inside, 2.0 * float(shapely.minimum_bounding_radius(shape)))


def buckling_force(section: Section, free_length: float, guide: Guide) -> tuple[float, float]:
    """Force at which a punch buckles [N] and its slenderness ``K L / i`` [-].

    Euler ``F = pi^2 E I / (K L)^2`` for slender punches; Johnson's parabola ``F = A s (1 - s (K L/i)^2 / (4 pi^2 E))`` below the slenderness
    ``sqrt(2 pi^2 E / s)`` where they meet, ``s`` the compressive strength (Timoshenko & Gere; Johnson's form from memory).
    """
    length = FACTOR[guide] * positive(free_length, "the free length of the punch", "mm")
    radius = math.sqrt(positive(section.inertia, "the second moment of the punch", "mm4") / section.area)
    slender = length / radius
    if slender >= math.sqrt(2.0 * math.pi**2 * MODULUS / YIELD):
        return math.pi**2 * MODULUS * section.inertia / length**2, slender
    return section.area * YIELD * (1.0 - YIELD * slender**2 / (4.0 * math.pi**2 * MODULUS)), slender


def longest_free(section: Section, force: float, guide: Guide) -> float:
    """Free length [mm] at which the punch buckles at ``force`` [N], by inverting the same two curves; 0 where it is crushed first."""
    f = positive(force, "the punch force", "N")
    radius = math.sqrt(section.inertia / section.area)
    euler = math.pi * math.sqrt(MODULUS * section.inertia / f)
    if euler / radius >= math.sqrt(2.0 * math.pi**2 * MODULUS / YIELD):
        return euler / FACTOR[guide]
    rest = 1.0 - f / (section.area * YIELD)
    return radius * 2.0 * math.pi * math.sqrt(MODULUS / YIELD * max(rest, 0.0)) / FACTOR[guide]


def hole_by_strength(thickness: float, shear: float) -> float:
    """Smallest round hole [mm] that the punch's compressive strength allows: ``pi d t tau = s pi d^2/4``, ``d = 4 tau t / s``."""
    return 4.0 * positive(shear, "the shear strength", "MPa") * positive(thickness, "the thickness", "mm") / ALLOWED


def preferred(size: float, table: tuple[float, ...]) -> float | None:
    """The smallest of the table that is not below ``size`` [mm]; none above it."""
    return next((d for d in table if d >= size - 1e-9), None)


@dataclass(frozen=True)
class Button:
    """Die button: ``outside`` [mm] (None: larger than the table, an insert is made), ``land`` and ``relief`` diameter step [mm], ``taper`` a side [deg], ``slugs`` that stand in the land."""

    outside: float | None
    land: float
    relief: float
    taper: float
    slugs: float


def die_button(widest: float, thickness: float) -> Button:
    """Button round an opening whose circle is ``widest`` [mm].

    Wall: 4 mm and two thicknesses, and a third of the opening, whichever is more (ours). Land 3 mm, and the thickness above that; tapered 0.5 degrees a side or
    stepped back 0.5 mm below it (common practice).
    """
    d, t = positive(widest, "the opening", "mm"), positive(thickness, "the thickness", "mm")
    wall = max(4.0, 2.0 * t, d / 3.0)
    land = max(3.0, t)
    return Button(preferred(d + 2.0 * wall, BUTTONS), land, 0.5, 0.5, land / t)


@dataclass(frozen=True)
class Punch:
    """A punch under its largest force: stresses [MPa], lengths [mm], forces [N]. ``shank`` None: wider than the table, screwed on."""

    section: Section
    force: float
    length: float
    free: float
    shank: float | None
    head: float
    stress: float
    head_pressure: float
    buckling: float
    slenderness: float
    longest: float

    @property
    def safety(self) -> float:
        """Buckling force over punch force."""
        return self.buckling / self.force


def punch_of(section: Section, force: float, length: float, guide: Guide) -> Punch:
    """The punch of a section [mm] under ``force`` [N]; its free length is what its plate does not hold, all of it taken as slim as the cutting end (safe side)."""
    f = positive(force, "the punch force", "N")
    free = (1.0 - HOLDER_SHARE) * positive(length, "the punch length", "mm")
    shank = preferred(section.widest, SHANKS)
    body = shank if shank is not None else section.widest
    head = body + max(2.0, round(0.25 * not_negative(body, "the shank", "mm")))
    bears = section.area if shank is None else math.pi * head**2 / 4.0
    buckling, slender = buckling_force(section, free, guide)
    return Punch(section, f, length, free, shank, head, f / section.area, f / bears, buckling, slender, longest_free(section, f, guide))

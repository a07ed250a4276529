"""Radii and clearances of drawing tools."""

from __future__ import annotations

import math

from diewright.errors import InputError
from diewright.geometry.need import between, positive

OEHLER_K = {"steel": 0.07, "stainless": 0.07, "aluminium": 0.02, "brass": 0.04, "copper": 0.04, "high-temperature": 0.20}
"""Factor k of the draw clearance by family (Oehler, from memory): steel 0.07, aluminium 0.02, other non-ferrous 0.04, high-temperature alloys 0.20."""


def die_radius(blank_diameter: float, cup_diameter: float, thickness: float) -> float:
    """Die radius of a first draw ``r_M = 0.035 [50 + (D - d)] sqrt(s)`` [mm].

    ``D`` blank, ``d`` cup diameter, ``s`` thickness, all mm; the 50 is mm as well. Source: Oehler & Kaiser (from memory). Compare with
    :func:`die_radius_range`.
    """
    big, d = positive(blank_diameter, "the blank diameter", "mm"), positive(cup_diameter, "the cup diameter", "mm")
    if big < d:
        raise InputError(
            f"the blank diameter {big:g} mm is below the cup diameter {d:g} mm.", help="A cup needs a blank larger than itself."
        )
    return 0.035 * (50.0 + big - d) * math.sqrt(positive(thickness, "the thickness", "mm"))


def die_radius_range(thickness: float) -> tuple[float, float]:
    """Usual die radius 5 s to 10 s [mm] (handbook range, from memory)."""
    s = positive(thickness, "the thickness", "mm")
    return 5.0 * s, 10.0 * s


def redraw_radius(previous: float, share: float = 0.7) -> float:
    """Die radius of a redraw, 0.6 to 0.8 of the draw before it [mm] (handbook, from memory)."""
    return positive(previous, "the die radius of the draw before", "mm") * between(share, 0.6, 0.8, "the share of the die radius")


def punch_radius_least(thickness: float, factor: float = 4.0) -> float:
    """Least punch radius 4 s to 5 s [mm] (handbook, from memory); a smaller radius is struck in a later operation."""
    return positive(thickness, "the thickness", "mm") * between(factor, 4.0, 5.0, "the factor of the punch radius")


def draw_clearance(thickness: float, family: str) -> float:
    """Clearance a side of a drawing die ``u = s + k sqrt(10 s)`` [mm], ``s`` in mm (Oehler, from memory; ``k`` in :data:`OEHLER_K`)."""
    if family not in OEHLER_K:
        raise InputError(f"there is no draw clearance for a metal of the family '{family}'.", help=f"Known: {', '.join(OEHLER_K)}.")
    s = positive(thickness, "the thickness", "mm")
    return s + OEHLER_K[family] * math.sqrt(10.0 * s)


def draw_clearance_groover(thickness: float) -> float:
    """Clearance a side of a drawing die ``c = 1.1 t`` [mm] (Groover, from memory)."""
    return 1.1 * positive(thickness, "the thickness", "mm")

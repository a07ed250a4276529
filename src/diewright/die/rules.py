"""The handbook's clearance, die radius and trim land for working faces."""

from __future__ import annotations

import math

from diewright.errors import InputError

CLEARANCE_K = {"steel": 0.07, "stainless": 0.07, "aluminium": 0.02, "brass": 0.04, "copper": 0.04}
"""Factor ``k`` of ``u = s + k sqrt(10 s)`` by family (Oehler, from memory)."""

RADIUS_SHARE, RADIUS_LEAST, RADIUS_MOST = 8.0, 4.0, 15.0
"""Die radius: 8 thicknesses, 4 to 15 mm (common practice; the handbook range is 5 to 10 thicknesses)."""


def wall_gap(thickness: float, family: str) -> float:
    """Gap between punch and die at a vertical wall ``u = s + k sqrt(10 s)`` [mm], ``s`` in mm (Oehler, from memory)."""
    if family not in CLEARANCE_K:
        raise InputError(
            f"there is no draw clearance for a metal of the family '{family}'.", where="faces.clearance",
            help=f"State faces.clearance; the rule knows {', '.join(CLEARANCE_K)}.",
        )  # fmt: skip
    return thickness + CLEARANCE_K[family] * math.sqrt(10.0 * thickness)


def die_radius(thickness: float) -> float:
    """Die radius ``8 s`` between 4 and 15 mm [mm] (common practice)."""
    return min(max(RADIUS_SHARE * thickness, RADIUS_LEAST), RADIUS_MOST)


PUNCH_SHARE = 6.0
"""Punch radius of a led wall: 6 thicknesses, 4 to 15 mm (common practice; the handbook range is 4 to 10 thicknesses)."""
WALL_ANGLE = 8.0
"""Lean of a led wall from vertical [deg] (common practice: 5 to 15)."""
HOLDER_SHARE, HOLDER_LEAST = 200.0, 150.0
"""Tightest bend of a curved blankholder: 200 thicknesses, 150 mm at least (the sheet's own bending strain there is ``s/2R``, 0.25 %)."""


def punch_radius(thickness: float) -> float:
    """Punch radius ``6 s`` between 4 and 15 mm [mm] (common practice)."""
    return min(max(PUNCH_SHARE * thickness, RADIUS_LEAST), RADIUS_MOST)


def holder_radius(thickness: float) -> float:
    """Tightest bend of a curved blankholder ``200 s``, 150 mm at least [mm] (ours)."""
    return max(HOLDER_SHARE * thickness, HOLDER_LEAST)


def trim_land(thickness: float) -> float:
    """Land that is led on from the part's edge before the die radius, ``3 + 2 s`` [mm] (common practice: room for a trim edge)."""
    return 3.0 + 2.0 * thickness

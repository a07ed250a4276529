"""The handbook's rules for draw, redraw and restrike of round cups."""

from __future__ import annotations

import math

from diewright.die import rules
from diewright.errors import InputError

PUNCH_SHARE = 4.0
"""Least punch radius of a draw over the thickness (handbook: 4 to 5, from memory); a sharper bottom radius is struck afterwards."""
STRIKE_LEAST = 0.5
"""Sharpest bottom radius that one restrike sets, over the thickness (common practice: down to half the thickness in ductile sheet)."""
RIM = 0.08
"""Share of a cup's height that is drawn further than its mean height: ears lie above it (common practice: 3 to 8 % are trimmed)."""


def least_punch_radius(thickness: float) -> float:
    """Least inside bottom radius of a draw ``4 s`` [mm] (handbook: 4 s to 5 s, from memory)."""
    return PUNCH_SHARE * thickness


def rim_thickness(thickness: float, blank: float, diameter: float, rbar: float) -> float:
    """Thickness of the rim ``s (D/d)^(1/(1 + r))`` [mm] of a cup of mean ``diameter`` from a ``blank`` [mm]: free compression round the cup, mean r-value ``rbar``.

    Of ``ln(D/d)`` of compression the share ``1/(1 + r)`` goes into thickness (definition of r); isotropic: the handbook's ``s sqrt(D/d)``.
    """
    return float(thickness * (blank / diameter) ** (1.0 / (1.0 + rbar)))


def draw_gap(thickness: float, family: str, rim: float) -> float:
    """Clearance a side [mm]: that of the working faces, ``u = s + k sqrt(10 s)`` (Oehler, from memory), or the thickness of the ``rim`` where that is more.

    Oehler's allowance lets the rim of one draw through; after several it is thicker, and would be ironed.
    """
    return max(rules.wall_gap(thickness, family), rim)


def die_land(thickness: float) -> float:
    """Length of the die's upright land below its radius, 3 thicknesses, 3 mm at least [mm] (common practice: 3 to 8 mm); relieved below it."""
    return max(3.0, 3.0 * thickness)


def relief(thickness: float) -> float:
    """How much wider the die is below its land, half a thickness, 0.5 mm at least [mm] (common practice)."""
    return max(0.5, 0.5 * thickness)


def sleeve_play(thickness: float) -> float:
    """Play between the sleeve of a redraw and the punch or the cup's inside, 0.3 thicknesses, 0.2 mm at least [mm] (common practice)."""
    return max(0.2, 0.3 * thickness)


SLEEVE = {"steel": 2.25, "stainless": 3.5, "aluminium": 1.0, "brass": 1.75, "copper": 1.25}
"""Pressure of a redraw's sleeve by family [MPa], middle of the range (Romanovskii's specific blankholder pressures, from memory: steel 2 to 2.5, brass 1.5 to 2, aluminium 0.8 to 1.2)."""


def holder_pressure(ratio: float, diameter: float, thickness: float, rm: float) -> float:
    """Blankholder pressure of a first draw ``p = [(beta - 1)^2 + d/(200 s)] Rm/400`` [MPa] (Siebel form; Kugler, Umformtechnik, Hanser 2009, read).

    ``beta`` [-] over the blank, ``d`` [mm] mean wall diameter, ``s`` [mm], ``Rm`` [MPa].
    """
    return ((ratio - 1.0) ** 2 + diameter / (200.0 * thickness)) * rm / 400.0


def sleeve_pressure(family: str) -> float:
    """Pressure [MPa] of the sleeve of a redraw on the projected ring (:data:`SLEEVE`); raises :class:`InputError` for a family that has none."""
    if family not in SLEEVE:
        raise InputError(
            f"there is no sleeve pressure for a metal of the family '{family}'.", where="draws.forces_kn", help=f"State the forces; the rule knows {', '.join(SLEEVE)}."
        )  # fmt: skip
    return SLEEVE[family]


def ring_area(outer: float, inner: float) -> float:
    """Area of a level ring ``pi/4 (D^2 - d^2)`` [mm2] between two diameters [mm], 0 where there is none."""
    return max(0.0, 0.25 * math.pi * (outer**2 - inner**2))


def cup_height(blank: float, diameter: float, bottom_radius: float) -> float:
    """Height [mm], from the middle of the bottom, of a cup of ``diameter`` and ``bottom_radius`` (middle surface) that a blank gives at constant thickness.

    ``D^2 = d^2 + 4 d h - (8 - 2 pi) d r - (4 pi - 12) r^2``; the handbook prints 1.72 d r and 0.56 r^2. Lengths mm.
    """
    d, r = diameter, bottom_radius
    return (blank**2 - d**2 + (8.0 - 2.0 * math.pi) * d * r + (4.0 * math.pi - 12.0) * r**2) / (4.0 * d)

"""Blanking and piercing: force, stripping, clearance, tool sizes, and the relief that shear on the tool gives."""

from __future__ import annotations

import math

import numpy as np

from diewright.errors import InputError
from diewright.geometry.need import between, not_negative, positive

SHEAR_SHARE = {"steel": 0.8, "stainless": 0.8, "aluminium": 0.7, "brass": 0.7, "copper": 0.7}
"""Shear strength over Rm by family: 0.8 is the usual figure for steels, 0.7 the textbook figure (common practice)."""

CLEARANCE_ALLOWANCE = {"soft aluminium": 0.045, "aluminium, brass, soft steel": 0.060, "hard steel": 0.075}
"""Groover's clearance allowance Ac [-] (from memory): 1100S and 5052S aluminium; 2024ST, 6061ST aluminium, brass, soft cold-rolled steel, soft
stainless; half-hard cold-rolled steel, half-hard and full-hard stainless."""

HARD_STEEL_RM = 450.0
"""Rm [MPa] above which a steel takes the clearance of half-hard stock (common practice)."""

STRIPPING_PSI = 3500.0 * 0.006894757
"""US rule for the stripping stress on the cut, 3500 psi in MPa (from memory)."""


def shear_strength(rm: float, family: str) -> float:
    """Shear strength [MPa] from ``Rm`` [MPa] and the family of the metal: ``tau = (0.7 or 0.8) Rm``."""
    if family not in SHEAR_SHARE:
        raise InputError(f"there is no shear strength for a metal of the family '{family}'.", help=f"Known: {', '.join(SHEAR_SHARE)}.")
    return SHEAR_SHARE[family] * positive(rm, "Rm", "MPa")


def blanking_force(length: float, thickness: float, shear: float, wear: float = 1.0) -> float:
    """Cutting force with flat tools ``F = tau L t k`` [N].

    ``L`` length of cut [mm], ``t`` thickness [mm], ``tau`` shear strength [MPa], ``k`` 1.0 for sharp edges, 1.15 to 1.3 for worn
    ones. Source: Groover; Kalpakjian & Schmid ch. 7 with tau = 0.7 Rm.
    """
    cut = not_negative(length, "the length of cut", "mm")
    k = between(wear, 1.0, 2.0, "the wear factor")
    return cut * positive(thickness, "the thickness", "mm") * positive(shear, "the shear strength", "MPa") * k


def stripping_force(cutting: float, share: float = 0.15) -> float:
    """Force to strip the sheet from the punch, 10 to 20 % of the cutting force [N] (lecture notes read; common practice)."""
    return not_negative(cutting, "the cutting force", "N") * between(share, 0.0, 0.5, "the stripping share")


def stripping_force_us(length: float, thickness: float) -> float:
    """Stripping force ``F = 3500 psi L t`` [N] from lengths in mm (US rule, from memory)."""
    return STRIPPING_PSI * not_negative(length, "the length of cut", "mm") * positive(thickness, "the thickness", "mm")


def allowance(family: str, rm: float, rp02: float) -> tuple[float, str]:
    """Groover's clearance allowance for a metal and the class it falls in.

    Soft aluminium is taken as Rp0.2 below 130 MPa; steel from Rm = 450 MPa and stainless from Rm = 800 MPa count as half-hard (common practice).
    """
    strength, y = positive(rm, "Rm", "MPa"), positive(rp02, "Rp0.2", "MPa")
    if family == "aluminium" and y < 130.0:
        name = "soft aluminium"
    elif (family == "steel" and strength >= HARD_STEEL_RM) or (family == "stainless" and strength >= 800.0):
        name = "hard steel"
    elif family in SHEAR_SHARE:
        name = "aluminium, brass, soft steel"
    else:
        raise InputError(f"there is no cutting clearance for a metal of the family '{family}'.", help=f"Known: {', '.join(SHEAR_SHARE)}.")
    return CLEARANCE_ALLOWANCE[name], name


def cutting_clearance(thickness: float, allowance_share: float) -> float:
    """Clearance a side between punch and die ``c = Ac t`` [mm] (Groover; 5 to 10 % of the thickness is usual for steel)."""
    return positive(thickness, "the thickness", "mm") * between(allowance_share, 0.005, 0.25, "the clearance allowance")


def blanking_sizes(part_size: float, clearance: float) -> tuple[float, float]:
    """Die and punch size [mm] when the piece cut out is the part: the die has the part's size, the punch is ``2 c`` smaller."""
    size = positive(part_size, "the size of the part", "mm")
    c = not_negative(clearance, "the clearance", "mm")
    return size, positive(size - 2.0 * c, "the punch size that the clearance leaves", "mm")


def piercing_sizes(hole_size: float, clearance: float) -> tuple[float, float]:
    """Die and punch size [mm] when the hole is wanted: the punch has the hole's size, the die is ``2 c`` larger."""
    size = positive(hole_size, "the size of the hole", "mm")
    return size + 2.0 * not_negative(clearance, "the clearance", "mm"), size


def clearance_from_fracture(thickness: float, fracture_strain: float) -> float:
    """Clearance a side ``c = t / (1.36 e^ef) (2 e^ef - 1) / (2.3 e^ef - 1)`` [mm].

    ``ef`` true fracture strain of the metal [-] (tabulated for 1 to 2.5). Source: Ghosh & Mallik, Manufacturing Science, ch. 3.
    """
    t = positive(thickness, "the thickness", "mm")
    e = math.exp(between(fracture_strain, 0.2, 4.0, "the fracture strain"))
    return t / (1.36 * e) * (2.0 * e - 1.0) / (2.3 * e - 1.0)


def force_from_fracture(clearance: float, fracture_stress: float, length: float) -> float:
    """Cutting force ``F = sigma_f c L`` [N] from the clearance [mm], true fracture stress [MPa] and length of cut [mm] (Ghosh & Mallik ch. 3)."""
    return (
        positive(fracture_stress, "the fracture stress", "MPa")
        * positive(clearance, "the clearance", "mm")
        * not_negative(length, "the length of cut", "mm")
    )


def force_with_shear(force: float, thickness: float, shear_depth: float, penetration: float = 0.35) -> float:
    """Cutting force with shear ground on the tool ``F' = F p t / (p t + I)`` [N].

    ``p`` penetration over thickness at which the sheet breaks [-] (0.3 to 0.6), ``I`` depth of the shear [mm]. Handbook form, from memory.
    """
    t = positive(thickness, "the thickness", "mm")
    p = between(penetration, 0.05, 1.0, "the penetration")
    depth = not_negative(shear_depth, "the depth of shear", "mm")
    return not_negative(force, "the cutting force", "N") * p * t / (p * t + depth)


def force_inclined_blade(thickness: float, shear: float, angle_deg: float) -> float:
    """Force of an inclined shear blade ``F = 0.5 tau t^2 / tan(phi)`` [N], ``phi`` the blade's angle [deg] (handbook form, from memory)."""
    phi = math.radians(between(angle_deg, 0.2, 30.0, "the blade angle", "deg"))
    return 0.5 * positive(shear, "the shear strength", "MPa") * positive(thickness, "the thickness", "mm") ** 2 / math.tan(phi)


PENETRATION = {"stainless": 0.40, "aluminium": 0.60, "brass": 0.50, "copper": 0.55}
"""Penetration over thickness at which the sheet breaks (die design handbooks, from memory; stainless uncertain)."""
PENETRATION_STEEL = ((300.0, 0.50), (390.0, 0.38), (450.0, 0.33), (540.0, 0.27), (700.0, 0.20), (1000.0, 0.15))
"""Rm [MPa] and penetration of steels: the handbooks' 0.1 % C annealed (0.50) and cold rolled (0.38), 0.2 % C (0.40, 0.28), 0.3 % C (0.33, 0.22), laid over
Rm by us (from memory)."""

SMALLEST_HOLE = {"steel": 1.0, "stainless": 1.3, "aluminium": 0.8, "brass": 0.9, "copper": 0.9}
"""Smallest round hole over thickness with an unguided punch: hard steel 1.3, soft steel 1.0, brass 0.9, aluminium 0.8 (die design handbooks, from memory)."""
SMALLEST_GUIDED = 0.5
"""The same over the free one when the stripper guides the punch (from memory: 0.5 to 0.3)."""


def penetration(family: str, rm: float) -> float:
    """Share of the thickness that the steel has entered when the sheet breaks [-], by family and ``Rm`` [MPa] (from memory)."""
    strength = positive(rm, "Rm", "MPa")
    if family == "steel":
        x, y = zip(*PENETRATION_STEEL, strict=True)
        return float(np.interp(strength, x, y))
    if family not in PENETRATION:
        raise InputError(
            f"there is no penetration at break for a metal of the family '{family}'.", help=f"Known: steel, {', '.join(PENETRATION)}."
        )
    return PENETRATION[family]


def smallest_hole(thickness: float, family: str, rm: float, guided: bool) -> float:
    """Smallest round hole [mm] that a common punch pierces into a sheet of ``thickness`` [mm] (handbook shares, from memory)."""
    if family not in SMALLEST_HOLE:
        raise InputError(f"there is no smallest hole for a metal of the family '{family}'.", help=f"Known: {', '.join(SMALLEST_HOLE)}.")
    hard = family == "steel" and positive(rm, "Rm", "MPa") >= HARD_STEEL_RM
    share = 1.3 if hard else SMALLEST_HOLE[family]
    return share * positive(thickness, "the thickness", "mm") * (SMALLEST_GUIDED if guided else 1.0)


def cutting_energy(force: float, thickness: float, share: float, fullness: float = 1.0) -> float:
    """Work of a cut ``E = k F p t`` [J]; ``F`` [N], ``t`` [mm], ``p`` penetration at break, ``k`` fullness of the force curve, 1 for a rectangle (handbook form, from memory)."""
    k = between(fullness, 0.1, 2.0, "the fullness of the force curve")
    p = between(share, 0.05, 1.0, "the penetration")
    return k * not_negative(force, "the cutting force", "N") * p * positive(thickness, "the thickness", "mm") / 1000.0

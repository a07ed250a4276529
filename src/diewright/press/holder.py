"""Blankholder: pressure on the flange after three handbook forms, the area it acts on, and when none is needed."""

from __future__ import annotations

import math

from diewright.errors import InputError
from diewright.geometry.need import between, not_negative, positive


def holder_pressure_siebel(ratio: float, cup_diameter: float, thickness: float, rm: float) -> float:
    """Blankholder pressure ``p = [(beta - 1)^2 + d / (200 s)] Rm / 400`` [MPa].

    ``beta`` draw ratio [-], ``d`` cup diameter [mm], ``s`` thickness [mm], ``Rm`` [MPa]. Source: Siebel form; Kugler, Umformtechnik,
    Hanser 2009 (worked example read).
    """
    beta = between(ratio, 1.0, 10.0, "the draw ratio")
    d, s, strength = _sizes(cup_diameter, thickness, rm)
    return ((beta - 1.0) ** 2 + d / (200.0 * s)) * strength / 400.0


def holder_pressure_cubic(ratio: float, blank_diameter: float, thickness: float, rm: float, factor: float = 0.0025) -> float:
    """Blankholder pressure ``p = c [(beta - 1)^3 + 0.005 D / s] Rm`` [MPa], ``c`` 0.002 to 0.003.

    ``D`` blank diameter [mm], other symbols as in :func:`holder_pressure_siebel`. Source: Siebel, second form (from memory).
    """
    beta = between(ratio, 1.0, 10.0, "the draw ratio")
    big, s, strength = _sizes(blank_diameter, thickness, rm)
    c = between(factor, 0.002, 0.003, "the factor c of the blankholder pressure")
    return c * ((beta - 1.0) ** 3 + 0.005 * big / s) * strength


def holder_pressure_yield(rp02: float) -> float:
    """Blankholder pressure ``p = 0.015 Y`` [MPa] on the initial holder area (Groover, deep drawing; from memory)."""
    return 0.015 * positive(rp02, "the yield strength", "MPa")


def holder_area_round(blank_diameter: float, die_diameter: float, die_radius: float) -> float:
    """Area under the holder at first touch ``A = pi/4 [D^2 - (d_die + 2 r_M)^2]`` [mm2]; zero if the blank does not reach past the radius.

    Lengths in mm. Source: Manufacturing Review 3 (2016), mfreview160005, Table 1 (read); common practice.
    """
    big = positive(blank_diameter, "the blank diameter", "mm")
    inner = positive(die_diameter, "the die opening", "mm") + 2.0 * not_negative(die_radius, "the die radius", "mm")
    return max(0.0, math.pi / 4.0 * (big**2 - inner**2))


def holder_force_groover(rp02: float, blank_diameter: float, punch_diameter: float, thickness: float, die_radius: float) -> float:
    """Blankholder force ``F = 0.015 Y pi [D^2 - (Dp + 2.2 t + 2 Rd)^2]`` [N] as Groover prints it.

    Groover's bracket is not divided by 4: the pressure on the true area is four times 0.015 Y. Kept for the worked example and
    as the upper of the three forms. Source: Groover, deep drawing (from memory).
    """
    y = positive(rp02, "the yield strength", "MPa")
    t = positive(thickness, "the thickness", "mm")
    inner = positive(punch_diameter, "the punch diameter", "mm") + 2.2 * t + 2.0 * not_negative(die_radius, "the die radius", "mm")
    big = positive(blank_diameter, "the blank diameter", "mm")
    if big < inner:
        raise InputError(
            f"the blank diameter {big:g} mm does not reach past the die radius ({inner:g} mm).",
            help="There is nothing to hold: use a smaller die radius or a larger blank.",
        )
    return 0.015 * y * math.pi * (big**2 - inner**2)


def holder_force(pressure: float, area: float) -> float:
    """Blankholder force ``F = p A`` [N] from the pressure [MPa] and the area [mm2]."""
    return not_negative(pressure, "the blankholder pressure", "MPa") * not_negative(area, "the holder area", "mm2")


def draws_without_holder(blank_diameter: float, cup_diameter: float, thickness: float) -> bool:
    """True if a cup can be drawn without a blankholder: ``D - d <= 18 s`` (Esser & Arend 1940; from memory).

    Romanovskii gives 22 s; the lower figure is used. Meant for sheets thicker than about 2 % of the blank diameter.
    """
    d, s = positive(cup_diameter, "the cup diameter", "mm"), positive(thickness, "the thickness", "mm")
    return positive(blank_diameter, "the blank diameter", "mm") - d <= 18.0 * s


def _sizes(diameter: float, thickness: float, rm: float) -> tuple[float, float, float]:
    return positive(diameter, "the diameter", "mm"), positive(thickness, "the thickness", "mm"), positive(rm, "Rm", "MPa")

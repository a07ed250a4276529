"""Closed forms of blank diameters: constant area of the middle surface, as in the drawing handbooks. Lengths mm."""

from __future__ import annotations

import numpy as np

from diewright.errors import InputError


def _checked(**lengths: float) -> None:
    for name, value in lengths.items():
        if not np.isfinite(value) or value < 0:
            raise InputError(f"{name} = {value} mm cannot be used: it must be 0 or more.")


def sharp_cup(diameter: float, height: float) -> float:
    """``D = sqrt(d^2 + 4 d h)``: cylinder with a sharp bottom edge."""
    _checked(diameter=diameter, height=height)
    return float(np.sqrt(diameter**2 + 4.0 * diameter * height))


def cup(diameter: float, height: float, radius: float) -> float:
    """Cylinder with a bottom radius ``r``, exact.

    ``D^2 = (d - 2r)^2 + 2 pi r (d - 2r) + 8 r^2 + 4 d (h - r)``: bottom disc, quarter torus, wall; expanded,
    ``d^2 + 4 d h - (8 - 2 pi) d r - (4 pi - 12) r^2`` (handbooks print 1.72 and 0.56).
    """
    _checked(diameter=diameter, height=height, radius=radius)
    if radius > min(diameter / 2.0, height) + 1e-12:
        raise InputError(f"A bottom radius of {radius} mm does not fit a cup of diameter {diameter} and height {height} mm.")
    d, h, r = diameter, height, radius
    return float(np.sqrt(d**2 + 4.0 * d * h - (8.0 - 2.0 * np.pi) * d * r - (4.0 * np.pi - 12.0) * r**2))


def flanged_cup(diameter: float, height: float, flange_diameter: float) -> float:
    """``D^2 = d2^2 + 4 d h``: sharp-edged cup with a flange of outer diameter ``d2``."""
    _checked(diameter=diameter, height=height, flange_diameter=flange_diameter)
    if flange_diameter < diameter:
        raise InputError(f"A flange of {flange_diameter} mm is smaller than its cup of {diameter} mm.")
    return float(np.sqrt(flange_diameter**2 + 4.0 * diameter * height))


def hemisphere(diameter: float) -> float:
    """``D = sqrt(2) d``."""
    _checked(diameter=diameter)
    return float(np.sqrt(2.0) * diameter)


def draw_clearance(thickness: float, family: str) -> float:
    """``u = s + k sqrt(10 s)`` between punch and die; k .07 steel, .02 aluminium, .04 other non-ferrous (Oehler, from memory)."""
    _checked(thickness=thickness)
    k = {"steel": 0.07, "stainless": 0.07, "aluminium": 0.02}.get(family, 0.04)
    return float(thickness + k * np.sqrt(10.0 * thickness))

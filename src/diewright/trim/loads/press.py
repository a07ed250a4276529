"""What the cutting force asks of the press: force left at each height, work, snap-through, tilting."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.need import positive
from diewright.mechanics.crank import Crank

Floats = NDArray[np.float64]
REVERSE = 0.5
"""Reverse load over the force released at the break: a frame without losses swings back by all of it, half is a common figure (ours)."""
REVERSE_LIMITS = (0.10, 0.20)
"""Reverse load over rated force that press makers commonly allow: 10 % without asking, 20 % at most (common practice)."""
RESERVE = 0.8
"""Share of the press's force that a plan uses at most (common practice)."""
OFF_CENTRE = 0.10
"""Load off the slide's centre over the bed's length that way, from which on the press maker's off-centre diagram is to be asked (ours)."""


def capacity(press: Mapping[str, Any], table: Mapping[str, Floats], heights: Floats) -> Floats:
    """Slide force [N] at heights above bottom [mm]: the stage press's curve as far as it goes, the press's own law above it (constant torque; full force if hydraulic)."""
    known = np.asarray(table["height_above_bottom_mm"], dtype=np.float64)
    order = np.argsort(known)
    inside = np.interp(heights, known[order], 1000.0 * np.asarray(table["capacity_kN"], dtype=np.float64)[order])
    nominal, stroke = (
        1000.0 * positive(press["force_kn"], "the press's force", "kN"),
        positive(press["stroke_mm"], "the press's stroke", "mm"),
    )
    if press.get("kind") == "hydraulic":
        beyond = np.full(len(heights), nominal)
    else:
        rod = float(press.get("rod_mm") or 0.0)
        crank = Crank(stroke, rod if rod > 0 else math.inf)
        rated = crank.rated_angle(
            angle_deg=float(press.get("rated_angle_deg") or 0.0), distance=float(press.get("rated_distance_mm") or 0.0)
        )
        beyond = np.asarray(crank.force(np.clip(heights, 0.0, stroke), nominal, rated))
    return np.where(heights > stroke, 0.0, np.where(heights <= known.max(), inside, beyond))


def energy_limit(press: Mapping[str, Any]) -> float | None:
    """Work a stroke that the drive gives without pause [J]; none for a hydraulic press, whose pump follows."""
    kilo = float(press.get("energy_continuous_kj") or press.get("energy_kj") or 0.0)
    return None if press.get("kind") == "hydraulic" or kilo <= 0 else 1000.0 * kilo


def reverse_load(released: float) -> float:
    """Load on the press against its working direction after the break [N] (ours: half of what is released)."""
    return REVERSE * released


def press_of(values: Mapping[str, Any]) -> Mapping[str, Any]:
    """The press of the stage ``press``; raises :class:`InputError` if it chose none."""
    press = values.get("press")
    if not press:
        raise InputError("no press is chosen.", where="press", help="Work the stage 'press' first, or name a press.")
    return press

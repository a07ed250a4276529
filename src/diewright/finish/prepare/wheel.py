"""Rim speed of a wheel: v = pi D n."""

from __future__ import annotations

import math

from diewright.geometry.need import positive

FOOT = 0.3048
"""A foot [m]."""


def rim_speed(diameter: float, rpm: float) -> float:
    """Speed of the rim [m/s] of a wheel of ``diameter`` [mm] at ``rpm`` [1/min]; raises :class:`InputError` for a wheel without diameter."""
    return math.pi * positive(diameter, "The wheel's diameter", "mm") * positive(rpm, "The wheel's speed", "1/min") / 60_000.0


def turns_for(speed: float, diameter: float) -> float:
    """Turns a minute that give ``speed`` [m/s] at the rim of a wheel of ``diameter`` [mm]."""
    return 60_000.0 * positive(speed, "The rim speed", "m/s") / (math.pi * positive(diameter, "The wheel's diameter", "mm"))


def diameter_for(speed: float, rpm: float) -> float:
    """Diameter [mm] of the wheel whose rim runs at ``speed`` [m/s] with ``rpm`` [1/min]."""
    return 60_000.0 * positive(speed, "The rim speed", "m/s") / (math.pi * positive(rpm, "The wheel's speed", "1/min"))


def feet_per_minute(speed: float) -> float:
    """``speed`` [m/s] as feet a minute."""
    return 60.0 * speed / FOOT

"""How far hands and guards must be: distances from the measured stopping time. Local law and the standards themselves come first."""

from __future__ import annotations

from diewright.errors import InputError
from diewright.geometry.need import between, positive

INCH = 25.4
HAND = 63.0 * INCH
"""Hand speed [mm/s] of 29 CFR 1910.217: 63 in/s."""


def curtain_distance(stop: float, capability: float) -> float:
    """Light curtain met straight on [mm] (ISO 13855): ``S = 2000 T + 8 (d - 14)`` up to 500 mm, at least 100; beyond, with 1600, at least 500. ``stop`` T [s] of press and device, ``capability`` d [mm]."""
    t, d = positive(stop, "the stopping time", "s"), between(capability, 14.0, 40.0, "the detection capability", "mm")
    near = 2000.0 * t + 8.0 * (d - 14.0)
    return max(near, 100.0) if near <= 500.0 else max(1600.0 * t + 8.0 * (d - 14.0), 500.0)


def us_distance(stop: float) -> float:
    """Presence sensing or two-hand control [mm] (29 CFR 1910.217(c)(3)): ``Ds = 63 in/s Ts``."""
    return HAND * positive(stop, "the stopping time", "s")


def two_hand_distance(stop: float) -> float:
    """Two-hand control [mm] (ISO 13855, from memory): ``S = 1600 T + 250``, at least 100."""
    return max(1600.0 * positive(stop, "the stopping time", "s") + 250.0, 100.0)


def trip_distance(engaging_points: int, rate: float) -> float:
    """Two-hand trip of a full-revolution clutch [mm] (29 CFR 1910.217(c)(3)(viii)): ``Dm = 63 in/s Tm``, ``Tm = (1/2 + 1/N) T_rev``; ``rate`` [1/min] of the flywheel."""
    if engaging_points < 1:
        raise InputError(f"a clutch has {engaging_points} engaging points: expected 1 or more.", help="Count them on the clutch.")
    return HAND * (0.5 + 1.0 / engaging_points) * 60.0 / positive(rate, "the stroking rate", "1/min")

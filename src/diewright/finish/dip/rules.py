"""Formulas of vents, drains and drag-out. Lengths mm, areas mm2, speeds mm/s, viscosity mPa s, density kg/m3, surface tension mN/m, results as said."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GRAVITY = 9.80665
ATMOSPHERE = 101_325.0
AIR_DENSITY = 1.2
"""[kg/m3] at 20 deg C and sea level."""
CD = 0.62
"""Discharge of a sharp hole in thin sheet (handbook value, from memory)."""
CAPILLARY_WIDTH = 5.0
"""[mm] width below which a pocket keeps air or liquid whatever hydrostatics says: inferred from pockets 3 to 5 mm wide and 1.6 mm deep that kept pinhole bubbles in every rack tried."""

# closed round profile smaller than [mm] -> least hole for one at each end [mm]: guidance of hot-dip galvanizing, as EN ISO 14713-2
VENT_TABLE = (
    (15, 8), (20, 10), (30, 12), (40, 14), (50, 16), (60, 20), (80, 25), (100, 30), (120, 40), (160, 60), (200, 80), (250, 120), (300, 150),
    (400, 200), (500, 300),
)  # fmt: skip

# drag-out of a part after Soderberg 1936 as in Graham, Electroplating Engineering Handbook (from memory): gallons (US) a 1000 ft2
AREA_FIGURES: Mapping[str, tuple[float, float]] = {
    "vertical, well drained": (0.4, 0.4),
    "vertical, poorly drained": (2.0, 2.0),
    "vertical, very poorly drained": (4.0, 4.0),
    "horizontal, well drained": (0.8, 0.8),
    "horizontal, very poorly drained": (10.0, 10.0),
    "cup-shaped, very poorly drained": (8.0, 24.0),
}
GALLONS_PER_1000_FT2 = 3785.411784 / 92.90304
"""[mL/m2] of one gallon (US) a 1000 ft2."""


def drain_integral(distance: Floats, volume: Floats) -> float:
    """``integral of dV / sqrt(y)`` [mm2.5] over the head y from the curve V(y) of a pocket, exact where V is linear between its points."""
    step = np.diff(distance)
    rate = np.divide(np.diff(volume), step, out=np.zeros_like(step), where=step > 0)
    return float((rate * 2.0 * np.diff(np.sqrt(distance))).sum())


def emptying_time(distance: Floats, volume: Floats, diameter: float, driving: float = 1.0) -> float:
    """Time [s] in which a pocket empties through a hole of ``diameter`` at its far end (Torricelli): ``t = integral dV / (Cd a sqrt(2 g y driving))``.

    For a vessel of one section A it is ``(A/(Cd a)) sqrt(2/g) (sqrt h0 - sqrt h1)``. ``driving`` is 1 for liquid and the ratio of the densities of
    liquid and air for a bubble, which the liquid below it pushes out.
    """
    area = 0.25 * math.pi * diameter**2
    return drain_integral(distance, volume) / (CD * area * math.sqrt(2000.0 * GRAVITY * driving))


def hole_for_time(distance: Floats, volume: Floats, time: float, driving: float = 1.0) -> float:
    """Diameter [mm] of the hole that empties a pocket in ``time`` [s]: :func:`emptying_time` solved for it."""
    return math.sqrt(emptying_time(distance, volume, 1.0, driving) / time)


def head_left(diameter: float, tension: float, density: float) -> float:
    """Head [mm] that a hole does not pass for surface tension: ``4 sigma / (rho g d)``, the pressure of a drop or bubble as wide as the hole."""
    return 4e3 * 1e-3 * tension / (density * GRAVITY * 1e-3 * diameter)


def vent_by_table(width: float) -> float | None:
    """Hole [mm] for a closed profile ``width`` [mm] across by the galvanizing table; None beyond it. Upper-bound guidance for aqueous baths."""
    for size, hole in VENT_TABLE:
        if width <= size:
            return float(hole)
    return None


def kushner(area: float, speed: float, viscosity: float, density: float) -> float:
    """Liquid a plate pulls out [mL]: ``W = 0.02 A sqrt(U phi / d)`` in cm, s, P, g/cm3 (Kushner, in Konishi et al. 1974)."""
    return 0.02 * 1e-2 * area * math.sqrt(0.1 * speed * 0.01 * viscosity / (1e-3 * density))


def edge_bead(length: float, tension: float, density: float) -> float:
    """Liquid that hangs at a lower edge ``length`` [mm] after the drops have fallen [mL]: ``0.65 s l / (d g)`` in cgs, plus or minus 0.1/0.65 (Konishi et al. 1974)."""
    return 0.65 * tension * 0.1 * length / (1e-3 * density * 100.0 * GRAVITY)


def film(area: float) -> float:
    """Film that stays on a surface [mL]: ``0.001 A`` in cm2 (Konishi et al. 1974)."""
    return 0.001 * 1e-2 * area


def konishi(area: float, edge: float, speed: float, viscosity: float, density: float, tension: float) -> float:
    """Drag-out after draining [mL]: what is pulled out, or bead and film where that is less (Konishi et al. 1974)."""
    return min(kushner(area, speed, viscosity, density), edge_bead(edge, tension, density) + film(area))


def draining_film(length: float, time: float, viscosity: float, density: float) -> float:
    """Mean thickness [mm] of a film that runs down a vertical plate ``length`` [mm] for ``time`` [s]: ``(2/3) sqrt(mu L / (rho g t))`` (Jeffreys 1930)."""
    return 1e3 * (2.0 / 3.0) * math.sqrt(1e-3 * viscosity * 1e-3 * length / (density * GRAVITY * time))

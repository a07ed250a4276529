"""Closed forms of current distribution, for figures and checks. Lengths mm, conductivity S/mm, polarisation resistance V mm2/A."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def wagner_linear(conductivity: float, resistance: float, length: float) -> float:
    """Wagner number ``Wa = kappa (d eta / d i) / L``: large is even, small follows the electrolyte alone (C. Wagner 1951)."""
    return conductivity * resistance / length


def wagner_tafel(conductivity: float, decade: float, density: float, length: float) -> float:
    """Wagner number of a Tafel law ``Wa = kappa b / (2.303 L |i|)`` with ``b`` [V/decade] and ``i`` [A/mm2]."""
    return conductivity * decade / (math.log(10.0) * length * abs(density))


def haring_blum(near: float, far: float, conductivity: float, resistance: float) -> float:
    """Current ratio near over far in the Haring-Blum cell with linear polarisation: ``(L_far + kappa b) / (L_near + kappa b)``."""
    return (far + conductivity * resistance) / (near + conductivity * resistance)


def throwing_power(distance_ratio: float, metal_ratio: float) -> dict[str, float]:
    """Throwing power [%] by the three formulas in use: ``haring-blum`` 100 (K - M) / K, ``field`` 100 (K - M) / (K + M - 2), ``heatley`` 100 (K - M) / (K - 1)."""
    k, m = distance_ratio, metal_ratio
    return {"haring-blum": 100.0 * (k - m) / k, "field": 100.0 * (k - m) / (k + m - 2.0), "heatley": 100.0 * (k - m) / (k - 1.0)}


def disk_resistance(conductivity: float, radius: float) -> float:
    """Resistance of a disk in an insulating plane to far away ``R = 1 / (4 kappa a)`` [ohm] (Newman 1966); of both sides of a free disk half of it."""
    return 1.0 / (4.0 * conductivity * radius)

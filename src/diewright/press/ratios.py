"""How far a blank can be drawn in one go: limiting draw ratios after several authors."""

from __future__ import annotations

import math

import numpy as np

from diewright.geometry.need import between, positive

ROMANOVSKII_T_OVER_D = (2.0, 1.5, 1.0, 0.6, 0.3, 0.15, 0.08)
"""100 t/D at the borders of the table's columns."""

ROMANOVSKII_M = (
    (0.48, 0.50, 0.53, 0.55, 0.58, 0.60, 0.63),
    (0.73, 0.75, 0.76, 0.78, 0.79, 0.80, 0.82),
    (0.76, 0.78, 0.79, 0.80, 0.81, 0.82, 0.84),
    (0.78, 0.80, 0.81, 0.82, 0.83, 0.85, 0.86),
    (0.80, 0.82, 0.84, 0.85, 0.86, 0.87, 0.88),
)
"""Smallest d_n / d_(n-1) of draws 1 to 5 at those borders (Romanovskii, cold stamping handbook, cylindrical cups without flange; from memory)."""


def limit_whiteley(rbar: float, efficiency: float = 0.79) -> float:
    """Limiting draw ratio ``LDR = exp(eta sqrt((rbar + 1) / 2))`` [-].

    ``rbar`` mean r-value, ``eta`` share of the punch force that reaches the flange's deformation (0.74 to 0.79 for lubricated steel; 1 without friction
    or bending: isotropic LDR = e). Source: Whiteley 1960; Hosford & Caddell, Metal Forming (from memory).
    """
    eta = between(efficiency, 0.3, 1.0, "the efficiency")
    return math.exp(eta * math.sqrt((positive(rbar, "the mean r-value") + 1.0) / 2.0))


def limit_leu(rbar: float, n: float, efficiency: float = 0.9) -> float:
    """Limiting draw ratio ``LDR = sqrt(exp(2 f e^(-n) sqrt((1+r)/2)) + exp(2 n sqrt((1+r)/2)) - 1)`` [-].

    ``rbar`` mean r-value, ``n`` hardening exponent, ``f`` drawing efficiency (0.9 usual). Source: Leu 1997 (from memory).
    """
    f = between(efficiency, 0.3, 1.0, "the efficiency")
    hard = between(n, 0.0, 1.0, "the hardening exponent n")
    root = math.sqrt((1.0 + positive(rbar, "the mean r-value")) / 2.0)
    return math.sqrt(math.exp(2.0 * f * math.exp(-hard) * root) + math.exp(2.0 * hard * root) - 1.0)


def limit_tschaetsch(cup_diameter: float, thickness: float, good: bool = True) -> float:
    """Limiting draw ratio of the first draw [-]: ``2.15 - d/(1000 s)`` for sheet that draws well, ``2.0 - 1.1 d/(1000 s)`` for the rest.

    ``d`` cup diameter, ``s`` thickness [mm]; valid for d/s up to about 600, never below 1.2 here. Source: Tschaetsch (from memory).
    """
    slim = positive(cup_diameter, "the cup diameter", "mm") / positive(thickness, "the thickness", "mm")
    return max(1.2, 2.15 - slim / 1000.0 if good else 2.0 - 1.1 * slim / 1000.0)


def draws_well(family: str, rbar: float) -> bool:
    """Which line of :func:`limit_tschaetsch` a sheet takes: r above 1.3 in steel, and brass and copper, draw well (common practice)."""
    return family in ("brass", "copper") or (family == "steel" and positive(rbar, "the mean r-value") >= 1.3)


def romanovskii_factors(thickness: float, blank_diameter: float) -> tuple[tuple[float, ...], bool]:
    """Smallest ``m = d_n / d_(n-1)`` of draws 1 to 5 for the relative thickness, and whether 100 t/D lies inside the table (0.08 to 2).

    Linear between the borders of the table's columns; held at its ends outside.
    """
    relative = 100.0 * positive(thickness, "the thickness", "mm") / positive(blank_diameter, "the blank diameter", "mm")
    x = np.log(np.array(ROMANOVSKII_T_OVER_D[::-1]))
    at = math.log(relative)
    factors = tuple(float(np.interp(at, x, np.array(row[::-1]))) for row in ROMANOVSKII_M)
    return factors, ROMANOVSKII_T_OVER_D[-1] <= relative <= ROMANOVSKII_T_OVER_D[0]

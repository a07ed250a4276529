"""Drawing tension of an open rim: what the one-step solution of a cup without flange has to be told.

When the last of the flange has gone over the die radius the wall carries no tension, but it was drawn in under tension, and thickened less for it. The one-step
solution sees only the end. The estimate here is the mean of that tension over the flange and the stroke, put on the rim as a pull.

Frictionless plastic flange of a round cup (slab method: E. Siebel and H. Beisswaenger, Tiefziehen, 1955; the 1.1 stands between
Tresca's 1 and plane strain's 1.155): ``sigma_r = 1.1 k_fm ln(R / r)`` at the radius ``r`` while the rim is at ``R``. A ring that started at ``rho``
sees the rim at ``R^2 = r^2 + R0^2 - rho^2`` (constant area). The mean over all rings ``r_d < rho < R0`` and their ways, each bit weighted by its area
and its hoop strain ``dr/r`` (thickness changes in proportion to it), depends on ``beta = R0 / r_d`` only::

    L(beta) = int 2 rho d(rho) int_{r_d}^{rho} 1/2 ln(1 + (R0^2 - rho^2)/r^2) dr/r  /  int 2 rho ln(rho / r_d) d(rho)

``L`` is 0.33 ln(beta) at small ratios and 0.38 ln(beta) at 3. With the losses of the die (friction, bending and unbending over the radius) the
handbook draw force divides by an efficiency of about 0.65 (Siebel and Panknin: ``F = pi d_m s 1.1 k_fm / eta (ln beta - 0.25)``)::

    q = 1.1 k_fm L(beta) t0 / eta

``k_fm`` is the mean flow stress up to the hoop strain ``ln beta`` of the rim. Not more than 0.6 of the tearing tension ``Rm t0`` (the handbooks' limit on the force
is ``pi d t0 Rm``). An estimate: the peak of the force, which thins the bottom, and the thinning by bending under tension are not in it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]

SLAB = 1.1
"""Factor on the flow stress in the flange."""

EFFICIENCY = 0.65
"""Of the draw force over the die radius (handbook value, from memory)."""

TEARING_SHARE = 0.6
"""Largest share of the tearing tension."""


def mean_tension_factor(ratio: float) -> float:
    """``L(beta)``, the mean of ``ln(R/r)`` over flange and stroke."""
    if not np.isfinite(ratio) or ratio < 1.0:
        raise InputError(f"The draw ratio is {ratio}; expected 1 or more.", where="ratio")
    if ratio < 1.0 + 1e-9:
        return 0.0
    x, w = np.polynomial.legendre.leggauss(40)
    x, w = 0.5 * (x + 1.0), 0.5 * w
    rho = 1.0 + (ratio - 1.0) * x
    way = np.log(rho)  # of each ring, in ln r
    r = np.exp(way[:, None] * x[None, :])
    pull = 0.5 * np.log1p((ratio**2 - rho[:, None] ** 2) / r**2)
    return float((w * rho * way * (pull @ w)).sum() / (w * rho * way).sum())


def mean_flow_stress(hardening: tuple[ArrayLike, ArrayLike], strain: float) -> float:
    """``k_fm``: mean of the curve (plastic strain, stress [MPa]) from 0 to ``strain`` [MPa]."""
    e, s = (np.asarray(v, dtype=float).ravel() for v in hardening)
    grid = np.linspace(0.0, max(strain, 1e-6), 400)
    return float(np.trapezoid(np.interp(grid, e, s), grid) / grid[-1])


def drawing_tension(ratio: float, thickness: float, hardening: tuple[ArrayLike, ArrayLike], tensile_strength: float) -> float:
    """Pull on an open rim [N per mm of part edge] for the draw ratio ``beta``, thickness [mm], hardening table and ``Rm`` [MPa].

    For other than round parts ``beta = sqrt(blank area / punch area)``: the pull is then the mean along the rim.
    """
    for name, value in (("thickness", thickness), ("tensile_strength", tensile_strength)):
        if not np.isfinite(value) or value <= 0:
            raise InputError(f"{name} is {value}; expected a number above 0.", where=name)
    factor = mean_tension_factor(ratio)
    if factor == 0.0:
        return 0.0
    return float(thickness * min(SLAB * mean_flow_stress(hardening, np.log(ratio)) * factor / EFFICIENCY, TEARING_SHARE * tensile_strength))

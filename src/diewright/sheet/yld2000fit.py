"""Yld2000-2d coefficients from the usual measurements.

Seven measurements (yield stress and r at 0, 45, 90 degrees, balanced biaxial yield stress) and the balanced biaxial
``rb = de22/de11`` give eight equations for eight coefficients. Without ``rb`` the eighth is ``L''12 = L''21``,
that is a3 = a6, as in Barlat et al. (2003).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from diewright.errors import InputError, SolveError
from diewright.sheet.surface import Floats
from diewright.sheet.yld2000 import Yld2000

_ANGLES = np.array([0.0, 45.0, 90.0])
_STAGES = 8  # steps of the walk from the isotropic sheet to the measured one
_RESIDUAL = 1e-8


@dataclass(frozen=True)
class Measures:
    """Yield stresses over one common reference stress [-], and r-values [-]; ``rb`` may be unknown."""

    s0: float
    s45: float
    s90: float
    sb: float
    r0: float
    r45: float
    r90: float
    rb: float | None = None

    def __post_init__(self) -> None:
        for key in ("s0", "s45", "s90", "sb", "r0", "r45", "r90", "rb"):
            value = getattr(self, key)
            if key == "rb" and value is None:
                continue
            if not (isinstance(value, (int, float)) and math.isfinite(value) and value > 0):
                raise InputError(f"{value!r} cannot be used: expected a number above 0.", where=key)


def fit_yld2000(measures: Measures, exponent: float = 8.0) -> Yld2000:
    """The surface through the measurements, to 1e-8 in each.

    Walks from the isotropic sheet to the measured one in small steps with a least-squares Newton at each, so that the
    branch connected with isotropy is found. Raises :class:`SolveError` if the measurements cannot all be met.
    """
    m = measures
    stress = np.array([m.s0, m.s45, m.s90, m.sb])
    r = np.array([m.r0, m.r45, m.r90])
    alpha = np.ones(8)
    for share in np.linspace(0.0, 1.0, _STAGES + 1)[1:]:
        target_s, target_r = stress**share, r**share
        target_rb = None if m.rb is None else m.rb**share

        def residual(x: Floats, ts: Floats = target_s, tr: Floats = target_r, trb: float | None = target_rb) -> Floats:
            return _residual(x, exponent, ts, tr, trb)

        found = least_squares(residual, alpha, xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=200)
        alpha = found.x
    worst = float(np.abs(found.fun).max())
    if not worst < _RESIDUAL:
        raise SolveError(
            f"No Yld2000-2d surface with exponent {exponent:g} meets all the measurements (the nearest misses one by {worst:.2g}).",
            help="Check the r-values and the biaxial point, or use hill48.",
        )
    return Yld2000(tuple(alpha), exponent)


def _residual(alpha: Floats, exponent: float, stress: Floats, r: Floats, rb: float | None) -> Floats:
    """Eight misfits; r by the share of the width in the thickness strain, ``r/(1+r)``, which stays bounded."""
    try:
        surface = Yld2000(tuple(alpha), exponent)
    except InputError:
        return np.full(8, 1e3)
    s, found_r = surface.directional(_ANGLES)
    sb, found_rb = surface.biaxial()
    last = (alpha[2] - alpha[5]) if rb is None else found_rb / (1.0 + found_rb) - rb / (1.0 + rb)
    return np.concatenate([s - stress[:3], [sb - stress[3]], found_r / (1.0 + found_r) - r / (1.0 + r), [last]])

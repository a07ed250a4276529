"""What strains and stresses of a drawn sheet mean: margin to necking, thinning, tendency to wrinkle."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]


def margin_pct(major: Floats, minor: Floats, limit_minor: Floats, limit_major: Floats) -> Floats:
    """Distance to the forming limit curve in major engineering strain [percent points], negative beyond it.

    ``100 (exp(e1_limit(e2)) - exp(e1))`` at equal minor strain; strains true, the curve dense and rising in ``limit_minor``. Beyond the curve's
    ends its last value holds. Raises :class:`InputError` for a curve that is none.
    """
    x, y = np.asarray(limit_minor, dtype=np.float64), np.asarray(limit_major, dtype=np.float64)
    if len(x) < 2 or len(x) != len(y) or not (np.isfinite(x).all() and np.isfinite(y).all()) or (np.diff(x) <= 0).any():
        raise InputError(
            "The forming limit curve is not a rising row of minor strains with a major strain each.", where="sheet.forming_limit"
        )
    return 100.0 * (np.exp(np.interp(minor, x, y)) - np.exp(major))


def thinning_pct(thickness: Floats, nominal: float) -> Floats:
    """Loss of thickness [%], negative where the sheet thickens."""
    return 100.0 * (1.0 - thickness / nominal)


def wrinkle_tendency(principal_stress: Floats, plastic_strain: Floats) -> Floats:
    """0 to 1: share of compression in the stress, ``-s2 / (s1 - s2)``, faded in with the first 2 % of plastic strain.

    ``principal_stress (m, 2)``: s1 >= s2. 1 is plain compression (the edge of a flange), 0.5 pure shear, 0 tension both ways. It says where the
    sheet is pressed in its plane, not whether it buckles: thickness, supports and folds are not in it.
    """
    s1, s2 = principal_stress[:, 0], principal_stress[:, 1]
    span = np.maximum(s1 - s2, 1e-9)
    spread = np.where(s1 < 0.0, 1.0, np.clip(-s2 / span, 0.0, 1.0))
    return np.where(s2 < 0.0, spread, 0.0) * (1.0 - np.exp(-np.maximum(plastic_strain, 0.0) / 0.02))

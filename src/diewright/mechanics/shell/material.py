"""The sheet's law as the parameter vector that the kernels read."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError
from diewright.mechanics.shell import layout as at

Floats = NDArray[np.float64]
BINS, SCALE = 400, 0.05

# (L''11, L''12, L''21, L''22) = _TWO @ (a3, a4, a5, a6), Barlat et al. 2003
_TWO = np.array([[-2.0, 2.0, 8.0, -2.0], [1.0, -4.0, -4.0, 4.0], [4.0, -4.0, -4.0, 1.0], [-2.0, 8.0, 2.0, -2.0]]) / 9.0


@dataclass(frozen=True)
class ShellMaterial:
    """A plane-stress elastic-plastic sheet.

    Attributes
    ----------
    young [MPa], poisson, density [t/mm3].
    mat: (M_COUNT,) parameter vector. table: (bins + 1, 2) hardening table, (2, 2) of zeros if there is none.
    """

    young: float
    poisson: float
    density: float
    mat: Floats = field(repr=False)
    table: Floats = field(repr=False)

    @property
    def kinematic(self) -> bool:
        """Whether the law carries a back stress."""
        return bool(self.mat[at.M_KIN] > 0)

    @property
    def plastic(self) -> bool:
        """Whether the law can yield at all."""
        return int(self.mat[at.M_YIELD]) != at.ELASTIC


def elastic(young: float, poisson: float, density: float = 7.85e-9) -> ShellMaterial:
    """An elastic sheet."""
    mat = _elastic(young, poisson, density)
    mat[at.M_FIRST] = 1e15
    mat[at.M_HILL : at.M_HILL + 4] = 1.0, -0.5, 1.0, 3.0
    return ShellMaterial(young, poisson, density, mat, np.zeros((2, 2)))


def _elastic(young: float, poisson: float, density: float) -> Floats:
    for name, value, low, high in (("young", young, 0.0, 1e9), ("poisson", poisson, -0.99, 0.499999), ("density", density, 0.0, 1.0)):
        if not (math.isfinite(value) and low <= value <= high) or (name != "poisson" and value <= 0):
            raise InputError(f"{value!r} cannot be used: expected a number from {low:g} to {high:g}.", where=f"shell material {name}")
    mat = np.zeros(at.M_COUNT)
    mat[at.M_E], mat[at.M_NU], mat[at.M_TOL] = young, poisson, 1e-10
    return mat


def hill_yield(F: float, G: float, H: float, N: float) -> Floats:
    """Coefficients of ``(G+H) s11^2 - 2H s11 s22 + (F+H) s22^2 + 2N s12^2`` for :func:`plastic`."""
    return np.array([G + H, -H, F + H, 2.0 * N])


def hill_from_r(r0: float, r45: float, r90: float) -> Floats:
    """The same from r-values: ``H/G = r0``, ``H/F = r90``, ``N/(F+G) = r45 + 1/2``, ``G + H = 1`` (Hill 1948)."""
    g = 1.0 / (1.0 + r0)
    h = r0 * g
    f = h / r90
    return hill_yield(f, g, h, (f + g) * (r45 + 0.5))


def barlat_yield(alpha: ArrayLike, exponent: float = 8.0) -> Floats:
    """Coefficients of Yld2000-2d for :func:`plastic`: ten numbers."""
    a = np.asarray(alpha, dtype=np.float64)
    if a.shape != (8,) or not np.isfinite(a).all() or not 2.0 <= exponent <= 40.0:
        raise InputError(
            f"{a.size} coefficients, exponent {exponent!r}: expected 8 finite numbers and an exponent from 2 to 40.", where="yld2000"
        )
    two = _TWO @ a[2:6]
    half = int(exponent) // 2 if float(exponent).is_integer() and int(exponent) % 2 == 0 else -1
    return np.array(
        [
            (2.0 * a[0] + a[1]) / 3.0,
            (-a[0] - 2.0 * a[1]) / 3.0,
            1.5 * (two[0] + two[2]),
            1.5 * (two[1] + two[3]),
            0.5 * (two[0] - two[2]),
            0.5 * (two[1] - two[3]),
            4.0 * a[6] ** 2,
            a[7] ** 2,
            exponent,
            half,
        ]
    )


def plastic(
    young: float,
    poisson: float,
    density: float,
    surface: Floats,
    hardening: Mapping[str, float] | Callable[[Floats], Floats],
    *,
    back_modulus: float = 0.0,
    recall: float = 0.0,
) -> ShellMaterial:
    """An elastic-plastic sheet.

    Parameters
    ----------
    surface: from :func:`hill_yield`, :func:`hill_from_r` (four numbers) or :func:`barlat_yield` (ten).
    hardening: ``K, e0, n`` (Swift), ``ss, s0, c`` (Voce), both with ``share`` of Swift (mix), each with a linear term ``h``;
        or a function of plastic strain, which is tabulated.
    back_modulus, recall: Armstrong-Frederick back stress ``da = back_modulus x/flow dp - recall a dp`` (recall 0: linear, Prager).
    """
    mat = _elastic(young, poisson, density)
    surface = np.asarray(surface, dtype=np.float64)
    if surface.shape == (4,):
        if not (np.isfinite(surface).all() and surface[0] > 0 and surface[3] > 0 and surface[0] * surface[2] > surface[1] ** 2):
            raise InputError(f"the coefficients {surface.tolist()} do not make a convex yield surface.", where="hill48")
        mat[at.M_YIELD] = at.HILL48
        mat[at.M_HILL : at.M_HILL + 4] = surface
    elif surface.shape == (10,):
        mat[at.M_YIELD] = at.YLD2000
        mat[at.M_YLD : at.M_YLD + 10] = surface
    else:
        raise InputError(f"{surface.size} yield coefficients: expected 4 (Hill 1948) or 10 (Yld2000-2d).", where="shell material")
    table = np.zeros((2, 2))
    if callable(hardening):
        table = _tabulate(hardening)
        mat[at.M_CURVE], mat[at.M_SCALE], mat[at.M_BINS] = at.TABLE, SCALE, BINS
        mat[at.M_FIRST] = table[0, 0]
    else:
        _parameters(mat, hardening)
    if not (math.isfinite(back_modulus) and math.isfinite(recall) and back_modulus >= 0 and recall >= 0):
        raise InputError(f"back_modulus {back_modulus!r} and recall {recall!r}: expected numbers of at least 0.", where="shell material")
    mat[at.M_KIN], mat[at.M_RECALL] = back_modulus, recall
    return ShellMaterial(young, poisson, density, mat, table)


def _parameters(mat: Floats, hardening: Mapping[str, float]) -> None:
    known = {"share", "K", "e0", "n", "ss", "s0", "c", "h"}
    extra = sorted(set(hardening) - known)
    if extra:
        raise InputError(f"there is no parameter '{extra[0]}': expected some of {', '.join(sorted(known))}.", where="shell hardening")
    has_swift, has_voce = "K" in hardening, "ss" in hardening
    share = float(hardening.get("share", 1.0 if has_swift else 0.0))
    need = ({"K", "e0", "n"} if has_swift else set()) | ({"ss", "s0", "c"} if has_voce else set())
    missing = sorted(need - set(hardening)) or ([] if need else ["K"])
    if missing:
        raise InputError(f"the parameter '{missing[0]}' is missing.", where="shell hardening")
    values = {k: float(v) for k, v in hardening.items()}
    if not all(math.isfinite(v) and v >= 0 for v in values.values()) or not 0 <= share <= 1 or (has_swift and values["e0"] <= 0):
        raise InputError("a parameter is below zero or not a number (e0 must be above zero, share from 0 to 1).", where="shell hardening")
    mat[at.M_CURVE] = at.MIX if has_swift and has_voce else at.SWIFT if has_swift else at.VOCE
    mat[at.M_SHARE] = share if has_swift and has_voce else 1.0 if has_swift else 0.0
    for slot, key in ((at.M_K, "K"), (at.M_E0, "e0"), (at.M_N, "n"), (at.M_SS, "ss"), (at.M_S0, "s0"), (at.M_C, "c"), (at.M_H, "h")):
        mat[slot] = values.get(key, 1.0 if key == "e0" else 0.0)
    swift = mat[at.M_K] * mat[at.M_E0] ** mat[at.M_N] if has_swift else 0.0
    mat[at.M_FIRST] = mat[at.M_SHARE] * swift + (1.0 - mat[at.M_SHARE]) * mat[at.M_S0]
    if mat[at.M_FIRST] <= 0:
        raise InputError("the flow stress at zero strain is not above zero.", where="shell hardening")


def _tabulate(law: Callable[[Floats], Floats]) -> Floats:
    """Value and slope over ``u = ep/(ep + SCALE)``; monotone, as a falling piece would let the return stop at the wrong root."""
    u = np.linspace(0.0, 1.0, BINS + 1)
    ep = np.append(SCALE * u[:-1] / (1.0 - u[:-1]), 4.0 * SCALE * BINS)
    value = np.asarray(law(ep), dtype=np.float64)
    if value.shape != ep.shape or not np.isfinite(value).all() or value[0] <= 0 or (np.diff(value) < 0).any():
        raise InputError("the curve must be above zero at zero strain and must not fall.", where="shell hardening")
    # Fritsch-Butland slopes keep the pieces monotone.
    d = np.diff(value) * BINS
    slope = np.zeros_like(value)
    both = d[1:] + d[:-1]
    slope[1:-1] = np.where(both > 0, 2.0 * d[1:] * d[:-1] / np.where(both > 0, both, 1.0), 0.0)
    slope[0], slope[-1] = max(0.0, 1.5 * d[0] - 0.5 * slope[1]), max(0.0, 1.5 * d[-1] - 0.5 * slope[-2])
    return np.column_stack([value, slope])

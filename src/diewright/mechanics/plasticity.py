"""Deformation theory of plasticity in plane stress: one-to-one stress and total strain, with Hill's 1948 anisotropy.

The equivalent stress in the rolling frame (Hill, Proc. R. Soc. A 193 (1948) 281, plane stress, ``G + H = 1``) is::

    sigma_bar^2 = s^T P s,   s = (s11, s22, s12),   P = [[G+H, -H, 0], [-H, F+H, 0], [0, 0, 2N]]

Its work conjugate is ``eps_bar^2 = e^T Q e`` with ``e = (e11, e22, 2 e12)`` and ``Q = P^-1``; volume is kept, so the
thickness strain is ``-(e11 + e22)``. The work per unit volume is ``w(eps_bar) = integral of sigma(eps)``, the stress is
``s = k Q e`` with the secant modulus ``k = sigma(eps_bar) / eps_bar``. The curve starts elastic, ``sigma = E eps``, and goes
on with total strain ``eps = eps_p + sigma / E``; between the samples it is a power law, so ``sigma``, its slope and ``w``
come from one closed form.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]

LARGEST = 8.0
"""Largest strain a gentler curve is tabulated for (beyond it the last power law goes on)."""

SAMPLES = 400
"""Samples of the total-strain curve, evenly spaced in ln(strain)."""


class Hill(NamedTuple):
    """Hill's 1948 coefficients in the rolling frame, scaled to ``G + H = 1`` (the rolling direction carries the curve)."""

    F: float = 0.5
    G: float = 0.5
    H: float = 0.5
    N: float = 1.5

    @staticmethod
    def normal(r: float) -> Hill:
        """Normal anisotropy with one r-value: ``H = r/(1+r)``, ``F = G = 1/(1+r)``, ``N = (1+2r)/(1+r)``."""
        return Hill(1 / (1 + r), 1 / (1 + r), r / (1 + r), (1 + 2 * r) / (1 + r))

    @staticmethod
    def from_r(r0: float, r45: float, r90: float) -> Hill:
        """From three r-values: ``H = r0/(1+r0)``, ``G = 1/(1+r0)``, ``F = H/r90``, ``N = (F+G)(r45 + 1/2)``."""
        h, g = r0 / (1 + r0), 1 / (1 + r0)
        f = h / r90
        return Hill(f, g, h, (f + g) * (r45 + 0.5))

    def stress_form(self) -> Floats:
        """``P`` of ``sigma_bar^2 = s^T P s``, ``(3, 3)``."""
        f, g, h, n = self
        return np.array([[g + h, -h, 0.0], [-h, f + h, 0.0], [0.0, 0.0, 2.0 * n]])

    def strain_form(self) -> Floats:
        """``Q = P^-1`` of ``eps_bar^2 = e^T Q e`` for ``e = (e11, e22, 2 e12)``, ``(3, 3)``."""
        return np.asarray(np.linalg.inv(self.stress_form()), dtype=np.float64)

    def split_form(self) -> Floats:
        """``K`` with ``eps_bar^2 = y^T K y`` for ``y = (e11 + e22, (e11 - e22)/2, e12)``, ``(3, 3)``."""
        t = np.array([[0.5, 1.0, 0.0], [0.5, -1.0, 0.0], [0.0, 0.0, 2.0]])
        return t.T @ self.strain_form() @ t


def checked_hill(values: Hill | tuple[float, float, float, float]) -> Hill:
    """The coefficients as floats; raises :class:`InputError` unless finite, convex and scaled to ``G + H = 1``."""
    if len(values) != 4:
        raise InputError(f"The anisotropy has {len(values)} coefficients; expected F, G, H, N of Hill 1948.", where="anisotropy")
    hill = Hill(*(float(v) for v in values))
    if not np.isfinite(hill).all():
        raise InputError("The anisotropy has a coefficient that is not a finite number.", where="anisotropy")
    if abs(hill.G + hill.H - 1.0) > 1e-3:
        raise InputError(f"The anisotropy has G + H = {hill.G + hill.H:.4g}; expected 1.", where="anisotropy", help="Scale F, G, H, N.")
    if hill.N <= 0 or np.linalg.eigvalsh(hill.stress_form())[0] <= 1e-9:
        raise InputError(
            f"The anisotropy {tuple(hill)} does not give a convex yield surface.", where="anisotropy", help="Check the r-values."
        )
    return hill


@dataclass(frozen=True)
class Curve:
    """Total-strain curve: elastic up to ``eps[0]``, then power laws between the samples.

    ``table (k, 4)``: strain [-], stress [MPa], exponent of the piece that follows, work up to here [MPa].
    The samples after the first are evenly spaced in ``ln(strain)`` with step ``log_step``.
    """

    table: Floats
    log_step: float
    modulus: float

    @property
    def yield_strain(self) -> float:
        """Strain at the end of the elastic line."""
        return float(self.table[0, 0])

    def stress(self, strain: ArrayLike) -> Floats:
        """Stress at total equivalent strains [MPa]."""
        return self._evaluate(strain)[1]

    def work(self, strain: ArrayLike) -> Floats:
        """Work per volume at total equivalent strains [MPa = N mm / mm3]."""
        return self._evaluate(strain)[0]

    def slope(self, strain: ArrayLike) -> Floats:
        """Tangent modulus at total equivalent strains [MPa]."""
        return self._evaluate(strain)[2]

    def _evaluate(self, strain: ArrayLike) -> tuple[Floats, Floats, Floats]:
        return curve_many(np.atleast_1d(np.asarray(strain, dtype=float)), self.table, self.log_step, self.modulus)

    def gentler(self, straight: float, growth: float) -> Curve:
        """The same curve made easier to solve for.

        ``straight``: a straight start up to about this strain (the secant there). ``growth``: the stress rises at least as
        ``d sigma / d eps >= growth sigma``. In tension the load of a strip falls once the slope is below the stress (Considere); with
        ``growth > 1`` it never does, so the sheet cannot neck and the equations keep one solution.
        """
        i = min(int(np.searchsorted(self.table[:, 0], straight)), len(self.table) - 2)
        modulus = float(self.table[i, 1] / self.table[i, 0])
        count = int(np.log(LARGEST / self.table[i, 0]) / self.log_step) + 2
        eps = self.table[i, 0] * np.exp(self.log_step * np.arange(count))
        exponent = np.full(count, self.table[-1, 2])
        exponent[: len(self.table) - i] = self.table[i:, 2]
        return Curve(_power_pieces(eps, float(self.table[i, 1]), np.maximum(exponent, growth * eps)), self.log_step, modulus)

    def plastic(self, strain: Floats) -> Floats:
        """Plastic part ``eps - sigma / E`` of total equivalent strains."""
        return np.maximum(strain - self.stress(strain) / self.modulus, 0.0)


def build_curve(hardening: tuple[ArrayLike, ArrayLike], youngs_modulus: float) -> Curve:
    """Turn a hardening table (plastic strain, stress) and Young's modulus [MPa] into a :class:`Curve`.

    Raises :class:`InputError` for tables that are short, not finite, not increasing in strain, or fall in stress.
    """
    strain, stress = (np.asarray(v, dtype=float).ravel() for v in hardening)
    where = "hardening"
    if not (np.isfinite(youngs_modulus) and youngs_modulus > 0):
        raise InputError(f"Young's modulus is {youngs_modulus}; expected a positive number in MPa.", where="youngs_modulus")
    if len(strain) != len(stress) or len(strain) < 2:
        raise InputError(
            f"The hardening table has {len(strain)} strains and {len(stress)} stresses; expected two or more pairs.", where=where
        )
    if not (np.isfinite(strain).all() and np.isfinite(stress).all()):
        raise InputError("The hardening table has a value that is not a finite number.", where=where)
    if strain[0] < 0 or (np.diff(strain) <= 0).any():
        raise InputError("The strains of the hardening table must start at 0 or above and increase.", where=where)
    if stress[0] <= 0 or (np.diff(stress) < -1e-9 * stress[0]).any():
        raise InputError("The stresses of the hardening table must be positive and must not fall with strain.", where=where)
    total = strain + stress / youngs_modulus
    first, last = float(stress[0] / youngs_modulus), float(total[-1])
    grid = np.geomspace(first, last, SAMPLES)
    sigma = np.interp(grid, total, stress)
    if strain[0] > 0:  # the table starts after yield: the elastic line meets its first stress
        sigma[grid < total[0]] = stress[0]
    sigma = np.maximum.accumulate(np.maximum(sigma, stress[0]))
    exponent = np.zeros(SAMPLES)
    exponent[:-1] = np.diff(np.log(sigma)) / np.diff(np.log(grid))
    exponent[-1] = exponent[-2]
    return Curve(
        _power_pieces(grid, float(sigma[0]), np.maximum(exponent, 1e-6)), float(np.log(last / first) / (SAMPLES - 1)), float(youngs_modulus)
    )


def _power_pieces(eps: Floats, first_stress: float, exponent: Floats) -> Floats:
    """Table ``(k, 4)`` of power laws joined at ``eps``, starting with an elastic line to ``(eps[0], first_stress)``."""
    ratio = np.exp(np.diff(np.log(eps)))
    sigma = first_stress * np.exp(np.concatenate([[0.0], np.cumsum(exponent[:-1] * np.log(ratio))]))
    piece = (sigma[1:] * eps[1:] - sigma[:-1] * eps[:-1]) / (exponent[:-1] + 1)
    work = 0.5 * first_stress * eps[0] + np.concatenate([[0.0], np.cumsum(piece)])
    return np.column_stack([eps, sigma, exponent, work])


@njit(cache=True, error_model="numpy")
def curve_at(eps: float, table: Floats, log_step: float, modulus: float) -> tuple[float, float, float]:
    """Work [MPa], stress [MPa] and tangent modulus [MPa] at a total equivalent strain."""
    first = table[0, 0]
    if eps <= first:
        return 0.5 * modulus * eps * eps, modulus * eps, modulus
    i = int(np.log(eps / first) / log_step)
    i = min(max(i, 0), table.shape[0] - 1)
    n = table[i, 2]
    ratio = eps / table[i, 0]
    sigma = table[i, 1] * ratio**n
    work = table[i, 3] + (sigma * eps - table[i, 1] * table[i, 0]) / (n + 1.0)
    return work, sigma, n * sigma / eps


@njit(cache=True, error_model="numpy")
def curve_many(eps: Floats, table: Floats, log_step: float, modulus: float) -> tuple[Floats, Floats, Floats]:
    """:func:`curve_at` for an array ``(k,)``: three arrays."""
    work, sigma, slope = np.zeros(len(eps)), np.zeros(len(eps)), np.zeros(len(eps))
    for i in range(len(eps)):
        work[i], sigma[i], slope[i] = curve_at(eps[i], table, log_step, modulus)
    return work, sigma, slope

"""Evaluating a tensile test: Rp0.2, Rm, Ag, A, the n-value and the r-value with their standard errors.

ISO 6892-1 for the strength figures, ISO 10275 for n, ISO 10113 for r. The interval used is always stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diewright.errors import InputError
from diewright.sheet.surface import Floats
from diewright.sheet.tensile_csv import TensileRecord

_FRACTURE_SHARE = 0.5  # the test ends at the last row above this share of Rm
_FALLEN_SHARE = 0.98  # maximum load is passed when a later row is below this share of it: more than noise does
_INTERVAL_HIGH = 0.20
_POINTS_MIN = 6


@dataclass(frozen=True)
class Estimate:
    """A slope figure with its standard error, from ``points`` rows between the plastic engineering strains ``low`` and ``high``."""

    value: float
    standard_error: float
    low: float
    high: float
    points: int


@dataclass(frozen=True)
class TensileResult:
    """Figures of one test. Stresses MPa; ``Ag`` and ``A`` plastic strains [-]; ``A`` None if the specimen was not pulled to fracture.

    ``slope`` is the elastic line used [MPa], ``slope_measured`` whether it is the test's own. ``plastic_strain`` and
    ``true_stress`` are the flow curve from 0.2 % to maximum load, averaged in bins.
    """

    name: str
    angle: float
    slope: float
    slope_measured: bool
    Rp02: float
    Rm: float
    Ag: float
    A: float | None
    reached_maximum: bool
    n: Estimate | None
    r: Estimate | None
    plastic_strain: Floats
    true_stress: Floats


def evaluate(record: TensileRecord, modulus: float, poisson: float) -> TensileResult:
    """Evaluate a test of a sheet with Young's ``modulus`` [MPa] and ``poisson`` ratio.

    The elastic line is the test's own where 6 or more rows lie on it and its slope is between half and one and a half
    of the modulus; else the modulus. Raises :class:`InputError` with one sentence for a test that cannot be used.
    """
    strain, stress = record.strain, record.stress
    peak = int(np.argmax(stress))
    if peak < _POINTS_MIN:
        raise InputError(
            "the largest stress stands in the first rows.", where=record.name, help="The rows must be in the order of the test."
        )
    rise = strain[: peak + 1]
    if (np.diff(rise) < -max(2e-4, 0.02 * float(np.ptp(rise)))).any():
        raise InputError(
            "the strain falls back before maximum load.",
            where=record.name,
            help="The rows must be in the order of one test without unloading.",
        )
    slope, toe, own = _elastic_line(strain[: peak + 1], stress[: peak + 1], modulus)
    plastic = strain - toe - stress / slope
    if plastic[: peak + 1].max() < 0.004:
        raise InputError(
            f"the test reaches a plastic strain of {plastic[: peak + 1].max():.4f} before its largest stress: expected 0.004 or more.",
            where=record.name,
        )
    top, at_top, reached = _maximum(plastic, stress, peak)
    last = int(np.flatnonzero(stress >= _FRACTURE_SHARE * top)[-1])
    elongation = float(plastic[last]) if reached else None

    up = np.arange(len(stress)) <= peak
    in_test = up & (plastic > 0)
    width = None if record.width_strain is None else record.width_strain[in_test]
    ep, s = plastic[in_test], stress[in_test]
    total = strain[in_test] - toe
    true_stress = s * (1.0 + total)
    true_plastic = np.log1p(total) - true_stress / slope
    low_n = 0.10 if at_top >= 0.12 else 0.04
    low_r = 0.08 if at_top >= 0.12 else 0.02
    high = min(_INTERVAL_HIGH, at_top)
    n = _n_value(ep, true_plastic, true_stress, low_n, high)
    r = None if width is None else _r_value(ep, true_plastic, np.log1p(width) + poisson * true_stress / slope, low_r, high, record.name)
    bins, flow = _binned(true_plastic, true_stress, math.log1p(at_top))
    return TensileResult(
        record.name,
        record.angle,
        slope,
        own,
        _proof(plastic[: peak + 1], stress[: peak + 1], record.name),
        top,
        at_top,
        elongation,
        reached,
        n,
        r,
        bins,
        flow,
    )


def _elastic_line(strain: Floats, stress: Floats, modulus: float) -> tuple[float, float, bool]:
    """Slope [MPa], strain at zero stress, and whether the slope is the test's own."""
    # First guess of the yield stress with the modulus from the first row on; then the rows between 15 and 60 % of it.
    offset = strain - strain[0] - (stress - stress[0]) / modulus
    beyond = np.flatnonzero(offset > 0.002)
    guess = float(stress[beyond[0]]) if len(beyond) else float(stress.max())
    end = int(np.flatnonzero(stress >= 0.6 * guess)[0])
    rows = np.flatnonzero((np.arange(len(stress)) <= end) & (stress >= 0.15 * guess) & (stress <= 0.6 * guess))
    if len(rows) >= _POINTS_MIN and np.ptp(strain[rows]) > 0:
        # Stress carries less relative noise than strain in the elastic range, so strain is regressed on stress.
        compliance, zero = np.polyfit(stress[rows], strain[rows], 1)
        if compliance > 0 and 0.5 * modulus <= 1.0 / compliance <= 1.5 * modulus:
            return 1.0 / float(compliance), float(zero), True
    middle = int(np.argmin(np.abs(stress[: end + 1] - 0.4 * guess)))
    return modulus, float(strain[middle] - stress[middle] / modulus), False


def _proof(plastic: Floats, stress: Floats, name: str) -> float:
    """Stress at 0.2 % plastic strain: a straight line through the rows from 0.15 to 0.25 %, or between the two nearest."""
    near = (plastic >= 0.0015) & (plastic <= 0.0025)
    if near.sum() >= _POINTS_MIN:
        return float(np.polyval(np.polyfit(plastic[near] - 0.002, stress[near], 1), 0.0))
    above = np.flatnonzero(plastic >= 0.002)
    if len(above) == 0 or above[0] == 0:
        raise InputError("the curve does not pass 0.2 % plastic strain.", where=name, help="Check the units and the modulus.")
    i = int(above[0])
    return float(np.interp(0.002, plastic[i - 1 : i + 1], stress[i - 1 : i + 1]))


def _maximum(plastic: Floats, stress: Floats, peak: int) -> tuple[float, float, bool]:
    """Rm, Ag, and whether the load has fallen after it: the top of a parabola through the rows above 99.5 % of the largest."""
    largest = float(stress[peak])
    reached = bool(peak < len(stress) - 3 and stress[peak + 1 :].min() < _FALLEN_SHARE * largest)
    if not reached:
        return largest, float(plastic[peak]), False
    low = peak - int(np.argmax(stress[peak::-1] < 0.995 * largest))
    high = peak + int(np.argmax(stress[peak:] < 0.995 * largest))
    x, y = plastic[low + 1 : high], stress[low + 1 : high]
    if len(x) >= _POINTS_MIN:
        centre = float(x.mean())
        a, b, c = np.polyfit(x - centre, y, 2)
        if a < 0 and x.min() <= centre - b / (2.0 * a) <= x.max():
            return float(c - b * b / (4.0 * a)), float(centre - b / (2.0 * a)), True
    return largest, float(plastic[peak]), True


def _line(x: Floats, y: Floats) -> tuple[float, float]:
    """Slope of the regression line and its standard error."""
    dx, dy = x - x.mean(), y - y.mean()
    size = float(dx @ dx)
    slope = float(dx @ dy) / size
    rest = dy - slope * dx
    return slope, math.sqrt(float(rest @ rest) / (len(x) - 2) / size)


def _n_value(ep: Floats, true_plastic: Floats, true_stress: Floats, low: float, high: float) -> Estimate | None:
    """ISO 10275: slope of ln(true stress) over ln(true plastic strain); None where the interval is too short for it."""
    rows = (ep >= low) & (ep <= high)
    if high < low + 0.02 or rows.sum() < _POINTS_MIN:
        return None
    value, error = _line(np.log(true_plastic[rows]), np.log(true_stress[rows]))
    return Estimate(value, error, low, high, int(rows.sum()))


def _r_value(ep: Floats, length: Floats, width: Floats, low: float, high: float, name: str) -> Estimate | None:
    """ISO 10113: with the slope m of true plastic width strain over length strain, ``r = -m/(1 + m)``."""
    rows = (ep >= low) & (ep <= high)
    if high < low + 0.02 or rows.sum() < _POINTS_MIN:
        return None
    m, error = _line(length[rows], width[rows])
    if not -1.0 < m < 0.0:
        raise InputError(
            f"the width strain changes by {m:.3g} of the length strain: expected between -1 and 0.",
            where=name,
            help="Check the width column and its unit.",
        )
    return Estimate(-m / (1.0 + m), error / (1.0 + m) ** 2, low, high, int(rows.sum()))


def _binned(strain: Floats, stress: Floats, last: float, count: int = 100) -> tuple[Floats, Floats]:
    """Means over bins from 0.2 % to maximum load, so that a densely sampled start does not weigh more."""
    edges = np.linspace(math.sqrt(0.002), math.sqrt(max(last, 0.004)), count + 1) ** 2
    which = np.digitize(strain, edges) - 1
    inside = (which >= 0) & (which < count)
    number = np.bincount(which[inside], minlength=count)
    used = number > 0
    x = np.bincount(which[inside], strain[inside], count)[used] / number[used]
    y = np.bincount(which[inside], stress[inside], count)[used] / number[used]
    return x, y

"""Forming limit curves: measured, estimated, from closed forms, computed.

A curve is the major true strain a sheet bears before it necks, over the minor true strain, along straight strain paths.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from diewright.errors import InputError, SolveError
from diewright.sheet.hardening import SLOPE_FLOOR, HardeningLaw
from diewright.sheet.mk import default_ratios, marciniak_kuczynski
from diewright.sheet.surface import Floats, YieldSurface

TABLE_ENDS = (-0.6, 0.6)
FROM_POINTS = {"measured": "measured", "memory": "typical points"}  # kind of a curve by points, by how the points are known
KEELER_N_CAP = 0.21
KEELER_T_CAP_MM = 3.175  # 0.125 in
KEELER_RIGHT_SLOPE = 0.6
KEELER_RIGHT_END_PCT = 20.0


@dataclass(frozen=True)
class FormingLimitCurve:
    """Major over minor true strain.

    ``minor`` rises. Left of the first point the curve goes on along its first chord, right of the last it stays level;
    ``covers`` tells where the curve is its own.
    """

    kind: str
    minor: Floats
    major: Floats
    text: str
    source: str = ""

    def __post_init__(self) -> None:
        minor, major = np.asarray(self.minor, dtype=np.float64), np.asarray(self.major, dtype=np.float64)
        if minor.ndim != 1 or minor.shape != major.shape or len(minor) < 2:
            raise InputError("a forming limit curve needs two or more points.", where="forming limit")
        if not (np.isfinite(minor).all() and np.isfinite(major).all()):
            raise InputError("a point of the forming limit curve is not a finite number.", where="forming limit")
        if (np.diff(minor) <= 0).any():
            raise InputError("the minor strains of a forming limit curve must rise from point to point.", where="forming limit")
        if (major <= 0).any() or (major < minor).any():
            raise InputError("each major strain must be above zero and not below its minor strain.", where="forming limit")
        for array in (minor, major):
            array.flags.writeable = False
        object.__setattr__(self, "minor", minor)
        object.__setattr__(self, "major", major)

    @property
    def flc0(self) -> float:
        """Major true strain at plane strain."""
        return float(self.major_at(0.0))

    def covers(self, minor: ArrayLike) -> np.ndarray:
        """Whether the curve has points on both sides of each minor strain."""
        m = np.asarray(minor, dtype=np.float64)
        return (m >= self.minor[0]) & (m <= self.minor[-1])

    def major_at(self, minor: ArrayLike) -> Floats:
        """Major true strain at the limit for each minor true strain (any shape)."""
        m = np.asarray(minor, dtype=np.float64)
        slope = (self.major[1] - self.major[0]) / (self.minor[1] - self.minor[0])
        left = self.major[0] + slope * (m - self.minor[0])
        return np.where(m < self.minor[0], left, np.interp(m, self.minor, self.major))

    def margin(self, major: ArrayLike, minor: ArrayLike) -> Floats:
        """Distance to the limit at the same minor strain, in percent points of major engineering strain; negative beyond it."""
        return 100.0 * (np.exp(self.major_at(minor)) - np.exp(np.asarray(major, dtype=np.float64)))

    def table(self, points: int = 241) -> dict[str, Floats]:
        """Columns ``minor`` and ``major`` from -0.6 to 0.6, with the curve's own points among them."""
        low, high = TABLE_ENDS
        own = self.minor[(self.minor > low) & (self.minor < high)]
        minor = np.unique(np.concatenate([np.linspace(low, high, points), own]))
        return {"minor": minor, "major": self.major_at(minor)}


def measured(points: Sequence[tuple[float, float]], source: str, kind: str = "measured") -> FormingLimitCurve:
    """From measured ``(minor, major)`` true strains, in any order; needs one point on each side of plane strain."""
    p = np.array(sorted((float(a), float(b)) for a, b in points)).reshape(-1, 2)
    if len(p) < 3 or not (p[0, 0] < 0.0 < p[-1, 0]):
        raise InputError(
            f"{len(p)} points cannot make a forming limit curve: expected at least 3, with minor strains below and above zero.",
            where="forming limit",
        )
    return FormingLimitCurve(kind, p[:, 0], p[:, 1], f"{len(p)} {kind.removesuffix(' points')} points, straight between", source)


def keeler_brazier_flc0(thickness: float, n: float, unit: Literal["mm", "inch"] = "mm") -> float:
    """Plane-strain limit, engineering percent (Keeler and Brazier 1977).

    ``(23.3 + 14.13 t[mm]) n/0.21`` or ``(23.3 + 360 t[in]) n/0.21``, with n no more than 0.21 and t no more than 3.175 mm (0.125 in).
    For cold-rolled steels.
    """
    if not (math.isfinite(thickness) and thickness > 0):
        raise InputError(f"{thickness!r} cannot be used: expected a number above 0 {unit}.", where="thickness")
    if not (math.isfinite(n) and n > 0):
        raise InputError(f"{n!r} cannot be used: expected a number above 0.", where="n")
    cap = KEELER_T_CAP_MM if unit == "mm" else KEELER_T_CAP_MM / 25.4
    factor = 14.13 if unit == "mm" else 360.0
    return (23.3 + factor * min(thickness, cap)) * min(n, KEELER_N_CAP) / 0.21


def keeler_brazier(thickness: float, n: float, unit: Literal["mm", "inch"] = "mm") -> FormingLimitCurve:
    """The Keeler-Brazier estimate with its usual shape.

    Left: constant thinning, ``e1 = FLC0 - e2`` in true strain. Right: slope 0.6 in engineering strain up to 20 % minor strain.
    """
    flc0_pct = keeler_brazier_flc0(thickness, n, unit)
    flc0 = math.log1p(flc0_pct / 100.0)
    left = np.linspace(-0.6, 0.0, 13)
    right_pct = np.linspace(0.0, KEELER_RIGHT_END_PCT, 21)[1:]
    minor = np.concatenate([left, np.log1p(right_pct / 100.0)])
    major = np.concatenate([flc0 - left, np.log1p((flc0_pct + KEELER_RIGHT_SLOPE * right_pct) / 100.0)])
    factor = "14.13 t[mm]" if unit == "mm" else "360 t[in]"
    capped = " (n taken as 0.21)" if n > KEELER_N_CAP else ""
    text = f"FLC0 = (23.3 + {factor}) n/0.21 = {flc0_pct:.1f} % with t {thickness:g} {unit}, n {n:.3g}{capped}"
    return FormingLimitCurve(
        "keeler-brazier", minor, np.maximum(major, minor), text, "Keeler and Brazier 1977; caps and shape: common practice"
    )


def hill_local_neck(n: float, ratio: ArrayLike) -> Floats:
    """``e1 = n/(1 + rho)`` for rho <= 0, power-law hardening (Hill 1952)."""
    return n / (1.0 + np.asarray(ratio, dtype=np.float64))


def swift_diffuse(n: float, ratio: ArrayLike) -> Floats:
    """``e1 = 2n (1 + rho + rho^2) / [(1 + rho)(2 rho^2 - rho + 2)]``, isotropic sheet, power law (Swift 1952)."""
    p = np.asarray(ratio, dtype=np.float64)
    return 2.0 * n * (1.0 + p + p * p) / ((1.0 + p) * (2.0 * p * p - p + 2.0))


def storen_rice(n: float, ratio: ArrayLike) -> Floats:
    """``e1 = [3 rho^2 + n (2 + rho)^2] / [2 (2 + rho)(1 + rho + rho^2)]`` for rho >= 0 (Storen and Rice 1975)."""
    p = np.asarray(ratio, dtype=np.float64)
    return (3.0 * p * p + n * (2.0 + p) ** 2) / (2.0 * (2.0 + p) * (1.0 + p + p * p))


def instability_strain(surface: YieldSurface, law: HardeningLaw, ratio: ArrayLike, major_angle: float = 0.0) -> Floats:
    """Major strain of instability on straight paths for any surface and law; rho <= 0 Hill's local neck, rho > 0 Swift's maximum load.

    With unit stress (s1, s2) and normal (g1, g2) of the path, ``k'/k`` at the limit is ``(1 + rho) g1`` for the local neck
    and ``s1 g1^2 + s2 g2^2`` for Swift's two loads at maximum; the major strain is ``g1`` times the equivalent strain.
    """
    rho = np.atleast_1d(np.asarray(ratio, dtype=np.float64))
    c, s = math.cos(math.radians(major_angle)), math.sin(math.radians(major_angle))
    rate = np.stack([c * c + rho * s * s, s * s + rho * c * c, 2.0 * (1.0 - rho) * s * c], axis=-1)
    stress = surface.stress_for(rate)
    g1 = 1.0 / (rate * stress).sum(axis=1)
    g2 = rho * g1
    s1 = stress @ np.array([c * c, s * s, 2.0 * s * c])
    s2 = stress @ np.array([s * s, c * c, -2.0 * s * c])
    wanted = np.where(rho <= 0.0, (1.0 + rho) * g1, s1 * g1**2 + s2 * g2**2)
    return g1 * np.array([_strain_at_rate(law, float(w)) for w in wanted])


def _strain_at_rate(law: HardeningLaw, wanted: float) -> float:
    """Equivalent strain where ``k'/k`` has fallen to ``wanted``, by bisection."""
    low, high = SLOPE_FLOOR, 5.0
    rate = lambda e: float(law.slope(e) / law.stress(e))  # noqa: E731
    if rate(low) <= wanted:
        return 0.0
    if rate(high) > wanted:
        raise SolveError(f"The hardening law {law.text()} reaches no instability below a strain of {high:g}.")
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rate(middle) > wanted else (low, middle)
    return 0.5 * (low + high)


def swift_hill(surface: YieldSurface, law: HardeningLaw, major_angle: float = 0.0) -> FormingLimitCurve:
    """Hill's local neck on the left, Swift's diffuse neck on the right, for any surface and hardening law."""
    rho = np.concatenate([np.linspace(-0.7, 0.0, 29), np.linspace(0.0, 1.0, 41)[1:]])
    major = instability_strain(surface, law, rho, major_angle)
    if (major <= 0).any():
        raise SolveError(
            "The sheet is unstable from the first strain on: the Swift/Hill limit is zero.", help="Choose another hardening law or limit."
        )
    minor, major = _rising(rho * major, major)
    return FormingLimitCurve(
        "swift-hill", minor, major, f"Hill local neck (left), Swift diffuse neck (right), with {law.text()}", "Hill 1952; Swift 1952"
    )


def groove_curve(
    surface: YieldSurface, law: HardeningLaw, groove: float, *, major_angles: Sequence[float] = (0.0, 90.0), rate_exponent: float = 0.0
) -> FormingLimitCurve:
    """The computed limit of :func:`~diewright.sheet.mk.marciniak_kuczynski`, the least over the major directions given."""
    curves = []
    for angle in major_angles:
        study = marciniak_kuczynski(surface, law, groove, ratios=default_ratios(), major_angle=angle, rate_exponent=rate_exponent)
        curves.append(_rising(study.minor, study.major))
    minor = np.unique(np.concatenate([c[0] for c in curves]))
    minor = minor[(minor >= max(c[0][0] for c in curves)) & (minor <= min(c[0][-1] for c in curves))]
    major = np.min([np.interp(minor, *c) for c in curves], axis=0)
    text = f"groove {groove:g}, {surface.kind}, {law.text()}, major strain at {' and '.join(f'{a:g}' for a in major_angles)} deg to rolling"
    return FormingLimitCurve(
        "marciniak-kuczynski", minor, np.maximum(major, minor), text, "Marciniak and Kuczynski 1967; Hutchinson and Neale 1978"
    )


def _rising(minor: Floats, major: Floats) -> tuple[Floats, Floats]:
    """The points up to where the minor strain stops rising, which near balanced stretching it may."""
    order = [0]
    for i in range(1, len(minor)):
        if minor[i] > minor[order[-1]] + 1e-9:
            order.append(i)
        elif minor[i] < minor[order[-1]] and major[i] < major[order[-1]]:
            # The curve turns back below itself: what it overhangs is not safe.
            while len(order) > 1 and minor[order[-1]] >= minor[i] and major[order[-1]] > major[i]:
                order.pop()
            order.append(i)
    return minor[order], major[order]

"""Bending of sheet by closed forms: developed length, force, least radius and leg, springback, flanges on curved lines.

Angles here are degrees: ``angle`` is by how much the sheet is bent (90 for a right angle), the opening angle of DIN 6935 is 180 less it. ``r`` is the inner
radius and ``s`` the thickness [mm]. Legs of the developed length are measured on the outside, to the outer corner up to a right angle and to the outer tangents beyond it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.need import between, finite, not_negative, positive

Floats = NDArray[np.float64]
FORCE_FACTOR = {"v": 1.33, "wipe": 0.33}
"""Groover's K of the bend force (from memory)."""
SHALLOW = 15.0
"""Bends up to this angle [deg] get no deduction (DIN 6935: opening angles beyond 165 degrees)."""
SERIES = (1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 28.0, 32.0, 36.0, 40.0, 45.0, 50.0)
"""Inner radii of DIN 6935 [mm] (from memory)."""
_UP_TO = (1.0, 1.5, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0)
_LEAST = {
    390.0: (1.0, 1.6, 2.5, 3.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0),
    490.0: (1.2, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0),
    640.0: (1.6, 2.5, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0),
}
"""Least inner radius [mm] of steels by strength up to [MPa] and thickness up to ``_UP_TO`` [mm], bend line across the rolling direction (DIN 6935, from memory)."""
LEAST_SHARE = {"stainless": 0.5, "aluminium": 1.0, "brass": 0.4, "copper": 0.25}
"""Least inner radius over thickness of soft sheet of other families (common practice, from memory)."""
STRONG_SHARE = 3.0
"""The same of steels beyond 640 MPa (ours)."""
ALONG = 30.0
"""A bend line within this angle of the rolling direction [deg] takes the next larger radius (DIN 6935 says so of bends along it; the angle is ours)."""
POINTS = 4001


def neutral_k(r: float, s: float) -> float:
    """DIN 6935: ``k = 0.65 + 0.5 lg(r/s)``, 1 beyond r/s = 5; below about r/s = 0.05, where the form turns negative, 0. The neutral fibre lies k s/2 inside the sheet."""
    ratio = not_negative(r, "the bend radius", "mm") / positive(s, "the thickness", "mm")
    return 0.0 if ratio <= 0.0 else min(1.0, max(0.0, 0.65 + 0.5 * math.log10(ratio)))


def k_factor(r: float, s: float) -> float:
    """Groover's share of the thickness at which the neutral fibre lies: 0.33 if r < 2 s, else 0.50 (from memory)."""
    return 0.33 if not_negative(r, "the bend radius", "mm") < 2.0 * positive(s, "the thickness", "mm") else 0.50


def allowance(angle: float, r: float, s: float, share: float) -> float:
    """Length of the neutral fibre in the bend [mm]: ``A = 2 pi (a/360) (r + K s)``, ``share`` K of the thickness."""
    a = between(angle, 0.0, 180.0, "the bend angle", "deg")
    k = between(share, 0.0, 1.0, "the K factor")
    return math.radians(a) * (not_negative(r, "the bend radius", "mm") + k * positive(s, "the thickness", "mm"))


def setback(angle: float, r: float, s: float) -> float:
    """What both outer legs have in the bend [mm]: ``2 (r + s) tan(a/2)`` up to 90 degrees, ``2 (r + s)`` beyond."""
    a = between(angle, 0.0, 180.0, "the bend angle", "deg")
    return 2.0 * (r + s) * (math.tan(math.radians(a) / 2.0) if a < 90.0 else 1.0)


def deduction(angle: float, r: float, s: float, share: float | None = None) -> float:
    """What is taken off the sum of both outer legs [mm]: the set-back less the allowance; the neutral fibre by DIN 6935, or at ``share`` of the thickness. Bends of less than 15 degrees get none by DIN 6935."""
    if share is None and angle < SHALLOW:
        between(angle, 0.0, 180.0, "the bend angle", "deg")
        return 0.0
    k = 0.5 * neutral_k(r, s) if share is None else share
    return setback(angle, r, s) - allowance(angle, r, s, k)


def bend_force(method: str, strength: float, length: float, s: float, opening: float) -> float:
    """Largest bend force [N]: ``F = K Rm w s^2/D`` (Groover; K 1.33 in a V-die, 0.33 wiped over an edge; ``opening`` D [mm])."""
    if method not in FORCE_FACTOR:
        raise InputError(f"there is no way of bending called '{method}'.", help=f"Known: {', '.join(FORCE_FACTOR)}.")
    rm, w = positive(strength, "Rm", "MPa"), positive(length, "the length of the bend", "mm")
    return FORCE_FACTOR[method] * rm * w * positive(s, "the thickness", "mm") ** 2 / positive(opening, "the die opening", "mm")


def v_opening(r: float, s: float) -> float:
    """Usual opening of a V-die [mm]: 8 thicknesses, and 6 radii where that is more (common practice; the sheet then takes about the radius wanted)."""
    return max(8.0 * s, 6.0 * r)


def least_leg(method: str, angle: float, r: float, s: float, opening: float) -> float:
    """Shortest outer leg [mm]. V-die: the leg still bridges to the shoulder when bent, ``D/(2 sin(b/2))``, b the opening angle (0.71 D at 90 degrees: geometry). Wiped: ``r + 2.5 s`` (common practice)."""
    if method == "v":
        half = math.sin(math.radians((180.0 - between(angle, 0.0, 175.0, "the bend angle of a V-die", "deg")) / 2.0))
        return opening / (2.0 * half)
    return r + 2.5 * s


def least_radius(family: str, rm: float, s: float, rolling: float) -> tuple[float, str]:
    """Least inner radius [mm] and where it is from; ``rolling`` is the angle between bend line and rolling direction [deg] (90: across)."""
    s, rm = positive(s, "the thickness", "mm"), positive(rm, "Rm", "MPa")
    along = between(rolling, 0.0, 90.0, "the angle between bend line and rolling direction", "deg") < ALONG
    if family == "steel" and rm <= 640.0 and s <= _UP_TO[-1]:
        column = next(_LEAST[top] for top in _LEAST if rm <= top)
        base = next(r for up, r in zip(_UP_TO, column, strict=True) if s <= up)
        return (next(r for r in SERIES if r > base) if along else base), "DIN 6935, least radii of steels (from memory)"
    if family == "steel":
        return STRONG_SHARE * s * (1.5 if along else 1.0), "ours: the steel is beyond the table of DIN 6935"
    share = LEAST_SHARE.get(family)
    if share is None:
        return s * (1.5 if along else 1.0), "ours: the metal is in no table"
    return share * s * (1.5 if along else 1.0), "soft sheet, common practice (from memory)"


def outer_strain(r: float, s: float) -> float:
    """Strain of the outer fibre (engineering): ``1/(2 r/s + 1)``, the middle fibre keeping its length."""
    return 1.0 / (2.0 * r / s + 1.0)


def gardiner(r: float, s: float, yield_stress: float, modulus: float) -> float:
    """Inner radius before over after springback: ``4 X^3 - 3 X + 1``, ``X = r Y/(E s)`` (Gardiner 1957); 0 from X = 1/2 on, where the sheet stays elastic."""
    x = not_negative(r, "the bend radius", "mm") * positive(yield_stress, "the yield stress", "MPa")
    x /= positive(modulus, "Young's modulus", "MPa") * positive(s, "the thickness", "mm")
    return 0.0 if x >= 0.5 else 4.0 * x**3 - 3.0 * x + 1.0


@dataclass(frozen=True)
class Bending:
    """Pure bending of a sheet with hardening, the middle fibre neutral: stress over strain as a polygon ``strain``, ``stress`` (n,) from 0, ``modulus`` [MPa] of the unloading, ``s`` [mm]."""

    strain: Floats
    stress: Floats
    modulus: float
    s: float

    @classmethod
    def of(cls, plastic: Floats, stress: Floats, modulus: float, s: float, poisson: float | None) -> Bending:
        """From a hardening curve; wide sheet (plane strain) with ``poisson``, a narrow strip without: stress and strain times 2/sqrt(3) and its inverse, E/(1 - nu^2)."""
        e = positive(modulus, "Young's modulus", "MPa")
        p, y = np.asarray(plastic, dtype=np.float64), np.asarray(stress, dtype=np.float64)
        if len(p) < 1 or not (np.isfinite(p).all() and np.isfinite(y).all()) or y[0] <= 0.0 or (np.diff(p) <= 0.0).any():
            raise InputError(
                "the hardening curve cannot be used for bending: it must rise in strain from a stress above 0.", where="sheet.hardening"
            )
        if poisson is not None:
            e /= 1.0 - between(poisson, 0.0, 0.5, "Poisson's ratio") ** 2
            p, y = p * math.sqrt(3.0) / 2.0, y * 2.0 / math.sqrt(3.0)
        total = np.maximum.accumulate(np.concatenate([[0.0], p - p[0] + y / e]))
        return cls(total, np.concatenate([[0.0], y]), e, positive(s, "the thickness", "mm"))

    def moment(self, curvature: float) -> float:
        """``M = 2/c^2 int sigma e de`` to the outer fibre's strain ``c s/2`` [N] (a moment a width)."""
        c = positive(curvature, "the curvature", "1/mm")
        e = np.linspace(0.0, 0.5 * c * self.s, POINTS)
        mid = 0.5 * (e[1:] + e[:-1])
        return 2.0 / c**2 * float((np.interp(mid, self.strain, self.stress) * mid).sum()) * float(e[1])

    def released(self, curvature: float) -> float:
        """Curvature after the moment is let go [1/mm]: ``c - 12 M/(E s^3)``."""
        return curvature - 12.0 * self.moment(curvature) / (self.modulus * self.s**3)

    def tool(self, wanted: float) -> float:
        """Curvature of the middle fibre under load [1/mm] that leaves ``wanted``; bisection, the rest curvature grows with it. Raises :class:`SolveError` if none below 2/s does."""
        low, high = positive(wanted, "the curvature", "1/mm"), 2.0 / self.s * 1.5
        if wanted >= high or self.released(high) < wanted:
            raise SolveError(
                "no tool radius leaves the bend radius wanted after springback.",
                help="Check yield stress and Young's modulus, or ask for a larger radius.",
            )
        for _ in range(60):
            c = 0.5 * (low + high)
            low, high = (c, high) if self.released(c) < wanted else (low, c)
        return 0.5 * (low + high)


@dataclass(frozen=True)
class Sprung:
    """A bend and its tool: ``left`` share of the bend angle that is left after the release of a tool of the bend's own size, ``tool_radius`` [mm] (0: sharper than can be made) and ``tool_angle`` [deg] that give what is wanted."""

    left: float
    tool_radius: float
    tool_angle: float


def springback(bending: Bending, angle: float, r: float) -> Sprung:
    """Springback of a bend and what its tool must be. The length of the middle fibre stays: angles go as curvatures."""
    middle = not_negative(r, "the bend radius", "mm") + 0.5 * bending.s
    left = bending.released(1.0 / middle) * middle
    under = bending.tool(1.0 / middle)
    return Sprung(left, max(1.0 / under - 0.5 * bending.s, 0.0), angle * under * middle)


def reach(angle: float, developed: float, leg: float) -> float:
    """How far the edge of a flange lies past its root line along the sheet it hangs on [mm]: ``(A/a) sin a + leg cos a``, arc length A kept."""
    a = math.radians(angle)
    return developed * (math.sin(a) / a if a > 1e-9 else 1.0) + leg * math.cos(a)


def rise(angle: float, developed: float, leg: float) -> float:
    """How far the edge of a flange stands off the sheet that it hangs on [mm]: ``(A/a) (1 - cos a) + leg sin a``."""
    a = math.radians(angle)
    return (developed * (1.0 - math.cos(a)) / a if a > 1e-9 else 0.0) + leg * math.sin(a)


def edge_strain(radius: float, towards: float, over: float, before: tuple[float, float], after: tuple[float, float]) -> float:
    """True strain of the edge of a flange on a bend line of ``radius`` [mm]: ``ln(R/R0)``, the edge's distances from the centre after and before.

    The unit vector from the line to the centre has the part ``towards`` along the sheet to the flange's side (1: the flange lies towards the centre, its edge is stretched when it is bent up; -1: it is shrunk) and
    ``over`` along the normal to the side of the bend; ``before`` and ``after`` are (:func:`reach`, :func:`rise`) [mm]. Infinity where the edge comes from, and minus infinity where it goes to, the centre or past it.
    """
    r = positive(radius, "the radius of the bend line", "mm")
    r0, r1 = (r - finite(x, "the reach of the flange") * towards - finite(z, "the rise of the flange") * over for x, z in (before, after))
    if r0 <= 0.0:
        return math.inf
    return math.log(r1 / r0) if r1 > 0.0 else -math.inf


HEM_DEDUCTION = 0.43
"""What a flat hem takes off the two outer legs, over the thickness (common practice, from memory)."""


def hem_deduction(r: float, s: float, share: Callable[[float, float], float] | None = None) -> float:
    """What a hem (180 degrees) takes off its two outer legs [mm]: 0.43 s if closed flat (r = 0), else ``2 (r + s) - pi (r + K s)`` with K of DIN 6935 or ``share(r, s)``."""
    if r <= 0.0:
        return HEM_DEDUCTION * positive(s, "the thickness", "mm")
    return deduction(180.0, r, s, None if share is None else share(r, s))

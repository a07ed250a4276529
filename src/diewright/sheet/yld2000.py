"""Barlat's Yld2000-2d yield surface with exact first and second derivatives.

Barlat et al., Int. J. Plasticity 19 (2003) 1297:

    |X'1 - X'2|^a + |2 X''2 + X''1|^a + |2 X''1 + X''2|^a = 2 equivalent^a,   X' = L' s,  X'' = L'' s

with X1, X2 the principal values. The principal values themselves are not differentiable where they meet, but the
sum is. Written with ``D = (X'1 - X'2)^2``, ``C = 3 (X''1 + X''2)/2`` and ``q = ((X''1 - X''2)/2)^2``, which are quadratic, linear and
quadratic in the stress,

    phi = D^(a/2) + f(C, q),   f = |C - r|^a + |C + r|^a,  r = sqrt(q),

and ``f`` is even in ``r``, hence smooth in ``q``: close to ``r = 0`` its Taylor series is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from diewright.errors import InputError
from diewright.sheet.surface import Floats, YieldSurface

_SERIES_BELOW = 0.05  # r/|C| under which the series in q replaces the differences
_SERIES_TERMS = 6

# (L''11, L''12, L''21, L''22) = _TWO @ (a3, a4, a5, a6)
_TWO = np.array([[-2.0, 2.0, 8.0, -2.0], [1.0, -4.0, -4.0, 4.0], [4.0, -4.0, -4.0, 1.0], [-2.0, 8.0, 2.0, -2.0]]) / 9.0


@dataclass(frozen=True)
class Yld2000(YieldSurface):
    """Yld2000-2d with coefficients ``alpha`` (8) and exponent ``exponent`` (8 for fcc, 6 for bcc metals)."""

    alpha: tuple[float, ...]
    exponent: float = 8.0
    kind: ClassVar[str] = "yld2000"

    def __post_init__(self) -> None:
        alpha = tuple(float(v) for v in self.alpha)
        object.__setattr__(self, "alpha", alpha)
        if len(alpha) != 8 or not all(math.isfinite(v) for v in alpha):
            raise InputError(f"{len(alpha)} coefficients: expected 8 finite numbers.", where="yld2000 alpha")
        if not (math.isfinite(self.exponent) and 2.0 <= self.exponent <= 40.0):
            raise InputError(f"{self.exponent!r} cannot be used: expected a number from 2 to 40.", where="yld2000 exponent")
        # A convex function of linear forms is convex whatever the coefficients; it is closed only if they span the stresses.
        span = self._d_form + self._q_form + np.outer(self._c_form, self._c_form)
        if np.linalg.eigvalsh(span)[0] < 1e-6:
            raise InputError("the coefficients leave a stress without yield (the surface is not closed).", where="yld2000 alpha")

    @cached_property
    def _one(self) -> Floats:
        a1, a2 = self.alpha[0], self.alpha[1]
        return np.array([2.0 * a1, -a1, -a2, 2.0 * a2]) / 3.0  # L'11, L'12, L'21, L'22

    @cached_property
    def _two(self) -> Floats:
        return _TWO @ np.array(self.alpha[2:6])

    @cached_property
    def _d_form(self) -> Floats:
        """``D = s _d_form s``."""
        p = np.array([self._one[0] - self._one[2], self._one[1] - self._one[3], 0.0])
        return np.outer(p, p) + np.diag([0.0, 0.0, 4.0 * self.alpha[6] ** 2])

    @cached_property
    def _q_form(self) -> Floats:
        """``q = s _q_form s``."""
        b = 0.5 * np.array([self._two[0] - self._two[2], self._two[1] - self._two[3], 0.0])
        return np.outer(b, b) + np.diag([0.0, 0.0, self.alpha[7] ** 2])

    @cached_property
    def _c_form(self) -> Floats:
        """``C = _c_form . s``."""
        return 1.5 * np.array([self._two[0] + self._two[2], self._two[1] + self._two[3], 0.0])

    def parameters(self) -> dict[str, Any]:
        return {"alpha": list(self.alpha), "exponent": self.exponent}

    def equivalent(self, s: ArrayLike) -> Floats:
        unit, size = _scaled(s)
        a = self.exponent
        d, c, q = self._invariants(unit)
        r = np.sqrt(q)
        return size * (0.5 * (d ** (0.5 * a) + np.abs(c - r) ** a + np.abs(c + r) ** a)) ** (1.0 / a)

    def gradient(self, s: ArrayLike) -> Floats:
        unit, size = _scaled(s)
        g = self._first(unit)[0]
        return np.where(size[..., None] > 0, g, 0.0)

    def hessian(self, s: ArrayLike) -> Floats:
        return self.derivatives(s)[2]

    def derivatives(self, s: ArrayLike) -> tuple[Floats, Floats, Floats]:
        unit, size = _scaled(s)
        a, half, cs = self.exponent, 0.5 * self.exponent, self._c_form
        g, bar, d, (_, fq, fcc, fcq, fqq) = self._first(unit)
        ds, qs = unit @ self._d_form, unit @ self._q_form
        # D^(a/2-2) is unbounded at D = 0 only for a < 4, where it multiplies a product that vanishes faster.
        dd = half * (half - 1.0) * _power(d, half - 2.0)
        mixed = cs * qs[..., :, None] + cs[:, None] * qs[..., None, :]
        h = (
            4.0 * dd[..., None, None] * _outer(ds, ds)
            + (2.0 * half * _power(d, half - 1.0))[..., None, None] * self._d_form
            + fcc[..., None, None] * np.outer(cs, cs)
            + 2.0 * fcq[..., None, None] * mixed
            + 4.0 * fqq[..., None, None] * _outer(qs, qs)
            + 2.0 * fq[..., None, None] * self._q_form
        )
        scale = bar[..., None, None]
        h = h / (2.0 * a * scale ** (a - 1.0)) - (a - 1.0) / scale * _outer(g, g)
        live = size > 0
        h = np.divide(h, size[..., None, None], out=np.zeros_like(h), where=live[..., None, None])
        return size * bar, np.where(live[..., None], g, 0.0), h

    def _invariants(self, s: Floats) -> tuple[Floats, Floats, Floats]:
        d = ((s @ self._d_form) * s).sum(axis=-1)
        q = ((s @ self._q_form) * s).sum(axis=-1)
        return np.maximum(d, 0.0), s @ self._c_form, np.maximum(q, 0.0)

    def _first(self, s: Floats) -> tuple[Floats, Floats, Floats, tuple[Floats, ...]]:
        """Gradient of the equivalent stress, the equivalent stress, D, and the derivatives of f."""
        a = self.exponent
        d, c, q = self._invariants(s)
        r = np.sqrt(q)
        bar = (0.5 * (d ** (0.5 * a) + np.abs(c - r) ** a + np.abs(c + r) ** a)) ** (1.0 / a)
        even = _even_power(c, q, a)
        fc, fq = even[:2]
        total = (
            a * _power(d, 0.5 * a - 1.0)[..., None] * (s @ self._d_form)
            + fc[..., None] * self._c_form
            + 2.0 * fq[..., None] * (s @ self._q_form)
        )
        return total / (2.0 * a * bar[..., None] ** (a - 1.0)), bar, d, even


def _scaled(s: ArrayLike) -> tuple[Floats, Floats]:
    """Stress over its largest component, and that component; a zero stress is replaced by a harmless one of size zero."""
    s = np.asarray(s, dtype=np.float64)
    size = np.abs(s).max(axis=-1)
    safe = np.where(size > 0, size, 1.0)
    unit = np.where(size[..., None] > 0, s / safe[..., None], np.array([1.0, 0.0, 0.0]))
    return unit, size


def _outer(a: Floats, b: Floats) -> Floats:
    return a[..., :, None] * b[..., None, :]


def _power(x: Floats, p: float) -> Floats:
    """``x^p`` for x >= 0, with 0 instead of infinity at x = 0."""
    if p >= 0:
        return x**p
    return np.where(x > 0, np.where(x > 0, x, 1.0) ** p, 0.0)


def _even_power(c: Floats, q: Floats, a: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """``f_c, f_q, f_cc, f_cq, f_qq`` of ``f = |c - r|^a + |c + r|^a`` with ``r = sqrt(q)``."""
    r, size = np.sqrt(q), np.abs(c)
    plus, minus = c + r, c - r
    plus2, minus2 = _power(np.abs(plus), a - 2.0), _power(np.abs(minus), a - 2.0)
    plus1, minus1 = plus * plus2, minus * minus2
    f_c = a * (plus1 + minus1)
    f_cc = a * (a - 1.0) * (plus2 + minus2)
    near = r <= _SERIES_BELOW * size
    safe = np.where(near, 1.0, r)
    h = plus1 - minus1
    f_q = 0.5 * a * h / safe
    f_cq = 0.5 * a * (a - 1.0) * (plus2 - minus2) / safe
    f_qq = 0.25 * a * ((a - 1.0) * (plus2 + minus2) * safe - h) / safe**3
    if near.any():
        c, q, f_q, f_cq, f_qq = (np.array(v) for v in (c, q, f_q, f_cq, f_qq))  # a single stress gives scalars
        f_q[near], f_cq[near], f_qq[near] = _series(c[near], q[near], a)
    return f_c, f_q, f_cc, f_cq, f_qq


def _series(c: Floats, q: Floats, a: float) -> tuple[Floats, Floats, Floats]:
    """``f_q, f_cq, f_qq`` from ``f = 2 sum_k binomial(a, 2k) |c|^(a-2k) q^k``, term by term."""
    size, sign = np.abs(c), np.sign(c)
    f_q, f_cq, f_qq = np.zeros_like(c), np.zeros_like(c), np.zeros_like(c)
    binomial = 1.0
    for k in range(1, _SERIES_TERMS + 1):
        binomial *= (a - 2 * k + 2) * (a - 2 * k + 1) / ((2 * k - 1) * (2 * k))
        if binomial == 0.0:
            break
        f_q += 2.0 * binomial * k * _power(size, a - 2 * k) * q ** (k - 1)
        f_cq += 2.0 * binomial * k * (a - 2 * k) * sign * _power(size, a - 2 * k - 1) * q ** (k - 1)
        if k > 1:
            f_qq += 2.0 * binomial * k * (k - 1) * _power(size, a - 2 * k) * q ** (k - 2)
    return f_q, f_cq, f_qq

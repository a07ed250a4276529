"""The return to the yield surface of Hill 1948 for many stations side by side.

Every lane does what :func:`~diewright.mechanics.shell.hill.return_hill` does, by the same formulas; one that has stopped holds its increment and waits for
the others. Curves are those of :func:`~diewright.mechanics.shell.curve.flow` with logarithm and exponential that go in lanes.
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.curve import table_flow
from diewright.mechanics.shell.hill import elastic_strain, elastic_stress, newton, squared, stress_at
from diewright.mechanics.shell.lanes import ex, ln, row, rows3, whole
from diewright.mechanics.shell.layout import (
    FINE,
    INLINE,
    M_C,
    M_CURVE,
    M_E0,
    M_H,
    M_K,
    M_KIN,
    M_N,
    M_S0,
    M_SHARE,
    M_SS,
    M_TOL,
    NOT_RETURNED,
    SWIFT,
    TABLE,
    VOCE,
)


@njit(**INLINE)
def flow_lanes(n, ep, dl, done, sy, slope, mat, table):  # noqa: ANN201
    """:func:`~diewright.mechanics.shell.curve.flow` at ``ep + dl`` into ``sy`` and ``slope`` of the lanes that are not done."""
    r = type(mat[M_H])
    zero = r(0.0)
    kind = int(mat[M_CURVE])
    if kind == TABLE:
        for j in range(n):
            value, rate = table_flow(ep[j] + dl[j], mat, table)
            sy[j] = sy[j] if done[j] > zero else value
            slope[j] = slope[j] if done[j] > zero else rate
    elif kind == SWIFT:
        for j in range(n):
            at = ep[j] + dl[j]
            base = mat[M_E0] + at
            swift = mat[M_SHARE] * mat[M_K] * ex(mat[M_N] * ln(base))
            sy[j] = sy[j] if done[j] > zero else mat[M_H] * at + swift
            slope[j] = slope[j] if done[j] > zero else mat[M_H] + swift * mat[M_N] / base
    elif kind == VOCE:
        for j in range(n):
            at = ep[j] + dl[j]
            rest = r(1.0) - mat[M_SHARE]
            fall = rest * (mat[M_SS] - mat[M_S0]) * ex(-mat[M_C] * at)
            sy[j] = sy[j] if done[j] > zero else mat[M_H] * at + (rest * mat[M_SS] - fall)
            slope[j] = slope[j] if done[j] > zero else mat[M_H] + mat[M_C] * fall
    else:
        for j in range(n):
            at = ep[j] + dl[j]
            base = mat[M_E0] + at
            swift = mat[M_SHARE] * mat[M_K] * ex(mat[M_N] * ln(base))
            rest = r(1.0) - mat[M_SHARE]
            fall = rest * (mat[M_SS] - mat[M_S0]) * ex(-mat[M_C] * at)
            sy[j] = sy[j] if done[j] > zero else mat[M_H] * at + swift + (rest * mat[M_SS] - fall)
            slope[j] = slope[j] if done[j] > zero else mat[M_H] + swift * mat[M_N] / base + mat[M_C] * fall


@njit(**INLINE)
def return_lanes(count, e11, e22, g12, ep, a11, a22, a12, t11, t22, t12, d11, d22, d12, dl, answer, mat, table):  # noqa: ANN201
    """:func:`~diewright.mechanics.shell.hill.return_hill` for ``count`` packed lanes; ``e`` is the elastic trial strain.

    Stress into ``t``, plastic strain into ``d``, increment into ``dl`` (0 where a lane does not yield: its ``t`` is then of no use),
    the new back stress into ``a``.
    """
    r = type(mat[M_H])
    zero, one = r(0.0), r(1.0)
    sy, slope, done = rows3(zero)
    low, high = row(zero), row(zero)
    n = whole(count, zero)
    for j in range(n):
        dl[j], low[j], high[j], done[j], answer[j] = zero, zero, -one, zero, r(NOT_RETURNED)
    tol = mat[M_TOL]
    for turn in range(61):
        flow_lanes(n, ep, dl, done, sy, slope, mat, table)
        if turn == 0:
            for j in range(n):
                q11, q22, q12 = elastic_stress(e11[j], e22[j], g12[j], mat)
                s2 = squared(q11 - a11[j], q22 - a22[j], q12 - a12[j], mat)
                still = s2 <= sy[j] * sy[j]
                done[j] = one if still else zero
                answer[j] = r(FINE) if still else r(NOT_RETURNED)
        waiting = 0
        for j in range(n):
            ca1, ca2, ca3 = elastic_strain(a11[j], a22[j], a12[j], mat)
            old, s0, h0 = dl[j], sy[j], slope[j]
            g, theta, x1, x2, x3, y1, y2, y3, m11, m22, m12, idet, i33 = stress_at(e11[j], e22[j], g12[j], ca1, ca2, ca3, old, s0, mat)
            s = math.sqrt(x1 * y1 + x2 * y2 + x3 * y3)
            res = s0 / s - one
            lo = old if res < zero else low[j]
            hi = high[j] if res < zero else old
            change = newton(g, theta, x1, x2, x3, y1, y2, y3, m11, m22, m12, idet, i33, ca1, ca2, ca3, s, s0, h0, res, mat)
            new = old + change
            inside = (new > lo) & ((hi < zero) | (new < hi))
            halved = r(0.5) * (lo + hi) if hi > zero else r(2.0) * lo + r(1e-6)
            new = new if inside else halved
            over = (done[j] > zero) | (abs(res) <= tol) | (new == old)
            final = inside & (res * res <= r(0.1) * tol)
            low[j] = lo
            high[j] = hi
            dl[j] = old if over else new
            sy[j] = s0 if over else (s0 + h0 * change if final else s0)
            stop = over | final
            done[j] = one if stop else zero
            answer[j] = r(FINE) if stop else answer[j]
            waiting += 0 if stop else 1
        if waiting == 0:
            break
    kin = mat[M_KIN]
    for j in range(n):
        ca1, ca2, ca3 = elastic_strain(a11[j], a22[j], a12[j], mat)
        g, theta, x1, x2, x3, y1, y2, y3, _, _, _, _, _ = stress_at(e11[j], e22[j], g12[j], ca1, ca2, ca3, dl[j], sy[j], mat)
        b1, b2, b3 = theta * (a11[j] + kin * g * x1), theta * (a22[j] + kin * g * x2), theta * (a12[j] + kin * g * x3)
        a11[j], a22[j], a12[j] = b1, b2, b3
        t11[j], t22[j], t12[j] = x1 + b1, x2 + b2, x3 + b3
        d11[j], d22[j], d12[j] = g * y1, g * y2, g * y3

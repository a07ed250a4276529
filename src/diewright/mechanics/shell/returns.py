"""The returns to the yield surface for many stations side by side.

Every lane does what the scalar return does, by the same formulas; one that has stopped holds its increment and waits for
the others. Curves are those of :func:`~diewright.mechanics.shell.curve.flow` with logarithm and exponential that go in lanes.
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.barlat import even_power, hessian, normal, potential, residual, scaled, solved
from diewright.mechanics.shell.curve import table_flow
from diewright.mechanics.shell.hill import elastic_strain, elastic_stress, newton, squared, stress_at
from diewright.mechanics.shell.lanes import ex, ln, row, rows3, whole
from diewright.mechanics.shell.layout import (
    FINE,
    INLINE,
    M_C,
    M_CURVE,
    M_E,
    M_E0,
    M_H,
    M_K,
    M_KIN,
    M_N,
    M_RECALL,
    M_S0,
    M_SHARE,
    M_SS,
    M_TOL,
    M_YLD,
    NOT_RETURNED,
    SWIFT,
    TABLE,
    VOCE,
)

ALONE = -1  # a lane that has to be returned by the scalar function


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


@njit(**INLINE)
def lane_powers(s1, s2, s3, mat):  # noqa: ANN201
    """What :func:`~diewright.mechanics.shell.barlat.potential` needs, for an even exponent."""
    half = int(mat[M_YLD + 9]) - 1
    ps, bs, d, q, c, root = scaled(s1, s2, s3, mat)
    return (
        ps, bs, d, q, c, root,
        even_power(math.sqrt(d), half), even_power(abs(c + root), half), even_power(abs(c - root), half), even_power(abs(c), half),
    )  # fmt: skip


@njit(**INLINE)
def barlat_lanes(count, e11, e22, g12, ep, a11, a22, a12, t11, t22, t12, d11, d22, d12, dl, answer, mat, table):  # noqa: ANN201
    """:func:`~diewright.mechanics.shell.barlat.return_barlat` for ``count`` packed lanes and an even exponent; arguments as :func:`return_lanes`.

    Newton only: a lane that needs stages has the answer ``ALONE``.
    """
    r = type(mat[M_H])
    zero, one = r(0.0), r(1.0)
    x1, x2, x3 = rows3(zero)
    sy, slope, done = rows3(zero)
    n = whole(count, zero)
    for j in range(n):
        q11, q22, q12 = elastic_stress(e11[j], e22[j], g12[j], mat)
        x1[j], x2[j], x3[j] = q11 - a11[j], q22 - a22[j], q12 - a12[j]
        dl[j], done[j], answer[j] = zero, zero, r(ALONE)
    young, tol, root_of = mat[M_E], mat[M_TOL], one / mat[M_YLD + 8]
    for turn in range(13):
        flow_lanes(n, ep, dl, done, sy, slope, mat, table)
        begin, end = turn == 0, turn == 12
        waiting = 0
        for j in range(n):
            xa, xb, xc, old, s0, h0 = x1[j], x2[j], x3[j], dl[j], sy[j], slope[j]
            size = max(max(abs(xa), abs(xb)), abs(xc))
            sc = xc / size
            ps, bs, d, q, c, root, d2, u2, w2, c2 = lane_powers(xa / size, xb / size, sc, mat)
            phi, phi_d, f_c, f_q = potential(d, q, c, root, d2, u2, w2, c2, mat)
            unit = ex(ln(phi) * root_of)
            n1, n2, n3 = normal(unit, phi, phi_d, f_c, f_q, ps, bs, sc, mat)
            ca1, ca2, ca3 = elastic_strain(a11[j], a22[j], a12[j], mat)
            g, theta, r1, r2, r3 = residual(n1, n2, n3, xa, xb, xc, ca1, ca2, ca3, e11[j], e22[j], g12[j], old, s0, mat)
            rf = size * unit - s0
            off = young * max(max(abs(r1), abs(r2)), abs(r3))
            fine = (begin & (rf <= zero)) | ((abs(rf) <= tol * s0) & (off <= r(10.0) * tol * s0) & (old >= zero))
            over = end | (begin & (rf > s0)) | (old < zero) | (not off + abs(rf) < r(1e30))
            h11, h22, h33, h12, h13, h23 = hessian(unit, phi, phi_d, f_q, ps, bs, sc, d, q, c, root, u2, w2, c2, n1, n2, n3, mat)
            i = one / size
            dx1, dx2, dx3, change = solved(
                h11 * i, h22 * i, h33 * i, h12 * i, h13 * i, h23 * i, n1, n2, n3, xa, xb, xc, ca1, ca2, ca3, r1, r2, r3, rf, old, g, theta, s0, h0, mat
            )  # fmt: skip
            held = done[j] > zero
            stop = held | fine | over
            x1[j] = xa if stop else xa + dx1
            x2[j] = xb if stop else xb + dx2
            x3[j] = xc if stop else xc + dx3
            dl[j] = old if stop else old + change
            answer[j] = r(FINE) if fine & (not held) else answer[j]
            done[j] = one if stop else zero
            waiting += 0 if stop else 1
        if waiting == 0:
            break
    kin = mat[M_KIN]
    for j in range(n):
        size = max(max(abs(x1[j]), abs(x2[j])), abs(x3[j]))
        sc = x3[j] / size
        ps, bs, d, q, c, root, d2, u2, w2, c2 = lane_powers(x1[j] / size, x2[j] / size, sc, mat)
        phi, phi_d, f_c, f_q = potential(d, q, c, root, d2, u2, w2, c2, mat)
        n1, n2, n3 = normal(ex(ln(phi) * root_of), phi, phi_d, f_c, f_q, ps, bs, sc, mat)
        g, theta = dl[j] / sy[j], one / (one + mat[M_RECALL] * dl[j])
        b1, b2, b3 = theta * (a11[j] + kin * g * x1[j]), theta * (a22[j] + kin * g * x2[j]), theta * (a12[j] + kin * g * x3[j])
        a11[j], a22[j], a12[j] = b1, b2, b3
        t11[j], t22[j], t12[j] = x1[j] + b1, x2[j] + b2, x3[j] + b3
        d11[j], d22[j], d12[j] = dl[j] * n1, dl[j] * n2, dl[j] * n3

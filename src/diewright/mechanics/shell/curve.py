"""Hardening inside a kernel: flow stress and slope over equivalent plastic strain."""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.layout import (
    INLINE,
    M_BINS,
    M_C,
    M_CURVE,
    M_E0,
    M_H,
    M_K,
    M_N,
    M_S0,
    M_SCALE,
    M_SHARE,
    M_SS,
    SWIFT,
    TABLE,
    VOCE,
)


@njit(**INLINE)
def flow(ep, mat, table):  # noqa: ANN201
    """``(stress [MPa], d(stress)/d(ep) [MPa])``.

    Swift ``K (e0 + ep)^n + h ep``, Voce ``ss - (ss - s0) exp(-c ep) + h ep``, their mix, or a table: cubic pieces over
    the coordinate ``u = ep/(ep + scale)``, uniform in u, so that small strains are fine and any strain is inside.
    ``table`` holds value and d(stress)/du at the bins.
    """
    r = type(ep)
    kind = int(mat[M_CURVE])
    if kind == TABLE:
        return table_flow(ep, mat, table)
    value = mat[M_H] * ep
    slope = mat[M_H]
    if kind != VOCE:
        base = mat[M_E0] + ep
        swift = mat[M_SHARE] * mat[M_K] * base ** mat[M_N]
        value += swift
        slope += swift * mat[M_N] / base
    if kind != SWIFT:
        fall = (r(1.0) - mat[M_SHARE]) * (mat[M_SS] - mat[M_S0]) * math.exp(-mat[M_C] * ep)
        value += (r(1.0) - mat[M_SHARE]) * mat[M_SS] - fall
        slope += mat[M_C] * fall
    return value, slope


@njit(**INLINE)
def table_flow(ep, mat, table):  # noqa: ANN201
    """As :func:`flow` from the table."""
    r = type(ep)
    scale = mat[M_SCALE]
    bins = int(mat[M_BINS])
    u = ep / (ep + scale)
    k = min(int(u * r(bins)), bins - 1)
    w = r(1.0) / r(bins)
    s = u * r(bins) - r(k)
    a, b = table[k, 0], table[k + 1, 0]
    da, db = w * table[k, 1], w * table[k + 1, 1]
    c2 = r(3.0) * (b - a) - r(2.0) * da - db
    c3 = r(2.0) * (a - b) + da + db
    value = a + s * (da + s * (c2 + s * c3))
    rate = (da + s * (r(2.0) * c2 + r(3.0) * s * c3)) / w
    return value, rate * scale / ((ep + scale) * (ep + scale))

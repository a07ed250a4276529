"""Logarithmic strain of a plane metric, and the stress that goes with the metric.

With the metric ``C = U^2`` (2 x 2, mean ``m``, deviator ``q = (C11 - C22)/2, C12``, ``d = |q|``, ``det = m^2 - d^2``)

    ln U = em I + (beta/2) (C - m I),   em = ln(det)/4,   beta = atanh(d/m)/d,

which needs no principal directions. The stress ``T`` conjugate to ln U gives the stress ``S`` conjugate to C/2 through
``S = 2 T : d(ln U)/dC`` (Hoger 1987; here in closed form for two dimensions).
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.layout import INLINE

NEAR = 0.02  # square of deviator over mean below which the series is taken


@njit(**INLINE)
def invariants(c11, c22, c12):  # noqa: ANN201
    """``(m, q1, d^2, det)`` of a metric."""
    half = type(c11)(0.5)
    m = half * (c11 + c22)
    q1 = half * (c11 - c22)
    d2 = q1 * q1 + c12 * c12
    return m, q1, d2, m * m - d2


@njit(**INLINE)
def series(im, y):  # noqa: ANN201
    """``(beta, gamma)`` where the two stretches are near each other: ``atanh(x)/x`` and its derivative in ``y = x^2``; ``im = 1/m``."""
    r = type(im)
    beta = im * (
        r(1.0)
        + y
        * (
            r(1.0 / 3.0)
            + y * (r(0.2) + y * (r(1.0 / 7.0) + y * (r(1.0 / 9.0) + y * (r(1.0 / 11.0) + y * (r(1.0 / 13.0) + y * r(1.0 / 15.0))))))
        )
    )
    gamma = (
        im
        * im
        * im
        * (
            r(2.0 / 3.0)
            + y
            * (
                r(4.0 / 5.0)
                + y
                * (
                    r(6.0 / 7.0)
                    + y * (r(8.0 / 9.0) + y * (r(10.0 / 11.0) + y * (r(12.0 / 13.0) + y * (r(14.0 / 15.0) + y * r(16.0 / 17.0)))))
                )
            )
        )
    )
    return beta, gamma


@njit(**INLINE)
def log_strain(c11, c22, c12):  # noqa: ANN201
    """``(E11, E22, 2 E12, m, q1, det, beta, gamma)``; ``gamma = (m/det - beta)/d^2`` is what :func:`metric_stress` needs.

    ``det <= 0`` (an element turned inside out) is left to the caller: the strains are then not numbers.
    """
    r = type(c11)
    half = r(0.5)
    m, q1, d2, det = invariants(c11, c22, c12)
    im = r(1.0) / m
    y = d2 * im * im
    if y < r(NEAR):
        beta, gamma = series(im, y)
    else:
        d = math.sqrt(d2)
        beta = half * math.log((m + d) / (m - d)) / d
        gamma = (m / det - beta) / d2
    em = r(0.25) * math.log(det)
    e1 = half * beta * q1
    return em + e1, em - e1, beta * c12, m, q1, det, beta, gamma


@njit(**INLINE)
def metric_stress(t11, t22, t12, c12, m, q1, det, beta, gamma):  # noqa: ANN201
    """``(S11, S22, S12)`` with ``T : d(ln U) = S : dC/2``."""
    r = type(t11)
    half = r(0.5)
    t1 = t11 - t22
    t2 = r(2.0) * t12
    ts = t11 + t22
    tq = t1 * q1 + t2 * c12
    idet = r(1.0) / det
    sm = half * (ts * m - tq) * idet
    k = gamma * tq - ts * idet
    s1 = half * (beta * t1 + k * q1)
    s2 = half * (beta * t2 + k * c12)
    return sm + s1, sm - s1, s2

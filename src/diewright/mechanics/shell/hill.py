"""Return to the Hill 1948 surface in plane stress: one scalar equation, whatever the increment.

Closest-point projection with the Armstrong-Frederick back stress of Ziegler direction (Chaboche 1986),
``a = theta (a_n + C g x)``, ``theta = 1/(1 + recall dl)``, ``x = T - a``, ``g = dl / flow``:

    [Ce (1 + theta C g) + g P] x = E_trial - Ce theta a_n,      flow(ep + dl) / sqrt(x P x) - 1 = 0.

Written as flow over equivalent stress the residual is nearly linear in ``dl``, so Newton needs two or three steps;
a bracket with bisection stands behind it (after Simo and Taylor 1986).
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.curve import flow
from diewright.mechanics.shell.layout import FINE, INLINE, M_E, M_FIRST, M_HILL, M_KIN, M_NU, M_RECALL, M_TOL, NOT_RETURNED


@njit(**INLINE)
def elastic_stress(e11, e22, g12, mat):  # noqa: ANN201
    """Plane stress of an elastic strain (engineering shear)."""
    r = type(e11)
    young, nu = mat[M_E], mat[M_NU]
    k = young / (r(1.0) - nu * nu)
    return k * (e11 + nu * e22), k * (e22 + nu * e11), r(0.5) * young / (r(1.0) + nu) * g12


@njit(**INLINE)
def elastic_strain(t11, t22, t12, mat):  # noqa: ANN201
    """Elastic strain (engineering shear) of a plane stress."""
    r = type(t11)
    nu = mat[M_NU]
    ce = r(1.0) / mat[M_E]
    return ce * (t11 - nu * t22), ce * (t22 - nu * t11), r(2.0) * (r(1.0) + nu) * ce * t12


@njit(**INLINE)
def squared(x1, x2, x3, mat):  # noqa: ANN201
    """Square of the equivalent stress."""
    two = type(x1)(2.0)
    return x1 * (mat[M_HILL] * x1 + two * mat[M_HILL + 1] * x2) + mat[M_HILL + 2] * x2 * x2 + mat[M_HILL + 3] * x3 * x3


@njit(**INLINE)
def stress_at(e11, e22, g12, ca1, ca2, ca3, dl, sy, mat):  # noqa: ANN201
    """Stress less back stress ``x`` after an increment ``dl`` at flow stress ``sy``: ``(g, theta, x, y = P x, matrix and what is left of its inverse)``."""
    r = type(dl)
    one = r(1.0)
    p11, p12, p22, p33 = mat[M_HILL], mat[M_HILL + 1], mat[M_HILL + 2], mat[M_HILL + 3]
    nu = mat[M_NU]
    ce = one / mat[M_E]
    g = dl / sy
    theta = one / (one + mat[M_RECALL] * dl)
    w = one + theta * mat[M_KIN] * g
    cw = ce * w
    m11, m22, m12 = cw + g * p11, cw + g * p22, g * p12 - nu * cw
    i33 = one / (r(2.0) * (one + nu) * cw + g * p33)
    idet = one / (m11 * m22 - m12 * m12)
    b1, b2, b3 = e11 - theta * ca1, e22 - theta * ca2, g12 - theta * ca3
    x1, x2, x3 = (m22 * b1 - m12 * b2) * idet, (m11 * b2 - m12 * b1) * idet, b3 * i33
    return g, theta, x1, x2, x3, p11 * x1 + p12 * x2, p12 * x1 + p22 * x2, p33 * x3, m11, m22, m12, idet, i33


@njit(**INLINE)
def newton(g, theta, x1, x2, x3, y1, y2, y3, m11, m22, m12, idet, i33, ca1, ca2, ca3, s, sy, slope, res, mat):  # noqa: ANN201
    """Newton's change of the increment where ``flow/s - 1`` is ``res``."""
    r = type(g)
    one = r(1.0)
    nu, kin = mat[M_NU], mat[M_KIN]
    ce = one / mat[M_E]
    dg = (one - g * slope) / sy
    dtheta = -mat[M_RECALL] * theta * theta
    dw = kin * (dtheta * g + theta * dg)
    c1 = -dtheta * ca1 - ce * dw * (x1 - nu * x2) - dg * y1
    c2 = -dtheta * ca2 - ce * dw * (x2 - nu * x1) - dg * y2
    c3 = -dtheta * ca3 - r(2.0) * (one + nu) * ce * dw * x3 - dg * y3
    ds = (y1 * (m22 * c1 - m12 * c2) * idet + y2 * (m11 * c2 - m12 * c1) * idet + y3 * c3 * i33) / s
    return -res * s / (slope - sy * ds / s)


@njit(**INLINE)
def return_hill(e11, e22, g12, ep, a11, a22, a12, mat, table):  # noqa: ANN201
    """From the elastic trial strain (engineering shear) to the stress.

    Returns ``(T11, T22, T12, dEp11, dEp22, dGp12, dep, a11, a22, a12, answer)``, stresses in MPa.
    """
    r = type(e11)
    one = r(1.0)
    zero = r(0.0)
    t11, t22, t12 = elastic_stress(e11, e22, g12, mat)
    s2 = squared(t11 - a11, t22 - a22, t12 - a12, mat)
    first = mat[M_FIRST]
    if s2 <= first * first:
        return t11, t22, t12, zero, zero, zero, zero, a11, a22, a12, FINE
    s = math.sqrt(s2)
    sy, slope = flow(ep, mat, table)
    if s <= sy:
        return t11, t22, t12, zero, zero, zero, zero, a11, a22, a12, FINE
    kin, tol = mat[M_KIN], mat[M_TOL]
    # Ce a_n: the back stress as an elastic strain.
    ca1, ca2, ca3 = elastic_strain(a11, a22, a12, mat)
    dl = zero
    low = zero
    high = r(-1.0)
    g = zero
    theta = one
    x1, x2, x3, y1, y2, y3 = zero, zero, zero, zero, zero, zero
    answer = NOT_RETURNED
    last = False
    for _ in range(60):
        g, theta, x1, x2, x3, y1, y2, y3, m11, m22, m12, idet, i33 = stress_at(e11, e22, g12, ca1, ca2, ca3, dl, sy, mat)
        if last:
            answer = FINE
            break
        s = math.sqrt(x1 * y1 + x2 * y2 + x3 * y3)
        res = sy / s - one
        if abs(res) <= tol:
            answer = FINE
            break
        if res < zero:
            low = dl
        else:
            high = dl
        change = newton(g, theta, x1, x2, x3, y1, y2, y3, m11, m22, m12, idet, i33, ca1, ca2, ca3, s, sy, slope, res, mat)
        new = dl + change
        inside = new > low and (high < zero or new < high)
        if not inside:
            new = r(0.5) * (low + high) if high > zero else r(2.0) * low + r(1e-6)
        if new == dl:
            answer = FINE  # the bracket is as narrow as the numbers allow
            break
        dl = new
        if inside and res * res <= r(0.1) * tol:
            # Newton squares the residual: this step is the last, and the flow stress along its slope is exact enough.
            sy += slope * change
            last = True
        else:
            sy, slope = flow(ep + dl, mat, table)
    a11, a22, a12 = theta * (a11 + kin * g * x1), theta * (a22 + kin * g * x2), theta * (a12 + kin * g * x3)
    return x1 + a11, x2 + a22, x3 + a12, g * y1, g * y2, g * y3, dl, a11, a22, a12, answer

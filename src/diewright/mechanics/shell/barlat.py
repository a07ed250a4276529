"""Return to the Yld2000-2d surface (Barlat et al., Int. J. Plasticity 19 (2003) 1297) in plane stress.

    2 seq^a = D^(a/2) + |C - r|^a + |C + r|^a,   r = sqrt(q),

with ``D`` and ``q`` quadratic and ``C`` linear in the stress: no principal values of the two transformed stresses are needed.
Closest-point projection by Newton on stress and increment; where the overshoot is large the surface is approached in
stages (after Yoon, Yang, Barlat, Int. J. Plasticity 15 (1999) 35), each of which Newton closes.
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.curve import flow
from diewright.mechanics.shell.hill import elastic_strain, elastic_stress
from diewright.mechanics.shell.layout import FINE, INLINE, KERNEL, M_E, M_FIRST, M_KIN, M_NU, M_RECALL, M_TOL, M_YLD, NOT_RETURNED


@njit(**INLINE)
def even_power(base, half):  # noqa: ANN201
    """``base^(2 half)`` by squares, ``half`` from 0 to 31: the same operations whatever ``half`` is."""
    one = type(base)(1.0)
    p1 = base * base
    p2 = p1 * p1
    p4 = p2 * p2
    p8 = p4 * p4
    low = (p1 if half & 1 else one) * (p2 if half & 2 else one) * (p4 if half & 4 else one)
    return low * (p8 if half & 8 else one) * (p8 * p8 if half & 16 else one)


@njit(**INLINE)
def power(base, exponent, half):  # noqa: ANN201
    """``base^exponent`` for ``base >= 0``; by products where ``half = exponent/2`` is a whole number >= 0 (else -1)."""
    if half < 0:
        return base**exponent
    return even_power(base, half)


@njit(**INLINE)
def scaled(s1, s2, s3, mat):  # noqa: ANN201
    """``(ps, bs, D, q, C, r)`` of a stress."""
    ps = mat[M_YLD] * s1 + mat[M_YLD + 1] * s2
    bs = mat[M_YLD + 4] * s1 + mat[M_YLD + 5] * s2
    q = bs * bs + mat[M_YLD + 7] * s3 * s3
    return ps, bs, ps * ps + mat[M_YLD + 6] * s3 * s3, q, mat[M_YLD + 2] * s1 + mat[M_YLD + 3] * s2, math.sqrt(q)


@njit(**INLINE)
def potential(d, q, c, root, d2, u2, w2, c2, mat):  # noqa: ANN201
    """``(phi, phi_D, f_C, f_q)``: ``seq^a`` and the derivatives of ``2 seq^a``, ``phi_D`` half of it, from the powers ``a - 2`` of
    ``sqrt(D)``, ``|C + r|``, ``|C - r|`` and, where r is small beside C, of ``|C|``."""
    r = type(d)
    one, half = r(1.0), r(0.5)
    a = mat[M_YLD + 8]
    up, down = c + root, c - root
    phi = half * (d2 * d + u2 * up * up + w2 * down * down)
    # else: even series of the difference quotient; c is not zero there
    f_q = (
        half * a * (u2 * up - w2 * down) / root
        if root > r(1e-3) * abs(c)
        else a * (a - one) * c2 * (one + (a - r(2.0)) * (a - r(3.0)) / r(6.0) * q / (c * c))
    )
    return phi, half * a * d2, a * (w2 * down + u2 * up), f_q


@njit(**INLINE)
def normal(unit, phi, phi_d, f_c, f_q, ps, bs, s3, mat):  # noqa: ANN201
    """Gradient ``(n11, n22, n12)`` of the equivalent stress, ``unit = phi^(1/a)``."""
    two = type(unit)(2.0)
    k = unit / (two * mat[M_YLD + 8] * phi)
    n1 = k * (two * phi_d * ps * mat[M_YLD] + f_c * mat[M_YLD + 2] + two * f_q * bs * mat[M_YLD + 4])
    n2 = k * (two * phi_d * ps * mat[M_YLD + 1] + f_c * mat[M_YLD + 3] + two * f_q * bs * mat[M_YLD + 5])
    return n1, n2, k * two * (phi_d * mat[M_YLD + 6] + f_q * mat[M_YLD + 7]) * s3


@njit(**INLINE)
def hessian(unit, phi, phi_d, f_q, ps, bs, s3, d, q, c, root, u2, w2, c2, n1, n2, n3, mat):  # noqa: ANN201
    """Second derivatives ``(h11, h22, h33, h12, h13, h23)`` of the equivalent stress; arguments as of :func:`potential` and :func:`normal`."""
    r = type(unit)
    one, two, half = r(1.0), r(2.0), r(0.5)
    a = mat[M_YLD + 8]
    p1, p2, c1, c2_, b1, b2 = mat[M_YLD], mat[M_YLD + 1], mat[M_YLD + 2], mat[M_YLD + 3], mat[M_YLD + 4], mat[M_YLD + 5]
    dd, qq = mat[M_YLD + 6], mat[M_YLD + 7]
    # dD/ds and dq/ds
    e1, e2, e3 = two * ps * p1, two * ps * p2, two * dd * s3
    g1, g2, g3 = two * bs * b1, two * bs * b2, two * qq * s3
    phi_dd = phi_d * (half * a - one) / max(d, r(1e-30))
    apart = root > r(0.03) * abs(c)
    twice = a * (a - one)
    f_cc = twice * (u2 + w2) if apart else two * twice * c2
    f_cq = half * twice * (u2 - w2) / root if apart else twice * (a - two) * c2 / c
    f_qq = (r(0.25) * twice * (u2 + w2) - half * f_q) / q if apart else twice * (a - two) * (a - r(3.0)) / r(6.0) * c2 / (c * c)
    k = unit / (two * a * phi)
    z = (a - one) / unit
    h11 = k * (phi_dd * e1 * e1 + two * phi_d * p1 * p1 + f_cc * c1 * c1 + two * f_cq * c1 * g1 + f_qq * g1 * g1 + two * f_q * b1 * b1)
    h22 = k * (phi_dd * e2 * e2 + two * phi_d * p2 * p2 + f_cc * c2_ * c2_ + two * f_cq * c2_ * g2 + f_qq * g2 * g2 + two * f_q * b2 * b2)
    h12 = k * (
        phi_dd * e1 * e2 + two * phi_d * p1 * p2 + f_cc * c1 * c2_ + f_cq * (c1 * g2 + c2_ * g1) + f_qq * g1 * g2 + two * f_q * b1 * b2
    )
    h33 = k * (phi_dd * e3 * e3 + two * phi_d * dd + f_qq * g3 * g3 + two * f_q * qq)
    h13 = k * (phi_dd * e1 * e3 + f_cq * c1 * g3 + f_qq * g1 * g3)
    h23 = k * (phi_dd * e2 * e3 + f_cq * c2_ * g3 + f_qq * g2 * g3)
    return h11 - z * n1 * n1, h22 - z * n2 * n2, h33 - z * n3 * n3, h12 - z * n1 * n2, h13 - z * n1 * n3, h23 - z * n2 * n3


@njit(**INLINE)
def solved(h11, h22, h33, h12, h13, h23, n1, n2, n3, x1, x2, x3, ca1, ca2, ca3, r1, r2, r3, rf, dl, g, theta, sy, slope, mat):  # noqa: ANN201
    """Newton on stress and increment: ``(change of x, change of dl)`` from the strain residual ``r`` and the yield residual ``rf``."""
    r = type(dl)
    one = r(1.0)
    nu, kin, recall = mat[M_NU], mat[M_KIN], mat[M_RECALL]
    ce = one / mat[M_E]
    cs = r(2.0) * (one + nu) * ce
    w = one + theta * kin * g
    m11, m22, m33 = ce * w + dl * h11, ce * w + dl * h22, cs * w + dl * h33
    m12, m13, m23 = -nu * ce * w + dl * h12, dl * h13, dl * h23
    # inverse of the symmetric 3 x 3
    i11, i22, i33 = m22 * m33 - m23 * m23, m11 * m33 - m13 * m13, m11 * m22 - m12 * m12
    i12, i13, i23 = m13 * m23 - m12 * m33, m12 * m23 - m13 * m22, m12 * m13 - m11 * m23
    idet = one / (m11 * i11 + m12 * i12 + m13 * i13)
    dg = (one - g * slope) / sy
    dtheta = -recall * theta * theta
    dw = kin * (dtheta * g + theta * dg)
    v1 = n1 + ce * dw * (x1 - nu * x2) + dtheta * ca1
    v2 = n2 + ce * dw * (x2 - nu * x1) + dtheta * ca2
    v3 = n3 + cs * dw * x3 + dtheta * ca3
    y1, y2, y3 = (
        (i11 * n1 + i12 * n2 + i13 * n3) * idet,
        (i12 * n1 + i22 * n2 + i23 * n3) * idet,
        (i13 * n1 + i23 * n2 + i33 * n3) * idet,
    )
    change = (rf - (y1 * r1 + y2 * r2 + y3 * r3)) / (y1 * v1 + y2 * v2 + y3 * v3 + slope)
    r1, r2, r3 = r1 + change * v1, r2 + change * v2, r3 + change * v3
    return (
        -(i11 * r1 + i12 * r2 + i13 * r3) * idet,
        -(i12 * r1 + i22 * r2 + i23 * r3) * idet,
        -(i13 * r1 + i23 * r2 + i33 * r3) * idet,
        change,
    )


@njit(**INLINE)
def residual(n1, n2, n3, x1, x2, x3, ca1, ca2, ca3, e11, e22, g12, dl, sy, mat):  # noqa: ANN201
    """``(g, theta, r1, r2, r3)``: strain residual at stress less back stress ``x`` and increment ``dl``."""
    one = type(dl)(1.0)
    nu = mat[M_NU]
    ce = one / mat[M_E]
    g = dl / sy
    theta = one / (one + mat[M_RECALL] * dl)
    w = one + theta * mat[M_KIN] * g
    r1 = ce * w * (x1 - nu * x2) + theta * ca1 + dl * n1 - e11
    r2 = ce * w * (x2 - nu * x1) + theta * ca2 + dl * n2 - e22
    r3 = type(dl)(2.0) * (one + nu) * ce * w * x3 + theta * ca3 + dl * n3 - g12
    return g, theta, r1, r2, r3


@njit(**KERNEL)
def equivalent(s1, s2, s3, mat):  # noqa: ANN201
    """``(seq, n11, n22, n12)``: equivalent stress and its gradient. The stress is divided by its largest component, so that no power overflows."""
    r = type(s1)
    zero, one = r(0.0), r(1.0)
    size = max(abs(s1), abs(s2), abs(s3))
    if size <= zero:
        return zero, zero, zero, zero
    ps, bs, d, q, c, root, d2, u2, w2, c2 = _powers(s1 / size, s2 / size, s3 / size, mat)
    phi, phi_d, f_c, f_q = potential(d, q, c, root, d2, u2, w2, c2, mat)
    unit = phi ** (one / mat[M_YLD + 8])
    n1, n2, n3 = normal(unit, phi, phi_d, f_c, f_q, ps, bs, s3 / size, mat)
    return size * unit, n1, n2, n3


@njit(**INLINE)
def _powers(s1, s2, s3, mat):
    r = type(s1)
    a = mat[M_YLD + 8] - r(2.0)
    ah = int(mat[M_YLD + 9])
    lower = ah - 1 if ah > 0 else -1
    ps, bs, d, q, c, root = scaled(s1, s2, s3, mat)
    c2 = power(abs(c), a, lower) if root <= r(0.03) * abs(c) else r(0.0)
    return ps, bs, d, q, c, root, power(math.sqrt(d), a, lower), power(abs(c + root), a, lower), power(abs(c - root), a, lower), c2


@njit(**KERNEL)
def curvature(s1, s2, s3, seq, n1, n2, n3, mat):  # noqa: ANN201
    """Second derivatives ``(h11, h22, h33, h12, h13, h23)`` of the equivalent stress ``seq`` with gradient ``n``."""
    size = max(abs(s1), abs(s2), abs(s3))
    ps, bs, d, q, c, root, d2, u2, w2, c2 = _powers(s1 / size, s2 / size, s3 / size, mat)
    phi, phi_d, _, f_q = potential(d, q, c, root, d2, u2, w2, c2, mat)
    h11, h22, h33, h12, h13, h23 = hessian(seq / size, phi, phi_d, f_q, ps, bs, s3 / size, d, q, c, root, u2, w2, c2, n1, n2, n3, mat)
    return h11 / size, h22 / size, h33 / size, h12 / size, h13 / size, h23 / size


@njit(**KERNEL)
def return_barlat(e11, e22, g12, ep, a11, a22, a12, mat, table):  # noqa: ANN201
    """As :func:`~diewright.mechanics.shell.hill.return_hill`, for Yld2000-2d."""
    r = type(e11)
    one, zero = r(1.0), r(0.0)
    young = mat[M_E]
    t11, t22, t12 = elastic_stress(e11, e22, g12, mat)
    x1, x2, x3 = t11 - a11, t22 - a22, t12 - a12
    s, n1, n2, n3 = equivalent(x1, x2, x3, mat)
    if s <= mat[M_FIRST]:
        return t11, t22, t12, zero, zero, zero, zero, a11, a22, a12, FINE
    sy, slope = flow(ep, mat, table)
    if s <= sy:
        return t11, t22, t12, zero, zero, zero, zero, a11, a22, a12, FINE
    kin, tol = mat[M_KIN], mat[M_TOL]
    ca1, ca2, ca3 = elastic_strain(a11, a22, a12, mat)
    dl = zero
    # What is kept when a stage has closed.
    k1, k2, k3, kl = x1, x2, x3, dl
    reached = s - sy
    goal = zero if reached <= sy else r(0.5) * reached
    answer = NOT_RETURNED
    theta, g = one, zero
    in_stage = 0
    for _ in range(400):
        g, theta, r1, r2, r3 = residual(n1, n2, n3, x1, x2, x3, ca1, ca2, ca3, e11, e22, g12, dl, sy, mat)
        rf = s - sy - goal
        off = young * max(abs(r1), abs(r2), abs(r3))
        ok = abs(rf) <= tol * sy and off <= r(10.0) * tol * sy
        good = off + abs(rf) < r(1e30)
        if ok and dl >= zero:
            if goal <= zero:
                answer = FINE
                break
            k1, k2, k3, kl = x1, x2, x3, dl
            reached = goal
            goal = zero if goal <= sy else r(0.25) * goal
            in_stage = 0
            continue
        in_stage += 1
        if in_stage > 12 or not good or dl < zero:
            # Newton does not close from here: go back to the last stage and aim nearer.
            x1, x2, x3, dl = k1, k2, k3, kl
            goal = r(0.5) * (goal + reached)
            in_stage = 0
            if reached - goal <= r(1e-4) * reached:
                break
        else:
            h11, h22, h33, h12, h13, h23 = curvature(x1, x2, x3, s, n1, n2, n3, mat)
            dx1, dx2, dx3, change = solved(
                h11, h22, h33, h12, h13, h23, n1, n2, n3, x1, x2, x3, ca1, ca2, ca3, r1, r2, r3, rf, dl, g, theta, sy, slope, mat
            )  # fmt: skip
            x1, x2, x3, dl = x1 + dx1, x2 + dx2, x3 + dx3, dl + change
        sy, slope = flow(ep + max(dl, zero), mat, table)
        s, n1, n2, n3 = equivalent(x1, x2, x3, mat)
    a11, a22, a12 = theta * (a11 + kin * g * x1), theta * (a22 + kin * g * x2), theta * (a12 + kin * g * x3)
    return x1 + a11, x2 + a22, x3 + a12, dl * n1, dl * n2, dl * n3, dl, a11, a22, a12, answer

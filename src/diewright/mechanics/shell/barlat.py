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
from diewright.mechanics.shell.layout import FINE, INLINE, KERNEL, M_E, M_FIRST, M_KIN, M_NU, M_RECALL, M_TOL, M_YLD, NOT_RETURNED


@njit(**INLINE)
def power(base, exponent, half):  # noqa: ANN201
    """``base^exponent`` for ``base >= 0``; by products where ``half = exponent/2`` is a whole number >= 0 (else -1)."""
    if half < 0:
        return base**exponent
    square = base * base
    out = type(base)(1.0)
    for _ in range(half):
        out *= square
    return out


@njit(**KERNEL)
def equivalent(s1, s2, s3, mat):  # noqa: ANN201
    """``(seq, n11, n22, n12, phi_D, f_q, D, q, C, size)``: equivalent stress, its gradient, and what the second derivatives use.

    Everything after the gradient is of the stress divided by ``size``, so that no power overflows in single precision.
    """
    r = type(s1)
    zero, one, half = r(0.0), r(1.0), r(0.5)
    size = max(abs(s1), abs(s2), abs(s3))
    if size <= zero:
        return zero, zero, zero, zero, zero, zero, zero, zero, zero, zero
    s1, s2, s3 = s1 / size, s2 / size, s3 / size
    a = mat[M_YLD + 8]
    ah = int(mat[M_YLD + 9])
    p1, p2, c1, c2, b1, b2 = mat[M_YLD], mat[M_YLD + 1], mat[M_YLD + 2], mat[M_YLD + 3], mat[M_YLD + 4], mat[M_YLD + 5]
    dd, qq = mat[M_YLD + 6], mat[M_YLD + 7]
    ps = p1 * s1 + p2 * s2
    bs = b1 * s1 + b2 * s2
    d = ps * ps + dd * s3 * s3
    q = bs * bs + qq * s3 * s3
    c = c1 * s1 + c2 * s2
    root = math.sqrt(q)
    up, down = c + root, c - root
    lower = ah - 1 if ah > 0 else -1
    d2 = power(math.sqrt(d), a - r(2.0), lower)
    u2 = power(abs(up), a - r(2.0), lower)
    w2 = power(abs(down), a - r(2.0), lower)
    phi = half * (d2 * d + u2 * up * up + w2 * down * down)
    phi_d = half * a * d2
    f_c = a * (w2 * down + u2 * up)
    if root > r(1e-3) * abs(c):
        f_q = half * a * (u2 * up - w2 * down) / root
    else:
        # even series of the difference quotient; c is not zero here
        f_q = a * (a - one) * power(abs(c), a - r(2.0), lower) * (one + (a - r(2.0)) * (a - r(3.0)) / r(6.0) * q / (c * c))
    unit = phi ** (one / a)
    k = unit / (r(2.0) * a * phi)
    n1 = k * (r(2.0) * phi_d * ps * p1 + f_c * c1 + r(2.0) * f_q * bs * b1)
    n2 = k * (r(2.0) * phi_d * ps * p2 + f_c * c2 + r(2.0) * f_q * bs * b2)
    n3 = k * r(2.0) * (phi_d * dd + f_q * qq) * s3
    return size * unit, n1, n2, n3, phi_d, f_q, d, q, c, size


@njit(**KERNEL)
def curvature(s1, s2, s3, seq, n1, n2, n3, phi_d, f_q, d, q, c, size, mat):  # noqa: ANN201
    """Second derivatives ``(h11, h22, h33, h12, h13, h23)`` of the equivalent stress."""
    r = type(s1)
    one, two, half = r(1.0), r(2.0), r(0.5)
    s1, s2, s3 = s1 / size, s2 / size, s3 / size
    a = mat[M_YLD + 8]
    ah = int(mat[M_YLD + 9])
    p1, p2, c1, c2, b1, b2 = mat[M_YLD], mat[M_YLD + 1], mat[M_YLD + 2], mat[M_YLD + 3], mat[M_YLD + 4], mat[M_YLD + 5]
    dd, qq = mat[M_YLD + 6], mat[M_YLD + 7]
    ps = p1 * s1 + p2 * s2
    bs = b1 * s1 + b2 * s2
    # dD/ds and dq/ds
    e1, e2, e3 = two * ps * p1, two * ps * p2, two * dd * s3
    g1, g2, g3 = two * bs * b1, two * bs * b2, two * qq * s3
    root = math.sqrt(q)
    lower = ah - 1 if ah > 0 else -1
    tiny = r(1e-30)
    phi_dd = phi_d * (half * a - one) / max(d, tiny)
    if root > r(0.03) * abs(c):
        u2 = power(abs(c + root), a - two, lower)
        w2 = power(abs(c - root), a - two, lower)
        f_cc = a * (a - one) * (u2 + w2)
        f_cq = half * a * (a - one) * (u2 - w2) / root
        f_qq = (r(0.25) * a * (a - one) * (u2 + w2) - half * f_q) / q
    else:
        c2p = power(abs(c), a - two, lower)
        f_cc = two * a * (a - one) * c2p
        f_cq = a * (a - one) * (a - two) * c2p / c
        f_qq = a * (a - one) * (a - two) * (a - r(3.0)) / r(6.0) * c2p / (c * c)
    unit = seq / size
    k = unit / (a * _power_sum(d, c, root, a, lower))
    z = (a - one) / unit
    h11 = (
        k * (phi_dd * e1 * e1 + two * phi_d * p1 * p1 + f_cc * c1 * c1 + two * f_cq * c1 * g1 + f_qq * g1 * g1 + two * f_q * b1 * b1)
        - z * n1 * n1
    )
    h22 = (
        k * (phi_dd * e2 * e2 + two * phi_d * p2 * p2 + f_cc * c2 * c2 + two * f_cq * c2 * g2 + f_qq * g2 * g2 + two * f_q * b2 * b2)
        - z * n2 * n2
    )
    h12 = (
        k * (phi_dd * e1 * e2 + two * phi_d * p1 * p2 + f_cc * c1 * c2 + f_cq * (c1 * g2 + c2 * g1) + f_qq * g1 * g2 + two * f_q * b1 * b2)
        - z * n1 * n2
    )
    h33 = k * (phi_dd * e3 * e3 + two * phi_d * dd + f_qq * g3 * g3 + two * f_q * qq) - z * n3 * n3
    h13 = k * (phi_dd * e1 * e3 + f_cq * c1 * g3 + f_qq * g1 * g3) - z * n1 * n3
    h23 = k * (phi_dd * e2 * e3 + f_cq * c2 * g3 + f_qq * g2 * g3) - z * n2 * n3
    return h11 / size, h22 / size, h33 / size, h12 / size, h13 / size, h23 / size


@njit(**INLINE)
def _power_sum(d, c, root, a, lower):
    """``2 seq^a`` of the scaled stress."""
    two = type(d)(2.0)
    up, down = c + root, c - root
    return (
        power(math.sqrt(d), a - two, lower) * d + power(abs(up), a - two, lower) * up * up + power(abs(down), a - two, lower) * down * down
    )


@njit(**KERNEL)
def return_barlat(e11, e22, g12, ep, a11, a22, a12, mat, table):  # noqa: ANN201
    """As :func:`~diewright.mechanics.shell.hill.return_hill`, for Yld2000-2d."""
    r = type(e11)
    one, zero = r(1.0), r(0.0)
    young, nu = mat[M_E], mat[M_NU]
    k = young / (one - nu * nu)
    shear = r(0.5) * young / (one + nu)
    t11 = k * (e11 + nu * e22)
    t22 = k * (e22 + nu * e11)
    t12 = shear * g12
    x1, x2, x3 = t11 - a11, t22 - a22, t12 - a12
    s, n1, n2, n3, pd, fq, d, q, c, size = equivalent(x1, x2, x3, mat)
    if s <= mat[M_FIRST]:
        return t11, t22, t12, zero, zero, zero, zero, a11, a22, a12, FINE
    sy, slope = flow(ep, mat, table)
    if s <= sy:
        return t11, t22, t12, zero, zero, zero, zero, a11, a22, a12, FINE
    kin, recall, tol = mat[M_KIN], mat[M_RECALL], mat[M_TOL]
    ce = one / young
    cs = one / shear
    ca1, ca2, ca3 = ce * (a11 - nu * a22), ce * (a22 - nu * a11), cs * a12
    dl = zero
    # What is kept when a stage has closed.
    k1, k2, k3, kl = x1, x2, x3, dl
    reached = s - sy
    goal = zero if reached <= sy else r(0.5) * reached
    answer = NOT_RETURNED
    theta, g = one, zero
    in_stage = 0
    for _ in range(400):
        g = dl / sy
        theta = one / (one + recall * dl)
        w = one + theta * kin * g
        # strain residual and yield residual
        r1 = ce * w * (x1 - nu * x2) + theta * ca1 + dl * n1 - e11
        r2 = ce * w * (x2 - nu * x1) + theta * ca2 + dl * n2 - e22
        r3 = cs * w * x3 + theta * ca3 + dl * n3 - g12
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
            h11, h22, h33, h12, h13, h23 = curvature(x1, x2, x3, s, n1, n2, n3, pd, fq, d, q, c, size, mat)
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
            x1 -= (i11 * r1 + i12 * r2 + i13 * r3) * idet
            x2 -= (i12 * r1 + i22 * r2 + i23 * r3) * idet
            x3 -= (i13 * r1 + i23 * r2 + i33 * r3) * idet
            dl += change
        sy, slope = flow(ep + max(dl, zero), mat, table)
        s, n1, n2, n3, pd, fq, d, q, c, size = equivalent(x1, x2, x3, mat)
    a11, a22, a12 = theta * (a11 + kin * g * x1), theta * (a22 + kin * g * x2), theta * (a12 + kin * g * x3)
    return x1 + a11, x2 + a22, x3 + a12, dl * n1, dl * n2, dl * n3, dl, a11, a22, a12, answer

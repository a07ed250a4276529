"""The forces of many elements at once: the same element as :mod:`~diewright.mechanics.shell.element`, worked in lanes.

Up to 64 elements are taken through three passes over local arrays: geometry, material (station by station), forces. Every loop over lanes is straight-line,
so that the compiler makes vector code of it. Lanes beyond first yield are packed together and returned to the surface side by side: each
stops where the scalar return stops, the others wait. The formulas are those of the scalar functions.
"""

from __future__ import annotations

import math

from numba import config, njit

from diewright.mechanics.shell.barlat import potential, return_barlat
from diewright.mechanics.shell.element import bending, element_force, gradients_of_edges, metric_and_curvature, nodal_forces, raised
from diewright.mechanics.shell.hill import elastic_stress, squared
from diewright.mechanics.shell.lanes import columns, ex, ln, one_by_one, row, rows3, whole
from diewright.mechanics.shell.layout import (
    C_COUNT,
    C_SQUEEZE,
    C_THICKNESS,
    C_TURN,
    FINE,
    INLINE,
    LEAST_AREA,
    M_E,
    M_FIRST,
    M_NU,
    M_YIELD,
    M_YLD,
    MOST_AREA,
    NOT_A_NUMBER,
    S_COUNT,
    S_COUNT_KINEMATIC,
    TURNED,
    YLD2000,
)
from diewright.mechanics.shell.returns import ALONE, barlat_lanes, lane_powers, return_lanes
from diewright.mechanics.shell.strain import NEAR, invariants, metric_stress, series


@njit(**INLINE)
def triple(p, lane, a):  # noqa: ANN201
    """Edge ``a`` of a lane."""
    return p[lane, 3 * a], p[lane, 3 * a + 1], p[lane, 3 * a + 2]


@njit(**INLINE)
def lane_gradients(p, c, lane):  # noqa: ANN201
    """Gradients of a lane, see :func:`~diewright.mechanics.shell.element.gradients_of_edges`."""
    return gradients_of_edges(triple(p, lane, 0), triple(p, lane, 1), triple(p, lane, 2), triple(p, lane, 3), triple(p, lane, 4), c, lane)


@njit(**INLINE)
def block_forces(start, count, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force):  # noqa: ANN201
    """Forces of ``count`` elements (at most ``LANES``) from element ``start`` on; arguments and what is written as
    :func:`~diewright.mechanics.shell.element.element_force`. Returns ``(worst answer, its element)``.
    """
    r = type(coef[0, 0])
    zero, one, half, two, quarter = r(0.0), r(1.0), r(0.5), r(2.0), r(0.25)
    n = whole(count, zero)
    p, c, f = columns(zero), columns(zero), columns(zero)
    q0, q1, q2 = rows3(zero)
    h, thin, fault = rows3(zero)
    # In: lanes left over repeat the last element.
    for i in range(n):
        one_by_one()
        e = start + min(i, count - 1)
        first_node = conn[e, 0]
        for a in range(5):
            for d in range(3):
                p[i, 3 * a + d] = r(x[conn[e, a + 1], d] - x[first_node, d])
        for k in range(C_COUNT):
            c[i, k] = coef[e, k]
        q0[i] = coef[e, C_TURN] * slope[conn[e, 6]]
        q1[i] = coef[e, C_TURN + 1] * slope[conn[e, 7]]
        q2[i] = coef[e, C_TURN + 2] * slope[conn[e, 8]]
        h[i] = coef[e, C_THICKNESS] * stretch[e]

    # Geometry.
    c11, c22, c12 = rows3(zero)
    k11, k22, k12 = rows3(zero)
    w11, w22, w12 = rows3(zero)
    g11, g12, g21 = rows3(zero)
    g22 = row(zero)
    n11, n22, n12 = rows3(zero)
    m11, m22, m12 = rows3(zero)
    o11, o22, o12 = rows3(zero)
    for i in range(n):
        f0, g0, f1, g1, f2, g2, _, _, normal, size = lane_gradients(p, c, i)
        v11, v22, v12 = bending(f0, g0, f1, g1, f2, g2, c, i)
        a, b, ab, ka, kb, kab = metric_and_curvature(f0, g0, f1, g1, f2, g2, normal, v11, v22, v12, q0[i], q1[i], q2[i], c, i)
        g11[i], g12[i], g21[i], g22[i], w11[i], w22[i], w12[i] = raised(a, b, ab, ka, kb, kab)
        c11[i], c22[i], c12[i], k11[i], k22[i], k12[i] = a, b, ab, ka, kb, kab
        fault[i] = r(FINE) if (size > r(LEAST_AREA)) & (size < r(MOST_AREA)) else r(TURNED)
        n11[i], n22[i], n12[i], m11[i], m22[i], m12[i] = zero, zero, zero, zero, zero, zero
        o11[i], o22[i], o12[i], thin[i] = zero, zero, zero, zero

    # Material.
    mean, dev, d2 = rows3(zero)
    det, beta, gamma = rows3(zero)
    e11, e22, e12 = rows3(zero)
    t11, t22, t12 = rows3(zero)
    p11, p22, p12 = rows3(zero)
    a11, a22, a12 = rows3(zero)
    over, sh = row(zero), row(zero)
    # packed lanes
    b11, b22, b12 = rows3(zero)
    u11, u22, u12 = rows3(zero)
    x11, x22, x12 = rows3(zero)
    y11, y22, y12 = rows3(zero)
    ep, dl, answer = rows3(zero)
    who = row(0)
    surface = int(mat[M_YIELD])
    even = mat[M_YLD + 9] > zero
    first = mat[M_FIRST]
    poisson = mat[M_NU] / mat[M_E]
    evenly = (one - two * mat[M_NU]) / mat[M_E]  # strain along the sheet of a pressure from all sides
    step = S_COUNT_KINEMATIC if kinematic else S_COUNT
    for s in range(stations.shape[0]):
        place, weight, at = stations[s, 0], stations[s, 1], step * s
        far = 0
        for i in range(n):
            z = h[i] * place
            z2 = z * z
            m, dv, dd, dt = invariants(
                c11[i] + two * z * k11[i] + z2 * w11[i], c22[i] + two * z * k22[i] + z2 * w22[i], c12[i] + two * z * k12[i] + z2 * w12[i]
            )
            im = one / m
            y = dd * im * im
            beta[i], gamma[i] = series(im, y)
            far += 0 if y < r(NEAR) else 1
            mean[i], dev[i], d2[i], det[i] = m, dv, dd, dt
            sh[i] = c12[i] + two * z * k12[i] + z2 * w12[i]
            good = (dt > zero) & (m > zero)
            wrong = r(TURNED) if (dt <= zero) | (m <= zero) else r(NOT_A_NUMBER)
            fault[i] = fault[i] if good else max(fault[i], wrong)
        if far > 0:
            for i in range(n):
                distance = math.sqrt(d2[i])
                wide = half * ln((mean[i] + distance) / (mean[i] - distance)) / distance
                im = one / mean[i]
                near = d2[i] * im * im < r(NEAR)
                beta[i] = beta[i] if near else wide
                gamma[i] = gamma[i] if near else (mean[i] / det[i] - wide) / d2[i]
        for i in range(n):
            one_by_one()
            e = start + min(i, count - 1)
            p11[i], p22[i], p12[i] = state[e, at], state[e, at + 1], state[e, at + 2]
        if kinematic:
            for i in range(n):
                one_by_one()
                e = start + min(i, count - 1)
                a11[i], a22[i], a12[i] = state[e, at + 4], state[e, at + 5], state[e, at + 6]
        else:
            for i in range(n):
                a11[i], a22[i], a12[i] = zero, zero, zero
        for i in range(n):
            em = quarter * ln(det[i])
            e1 = half * beta[i] * dev[i]
            em += evenly * c[i, C_SQUEEZE]
            e11[i], e22[i], e12[i] = em + e1 - p11[i], em - e1 - p22[i], beta[i] * sh[i] - p12[i]
            t11[i], t22[i], t12[i] = elastic_stress(e11[i], e22[i], e12[i], mat)
        beyond = 0
        if surface != YLD2000:
            for i in range(n):
                over[i] = zero if squared(t11[i] - a11[i], t22[i] - a22[i], t12[i] - a12[i], mat) <= first * first else one
                beyond += 0 if over[i] == zero else 1
        elif even:
            share = one / first
            for i in range(n):
                _, _, big_d, big_q, big_c, root, pd, pu, pw, pc = lane_powers(
                    share * (t11[i] - a11[i]), share * (t22[i] - a22[i]), share * (t12[i] - a12[i]), mat
                )
                # near first yield the return itself decides
                over[i] = zero if potential(big_d, big_q, big_c, root, pd, pu, pw, pc, mat)[0] <= r(0.999) else one
                beyond += 0 if over[i] == zero else 1
        else:
            beyond = n
            for i in range(n):
                over[i] = one
        if beyond > 0:
            many = 0
            for i in range(count):
                who[many] = i
                many += 0 if over[i] == zero else 1
            for j in range(whole(many, zero)):
                i = who[min(j, many - 1)]
                b11[j], b22[j], b12[j] = e11[i], e22[i], e12[i]
                ep[j] = state[start + i, at + 3]
                x11[j], x22[j], x12[j] = a11[i], a22[i], a12[i]
                answer[j] = r(ALONE)
            if surface != YLD2000:
                return_lanes(many, b11, b22, b12, ep, x11, x22, x12, u11, u22, u12, y11, y22, y12, dl, answer, mat, table)
            elif even:
                barlat_lanes(many, b11, b22, b12, ep, x11, x22, x12, u11, u22, u12, y11, y22, y12, dl, answer, mat, table)
            for j in range(many):
                i = who[j]
                e = start + i
                if answer[j] < zero:
                    u11[j], u22[j], u12[j], y11[j], y22[j], y12[j], dl[j], x11[j], x22[j], x12[j], found = return_barlat(
                        e11[i], e22[i], e12[i], ep[j], a11[i], a22[i], a12[i], mat, table
                    )
                    answer[j] = r(found)
                fault[i] = max(fault[i], answer[j])
                if dl[j] > zero:
                    t11[i], t22[i], t12[i] = u11[j], u22[j], u12[j]
                    p11[i] += y11[j]
                    p22[i] += y22[j]
                    state[e, at], state[e, at + 1], state[e, at + 2] = p11[i], p22[i], p12[i] + y12[j]
                    state[e, at + 3] = ep[j] + dl[j]
                    if kinematic:
                        state[e, at + 4], state[e, at + 5], state[e, at + 6] = x11[j], x22[j], x12[j]
        for i in range(n):
            squeeze = c[i, C_SQUEEZE]
            sa, sb, sab = metric_stress(t11[i] - squeeze, t22[i] - squeeze, t12[i], sh[i], mean[i], dev[i], det[i], beta[i], gamma[i])
            fault[i] = fault[i] if (abs(sa) + abs(sb) + abs(sab) < r(1e30)) | (fault[i] > zero) else r(NOT_A_NUMBER)
            z = h[i] * place
            wz, wz2 = weight * z, weight * z * z
            n11[i] += weight * sa
            n22[i] += weight * sb
            n12[i] += weight * sab
            m11[i] += wz * sa
            m22[i] += wz * sb
            m12[i] += wz * sab
            o11[i] += wz2 * sa
            o22[i] += wz2 * sb
            o12[i] += wz2 * sab
            thin[i] += weight * (-poisson * (t11[i] + t22[i]) - evenly * squeeze - p11[i] - p22[i])

    # Forces.
    for i in range(n):
        thin[i] = ex(thin[i])
        f0, g0, f1, g1, f2, g2, u, v, normal, size = lane_gradients(p, c, i)
        v11, v22, v12 = bending(f0, g0, f1, g1, f2, g2, c, i)
        nodal_forces(
            f0, g0, f1, g1, f2, g2, u, v, normal, size, v11, v22, v12, g11[i], g12[i], g21[i], g22[i],
            n11[i], n22[i], n12[i], m11[i], m22[i], m12[i], o11[i], o22[i], o12[i], c, i, f,
        )  # fmt: skip
    worst, where = FINE, start
    for i in range(count):
        stretch[start + i] = thin[i]
        for k in range(21):
            force[start + i, k] = f[i, k]
        if fault[i] > r(worst):
            worst, where = int(fault[i]), start + i
    return worst, where


def _interpreted(start, count, *arrays):
    """The same without a compiler (GPU simulator): local arrays need one."""
    answers = [element_force(e, *arrays) for e in range(start, start + count)]
    worst = max(answers)
    return worst, start + answers.index(worst)


if config.DISABLE_JIT:  # type: ignore[attr-defined]
    block_forces = _interpreted

"""The shell triangle: nodal forces from the positions of its patch of six nodes.

A rotation-free triangle (Flores and Onate, Comput. Methods Appl. Mech. Eng. 194 (2005) 907): corners 0, 1, 2 and, across the
side opposite corner i, the far node 3 + i of the neighbour. At the middle of each side the gradient of the quadratic patch is a
combination of the two diagonals of the quadrilateral that the two triangles make,

    x,A = a_A d1 + b_A d2,    d1 = x[3+i] - x[i],   d2 = x[i+1] - x[i+2],

the same from both triangles. Membrane: metric ``C0 = mean of x,A . x,B`` over the three sides. Bending: the mean of the second
derivatives by the divergence theorem, ``k_AB = n . sum (L_A x,B + L_B x,A) - k_AB at rest``, with the normal ``n`` of the triangle and
``L_A`` the derivatives of its area coordinates. A surface at distance z has the metric ``C = C0 + 2 z k + z^2 k C0^-1 k``, exact for
a sheet bent without shear. At an open side the far node is a corner and d1, d2 lie in the triangle: its own gradient, no branch.

The slope across a side that the diagonals give belongs to the middle of a diagonal, not of the side; where the two triangles are
not alike the curvature is then wrong by a share that does not fall with the mesh. Each side therefore carries one more unknown,
the slope ``q`` that has to be added (positive out of its first triangle): ``x,B -> x,B + q nu_B n``. In the small this makes
the bending part Morley's triangle (1968), which converges on any mesh; with ``q = 0`` the original is left.
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.layout import (
    C_AREA,
    C_K11,
    C_K12,
    C_K22,
    C_LINEAR,
    C_SIDE,
    C_SQUEEZE,
    C_THICKNESS,
    C_TURN,
    FINE,
    INLINE,
    KERNEL,
    LEAST_AREA,
    MOST_AREA,
    S_COUNT,
    S_COUNT_KINEMATIC,
    TURNED,
)
from diewright.mechanics.shell.station import station


@njit(**INLINE)
def edge(x, i, j, r):  # noqa: ANN201
    """``x[j] - x[i]``, subtracted in double precision and then cast."""
    return r(x[j, 0] - x[i, 0]), r(x[j, 1] - x[i, 1]), r(x[j, 2] - x[i, 2])


@njit(**INLINE)
def dot(a, b):  # noqa: ANN201
    """Scalar product of two triples."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit(**INLINE)
def cross(a, b):  # noqa: ANN201
    """Vector product of two triples."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@njit(**INLINE)
def less(a, b):  # noqa: ANN201
    """``a - b``."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@njit(**INLINE)
def mix(p, a, q, b):  # noqa: ANN201
    """``p a + q b``."""
    return p * a[0] + q * b[0], p * a[1] + q * b[1], p * a[2] + q * b[2]


@njit(**INLINE)
def edges(x, conn, e, r):  # noqa: ANN201
    """From corner 0 to the other five nodes of the patch."""
    i0 = conn[e, 0]
    return (
        edge(x, i0, conn[e, 1], r),
        edge(x, i0, conn[e, 2], r),
        edge(x, i0, conn[e, 3], r),
        edge(x, i0, conn[e, 4], r),
        edge(x, i0, conn[e, 5], r),
    )


@njit(**INLINE)
def gradients_of_edges(p1, p2, p3, p4, p5, coef, e):  # noqa: ANN201
    """Side gradients ``(f0, g0, f1, g1, f2, g2)`` (x,1 and x,2 at the sides) and the triangle's ``(u, v, n, J)``."""
    d0, h0 = p3, less(p1, p2)
    d1, h1 = less(p4, p1), p2
    d2, h2 = less(p5, p2), (-p1[0], -p1[1], -p1[2])
    f0, g0 = mix(coef[e, 0], d0, coef[e, 1], h0), mix(coef[e, 2], d0, coef[e, 3], h0)
    f1, g1 = mix(coef[e, 4], d1, coef[e, 5], h1), mix(coef[e, 6], d1, coef[e, 7], h1)
    f2, g2 = mix(coef[e, 8], d2, coef[e, 9], h2), mix(coef[e, 10], d2, coef[e, 11], h2)
    u = mix(coef[e, C_LINEAR], p1, coef[e, C_LINEAR + 1], p2)
    v = mix(coef[e, C_LINEAR + 2], p1, coef[e, C_LINEAR + 3], p2)
    n = cross(u, v)
    size = math.sqrt(dot(n, n))
    n = (n[0] / size, n[1] / size, n[2] / size)
    return f0, g0, f1, g1, f2, g2, u, v, n, size


@njit(**INLINE)
def gradients(x, conn, coef, e):  # noqa: ANN201
    """:func:`gradients_of_edges` of element ``e`` at the positions ``x``."""
    p1, p2, p3, p4, p5 = edges(x, conn, e, type(coef[e, 0]))
    return gradients_of_edges(p1, p2, p3, p4, p5, coef, e)


@njit(**INLINE)
def bending(f0, g0, f1, g1, f2, g2, coef, e):  # noqa: ANN201
    """The vectors ``(V11, V22, V12)`` whose component along the normal is the curvature, with the area-coordinate derivatives.

    Only differences of side gradients enter, so nothing of a rigid motion is left after rounding.
    """
    r = type(coef[e, 0])
    two = r(2.0)
    a1, a2, b1, b2 = coef[e, C_LINEAR], coef[e, C_LINEAR + 1], coef[e, C_LINEAR + 2], coef[e, C_LINEAR + 3]
    f10, f20, g10, g20 = less(f1, f0), less(f2, f0), less(g1, g0), less(g2, g0)
    v11 = mix(two * a1, f10, two * a2, f20)
    v22 = mix(two * b1, g10, two * b2, g20)
    m = mix(a1, g10, a2, g20)
    w = mix(b1, f10, b2, f20)
    return v11, v22, (m[0] + w[0], m[1] + w[1], m[2] + w[2])


@njit(**INLINE)
def metric_and_curvature(f0, g0, f1, g1, f2, g2, n, v11, v22, v12, q0, q1, q2, coef, e):  # noqa: ANN201
    """``(C11, C22, C12, k11, k22, k12)``; ``q`` are the sides' slopes, turned out of this triangle."""
    third = type(q0)(1.0 / 3.0)
    c11 = third * (dot(f0, f0) + dot(f1, f1) + dot(f2, f2))
    c22 = third * (dot(g0, g0) + dot(g1, g1) + dot(g2, g2))
    c12 = third * (dot(f0, g0) + dot(f1, g1) + dot(f2, g2))
    k11, k22, k12 = dot(v11, n) - coef[e, C_K11], dot(v22, n) - coef[e, C_K22], dot(v12, n) - coef[e, C_K12]
    a1, a2, b1, b2 = coef[e, C_LINEAR], coef[e, C_LINEAR + 1], coef[e, C_LINEAR + 2], coef[e, C_LINEAR + 3]
    a0, b0 = -a1 - a2, -b1 - b2
    k11 += q0 * a0 * a0 + q1 * a1 * a1 + q2 * a2 * a2
    k22 += q0 * b0 * b0 + q1 * b1 * b1 + q2 * b2 * b2
    k12 += q0 * a0 * b0 + q1 * a1 * b1 + q2 * a2 * b2
    return c11, c22, c12, k11, k22, k12


@njit(**INLINE)
def raised(c11, c22, c12, k11, k22, k12):  # noqa: ANN201
    """``G = C0^-1 k`` as ``(g11, g12, g21, g22)``, and ``k G`` as ``(q11, q22, q12)``."""
    idet = type(c11)(1.0) / (c11 * c22 - c12 * c12)
    g11, g12 = (c22 * k11 - c12 * k12) * idet, (c22 * k12 - c12 * k22) * idet
    g21, g22 = (c11 * k12 - c12 * k11) * idet, (c11 * k22 - c12 * k12) * idet
    return g11, g12, g21, g22, k11 * g11 + k12 * g21, k12 * g12 + k22 * g22, k11 * g12 + k12 * g22


@njit(**INLINE)
def nodal_forces(
    f0, g0, f1, g1, f2, g2, u, v, n, size, v11, v22, v12, g11, g12, g21, g22, n11, n22, n12, m11, m22, m12, o11, o22, o12, coef, e, force
) -> None:
    """Forces and moments of an element into ``force[e]`` from the sums ``S0, S1, S2`` of its stress over the thickness (``n``, ``m``, ``o``)."""
    r = type(n11)
    half, two, third = r(0.5), r(2.0), r(1.0 / 3.0)
    a1, a2, b1, b2 = coef[e, C_LINEAR], coef[e, C_LINEAR + 1], coef[e, C_LINEAR + 2], coef[e, C_LINEAR + 3]
    a0, b0 = -a1 - a2, -b1 - b2
    # N = S0 - G S2 G^T,  M = S1 + sym(G S2)
    r11, r12, r21, r22 = g11 * o11 + g12 * o12, g11 * o12 + g12 * o22, g21 * o11 + g22 * o12, g21 * o12 + g22 * o22
    n11 -= r11 * g11 + r12 * g12
    n22 -= r21 * g21 + r22 * g22
    n12 -= r11 * g21 + r12 * g22
    m11 += r11
    m22 += r22
    m12 += half * (r12 + r21)

    volume = coef[e, C_AREA] * coef[e, C_THICKNESS]
    tn11, tn22, tn12 = third * volume * n11, third * volume * n22, third * volume * n12
    bm11, bm22, bm12 = two * volume * m11, two * volume * m22, two * volume * m12
    # Turning of the normal: the tangential part of V feels the rotation of the triangle.
    ucon, vcon = cross(v, n), cross(n, u)
    big = mix(m11, v11, m22, v22)
    big = mix(r(1.0), big, two * m12, v12)
    ru = volume * dot(big, ucon) / size
    rv = volume * dot(big, vcon) / size

    s0, t0 = _side(f0, g0, n, a0, b0, tn11, tn22, tn12, bm11, bm22, bm12)
    s1, t1 = _side(f1, g1, n, a1, b1, tn11, tn22, tn12, bm11, bm22, bm12)
    s2, t2 = _side(f2, g2, n, a2, b2, tn11, tn22, tn12, bm11, bm22, bm12)
    force[e, 18] = half * coef[e, C_TURN] * (bm11 * a0 * a0 + bm22 * b0 * b0 + two * bm12 * a0 * b0)
    force[e, 19] = half * coef[e, C_TURN + 1] * (bm11 * a1 * a1 + bm22 * b1 * b1 + two * bm12 * a1 * b1)
    force[e, 20] = half * coef[e, C_TURN + 2] * (bm11 * a2 * a2 + bm22 * b2 * b2 + two * bm12 * a2 * b2)
    p0, y0 = mix(coef[e, C_SIDE], s0, coef[e, C_SIDE + 2], t0), mix(coef[e, C_SIDE + 1], s0, coef[e, C_SIDE + 3], t0)
    p1, y1 = mix(coef[e, C_SIDE + 4], s1, coef[e, C_SIDE + 6], t1), mix(coef[e, C_SIDE + 5], s1, coef[e, C_SIDE + 7], t1)
    p2, y2 = mix(coef[e, C_SIDE + 8], s2, coef[e, C_SIDE + 10], t2), mix(coef[e, C_SIDE + 9], s2, coef[e, C_SIDE + 11], t2)
    w0, w1, w2 = ru * a0 + rv * b0, ru * a1 + rv * b1, ru * a2 + rv * b2
    for d in range(3):
        force[e, d] = -p0[d] - y1[d] + y2[d] - w0 * n[d]
        force[e, 3 + d] = y0[d] - p1[d] - y2[d] - w1 * n[d]
        force[e, 6 + d] = -y0[d] + y1[d] - p2[d] - w2 * n[d]
        force[e, 9 + d] = p0[d]
        force[e, 12 + d] = p1[d]
        force[e, 15 + d] = p2[d]


@njit(**INLINE)
def _side(f, g, n, la, lb, tn11, tn22, tn12, bm11, bm22, bm12):
    """What a side's two gradients carry: membrane force along the gradients, moment along the normal."""
    bf, bg = bm11 * la + bm12 * lb, bm12 * la + bm22 * lb
    s = mix(tn11, f, tn12, g)
    t = mix(tn12, f, tn22, g)
    return (s[0] + bf * n[0], s[1] + bf * n[1], s[2] + bf * n[2]), (t[0] + bg * n[0], t[1] + bg * n[1], t[2] + bg * n[2])


@njit(**KERNEL)
def element_force(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force):  # noqa: ANN201
    """Internal forces of element ``e`` into ``force[e, 3 s + d]`` (slot s, direction d) [N], moments into ``force[e, 18 + side]``.

    ``x (n, 3) float64 [mm]``; ``slope (sides,)``; ``conn (ne, 9)``: six nodes, three sides; ``coef (ne, C_COUNT)``; ``state (ne, ns * ny)``; ``stretch (ne,)`` thickness over its
    initial value; ``stations (ns, 2)``: place over the initial thickness (-1/2 to 1/2) and weight. Returns the answer code.
    """
    r = type(coef[e, 0])
    zero, two = r(0.0), r(2.0)
    f0, g0, f1, g1, f2, g2, u, v, n, size = gradients(x, conn, coef, e)
    v11, v22, v12 = bending(f0, g0, f1, g1, f2, g2, coef, e)
    q0, q1, q2 = coef[e, C_TURN] * slope[conn[e, 6]], coef[e, C_TURN + 1] * slope[conn[e, 7]], coef[e, C_TURN + 2] * slope[conn[e, 8]]
    c11, c22, c12, k11, k22, k12 = metric_and_curvature(f0, g0, f1, g1, f2, g2, n, v11, v22, v12, q0, q1, q2, coef, e)
    g11, g12, g21, g22, q11, q22, q12 = raised(c11, c22, c12, k11, k22, k12)
    h = coef[e, C_THICKNESS] * stretch[e]
    n11, n22, n12, m11, m22, m12, o11, o22, o12 = zero, zero, zero, zero, zero, zero, zero, zero, zero
    thin = zero
    answer = FINE if size > r(LEAST_AREA) and size < r(MOST_AREA) else TURNED
    step = S_COUNT_KINEMATIC if kinematic else S_COUNT
    for s in range(stations.shape[0]):
        z = h * stations[s, 0]
        w = stations[s, 1]
        z2 = z * z
        s11, s22, s12, e33, a = station(
            c11 + two * z * k11 + z2 * q11,
            c22 + two * z * k22 + z2 * q22,
            c12 + two * z * k12 + z2 * q12,
            coef[e, C_SQUEEZE],
            state,
            e,
            step * s,
            kinematic,
            mat,
            table,
        )
        answer = max(answer, a)
        n11 += w * s11
        n22 += w * s22
        n12 += w * s12
        m11 += w * z * s11
        m22 += w * z * s22
        m12 += w * z * s12
        o11 += w * z2 * s11
        o22 += w * z2 * s22
        o12 += w * z2 * s12
        thin += w * e33
    stretch[e] = math.exp(thin)
    nodal_forces(
        f0, g0, f1, g1, f2, g2, u, v, n, size, v11, v22, v12, g11, g12, g21, g22, n11, n22, n12, m11, m22, m12, o11, o22, o12, coef, e, force
    )  # fmt: skip
    return answer

"""The membrane triangle of the inverse problem: work, gradient and exact Hessian with respect to the flat positions.

The part is fixed, the flat varies. With the flat edges as columns of ``A (2, 2)`` and the part's metric ``g = Dx^T Dx``
(``Dx`` the part edges), the deformation flat -> part has ``C = F^T F`` and ``C^-1 = B = A g^-1 A^T``: quadratic in the
unknowns, and independent of where the part's plane lies in space. With ``m = tr B / 2``, ``p = (B11 - B22)/2``, ``q = B12``
and ``det = m^2 - p^2 - q^2`` the logarithmic strain ``ln U = -1/2 ln B`` is, without any eigenvector::

    e11 + e22 = -1/2 ln det,   (e11 - e22)/2 = -1/2 phi p,   e12 = -1/2 phi q,   phi = atanh(d/m)/d,   d^2 = p^2 + q^2

smooth also where the principal strains are equal (``phi`` by its series there). The work of a triangle is
``A0 t0 w(eps_bar)`` with its flat area ``A0 = det A / 2``. Derivatives are exact; tests hold them against differences.
A wall that stands between punch and die cannot grow thicker than the gap. Where a triangle has one, ``w`` gets a one-sided penalty on the
thickness strain ``e3 = -(e11 + e22)`` above ``ln(gap / t0)`` (:func:`gap_penalty`): a function of ``det`` alone. Its slope is the pressure
the tool faces put on the sheet; it adds ``-p`` to both stresses in the plane, as it must (a pressure all round does no work on shape).
The local order of the unknowns is ``(ax, bx, ay, by)``: edge a = node 1 - node 0, edge b = node 2 - node 0.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from diewright.mechanics.plasticity import curve_at

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


def inverse_metric(points: Floats, triangles: NDArray[np.int32]) -> tuple[Floats, Floats]:
    """``g^-1`` as ``(m, 3)`` (11, 12, 22) [1/mm2] and the areas ``(m,)`` [mm2] of the part's triangles."""
    a = points[triangles[:, 1]] - points[triangles[:, 0]]
    b = points[triangles[:, 2]] - points[triangles[:, 0]]
    aa, ab, bb = (a * a).sum(1), (a * b).sum(1), (b * b).sum(1)
    det = aa * bb - ab * ab
    return np.column_stack([bb, -ab, aa]) / det[:, None], 0.5 * np.sqrt(det)


@njit(cache=True, error_model="numpy")
def log_shape(m: float, s: float) -> tuple[float, float, float]:
    """``phi`` and its derivatives ``phi_s, phi_ss`` with respect to ``s = d^2`` at mean ``m``."""
    z = s / (m * m)
    if z < 4e-3:
        f = 1.0 + z * (1 / 3 + z * (1 / 5 + z * (1 / 7 + z * (1 / 9 + z * (1 / 11 + z * (1 / 13 + z / 15))))))
        f1 = 1 / 3 + z * (2 / 5 + z * (3 / 7 + z * (4 / 9 + z * (5 / 11 + z * (6 / 13 + z * 7 / 15)))))
        f2 = 2 / 5 + z * (6 / 7 + z * (12 / 9 + z * (20 / 11 + z * (30 / 13 + z * 42 / 15))))
        m3 = m * m * m
        return f / m, f1 / m3, f2 / (m3 * m * m)
    d = np.sqrt(s)
    det = m * m - s
    phi = np.arctanh(d / m) / d
    phi_s = (m / det - phi) / (2.0 * s)
    phi_ss = (m / (det * det) - 3.0 * phi_s) / (2.0 * s)
    return phi, phi_s, phi_ss


GAP_EASE = 0.02
"""Thickness strain over which the gap's penalty builds up its full stiffness."""


@njit(cache=True, error_model="numpy")
def gap_penalty(over: float, stiffness: float) -> tuple[float, float, float]:
    """Penalty work, its slope (the pressure) and second derivative [MPa] at the thickness strain ``over`` the gap; twice continuous."""
    if over <= 0.0:
        return 0.0, 0.0, 0.0
    d = GAP_EASE
    if over < d:
        return stiffness * over**3 / (6.0 * d), stiffness * over**2 / (2.0 * d), stiffness * over / d
    return stiffness * (0.5 * over * over - 0.5 * d * over + d * d / 6.0), stiffness * (over - 0.5 * d), stiffness


@njit(cache=True, error_model="numpy")
def density(
    ax: float,
    bx: float,
    ay: float,
    by: float,
    g11: float,
    g12: float,
    g22: float,
    form: Floats,
    table: Floats,
    log_step: float,
    modulus: float,
    gap: float,
    stiffness: float,
) -> tuple[float, float]:
    """Work per volume ``w`` [MPa] of one triangle and ``eps_bar``; infinite for a turned-over flat triangle.

    ``gap``: largest thickness strain the tools leave (infinite for none), ``stiffness`` [MPa] of its penalty.
    """
    if ax * by - bx * ay <= 0.0:
        return np.inf, 0.0
    b11 = g11 * ax * ax + 2 * g12 * ax * bx + g22 * bx * bx
    b22 = g11 * ay * ay + 2 * g12 * ay * by + g22 * by * by
    q = g11 * ax * ay + g12 * (ax * by + bx * ay) + g22 * bx * by
    m, p = 0.5 * (b11 + b22), 0.5 * (b11 - b22)
    j = (ax * by - bx * ay) ** 2 * (g11 * g22 - g12 * g12)
    phi, _, _ = log_shape(m, p * p + q * q)
    v, ep, eq = -0.5 * np.log(j), -0.5 * phi * p, -0.5 * phi * q
    s = form[0, 0] * v * v + form[1, 1] * ep * ep + form[2, 2] * eq * eq
    s += 2 * (form[0, 1] * v * ep + form[0, 2] * v * eq + form[1, 2] * ep * eq)
    eps = np.sqrt(max(s, 0.0))
    w, _, _ = curve_at(eps, table, log_step, modulus)
    return w + gap_penalty(-v - gap, stiffness)[0], eps


@njit(cache=True, error_model="numpy")
def density_derivatives(
    ax: float,
    bx: float,
    ay: float,
    by: float,
    g11: float,
    g12: float,
    g22: float,
    form: Floats,
    table: Floats,
    log_step: float,
    modulus: float,
    gap: float,
    stiffness: float,
    grad: Floats,
    hess: Floats,
) -> tuple[float, float]:
    """``w`` with its gradient ``(4,)`` and Hessian ``(4, 4)`` in the order (ax, bx, ay, by)."""
    sx0, sx1 = g11 * ax + g12 * bx, g12 * ax + g22 * bx
    sy0, sy1 = g11 * ay + g12 * by, g12 * ay + g22 * by
    b11, b22 = sx0 * ax + sx1 * bx, sy0 * ay + sy1 * by
    q = sx0 * ay + sx1 * by
    m, p = 0.5 * (b11 + b22), 0.5 * (b11 - b22)
    det = (ax * by - bx * ay) ** 2 * (g11 * g22 - g12 * g12)
    phi, phi_s, phi_ss = log_shape(m, p * p + q * q)
    id1, id2 = 1.0 / det, 1.0 / (det * det)
    y = (m, p, q)
    # strains and their derivatives with respect to (m, p, q)
    e = np.zeros(3)
    e[0], e[1], e[2] = -0.5 * np.log(det), -0.5 * phi * p, -0.5 * phi * q
    sign = (1.0, -1.0, -1.0)
    f1 = (-id1, 2 * p * phi_s, 2 * q * phi_s)
    f2 = np.zeros((3, 3))
    f2[0, 0], f2[0, 1], f2[0, 2] = 2 * m * id2, -2 * p * id2, -2 * q * id2
    f2[1, 1], f2[1, 2], f2[2, 2] = 2 * phi_s + 4 * p * p * phi_ss, 4 * p * q * phi_ss, 2 * phi_s + 4 * q * q * phi_ss
    f2[1, 0], f2[2, 0], f2[2, 1] = f2[0, 1], f2[0, 2], f2[1, 2]
    de = np.zeros((3, 3))
    for i in range(3):
        de[0, i] = -sign[i] * y[i] * id1
        de[1, i] = -0.5 * f1[i] * p
        de[2, i] = -0.5 * f1[i] * q
    de[1, 1] -= 0.5 * phi
    de[2, 2] -= 0.5 * phi
    # work and its derivatives with respect to the strains
    ke = np.zeros(3)
    for i in range(3):
        ke[i] = form[i, 0] * e[0] + form[i, 1] * e[1] + form[i, 2] * e[2]
    eps = np.sqrt(max(ke[0] * e[0] + ke[1] * e[1] + ke[2] * e[2], 0.0))
    w, sigma, tangent = curve_at(eps, table, log_step, modulus)
    secant = sigma / eps if eps > 0.0 else modulus
    extra = (tangent - secant) / (eps * eps) if eps > 0.0 else 0.0
    ge = np.zeros(3)
    he = np.zeros((3, 3))
    for i in range(3):
        ge[i] = secant * ke[i]
        for k in range(3):
            he[i, k] = secant * form[i, k] + extra * ke[i] * ke[k]
    pushed, pressure, firm = gap_penalty(-e[0] - gap, stiffness)
    w += pushed
    ge[0] -= pressure
    he[0, 0] += firm
    # chain to (m, p, q)
    gy = np.zeros(3)
    hy = np.zeros((3, 3))
    for i in range(3):
        gy[i] = ge[0] * de[0, i] + ge[1] * de[1, i] + ge[2] * de[2, i]
        for k in range(3):
            h = 2.0 * sign[i] * y[i] * sign[k] * y[k] * id2 * ge[0]
            if i == k:
                h -= sign[i] * id1 * ge[0]
            h -= 0.5 * f2[i, k] * (ge[1] * p + ge[2] * q)
            if i == 1:
                h -= 0.5 * f1[k] * ge[1]
            if k == 1:
                h -= 0.5 * f1[i] * ge[1]
            if i == 2:
                h -= 0.5 * f1[k] * ge[2]
            if k == 2:
                h -= 0.5 * f1[i] * ge[2]
            for a in range(3):
                for b in range(3):
                    h += de[a, i] * he[a, b] * de[b, k]
            hy[i, k] = h
    # chain to the edges: dm = (sx, sy), dp = (sx, -sy), dq = (sy, sx)
    dy = np.zeros((3, 4))
    dy[0, 0], dy[0, 1], dy[0, 2], dy[0, 3] = sx0, sx1, sy0, sy1
    dy[1, 0], dy[1, 1], dy[1, 2], dy[1, 3] = sx0, sx1, -sy0, -sy1
    dy[2, 0], dy[2, 1], dy[2, 2], dy[2, 3] = sy0, sy1, sx0, sx1
    for i in range(4):
        grad[i] = gy[0] * dy[0, i] + gy[1] * dy[1, i] + gy[2] * dy[2, i]
        for k in range(i, 4):
            h = 0.0
            for a in range(3):
                for b in range(3):
                    h += dy[a, i] * hy[a, b] * dy[b, k]
            hess[i, k] = h
    plus, minus, cross = gy[0] + gy[1], gy[0] - gy[1], gy[2]
    hess[0, 0] += plus * g11
    hess[0, 1] += plus * g12
    hess[1, 1] += plus * g22
    hess[2, 2] += minus * g11
    hess[2, 3] += minus * g12
    hess[3, 3] += minus * g22
    hess[0, 2] += cross * g11
    hess[0, 3] += cross * g12
    hess[1, 2] += cross * g12
    hess[1, 3] += cross * g22
    for i in range(4):
        for k in range(i):
            hess[i, k] = hess[k, i]
    return w, eps


@njit(cache=True, error_model="numpy")
def positive_part(h: Floats, vectors: Floats) -> None:
    """Replace the symmetric ``h (4, 4)`` by its positive semi-definite part (cyclic Jacobi rotations), in place."""
    n = 4
    for i in range(n):
        for k in range(n):
            vectors[i, k] = 1.0 if i == k else 0.0
    for _ in range(12):
        off = 0.0
        dia = 0.0
        for i in range(n):
            dia += h[i, i] * h[i, i]
            for k in range(i):
                off += h[i, k] * h[i, k]
        if off <= 1e-24 * dia:
            break
        for i in range(n - 1):
            for k in range(i + 1, n):
                if abs(h[i, k]) < 1e-300:
                    continue
                theta = (h[k, k] - h[i, i]) / (2.0 * h[i, k])
                t = 1.0 / (abs(theta) + np.sqrt(theta * theta + 1.0))
                if theta < 0.0:
                    t = -t
                c = 1.0 / np.sqrt(t * t + 1.0)
                s = t * c
                for j in range(n):
                    x, y = h[j, i], h[j, k]
                    h[j, i], h[j, k] = c * x - s * y, s * x + c * y
                for j in range(n):
                    x, y = h[i, j], h[k, j]
                    h[i, j], h[k, j] = c * x - s * y, s * x + c * y
                for j in range(n):
                    x, y = vectors[j, i], vectors[j, k]
                    vectors[j, i], vectors[j, k] = c * x - s * y, s * x + c * y
    top = 0.0
    for i in range(n):
        top = max(top, h[i, i])
    floor = 1e-6 * top
    values = (max(h[0, 0], floor), max(h[1, 1], floor), max(h[2, 2], floor), max(h[3, 3], floor))
    for i in range(n):
        for k in range(n):
            total = 0.0
            for j in range(n):
                total += vectors[i, j] * values[j] * vectors[k, j]
            h[i, k] = total


@njit(cache=True, error_model="numpy")
def total_work(
    flat: Floats,
    triangles: Ints,
    metric: Floats,
    t0: float,
    form: Floats,
    table: Floats,
    log_step: float,
    modulus: float,
    gap: Floats,
    stiffness: float,
) -> float:
    """Plastic work ``sum A0 t0 w`` [N mm]; infinite as soon as one flat triangle is turned over."""
    total = 0.0
    for e in range(triangles.shape[0]):
        i, j, k = triangles[e, 0], triangles[e, 1], triangles[e, 2]
        ax, ay = flat[j, 0] - flat[i, 0], flat[j, 1] - flat[i, 1]
        bx, by = flat[k, 0] - flat[i, 0], flat[k, 1] - flat[i, 1]
        if ax * by - bx * ay <= 0.0:
            return np.inf
        w, _ = density(ax, bx, ay, by, metric[e, 0], metric[e, 1], metric[e, 2], form, table, log_step, modulus, gap[e], stiffness)
        total += 0.5 * (ax * by - bx * ay) * t0 * w
    return total


@njit(cache=True, error_model="numpy")
def assemble(
    flat: Floats,
    triangles: Ints,
    metric: Floats,
    t0: float,
    form: Floats,
    table: Floats,
    log_step: float,
    modulus: float,
    gap: Floats,
    stiffness: float,
    project: bool,
    slot: Ints,
    values: Floats,
    force: Floats,
    edge_grad: Floats,
) -> float:
    """Work, its gradient ``force (n, 2)`` [N] and its Hessian added into ``values`` at ``slot (m, 21)``.

    ``project``: replace every element Hessian by its positive part. ``edge_grad (m, 6)`` keeps ``w``, ``eps_bar`` and ``dw/dA``.
    """
    values[:] = 0.0
    force[:] = 0.0
    grad = np.zeros(4)
    hess = np.zeros((4, 4))
    vectors = np.zeros((4, 4))
    da = np.zeros(4)
    full = np.zeros((6, 6))
    total = 0.0
    for e in range(triangles.shape[0]):
        i, j, k = triangles[e, 0], triangles[e, 1], triangles[e, 2]
        ax, ay = flat[j, 0] - flat[i, 0], flat[j, 1] - flat[i, 1]
        bx, by = flat[k, 0] - flat[i, 0], flat[k, 1] - flat[i, 1]
        w, eps = density_derivatives(
            ax, bx, ay, by, metric[e, 0], metric[e, 1], metric[e, 2], form, table, log_step, modulus, gap[e], stiffness, grad, hess
        )
        area = 0.5 * (ax * by - bx * ay)
        da[0], da[1], da[2], da[3] = 0.5 * by, -0.5 * ay, -0.5 * bx, 0.5 * ax
        bend = 0.5 * t0 * w  # d2 A0
        total += area * t0 * w
        edge_grad[e, 0], edge_grad[e, 1] = w, eps
        for a in range(4):
            edge_grad[e, 2 + a] = grad[a]
            for b in range(4):
                hess[a, b] = t0 * (area * hess[a, b] + grad[a] * da[b] + da[a] * grad[b])
        hess[0, 3] += bend
        hess[3, 0] += bend
        hess[1, 2] -= bend
        hess[2, 1] -= bend
        if project:
            positive_part(hess, vectors)
        g = t0 * area
        f0, f1, f2, f3 = g * grad[0], g * grad[1], g * grad[2], g * grad[3]
        f0, f1, f2, f3 = f0 + t0 * w * da[0], f1 + t0 * w * da[1], f2 + t0 * w * da[2], f3 + t0 * w * da[3]
        force[j, 0] += f0
        force[k, 0] += f1
        force[i, 0] -= f0 + f1
        force[j, 1] += f2
        force[k, 1] += f3
        force[i, 1] -= f2 + f3
        # spread to (x0, y0, x1, y1, x2, y2); local edge index: node 1 -> 0/2, node 2 -> 1/3
        for c in range(2):
            for d in range(2):
                h11, h12, h21, h22 = hess[2 * c, 2 * d], hess[2 * c, 2 * d + 1], hess[2 * c + 1, 2 * d], hess[2 * c + 1, 2 * d + 1]
                full[2 + c, 2 + d] = h11
                full[2 + c, 4 + d] = h12
                full[4 + c, 2 + d] = h21
                full[4 + c, 4 + d] = h22
                full[c, 2 + d] = -(h11 + h21)
                full[c, 4 + d] = -(h12 + h22)
                full[2 + c, d] = -(h11 + h12)
                full[4 + c, d] = -(h21 + h22)
                full[c, d] = h11 + h12 + h21 + h22
        at = 0
        for a in range(6):
            for b in range(a + 1):
                values[slot[e, at]] += full[a, b]
                at += 1
    return total

"""One station through the thickness: metric in, stress out, state moved on."""

from __future__ import annotations

from numba import njit

from diewright.mechanics.shell.barlat import return_barlat
from diewright.mechanics.shell.hill import return_hill
from diewright.mechanics.shell.layout import FINE, INLINE, M_E, M_NU, M_YIELD, NOT_A_NUMBER, TURNED, YLD2000
from diewright.mechanics.shell.strain import log_strain, metric_stress


@njit(**INLINE)
def stress_of_strain(e11, e22, g12, ep, a11, a22, a12, mat, table):  # noqa: ANN201
    """The law of the sheet, chosen by ``mat``; arguments and answer as :func:`~diewright.mechanics.shell.hill.return_hill`."""
    kind = int(mat[M_YIELD])
    if kind == YLD2000:
        return return_barlat(e11, e22, g12, ep, a11, a22, a12, mat, table)
    return return_hill(e11, e22, g12, ep, a11, a22, a12, mat, table)


@njit(**INLINE)
def station(c11, c22, c12, squeeze, state, e, k, kinematic, mat, table):  # noqa: ANN201
    """Stress at a station of element ``e`` whose state starts at ``state[e, k]``; writes the new state back.

    Returns ``(S11, S22, S12, thickness log strain, answer)``: ``S`` is conjugate to ``C/2`` [MPa]; the thickness strain is
    ``-nu/E (T11 + T22)`` less the plastic in-plane strains (no plastic change of volume).

    ``squeeze`` [MPa] presses on both skins: ``T33 = -q``. Yielding does not feel an even pressure, so the return is that of the plane stresses ``T + q``, whose
    elastic strain is larger by ``q (1 - 2 nu)/E`` both ways; the sheet yields thinner and longer, as in ironing.
    """
    r = type(c11)
    zero = r(0.0)
    e11, e22, g12, m, q1, det, beta, gamma = log_strain(c11, c22, c12)
    if not (det > zero and m > zero):
        return zero, zero, zero, zero, TURNED if det <= zero or m <= zero else NOT_A_NUMBER
    a11, a22, a12 = zero, zero, zero
    if kinematic:
        a11, a22, a12 = state[e, k + 4], state[e, k + 5], state[e, k + 6]
    p11, p22, p12, ep = state[e, k], state[e, k + 1], state[e, k + 2], state[e, k + 3]
    even = squeeze * (r(1.0) - r(2.0) * mat[M_NU]) / mat[M_E]
    t11, t22, t12, d11, d22, d12, dl, a11, a22, a12, answer = stress_of_strain(
        e11 - p11 + even, e22 - p22 + even, g12 - p12, ep, a11, a22, a12, mat, table
    )
    if dl > zero:
        p11 += d11
        p22 += d22
        state[e, k] = p11
        state[e, k + 1] = p22
        state[e, k + 2] = p12 + d12
        state[e, k + 3] = ep + dl
        if kinematic:
            state[e, k + 4] = a11
            state[e, k + 5] = a22
            state[e, k + 6] = a12
    s11, s22, s12 = metric_stress(t11 - squeeze, t22 - squeeze, t12, c12, m, q1, det, beta, gamma)
    if answer == FINE and not abs(s11) + abs(s22) + abs(s12) < r(1e30):
        answer = NOT_A_NUMBER
    return s11, s22, s12, -mat[M_NU] / mat[M_E] * (t11 + t22) - even - p11 - p22, answer

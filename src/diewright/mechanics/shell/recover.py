"""Stresses, strains and stored energy of a form, computed anew from its state (nothing of this is kept between steps)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from diewright.mechanics.shell.curve import flow
from diewright.mechanics.shell.element import bending, gradients, metric_and_curvature, raised
from diewright.mechanics.shell.form import ShellForm
from diewright.mechanics.shell.layout import (
    C_AREA,
    C_THICKNESS,
    C_TURN,
    KERNEL,
    M_E,
    M_NU,
    S_COUNT,
    S_COUNT_KINEMATIC,
)
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.patch import Patches
from diewright.mechanics.shell.strain import log_strain

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Recovered:
    """In each triangle's own axes (rolling, across).

    Attributes
    ----------
    stress: (ne, stations, 3) ``T11, T22, T12`` [MPa]. strain: (ne, stations, 3) total log strain, engineering shear.
    membrane: (ne, 3) log strain of the middle surface. curvature: (ne, 3) change of curvature [1/mm].
    elastic_energy, plastic_work: [N mm] of the whole sheet.
    """

    stress: Floats
    strain: Floats
    membrane: Floats
    curvature: Floats
    elastic_energy: float
    plastic_work: float


@njit(**KERNEL)
def _recover(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, stress, strain, middle, curve, energy):
    ns = stations.shape[0]
    step = S_COUNT_KINEMATIC if kinematic else S_COUNT
    young, nu = mat[M_E], mat[M_NU]
    k0 = young / (1.0 - nu * nu)
    g0 = 0.5 * young / (1.0 + nu)
    for e in range(conn.shape[0]):
        f0, g0_, f1, g1_, f2, g2_, _, _, n, _ = gradients(x, conn, coef, e)
        v11, v22, v12 = bending(f0, g0_, f1, g1_, f2, g2_, coef, e)
        q0, q1, q2 = coef[e, C_TURN] * slope[conn[e, 6]], coef[e, C_TURN + 1] * slope[conn[e, 7]], coef[e, C_TURN + 2] * slope[conn[e, 8]]
        c11, c22, c12, k11, k22, k12 = metric_and_curvature(f0, g0_, f1, g1_, f2, g2_, n, v11, v22, v12, q0, q1, q2, coef, e)
        _, _, _, _, q11, q22, q12 = raised(c11, c22, c12, k11, k22, k12)
        mid = log_strain(c11, c22, c12)
        middle[e, 0], middle[e, 1], middle[e, 2] = mid[0], mid[1], mid[2]
        curve[e, 0], curve[e, 1], curve[e, 2] = k11, k22, k12
        volume = coef[e, C_AREA] * coef[e, C_THICKNESS]
        h = coef[e, C_THICKNESS] * stretch[e]
        for s in range(ns):
            z = h * stations[s, 0]
            e11, e22, g, _, _, _, _, _ = log_strain(
                c11 + 2 * z * k11 + z * z * q11, c22 + 2 * z * k22 + z * z * q22, c12 + 2 * z * k12 + z * z * q12
            )
            strain[e, s, 0], strain[e, s, 1], strain[e, s, 2] = e11, e22, g
            j = s * step
            d11, d22, d12 = e11 - state[e, j], e22 - state[e, j + 1], g - state[e, j + 2]
            t11, t22, t12 = k0 * (d11 + nu * d22), k0 * (d22 + nu * d11), g0 * d12
            stress[e, s, 0], stress[e, s, 1], stress[e, s, 2] = t11, t22, t12
            energy[0] += 0.5 * volume * stations[s, 1] * (t11 * d11 + t22 * d22 + t12 * d12)
            ep = state[e, j + 3]
            if ep > 0.0:
                # the area under the hardening curve by Gauss points in each of four pieces, finer towards zero
                low = 0.0
                for piece in range(4):
                    high = ep * (0.02, 0.15, 0.5, 1.0)[piece]
                    for gp in range(4):
                        at = (-0.8611363115940526, -0.3399810435848563, 0.3399810435848563, 0.8611363115940526)[gp]
                        w = (0.3478548451374538, 0.6521451548625461, 0.6521451548625461, 0.3478548451374538)[gp]
                        energy[1] += (
                            0.5 * (high - low) * w * volume * stations[s, 1] * flow(0.5 * (low + high + at * (high - low)), mat, table)[0]
                        )
                    low = high


def recover(patches: Patches, material: ShellMaterial, stations: Floats, form: ShellForm) -> Recovered:
    """Stress, strain and energy of ``form``. With a back stress the plastic work is that of the isotropic part only."""
    ne, ns = len(patches.conn), len(stations)
    stress, strain = np.zeros((ne, ns, 3)), np.zeros((ne, ns, 3))
    middle, curve, energy = np.zeros((ne, 3)), np.zeros((ne, 3)), np.zeros(2)
    _recover(
        form.x,
        np.asarray(form.slope, dtype=np.float64),
        patches.conn,
        patches.coef,
        np.ascontiguousarray(form.state, dtype=np.float64),
        np.asarray(form.stretch, dtype=np.float64),
        stations,
        material.mat,
        material.table,
        material.kinematic,
        stress,
        strain,
        middle,
        curve,
        energy,
    )
    return Recovered(stress, strain, middle, curve, float(energy[0]), float(energy[1]))

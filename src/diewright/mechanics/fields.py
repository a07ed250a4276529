"""Strains, stresses and section forces from a solved flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.mechanics.newton import Problem

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fields:
    """Per-triangle fields in the rolling frame; ``kirchhoff (m, 3, 3)`` is the stress in space [MPa]."""

    major: Floats
    minor: Floats
    angle: Floats
    thickness: Floats
    stress: Floats
    principal_stress: Floats
    volume: Floats
    kirchhoff: Floats


def _edges(x: Floats, triangles: NDArray[np.int32]) -> Floats:
    return np.stack([x[triangles[:, 1]] - x[triangles[:, 0]], x[triangles[:, 2]] - x[triangles[:, 0]]], axis=2)


def recover(flat: Floats, triangles: NDArray[np.int32], points: Floats, problem: Problem, state: Floats) -> Fields:
    """Fields at a flat (rolling frame) with the ``state`` kept by the assembly.

    ``M = F^T P = -(dw/dA) A^T``; the stress carried by the sheet is ``R^T sigma R = U^-1 M U``, in space ``F^+T M F^T``.
    """
    a, dx = _edges(flat, triangles), _edges(points, triangles)
    metric = np.zeros((len(triangles), 2, 2))
    metric[:, 0, 0], metric[:, 0, 1], metric[:, 1, 0], metric[:, 1, 1] = problem.metric[:, [0, 1, 1, 2]].T
    b = a @ metric @ a.transpose(0, 2, 1)
    values, vectors = np.linalg.eigh(b)
    strains = -0.5 * np.log(values)  # ascending B: the first is the major strain
    angle = np.arctan2(vectors[:, 1, 0], vectors[:, 0, 0])
    mandel = -state[:, 2:6].reshape(-1, 2, 2) @ a.transpose(0, 2, 1)
    u = np.einsum("mik,mk,mjk->mij", vectors, np.exp(strains), vectors)
    inverse_u = np.einsum("mik,mk,mjk->mij", vectors, np.exp(-strains), vectors)
    carried = inverse_u @ mandel @ u
    carried = 0.5 * (carried + carried.transpose(0, 2, 1))
    principal = np.linalg.eigvalsh(carried)[:, ::-1]
    flat_area = 0.5 * (a[:, 0, 0] * a[:, 1, 1] - a[:, 1, 0] * a[:, 0, 1])
    volume = flat_area * problem.thickness
    area = problem.loads.areas
    pseudo = dx @ metric @ a.transpose(0, 2, 1)  # F^+T
    gradient = dx @ np.linalg.inv(a)
    kirchhoff = pseudo @ mandel @ gradient.transpose(0, 2, 1)
    stress = np.column_stack([carried[:, 0, 0], carried[:, 1, 1], carried[:, 0, 1]])
    return Fields(strains[:, 0].copy(), strains[:, 1].copy(), angle, volume / area, stress, principal.copy(), volume, kirchhoff)


def section_force(flat: Floats, triangles: NDArray[np.int32], points: Floats, problem: Problem, fields: Fields, levels: int = 40) -> float:
    """Largest vertical membrane force through a level section [N].

    For a ramp ``phi`` from 0 to 1 over a band of heights the force is ``sum_e V_e e_z . sigma . grad phi`` (virtual work of lifting what
    lies above). It is what the punch must push with, apart from friction on the punch and bending over the radii.
    """
    z = points[:, 2]
    low, high = float(z.min()), float(z.max())
    band = (high - low) / levels
    if high - low < 1e-9:
        return 0.0
    dx = _edges(points, triangles)
    metric = np.zeros((len(triangles), 2, 2))
    metric[:, 0, 0], metric[:, 0, 1], metric[:, 1, 0], metric[:, 1, 1] = problem.metric[:, [0, 1, 1, 2]].T
    dual = dx @ metric  # columns: surface gradients of nodes 1 and 2
    lifted = np.einsum("m,mj,mjk->mk", fields.volume, fields.kirchhoff[:, 2, :], dual)
    best = 0.0
    for k in range(levels):
        phi = np.clip((z - low - k * band) / band, 0.0, 1.0)
        rise = phi[triangles[:, 1:]] - phi[triangles[:, :1]]
        best = max(best, float((lifted * rise).sum()))
    return best


def wrinkle_tendency(
    principal_stress: ArrayLike,
    thickness: ArrayLike,
    *,
    youngs_modulus: float,
    tangent_modulus: ArrayLike,
    span: ArrayLike,
    poisson: float = 0.3,
    flange: NDArray[np.bool_] | None = None,
) -> Floats:
    """Tendency to wrinkle ``(m,)``, 0 (no compression) to 1 (at or beyond the buckling stress).

    The sheet between two supports ``span`` [mm] apart (the free width between punch and die, the flange width) is a long plate with
    compression ``c`` along the supports and tension ``s`` across: with ``K = pi^2 E_r t^2 / (12 (1 - nu^2) b^2)`` the least critical
    compression over all wave lengths is ``c_cr = 2 K (1 + sqrt(1 + s / K))`` (plate equation, closed form; ``4 K`` without tension:
    Timoshenko and Gere, Theory of Elastic Stability, 1961, section 9.2), with the double modulus ``E_r = 4 E T / (sqrt E + sqrt T)^2`` for the
    plastic sheet. Where the blankholder presses (``flange``) the edges count as built in: half the span. A screening number, not a
    prediction: memory of the path is missing.
    """
    stress = np.asarray(principal_stress, dtype=float)
    t = np.asarray(thickness, dtype=float)
    tangent = np.clip(np.asarray(tangent_modulus, dtype=float), 1e-6 * youngs_modulus, youngs_modulus)
    b = np.broadcast_to(np.asarray(span, dtype=float), t.shape).copy()
    if flange is not None:
        b[np.asarray(flange, dtype=bool)] *= 0.5
    reduced = 4 * youngs_modulus * tangent / (np.sqrt(youngs_modulus) + np.sqrt(tangent)) ** 2
    k = np.pi**2 * reduced * t**2 / (12 * (1 - poisson**2) * b**2)
    tension = np.maximum(stress[:, 0], 0.0)
    critical = 2 * k * (1 + np.sqrt(1 + tension / k))
    return np.clip(np.maximum(-stress[:, 1], 0.0) / critical, 0.0, 1.0)

"""The stable step, mass scaling, and the inertia of the sides' slopes.

Measured on the assembled linear sheet (``tests/shell/test_shell_step.py``; right, crossed and distorted meshes, thickness 0.1 to 4 heights):
an element of least height ``h`` and thickness ``t`` keeps ``dt <= 1.25 h/c`` for stretching and ``dt <= 1.7 h^2/(c t)`` for bending,
``c = sqrt(E/(density (1 - nu^2)))``. The figures here stay below both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.mechanics.shell.form import ShellForm
from diewright.mechanics.shell.layout import C_AREA, C_LINEAR, C_THICKNESS
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.patch import Patches

Floats = NDArray[np.float64]
STRETCHING, BENDING = 1.15, 1.6
SIDE_INERTIA = 1.5  # of stiffness times dt^2: light enough to follow at once, heavy enough never to set the step


@dataclass(frozen=True)
class Masses:
    """Lumped masses and what was done to them.

    Attributes
    ----------
    node: (n + ghosts,) [t], none on the mirror images. true: [t] the sheet's own mass. added: [t] by scaling. share: added over true.
    scaled: (ne,) factor on each element's density. area: (n + ghosts,) a third of the area at rest of the triangles at a node [mm2].
    """

    node: Floats
    true: float
    added: float
    scaled: Floats
    area: Floats

    @property
    def share(self) -> float:
        """Added mass over true mass."""
        return self.added / self.true


def element_steps(patches: Patches, material: ShellMaterial, x: Floats, stretch: NDArray[np.floating]) -> Floats:
    """Stable step of each element [s] at positions ``x``, true density, without safety."""
    p = x[patches.conn[:, :3]]
    longest = np.linalg.norm(p - p[:, [1, 2, 0]], axis=2).max(axis=1)
    h = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / longest
    c = np.sqrt(material.young / (material.density * (1.0 - material.poisson**2)))
    t = patches.coef[:, C_THICKNESS] * stretch
    # mass per area is that at rest
    dense = patches.coef[:, C_THICKNESS] * patches.coef[:, C_AREA] / (t * 0.5 * h * longest)
    return np.minimum(STRETCHING * h / c, BENDING * h * h / (c * t)) * np.sqrt(dense)


def lump(patches: Patches, material: ShellMaterial, steps: Floats, wanted: float | None) -> Masses:
    """Masses at the nodes; elements whose step is below ``wanted`` [s] are made heavier until it is not (selective mass scaling)."""
    own = material.density * patches.coef[:, C_AREA] * patches.coef[:, C_THICKNESS]
    factor = np.ones(len(own)) if wanted is None else np.maximum(1.0, (wanted / steps) ** 2)
    if not np.isfinite(factor).all():
        raise InputError(f"a step of {wanted!r} s cannot be reached: expected a number above 0.", where="shell mass scaling")
    mass = own * factor
    node = np.zeros(len(patches.points))
    np.add.at(node, patches.conn[:, :3], (mass / 3.0)[:, None])
    area = np.zeros(len(patches.points))
    np.add.at(area, patches.conn[:, :3], (patches.coef[:, C_AREA] / 3.0)[:, None])
    return Masses(node, float(own.sum()), float((mass - own).sum()), factor, area)


def side_inertia(patches: Patches, material: ShellMaterial, form: ShellForm, dt: float) -> Floats:
    """(sides,) [N mm s2]: ``1.5 K dt^2`` with ``K`` the elastic stiffness of the slope; 0 where it is held.

    A slope adds curvature across its side, ``k = a a^T`` in the metric at rest; strain is ``z U^-1 k U^-1``, so ``K`` goes with ``(a^T C^-1 a / a^T a)^2``:
    ten times that at rest where a deep draw has pressed the edge together to 0.57. Where the sheet is stretched that at rest is kept.
    """
    c = patches.coef
    rigidity = material.young * (c[:, C_THICKNESS] * np.maximum(form.stretch, 1.0)) ** 2 / 12.0 / (1.0 - material.poisson**2)
    linear = c[:, C_LINEAR : C_LINEAR + 4]
    la = np.column_stack([-linear[:, 0] - linear[:, 1], linear[:, :2]])
    lb = np.column_stack([-linear[:, 2] - linear[:, 3], linear[:, 2:]])
    corner = form.x[patches.conn[:, :3]]
    d1, d2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    u, v = linear[:, :1] * d1 + linear[:, 1:2] * d2, linear[:, 2:3] * d1 + linear[:, 3:] * d2
    c11, c22, c12 = (u * u).sum(1), (v * v).sum(1), (u * v).sum(1)
    pressed = (c22[:, None] * la**2 + c11[:, None] * lb**2 - 2.0 * c12[:, None] * la * lb) / (
        (c11 * c22 - c12**2)[:, None] * (la**2 + lb**2)
    )
    stiffness = (4.0 * rigidity * c[:, C_AREA] * c[:, C_THICKNESS])[:, None] * (la**2 + lb**2) * np.maximum(pressed, 1.0) ** 2
    k = np.bincount(patches.conn[:, 6:].ravel(), weights=stiffness.ravel(), minlength=len(patches.side_free))
    return np.where(patches.side_free, SIDE_INERTIA * k * dt * dt, 0.0)

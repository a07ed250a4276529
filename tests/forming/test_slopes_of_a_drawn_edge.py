"""The slopes' inertia where a deep draw has pressed the sheet together: it follows the stiffness there, so the slopes stay calm."""

from __future__ import annotations

import numpy as np

from diewright.mechanics.shell.form import at_rest
from diewright.mechanics.shell.material import elastic
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.static import StaticShell
from diewright.mechanics.shell.stations import through_thickness
from diewright.mechanics.shell.step import side_inertia
from diewright.prove.shell import grid

DT = 1e-7


def least_share(along: float, across: float) -> float:
    """Least inertia over what the step needs for stability, ``K dt^2/4``, with the stiffness of the slopes from the tangent at the pressed shape."""
    points, triangles, _ = grid(8.0, 8.0, 6, 6, shake=0.2)
    patches, sheet, layers = build_patches(points, triangles, 1.0), elastic(2e5, 0.3), through_thickness(5)
    form = at_rest(patches, layers, kinematic=False)
    form.x = form.x * [along, across, 1.0]
    static = StaticShell(patches, sheet, layers)
    _, _, form = static.internal(form)  # the thickness that belongs to it
    k = static.stiffness(form, np.concatenate([np.zeros(3 * patches.n, dtype=bool), patches.side_free]))
    inertia = side_inertia(patches, sheet, form, DT)[patches.side_free]
    return float((inertia / (0.25 * k.diagonal() * DT**2)).min())


def test_the_inertia_of_the_slopes_keeps_the_step_stable_in_a_pressed_sheet():
    """At rest six times what is needed; pressed to 0.57 along one direction, as at the edge of a cup of ratio 1.8, still above twice."""
    assert least_share(1.0, 1.0) > 5.0
    assert least_share(0.57, 1.32) > 2.0
    assert least_share(1.32, 0.57) > 2.0
    assert least_share(0.6, 0.9) > 2.0

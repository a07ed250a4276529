"""One-step inverse solution (under construction)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.mechanics.loads import Hold, Loads
from diewright.mechanics.membrane import inverse_metric
from diewright.mechanics.newton import Clock, Problem, Step, newton
from diewright.mechanics.linear import Pattern
from diewright.mechanics.plasticity import Hill, build_curve, checked_hill
from diewright.mechanics.topology import checked_sheet
from diewright.mechanics.unfold import plan_weights, unfold_sheet
from diewright.watch import Watch


def setup(points, triangles, *, thickness, hardening, anisotropy=Hill(), rolling_angle=0.0, youngs_modulus=2.1e5, flange=None, blankholder_force=0.0, friction=0.0, bead=0.0, fixed=None):
    clock = Clock()
    with clock.phase('checks'):
        sheet = checked_sheet(points, triangles)
    with clock.phase('unfolding'):
        start = unfold_sheet(sheet, Watch())
    c, s = np.cos(rolling_angle), np.sin(rolling_angle)
    rot = np.array([[c, -s], [s, c]])
    flat = start.flat @ rot
    plan = sheet.points[:, :2] @ rot
    metric, areas = inverse_metric(sheet.points, sheet.triangles)
    curve = build_curve(hardening, youngs_modulus)
    n = len(plan)
    fl = np.zeros(0, dtype=np.int64); fr = np.zeros(0)
    if flange is not None and friction > 0:
        fl = np.flatnonzero(flange)
        fr = 2 * friction * blankholder_force * areas[fl] / areas[fl].sum() / 3
    loads = Loads(sheet.triangles, sheet.boundary, sheet.owner, np.full(len(sheet.boundary), bead), areas, thickness, fl, fr, plan)
    fixedmask = np.zeros(2 * n, bool)
    hold = None; pins = np.zeros(0, int)
    if fixed is not None:
        fixedmask = np.repeat(fixed, 2); flat[fixed] = plan[fixed]
    else:
        hold = Hold(plan_weights(sheet.points, sheet.triangles), plan)
        z = hold.rigid(flat)
        i = np.argmin(((plan - plan.mean(0))**2).sum(1)); j = np.argmax(np.abs(plan[:, 0] - plan[i, 0]))
        pins = np.array([2 * i, 2 * i + 1, 2 * j + 1])
    with clock.phase('pattern'):
        pattern = Pattern(sheet.triangles, n, 2, fixedmask)
    h = np.sqrt(areas.mean() * 2)
    scale = curve.table[0, 1] * thickness * h * np.sqrt(n)
    prob = Problem(sheet.triangles, metric, thickness, checked_hill(anisotropy).split_form(), curve, loads, hold, pattern, pins, scale)
    return sheet, prob, flat, clock

"""Passing a form on to another mesh of the same triangles: trimming, releasing a clamp, changing what is held.

A side's slope is the sum of what the patch gives and the side's own unknown. When the far triangle or the mirror goes, the unknown
takes over what the patch gave, so that strain and stress are the same before and after, exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.mechanics.shell.form import ShellForm, place
from diewright.mechanics.shell.layout import C_LINEAR
from diewright.mechanics.shell.patch import Patches

Floats = NDArray[np.float64]


def patch_slopes(patches: Patches, x: Floats) -> tuple[Floats, Floats]:
    """``(slope, sign)``, each (ne, 3): outward slope at each side that the patch gives, and the sign of the side's own unknown."""
    c = patches.coef
    p = x[patches.conn[:, :6]]
    linear = c[:, C_LINEAR : C_LINEAR + 4]
    u = linear[:, 0, None] * (p[:, 1] - p[:, 0]) + linear[:, 1, None] * (p[:, 2] - p[:, 0])
    v = linear[:, 2, None] * (p[:, 1] - p[:, 0]) + linear[:, 3, None] * (p[:, 2] - p[:, 0])
    n = np.cross(u, v)
    n /= np.linalg.norm(n, axis=1, keepdims=True)
    la = np.column_stack([-linear[:, 0] - linear[:, 1], linear[:, :2]])
    lb = np.column_stack([-linear[:, 2] - linear[:, 3], linear[:, 2:]])
    height = 1.0 / np.hypot(la, lb)
    out = np.zeros((len(c), 3))
    for s in range(3):
        d1, d2 = p[:, 3 + s] - p[:, s], p[:, (s + 1) % 3] - p[:, (s + 2) % 3]
        f = c[:, 4 * s, None] * d1 + c[:, 4 * s + 1, None] * d2
        g = c[:, 4 * s + 2, None] * d1 + c[:, 4 * s + 3, None] * d2
        out[:, s] = -height[:, s] * (la[:, s] * (f * n).sum(1) + lb[:, s] * (g * n).sum(1))
    return out, -np.sign(c[:, 21:24])


def carry(old: Patches, new: Patches, form: ShellForm, kept: NDArray[np.integer], nodes: NDArray[np.integer]) -> ShellForm:
    """The form on ``new``, whose triangle k is triangle ``kept[k]`` of ``old`` and whose node i is node ``nodes[i]`` of ``old``.

    ``new`` must have been built from the same places at rest. Raises :class:`InputError` where the two do not fit.
    """
    kept, nodes = np.asarray(kept), np.asarray(nodes)
    if len(kept) != len(new.conn) or len(nodes) != new.n or not np.array_equal(nodes[new.conn[:, :3]], old.conn[kept, :3]):
        raise InputError("the triangles and nodes of the two meshes do not correspond.", where="shell carry")
    if not np.allclose(new.points[: new.n], old.points[nodes], atol=1e-9):
        raise InputError("the two meshes are not the same at rest: build both from the flat blank.", where="shell carry")
    x = place(new, form.x[nodes])
    before, sign_before = patch_slopes(old, form.x)
    total = (before + sign_before * form.slope[old.conn[:, 6:]])[kept]
    after, sign = patch_slopes(new, x)
    slope = np.zeros(len(new.side_free))
    # both triangles of a side say the same up to rounding: the first one is taken
    slope[new.conn[:, 6:].ravel()[::-1]] = (sign * (total - after)).ravel()[::-1]
    slope[~new.side_free] = 0.0
    return ShellForm(x, slope, form.state[kept].copy(), form.stretch[kept].copy())

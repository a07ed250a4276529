"""Triangles between rings of points, and arcs fine enough for a stated chord error."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

CHORD = 0.01
"""Largest distance between a chord and its arc [mm], unless stated."""
ANGLE = 5.0
"""Largest turn of an arc within one chord [deg], unless stated."""


def divisions(radius: float, sweep: float, chord: float = CHORD, angle: float = ANGLE) -> int:
    """Chords on an arc of ``radius`` [mm] over ``sweep`` [rad]: sagitta ``R (1 - cos(a/2)) <= chord`` [mm] and turn ``a <= angle`` [deg]."""
    if radius <= 0.0 or sweep == 0.0:
        return 1
    by_chord = 2.0 * math.acos(max(1.0 - chord / radius, -1.0))
    return max(math.ceil(abs(sweep) / min(by_chord, math.radians(angle)) - 1e-9), 1)


def arc(centre: Sequence[float], radius: float, begin: float, end: float, chord: float = CHORD, angle: float = ANGLE) -> Floats:
    """Points ``(k, 2)`` on a circle from the angle ``begin`` to ``end`` [rad], both ends included."""
    at = np.linspace(begin, end, divisions(radius, end - begin, chord, angle) + 1)
    return np.stack([centre[0] + radius * np.cos(at), centre[1] + radius * np.sin(at)], axis=1)


def loft(rings: Sequence[Floats], *, closed: bool, up: bool = True) -> TriMesh:
    """One skin over ``rings``, each ``(k, 3)`` with the same ``k`` [mm], or ``(1, 3)`` for a pole.

    With rings that run counter-clockwise seen from above and come inside first, ``up`` makes the normals point up (``+z``) on level areas.
    """
    counts = {len(r) for r in rings if len(r) > 1}
    if len(counts) != 1 or len(rings) < 2:
        raise InputError("A loft needs two rings or more with the same number of points.")
    k = counts.pop()
    points = np.concatenate(rings)
    starts = np.cumsum([0, *(len(r) for r in rings)])
    here = np.arange(k if closed else k - 1)
    nxt = (here + 1) % k
    cells = []
    for i in range(len(rings) - 1):
        a, b = starts[i], starts[i + 1]
        if len(rings[i]) == 1:
            cells.append(np.stack([np.full(len(here), a), b + here, b + nxt], axis=1))
        elif len(rings[i + 1]) == 1:
            cells.append(np.stack([a + here, np.full(len(here), b), a + nxt], axis=1))
        else:
            cells.append(np.stack([a + here, b + here, b + nxt], axis=1))
            cells.append(np.stack([a + here, b + nxt, a + nxt], axis=1))
    triangles = np.concatenate(cells).astype(np.int32)
    return TriMesh(points, triangles if up else triangles[:, ::-1])


def joined(meshes: Sequence[TriMesh]) -> TriMesh:
    """Several skins as one mesh; no points are shared between them."""
    starts = np.cumsum([0, *(len(m.points) for m in meshes)])
    return TriMesh(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.triangles + starts[i] for i, m in enumerate(meshes)]).astype(np.int32),
    )

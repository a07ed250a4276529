"""Meridians of turned tools and cups: corners with radii, their area by turning, and the skin they sweep."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.die.loft import ANGLE, CHORD, arc, divisions, loft
from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Corner = tuple[float, float]


def rounded(corners: Sequence[Corner], radii: Sequence[float], chord: float = CHORD, angle: float = ANGLE) -> Floats:
    """A polyline ``(k, 2)`` of r, z [mm] with a ``radius`` [mm] at each inner corner (0 leaves it sharp).

    Arcs touch both sides. Raises :class:`InputError` where two of them need more length than the side between their corners has.
    """
    p = np.asarray(corners, dtype=np.float64)
    inner, sides = len(p) - 2, np.diff(p, axis=0)
    length = np.hypot(*sides.T)
    unit = sides / np.maximum(length, 1e-300)[:, None]
    turn = np.array([math.atan2(_cross(unit[i], unit[i + 1]), float(unit[i] @ unit[i + 1])) for i in range(inner)])
    reach = np.array([r * math.tan(0.5 * abs(a)) for r, a in zip(radii, turn, strict=True)])
    used = np.concatenate([[0.0], reach]) + np.concatenate([reach, [0.0]])
    if (used > length + 1e-9).any():
        i = int(np.argmax(used - length))
        raise InputError(
            f"the radii at both ends of a side need {used[i]:.3g} mm, it is {length[i]:.3g} mm long.", where="draws", help="Make the radii smaller."
        )  # fmt: skip
    out = [p[:1]]
    for i in range(inner):
        r, a = float(radii[i]), float(turn[i])
        if r <= 0 or abs(a) < 1e-9:
            out.append(p[i + 1 : i + 2])
            continue
        left = math.copysign(1.0, a)
        start = p[i + 1] - reach[i] * unit[i]
        centre = start + left * r * np.array([-unit[i, 1], unit[i, 0]])
        begin = math.atan2(*(start - centre)[::-1])
        out.append(arc(centre.tolist(), r, begin, begin + a, chord, angle))
    out.append(p[-1:])
    line = np.concatenate(out)
    keep = np.concatenate([[True], np.hypot(*np.diff(line, axis=0).T) > 1e-9])
    return np.asarray(line[keep])


def _cross(a: Floats, b: Floats) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def turned_area(line: Floats) -> float:
    """Area [mm2] of the surface that a meridian ``(k, 2)`` of r, z [mm] sweeps about z: cones, exactly (Pappus)."""
    d = np.diff(line, axis=0)
    return float(np.pi * ((line[1:, 0] + line[:-1, 0]) * np.hypot(*d.T)).sum())


def turned(line: Floats, up: bool, chord: float = CHORD, angle: float = ANGLE) -> TriMesh:
    """The skin that a meridian ``(k, 2)``, inside first, sweeps about z; ``up``: normals +z on level areas that run outwards. A point at r = 0 is a pole."""
    around = 4 * divisions(float(line[:, 0].max()), 0.5 * math.pi, chord, angle)
    at = 2.0 * math.pi * np.arange(around) / around
    ring = np.column_stack([np.cos(at), np.sin(at)])
    rings = [np.column_stack([r * ring, np.full(around, z)]) if r > 0 else np.array([[0.0, 0.0, z]]) for r, z in line]
    return loft(rings, closed=True, up=up)

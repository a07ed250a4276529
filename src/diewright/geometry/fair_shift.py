"""A smooth field of displacements from measured ones: short waves are left out, what is held stays, and both skins move as one sheet."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.spatial import cKDTree

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.geometry.shift_field import ShiftField

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
MOST = 1400
"""Points that a fit takes at most; more are gathered first."""
WHERE = "shift field"
_KERNEL = 32.0 * math.pi * math.gamma(2.5) / math.gamma(-1.5)
"""``|x|^3`` in the plane has the Fourier transform ``_KERNEL |k|^-5`` (Gelfand, Shilov 1964)."""


@dataclass(frozen=True, eq=False)
class Known:
    """Displacements ``values (k, 3) [mm]`` at ``points (k, 3) [mm]`` that stand for the area ``(k,) [mm2]`` each."""

    points: Floats
    values: Floats
    areas: Floats


@dataclass(frozen=True, eq=False)
class Held:
    """Points ``(k, 3) [mm]`` that may slide but not leave the surface whose unit ``normals (k, 3)`` are given (none of them level: the surface is seen from the press direction)."""

    points: Floats
    normals: Floats


def spread_points(points: Floats, count: int) -> Ints:
    """Numbers of ``count`` points as far from each other as can be (farthest-point sampling from the one nearest the middle)."""
    if len(points) <= count:
        return np.arange(len(points))
    out = np.zeros(count, dtype=np.intp)
    out[0] = int(np.argmin(((points - points.mean(axis=0)) ** 2).sum(axis=1)))
    far = ((points - points[out[0]]) ** 2).sum(axis=1)
    for i in range(1, count):
        out[i] = int(np.argmax(far))
        far = np.minimum(far, ((points - points[out[i]]) ** 2).sum(axis=1))
    return out


def gathered(known: Known, count: int) -> Known:
    """At most ``count`` points: the means over the area of what lies nearest to each of points spread evenly."""
    if len(known.points) <= count:
        return known
    _, owner = cKDTree(known.points[spread_points(known.points, count)]).query(known.points)
    area: Floats = np.bincount(owner, weights=known.areas, minlength=count).astype(np.float64)
    mean = [
        np.column_stack([np.bincount(owner, weights=known.areas * a[:, c], minlength=count) / area for c in range(3)])
        for a in (known.points, known.values)
    ]
    return Known(mean[0], mean[1], area)


def _in_space(known: Known) -> Known:
    """The same; of points that all lie in a plane two each, a hundredth of their extent apart: a plane alone says nothing about the way off it."""
    p = known.points - known.points.mean(axis=0)
    _, size, axes = np.linalg.svd(p, full_matrices=False)
    if size[2] > 1e-4 * size[0]:
        return known
    off = 5e-3 * float(np.linalg.norm(np.ptp(p, axis=0))) * axes[2]
    return Known(np.vstack([known.points + off, known.points - off]), np.vstack([known.values] * 2), np.tile(0.5 * known.areas, 2))


def smooth_shift(known: Known, wave: float, held: Held | None, still: Floats) -> Callable[[Floats], Floats]:
    """The smooth field nearest to what is known.

    It minimises ``sum A_i |u(x_i) - u_i|^2`` against its bending in space; on a sheet of even points a wave of the length ``wave`` [mm] keeps half its height, one of half
    that length 3 %, one of twice that length 97 % (``lambda_i = c (wave / 2 pi)^5 / A_i`` beside the kernel ``|x|^3``). At ``still (k, 3)`` points nothing
    moves; ``held`` points slide. Raises :class:`InputError` for a wave that is not positive or areas that are not.
    """
    if not wave > 0 or not (known.areas > 0).all():
        raise InputError(
            f"a wave of {wave:g} mm and areas from {known.areas.min(initial=np.inf):g} mm2: both must be above zero.", where=WHERE
        )
    data = _in_space(gathered(known, MOST))
    soft = abs(_KERNEL) * (wave / (2.0 * math.pi)) ** 5 / data.areas
    still = np.asarray(still, dtype=np.float64).reshape(-1, 3)

    def fit(points: list[Floats], values: list[Floats]) -> RBFInterpolator:
        x, v = np.vstack([data.points, *points]), np.concatenate([*values])
        hard = np.zeros(len(x) - len(data.points))
        return RBFInterpolator(x, v, kernel="cubic", degree=1, smoothing=np.concatenate([soft, hard]))

    plan = fit([still], [data.values[:, :2], np.zeros((len(still), 2))])
    if held is None or not len(held.points):
        up = fit([still], [data.values[:, 2:], np.zeros((len(still), 1))])
    else:
        if len(still):
            apart = cKDTree(still).query(held.points)[0] > 1e-6
            held = Held(held.points[apart], held.normals[apart])
        slid = np.asarray(plan(held.points))
        rise = -(slid * held.normals[:, :2]).sum(axis=1) / held.normals[:, 2]
        up = fit([still, held.points], [data.values[:, 2:], np.zeros((len(still), 1)), rise[:, None]])
    return lambda x: np.hstack([plan(x), up(x)])


def both_skins(sheet: TriMesh, moves: Floats, thickness: float, count: int, more: Floats, more_moves: Floats) -> ShiftField:
    """A field through both skins of a sheet whose middle moves by ``moves (n, 3)``: a skin stays half a thickness from the middle as that turns.

    ``n'`` the normal of the moved middle, a skin's point ``x + s n`` moves by ``u + s (n' - n)``. At most ``count`` points of the sheet are taken, spread evenly; ``more (k, 3)``
    are points away from it with their ``more_moves``.
    """
    chosen = spread_points(sheet.points, count)
    before, after = sheet.point_normals[chosen], TriMesh(sheet.points + moves, sheet.triangles).point_normals[chosen]
    sides = [0.5 * thickness, -0.5 * thickness]
    points = [sheet.points[chosen] + s * before for s in sides]
    shifts = [moves[chosen] + s * (after - before) for s in sides]
    return ShiftField(np.vstack([*points, more]), np.vstack([*shifts, more_moves]))

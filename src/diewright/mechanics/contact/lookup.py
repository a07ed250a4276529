"""Distance and its gradient at a point, from the same eight samples."""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.shell.layout import INLINE

BRICK, SIDE, SAMPLES = 8, 9, 729
FAR = 1e9


@njit(**INLINE)
def look_up(px, py, pz, numbers, sizes, k, place, samples):  # noqa: ANN201
    """``(distance, gx, gy, gz)`` of face ``k`` at a point in the face's own frame; ``FAR`` where there is none.

    ``numbers (K, .) float64``: origin x, y, z, 1/spacing first; ``sizes (K, .) int64``: bricks x, y, z, first brick, first sample first.
    The gradient is that of the trilinear distance, made a unit vector.
    """
    inv = numbers[k, 3]
    fx, fy, fz = (px - numbers[k, 0]) * inv, (py - numbers[k, 1]) * inv, (pz - numbers[k, 2]) * inv
    nx, ny, nz = sizes[k, 0], sizes[k, 1], sizes[k, 2]
    if not (fx > 0.0 and fy > 0.0 and fz > 0.0 and fx < BRICK * nx and fy < BRICK * ny and fz < BRICK * nz):
        return FAR, 0.0, 0.0, 0.0
    ix, iy, iz = int(fx), int(fy), int(fz)
    bx, by, bz = ix // BRICK, iy // BRICK, iz // BRICK
    b = place[sizes[k, 3] + (bx * ny + by) * nz + bz]
    if b < 0:
        return FAR, 0.0, 0.0, 0.0
    at = sizes[k, 4] + SAMPLES * b + ((ix - BRICK * bx) * SIDE + (iy - BRICK * by)) * SIDE + (iz - BRICK * bz)
    a000, a001 = samples[at], samples[at + 1]
    a010, a011 = samples[at + SIDE], samples[at + SIDE + 1]
    a100, a101 = samples[at + SIDE * SIDE], samples[at + SIDE * SIDE + 1]
    a110, a111 = samples[at + SIDE * SIDE + SIDE], samples[at + SIDE * SIDE + SIDE + 1]
    if max(max(max(a000, a001), max(a010, a011)), max(max(a100, a101), max(a110, a111))) > 1e8:
        return FAR, 0.0, 0.0, 0.0
    u, v, w = fx - ix, fy - iy, fz - iz
    # along x first, then y, then z
    c00, c01, c10, c11 = a000 + u * (a100 - a000), a001 + u * (a101 - a001), a010 + u * (a110 - a010), a011 + u * (a111 - a011)
    e0, e1 = c00 + v * (c10 - c00), c01 + v * (c11 - c01)
    d = e0 + w * (e1 - e0)
    gz = e1 - e0
    gy = (1.0 - w) * (c10 - c00) + w * (c11 - c01)
    gx = (1.0 - v) * ((1.0 - w) * (a100 - a000) + w * (a101 - a001)) + v * ((1.0 - w) * (a110 - a010) + w * (a111 - a011))
    size = math.sqrt(gx * gx + gy * gy + gz * gz)
    if not size > 1e-12:
        return FAR, 0.0, 0.0, 0.0
    return d, gx / size, gy / size, gz / size

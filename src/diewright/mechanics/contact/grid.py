"""Signed distance to a tool face on a sparse grid: constant time for a lookup, whatever the face.

The box of the face is divided into bricks of 8 x 8 x 8 cells; only bricks within the band of the face are kept, with their 9 x 9 x 9
samples. Distances are exact at the samples and trilinear between them: off by at most ``spacing^2/(4 R)`` at a radius ``R``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError
from diewright.mechanics.contact.features import Features, features

Floats = NDArray[np.float64]
BRICK = 8
SIDE = BRICK + 1
SAMPLES = SIDE**3
FAR = np.float32(1e9)  # no face within the band, or beyond its open edge
MOST_BRICKS = 400_000


@dataclass(frozen=True)
class DistanceGrid:
    """A face as distances.

    Attributes
    ----------
    origin: (3,) [mm] of the first brick. spacing: [mm]. shape: bricks in x, y, z.
    place: (bricks of the box,) int32, number of the brick or -1. samples: (kept bricks * 729,) float32 [mm], positive on the side of the normals.
    """

    origin: Floats
    spacing: float
    shape: tuple[int, int, int]
    place: NDArray[np.int32]
    samples: NDArray[np.float32]
    band: float


@njit(cache=True, error_model="numpy", fastmath={"contract", "nsz"})
def nearest(px, py, pz, c, normals, ends):  # noqa: ANN201
    """``(squared distance, sign, ended)`` of a point to one triangle (Ericson 2005, section 5.1.5)."""
    ax, ay, az = c[0, 0], c[0, 1], c[0, 2]
    ux, uy, uz = c[1, 0] - ax, c[1, 1] - ay, c[1, 2] - az
    wx, wy, wz = c[2, 0] - ax, c[2, 1] - ay, c[2, 2] - az
    qx, qy, qz = px - ax, py - ay, pz - az
    d1, d2 = ux * qx + uy * qy + uz * qz, wx * qx + wy * qy + wz * qz
    feature = 0
    s, t = 0.0, 0.0
    if d1 <= 0.0 and d2 <= 0.0:
        feature = 4
    else:
        uu, ww, uw = ux * ux + uy * uy + uz * uz, wx * wx + wy * wy + wz * wz, ux * wx + uy * wy + uz * wz
        d3, d4 = d1 - uu, d2 - uw
        d5, d6 = d1 - uw, d2 - ww
        if d3 >= 0.0 and d4 <= d3:
            feature, s = 5, 1.0
        elif d6 >= 0.0 and d5 <= d6:
            feature, t = 6, 1.0
        else:
            vc = d1 * d4 - d3 * d2
            vb = d5 * d2 - d1 * d6
            va = d3 * d6 - d5 * d4
            if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
                feature, s = 1, d1 / (d1 - d3)
            elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
                feature, t = 3, d2 / (d2 - d6)
            elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
                k = (d4 - d3) / ((d4 - d3) + (d5 - d6))
                feature, s, t = 2, 1.0 - k, k
            else:
                total = va + vb + vc
                s, t = vb / total, vc / total
    rx, ry, rz = qx - s * ux - t * wx, qy - s * uy - t * wy, qz - s * uz - t * wz
    d = rx * rx + ry * ry + rz * rz
    side = rx * normals[feature, 0] + ry * normals[feature, 1] + rz * normals[feature, 2]
    ended = False
    if feature > 0 and ends[feature - 1]:
        # past an open edge unless the point stands square above it
        n2 = normals[0, 0] * rx + normals[0, 1] * ry + normals[0, 2] * rz
        ended = d - n2 * n2 > 1e-6 + 1e-4 * d
    return d, 1.0 if side >= 0.0 else -1.0, ended


@njit(cache=True, error_model="numpy")
def _mark(low, high, shape, count):
    """How many triangles touch each brick (their boxes already grown by the band, in bricks)."""
    for m in range(low.shape[0]):
        for i in range(low[m, 0], high[m, 0] + 1):
            for j in range(low[m, 1], high[m, 1] + 1):
                for k in range(low[m, 2], high[m, 2] + 1):
                    count[(i * shape[1] + j) * shape[2] + k] += 1


@njit(cache=True, error_model="numpy")
def _list(low, high, shape, start, fill, members):
    for m in range(low.shape[0]):
        for i in range(low[m, 0], high[m, 0] + 1):
            for j in range(low[m, 1], high[m, 1] + 1):
                for k in range(low[m, 2], high[m, 2] + 1):
                    b = (i * shape[1] + j) * shape[2] + k
                    members[start[b] + fill[b]] = m
                    fill[b] += 1


@njit(cache=True, error_model="numpy", parallel=True)
def _sample(bricks, shape, origin, spacing, start, members, corners, normals, ends, centre, reach, band, out, kept):
    """Distances at the samples of every brick, three by three by three at a time: only triangles that can be nearest to one of the 27 are looked at."""
    radius = math.sqrt(3.0) * spacing
    for n in prange(len(bricks)):
        b = bricks[n]
        k = b % shape[2]
        j = (b // shape[2]) % shape[1]
        i = b // (shape[2] * shape[1])
        near = np.zeros(start[b + 1] - start[b], dtype=np.int32)
        least = 1e30
        for part in range(27):
            s0, s1, s2 = 3 * (part // 9), 3 * ((part // 3) % 3), 3 * (part % 3)
            cx = origin[0] + spacing * (BRICK * i + s0 + 1)
            cy = origin[1] + spacing * (BRICK * j + s1 + 1)
            cz = origin[2] + spacing * (BRICK * k + s2 + 1)
            most, first = band + radius, -1
            for q in range(start[b], start[b + 1]):
                m = members[q]
                dx, dy, dz = cx - centre[m, 0], cy - centre[m, 1], cz - centre[m, 2]
                d = math.sqrt(dx * dx + dy * dy + dz * dz)
                if d < most:
                    most, first = d, m
            count = 0
            if first >= 0:  # the likeliest first: the others are then mostly ruled out by their centre
                near[0] = first
                count = 1
            for q in range(start[b], start[b + 1]):
                m = members[q]
                dx, dy, dz = cx - centre[m, 0], cy - centre[m, 1], cz - centre[m, 2]
                far = reach[m] + most + 2.0 * radius
                if m != first and dx * dx + dy * dy + dz * dz <= far * far:
                    near[count] = m
                    count += 1
            for s in range(27):
                tx, ty, tz = s0 + s // 9, s1 + (s // 3) % 3, s2 + s % 3
                px = origin[0] + spacing * (BRICK * i + tx)
                py = origin[1] + spacing * (BRICK * j + ty)
                pz = origin[2] + spacing * (BRICK * k + tz)
                best, sign, ended = band * band, 0.0, False
                for q in range(count):
                    m = near[q]
                    dx, dy, dz = px - centre[m, 0], py - centre[m, 1], pz - centre[m, 2]
                    far = reach[m] + math.sqrt(best)
                    if dx * dx + dy * dy + dz * dz > far * far:
                        continue
                    height = dx * normals[m, 0, 0] + dy * normals[m, 0, 1] + dz * normals[m, 0, 2]
                    if height * height > best:
                        continue
                    d, g, e = nearest(px, py, pz, corners[m], normals[m], ends[m])
                    if d < best:
                        best, sign, ended = d, g, e
                if sign == 0.0 or ended:
                    out[n, (tx * SIDE + ty) * SIDE + tz] = FAR
                else:
                    out[n, (tx * SIDE + ty) * SIDE + tz] = np.float32(sign * math.sqrt(best))
                    least = min(least, best)
        kept[n] = least < 1e29


def distance_grid(points: ArrayLike, triangles: ArrayLike, *, spacing: float, band: float) -> DistanceGrid:
    """Distances within ``band`` [mm] of a face, every ``spacing`` [mm].

    Raises :class:`InputError` for a face without area, with normals that turn, or too large for the spacing.
    """
    if not (spacing > 0 and band > 0 and math.isfinite(spacing + band)):
        raise InputError(f"spacing {spacing!r} and band {band!r}: expected lengths above zero.", where="tool face")
    f: Features = features(points, triangles)
    edge = spacing * BRICK
    low, high = f.corners.min(axis=1) - band - spacing, f.corners.max(axis=1) + band + spacing
    origin = low.min(axis=0)
    shape = np.floor((high.max(axis=0) - origin) / edge).astype(np.int64) + 1
    if float(np.prod(shape.astype(float))) > 60_000_000:
        raise InputError(
            f"a face of {np.round(np.ptp(f.corners.reshape(-1, 3), axis=0)).tolist()} mm is too large for samples every {spacing:g} mm.",
            where="tool face",
            help="Take a coarser spacing.",
        )
    i_low, i_high = np.floor((low - origin) / edge).astype(np.int64), np.floor((high - origin) / edge).astype(np.int64)
    count = np.zeros(int(np.prod(shape)), dtype=np.int64)
    _mark(i_low, i_high, shape, count)
    start = np.concatenate([[0], np.cumsum(count)])
    members = np.zeros(int(start[-1]), dtype=np.int32)
    _list(i_low, i_high, shape, start, np.zeros_like(count), members)
    bricks = np.flatnonzero(count)
    if len(bricks) > MOST_BRICKS:
        raise InputError(
            f"the face needs {len(bricks)} bricks of samples at {spacing:g} mm, more than {MOST_BRICKS}.",
            where="tool face",
            help="Take a coarser spacing.",
        )
    centre = f.corners.mean(axis=1)
    reach = np.linalg.norm(f.corners - centre[:, None], axis=2).max(axis=1)
    out = np.zeros((len(bricks), SAMPLES), dtype=np.float32)
    kept = np.zeros(len(bricks), dtype=np.bool_)
    _sample(bricks, shape, origin, float(spacing), start, members, f.corners, f.normals, f.ends, centre, reach, float(band), out, kept)
    place = np.full(len(count), -1, dtype=np.int32)
    place[bricks[kept]] = np.arange(int(kept.sum()))
    return DistanceGrid(origin, float(spacing), (int(shape[0]), int(shape[1]), int(shape[2])), place, out[kept].ravel(), float(band))

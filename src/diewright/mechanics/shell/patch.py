"""The patches of a triangle mesh: who stands across each side, the coefficients at rest, and the gather lists."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError
from diewright.mechanics.shell.layout import C_AREA, C_COUNT, C_K11, C_K12, C_K22, C_LINEAR, C_THICKNESS, C_TURN

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


@dataclass(frozen=True)
class Mirror:
    """Sides whose slope is held: the far node is the mirror image of the opposite corner.

    Symmetry: ``normal`` is that of the plane of symmetry. A clamped edge: ``normal`` lies in the sheet, square to the
    edge, and turns with the clamp.

    Attributes
    ----------
    sides: (k, 2) node pairs on the rim of the mesh.
    normal: (3,) or (k, 3) unit vectors.
    """

    sides: NDArray[np.int64]
    normal: Floats


@dataclass
class Patches:
    """Topology and coefficients of a shell mesh.

    Attributes
    ----------
    points: (n + ghosts, 3) float64 [mm]; the mirror images stand at the end.
    conn: (ne, 9) int32: corners, the far node across the side opposite each corner, the number of that side.
    side_slots: (sides, 2) int32: where a side's moments stand, ``3 e + side``, the second -1 on the rim.
    side_free: (sides,) bool: false where a mirror holds the slope.
    coef: (ne, C_COUNT) float64.
    ghost: (g, 2) int32: image of node ``ghost[:, 0]`` in the plane through node ``ghost[:, 1]``.
    ghost_normal: (g, 3).
    start, slots: the gather lists: node i collects ``slots[start[i]:start[i+1]]`` of the element forces, each ``6 e + slot``.
    axes: (ne, 3, 3) unit vectors: rolling direction in the triangle, across it, normal.
    """

    n: int
    points: Floats
    conn: Ints
    coef: Floats
    ghost: Ints
    ghost_normal: Floats
    start: Ints
    slots: Ints
    side_slots: Ints
    side_free: NDArray[np.bool_]
    axes: Floats


def _side_table(triangles: NDArray[np.int64]) -> tuple[NDArray[np.int64], dict[tuple[int, int], tuple[int, int]]]:
    """For each element and side, the neighbour's corner across it (or -1), and the open sides."""
    ne = len(triangles)
    first = triangles[:, [1, 2, 0]].ravel()
    second = triangles[:, [2, 0, 1]].ravel()
    low, high = np.minimum(first, second), np.maximum(first, second)
    order = np.lexsort((high, low))
    same = (low[order][1:] == low[order][:-1]) & (high[order][1:] == high[order][:-1])
    if (same[1:] & same[:-1]).any():
        k = int(order[np.flatnonzero(same[1:] & same[:-1])[0]])
        raise InputError(
            f"more than two triangles meet at the edge between nodes {low[k]} and {high[k]}: a sheet has one or two.",
            where="shell mesh",
            help="Split the mesh along that edge or remove the extra triangle.",
        )
    a, b = order[:-1][same], order[1:][same]
    turned = first[a] == first[b]
    if turned.any():
        k = int(a[np.flatnonzero(turned)[0]])
        raise InputError(
            f"the two triangles at the edge between nodes {first[k]} and {second[k]} face opposite ways.",
            where="shell mesh",
            help="Orient all triangles the same way round.",
        )
    far = np.full(3 * ne, -1, dtype=np.int64)
    corner = triangles.ravel()
    far[a], far[b] = corner[b], corner[a]
    open_sides = {(int(low[k]), int(high[k])): (int(k) // 3, int(k) % 3) for k in np.flatnonzero(far < 0)}
    return far.reshape(ne, 3), open_sides


def _unit(v: Floats) -> Floats:
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def build_patches(
    points: ArrayLike,
    triangles: ArrayLike,
    thickness: ArrayLike,
    *,
    rolling: ArrayLike = (1.0, 0.0, 0.0),
    mirrors: tuple[Mirror, ...] = (),
) -> Patches:
    """Patches of the mesh at rest.

    Parameters
    ----------
    points: (n, 3) [mm]. triangles: (ne, 3), all turned the same way. thickness: one number or (ne,) [mm].
    rolling: (3,) or (ne, 3): the rolling direction; its part in the triangle counts.
    mirrors: held slopes on rim sides.

    Raises :class:`InputError` for a mesh that is not a sheet, an empty triangle, or a mirror on a side that is not on the rim.
    """
    x = np.array(points, dtype=np.float64)
    tri = np.array(triangles, dtype=np.int64)
    if x.ndim != 2 or x.shape[1] != 3 or tri.ndim != 2 or tri.shape[1] != 3 or len(tri) == 0:
        raise InputError(f"points {x.shape} and triangles {tri.shape}: expected (n, 3) and (ne, 3).", where="shell mesh")
    if not np.isfinite(x).all() or tri.min() < 0 or tri.max() >= len(x):
        raise InputError("a point is not a finite number, or a triangle names a point that is not there.", where="shell mesh")
    n, ne = len(x), len(tri)
    far, open_sides = _side_table(tri)
    ghosts: list[tuple[int, int]] = []
    normals: list[Floats] = []
    for mirror in mirrors:
        sides = np.asarray(mirror.sides, dtype=np.int64).reshape(-1, 2)
        for (i, j), p in zip(sides, np.broadcast_to(_unit(np.asarray(mirror.normal, dtype=np.float64)), (len(sides), 3)), strict=True):
            found = open_sides.get((int(min(i, j)), int(max(i, j))))
            if found is None or far[found] >= 0:
                raise InputError(f"the side between nodes {i} and {j} is not on the rim, or is held twice.", where="shell mesh")
            e, s = found
            far[e, s] = n + len(ghosts)
            ghosts.append((int(tri[e, s]), int(tri[e, (s + 1) % 3])))
            normals.append(p)
    ghost = np.array(ghosts, dtype=np.int32).reshape(-1, 2)
    ghost_normal = np.array(normals, dtype=np.float64).reshape(-1, 3)
    everything = np.vstack([x, mirror_images(x, ghost, ghost_normal)])
    side, side_slots = _number_sides(tri)
    open_side = far < 0
    side_free = np.ones(len(side_slots), dtype=np.bool_)
    side_free[side[far >= n]] = False
    nxt = tri[:, [1, 2, 0]]
    conn = np.hstack([tri, np.where(open_side, nxt, far), side]).astype(np.int32)
    coef, axes = _coefficients(everything, conn, np.asarray(rolling, dtype=np.float64))
    t = np.broadcast_to(np.asarray(thickness, dtype=np.float64), (ne,))
    if not (np.isfinite(t).all() and (t > 0).all()):
        raise InputError("a thickness is not above zero.", where="shell mesh")
    coef[:, C_THICKNESS] = t
    # The second triangle of a side sees the slope from the other side.
    sign = np.ones(3 * ne)
    second = side_slots[:, 1]
    sign[second[second >= 0]] = -1.0
    linear = coef[:, C_LINEAR : C_LINEAR + 4]
    la, lb = np.column_stack([-linear[:, 0] - linear[:, 1], linear[:, :2]]), np.column_stack([-linear[:, 2] - linear[:, 3], linear[:, 2:]])
    coef[:, C_TURN : C_TURN + 3] = -2.0 * sign.reshape(ne, 3) / np.hypot(la, lb)
    nodes = conn[:, :6].ravel()
    order = np.argsort(nodes, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(nodes, minlength=len(everything)))])
    return Patches(
        n, everything, conn, coef, ghost, ghost_normal, start.astype(np.int32), order.astype(np.int32), side_slots, side_free, axes
    )


def _number_sides(tri: NDArray[np.int64]) -> tuple[NDArray[np.int64], Ints]:
    """Number of each element's three sides (ne, 3), and where each side's moments stand (sides, 2)."""
    ends = np.sort(np.stack([tri[:, [1, 2, 0]], tri[:, [2, 0, 1]]], axis=2).reshape(-1, 2), axis=1)
    _, first, side = np.unique(ends, axis=0, return_index=True, return_inverse=True)
    side = side.ravel()
    slots = np.full((len(first), 2), -1, dtype=np.int32)
    slots[:, 0] = first
    rest = np.setdiff1d(np.arange(3 * len(tri)), first)
    slots[side[rest], 1] = rest
    return side.reshape(-1, 3), slots


def mirror_images(x: Floats, ghost: Ints, normal: Floats) -> Floats:
    """Images of ``x[ghost[:, 0]]`` in the planes through ``x[ghost[:, 1]]``."""
    d = x[ghost[:, 0]] - x[ghost[:, 1]]
    return x[ghost[:, 0]] - 2.0 * (d * normal).sum(axis=1, keepdims=True) * normal


def _coefficients(x: Floats, conn: Ints, rolling: Floats) -> tuple[Floats, Floats]:
    """Side and triangle coefficients and the curvature at rest."""
    ne = len(conn)
    coef = np.zeros((ne, C_COUNT))
    p = x[conn[:, :6]]
    n = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    twice = np.linalg.norm(n, axis=1)
    longest = np.linalg.norm(p[:, [1, 2, 0]] - p[:, :3], axis=2).max(axis=1)
    if (twice <= 1e-10 * longest**2).any():
        e = int(np.argmin(twice / longest**2))
        raise InputError(
            f"triangle {e} near {np.round(p[e, 0], 3).tolist()} has no area.", where="shell mesh", help="Mesh again without slivers."
        )
    n /= twice[:, None]
    e1 = np.broadcast_to(rolling, (ne, 3)) - (rolling * n).sum(axis=1, keepdims=True) * n
    weak = np.linalg.norm(e1, axis=1) < 1e-6 * np.linalg.norm(rolling, axis=-1)
    if weak.any():
        raise InputError(f"the rolling direction stands square on triangle {int(np.flatnonzero(weak)[0])}.", where="shell mesh")
    e1 = _unit(e1)
    axes = np.stack([e1, np.cross(n, e1), n], axis=1)

    def inverse(d1: Floats, d2: Floats, a: Floats, b: Floats) -> Floats:
        m = np.stack([np.stack([(d1 * a).sum(1), (d2 * a).sum(1)], 1), np.stack([(d1 * b).sum(1), (d2 * b).sum(1)], 1)], 1)
        return np.linalg.inv(m)

    linear = inverse(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0], axes[:, 0], axes[:, 1])  # [L, A]
    coef[:, C_LINEAR], coef[:, C_LINEAR + 1] = linear[:, 0, 0], linear[:, 1, 0]
    coef[:, C_LINEAR + 2], coef[:, C_LINEAR + 3] = linear[:, 0, 1], linear[:, 1, 1]
    grad = np.zeros((ne, 3, 2, 3))
    for s in range(3):
        d1, d2 = p[:, 3 + s] - p[:, s], p[:, (s + 1) % 3] - p[:, (s + 2) % 3]
        ns = np.cross(d1, d2)
        size = np.linalg.norm(ns, axis=1)
        if (size <= 1e-10 * longest**2).any():
            e = int(np.argmin(size / longest**2))
            raise InputError(
                f"the sheet is folded flat at a side of triangle {e} near {np.round(p[e, 0], 3).tolist()}.", where="shell mesh"
            )
        ns *= np.sign((ns * n).sum(1) / size + 1e-300)[:, None] / size[:, None]
        # axes of the triangle, turned by the least rotation into the plane of the side
        a = axes[:, 0] - ((axes[:, 0] * ns).sum(1) / (1.0 + (n * ns).sum(1)))[:, None] * (n + ns)
        b = np.cross(ns, a)
        m = inverse(d1, d2, a, b)
        coef[:, 4 * s], coef[:, 4 * s + 1], coef[:, 4 * s + 2], coef[:, 4 * s + 3] = m[:, 0, 0], m[:, 1, 0], m[:, 0, 1], m[:, 1, 1]
        grad[:, s] = m[:, 0, :, None] * d1[:, None] + m[:, 1, :, None] * d2[:, None]
    area_der = np.stack([-linear[:, 0] - linear[:, 1], linear[:, 0], linear[:, 1]], axis=1)  # (ne, 3, A)
    v = np.einsum("esa,esbi,ei->eab", area_der, grad, n)
    coef[:, C_AREA] = 0.5 * twice
    coef[:, C_K11], coef[:, C_K22], coef[:, C_K12] = 2.0 * v[:, 0, 0], 2.0 * v[:, 1, 1], v[:, 0, 1] + v[:, 1, 0]
    return coef, axes

"""Analytic part meshes for the tests: cups, domes, channels and panels as rings or grids of triangles.

All lengths in mm, +z up (against punch travel): a cup's bottom lies at ``z = -depth`` and its flange at ``z = 0``.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

Mesh = tuple[np.ndarray, np.ndarray]


def line(a: tuple[float, float], b: tuple[float, float], h: float) -> np.ndarray:
    """Points from ``a`` to ``b`` at most ``h`` apart."""
    n = max(1, int(np.ceil(np.hypot(b[0] - a[0], b[1] - a[1]) / h - 1e-9)))
    return np.linspace(a, b, n + 1)


def arc(centre: tuple[float, float], radius: float, start: float, end: float, h: float) -> np.ndarray:
    """Points on an arc from angle ``start`` to ``end`` [rad]."""
    n = max(2, int(np.ceil(abs(end - start) * radius / h - 1e-9)))
    t = np.linspace(start, end, n + 1)
    return np.column_stack([centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t)])


def joined(*pieces: np.ndarray) -> np.ndarray:
    """One polyline of pieces that meet end to start."""
    out = [pieces[0]]
    for piece in pieces[1:]:
        out.append(piece[1:])
    return np.vstack(out)


def cup_profile(radius: float, depth: float, corner: float, die: float, flange: float, h: float) -> np.ndarray:
    """Meridian ``(k, 2)`` (r, z) of a cup from the axis outwards; ``radius`` of the wall, ``die = 0`` leaves the rim open."""
    pieces = [line((0.0, -depth), (radius - corner, -depth), h)]
    pieces.append(arc((radius - corner, -depth + corner), corner, -np.pi / 2, 0.0, min(h, corner / 2)))
    if depth - corner - die > 1e-9:
        pieces.append(line((radius, -depth + corner), (radius, -die), h))
    if die > 0:
        pieces.append(arc((radius + die, -die), die, np.pi, np.pi / 2, min(h, die / 2)))
        if flange > 0:
            pieces.append(line((radius + die, 0.0), (radius + die + flange, 0.0), h))
    return joined(*pieces)


def profile_area(profile: np.ndarray) -> float:
    """Exact area of the cones swept by a meridian polyline [mm2]."""
    r, z = profile.T
    return float(np.sum(np.pi * (r[1:] + r[:-1]) * np.hypot(np.diff(r), np.diff(z))))


def stitched(rings: list[np.ndarray], parameters: list[np.ndarray]) -> Mesh:
    """Triangles between closed rings whose points have parameters in [0, 1); the first ring may be one point."""
    start = np.cumsum([0] + [len(r) for r in rings])
    triangles: list[tuple[int, int, int]] = []
    for k in range(len(rings) - 1):
        inner, outer = parameters[k], parameters[k + 1]
        na, nb = len(inner), len(outer)
        a0, b0 = start[k], start[k + 1]
        if na == 1:
            triangles += [(a0, b0 + j, b0 + (j + 1) % nb) for j in range(nb)]
            continue
        i = j = 0
        while i < na or j < nb:
            next_inner = inner[(i + 1) % na] + (1.0 if i + 1 >= na else 0.0)
            next_outer = outer[(j + 1) % nb] + (1.0 if j + 1 >= nb else 0.0)
            if j < nb and (i >= na or next_outer <= next_inner):
                triangles.append((a0 + i % na, b0 + j % nb, b0 + (j + 1) % nb))
                j += 1
            else:
                triangles.append((a0 + i % na, b0 + j % nb, a0 + (i + 1) % na))
                i += 1
    return np.vstack(rings), np.array(triangles, dtype=np.int32)


def revolved(profile: np.ndarray, h: float) -> Mesh:
    """A surface of revolution from a meridian (r, z) that starts on the axis (or off it, then with a hole)."""
    rings, parameters = [], []
    for r, z in profile:
        n = 1 if r < 1e-12 else max(6, int(np.ceil(2 * np.pi * r / h)))
        t = np.arange(n) / n
        parameters.append(t)
        rings.append(np.column_stack([r * np.cos(2 * np.pi * t), r * np.sin(2 * np.pi * t), np.full(n, z)]))
    return stitched(rings, parameters)


def round_cup(radius=25.0, depth=25.0, corner=5.0, die=0.0, flange=0.0, h=2.0) -> Mesh:
    """A round cup of wall radius ``radius``; open rim, or with die radius and flange."""
    return revolved(cup_profile(radius, depth, corner, die, flange, h), h)


def dome(radius=50.0, height=20.0, h=3.0) -> Mesh:
    """A spherical cap over a base circle of ``radius``, apex at ``z = height``."""
    sphere = (radius**2 + height**2) / (2 * height)
    end = np.arcsin(radius / sphere) if height <= radius else np.pi - np.arcsin(radius / sphere)
    t = np.linspace(0.0, end, max(3, int(np.ceil(sphere * end / h))) + 1)
    return revolved(np.column_stack([sphere * np.sin(t), height - sphere + sphere * np.cos(t)]), h)


def _rounded_square(half: float, corner: float, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points and outward normals of a rounded square at parameters ``t`` in [0, 1) of its length."""
    side, quarter = 2 * (half - corner), np.pi / 2 * corner
    length = 4 * (side + quarter)
    s = (t % 1.0) * length
    k = np.minimum((s // (side + quarter)).astype(int), 3)
    u = s - k * (side + quarter)
    straight = u < side
    a = np.where(straight, 0.0, (u - side) / corner)
    y = np.where(straight, u - side / 2, side / 2 + corner * np.sin(a))
    x = np.where(straight, half, half - corner + corner * np.cos(a))
    nx, ny = np.where(straight, 1.0, np.cos(a)), np.where(straight, 0.0, np.sin(a))
    c, sn = np.cos(k * np.pi / 2), np.sin(k * np.pi / 2)
    return np.column_stack([c * x - sn * y, sn * x + c * y]), np.column_stack([c * nx - sn * ny, sn * nx + c * ny])


def square_cup(width=80.0, depth=80.0, corner=12.0, punch=8.0, die=0.0, flange=0.0, h=4.0) -> Mesh:
    """A square cup of wall distance ``width``, plan corner radius ``corner``, punch radius ``punch``; open rim or flange."""
    half = width / 2
    inset = min(punch, corner * 0.999)
    profile = cup_profile(half, depth, punch, die, flange, h)
    profile = profile[profile[:, 0] >= half - inset - 1e-9]
    rings: list[np.ndarray] = [np.array([[0.0, 0.0, -depth]])]
    parameters: list[np.ndarray] = [np.zeros(1)]

    def add(d: float, scale: float, z: float) -> None:
        perimeter = scale * (8 * (half - corner) + 2 * np.pi * (corner + d))
        n = 4 * max(2, int(np.ceil(perimeter / h / 4)))
        t = np.arange(n) / n
        p, normal = _rounded_square(half, corner, t)
        xy = scale * (p + d * normal)
        rings.append(np.column_stack([xy, np.full(n, z)]))
        parameters.append(t)

    floor = max(2, int(np.ceil((half - inset) / h)))
    for k in range(1, floor):
        add(-inset, k / floor, -depth)
    if inset < punch - 1e-9:
        add(-inset, 1.0, float(profile[0, 1]))
        profile = profile[1:]
    for r, z in profile:
        add(float(r) - half, 1.0, float(z))
    return stitched(rings, parameters)


def grid(xs: np.ndarray, ys: np.ndarray, place: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> Mesh:
    """A structured grid placed in space by ``place(u, v) -> (k, 3)``; diagonals alternate."""
    u, v = np.meshgrid(xs, ys, indexing="ij")
    points = place(u.ravel(), v.ravel())
    ny = len(ys)
    i, j = np.meshgrid(np.arange(len(xs) - 1), np.arange(ny - 1), indexing="ij")
    i, j = i.ravel(), j.ravel()
    a, b, c, d = i * ny + j, (i + 1) * ny + j, (i + 1) * ny + j + 1, i * ny + j + 1
    even = (i + j) % 2 == 0
    first = np.where(even[:, None], np.column_stack([a, b, c]), np.column_stack([a, b, d]))
    second = np.where(even[:, None], np.column_stack([a, c, d]), np.column_stack([b, c, d]))
    return points, np.vstack([first, second]).astype(np.int32)


def flat(width=60.0, length=40.0, h=4.0) -> Mesh:
    """A flat rectangle."""
    xs, ys = np.linspace(-width / 2, width / 2, int(width / h) + 1), np.linspace(-length / 2, length / 2, int(length / h) + 1)
    return grid(xs, ys, lambda u, v: np.column_stack([u, v, np.zeros_like(u)]))


def swept(profile: np.ndarray, length: float, h: float) -> Mesh:
    """A profile (x, z) swept along y: a bend, a channel."""
    ys = np.linspace(-length / 2, length / 2, max(2, int(np.ceil(length / h)) + 1))
    k = np.arange(len(profile))
    return grid(k.astype(float), ys, lambda u, v: np.column_stack([profile[u.astype(int), 0], v, profile[u.astype(int), 1]]))


def bend(radius=20.0, angle=np.pi / 2, length=30.0, h=2.0) -> Mesh:
    """A part of a cylinder, crown up."""
    t = np.linspace(-angle / 2, angle / 2, max(4, int(np.ceil(radius * angle / h))) + 1)
    return swept(np.column_stack([radius * np.sin(t), radius * np.cos(t) - radius]), length, h)


def channel_profile(width=40.0, depth=30.0, punch=5.0, die=5.0, flange=15.0, h=2.0) -> np.ndarray:
    """Profile (x, z) of a hat channel with vertical walls."""
    b = width / 2
    right = joined(
        line((0.0, -depth), (b - punch, -depth), h),
        arc((b - punch, -depth + punch), punch, -np.pi / 2, 0.0, punch / 12),
        line((b, -depth + punch), (b, -die), h),
        arc((b + die, -die), die, np.pi, np.pi / 2, die / 12),
        line((b + die, 0.0), (b + die + flange, 0.0), h),
    )
    return np.vstack([(right * [-1.0, 1.0])[:0:-1], right])


def panel(length=400.0, width=80.0, depth=6.0, h=4.0) -> Mesh:
    """A long shallow panel: a crowned strip with a raised middle and bent-down long edges."""

    def place(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        a, b = 2 * u / length, 2 * v / width
        z = depth * (1 - a**2) ** 2 * (1 - b**2) ** 2 + 0.5 * depth * np.cos(np.pi * b / 2) - depth * np.exp(-((a * 4) ** 2)) * 0.3
        return np.column_stack([u, v, z])

    xs, ys = np.linspace(-length / 2, length / 2, int(length / h) + 1), np.linspace(-width / 2, width / 2, int(width / h) + 1)
    return grid(xs, ys, place)


def turned(points: np.ndarray, angle: float, shift: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> np.ndarray:
    """Points turned about z by ``angle`` [rad] and shifted."""
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]).T + np.asarray(shift)


def without(mesh: Mesh, drop: np.ndarray) -> Mesh:
    """The mesh without the triangles marked in ``drop``; unused points are removed."""
    points, triangles = mesh
    kept = triangles[~drop]
    used, inverse = np.unique(kept, return_inverse=True)
    return points[used], inverse.reshape(-1, 3).astype(np.int32)

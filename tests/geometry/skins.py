"""Skins for tests: round and square sheets with holes, bent as asked."""

import numpy as np
from scipy.spatial import Delaunay

from diewright.geometry.mesh import TriMesh


def triangulated(points, keep):
    t = Delaunay(points).simplices
    t = t[keep(points[t].mean(axis=1))]
    a, b, c = (points[t[:, i]] for i in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    t = t[np.abs(turn) > 1e-9]
    turn = turn[np.abs(turn) > 1e-9]
    t[turn < 0] = t[turn < 0][:, ::-1]
    used = np.unique(t)
    number = np.full(len(points), -1)
    number[used] = np.arange(len(used))
    return points[used], number[t].astype(np.int32)


def ring_of(radius, step, centre=(0.0, 0.0)):
    n = max(int(2 * np.pi * radius / step), 6)
    a = 2 * np.pi * np.arange(n) / n
    return np.asarray(centre) + radius * np.column_stack([np.cos(a), np.sin(a)])


def disc(radius=100.0, step=6.0, holes=((20.0, 10.0, 25.0),), height=lambda p: 0 * p[:, 0], seed=0):
    """A round skin with round holes ``(x, y, radius)`` and height ``z = height(xy)``."""
    rng = np.random.default_rng(seed)
    g = np.arange(-radius, radius, step)
    x, y = np.meshgrid(g, 0.866 * g)
    inner = np.column_stack([x.ravel(), y.ravel()]) + rng.normal(0, 0.05 * step, (x.size, 2))
    inner = inner[np.hypot(*inner.T) < radius - 0.6 * step]
    for hx, hy, r in holes:
        inner = inner[np.hypot(inner[:, 0] - hx, inner[:, 1] - hy) > r + 0.6 * step]
    edges = [ring_of(r, step, (hx, hy)) for hx, hy, r in holes]
    points = np.concatenate([ring_of(radius, step), *edges, inner])

    def keep(c):
        ok = np.ones(len(c), dtype=bool)
        for hx, hy, r in holes:
            ok &= np.hypot(c[:, 0] - hx, c[:, 1] - hy) > 0.985 * r * np.cos(np.pi / max(int(2 * np.pi * r / step), 6))
        return ok

    xy, t = triangulated(points, keep)
    return TriMesh(np.column_stack([xy, height(xy)]), t)


def quality(mesh, cells):
    """``4 sqrt(3) A / sum of squared edges``: 1 for an equilateral triangle."""
    p = mesh.points[mesh.triangles[cells]]
    edges = sum(((p[:, i] - p[:, (i + 1) % 3]) ** 2).sum(axis=1) for i in range(3))
    return 4 * np.sqrt(3) * mesh.areas[cells] / edges

"""Formed sheets with known shape for tests: a round cup with radii, and a half cylinder, each with its flat mesh."""

import numpy as np

from diewright.geometry.mesh import TriMesh

RADIUS, PUNCH, DIE, DEPTH, RIM = 40.0, 8.0, 6.0, 35.0, 60.0
"""A cup's middle surface: wall radius, bottom and die radius, depth, rim radius [mm]."""
BOTTOM = RADIUS - PUNCH
WALL_FROM = BOTTOM + 0.5 * np.pi * PUNCH
WALL_TO = WALL_FROM + DEPTH - PUNCH - DIE
FLANGE_FROM = WALL_TO + 0.5 * np.pi * DIE
LENGTH = FLANGE_FROM + RIM - RADIUS - DIE


def meridian(s):
    """Radius and height of the cup's middle line at arc length ``s`` from the middle of the bottom; z = 0 on the flange."""
    s = np.asarray(s, dtype=float)
    a = np.clip((s - BOTTOM) / PUNCH, 0, np.pi / 2)
    b = np.clip((s - WALL_TO) / DIE, 0, np.pi / 2)
    r = np.minimum(s, BOTTOM) + PUNCH * np.sin(a) + DIE * (1 - np.cos(b)) + np.maximum(s - FLANGE_FROM, 0)
    z = -DEPTH + PUNCH * (1 - np.cos(a)) + np.clip(s - WALL_FROM, 0, WALL_TO - WALL_FROM) + DIE * np.sin(b)
    return r, z


def on_cup(s, angle):
    """Points of the cup ``(n, 3)``."""
    r, z = meridian(s)
    return np.column_stack([r * np.cos(angle), r * np.sin(angle), z])


def grid(nu, nv, around=False):
    """Triangles of a grid of ``nu x nv`` points, ``around`` joining the last column to the first, diagonals alternating."""
    triangles = []
    for i in range(nu - 1):
        for j in range(nv if around else nv - 1):
            k = (j + 1) % nv
            a, b, c, d = i * nv + j, (i + 1) * nv + j, (i + 1) * nv + k, i * nv + k
            triangles += [[a, b, c], [a, c, d]] if (i + j) % 2 else [[a, b, d], [b, c, d]]
    return np.array(triangles, dtype=np.int32)


def cup(rings=60, spokes=96):
    """The cup's mesh, its flat mesh (arc length as radius), and the arc length and angle of every point."""
    s = np.linspace(LENGTH / rings, LENGTH, rings)
    angle = 2 * np.pi * np.arange(spokes) / spokes
    ss, aa = (x.ravel() for x in np.meshgrid(s, angle, indexing="ij"))
    ss, aa = np.r_[ss, 0.0], np.r_[aa, 0.0]
    first = np.arange(spokes)
    fan = np.column_stack([np.full(spokes, len(ss) - 1), first, (first + 1) % spokes])
    triangles = np.vstack([grid(rings, spokes, around=True), fan]).astype(np.int32)
    flat = np.column_stack([ss * np.cos(aa), ss * np.sin(aa), 0 * ss])
    return TriMesh(on_cup(ss, aa), triangles), TriMesh(flat, triangles), ss, aa


def half_cylinder(radius, length, n):
    """A half cylinder about y (apex up at x = 0), its unrolled flat, ``2n`` cells round and ``n`` along."""
    u, v = (x.ravel() for x in np.meshgrid(np.linspace(-np.pi / 2, np.pi / 2, 2 * n + 1), np.linspace(0, length, n + 1), indexing="ij"))
    triangles = grid(2 * n + 1, n + 1)
    formed = np.column_stack([radius * np.sin(u), v, radius * np.cos(u)])
    return TriMesh(formed, triangles), TriMesh(np.column_stack([radius * u, v, 0 * u]), triangles)

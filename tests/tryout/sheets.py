"""Sheets of known shape for the tests of the tryout: irregular meshes of a round blank, folded onto rings, cones and cups."""

import numpy as np
from scipy.spatial import Delaunay


def disc_mesh(outer, edge, inner=0.0, seed=0):
    """A jittered hexagonal mesh of a round blank with an optional round hole: points (n, 2), triangles (m, 3) counter-clockwise."""
    rng = np.random.default_rng(seed)
    rows = np.arange(-outer, outer + edge, edge * np.sqrt(3) / 2)
    grid = [
        np.column_stack(
            [np.arange(-outer, outer + edge, edge) + (k % 2) * edge / 2, np.full(len(np.arange(-outer, outer + edge, edge)), y)]
        )
        for k, y in enumerate(rows)
    ]
    xy = np.concatenate(grid)
    xy += rng.uniform(-0.15, 0.15, xy.shape) * edge
    radius = np.hypot(*xy.T)
    xy = xy[(radius < outer - 0.6 * edge) & (radius > (inner + 0.6 * edge if inner else -1.0))]
    rims = [outer] + ([inner] if inner else [])
    rings = [
        r * np.column_stack([np.cos(a), np.sin(a)])
        for r in rims
        for a in [np.linspace(0, 2 * np.pi, int(2 * np.pi * r / edge), endpoint=False)]
    ]
    xy = np.concatenate([xy, *rings])
    t = Delaunay(xy).simplices
    centre = np.hypot(*xy[t].mean(axis=1).T)
    t = t[centre > inner] if inner else t
    a, b, c = (xy[t[:, i]] for i in range(3))
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    t = t[np.abs(area) > 1e-3 * edge**2]
    area = area[np.abs(area) > 1e-3 * edge**2]
    t[area < 0] = t[area < 0][:, ::-1]
    return xy, t.astype(np.int32)


def hoop(xy):
    """Unit vectors round the middle."""
    r = np.maximum(np.hypot(*xy.T), 1e-9)[:, None]
    return np.column_stack([-xy[:, 1], xy[:, 0]]) / r


def turned(xy, profile):
    """The blank folded onto a turned shape: ``profile(s)`` gives radius and height at the blank's radius s."""
    s = np.hypot(*xy.T)
    r, z = profile(s)
    u = xy / np.maximum(s, 1e-12)[:, None]
    return np.column_stack([u * r[:, None], z])


def cup_profile(radius, punch, die, depth):
    """Middle surface of a cup: bottom at -depth, punch arc, wall at ``radius``, die arc, flange at 0; arc length from the middle kept."""
    flat, wall = radius - punch, depth - punch - die
    ends = np.cumsum([flat, punch * np.pi / 2, wall, die * np.pi / 2])

    def at(s):
        r, z = np.zeros_like(s), np.zeros_like(s)
        zone = np.searchsorted(ends, s)
        b = zone == 0
        r[b], z[b] = s[b], -depth
        b = zone == 1
        a = (s[b] - ends[0]) / punch
        r[b], z[b] = flat + punch * np.sin(a), -depth + punch * (1 - np.cos(a))
        b = zone == 2
        r[b], z[b] = radius, -depth + punch + s[b] - ends[1]
        b = zone == 3
        a = (s[b] - ends[2]) / die
        r[b], z[b] = radius + die * (1 - np.cos(a)), -die + die * np.sin(a)
        b = zone == 4
        r[b], z[b] = radius + die + s[b] - ends[3], 0.0
        return r, z

    return at

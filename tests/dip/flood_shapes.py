"""Sheets with closed forms: cups, boxes, bowls."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from diewright.geometry.mesh import TriMesh


def turned(profile, count=96):
    """Sheet of revolution about z from a profile [(r, z), ...]; a first radius 0 closes it. The normal of an upward mouth points inwards."""
    angle = 2 * np.pi * np.arange(count) / count
    points, rows = [], []
    for r, z in profile:
        if r == 0:
            rows.append(np.full(count, len(points)))
            points.append((0.0, 0.0, z))
        else:
            rows.append(len(points) + np.arange(count))
            points += [(r * np.cos(a), r * np.sin(a), z) for a in angle]
    triangles = []
    for low, high in pairwise(rows):
        for i in range(count):
            j = (i + 1) % count
            for t in ((low[i], high[j], low[j]), (low[i], high[i], high[j])):
                if len(set(t)) == 3:
                    triangles.append(t)
    return TriMesh(np.array(points), np.array(triangles))


def cup(radius=50.0, height=40.0, count=96, exact=False):
    """A cup with its mouth up; ``exact`` takes the radius at which the polygon has the circle's area."""
    r = radius * (np.sqrt(2 * np.pi / count / np.sin(2 * np.pi / count)) if exact else 1.0)
    rings = max(2, count // 12)
    return turned([*((r * k / rings, 0.0) for k in range(rings + 1)), *((r, height * k / rings) for k in range(1, rings + 1))], count)


def box(width, length, height):
    """An open box with its mouth up, x over the width."""
    c = np.array([[x, y, z] for z in (0, height) for x, y in ((0, 0), (width, 0), (width, length), (0, length))], float)
    walls = [(0, 1, 2), (0, 2, 3)]
    for i in range(4):
        j = (i + 1) % 4
        walls += [(i, j + 4, j), (i, i + 4, j + 4)]
    return TriMesh(c, np.array(walls))


def joined(*meshes):
    """Several sheets as one."""
    points, triangles, base = [], [], 0
    for m in meshes:
        points.append(m.points)
        triangles.append(m.triangles + base)
        base += len(m.points)
    return TriMesh(np.concatenate(points), np.concatenate(triangles))


def moved(mesh, shift=(0, 0, 0), flip=False):
    """Shifted, and first turned upside down about y."""
    return TriMesh(mesh.points * ((-1, 1, -1) if flip else (1, 1, 1)) + np.asarray(shift), mesh.triangles)


def tilted(degrees):
    """Up for a part whose z axis leans by so much towards x."""
    a = np.radians(degrees)
    return np.array([np.sin(a), 0.0, np.cos(a)])

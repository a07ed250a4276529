"""Walking over a surface: straight on from triangle to triangle, as a rule that is bent over the edges would lead."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh
from diewright.trim.lines.mapping import spots

Floats = NDArray[np.float64]
_AHEAD = 0.02  # mm: a walk begins in the triangle that lies this far ahead, for its start lies on an edge
_MOST = 5_000  # triangles on one way


class Walker:
    """Straightest lines on a triangulated surface (Polthier, Schmies 1998)."""

    def __init__(self, mesh: TriMesh) -> None:
        self.mesh = mesh
        t, m = mesh.triangles.astype(np.int64), len(mesh.triangles)
        edge = np.sort(np.concatenate([t[:, [1, 2]], t[:, [2, 0]], t[:, [0, 1]]]), axis=1)
        order = np.lexsort((edge[:, 1], edge[:, 0]))
        same = (edge[order][1:] == edge[order][:-1]).all(axis=1)
        other = np.full(3 * m, -1)
        other[order[:-1][same]], other[order[1:][same]] = order[1:][same] % m, order[:-1][same] % m
        self.beside = other.reshape(3, m).T  # (m, 3): the triangle over the side opposite corner i

    def go(self, starts: Floats, directions: Floats, lengths: Floats) -> tuple[Floats, Floats]:
        """Ends ``(k, 3)`` of walks from ``starts (k, 3)`` along ``directions (k, 3)`` over ``lengths (k,)`` [mm], and what was left of the way where the surface ended ``(k,)`` [mm]."""
        unit = directions / np.maximum(np.linalg.norm(directions, axis=1, keepdims=True), 1e-300)
        first = spots(self.mesh, starts + _AHEAD * unit)
        begin = spots(self.mesh, starts).on(self.mesh)
        ends, left = np.zeros_like(begin), np.zeros(len(begin))
        for k in range(len(begin)):
            ends[k], left[k] = self._walk(int(first.triangles[k]), begin[k], unit[k], float(lengths[k]))
        return ends, left

    def _walk(self, cell: int, at: Floats, direction: Floats, rest: float) -> tuple[Floats, float]:
        mesh = self.mesh
        came = -1
        for _ in range(_MOST):
            n = mesh.normals[cell]
            d = direction - (direction @ n) * n
            size = float(np.linalg.norm(d))
            if size < 1e-9 or rest <= 0:
                return at, max(rest, 0.0)
            d /= size
            p = mesh.points[mesh.triangles[cell]]
            out, side = np.inf, -1
            for i in range(3):
                a, b = p[(i + 1) % 3], p[(i + 2) % 3]
                across = np.cross(b - a, n)  # points out of the triangle
                speed = float(d @ across)
                if speed <= 1e-12 * float(np.linalg.norm(across)) or self.beside[cell, i] == came >= 0:
                    continue
                way = max(float((a - at) @ across) / speed, 0.0)
                if way < out:
                    out, side = way, i
            if side < 0 or out >= rest:
                return at + rest * d, 0.0
            at, rest = at + out * d, rest - out
            following = int(self.beside[cell, side])
            if following < 0:
                return at, rest
            a, b = p[(side + 1) % 3], p[(side + 2) % 3]
            along = (b - a) / np.linalg.norm(b - a)
            m = mesh.normals[following]
            # the part along the shared edge stays, the part across it goes on in the next triangle's plane
            across = np.cross(along, n)
            direction = (d @ along) * along + (d @ across) * np.cross(along, m)
            came, cell = cell, following
        return at, rest

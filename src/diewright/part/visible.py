"""What a punch that comes straight down can see of a part."""

from __future__ import annotations

import numpy as np

from diewright.geometry.mesh import TriMesh

GRAZE = np.sin(np.radians(0.5))
"""Faces nearer to vertical than half a degree count as vertical: neither undercut themselves nor a roof over others."""


class View:
    """Visibility of the triangles of a mesh along any direction.

    A triangle is undercut if it looks away from the punch, or if something of the part lies between it and the punch. Rays start beside the
    triangle, by ``slack`` [mm] into the open, and ``normals (m, 3)`` are those of the true surface if given, so that the facets of a vertical round wall do not hide each other.
    """

    def __init__(self, mesh: TriMesh, slack: float, normals: np.ndarray | None = None) -> None:
        from igl.embree import EmbreeIntersector

        self.mesh, self.slack = mesh, slack
        self.normals = mesh.normals if normals is None else normals
        self._middle = mesh.points.mean(axis=0)
        self._caster = EmbreeIntersector()
        self._caster.init(
            np.asfortranarray(mesh.points - self._middle, dtype=np.float32), np.asfortranarray(mesh.triangles, dtype=np.int32), True
        )

    def sense(self, up: np.ndarray) -> float:
        """1 if the greater part of the projected area has its normal upwards, else -1."""
        return 1.0 if float(self.mesh.doubled_normals.sum(axis=0) @ up) >= 0 else -1.0

    def undercut(self, up: np.ndarray, which: np.ndarray | None = None) -> np.ndarray:
        """Whether each triangle (of ``which``, or all) is undercut seen against ``up``; ``(m,) bool``."""
        which = np.arange(len(self.mesh.triangles)) if which is None else which
        normals = self.sense(up) * self.normals
        rise = normals @ up
        result = rise[which] < -GRAZE
        flat = np.abs(rise) < GRAZE
        aside = normals[which] - rise[which, None] * up
        length = np.linalg.norm(aside, axis=1, keepdims=True)
        aside = np.divide(aside, length, out=np.zeros_like(aside), where=length > 1e-9)
        origin = (self.mesh.centroids[which] + self.slack * (aside + normals[which]) - self._middle).astype(np.float32)
        ray = up.astype(np.float32)
        for i in np.flatnonzero(~result):
            first = self._caster.intersectRay_first(origin[i], ray, 0.0)
            if first[0] < 0:
                continue
            if not flat[first[0]]:
                result[i] = True
                continue
            hits, _ = self._caster.intersectRay(origin[i], ray, 0.0)
            result[i] = any(not flat[h[0]] for h in hits if h[0] >= 0)
        return result

"""Where the eye stands for a picture, and where a point of the part then lies on the paper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diewright.geometry.mesh import Floats, TriMesh


@dataclass(frozen=True)
class View:
    """A parallel projection that fits points into a frame.

    ``right``, ``up``, ``towards`` are unit vectors in press coordinates (``towards`` points from the part to the eye), ``centre`` the point in the
    middle of the frame, ``width`` and ``height`` the frame on paper [mm], ``per_mm`` the length on paper of one millimetre in the picture plane.
    """

    right: Floats
    up: Floats
    towards: Floats
    centre: Floats
    width: float
    height: float
    per_mm: float

    def place(self, points: Floats) -> Floats:
        """Places on paper ``(n, 2)`` [mm] from the top left of the frame."""
        d = np.atleast_2d(np.asarray(points, dtype=float)) - self.centre
        return np.column_stack([self.width / 2 + d @ self.right * self.per_mm, self.height / 2 - d @ self.up * self.per_mm])

    def hidden(self, point: Floats, mesh: TriMesh) -> bool:
        """Whether the mesh stands between a point on it and the eye."""
        point = np.asarray(point, dtype=float)
        frame = np.column_stack([self.right, self.up, self.towards])
        a, b, c = (mesh.points[mesh.triangles[:, i]] @ frame - point @ frame for i in range(3))
        # barycentric coordinates of the line of sight (0, 0) in each projected triangle
        u = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
        v = c[:, 0] * a[:, 1] - c[:, 1] * a[:, 0]
        w = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        total = u + v + w
        crossed = (np.abs(total) > 1e-12) & (((u >= 0) & (v >= 0) & (w >= 0)) | ((u <= 0) & (v <= 0) & (w <= 0)))
        ahead = (u * a[:, 2] + v * b[:, 2] + w * c[:, 2])[crossed] / total[crossed]
        return bool((ahead > 0.01 * float(np.ptp(mesh.points, axis=0).max())).any())

    def direction(self, vector: Floats) -> Floats:
        """Direction on paper (y down) of a vector, with its foreshortened length."""
        vector = np.asarray(vector, dtype=float)
        return np.array([vector @ self.right, -(vector @ self.up)])


def look(
    points: Floats, width: float, tallest: float, *, flat: bool = False, top: float = 6.0, sides: float = 3.0, bottom: float = 3.0
) -> View:
    """A view that shows ``(n, 3)`` points in a frame ``width`` mm wide and at most ``tallest`` mm high, cut to what it needs.

    ``flat`` looks straight down. Otherwise the eye stands in front, somewhat aside and above, with the part's longer side across the paper.
    ``top``, ``sides`` and ``bottom`` are kept free for names and the scale bar.
    """
    points = np.asarray(points, dtype=float).reshape(-1, 3)
    spread = np.ptp(points[:, :2], axis=0) if len(points) else np.ones(2)
    turned = spread[1] > 1.1 * spread[0]
    if flat:
        towards, up = np.array([0.0, 0.0, 1.0]), (np.array([-1.0, 0.0, 0.0]) if turned else np.array([0.0, 1.0, 0.0]))
    else:
        ahead = np.array([1.0, 0.0, 0.0]) if turned else np.array([0.0, -1.0, 0.0])
        aside = np.array([ahead[1], -ahead[0], 0.0])
        towards = 0.78 * ahead - 0.42 * aside + 0.78 * np.array([0.0, 0.0, 1.0])
        towards /= np.linalg.norm(towards)
        up = np.array([0.0, 0.0, 1.0]) - towards[2] * towards
        up /= np.linalg.norm(up)
    right = np.cross(up, towards)
    a, b = points @ right, points @ up
    span = np.maximum([np.ptp(a), np.ptp(b)], 1e-6)
    per_mm = float(min((width - 2 * sides) / span[0], (tallest - top - bottom) / span[1]))
    height = float(span[1] * per_mm + top + bottom)
    middle_b = (b.min() + b.max()) / 2 + (top - bottom) / 2 / per_mm
    c = points @ towards
    centre = right * (a.min() + a.max()) / 2 + up * middle_b + towards * (c.min() + c.max()) / 2
    return View(right, up, towards, centre, width, height, per_mm)

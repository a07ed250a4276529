"""Trim lines on a formed sheet: which points lie inside, how far along the sheet, and where the line lies on the flat blank."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from diewright.errors import InputError
from diewright.geometry.loops import vector_area
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_CLEAR = 0.2
_MOST_TURN = np.radians(150.0)


@dataclass(frozen=True, eq=False)
class FlatLine:
    """A line carried back to the flat blank: ``points (k, 2) [mm]``; ``triangles (k,)`` and ``weights (k, 3)`` where its points lie on the mesh;
    ``off (k,)`` distance of the given points from the formed mesh [mm]."""

    points: Floats
    triangles: Ints
    weights: Floats
    off: Floats

    @property
    def off_max(self) -> float:
        """Largest distance of the given line from the formed mesh [mm]."""
        return float(self.off.max())


def _line(points: Floats) -> Floats:
    line = np.asarray(points, dtype=np.float64)
    if line.ndim != 2 or line.shape[1] != 3 or not np.isfinite(line).all():
        raise InputError(f"A trim line must be points (k, 3) of finite numbers, and has the shape {line.shape}.", where="line")
    return line


def _closed(points: Floats) -> Floats:
    """A closed line without repeated points."""
    line = _line(points)
    tiny = 1e-9 * float(np.ptp(line, axis=0).max()) if len(line) else 0.0
    keep = np.linalg.norm(line - np.roll(line, 1, axis=0), axis=1) > tiny
    if keep.sum() < 3:
        raise InputError("A closed trim line needs three different points at least.", where="line")
    return line[keep]


def inside_line(points: Floats, line: Floats, normals: Floats, *, triangles: Ints | None = None) -> Floats:
    """Signed distance ``(m,) [mm]`` of sheet points ``(m, 3)`` to a closed trim line ``(k, 3)`` on the sheet, positive inside.

    The nearest point of the line decides. With ``n`` the mean of the sheet's unit ``normals (m, 3)`` at the point and at the line, and ``t`` the line's tangent, inside is
    the side of ``n x t`` when the line runs counter-clockwise round the inside seen from the normals; a line given the other way is turned. So the line may
    run round a wall. The distance is the chord in the sheet, made longer by
    ``(a/2) / sin(a/2)`` for the turn ``a`` of the normal: exact on a cylinder; far from the line and round several bends it is only an estimate.

    ``triangles (q, 3)`` of the same points, if given, let points away from the line take the side of the points that join them to it, so that only the
    neighbourhood of the line is judged by geometry. Raises :class:`InputError` for shapes that do not go together.
    """
    x, n = np.asarray(points, dtype=np.float64), np.asarray(normals, dtype=np.float64)
    if x.ndim != 2 or x.shape[1] != 3 or n.shape != x.shape or not (np.isfinite(x).all() and np.isfinite(n).all()):
        raise InputError(f"Points {x.shape} and normals {n.shape} must both be finite and of the shape (m, 3).", where="points")
    ring = _closed(line)
    if not len(x):
        return np.zeros(0)
    if _backwards(ring, x, n):
        ring = ring[::-1].copy()
    foot, tangent = _nearest(x, ring)
    here = _normals_at(foot, x, n)
    mean = n + here
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-300)
    chord = x - foot
    off = np.einsum("ij,ij->i", chord, mean)
    length = np.linalg.norm(chord, axis=1)
    in_sheet = np.where(np.abs(off) <= 0.5 * length, np.sqrt(np.maximum(length**2 - off**2, 0.0)), length)
    turn = np.minimum(np.arccos(np.clip(np.einsum("ij,ij->i", n, here), -1.0, 1.0)), _MOST_TURN)
    distance = in_sheet / np.sinc(turn / (2.0 * np.pi))
    side = np.sign(np.einsum("ij,ij->i", np.cross(mean, tangent), chord))
    if triangles is not None:
        side = _joined_sides(side, length, x, np.asarray(triangles))
    return side * distance


def _backwards(ring: Floats, x: Floats, n: Floats) -> bool:
    """Whether a line runs clockwise round its inside: its vector area against the normals along it, or, where these cancel (a line round a wall),
    against those of the whole sheet."""
    area = vector_area(ring)
    along = _normals_at(ring, x, n).mean(axis=0)
    if abs(area @ along) < _CLEAR * float(np.linalg.norm(area)):
        along = n.mean(axis=0)
    return bool(area @ along < 0)


def _nearest(x: Floats, ring: Floats) -> tuple[Floats, Floats]:
    """Nearest points ``(m, 3)`` on a closed line and the unit tangents there; at a vertex the mean of both sides."""
    import igl

    k = len(ring)
    pairs = np.column_stack([np.arange(k), (np.arange(k) + 1) % k])
    _, segment, foot = igl.point_mesh_squared_distance(x, ring, pairs)
    segment = np.asarray(segment).ravel()
    step = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(step, axis=1)
    unit = step / length[:, None]
    share = np.einsum("ij,ij->i", foot - ring[segment], unit[segment]) / length[segment]
    tangent = unit[segment].copy()
    for at, other in ((share < 1e-9, segment - 1), (share > 1 - 1e-9, (segment + 1) % k)):
        tangent[at] += unit[other[at]]
    size = np.linalg.norm(tangent, axis=1, keepdims=True)
    # a line that turns right back has no mean direction at its tip: the segment's own counts
    return foot, np.where(size > 1e-9, tangent / np.maximum(size, 1e-300), unit[segment])


def _normals_at(feet: Floats, x: Floats, n: Floats) -> Floats:
    """Unit normals of the sheet at places on the line, from the three nearest points."""
    from scipy.spatial import cKDTree

    k = min(3, len(x))
    away, near = cKDTree(x).query(feet, k=k)
    away, near = away.reshape(-1, k), near.reshape(-1, k)
    weight = 1.0 / np.maximum(away, 1e-9)
    mean = (weight[:, :, None] * n[near]).sum(axis=1)
    size = np.linalg.norm(mean, axis=1, keepdims=True)
    return np.where(size > 1e-9, mean / np.maximum(size, 1e-300), n[near[:, 0]])


def _joined_sides(side: Floats, away: Floats, x: Floats, triangles: Ints) -> Floats:
    """Sides with the far points made to agree, patch by patch, with the near points that border the patch.

    A point is near when the line comes closer than the longest of its edges. Far points of one patch are joined by edges that the line cannot cross.
    """
    e = np.unique(np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1), axis=0)
    length = np.linalg.norm(x[e[:, 0]] - x[e[:, 1]], axis=1)
    longest = np.zeros(len(x))
    for i in (0, 1):
        np.maximum.at(longest, e[:, i], length)
    far = away > longest
    a, b = e.T
    both = far[a] & far[b]
    graph = coo_matrix((np.ones(both.sum()), (a[both], b[both])), shape=(len(x), len(x)))
    _, patch = connected_components(graph, directed=False)
    votes = np.zeros(patch.max() + 1)
    for i, j in ((a, b), (b, a)):
        border = far[i] & ~far[j]
        np.add.at(votes, patch[i[border]], side[j[border]])
    result = side.copy()
    known = far & (votes[patch] != 0)
    result[known] = np.sign(votes[patch[known]])
    return result


def map_line(flat: TriMesh, formed: TriMesh, line: Floats, *, step: float | None = None) -> FlatLine:
    """Carry a line ``(k, 3)`` on the formed mesh back to the flat one with the same triangles: nearest point, barycentric weights.

    With ``step`` [mm] points are added so that none are farther apart (open line as given: repeat the first point to close it). Raises
    :class:`InputError` if the two meshes do not have the same triangles.
    """
    import igl

    if not np.array_equal(flat.triangles, formed.triangles) or len(flat.points) != len(formed.points) or not len(flat.triangles):
        raise InputError("The flat and the formed mesh must have the same triangles.", where="line")
    x = _line(line)
    if not len(x):
        raise InputError("The line to be carried back has no points.", where="line")
    if step is not None:
        x = _dense(x, step)
    square, triangle, foot = igl.point_mesh_squared_distance(x, formed.points, formed.triangles.astype(np.int64))
    triangle = np.asarray(triangle).ravel()
    corner = formed.triangles[triangle]
    weights = _barycentric(foot, *(formed.points[corner[:, i]] for i in range(3)))
    points = np.einsum("ki,kij->kj", weights, flat.points[corner])[:, :2]
    return FlatLine(points, triangle.astype(np.int32), weights, np.sqrt(np.maximum(np.asarray(square).ravel(), 0.0)))


def _dense(x: Floats, step: float) -> Floats:
    if not (np.isfinite(step) and step > 0):
        raise InputError(f"The step along a line must be a positive number of millimetres, and is {step!r}.", where="step")
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(x, axis=0), axis=1))]
    parts = [np.linspace(a, b, max(int(np.ceil((b - a) / step)), 1), endpoint=False) for a, b in pairwise(along)]
    s = np.concatenate([*parts, along[-1:]])
    return np.column_stack([np.interp(s, along, x[:, i]) for i in range(3)])


def _barycentric(p: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    """Weights ``(k, 3)`` of points in the planes of triangles, cut to the triangle and summing to 1."""
    u, v, w = b - a, c - a, p - a
    uu, uv, vv = ((i * j).sum(axis=1) for i, j in ((u, u), (u, v), (v, v)))
    wu, wv = (w * u).sum(axis=1), (w * v).sum(axis=1)
    size = uu * vv - uv**2
    beta = np.divide(vv * wu - uv * wv, size, out=np.zeros_like(size), where=size > 0)
    gamma = np.divide(uu * wv - uv * wu, size, out=np.zeros_like(size), where=size > 0)
    weights = np.clip(np.column_stack([1.0 - beta - gamma, beta, gamma]), 0.0, 1.0)
    return weights / weights.sum(axis=1, keepdims=True)

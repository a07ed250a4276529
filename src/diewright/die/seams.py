"""Seams: the lines of the drawn surface across which its curvature jumps so that a die opened by the clearance would break."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.die.clearance import MANY, Seams, eased
from diewright.die.extend import PART, PLANE, Drawn
from diewright.die.parallel import sharp_points
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Rule = Callable[[Floats, Floats], Floats]

FAINT, PLAIN = np.deg2rad(0.2), np.deg2rad(0.6)
"""A seam that would break the die by less than the first is left alone; from the second on it has its whole weight [rad]."""
_STEP = 0.1  # of the points along a seam, in reaches
_BENT = 0.01  # jump of the curvature times the reach from which a line counts as the edge of a bend
_LEAST = 0.1  # of the greatest reach, where two seams run into one


@dataclass(frozen=True, eq=False)
class Origin:
    """What the part's triangles are known by: the CAD face of each ``face (m,)`` (-1: filled in), and how many of the points, the first ones, are ``given`` with the CAD's own normals."""

    face: Ints
    given: int


def patches(drawn: Drawn, origin: Origin | None) -> Ints:
    """Numbers of the smooth pieces of the drawn surface ``(m,)``: the CAD faces of the part (without ``origin`` all one), the pieces of the sections, the blankholder surface."""
    own = np.zeros(int((drawn.kind == PART).sum()), dtype=np.int64) if origin is None else origin.face
    k, s = drawn.columns.shape[:2]
    piece = np.searchsorted(np.asarray(drawn.joints, dtype=np.int64), np.arange(s - 1), side="right")
    first = int(own.max(initial=0)) + 1
    ring = np.full(int((drawn.kind == PLANE).sum()), first + s)
    return np.concatenate([own, np.repeat(first + piece, 2 * k), ring])


def find_seams(drawn: Drawn, origin: Origin | None, rule: Rule, extra: float, reach: float) -> Seams:
    """The lines between smooth patches of the drawn surface across which the die would break.

    ``rule`` is the unchanged share, ``extra`` [mm] the clearance, ``reach`` [mm] the greatest. A seam reaches no further than to the next one that runs alongside it. Normals that were made up between
    the CAD's own (as between the points of a cone's edge) are not used along the seams.
    """
    mesh, normals = drawn.mesh, drawn.normals
    pair, jump, across = _joints(mesh, normals, patches(drawn, origin))
    at, up = mesh.points[pair].mean(axis=1), normals[pair].mean(axis=1)
    h = 1e-3
    slope = np.abs(rule(at, _unit(up + h * across)) - rule(at, _unit(up - h * across))) / (2.0 * h)
    weight = eased((extra * slope * jump - FAINT) / (PLAIN - FAINT))
    if not (weight > 0.0).any():
        return Seams(np.zeros((0, 3)), np.zeros((0, 3)), *np.zeros((3, 0)))
    if origin is not None:
        last = int(mesh.triangles[drawn.kind == PART].max()) + 1
        pair, jump, weight = _joined(pair, jump, weight, origin.given, last)
    curve = _Curves(np.column_stack([mesh.points, normals, rule(mesh.points, normals)]), pair)
    every = curve.sampled(np.flatnonzero(jump * reach > _BENT), _STEP * reach)
    ours = np.flatnonzero(weight > 0.0)
    coarse = curve.sampled(ours, _STEP * reach)
    least = np.full(len(pair), reach)
    np.minimum.at(least, coarse.edge, _alongside(coarse, every, reach))
    fine = curve.sampled(ours, _STEP * np.maximum(least[ours], _LEAST * reach))
    wide = np.maximum(_alongside(fine, every, reach), _LEAST * reach)
    return Seams(fine.value[:, :3], _unit(fine.value[:, 3:6]), fine.value[:, 6], wide, weight[fine.edge] * fine.length)


def _joined(pair: Ints, jump: Floats, weight: Floats, first: int, last: int) -> tuple[Ints, Floats, Floats]:
    """Edges joined at the points from number ``first`` to ``last`` that two of them share, with the larger jump and weight."""
    pair, jump, weight = pair.copy(), jump.copy(), weight.copy()
    users: dict[int, list[int]] = {}
    for i, two in enumerate(pair.tolist()):
        for point in two:
            users.setdefault(point, []).append(i)
    gone = set()
    for point, found in users.items():
        if not first <= point < last or len(found) != 2 or found[0] == found[1]:
            continue
        i, j = found
        near, far = (int(pair[e].sum()) - point for e in (i, j))
        pair[i] = near, far
        jump[i], weight[i] = max(jump[i], jump[j]), max(weight[i], weight[j])
        gone.add(j)
        users[far] = [i if e == j else e for e in users[far]]
    keep = np.array([i for i, (a, b) in enumerate(pair.tolist()) if i not in gone and a != b], dtype=np.int64)
    return pair[keep], jump[keep], weight[keep]


def _unit(v: Floats) -> Floats:
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-300))


def _joints(mesh: TriMesh, normals: Floats, patch: Ints) -> tuple[Ints, Floats, Floats]:
    """Mesh edges ``(k, 2)`` between two patches, the jump of the normal curvature across them ``(k,)`` [1/mm], and the unit way across ``(k, 3)``; sharp edges left out.

    A triangle's three chords give its curvature: ``(n_j - n_i) . (x_j - x_i) / |x_j - x_i|^2`` is exact on circles, and three of them make the form.
    """
    cells = mesh.triangles.astype(np.int64)
    edge = np.sort(np.concatenate([cells[:, [0, 1]], cells[:, [1, 2]], cells[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(cells)), 3)
    order = np.lexsort((edge[:, 1], edge[:, 0]))
    edge, owner = edge[order], owner[order]
    same = np.flatnonzero((edge[1:] == edge[:-1]).all(axis=1))
    left, right = owner[same], owner[same + 1]
    sharp = np.asarray(sharp_points(mesh, normals)[cells].any(axis=1))
    smooth = (patch[left] != patch[right]) & (patch[left] >= 0) & (patch[right] >= 0) & ~sharp[left] & ~sharp[right]
    pair, left, right = edge[same][smooth], left[smooth], right[smooth]
    along = _unit(mesh.points[pair[:, 1]] - mesh.points[pair[:, 0]])
    across = _unit(np.cross(normals[pair].mean(axis=1), along))
    return pair, np.abs(_curvature(mesh, normals, left, across) - _curvature(mesh, normals, right, across)), across


def _curvature(mesh: TriMesh, normals: Floats, cell: Ints, way: Floats) -> Floats:
    """Normal curvature ``(k,)`` [1/mm] of triangles along ways ``(k, 3)``."""
    corner, up = mesh.points[mesh.triangles[cell]], normals[mesh.triangles[cell]]
    n = _unit(up.mean(axis=1))
    v = np.cross(n, way)
    u = np.cross(v, n)
    d, turn = np.roll(corner, -1, axis=1) - corner, np.roll(up, -1, axis=1) - up
    a, b = np.einsum("kij,kj->ki", d, u), np.einsum("kij,kj->ki", d, v)
    square = np.maximum(a * a + b * b, 1e-300)
    form = np.stack([a * a, 2.0 * a * b, b * b], axis=2) / square[:, :, None] + 1e-12 * np.eye(3)
    bend = np.einsum("kij,kij->ki", d, turn) / np.maximum(np.einsum("kij,kij->ki", d, d), 1e-300)
    first: Floats = np.linalg.solve(form, bend[..., None])[:, 0, 0]
    return first / np.maximum(np.einsum("ij,ij->i", u, u), 1e-300)


@dataclass(frozen=True, eq=False)
class _Points:
    """Values at points along edges ``(k, ...)``, the edges' unit ways ``(k, 3)`` and numbers ``(k,)``, and the length each point stands for [mm]."""

    value: Floats
    way: Floats
    edge: Ints
    length: Floats


class _Curves:
    """Mesh edges as pieces of smooth curves: cubics whose slopes at a point are the mean over the edges that go straight on there.

    ``value (n, d)`` at the mesh's points, places first; ``pair (k, 2)`` the edges.
    """

    def __init__(self, value: Floats, pair: Ints) -> None:
        self.value, self.pair = value, pair
        step = value[pair[:, 1]] - value[pair[:, 0]]
        self.length = np.linalg.norm(step[:, :3], axis=1)
        self.slope = step / self.length[:, None]
        self.way = self.slope[:, :3]
        ends: dict[int, list[int]] = {}
        for i, (a, b) in enumerate(pair.tolist()):
            ends.setdefault(a, []).append(i)
            ends.setdefault(b, []).append(i)
        self.ends = ends

    def sampled(self, edges: Ints, spacing: Floats | float) -> _Points:
        """Points in the middles of equal pieces of ``edges``, no longer than ``spacing`` [mm]."""
        count = np.maximum(np.ceil(self.length[edges] / spacing), 1).astype(np.int64)
        start, stop = (np.array([self._slope(int(i), side) for i in edges]) for side in (0, 1))
        k = np.repeat(np.arange(len(edges)), count)
        t = ((np.arange(len(k)) - np.repeat(np.cumsum(count) - count, count)) + 0.5) / count[k]
        t = t[:, None]
        i = edges[k]
        h = self.length[i][:, None]
        a, b = self.value[self.pair[i, 0]], self.value[self.pair[i, 1]]
        value = a + (b - a) * t * t * (3.0 - 2.0 * t) + h * (t * (1.0 - t) ** 2 * start[k] - t * t * (1.0 - t) * stop[k])
        return _Points(value, self.way[i], i, self.length[i] / count[k])

    def _slope(self, i: int, side: int) -> Floats:
        """Slope of the values along edge ``i`` at its end 0 or 1."""
        other, straight = -1, 0.7
        for j in self.ends[int(self.pair[i, side])]:
            facing = float(self.way[i] @ self.way[j]) * (1.0 if self.pair[j, 1 - side] == self.pair[i, side] else -1.0)
            if j != i and facing > straight:
                other, straight = j, facing
        if other < 0:
            return np.asarray(self.slope[i])
        turned = 1.0 if self.pair[other, 1 - side] == self.pair[i, side] else -1.0
        h, g = self.length[i], self.length[other]
        return np.asarray((g * self.slope[i] + h * turned * self.slope[other]) / (g + h))


def _alongside(points: _Points, every: _Points, reach: float) -> Floats:
    """Distance ``(k,)`` [mm], ``reach`` at most, to the nearest point of a line that runs the same way (within 45 deg) and lies to the side."""
    at, others = points.value[:, :3], every.value[:, :3]
    out = np.full(len(at), reach)
    tree = cKDTree(others)
    for first in range(0, len(at), MANY):
        pair = cKDTree(at[first : first + MANY]).sparse_distance_matrix(tree, reach, output_type="ndarray")
        i, j, r = first + pair["i"], pair["j"], pair["v"]
        beside = np.abs(np.einsum("ij,ij->i", others[j] - at[i], points.way[i])) < 0.7 * r
        same = np.abs(np.einsum("ij,ij->i", points.way[i], every.way[j])) > 0.7
        np.minimum.at(out, i[beside & same], r[beside & same])
    return out

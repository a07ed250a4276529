"""A sheet cut by a plane: middle line, upper and lower skin, for drawings with the thickness to scale.

Where the plane meets the sheet at an angle, the cut sheet looks thicker than it is: the skins lie ``t / (2 |n_p|)`` from the middle line, with ``n_p`` the part
of the unit normal that lies in the plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_ON_PLANE = 1e-6  # of the median edge: nearer vertices lie on the plane
_LEAST_NORMAL = 1.0 / 3.0  # a glancing cut is not drawn thicker than three times the sheet


@dataclass(frozen=True, eq=False)
class SectionLine:
    """One piece of a section.

    ``middle (k, 3)``, ``upper (k, 3)`` on the side of the normals and ``lower (k, 3)`` [mm], all in the plane; ``thickness (k,)`` [mm] of the sheet itself.
    Seen with the plane's normal towards the eye, the upper skin is on the left of travel. A ``closed`` line does not repeat its first point.
    ``nodes (k, 2)`` and ``share (k,)`` say where each point lies: ``(1 - share) * first + share * second``.
    """

    middle: Floats
    upper: Floats
    lower: Floats
    thickness: Floats
    closed: bool
    nodes: Ints
    share: Floats

    def interpolate(self, values: Floats) -> Floats:
        """A point field of the mesh ``(n, ...)`` along the line ``(k, ...)``."""
        share = self.share.reshape(-1, *([1] * (np.ndim(values) - 1)))
        return (1.0 - share) * values[self.nodes[:, 0]] + share * values[self.nodes[:, 1]]

    @property
    def length(self) -> float:
        """Length of the middle line [mm]."""
        ring = np.vstack([self.middle, self.middle[:1]]) if self.closed else self.middle
        return float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum())


def plane_axes(normal: Floats) -> Floats:
    """Two unit axes ``(2, 3)`` of the drawing plane, right-handed with the normal; the second points up (+z), or along +y where the plane is level."""
    n = _unit(normal)
    up = np.array([0.0, 0.0, 1.0]) if abs(n[2]) < 0.999 else np.array([0.0, 1.0, 0.0])
    across = _unit(np.cross(up, n))
    return np.stack([across, np.cross(n, across)])


def section(mesh: TriMesh, thickness: Floats | float, origin: Floats, normal: Floats) -> tuple[SectionLine, ...]:
    """Cut a sheet with ``thickness (n,)`` [mm] at its points by the plane through ``origin (3,)`` with ``normal (3,)``; longest line first.

    Vertices and edges may lie on the plane, so a quarter can be cut along its own edge; of triangles that lie in the plane only the border of their
    patch is returned. Empty where the plane misses the sheet. Raises :class:`InputError` for a plane without a direction or thickness of the wrong count.
    """
    n = _unit(np.asarray(normal, dtype=np.float64))
    t = np.broadcast_to(np.asarray(thickness, dtype=np.float64), len(mesh.points)) if np.ndim(thickness) == 0 else np.asarray(thickness)
    if t.shape != (len(mesh.points),) or not np.isfinite(t).all():
        raise InputError(
            f"The thickness must be one finite number a point, {len(mesh.points)} in all, and has the shape {t.shape}.", where="thickness"
        )
    if not len(mesh.triangles):
        return ()
    away = (mesh.points - np.asarray(origin, dtype=np.float64)) @ n
    edges = mesh.edges
    away[np.abs(away) <= _ON_PLANE * np.median(np.linalg.norm(mesh.points[edges[:, 0]] - mesh.points[edges[:, 1]], axis=1))] = 0.0
    links = np.concatenate([_crossings(mesh, away), _lying_edges(mesh, away)])
    found = [_line(mesh, t, away, n, chain, closed) for chain, closed in _chains(np.unique(np.sort(links, axis=1), axis=0))]
    return tuple(sorted(found, key=lambda line: -round(line.length, 9)))


def _unit(v: Floats) -> Floats:
    length = float(np.linalg.norm(v))
    if not (np.isfinite(length) and length > 0):
        raise InputError("The cutting plane needs a normal that is not zero.", where="normal")
    return np.asarray(v, dtype=np.float64) / length


def _number(mesh: TriMesh, away: Floats, a: Ints, b: Ints) -> NDArray[np.int64]:
    """Number of the crossing of edges ``a-b``: the vertex if one lies on the plane, else the count of points plus the edge's number."""
    n = len(mesh.points)
    key = mesh.edges[:, 0].astype(np.int64) * n + mesh.edges[:, 1]
    edge = np.searchsorted(key, np.minimum(a, b).astype(np.int64) * n + np.maximum(a, b))
    return np.where(away[a] == 0, a, np.where(away[b] == 0, b, n + edge))


def _crossings(mesh: TriMesh, away: Floats) -> NDArray[np.int64]:
    """Pairs of crossings ``(s, 2)``, one a triangle; a vertex on the plane counts as above it, so no triangle is crossed on three sides."""
    above = away[mesh.triangles] >= 0
    lone = np.where(above.sum(axis=1) == 1, np.argmax(above, axis=1), np.argmin(above, axis=1))
    cut = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    t, i = mesh.triangles[cut], lone[cut]
    rows = np.arange(len(cut))
    a, b, c = t[rows, i], t[rows, (i + 1) % 3], t[rows, (i + 2) % 3]
    pairs = np.column_stack([_number(mesh, away, a, b), _number(mesh, away, a, c)])
    return pairs[pairs[:, 0] != pairs[:, 1]]


def _lying_edges(mesh: TriMesh, away: Floats) -> NDArray[np.int64]:
    """Edges that lie on the plane with nothing below it beside them and not inside a patch that lies in the plane."""
    n = len(mesh.points)
    side = away[mesh.triangles]
    rows = np.flatnonzero((side == 0).sum(axis=1) >= 2)
    found: dict[tuple[int, int], list[int]] = {}
    for row in rows:
        t = mesh.triangles[row]
        below, lying = int((side[row] < 0).any()), int((side[row] == 0).all())
        for i in range(3):
            a, b = int(t[i]), int(t[(i + 1) % 3])
            if away[a] == 0 and away[b] == 0:
                count = found.setdefault((min(a, b), max(a, b)), [0, 0])
                count[0] += below
                count[1] += lying
    keep = [edge for edge, (below, lying) in found.items() if below == 0 and lying <= 1]
    return np.array(sorted(keep), dtype=np.int64).reshape(-1, 2) if n else np.zeros((0, 2), dtype=np.int64)


def _chains(links: NDArray[np.int64]) -> list[tuple[list[int], bool]]:
    """Links joined to open and closed chains; where more than two meet, chains end."""
    near: dict[int, list[int]] = {}
    for a, b in links.tolist():
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    left = {(a, b) for a, b in links.tolist()}
    chains: list[tuple[list[int], bool]] = []

    def walk(start: int, to: int) -> list[int]:
        chain = [start]
        while True:
            left.discard((min(chain[-1], to), max(chain[-1], to)))
            chain.append(to)
            if len(near[to]) != 2 or to == start:
                return chain
            a, b = near[to]
            to = b if a == chain[-2] else a

    for start in sorted(k for k, v in near.items() if len(v) != 2):
        for to in near[start]:
            if (min(start, to), max(start, to)) in left:
                chain = walk(start, to)
                chains.append((chain[:-1], True) if chain[-1] == start else (chain, False))
    for start, to in sorted(left):
        if (start, to) in left:
            chains.append((walk(start, to)[:-1], True))
    return chains


def _line(mesh: TriMesh, t: Floats, away: Floats, n: Floats, chain: list[int], closed: bool) -> SectionLine:
    ids = np.array(chain, dtype=np.int64)
    points = len(mesh.points)
    on_edge = ids >= points
    nodes = np.column_stack([ids, ids])
    nodes[on_edge] = mesh.edges[ids[on_edge] - points]
    a, b = away[nodes[:, 0]], away[nodes[:, 1]]
    share = np.divide(a, a - b, out=np.zeros(len(ids)), where=on_edge)

    def between(values: Floats) -> Floats:
        w = share if values.ndim == 1 else share[:, None]
        return (1.0 - w) * values[nodes[:, 0]] + w * values[nodes[:, 1]]

    middle = between(mesh.points)
    normal = between(mesh.point_normals)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    in_plane = normal - (normal @ n)[:, None] * n
    size = np.linalg.norm(in_plane, axis=1)
    thickness = between(t)
    half = 0.5 * thickness / np.clip(size, _LEAST_NORMAL, None)
    shift = half[:, None] * in_plane / np.maximum(size, 1e-300)[:, None]
    nearly = np.diff(np.vstack([middle, middle[:1]]), axis=0) if closed else np.gradient(middle, axis=0)
    if (np.cross(n, nearly) * in_plane).sum() < 0:
        middle, shift, thickness, nodes, share = middle[::-1], shift[::-1], thickness[::-1], nodes[::-1], share[::-1]
    return SectionLine(middle, middle + shift, middle - shift, thickness, closed, nodes.astype(np.int32), share)

"""The flanges that the stage ``shape`` drew open, read off its mesh and the finished part's: bend line, legs, curvature, holes.

Both meshes have the same triangles, so a flange is what moved between them. Of it a CAD face is bend if the turn changes across it and its mean curvature does so by more than that of the widest bend;
the rest is the flange's own (where the mesh has no CAD faces, the share of the whole turn decides). Lengths are those of the finished part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import FlangeStated
from diewright.job.stage import Result
from diewright.trim.bends.curve import curves

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
MOVED = 1e-6
EVEN = 3.0
"""Change of the turn across a CAD face [deg] up to which it is no bend."""
BEND = 40.0
"""Widest radius of a bend over the thickness, as the stage ``shape`` finds them."""
NEARLY = 0.97
"""Share of the whole turn from which a triangle lies beyond the bend, where the mesh has no CAD faces."""
SHARE = 0.05
"""Share of the bend line that may lie nearer to the rolling direction than the angle that counts (ours)."""


@dataclass(frozen=True, eq=False)
class Line:
    """A flange as found: ``length`` of its bend line [mm], ``leg`` [least, most] from the bend's tangent line to the free edge, ``at`` (k, 3) points of the root line in press
    coordinates of the finished part, ``bearing`` (e,) of its pieces in plan as it is drawn [deg] and ``lengths`` (e,) [mm], ``curves`` (k, 3) how the root line turns (:func:`curves`; none: straight),
    ``hole`` nearest distance of a hole's edge (inf: none), ``hole_at`` (3,)."""

    length: float
    leg: tuple[float, float]
    at: Floats
    bearing: Floats
    lengths: Floats
    curves: Floats
    hole: float
    hole_at: Floats

    def off(self, direction: float) -> float:
        """Angle between the line and a direction in plan [deg], 0 to 90: all but :data:`SHARE` of a line that turns lies farther off it."""
        angle = np.abs(self.bearing - direction) % 180.0
        angle = np.minimum(angle, 180.0 - angle)
        order = np.argsort(angle)
        run = np.cumsum(self.lengths[order])
        return float(angle[order][np.searchsorted(run, SHARE * run[-1])])


@dataclass(frozen=True, eq=False)
class _Parts:
    """Components of the part: ``label`` (m,) of each triangle, ``bend`` (c,), ``body`` the largest unmoved component, edges ``(e, 2)`` points and ``(e, 2)`` triangles."""

    label: Ints
    bend: NDArray[np.bool_]
    body: int
    points: Ints
    sides: Ints


def read_lines(shape: Result, tipping: Result, stated: Sequence[FlangeStated], thickness: float) -> list[Line]:
    """A line for each stated flange, in their order. Raises :class:`InputError` where a flange is not found again in the two meshes."""
    was, now, face = _both(shape, tipping)
    if not len(stated):
        return []
    parts = _parts(was, now, face, BEND * thickness)
    loops = [np.asarray(a).ravel() for name, a in tipping.arrays.items() if name.startswith("hole_")]
    return [_line(was, now, parts, _seed(was, face, f, i), loops, i) for i, f in enumerate(stated)]


def _both(shape: Result, tipping: Result) -> tuple[TriMesh, TriMesh, Ints]:
    """Finished part and draw shape with the same points and triangles, both in press coordinates."""
    drawn, part = shape.meshes["part"], tipping.meshes["part"]
    own = np.flatnonzero(np.asarray(drawn.cell["copy"]) == 0)
    of = np.asarray(drawn.cell["of"])[own]
    if len(own) != len(part.mesh.triangles) or not np.array_equal(np.sort(of), np.arange(len(own))):
        raise InputError(
            "the draw shape does not have the finished part's triangles.",
            where="shape",
            help="Work the stages 'tipping' and 'shape' again.",
        )
    place = np.linalg.inv(np.asarray(shape.arrays["copies"])[0])
    points = np.array(part.mesh.points)
    for corner in range(3):
        points[part.mesh.triangles[of, corner]] = drawn.mesh.points[drawn.mesh.triangles[own, corner]]
    return part.mesh, TriMesh(points @ place[:3, :3].T + place[:3, 3], part.mesh.triangles), np.asarray(part.cell["face"]).astype(np.int64)


def _seed(mesh: TriMesh, face: Ints, f: FlangeStated, i: int) -> int:
    if f.face is not None:
        found = np.flatnonzero(face == f.face)
        if len(found):
            return int(found[0])
    elif f.x is not None and f.y is not None and f.z is not None:
        import igl

        _, cell, _ = igl.point_mesh_squared_distance(np.array([[f.x, f.y, f.z]]), np.array(mesh.points), mesh.triangles.astype(np.int64))
        return int(np.ravel(cell)[0])
    raise InputError(
        "the flange is not found on the part.", where=f"shape.flange.{i}", help="State a point on it (x, y, z), or its CAD face."
    )


def _edges(mesh: TriMesh) -> tuple[Ints, Ints]:
    """Inner edges: their points ``(e, 2)`` and the two triangles beside each ``(e, 2)``."""
    t = mesh.triangles.astype(np.int64)
    ends = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    cell = np.tile(np.arange(len(t)), 3)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    ends, cell = ends[order], cell[order]
    same = np.flatnonzero((ends[1:] == ends[:-1]).all(axis=1))
    return ends[same], np.column_stack([cell[same], cell[same + 1]])


def _parts(was: TriMesh, now: TriMesh, face: Ints, widest: float) -> _Parts:
    moved = (np.linalg.norm(now.points - was.points, axis=1) > MOVED)[was.triangles].any(axis=1)
    turn = np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", was.normals, now.normals), -1.0, 1.0)))
    points, sides = _edges(was)
    bend = np.zeros(len(moved), dtype=bool)
    faces = np.unique(face[moved])
    if len(faces) > 1:
        within = face[sides[:, 0]] == face[sides[:, 1]]
        length = np.linalg.norm(was.points[points[:, 1]] - was.points[points[:, 0]], axis=1)
        _, face = np.unique(face, return_inverse=True)
        faces = np.unique(face[moved])
        change = np.bincount(
            face[sides[within, 0]], weights=((_folds(was, sides) - _folds(now, sides)) * length)[within], minlength=int(face.max()) + 1
        )
        for f in faces:
            mine = moved & (face == f)
            bend |= mine & bool(np.ptp(turn[mine]) > EVEN and abs(change[f]) * widest > was.areas[mine].sum())
    else:
        bend = moved & (turn < NEARLY * float(turn[moved].max(initial=0.0)))
    kind = np.where(~moved, 0, np.where(bend, 1, 2))
    alike = kind[sides[:, 0]] == kind[sides[:, 1]]
    m = len(moved)
    graph = coo_matrix((np.ones(alike.sum()), (sides[alike, 0], sides[alike, 1])), shape=(m, m))
    count, label = connected_components(graph, directed=False)
    still = np.bincount(label, weights=np.where(moved, 0.0, was.areas), minlength=count)
    return _Parts(label, np.bincount(label, weights=bend, minlength=count) > 0, int(np.argmax(still)), points, sides)


def _folds(mesh: TriMesh, sides: Ints) -> Floats:
    """Signed angle [rad] between the two triangles beside each inner edge."""
    a, b = mesh.normals[sides[:, 0]], mesh.normals[sides[:, 1]]
    over = np.einsum("ij,ij->i", mesh.centroids[sides[:, 1]] - mesh.centroids[sides[:, 0]], a)
    angle: Floats = np.sign(over) * np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), np.einsum("ij,ij->i", a, b))
    return angle


def _line(was: TriMesh, now: TriMesh, parts: _Parts, seed: int, loops: list[Ints], i: int) -> Line:
    tie = parts.label[parts.sides]
    count = len(parts.bend)
    across = tie[:, 0] != tie[:, 1]
    graph = coo_matrix((np.ones(across.sum()), (tie[across, 0], tie[across, 1])), shape=(count, count))
    order, before = breadth_first_order(graph.tocsr(), parts.body, directed=False)
    own = int(parts.label[seed])
    if parts.bend[own]:  # a point on the bend itself: the flange is the largest part behind it
        behind = [c for c in order if before[c] == own]
        if behind:
            own = max(behind, key=lambda c: float(was.areas[parts.label == c].sum()))
        elif own in order:  # a rounded edge of the flange itself, that opening it has strained: the bend is the one next to the body
            while before[own] >= 0 and before[before[own]] != parts.body:
                own = int(before[own])
    bend = int(before[own]) if own in order else -1
    if bend < 0 or not parts.bend[bend]:
        raise InputError(
            "the bend of the flange is not found again between draw shape and part.",
            where=f"shape.flange.{i}",
            help="State the bend under [[bends.bend]] with its angle, radius, length and leg, and set bends.from_shape to false.",
        )
    base = int(before[bend])
    root, tip = (_between(parts, tie, bend, c) for c in (base, own))
    length = 0.5 * sum(float(np.linalg.norm(was.points[e[:, 1]] - was.points[e[:, 0]], axis=1).sum()) for e in (root, tip))
    leg = _leg(was, parts.label == own, was.points[tip])
    along = now.points[root[:, 1]] - now.points[root[:, 0]]
    hole, place = _nearest_hole(was, np.concatenate([root, tip]), loops)
    return Line(
        length, leg, was.points[np.unique(root)], np.degrees(np.arctan2(along[:, 1], along[:, 0])), np.linalg.norm(along, axis=1), curves(was, root, parts.label == bend, parts.label == base, leg[1]), hole, place
    )  # fmt: skip


def _between(parts: _Parts, tie: Ints, a: int, b: int) -> Ints:
    return parts.points[((tie[:, 0] == a) & (tie[:, 1] == b)) | ((tie[:, 0] == b) & (tie[:, 1] == a))]


def _direction(points: Floats) -> Floats:
    d: Floats = np.linalg.svd(points - points.mean(axis=0))[2][0]
    return d


def _off(points: Floats, segments: Floats) -> tuple[Floats, Floats]:
    """Distance ``(n,)`` of points from the segments ``(k, 2, 3)``, and the foot ``(n, 3)``."""
    a, d = segments[:, 0], segments[:, 1] - segments[:, 0]
    best, foot = np.full(len(points), np.inf), np.zeros((len(points), 3))
    for p, v in zip(a, d, strict=True):
        share = np.clip((points - p) @ v / max(float(v @ v), 1e-30), 0.0, 1.0)
        f = p + share[:, None] * v
        off = np.linalg.norm(points - f, axis=1)
        near = off < best
        best[near], foot[near] = off[near], f[near]
    return best, foot


def _leg(mesh: TriMesh, own: NDArray[np.bool_], tip: Floats) -> tuple[float, float]:
    """Least and most distance from the tip line to the free edge opposite; the flange's side edges, whose foot is an end of the line, do not count for the least."""
    free = np.intersect1d(np.unique(mesh.boundary_edges), np.unique(mesh.triangles[own]))
    off, foot = _off(mesh.points[free], tip)
    if not len(off) or float(off.max()) <= 0.0:
        return 0.0, 0.0
    axis = _direction(tip.reshape(-1, 3))
    s, ends = foot @ axis, tip.reshape(-1, 3) @ axis
    margin = 0.02 * float(np.ptp(ends))
    inner = (s > ends.min() + margin) & (s < ends.max() - margin) & (off > 1e-9)
    return float(off[inner].min() if inner.any() else off.max()), float(off.max())


def _nearest_hole(mesh: TriMesh, lines: Ints, loops: list[Ints]) -> tuple[float, Floats]:
    if not loops:
        return np.inf, np.zeros(3)
    points = mesh.points[np.unique(np.concatenate(loops))]
    off, _ = _off(points, mesh.points[lines])
    k = int(np.argmin(off))
    return float(off[k]), points[k]


def bend_of(values: Mapping[str, object], number: int) -> Mapping[str, float | None]:
    """The record of a flange in ``shape.values["flanges"]``; raises :class:`InputError` if there is none of that number."""
    flanges = values.get("flanges") or []
    for f in flanges:  # type: ignore[attr-defined]
        if f["number"] == number:
            return dict(f)
    known = ", ".join(str(f["number"]) for f in flanges)  # type: ignore[attr-defined]
    raise InputError(
        f"there is no flange {number} in the draw shape.",
        where="bends.bend",
        help=f"It has flanges {known}." if known else "State the flange under [[shape.flange]] first, or leave the number out.",
    )

"""A flange on a curved bend line laid over as nearly without stretch as it can be.

Every triangle of bend and flange is given the normal it would have if its own section were rolled open, and turned freely about it. Places follow from the
least-squares Poisson problem, rotations and places in turn (the as-rigid-as-possible iteration by elements: Sorkine & Alexa, SGP 2007; Liu et al., CGF 27 (2008) 1495),
the root line fixed. Exact where an isometric opening exists; else the largest strain says what it costs.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.csgraph import dijkstra
from scipy.sparse.linalg import splu

from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.shape.flange import Flange
from diewright.shape.unroll import Opened, stretch
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 200
"""Most rounds of rotations and places in turn."""
SETTLED = 1e-5
"""Largest move of a point in a round [mm] at which it has settled."""
EVEN = 10
"""Rounds of smoothing of the bend angle along the root line."""


def carry(points: Floats, normals: Floats, mesh: TriMesh, flange: Flange, angle: float, where: str, watch: Watch) -> Opened:
    """Open a curved bend to ``angle`` [rad] from the root's tangent, positive the way it is bent. Raises :class:`SolveError` where it does not settle or folds over."""
    cells = np.flatnonzero(flange.cells)
    triangles = mesh.triangles[cells].astype(np.int64)
    root = _ordered(flange.root, mesh, flange)
    foot, away = _feet(points, triangles, root)
    tangent, up = _frames(points, normals, root, mesh, flange)
    now = _cell_normals(points, triangles)
    # each triangle's section is that of the foot of its corner nearest the root
    mine = foot[triangles[np.arange(len(cells)), np.argmin(away[triangles], axis=1)]]
    bent = _angle(up[mine], now, tangent[mine])
    side = 1.0 if float(np.median(bent[~flange.bend[cells]])) >= 0 else -1.0
    whole = _whole(points, root, foot, side * bent, mine, flange, cells, triangles)
    turn = side * np.where(flange.bend[cells], side * bent * (angle / whole[mine] - 1.0), angle - whole[mine])
    # aligned with its section first: normals of chords lean out of it
    frame = _onto(now, np.einsum("kij,kj->ki", _about(tangent[mine], bent), up[mine]))
    frame = _about(tangent[mine], turn) @ frame
    settled = _settle(points, triangles, cells, frame, root, watch, where)
    moved = points.copy()
    moved[np.unique(triangles)] = settled[np.unique(triangles)]
    strain = np.zeros(len(mesh.triangles))
    strain[cells] = stretch(points, moved, triangles)
    if (np.einsum("ij,ij->i", _cell_normals(moved, triangles), np.einsum("kij,kj->ki", frame, now)) <= 0).any():
        raise SolveError(
            "the flange folds over itself when it is opened about its curved bend line.", where=where, help="Open it by less, or notch it."
        )
    return Opened(
        moved,
        *_fields(points, moved, normals, mesh, flange, triangles),
        strain,
        float(np.mean(whole)),
        _length(away, flange, root),
        _chord(points, triangles, flange, cells),
        "curved",
    )


def _ordered(root: Ints, mesh: TriMesh, flange: Flange) -> Ints:
    """The root's points in order along its line (of a closed one from any point)."""
    edges = mesh.edges
    on = np.zeros(len(mesh.points), dtype=bool)
    on[root] = True
    bend = np.unique(np.sort(np.concatenate([mesh.triangles[flange.bend][:, [i, (i + 1) % 3]] for i in range(3)]), axis=1), axis=0)
    own = bend[on[bend].all(axis=1)]
    # an edge of the bend between two root points is on the line if a triangle of the body has it too
    body = np.sort(np.concatenate([mesh.triangles[~flange.cells][:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    key = {(int(a), int(b)) for a, b in body}
    own = np.array([e for e in own if (int(e[0]), int(e[1])) in key], dtype=np.int64).reshape(-1, 2)
    near: dict[int, list[int]] = {}
    for a, b in own:
        near.setdefault(int(a), []).append(int(b))
        near.setdefault(int(b), []).append(int(a))
    if not near or max(len(v) for v in near.values()) > 2 or len(edges) == 0:
        raise SolveError("the bend line of the flange branches.", where="shape.flange", help="Divide the flange in CAD.")
    ends = [k for k, v in near.items() if len(v) == 1]
    line = [ends[0] if ends else next(iter(near))]
    while True:
        onward = [k for k in near[line[-1]] if k not in line[-2:]]
        if not onward or onward[0] == line[0]:
            break
        line.append(onward[0])
    if len(line) != len(near):
        raise SolveError("the bend line of the flange is in several pieces.", where="shape.flange", help="Name each flange on its own.")
    return np.array(line, dtype=np.int64)


def _feet(points: Floats, triangles: Ints, root: Ints) -> tuple[Ints, Floats]:
    """Number along the root line of each point's nearest root point over the mesh, and how far it is [mm]; ``(n,)``."""
    pairs = np.unique(np.sort(np.concatenate([triangles[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1), axis=0)
    length = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)
    graph = coo_matrix((length, (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points))).tocsr()
    away, _, source = dijkstra(graph, directed=False, indices=root, min_only=True, return_predecessors=True)
    number = np.zeros(len(points), dtype=np.int64)
    number[root] = np.arange(len(root))
    return number[np.maximum(source, 0)], away


def _frames(points: Floats, normals: Floats, root: Ints, mesh: TriMesh, flange: Flange) -> tuple[Floats, Floats]:
    """Unit tangents along the root line and unit normals of the body there ``(k, 3)``."""
    line = points[root]
    body = TriMesh(points, mesh.triangles[~flange.cells])
    up = np.where(np.linalg.norm(normals[root], axis=1, keepdims=True) > 0.5, normals[root], body.point_normals[root])
    closed = len(root) > 2 and any({int(root[0]), int(root[-1])} <= set(map(int, t)) for t in mesh.triangles[flange.bend])
    step = (np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)) if closed else np.gradient(line, axis=0)
    step -= np.einsum("ij,ij->i", step, up)[:, None] * up
    return step / np.linalg.norm(step, axis=1, keepdims=True), up


def _angle(a: Floats, b: Floats, about: Floats) -> Floats:
    """Signed angle from ``a`` to ``b`` about unit axes ``(k,)`` [rad]."""
    return np.arctan2(
        np.einsum("ij,ij->i", np.cross(a, b), about),
        np.einsum("ij,ij->i", a, b) - np.einsum("ij,ij->i", a, about) * np.einsum("ij,ij->i", b, about),
    )


def _whole(points: Floats, root: Ints, foot: Ints, bent: Floats, mine: Ints, flange: Flange, cells: Ints, triangles: Ints) -> Floats:
    """Whole bend angle at each point of the root line [rad]: of the flange's triangles at the tip line, evened out along it."""
    on_tip = np.zeros(len(points), dtype=bool)
    on_tip[flange.tip] = True
    first = ~flange.bend[cells] & on_tip[triangles].any(axis=1)
    total = np.bincount(mine[first], bent[first], len(root))
    count = np.bincount(mine[first], None, len(root))
    known = np.flatnonzero(count)
    whole = np.interp(np.arange(len(root)), known, total[known] / count[known])
    for _ in range(EVEN):
        padded = np.concatenate([whole[:1], whole, whole[-1:]])
        whole = 0.25 * padded[:-2] + 0.5 * whole + 0.25 * padded[2:]
    return np.maximum(whole, 1e-3)


def _about(axis: Floats, angle: Floats) -> Floats:
    """Rotations ``(k, 3, 3)``."""
    cross = np.zeros((len(axis), 3, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        cross[:, i, j], cross[:, j, i] = -axis[:, k], axis[:, k]
    return np.eye(3) + np.sin(angle)[:, None, None] * cross + (1.0 - np.cos(angle))[:, None, None] * (cross @ cross)


def _onto(a: Floats, b: Floats) -> Floats:
    """The smallest rotations that take unit vectors ``a (k, 3)`` to ``b``."""
    axis = np.cross(a, b)
    size = np.linalg.norm(axis, axis=1)
    return _about(axis / np.maximum(size, 1e-15)[:, None], np.arctan2(size, np.einsum("ij,ij->i", a, b)))


def _settle(points: Floats, triangles: Ints, cells: Ints, frame: Floats, root: Ints, watch: Watch, where: str) -> Floats:
    used = np.unique(triangles)
    number = np.full(len(points), -1)
    number[used] = np.arange(len(used))
    t, p = number[triangles], points[used]
    rest = np.stack([p[t[:, (i + 2) % 3]] - p[t[:, (i + 1) % 3]] for i in range(3)], axis=1)  # the edge across from each corner
    twice = np.linalg.norm(np.cross(rest[:, 0], rest[:, 1]), axis=1)
    weight = np.stack([-np.einsum("ij,ij->i", rest[:, (i + 1) % 3], rest[:, (i + 2) % 3]) for i in range(3)], axis=1) / twice[:, None]
    i, j = np.stack([t[:, (k + 1) % 3] for k in range(3)], axis=1), np.stack([t[:, (k + 2) % 3] for k in range(3)], axis=1)
    n = len(used)
    w, a, b = weight.ravel(), i.ravel(), j.ravel()
    matrix = coo_matrix(
        (np.concatenate([w, w, -w, -w]), (np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]))), shape=(n, n)
    ).tocsc()
    fixed = number[root]
    free = np.setdiff1d(np.arange(n), fixed)
    solver = splu(csc_matrix(matrix[free][:, free]))
    turned = np.einsum("kij,kej->kei", frame, rest)
    axis = np.einsum("kij,kj->ki", frame, np.cross(rest[:, 0], rest[:, 1]) / twice[:, None])
    x, goal = p.copy(), turned
    for round_ in range(ROUNDS):
        watch.step("opening a flange", round_, ROUNDS)
        side = np.zeros((n, 3))
        pull = weight[:, :, None] * goal
        for axis_no in range(3):
            side[:, axis_no] = np.bincount(b, pull[:, :, axis_no].ravel(), n) - np.bincount(a, pull[:, :, axis_no].ravel(), n)
        new = p.copy()
        new[free] = solver.solve(side[free] - matrix[free][:, fixed] @ p[fixed])
        step = float(np.linalg.norm(new - x, axis=1).max())
        x = new
        if not np.isfinite(step):
            break
        if step < SETTLED:
            return _back(points, used, x)
        edge = x[j] - x[i]
        about = np.arctan2(
            np.einsum("ke,kei,ki->k", weight, np.cross(turned, edge), axis), np.einsum("ke,kei->k", weight, turned * edge)
        )  # fmt: skip
        goal = np.einsum("kij,kej->kei", _about(axis, about), turned)
    if np.isfinite(step) and step < 100 * SETTLED:
        return _back(points, used, x)
    raise SolveError(
        f"the opening of the flange does not settle (a point still moves by {step:.2g} mm).",
        where=where,
        help="Open it by less, or notch it.",
    )


def _back(points: Floats, used: Ints, x: Floats) -> Floats:
    out = points.copy()
    out[used] = x
    return out


def _cell_normals(points: Floats, triangles: Ints) -> Floats:
    return TriMesh(points, triangles.astype(np.int32)).normals


def _fields(was: Floats, now: Floats, normals: Floats, mesh: TriMesh, flange: Flange, triangles: Ints) -> tuple[Floats, Floats]:
    """Point normals and the opened bend's radius: both from the mesh that came out."""
    after = TriMesh(now, mesh.triangles)
    moved = np.setdiff1d(np.unique(triangles), flange.root)
    turned = normals.copy()
    turned[moved] = after.point_normals[moved]
    radius = np.full(len(now), np.nan)
    bent = np.setdiff1d(np.unique(mesh.triangles[flange.bend]), flange.root)
    radius[bent] = np.inf
    edges = np.unique(np.sort(np.concatenate([mesh.triangles[flange.bend][:, [i, (i + 1) % 3]] for i in range(3)]), axis=1), axis=0)
    d = now[edges[:, 1]] - now[edges[:, 0]]
    bend = np.abs(np.einsum("ij,ij->i", turned[edges[:, 1]] - turned[edges[:, 0]], d)) / np.maximum(np.einsum("ij,ij->i", d, d), 1e-12)
    most = np.zeros(len(now))
    np.maximum.at(most, edges.ravel(), np.repeat(bend, 2))
    radius[bent] = 1.0 / np.maximum(most[bent], 1e-9)
    return turned, radius


def _length(away: Floats, flange: Flange, root: Ints) -> float:
    return float(np.mean(away[flange.tip]))


def _chord(points: Floats, triangles: Ints, flange: Flange, cells: Ints) -> float:
    """About how far the bend's chords lie inside its arcs [mm]: a quarter of the largest turn of an edge, times a half of its length across."""
    bend = TriMesh(points, triangles[flange.bend[cells]].astype(np.int32))
    n = bend.point_normals
    e = bend.edges
    turn = np.linalg.norm(n[e[:, 1]] - n[e[:, 0]], axis=1)
    return float((turn * np.linalg.norm(points[e[:, 1]] - points[e[:, 0]], axis=1)).max() / 8.0)

"""Fill the holes of a skin with a well-shaped patch that carries on the skin's curvature.

1. The loop is laid flat (onto its plane, or onto a circle where that would fold) and triangulated with its own edges kept.
2. Triangles larger than the edges around them get a point; edges are flipped to Delaunay; the points are relaxed. All in the flat.
3. The patch is bent to carry on the skin. Over a loop that lies on a plane its height is interpolated from the loop and two rings of the skin round
   it by radial cubics with a full quadratic, which bends least and gives back every quadratic crown or saddle exactly. Over any other loop the
   new points minimise ``sum_v |sum_j w_vj (x_j - x_v)|^2 / A_v`` with cotangent weights (thin-plate energy, Botsch and Kobbelt 2004).
   Round a collar, whose wall leaves the loop's plane, a bent patch would bulge: there it is drawn taut (least area) instead.

Given points and triangles keep their numbers; new ones are appended.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.sparse import coo_matrix, csr_matrix, diags_array
from scipy.sparse.linalg import spsolve

from diewright.errors import InputError, SolveError
from diewright.geometry.loops import hole_loops, vector_area
from diewright.geometry.mesh import TriMesh
from diewright.geometry.patch import Patch, flat_patch
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_COLLAR = np.sin(np.deg2rad(40.0))


@dataclass(frozen=True, eq=False)
class Filled:
    """The mesh with its holes filled.

    ``new_triangles`` and ``new_points`` are masks; ``hole_of`` numbers the loop (of the given mesh) each new triangle closes, -1 elsewhere;
    ``blend`` says for each loop filled whether the patch is ``curved`` or ``taut``.
    """

    mesh: TriMesh
    new_triangles: NDArray[np.bool_]
    new_points: NDArray[np.bool_]
    hole_of: Ints
    blend: dict[int, str]


def fill_holes(mesh: TriMesh, loops: list[int] | None = None, *, axis: Floats | None = None, watch: Watch | None = None) -> Filled:
    """Fill the ``loops`` named (numbers in ``mesh.boundary_loops``), by default every loop but the outer edge seen along ``axis``.

    Raises :class:`SolveError` if a patch folds over the skin round it.
    """
    watch = watch or Watch()
    chosen = hole_loops(mesh, axis) if loops is None else list(loops)
    for i in chosen:
        if not 0 <= i < len(mesh.boundary_loops):
            raise InputError(f"There is no boundary loop {i}; the mesh has {len(mesh.boundary_loops)}.")
    points, triangles = [mesh.points], [mesh.triangles]
    hole_of = [np.full(len(mesh.triangles), -1, dtype=np.int32)]
    blend: dict[int, str] = {}
    count = len(mesh.points)
    ends = mesh.points[mesh.edges]
    usual = float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
    for done, i in enumerate(chosen):
        watch.step("filling holes", done, len(chosen))
        loop = mesh.boundary_loops[i]
        if len(np.unique(loop)) < len(loop):
            raise SolveError(
                "A hole's edge touches itself in a point and cannot be filled.",
                where="blank.holes",
                help="Repair the hole in the CAD file or keep the holes.",
            )
        # The loop of a hole runs clockwise seen from the normal: the patch lies on its other side.
        ring = loop[::-1]
        laid = flat_patch(mesh.points[ring], usual, watch)
        flat, cells = laid.points, laid.triangles
        inner = len(flat) - len(ring)
        number = np.concatenate([ring, count + np.arange(inner)]).astype(np.int32)
        patch = number[cells]
        kind = "taut" if _is_collar(mesh, loop) else "curved"
        placed = _raised(mesh, ring, laid) if kind == "curved" else None
        if placed is None:
            placed = _bent(mesh, ring, flat, cells, kind)
        _check(mesh, ring, placed, cells)
        points.append(placed[len(ring) :])
        triangles.append(patch)
        hole_of.append(np.full(len(patch), i, dtype=np.int32))
        blend[i] = kind
        count += inner
    whole = TriMesh(np.concatenate(points), np.concatenate(triangles))
    owners = np.concatenate(hole_of)
    return Filled(whole, owners >= 0, np.arange(count) >= len(mesh.points), owners, blend)


def _is_collar(mesh: TriMesh, loop: Ints) -> bool:
    """True if the skin leaves the loop steeply to its plane."""
    normal = vector_area(mesh.points[loop])
    length = np.linalg.norm(normal)
    if length == 0:
        return True
    on = np.zeros(len(mesh.points), dtype=bool)
    on[loop] = True
    owner = on[mesh.triangles].sum(axis=1) >= 2
    tilt = np.linalg.norm(np.cross(mesh.normals[owner], normal / length), axis=1)
    return bool(np.average(tilt, weights=mesh.areas[owner]) > _COLLAR)


def _cotangents(points: Floats, triangles: Ints, n: int) -> tuple[csr_matrix, Floats]:
    """Cotangent Laplacian ``(L x)_v = sum_j w_vj (x_j - x_v)`` and a third of the area round each point."""
    p = points[triangles]
    total = np.zeros(n)
    rows, columns, values = [], [], []
    area2 = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)
    for k in range(3):
        a, b = p[:, (k + 1) % 3] - p[:, k], p[:, (k + 2) % 3] - p[:, k]
        w = 0.5 * np.clip((a * b).sum(axis=1) / np.maximum(area2, 1e-30), -5.0, 20.0)
        i, j = triangles[:, (k + 1) % 3], triangles[:, (k + 2) % 3]
        rows += [i, j]
        columns += [j, i]
        values += [w, w]
        np.add.at(total, triangles[:, k], area2 / 6.0)
    off = coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(n, n)).tocsr()
    return (off - diags_array(np.asarray(off.sum(axis=1)).ravel())).tocsr(), total


def _raised(mesh: TriMesh, ring: Ints, laid: Patch) -> Floats | None:
    """Positions ``(k, 3)`` with heights carried on over the loop's plane; None where the skin round it does not lie over that plane."""
    if laid.frame is None:
        return None
    near = np.zeros(len(mesh.points), dtype=bool)
    near[ring] = True
    for _ in range(2):
        near[mesh.triangles[near[mesh.triangles].any(axis=1)]] = True
    # The patch looks the way the skin does; what turns off by more than 30 degrees is another face and no guide.
    facing = mesh.point_normals @ laid.frame[2] > np.cos(np.deg2rad(30.0))
    if not facing[ring].all():
        return None
    known = np.union1d(np.flatnonzero(near & facing), ring)
    local = (mesh.points[known] - laid.origin) @ laid.frame.T
    scale = float(np.abs(local[:, :2]).max())
    flat = np.unique(np.round(local[:, :2] / scale, 9), axis=0)
    if len(flat) < len(local) or len(local) < 10:
        return None
    height = RBFInterpolator(local[:, :2] / scale, local[:, 2], kernel="cubic", degree=2)(laid.points / scale)
    edge = len(ring)
    height[:edge] = (mesh.points[ring] - laid.origin) @ laid.frame[2]
    # A crown within the slopes allowed cannot stand higher than half the hole.
    if not np.isfinite(height).all() or np.abs(height).max() > scale:
        return None
    placed = laid.origin + laid.points @ laid.frame[:2] + height[:, None] * laid.frame[2]
    placed[:edge] = mesh.points[ring]
    return placed


def _bent(mesh: TriMesh, ring: Ints, flat: Floats, cells: Ints, kind: str) -> Floats:
    """Positions ``(k, 3)`` of all points of a patch, its ring first."""
    k, edge = len(flat), len(ring)
    if k == edge:
        return mesh.points[ring]
    # The strip of skin round the loop: its points come after the patch's own.
    on = np.zeros(len(mesh.points), dtype=bool)
    on[ring] = True
    strip = mesh.triangles[on[mesh.triangles].any(axis=1)]
    outside = np.setdiff1d(np.unique(strip), ring)
    local = np.full(len(mesh.points), -1, dtype=np.int32)
    local[ring] = np.arange(edge)
    local[outside] = k + np.arange(len(outside))
    together = np.concatenate([cells, local[strip]])
    n = k + len(outside)
    x = np.zeros((n, 3))
    x[:edge], x[k:] = mesh.points[ring], mesh.points[outside]
    free = np.arange(edge, k)
    fixed = np.concatenate([np.arange(edge), np.arange(k, n)])
    lifted = np.column_stack([flat, np.zeros(k)])
    laplacian, _ = _cotangents(lifted, cells, n)
    x[free] = _harmonic(laplacian, x, free, fixed)
    # The weights belong to the bent shape: solve, measure anew, solve.
    for _ in range(8 if kind == "taut" else 4):
        laplacian, area = _cotangents(x, cells if kind == "taut" else together, n)
        before = x[free]
        if kind == "taut":
            x[free] = _harmonic(laplacian, x, free, fixed)
        else:
            rows = np.arange(k)
            energy = diags_array(1.0 / np.sqrt(np.maximum(area[rows], 1e-12))) @ laplacian[rows]
            a = energy[:, free].tocsc()
            right = -(a.T @ (energy[:, fixed] @ x[fixed]))
            x[free] = spsolve((a.T @ a).tocsc(), right).reshape(-1, 3)
        if not np.isfinite(x[free]).all():
            raise SolveError(
                "A hole could not be filled smoothly.", where="blank.holes", help="Keep the holes in the blank, or repair the part."
            )
        if np.abs(x[free] - before).max() < 1e-6 * np.ptp(x, axis=0).max():
            break
    return x[:k]


def _harmonic(laplacian: csr_matrix, x: Floats, free: NDArray[np.signedinteger], fixed: NDArray[np.signedinteger]) -> Floats:
    rows = laplacian[free]
    return spsolve(rows[:, free].tocsc(), -(rows[:, fixed] @ x[fixed])).reshape(-1, 3)


def _check(mesh: TriMesh, ring: Ints, placed: Floats, cells: Ints) -> None:
    patch = TriMesh(placed, cells)
    total = np.linalg.norm(patch.doubled_normals.sum(axis=0))
    against = patch.doubled_normals @ patch.doubled_normals.sum(axis=0)
    if total > 0 and (against < 0).any() and np.linalg.norm(patch.doubled_normals[against < 0], axis=1).sum() > 0.02 * 2 * patch.area:
        where = mesh.points[ring].mean(axis=0)
        raise SolveError(
            f"The patch of the hole near x {where[0]:.1f}, y {where[1]:.1f}, z {where[2]:.1f} mm folds over itself.", where="blank.holes",
            help="Keep the holes in the blank, or repair the part.",
        )  # fmt: skip

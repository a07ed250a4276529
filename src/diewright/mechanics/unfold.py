"""A first flat for a part: every facet laid over about its horizontal line, the pieces joined in the mean.

Each triangle is turned by the smallest rotation that brings its normal to +z (a wall falls outward, as a toolmaker unrolls it),
which gives a wanted flat gradient ``T_e``. The flat is the one whose gradient is nearest::

    minimise  sum_e a_e |grad x - T_e|^2      (one sparse solve of the cotangent Laplacian)

Exact for every shape of flat facets and parallel bends (channels, cylinders). Where triangles come out turned over (strongly doubled
curvature, bad meshes) rigid targets are fitted again a few times with the same factor; what then still folds is flattened into a disc
by a convex combination map, which cannot fold (Tutte 1963; Floater, CAGD 14 (1997) 231), and relaxed from there by the
symmetric Dirichlet measure with a barrier against folding (SLIM: Rabinovich et al., ACM TOG 36 (2017) 16), holes filled meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_matrix, csr_matrix

from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.linear import Pattern
from diewright.mechanics.topology import Sheet, checked_sheet
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

REFITS = 30
"""Most rounds of fitting rigid targets again before the disc map takes over."""


@dataclass(frozen=True)
class Unfolding:
    """A flat without folds: ``flat (n, 2)`` [mm], and how it was found (``method``: "laid over", "refitted", "disc")."""

    flat: Floats
    method: str
    rounds: int


def unfold(points: ArrayLike, triangles: ArrayLike, *, watch: Watch | None = None) -> Floats:
    """Flat positions ``(n, 2) [mm]`` of a part mesh, nearly length-true, no triangle turned over (seen from +z).

    Points that no triangle uses get NaN. Raises as :func:`~diewright.mechanics.topology.checked_sheet`, and :class:`SolveError` if
    every way of unfolding leaves a turned-over triangle.
    """
    sheet = checked_sheet(points, triangles)
    flat = np.full((len(np.asarray(points)), 2), np.nan)
    flat[sheet.used] = unfold_sheet(sheet, watch or Watch()).flat
    return flat


def unfold_sheet(sheet: Sheet, watch: Watch) -> Unfolding:
    """As :func:`unfold` for a checked sheet; the flat is aligned with the part in plan."""
    p, t = sheet.points, sheet.triangles
    watch.step("unfolding", 0, 3)
    gradient, areas, target = _gradients(p, t)
    if ((target.shape[0] > 0) and _signed(p[:, :2], t).min() > 0) and _flat_enough(p, t):
        return Unfolding(p[:, :2].copy(), "plan", 0)
    fixed = np.zeros(len(p), dtype=bool)
    fixed[np.argmin(np.linalg.norm(p - p.mean(axis=0), axis=1))] = True
    pattern = Pattern(t, len(p), 1, fixed)
    values = pattern.zeros()
    rows, cols = np.tril_indices(3)
    local = np.einsum("mdi,mdj,m->mij", gradient, gradient, areas)
    np.add.at(values, pattern.slot, local[:, rows, cols])
    factor = pattern.factor(values)
    spread = _spreading(t, len(p))

    def poisson(wanted: Floats) -> Floats:
        right = spread @ np.einsum("mdi,mcd,m->mic", gradient, wanted, areas).reshape(-1, 2)
        flat = np.zeros((len(p), 2))
        flat[pattern.free] = factor.solve(right[pattern.free])
        return flat

    flat = poisson(target)
    method, rounds = "laid over", 0
    folded = _signed(flat, t) <= 0
    while folded.any() and rounds < REFITS:
        watch.step("unfolding", 1, 3)
        jacobian = np.einsum("mic,mdi->mcd", flat[t], gradient)
        target = _nearest_rotation(jacobian)
        flat = poisson(target)
        method, rounds = "refitted", rounds + 1
        folded = _signed(flat, t) <= 0
    if folded.any():
        watch.step("unfolding", 2, 3)
        flat, method = _disc(sheet, watch), "disc"
        folded = _signed(flat, t) <= 0
        if folded.any():
            where = p[t[np.argmax(folded)]].mean(axis=0)
            raise SolveError(
                f"No first flat without folds was found: {int(folded.sum())} triangles turn over, the first near ({where[0]:.1f}, {where[1]:.1f}, {where[2]:.1f}) mm.",
                help="Look at the mesh there; a finer mesh or a simpler edge usually helps.",
            )
    return Unfolding(_aligned(flat, p, t), method, rounds)


def _signed(flat: Floats, triangles: Ints) -> Floats:
    a, b, c = (flat[triangles[:, i]] for i in range(3))
    u, v = b - a, c - a
    return 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


def _flat_enough(points: Floats, triangles: Ints) -> bool:
    """Whether the plan itself is a good first flat: no facet steeper than about 30 degrees."""
    normals = TriMesh(points, triangles).normals
    return bool(np.abs(normals[:, 2]).min() > 0.87)


def _gradients(points: Floats, triangles: Ints) -> tuple[Floats, Floats, Floats]:
    """Shape gradients in each facet's frame ``(m, 2, 3)`` [1/mm], areas ``(m,)`` and the laid-over frame ``(m, 2, 2)`` (plan x facet)."""
    a = points[triangles[:, 1]] - points[triangles[:, 0]]
    b = points[triangles[:, 2]] - points[triangles[:, 0]]
    length = np.linalg.norm(a, axis=1, keepdims=True)
    e1 = a / length
    normal = np.cross(a, b)
    doubled = np.linalg.norm(normal, axis=1, keepdims=True)
    normal /= doubled
    e2 = np.cross(normal, e1)
    ax = length[:, 0]
    bx, by = (b * e1).sum(1), (b * e2).sum(1)
    gradient = np.zeros((len(triangles), 2, 3))
    gradient[:, 0, 1], gradient[:, 1, 1] = 1 / ax, -bx / (ax * by)
    gradient[:, 1, 2] = 1 / by
    gradient[:, :, 0] = -gradient[:, :, 1] - gradient[:, :, 2]
    # smallest rotation n -> z:  v -> v - (n + z) (v.(n + z)) / (1 + n.z) + 2 z (v.n);  only the plan part is needed
    lean = np.maximum(1.0 + normal[:, 2], 1e-3)
    target = np.zeros((len(triangles), 2, 2))
    for k, e in enumerate((e1, e2)):
        target[:, :, k] = e[:, :2] - normal[:, :2] * (e[:, 2] / lean)[:, None]
    return gradient, 0.5 * doubled[:, 0], target


def _spreading(triangles: Ints, nodes: int) -> csr_matrix:
    m = len(triangles)
    return coo_matrix((np.ones(3 * m), (triangles.ravel(), np.arange(3 * m))), shape=(nodes, 3 * m)).tocsr()


def _nearest_rotation(jacobian: Floats) -> Floats:
    """Nearest proper rotation of each ``(2, 2)``."""
    c, s = jacobian[:, 0, 0] + jacobian[:, 1, 1], jacobian[:, 1, 0] - jacobian[:, 0, 1]
    length = np.maximum(np.hypot(c, s), 1e-300)
    c, s = c / length, s / length
    return np.stack([np.stack([c, -s], axis=1), np.stack([s, c], axis=1)], axis=1)


def _aligned(flat: Floats, points: Floats, triangles: Ints) -> Floats:
    """The flat moved rigidly onto the plan, weighted by plan area."""
    weight = plan_weights(points, triangles)
    c0, c1 = weight @ flat, weight @ points[:, :2]
    u, v = flat - c0, points[:, :2] - c1
    c = float((weight * (u * v).sum(1)).sum())
    s = float((weight * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])).sum())
    length = np.hypot(c, s)
    if length < 1e-12:
        return u + c1
    c, s = c / length, s / length
    return u @ np.array([[c, s], [-s, c]]) + c1


def plan_weights(points: Floats, triangles: Ints, mask: NDArray[np.bool_] | None = None) -> Floats:
    """Weights ``(n,)`` with sum 1: the upward plan area at each point (over the triangles in ``mask``)."""
    plan = np.maximum(TriMesh(points, triangles).doubled_normals[:, 2], 0.0)
    if mask is not None and (plan * mask).sum() > 0:
        plan = plan * mask
    weight = np.bincount(triangles.ravel(), np.repeat(plan, 3), minlength=len(points))
    return weight / weight.sum()


def _disc(sheet: Sheet, watch: Watch) -> Floats:
    import igl
    from scipy.sparse.linalg import splu

    p, t = sheet.points, sheet.triangles
    filled_points, filled = p, t
    for ring in sheet.loops[1:]:  # fans close the holes, so that the disc map has one edge
        centre = len(filled_points)
        filled_points = np.vstack([filled_points, p[ring].mean(axis=0)])
        fan = np.column_stack([np.roll(ring, -1), ring, np.full(len(ring), centre)]).astype(np.int32)
        filled = np.vstack([filled, fan])
    n = len(filled_points)
    ring = sheet.loops[0]
    length = np.linalg.norm(p[np.roll(ring, -1)] - p[ring], axis=1)
    angle = 2 * np.pi * np.concatenate([[0.0], np.cumsum(length)[:-1]]) / length.sum()
    radius = np.sqrt(TriMesh(filled_points, filled).area / np.pi)
    flat = np.zeros((n, 2))
    flat[ring] = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    edges = TriMesh(filled_points, filled).edges
    weight = np.ones(len(edges))
    laplacian = coo_matrix(
        (np.r_[weight, weight], (np.r_[edges[:, 0], edges[:, 1]], np.r_[edges[:, 1], edges[:, 0]])), shape=(n, n)
    ).tocsr()
    inner = np.ones(n, dtype=bool)
    inner[ring] = False
    degree = np.asarray(laplacian.sum(axis=1)).ravel()
    matrix = (csr_matrix((degree, (np.arange(n), np.arange(n))), shape=(n, n)) - laplacian).tocsr()
    system = splu(matrix[inner][:, inner].tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
    flat[inner] = system.solve(np.ascontiguousarray(-(matrix[inner][:, ~inner] @ flat[~inner])))
    data = igl.slim_precompute(
        np.asfortranarray(filled_points),
        np.asfortranarray(filled.astype(np.int32)),
        np.asfortranarray(np.column_stack([flat, np.zeros(n)])[:, :2]),
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        np.zeros(0, dtype=np.int32),
        np.asfortranarray(np.zeros((0, 2))),
        0.0,
    )
    before = np.inf
    for k in range(60):
        watch.step("unfolding", 2 + k / 60, 3)
        now = np.asarray(igl.slim_solve(data, 2))
        change = np.abs(now - flat).max() / radius
        flat = now
        if change < 2e-3 or not change < before * 50:
            break
        before = change
    return np.asarray(flat, dtype=float)[: len(p), :2]

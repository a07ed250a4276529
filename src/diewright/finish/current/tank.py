"""The electrolyte of a tank as tetrahedra: a box, less blocks and bars that hang in it, opened along thin sheets.

The mesher is a general-purpose one, in a child process with limits (:mod:`~diewright.finish.current.tank_child`). The sheets' own triangles
are kept as they are; tetrahedra grow away from sheets and blocks. Same input, same mesh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.errors import InputError, SolveError
from diewright.finish.current.crack import open_surface
from diewright.finish.current.tetra import outer_triangles, signed_volumes
from diewright.geometry.child import ask
from diewright.geometry.mesh import TriMesh
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

GRID_NODES = 20_000
"""Nodes of the grid on which tetrahedra are counted beforehand."""
TETRAHEDRA_MOST = 3_000_000
_CHILD = "diewright.finish.current.tank_child"


@dataclass(frozen=True)
class Block:
    """A solid that hangs in the bath: a box from ``low (3,)`` to ``high (3,)`` [mm], or with ``axis`` 0, 1, 2 the round bar in it along that direction.

    ``edge`` [mm] is the wanted edge of tetrahedra on it.
    """

    name: str
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    edge: float
    axis: int | None = None


@dataclass(frozen=True)
class Sheet:
    """A thin sheet in the bath: its surface, whose triangles are kept."""

    name: str
    mesh: TriMesh


@dataclass(frozen=True)
class TankMesh:
    """``points (n, 3) [mm]``, ``tetrahedra (m, 4)`` of positive volume, ``faces`` by name ``(k, 3)``: each block's, ``walls`` (the box with the surface of the
    bath), and ``<sheet>:upper`` and ``<sheet>:lower`` in the order of the sheet's triangles. ``quality_min`` least of the inscribed over the
    circumscribed radius, times 3."""

    points: Floats
    tetrahedra: Ints
    faces: dict[str, Ints]
    quality_min: float


def mesh_tank(
    low: tuple[float, float, float],
    high: tuple[float, float, float],
    blocks: Sequence[Block],
    sheets: Sequence[Sheet],
    *,
    growth: float = 0.4,
    most_edge: float,
    seconds: float = 240.0,
    watch: Watch | None = None,
) -> TankMesh:
    """Fill the box from ``low`` to ``high`` [mm] round blocks and sheets.

    ``growth`` [mm/mm] is how fast wanted edges grow with the distance, up to ``most_edge``. Raises :class:`InputError` for blocks and sheets
    outside the box or within each other and for more tetrahedra than can be solved, :class:`SolveError` if the mesher fails or needs more than ``seconds``.
    """
    watch = watch or Watch()
    _refuse(np.array(low), np.array(high), blocks, sheets)
    sources = edge_sources(blocks, sheets)
    expected = expected_tetrahedra(np.array(low), np.array(high), sources, sum(len(s.mesh.triangles) for s in sheets), growth, most_edge)
    if expected > TETRAHEDRA_MOST:
        raise InputError(
            f"The tank would take about {expected:.2g} tetrahedra; {TETRAHEDRA_MOST} are the limit.",
            where="plating.quality",
            help="State coarse, or fewer parts on the rack.",
        )
    request = {
        "low": np.array(low), "high": np.array(high), "source_points": sources.points, "source_edges": sources.edges, "growth": np.array(growth), "most": np.array(most_edge),
        "blocks": np.array([[*b.low, *b.high, -1.0 if b.axis is None else b.axis] for b in blocks]).reshape(-1, 7),
        "counts": np.array([[len(s.mesh.points), len(s.mesh.triangles)] for s in sheets], dtype=np.int64).reshape(-1, 2),
        "sheet_points": np.concatenate([np.zeros((0, 3)), *(s.mesh.points for s in sheets)]),
        "sheet_triangles": np.concatenate([np.zeros((0, 3), dtype=np.int64), *(s.mesh.triangles.astype(np.int64) for s in sheets)]),
    }  # fmt: skip
    points, tetrahedra, face_nodes, face_block = _filled(request, seconds, watch)
    return _assembled(points, tetrahedra, face_nodes, face_block, blocks, sheets)


def _refuse(low: Floats, high: Floats, blocks: Sequence[Block], sheets: Sequence[Sheet]) -> None:
    for s in sheets:
        if len(s.mesh.triangles) == 0:
            raise InputError(f"'{s.name}' has no surface.", where="plating")
        a, b = s.mesh.points.min(axis=0), s.mesh.points.max(axis=0)
        if (a <= low).any() or (b >= high).any():
            raise InputError(
                f"'{s.name}' does not lie within the bath: it reaches from {_text(a)} to {_text(b)} mm, the bath from {_text(low)} to {_text(high)} mm.",
                where="plating.tank",
                help="State a larger tank, fewer parts or less spacing.",
            )
    names = [(b.name, np.array(b.low), np.array(b.high)) for b in blocks]
    for name, a, b in names:
        if (a >= high).any() or (b <= low).any():
            raise InputError(f"'{name}' lies outside the bath.", where="plating", help="Move it or state a larger tank.")
        for s in sheets:
            p = s.mesh.points
            if ((s.mesh.points.min(axis=0) < b) & (s.mesh.points.max(axis=0) > a)).all() and ((p > a) & (p < b)).all(axis=1).any():
                raise InputError(
                    f"'{name}' and '{s.name}' lie in each other.", where="plating", help="Move the body or the anodes away from the part."
                )
    for i, (name, a, b) in enumerate(names):
        for other, c, d in names[i + 1 :]:
            if (a <= d).all() and (c <= b).all():
                raise InputError(f"'{name}' and '{other}' touch or lie in each other.", where="plating", help="Leave a gap between them.")


def _text(p: Floats) -> str:
    return "(" + ", ".join(f"{x:.0f}" for x in p) + ")"


@dataclass(frozen=True)
class Sources:
    """Where edges are wanted short: ``points (k, 3) [mm]`` and the edge there ``edges (k,) [mm]``."""

    points: Floats
    edges: Floats


def edge_sources(blocks: Sequence[Block], sheets: Sequence[Sheet]) -> Sources:
    """The sheets' points with the mean length of their own edges, and points over the blocks."""
    where, edge = [np.zeros((0, 3))], [np.zeros(0)]
    for s in sheets:
        p, e = s.mesh.points, s.mesh.edges
        length = np.linalg.norm(p[e[:, 0]] - p[e[:, 1]], axis=1)
        total = np.bincount(e.ravel(), weights=np.repeat(length, 2), minlength=len(p))
        count = np.bincount(e.ravel(), minlength=len(p))
        where.append(p[count > 0])
        edge.append(total[count > 0] / count[count > 0])
    for b in blocks:
        where.append(_samples(np.array(b.low), np.array(b.high), b.edge))
        edge.append(np.full(len(where[-1]), b.edge))
    return Sources(np.concatenate(where), np.concatenate(edge))


def expected_tetrahedra(low: Floats, high: Floats, sources: Sources, triangles: int, growth: float, most: float) -> float:
    """About how many there will be: those of the bath off the sheets, from the edges wanted on a grid, and a dozen for each triangle of a sheet."""
    step = float((np.prod(high - low) / GRID_NODES) ** (1 / 3))
    axes = [np.arange(low[i] + 0.5 * step, high[i], step) for i in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    edge = np.full(len(nodes), most)
    if len(sources.points):
        distance, at = cKDTree(sources.points).query(nodes)
        edge = np.minimum(most, sources.edges[at] + growth * np.maximum(distance, 0.5 * step))
    return float((8.5 * np.prod(high - low) / len(nodes) / edge**3).sum()) + 12.0 * triangles


def _samples(low: Floats, high: Floats, edge: float) -> Floats:
    """Points over the faces of a box, no farther apart than twice the edge."""
    axes = [np.linspace(low[i], high[i], max(int(np.ceil((high[i] - low[i]) / (2 * edge))) + 1, 2)) for i in range(3)]
    p = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    return p[((p == low) | (p == high)).any(axis=1)]


def _filled(request: dict[str, np.ndarray], seconds: float, watch: Watch) -> tuple[Floats, Ints, Ints, Ints]:
    instead = "Move bodies apart, or state another quality."
    got = ask(
        _CHILD, request, seconds, watch.check,
        late=lambda: SolveError(f"Meshing the tank took longer than {seconds:g} s and was stopped.", where="plating.quality", help="State coarse."),
        refused=lambda said: SolveError(f"The mesher gave up on the tank ({said}).", where="plating", help=instead),
        lost=lambda code: SolveError(f"The process that meshes the tank ended without an answer (code {code}).", where="plating", help=instead),
    )  # fmt: skip
    return got["points"], got["tetrahedra"], got["face_nodes"], got["face_block"]


def _assembled(
    points: Floats, tetrahedra: Ints, face_nodes: Ints, face_block: Ints, blocks: Sequence[Block], sheets: Sequence[Sheet]
) -> TankMesh:
    """Check what came back, open it along the sheets, and name its faces. The sheets' points come first, in their order."""
    turned = signed_volumes(points, tetrahedra) < 0
    tetrahedra[turned] = tetrahedra[turned][:, [0, 2, 1, 3]]
    begin = np.cumsum([0, *(len(s.mesh.points) for s in sheets)])
    triangles = [s.mesh.triangles.astype(np.int64) + begin[k] for k, s in enumerate(sheets)]
    faces: dict[str, Ints] = {b.name: face_nodes[face_block == i] for i, b in enumerate(blocks)}
    faces["walls"] = face_nodes[face_block < 0]
    if triangles:
        given = np.concatenate([s.mesh.points for s in sheets])
        if not np.allclose(points[: len(given)], given, atol=1e-9):
            raise SolveError("The mesher moved points of a sheet.", where="plating", help="State another quality.")
        opened = open_surface(points, tetrahedra, np.concatenate(triangles))
        points, tetrahedra = opened.points, opened.tetrahedra
        ends = np.cumsum([0, *(len(t) for t in triangles)])
        for k, s in enumerate(sheets):
            faces[f"{s.name}:upper"] = opened.upper[ends[k] : ends[k + 1]]
            faces[f"{s.name}:lower"] = opened.lower[ends[k] : ends[k + 1]]
    outer, _ = outer_triangles(tetrahedra)
    # a triangle in the corner of a sheet, all its points on the rim, stays shut: current enters it from both sides all the same
    shut = sum(
        int((np.sort(faces[f"{s.name}:upper"], axis=1) == np.sort(faces[f"{s.name}:lower"], axis=1)).all(axis=1).sum()) for s in sheets
    )
    known = sum(len(f) for f in faces.values()) - 2 * shut
    if len(outer) != known:
        raise SolveError(
            f"The mesh of the tank has {len(outer)} outer triangles, {known} are known.", where="plating", help="State another quality."
        )
    return TankMesh(points, tetrahedra, faces, float(_quality(points, tetrahedra).min()))


def _quality(points: Floats, tetrahedra: Ints) -> Floats:
    """Inscribed over circumscribed radius times 3, ``(m,)``: 1 for the regular tetrahedron."""
    a, b, c, d = (points[tetrahedra[:, i]] for i in range(4))
    volume = np.abs(np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a)) / 6.0
    area = sum(0.5 * np.linalg.norm(np.cross(q - p, r - p), axis=1) for p, q, r in ((a, b, c), (a, b, d), (a, c, d), (b, c, d)))

    def length(p: Floats, q: Floats) -> Floats:
        return np.linalg.norm(p - q, axis=1)

    x, y, z = length(a, b) * length(c, d), length(a, c) * length(b, d), length(a, d) * length(b, c)
    product = np.sqrt(np.maximum((x + y + z) * (x + y - z) * (x - y + z) * (-x + y + z), 0.0))
    return 3.0 * (3.0 * volume / area) * (24.0 * volume) / np.maximum(product, 1e-300)

"""A flat region filled with well-shaped triangles: the blank before it is drawn.

The boundary and the lines inside are resampled here (:mod:`~diewright.geometry.plane_region`); the filling is done by a general-purpose mesher
(frontal Delaunay) in a child process with a time limit. Same input, same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.child import ask
from diewright.geometry.plane_region import Sampled, polyline, sample
from diewright.geometry.size_grid import SizeField, SizeGrid, sizes_from, slope_of
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

__all__ = ["PlaneMesh", "expected_triangles", "mesh_region", "sizes_from"]

TRIANGLES_MOST = 400_000
_CHILD = "diewright.geometry.plane_mesh_child"


@dataclass(frozen=True, eq=False)
class PlaneMesh:
    """A flat mesh.

    ``points (n, 2) float64 [mm]``, boundary nodes first; ``triangles (m, 3) int32`` counter-clockwise; ``outline_nodes`` the outer loop in order,
    counter-clockwise; ``hole_nodes`` the other loops in order, clockwise; for each line asked for ``line_nodes`` (in order along it; a closed line does not repeat its
    first node) and ``line_edges (e, 2)``, both without the places that had to be left out; ``notes`` says in sentences what was left out.
    """

    points: Floats
    triangles: Ints
    outline_nodes: Ints
    hole_nodes: tuple[Ints, ...]
    line_nodes: tuple[Ints, ...]
    line_edges: tuple[Ints, ...]
    notes: tuple[str, ...]

    @cached_property
    def _sides(self) -> Floats:
        """Side lengths ``(m, 3) [mm]``, side i opposite corner i."""
        p = self.points[self.triangles]
        return np.stack([np.linalg.norm(p[:, (i + 2) % 3] - p[:, (i + 1) % 3], axis=1) for i in range(3)], axis=1)

    @cached_property
    def areas(self) -> Floats:
        """Triangle areas ``(m,) [mm2]``."""
        a, b, c = (self.points[self.triangles[:, i]] for i in range(3))
        return 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])

    @property
    def quality_min(self) -> float:
        """Least ``4 sqrt(3) A / sum of squared sides``: 1 for an equilateral triangle, 0 for a flat one."""
        return float((4.0 * np.sqrt(3.0) * self.areas / (self._sides**2).sum(axis=1)).min())

    @property
    def angle_min_deg(self) -> float:
        """Least angle of all triangles [deg]."""
        s = np.sort(self._sides, axis=1)
        cosine = (s[:, 1] ** 2 + s[:, 2] ** 2 - s[:, 0] ** 2) / (2.0 * s[:, 1] * s[:, 2])
        return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))).min())

    @property
    def edge_min(self) -> float:
        """Shortest edge [mm]."""
        return float(self._sides.min())

    @property
    def edge_median(self) -> float:
        """Median edge [mm]."""
        return float(np.median(self._sides))

    @property
    def edge_max(self) -> float:
        """Longest edge [mm]."""
        return float(self._sides.max())

    def figures(self) -> dict[str, float]:
        """Counts, edges [mm], least quality and angle [deg], for a stage's values."""
        return {
            "triangles": float(len(self.triangles)), "points": float(len(self.points)), "edge_min": self.edge_min, "edge_median": self.edge_median,
            "edge_max": self.edge_max, "quality_min": self.quality_min, "angle_min_deg": self.angle_min_deg,
        }  # fmt: skip


def mesh_region(
    outline: Floats,
    *,
    holes: Sequence[Floats] = (),
    lines: Sequence[Floats] = (),
    size: float | SizeField,
    quarter: bool = False,
    growth: float = 1.3,
    most: int = TRIANGLES_MOST,
    seconds: float = 120.0,
    watch: Watch | None = None,
) -> PlaneMesh:
    """Fill an outline with triangles of the wanted edge length.

    ``outline`` and ``holes`` are closed polylines ``(k, 2) [mm]`` (the first point may be repeated or not); ``lines`` are polylines that edges must
    follow, closed if their first point is repeated at the end, open otherwise; an open end on the boundary becomes a node of it. ``size`` [mm] is
    a number or a function ``(x (n,), y (n,)) -> (n,)``; the sizes grow so that neighbouring edges differ by the factor ``growth`` at most. Corners
    sharper than 25 degrees stay nodes, shorter detail than the size does not. With ``quarter`` only x >= 0, y >= 0 is meshed, with nodes exactly on the axes.

    Raises :class:`InputError` for curves that cross or leave the region, a size that is not positive, or more than ``most`` triangles asked for;
    :class:`SolveError` if the mesher fails or needs more than ``seconds``.
    """
    if not callable(size) and not (np.isfinite(size) and size > 0):
        raise InputError(
            f"The wanted edge length must be a positive number of millimetres, and is {size!r}.", where="size", help="State a size above 0."
        )
    if not 1.0 < growth <= 2.0:
        raise InputError(f"The growth of neighbouring edges must lie above 1 and not above 2, and is {growth!r}.", where="growth")
    if not callable(size):
        _refuse_small(polyline(outline, "outline", 3), float(size), quarter, most)
    sampled = sample(outline, holes, lines, size, slope=slope_of(growth), quarter=quarter)
    count = expected_triangles(sampled)
    if count > most:
        raise InputError(
            f"The wanted edges give about {count:.0f} triangles; the limit is {most}.", where="size", help="State longer edges."
        )
    points, triangles = _filled(sampled, seconds, watch or Watch())
    return _checked(sampled, points, triangles)


def _refuse_small(outline: Floats, size: float, quarter: bool, most: int) -> None:
    """Refuse before the outline is resampled to millions of points: the loop alone would have more edges than the mesh may have triangles."""
    length = float(np.linalg.norm(np.diff(outline, axis=0), axis=1).sum()) / (4 if quarter else 1)
    if length / size > most:
        raise InputError(f"An edge of {size:g} mm gives far more than {most} triangles.", where="size", help="State a longer edge.")


def expected_triangles(sampled: Sampled) -> float:
    """Triangles to expect: an equilateral triangle of edge h has the area 0.433 h2."""
    import shapely

    grid: SizeGrid = sampled.grid
    where = grid.centres()
    inside = shapely.contains_xy(sampled.polygon(), where[:, 0], where[:, 1])
    if not inside.any():
        return 0.0
    density = 1.0 / (0.433 * grid.values.ravel()[inside] ** 2)
    return float(density.mean() * sampled.polygon().area)


def _filled(sampled: Sampled, seconds: float, watch: Watch) -> tuple[Floats, NDArray[np.int64]]:
    got = ask(
        _CHILD, {"points": sampled.points, "loops": sampled.loops, "embedded": sampled.embedded, "low": sampled.grid.low, "step": sampled.grid.step, "values": sampled.grid.values},
        seconds, lambda: watch.step("meshing the blank"),
        late=lambda: SolveError(f"Meshing the flat region took longer than {seconds:g} s and was stopped.", where="size", help="State longer edges."),
        refused=lambda said: SolveError(f"The mesher gave up on the flat region ({said}).", where="outline", help="State smaller edges, or move lines and holes apart."),
        lost=lambda code: SolveError(f"The process that meshes ended without an answer (code {code}).", where="outline", help="Run it again."),
    )  # fmt: skip
    return got["points"], got["triangles"]


def _checked(sampled: Sampled, points: Floats, triangles: NDArray[np.int64]) -> PlaneMesh:
    given = len(sampled.points)
    points = points.copy()
    points[:given] = sampled.points
    a, b, c = (points[triangles[:, i]] for i in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    triangles[doubled < 0] = triangles[doubled < 0][:, ::-1]
    area = sampled.polygon().area
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    key = np.unique(edges[:, 0] * len(points) + edges[:, 1])
    asked = np.sort(np.concatenate([sampled.loops[:, 1:], sampled.embedded]), axis=1)
    followed = np.isin(asked[:, 0] * len(points) + asked[:, 1], key)
    if not followed.all() or abs(0.5 * np.abs(doubled).sum() - area) > 1e-6 * area or (doubled == 0).any() or triangles.min() < 0:
        raise SolveError(
            f"The mesh does not fill the region: {int((~followed).sum())} edges are not followed, area {0.5 * np.abs(doubled).sum():.6g} of {area:.6g} mm2.",
            where="outline", help="State smaller edges, or move lines and holes apart.",
        )  # fmt: skip
    rings = [ring.astype(np.int32) for ring in sampled.rings]
    return PlaneMesh(
        points, triangles.astype(np.int32), rings[0], tuple(rings[1:]), tuple(_in_order(e) for e in sampled.line_edges),
        tuple(e.astype(np.int32) for e in sampled.line_edges), tuple(sampled.notes),
    )  # fmt: skip


def _in_order(edges: NDArray[np.int64]) -> Ints:
    """Nodes along directed edges that are already in order, each once."""
    _, first = np.unique(edges.ravel(), return_index=True)
    return edges.ravel()[np.sort(first)].astype(np.int32)

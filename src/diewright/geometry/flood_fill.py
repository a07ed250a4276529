"""Space round an open sheet, filled with tetrahedra that follow every triangle of the sheet.

The sheet stands in a box; a general-purpose mesher (Delaunay with boundary recovery) fills the box in a child process with a time limit.
No point is wanted inside: a height is linear in a tetrahedron of any shape.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.child import ask
from diewright.geometry.mesh import TriMesh
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

MARGIN = 0.25
"""Free room between sheet and box, as a share of the sheet's diagonal."""
POINTS_MOST = 200_000
_CHILD = "diewright.geometry.flood_fill_child"
_WALLS = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))


def fill_round(mesh: TriMesh, *, seconds: float = 120.0, watch: Watch | None = None) -> tuple[Floats, Ints, Ints]:
    """Points ``(n, 3) [mm]`` (those of the mesh first, then the eight corners of the box), tetrahedra ``(k, 4)``, sheet ``(m, 3)``: the mesh's own triangles, split only
    where the mesher had to add a point on them.

    Points of the mesh that no triangle uses stay points of the space. Raises :class:`InputError` for a mesh without triangles, with two points
    in one place or with too many points; :class:`SolveError` where the sheet crosses itself or cannot be followed.
    """
    if not len(mesh.triangles):
        raise InputError("The sheet has no triangles.", help="Read the part again.")
    if len(mesh.points) > POINTS_MOST:
        raise InputError(
            f"The sheet has {len(mesh.points)} points; the limit for pockets is {POINTS_MOST}.", where="part.target_edge",
            help="State a longer edge.",
        )  # fmt: skip
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    size = float(np.linalg.norm(high - low))
    twins = len(mesh.points) - len(np.unique(np.round((mesh.points - low) / (1e-9 * size)), axis=0))
    if twins:
        raise InputError(
            f"{twins} points of the sheet lie in the same place as another: its triangles are not joined there.", where="part.file",
            help="Export the part as one sewn surface.",
        )  # fmt: skip
    low, high = low - MARGIN * size, high + MARGIN * size
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    walls = np.array([t for a, b, c, d in _WALLS for t in ((a, b, c), (a, c, d))])
    points, tets, sheet = _filled(mesh, corners, walls, seconds, watch or Watch())
    _check(mesh, float(np.prod(high - low)), points, tets, sheet)
    ours, theirs = (np.sort(t, axis=1).astype(np.int64) @ _stride(len(points)) for t in (mesh.triangles, sheet))
    kept = len(ours) == len(theirs) and np.array_equal(np.sort(ours), np.sort(theirs))
    return points, tets, mesh.triangles if kept else sheet


def _filled(mesh: TriMesh, corners: Floats, walls: np.ndarray, seconds: float, watch: Watch) -> tuple[Floats, Ints, Ints]:
    got = ask(
        _CHILD, {"points": mesh.points, "triangles": mesh.triangles, "corners": corners, "walls": walls}, seconds,
        lambda: watch.step("filling the space round the sheet"),
        late=lambda: SolveError(f"Filling the space round the sheet took longer than {seconds:g} s and was stopped.", where="part.target_edge", help="State a longer edge."),
        refused=_refused,
        lost=lambda code: SolveError(f"The process that fills the space round the sheet ended without an answer (code {code}).", help="Run it again."),
    )  # fmt: skip
    return got["points"], got["tets"], got["sheet"]


def _refused(said: str) -> SolveError:
    if any(word in said.lower() for word in ("intersect", "overlap", "self-touch", "plc")):
        return SolveError(
            f"The sheet crosses or touches itself, so that no side can be told from the other ({said}).", where="part.file",
            help="Mend the surface in CAD, or mesh it finer.",
        )  # fmt: skip
    return SolveError(f"The space round the sheet could not be filled ({said}).", where="part.file", help="Mesh the part finer or coarser.")


def _check(mesh: TriMesh, box: float, points: Floats, tets: Ints, sheet: Ints) -> None:
    """The cells fill the box, and the sheet's faces are all there with the area of the sheet."""
    a = points[tets[:, 0]]
    volume = np.abs(np.einsum("ij,ij->i", np.cross(points[tets[:, 1]] - a, points[tets[:, 2]] - a), points[tets[:, 3]] - a)).sum() / 6.0
    area = TriMesh(points, sheet).area
    key = np.unique(np.sort(tets[:, [[0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3]]].reshape(-1, 3), axis=1) @ _stride(len(points)))
    followed = np.isin(np.sort(sheet, axis=1) @ _stride(len(points)), key)
    if abs(volume - box) > 1e-6 * box or abs(area - mesh.area) > 1e-6 * mesh.area or not followed.all():
        raise SolveError(
            f"The space round the sheet was not filled whole: {int((~followed).sum())} triangles of the sheet are not followed, volume {volume:.8g} of {box:.8g} mm3.",
            where="part.file", help="Mend the surface in CAD, or mesh it finer.",
        )  # fmt: skip


def _stride(count: int) -> NDArray[np.int64]:
    return np.array([count * count, count, 1], dtype=np.int64)

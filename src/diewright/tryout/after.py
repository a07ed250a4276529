"""After the press has opened: release, trim and pierce, springback."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.cut_line import inside_line
from diewright.geometry.mesh import TriMesh
from diewright.geometry.plane_mesh import PlaneMesh
from diewright.mechanics.shell.carry import carry
from diewright.mechanics.shell.form import ShellForm
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.patch import Patches, build_patches
from diewright.mechanics.shell.static import StaticShell
from diewright.tryout.blank_mesh import BlankLines

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Sprung:
    """A shape in balance with itself: its patches, form and triangles of the blank's mesh it is made of."""

    patches: Patches
    form: ShellForm
    kept: NDArray[np.integer]
    nodes: NDArray[np.integer]
    iterations: int

    @property
    def mesh(self) -> TriMesh:
        """As it stands."""
        return TriMesh(self.form.x[: self.patches.n], self.patches.conn[:, :3])


@dataclass(frozen=True)
class Cut:
    """Which triangles stay after trimming and piercing, how the line was found, and how far mesh line and stated line are apart on the drawn sheet [mm] (None: no trim)."""

    kept: NDArray[np.bool_]
    how: str
    off: float | None


def release(patches: Patches, form: ShellForm, material: ShellMaterial, stations: Floats) -> Sprung:
    """Springback of the whole drawn sheet."""
    found = StaticShell(patches, material, stations).springback(form, tolerance=1e-5)
    return Sprung(patches, found.form, np.arange(len(patches.conn)), np.arange(patches.n), found.iterations)


def find_cut(mesh: PlaneMesh, drawn: TriMesh, lines: BlankLines, trim_line: Floats, size: float) -> Cut:
    """Triangles that stay. The mesh follows the trim line as the one-step solution carried it to the flat blank; where the drawn sheet brings these mesh lines
    within one edge length of the stated line they are the cut, else whole triangles are taken by the stated line."""
    kept = np.ones(len(mesh.triangles), dtype=bool)
    centroid = mesh.points[mesh.triangles].mean(axis=1)
    for hole in lines.pierced.values():
        kept &= ~shapely.contains_xy(shapely.Polygon(hole), centroid[:, 0], centroid[:, 1])
    if lines.trim is None:
        return Cut(kept, "the blank's own edge; nothing is trimmed", None)
    inside = shapely.contains_xy(shapely.Polygon(lines.trim), centroid[:, 0], centroid[:, 1])
    nodes = mesh.line_nodes[0] if mesh.line_nodes else np.zeros(0, dtype=np.int64)
    if len(nodes):
        off = float(np.abs(inside_line(drawn.points[nodes], trim_line, drawn.point_normals[nodes])).max())
        if off <= size:
            return Cut(kept & inside, "mesh lines laid by the one-step solution", off)
    distance = inside_line(drawn.points, trim_line, drawn.point_normals, triangles=drawn.triangles)
    return Cut(kept & (distance[mesh.triangles].mean(axis=1) > 0), "whole triangles at the stated line", None)


def trim(
    flat: TriMesh,
    thickness: float,
    rolling: tuple[float, float, float],
    whole: Sprung,
    kept: NDArray[np.bool_],
    material: ShellMaterial,
    stations: Floats,
) -> Sprung:
    """The released sheet cut, and sprung back again. Raises :class:`SolveError` where the cut leaves nothing or loose pieces."""
    cells = np.flatnonzero(kept)
    if len(cells) < 10:
        raise SolveError("the trim line leaves nothing of the sheet.", where="tryout trim", help="Look at the trim line on the faces page.")
    used = np.unique(flat.triangles[cells])
    number = np.full(len(flat.points), -1)
    number[used] = np.arange(len(used))
    small = TriMesh(flat.points[used], number[flat.triangles[cells]])
    pieces = np.asarray(small.components)
    if pieces.max(initial=0) > 0:
        # crumbs at a ragged edge fall away; the largest piece is the part
        largest = int(np.argmax(np.bincount(pieces)))
        return trim(flat, thickness, rolling, whole, _only(kept, cells, pieces == largest), material, stations)
    patches = build_patches(small.points, small.triangles, thickness, rolling=rolling)
    form = carry(whole.patches, patches, whole.form, cells, used)
    found = StaticShell(patches, material, stations).springback(form, tolerance=1e-5)
    return Sprung(patches, found.form, cells, used, found.iterations)


def _only(kept: NDArray[np.bool_], cells: NDArray[np.intp], stay: NDArray[np.bool_]) -> NDArray[np.bool_]:
    out = np.zeros_like(kept)
    out[cells[stay]] = True
    return out

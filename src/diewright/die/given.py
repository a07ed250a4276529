"""Faces given as CAD files: read, brought into press coordinates, turned towards the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.die.gaps import Gap, gap
from diewright.die.loft import joined
from diewright.die.made import part_of
from diewright.errors import DeskError, InputError
from diewright.geometry.mesh import TriMesh
from diewright.part.reader import read_tool
from diewright.watch import Watch

Floats = NDArray[np.float64]

UP = {"die": 1.0, "punch": -1.0, "blankholder": -1.0}
"""Which way each face's normals look: towards the sheet."""
_SURE = 0.05  # share of the area that must speak for one side
_AWAY = -0.05  # z of a normal (times UP) below which a face of a closed body looks away from the sheet


@dataclass(frozen=True, eq=False)
class Given:
    """One face in press coordinates, normals towards the sheet, and what was done with it in sentences."""

    mesh: TriMesh
    notes: tuple[str, ...]


def read_face(name: str, path: Path, unit: str, rotation: Floats, shift: Floats, watch: Watch) -> Given:
    """Read the face called ``name`` and bring it from CAD to press coordinates: ``x' = R x + s``. Raises the :class:`DeskError` of the reader with the field's name."""
    field = f"faces.{name}_file"
    try:
        mesh, values = read_tool(path, unit=unit, watch=watch)
    except DeskError as error:
        where = field if error.where in ("", "part.file") else error.where
        raise type(error)(error.what, where=where, help=error.help) from None
    notes = [f"{name}: {a['what']} ({a['count']})." for a in values["audit"] if a["severity"] in ("left", "repaired")]
    return towards_sheet(name, mesh.moved(rotation, shift), notes)


def towards_sheet(name: str, mesh: TriMesh, notes: list[str]) -> Given:
    """Turn every piece towards the sheet by the vote of its area; of a closed body only what does not look away is kept.

    Raises :class:`InputError` for a piece that looks up as much as down.
    """
    pieces, found = [], mesh.components
    for k in np.unique(found):
        piece = part_of(mesh, found == k)
        if len(piece.boundary_edges) == 0:
            piece = _open(name, piece)
            notes.append(f"The {name}'s file holds a closed body: its faces that look away from the sheet are left out.")
        vote = 0.5 * float(piece.doubled_normals[:, 2].sum()) / max(piece.area, 1e-300)
        if abs(vote) < _SURE:
            raise InputError(
                f"it cannot be told which side of the {name}'s face looks towards the sheet: {50 * (1 + vote):.0f} % of it looks up.",
                where=f"faces.{name}_file", help="Give only the working face, without the tool's outer sides, or check part.press_direction.",
            )  # fmt: skip
        pieces.append(piece if vote * UP[name] > 0 else piece.reversed())
    return Given(joined(pieces), tuple(dict.fromkeys(notes)))


def _open(name: str, body: TriMesh) -> TriMesh:
    """A closed body, normals outwards, without what looks away from the sheet."""
    volume = float(np.einsum("ij,ij->i", body.points[body.triangles[:, 0]], body.doubled_normals).sum()) / 6.0
    body = body if volume > 0 else body.reversed()
    keep = body.normals[:, 2] * UP[name] > _AWAY
    if not keep.any():
        raise InputError(f"no face of the {name}'s body looks towards the sheet.", where=f"faces.{name}_file", help="Check the file.")
    return part_of(body, keep)


def facing_gap(face: TriMesh, other: TriMesh) -> Gap:
    """Gap from the points and triangle centres of ``face`` to ``other``, where the two look at each other within 30 degrees and no free edge is nearest."""
    points = np.vstack([face.points, face.centroids])
    normals = np.vstack([face.point_normals, face.normals])
    chosen = _facing(points, normals, other)[0]
    return gap(points[chosen] if chosen.any() else face.centroids, other)


def wall_gap(face: TriMesh, other: TriMesh) -> float | None:
    """Median gap by area [mm] where both faces stand within 15 degrees of vertical; None without such a wall."""
    chosen, cell = _facing(face.centroids, face.normals, other)
    upright = np.sin(np.deg2rad(15.0))
    chosen &= (np.abs(other.normals[cell, 2]) < upright) & (np.abs(face.normals[:, 2]) < upright)
    if not chosen.any():
        return None
    value, area = gap(face.centroids[chosen], other).value, face.areas[chosen]
    order = np.argsort(value)
    total = np.cumsum(area[order])
    return float(value[order][np.searchsorted(total, 0.5 * total[-1])])


def _facing(points: Floats, normals: Floats, other: TriMesh) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Which points with their normals look at ``other`` and have it in front of them, and its nearest triangle."""
    from igl import point_mesh_squared_distance

    _, cell, near = point_mesh_squared_distance(np.ascontiguousarray(points), other.points, other.triangles.astype(np.int64))
    cell = np.asarray(cell, dtype=np.int64).ravel()
    away = points - near
    length = np.linalg.norm(away, axis=1)
    # beyond the other's edge the nearest point is on the edge and the way there leaves the normal
    along = np.abs(np.einsum("ij,ij->i", away, other.normals[cell])) > 0.8 * length
    facing = np.einsum("ij,ij->i", normals, other.normals[cell]) < -np.cos(np.deg2rad(30.0))
    return np.asarray(facing & (along | (length < 1e-9))), cell


def plan_outline(mesh: TriMesh) -> Floats:
    """Outline ``(k, 2)`` of a face seen in plan."""
    corner = mesh.points[mesh.triangles][:, :, :2]
    flat = np.abs(mesh.doubled_normals[:, 2]) > 1e-9
    whole: Any = shapely.union_all(shapely.polygons(corner[flat]), grid_size=1e-4)
    if isinstance(whole, shapely.MultiPolygon):
        whole = max(whole.geoms, key=lambda g: g.area)
    return np.asarray(whole.exterior.coords)[:-1]


def off_place(part: Floats, die: TriMesh, thickness: float) -> float:
    """Median distance [mm] between the part's lower skin and the die, ``part (n, 3)`` being points of its middle surface."""
    return float(np.median(np.abs(gap(part, die).value - 0.5 * thickness)))

"""The draw bead's line in space: laid on the surface that the blankholder and the die share, smoothed, with the frame that its section stands in.

The line comes from the faces' triangles, so that it is smoothed by a periodic cubic spline within the chord of those triangles before anything is swept along it. Where the
blankholder is one of our own surfaces (plane, cylinder, cone, developable) heights and normals are exact; elsewhere, as on given or moved faces or on the part's own flange,
they are read off the triangles and smoothed alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import splev, splprep

from diewright.die.gaps import barycentric
from diewright.die.holder import holder_of
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.forming.bead_line import BeadLine

Floats = NDArray[np.float64]

CHORD = 0.02
"""Chord of the faces' triangles, in thicknesses: what the line is smoothed by (root mean square), and how near triangles lie to a surface that they stand for."""
HEIGHT = 0.005
"""Heights read off the triangles are smoothed by this, in thicknesses: what a chord leaves of the surface on average."""


@dataclass(frozen=True, eq=False)
class BeadPath:
    """The line on the middle of the sheet: ``s (k,)`` along it as in the bead's line [mm], ``points (k, 3)``, unit ``normals (k, 3)`` up, closed (first point not repeated);
    ``ground`` tells where heights come from, ``strayed`` how far smoothing moved the line in plan [mm]."""

    s: Floats
    points: Floats
    normals: Floats
    length: float
    ground: Literal["surface", "triangles"]
    strayed: float


def bead_path(line: BeadLine, blankholder: TriMesh, surface: Mapping[str, Any] | None, thickness: float) -> BeadPath:
    """Lay the line of a bead on the blankholder [mm]; its face lies half a ``thickness`` above the middle of the sheet. ``surface`` is the record of our own surface of the sheet's middle, if there is one."""
    plan = _smooth(line.points, line.s, line.length, CHORD * thickness)
    strayed = float(np.linalg.norm(plan - line.points, axis=1).max())
    read, up = _read(blankholder, plan, 0.5 * thickness)
    if surface is not None:
        holder = holder_of(dict(surface))
        height = holder.height(plan)
        if np.abs(height - read[:, 2]).max() <= CHORD * thickness:
            return BeadPath(line.s, np.column_stack([plan, height]), holder.normal(plan), line.length, "surface", strayed)
    points = np.column_stack([plan, _smooth(read[:, 2:], line.s, line.length, HEIGHT * thickness)])
    normals = _smooth(up, line.s, line.length, 0.003)  # a fifth of a degree
    return BeadPath(line.s, points, normals / np.linalg.norm(normals, axis=1)[:, None], line.length, "triangles", strayed)


def _smooth(values: Floats, s: Floats, length: float, by: float) -> Floats:
    """``values (k, d)`` along a closed line, smoothed by ``by`` root mean square."""
    closed = [np.append(column, column[0]) for column in values.T]
    spline, _ = splprep(closed, u=np.append(s, length), s=len(s) * by * by, per=True)
    return np.column_stack(splev(s, spline))


def _read(mesh: TriMesh, plan: Floats, below: float) -> tuple[Floats, Floats]:
    """Points ``(k, 3)`` ``below`` the mesh at plan points, and its normals up there; the nearest place in plan beyond its edge."""
    from igl import point_mesh_squared_distance

    flat = np.column_stack([mesh.points[:, :2], np.zeros(len(mesh.points))])
    query = np.column_stack([plan, np.zeros(len(plan))])
    _, cell, near = point_mesh_squared_distance(query, flat, mesh.triangles.astype(np.int64))
    corner = mesh.triangles[np.asarray(cell, dtype=np.int64).ravel()]
    weight = np.clip(barycentric(near, flat[corner]), 0.0, 1.0)
    weight /= weight.sum(axis=1, keepdims=True)
    normal = np.einsum("ij,ijk->ik", weight, mesh.point_normals[corner])
    normal *= np.where(normal[:, 2:] < 0, -1.0, 1.0) / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    on = np.einsum("ij,ijk->ik", weight, mesh.points[corner])
    # seen at the plan point: down along z, not along the normal
    on[:, 2] -= below / np.maximum(normal[:, 2], 0.1)
    return on, normal

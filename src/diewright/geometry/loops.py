"""Which boundary loop of a mesh is its outer edge, and which are holes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]


def vector_area(ring: Floats) -> Floats:
    """Vector area ``1/2 sum (p_i x p_i+1)`` of a closed loop ``(k, 3)`` [mm2]; its length does not grow with a wavy edge."""
    centred = ring - ring.mean(axis=0)
    return 0.5 * np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0)


def outer_loop(mesh: TriMesh, axis: Floats | None = None) -> int:
    """Number (in ``mesh.boundary_loops``) of the outer edge.

    With an ``axis`` (press direction) the loop with the largest plan area along it, else the one with the largest vector area; among
    loops within 2 % of that the longest. Raises :class:`InputError` for a mesh without an edge or in several pieces.
    """
    loops = mesh.boundary_loops
    if not loops:
        raise InputError("The skin has no edge: it is a closed body, not a sheet.", where="part", help="Choose one skin of the solid.")
    if len(np.unique(mesh.components)) > 1:
        raise InputError(
            f"The skin is in {len(np.unique(mesh.components))} separate pieces.",
            where="part",
            help="Keep one connected sheet in the CAD file.",
        )
    areas = np.array([vector_area(mesh.points[loop]) for loop in loops])
    size = np.abs(areas @ (np.asarray(axis) / np.linalg.norm(axis))) if axis is not None else np.linalg.norm(areas, axis=1)
    if size.max() <= 0:
        size = np.array([mesh.loop_length(loop) for loop in loops])
    near = np.flatnonzero(size >= 0.98 * size.max())
    return int(max(near, key=lambda i: mesh.loop_length(loops[i])))


def hole_loops(mesh: TriMesh, axis: Floats | None = None) -> list[int]:
    """Numbers of all loops but the outer one."""
    outer = outer_loop(mesh, axis)
    return [i for i in range(len(mesh.boundary_loops)) if i != outer]

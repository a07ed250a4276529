"""Read a CAD file safely: what it is, one skin of it as a mesh, and what was found on the way."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from diewright.errors import FileError, InputError
from diewright.geometry.mesh import TriMesh
from diewright.part.sandbox import Limits, private_folder, run_child
from diewright.part.sniff import open_checked, sniff
from diewright.watch import Watch


@dataclass(frozen=True)
class PartShape:
    """One skin of a part in its own coordinates [mm].

    ``face (m,)`` CAD face numbers from 1; ``curvature (n,)`` principal curvature of greatest size [1/mm], positive where its
    centre lies on the side of the normal; ``edges (k, 2)`` point pairs along CAD edges; ``sharp (n,)`` 1 on sharp edges inside the part, ``rim (n,)`` 1 on free edges;
    ``drawn (n, 3)`` the points before they were moved to the middle [mm];
    ``normal (m, 3)`` unit normals of the true surface in the middle of each triangle (facets of a vertical round wall are not all vertical);
    ``point_normal (n, 3)`` those at the points, 0 where faces meet sharply;
    ``quality (m,)`` signed inverse condition number of each triangle. ``values`` as the stage contract names them.
    """

    mesh: TriMesh
    face: np.ndarray
    curvature: np.ndarray
    edges: np.ndarray
    sharp: np.ndarray
    rim: np.ndarray
    drawn: np.ndarray
    normal: np.ndarray
    point_normal: np.ndarray
    quality: np.ndarray
    values: dict[str, Any] = field(default_factory=dict)


def read(
    path: Path,
    *,
    unit: str = "",
    skin: str = "auto",
    direction: tuple[float, float, float] | None = None,
    target_edge: float = 0.0,
    chord_error: float = 0.0,
    min_edge: float = 0.0,
    limits: Limits = Limits(),
    watch: Watch | None = None,
    started: Callable[[int], None] | None = None,
) -> PartShape:
    """Read ``path`` in a child process within ``limits``.

    ``unit`` as stated in the job ("" if not), ``skin`` one of auto, upper, lower, middle; ``direction`` the punch's travel for upper and lower;
    sizes [mm], 0 to have them chosen. ``started`` hears the child's process number. Raises :class:`FileError` for anything
    wrong with the file, :class:`InputError` for a unit that is missing or contradicts the file, :class:`SolveError` if no mesh can be
    made, :class:`Cancelled` when the watch says so.
    """
    watch = watch or Watch()
    size = open_checked(path, limits.file_megabytes)
    kind, remark = sniff(path, size)
    if kind == "stl" and not unit:
        raise InputError(
            f"the STL file '{path.name}' carries no unit of length.", where="part.unit", help="State part.unit: mm, cm, m or inch."
        )
    if not kind == "stl" and min_edge and target_edge and min_edge > target_edge:
        raise InputError(f"the minimum edge ({min_edge:g} mm) is longer than the target edge ({target_edge:g} mm).", where="part.min_edge")
    request = {
        "kind": kind, "remark": remark, "unit": unit, "skin": skin, "direction": list(direction) if direction else None,
        "target_edge": target_edge, "chord_error": chord_error, "min_edge": min_edge,
    }  # fmt: skip
    values, arrays = _in_child(path, request, limits, watch, started)
    mesh = TriMesh(arrays["points"], arrays["triangles"])
    return PartShape(
        mesh,
        arrays["face"],
        arrays["curvature"],
        arrays["edges"],
        arrays["sharp"],
        arrays["rim"],
        arrays["drawn"],
        smooth_normals(mesh, arrays["normal"]),
        arrays["normal"],
        arrays["quality"],
        values,
    )


def read_tool(path: Path, *, unit: str = "", limits: Limits = Limits(), watch: Watch | None = None) -> tuple[TriMesh, dict[str, Any]]:
    """A face of a tool in its own coordinates [mm], triangulated finely as it stands, and what was found (``unit``, ``faces``, ``audit``).

    ``unit`` is that of an STL file. Raises as :func:`read`.
    """
    size = open_checked(path, limits.file_megabytes)
    kind, remark = sniff(path, size)
    if kind == "stl" and not unit:
        raise InputError(
            f"the STL file '{path.name}' carries no unit of length.", where="part.unit", help="State part.unit: mm, cm, m or inch."
        )
    request = {"task": "tool", "kind": kind, "remark": remark, "unit": unit if kind == "stl" else ""}
    values, arrays = _in_child(path, request, limits, watch or Watch(), None)
    return TriMesh(arrays["points"], arrays["triangles"]), values


def _in_child(
    path: Path, request: dict[str, Any], limits: Limits, watch: Watch, started: Callable[[int], None] | None
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Copy the file into a private folder and do the request on the copy in a child process."""
    with private_folder() as folder:
        copy = folder / f"part.{request['kind']}"
        try:
            shutil.copyfile(path, copy)
        except OSError as error:
            raise FileError(
                f"the file '{path.name}' cannot be read ({error.strerror}).", where="part.file", help="Check permissions and disk space."
            ) from None
        return run_child("diewright.part.child", {**request, "path": str(copy)}, folder, path.name, limits, watch, started)


def smooth_normals(mesh: TriMesh, at_points: np.ndarray) -> np.ndarray:
    """Unit normals ``(m, 3)``: mean of the exact normals ``(n, 3)`` at the corners; the facet's own where a corner has none (0)."""
    corner = at_points[mesh.triangles]
    known = (np.abs(corner).sum(axis=2) > 0).all(axis=1)
    total = corner.sum(axis=1)
    length = np.linalg.norm(total, axis=1)
    known &= length > 1.5
    return np.where(known[:, None], total / np.maximum(length, 1e-300)[:, None], mesh.normals)

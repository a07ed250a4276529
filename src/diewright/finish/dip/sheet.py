"""The sheet as the bath meets it: the part's mesh with holes too narrow to count shut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.stage import Result


@dataclass(frozen=True, eq=False)
class BathSheet:
    """``mesh`` in part coordinates, the part's triangles first; ``shut``: ids of the holes that were closed; ``front_is_upper``: the mesh's normals point against
    the press direction."""

    mesh: TriMesh
    shut: tuple[int, ...]
    front_is_upper: bool


def bath_sheet(part: Result, tipping: Result, hole_least: float) -> BathSheet:
    """The part in its own (CAD) coordinates. Raises :class:`InputError` for a part in several loose pieces."""
    mesh = part.meshes["part"].mesh
    pieces = np.unique(mesh.components)
    if len(pieces) > 1:
        areas = sorted((float(mesh.areas[mesh.components == p].sum()) for p in pieces), reverse=True)
        raise InputError(
            f"the part is in {len(pieces)} loose pieces ({', '.join(f'{a:.4g}' for a in areas[:4])} mm2): they would fall off the rack.",
            where="part.file", help="Join them in CAD, or dip each alone.",
        )  # fmt: skip
    points, triangles, shut = [mesh.points], [mesh.triangles], []
    count = len(mesh.points)
    for hole in part.values["holes"]:
        width = hole["diameter"] or 4.0 * hole["area"] / hole["perimeter"]
        if width >= hole_least:
            continue
        loop = np.asarray(part.arrays[f"hole_{hole['id']}"])
        points.append(mesh.points[loop].mean(axis=0)[None])
        triangles.append(np.stack([np.roll(loop, -1), loop, np.full(len(loop), count)], axis=1))
        count += 1
        shut.append(int(hole["id"]))
    direction = np.asarray(tipping.values["direction"], dtype=np.float64)
    closed = TriMesh(np.concatenate(points), np.concatenate(triangles))
    return BathSheet(closed, tuple(shut), bool(float((mesh.doubled_normals @ -direction).sum()) > 0))

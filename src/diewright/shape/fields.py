"""The draw shape in the making: the mesh with its fields, hole loops and drawn edges, from the tipped part to what is drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.part import measure
from diewright.part.visible import View
from diewright.shape.bridge import Bridge
from diewright.shape.copies import placed
from diewright.shape.unroll import Opened

Floats = NDArray[np.float64]

SLACK = 0.02
"""How far into the open a line of sight starts beside its triangle [mm]: twice the chords of a usual mesh."""


@dataclass(frozen=True, eq=False)
class Shape:
    """``mesh``, ``point`` and ``cell`` fields as of tipping, ``loops`` of the holes by number, their records ``holes``, and the CAD ``edges (k, 2, 3)``."""

    mesh: TriMesh
    point: dict[str, np.ndarray]
    cell: dict[str, np.ndarray]
    loops: dict[int, np.ndarray]
    holes: list[dict[str, Any]]
    edges: Floats

    @property
    def fields(self) -> FieldMesh:
        """As it is handed on."""
        return FieldMesh(self.mesh, self.point, self.cell)


def opened_shape(shape: Shape, opened: Opened, cells: NDArray[np.bool_]) -> Shape:
    """The shape with the triangles ``cells (m,)`` of a flange moved; depth, draft and undercut are measured anew by :func:`measured`."""
    mesh = TriMesh(opened.points, shape.mesh.triangles)
    bent = ~np.isnan(opened.radius)
    radius = np.asarray(shape.point["radius"]).copy()
    radius[bent] = np.sign(radius[bent]) * np.minimum(opened.radius[bent], measure.CLIP)
    point = {**shape.point, "normal": opened.normals, "radius": radius}
    return replace(
        shape, mesh=mesh, point=point, edges=_carried(shape.edges, shape.mesh.points, opened.points),
        holes=[_turned(h, shape.mesh.points[shape.loops[h["id"]]], opened.points[shape.loops[h["id"]]]) for h in shape.holes],
    )  # fmt: skip


def _carried(edges: Floats, was: Floats, now: Floats) -> Floats:
    """Edge segments whose ends are points of the mesh, moved with them."""
    if not len(edges):
        return edges
    off, at = cKDTree(was).query(edges.reshape(-1, 3))
    moved = edges.reshape(-1, 3) + np.where(off[:, None] < 1e-6, now[at] - was[at], 0.0)
    return moved.reshape(edges.shape)


def _turned(hole: dict[str, Any], was: Floats, now: Floats) -> dict[str, Any]:
    """A hole's record after its edge moved: centre and axis by the rigid motion nearest to its edge's."""
    if np.array_equal(was, now):
        return hole
    a, b = was.mean(axis=0), now.mean(axis=0)
    u, _, vt = np.linalg.svd((was - a).T @ (now - b))
    rotation = (u @ np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))]) @ vt).T
    return _with(hole, rotation @ (np.array(hole["centre"]) - a) + b, rotation @ np.array(hole["axis"]))


def _with(hole: dict[str, Any], centre: Floats, axis: Floats) -> dict[str, Any]:
    askew = float(np.degrees(np.arccos(min(abs(float(axis[2])), 1.0))))
    return {**hole, "centre": centre.tolist(), "axis": axis.tolist(), "askew_deg": askew}


def copied_shape(shape: Shape, places: Floats) -> Shape:
    """All copies side by side, not yet joined."""
    n, most = len(shape.mesh.points), max(shape.loops, default=0)
    points, triangles, normals, edges = [], [], [], []
    loops: dict[int, np.ndarray] = {}
    holes: list[dict[str, Any]] = []
    for k, place in enumerate(places):
        mirrored = np.linalg.det(place[:3, :3]) < 0
        cells = shape.mesh.triangles[:, ::-1] if mirrored else shape.mesh.triangles
        points.append(placed(shape.mesh.points, place))
        triangles.append(cells + k * n)
        normals.append(shape.point["normal"] @ place[:3, :3].T)
        edges.append(placed(shape.edges.reshape(-1, 3), place).reshape(shape.edges.shape))
        for h in shape.holes:
            loop, number = shape.loops[h["id"]], h["id"] + k * most
            loops[number] = k * n + (loop[::-1] if mirrored else loop)
            moved = _with(h, placed(np.array([h["centre"]]), place)[0], place[:3, :3] @ np.array(h["axis"]))
            holes.append({**moved, "id": number, "copy": k, "of": h["id"]})
    count = len(places)
    point = {name: np.concatenate([a] * count) for name, a in shape.point.items()} | {"normal": np.concatenate(normals)}
    cell = {name: np.concatenate([a] * count) for name, a in shape.cell.items()}
    cell["copy"] = np.repeat(np.arange(count, dtype=np.int32), len(shape.mesh.triangles))
    mesh = TriMesh(np.concatenate(points), np.concatenate(triangles))
    return Shape(mesh, point, cell, loops, holes, np.concatenate(edges))


def joined_shape(shape: Shape, bridge: Bridge) -> Shape:
    """The copies with the bridge between them; on it ``face``, ``copy`` and ``of`` are -1."""
    mesh = TriMesh(np.concatenate([shape.mesh.points, bridge.points]), np.concatenate([shape.mesh.triangles, bridge.triangles]))
    n, m = len(bridge.points), len(bridge.triangles)
    normal = np.concatenate([shape.point["normal"], mesh.point_normals[len(shape.mesh.points) :]])
    given = {"normal": normal, "radius": np.concatenate([shape.point["radius"], np.clip(bridge.radius, -measure.CLIP, measure.CLIP)])}
    point = {name: given.get(name, _longer(a, n, 0)) for name, a in shape.point.items()}
    cell = {name: _longer(a, m, -1 if name in ("face", "copy", "of") else 0) for name, a in shape.cell.items()}
    return replace(shape, mesh=mesh, point=point, cell=cell)


def _longer(a: np.ndarray, more: int, value: int) -> np.ndarray:
    return np.concatenate([a, np.full((more, *a.shape[1:]), value, dtype=a.dtype)])


def measured(shape: Shape, new: NDArray[np.bool_], opened: bool) -> Shape:
    """Depth of all points, draft of the triangles that are ``new (m,)`` in shape; undercut anew if flanges were ``opened``: what one hid elsewhere, or hides now, is seen only from everywhere."""
    z = shape.mesh.points[:, 2]
    draft, undercut = np.array(shape.cell["draft_deg"]), np.array(shape.cell["undercut"])
    draft[new] = measure.draft(shape.mesh.normals[new])
    if opened:
        smooth = np.asarray(shape.point["normal"])[shape.mesh.triangles].mean(axis=1)
        size = np.linalg.norm(smooth, axis=1, keepdims=True)
        normals = np.where(size > 0.5, smooth / np.maximum(size, 0.5), shape.mesh.normals)
        undercut[:] = View(shape.mesh, SLACK, normals).undercut(np.array([0.0, 0.0, 1.0]))
    return replace(shape, point={**shape.point, "depth": z.max() - z}, cell={**shape.cell, "draft_deg": draft, "undercut": undercut})

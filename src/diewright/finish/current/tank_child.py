"""The child process that fills a tank with tetrahedra: ``python -m diewright.finish.current.tank_child FOLDER``.

It reads ``request.npz``, writes ``result.npz`` or ``error.json`` into the folder, and prints nothing. A child, because the mesher can hang or
fault and must not run beside other threads. It ends when its parent ends.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from diewright.geometry.child import end_with_parent, limit

FIRST = 10_000_000
"""Number of the first node of the sheets: above all that the mesher gives."""


def _wanted(request: dict[str, np.ndarray]) -> Callable[..., float]:
    """The wanted edge at a place: that of the nearest source, growing with the distance from it."""
    from scipy.spatial import cKDTree

    most, growth, edges = float(request["most"]), float(request["growth"]), request["source_edges"]
    if len(edges) == 0:
        return lambda dim, tag, x, y, z, lc: most
    query = cKDTree(request["source_points"]).query

    def at(dim: int, tag: int, x: float, y: float, z: float, lc: float) -> float:
        distance, nearest = query((x, y, z))
        return float(min(most, edges[nearest] + growth * distance))

    return at


def fill(folder: Path) -> dict[str, np.ndarray]:
    """``points (n, 3)`` with those of the sheets first, ``tetrahedra (m, 4)``, ``face_nodes (b, 3)`` of walls and blocks and ``face_block (b,)`` (-1: a wall)."""
    import gmsh

    with np.load(folder / "request.npz", allow_pickle=False) as pack:
        request = {name: pack[name] for name in pack.files}
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.option.setNumber("General.NumThreads", 1)
        for name in ("MeshSizeFromPoints", "MeshSizeExtendFromBoundary", "MeshSizeFromCurvature", "MeshSizeMin", "Renumber"):
            gmsh.option.setNumber(f"Mesh.{name}", 0)
        gmsh.option.setNumber("Mesh.Algorithm", 6)
        gmsh.option.setNumber("Mesh.Algorithm3D", 1)
        volume = _tank(gmsh, request["low"], request["high"], request["blocks"])
        sheets = _embed(gmsh, volume, request)
        gmsh.model.mesh.setSizeCallback(_wanted(request))
        gmsh.model.mesh.generate(3)
        return _collect(gmsh, volume, sheets, len(request["sheet_points"]), request["blocks"])
    finally:
        gmsh.finalize()


def _tank(gmsh: Any, low: np.ndarray, high: np.ndarray, blocks: np.ndarray) -> int:
    """The box less the blocks; the number of its volume. Raises ValueError where it falls apart."""
    occ = gmsh.model.occ
    box = (3, occ.addBox(*low, *(high - low)))
    cut = []
    for block in blocks:
        a, size = block[:3], block[3:6] - block[:3]
        if block[6] < 0:
            cut.append((3, occ.addBox(*a, *size)))
            continue
        axis = int(block[6])
        middle, along = a + 0.5 * size, np.zeros(3)
        middle[axis], along[axis] = a[axis], size[axis]
        cut.append((3, occ.addCylinder(*middle, *along, 0.5 * float(min(np.delete(size, axis))))))
    left = occ.cut([box], cut)[0] if cut else [box]
    occ.synchronize()
    if len(left) != 1:
        raise ValueError(f"the bath falls into {len(left)} pieces")
    return int(left[0][1])


def _embed(gmsh: Any, volume: int, request: dict[str, np.ndarray]) -> list[int]:
    tags, point, triangle = [], 0, 0
    for n, m in request["counts"]:
        tag = gmsh.model.addDiscreteEntity(2)
        x = request["sheet_points"][point : point + n]
        corners = request["sheet_triangles"][triangle : triangle + m] + FIRST + point
        gmsh.model.mesh.addNodes(2, tag, np.arange(FIRST + point, FIRST + point + n), x.ravel())
        gmsh.model.mesh.addElementsByType(tag, 2, [], corners.astype(np.uint64).ravel())
        gmsh.model.mesh.embed(2, [tag], 3, volume)
        tags.append(tag)
        point, triangle = point + int(n), triangle + int(m)
    return tags


def _collect(gmsh: Any, volume: int, sheets: list[int], given: int, blocks: np.ndarray) -> dict[str, np.ndarray]:
    mesh = gmsh.model.mesh
    tags, x, _ = mesh.getNodes()
    tags = tags.astype(np.int64)
    of_sheet = (tags >= FIRST) & (tags < FIRST + given)
    if int(of_sheet.sum()) != given:
        raise ValueError("points of a sheet were lost")
    order = np.r_[np.flatnonzero(of_sheet)[np.argsort(tags[of_sheet])], np.flatnonzero(~of_sheet)]
    points = x.reshape(-1, 3)[order]
    by = np.argsort(tags[order], kind="stable")
    ranked = tags[order][by]

    def number(nodes: np.ndarray) -> np.ndarray:
        return by[np.searchsorted(ranked, nodes.astype(np.int64))]

    tetrahedra = number(mesh.getElementsByType(4, volume)[1]).reshape(-1, 4)
    if len(tetrahedra) == 0:
        raise ValueError("no tetrahedra were made")
    nodes, block = [], []
    for _, tag in gmsh.model.getEntities(2):
        if tag in sheets:
            continue
        corners = number(mesh.getElementsByType(2, tag)[1]).reshape(-1, 3)
        nodes.append(corners)
        block.append(np.full(len(corners), _owner(np.array(gmsh.model.getBoundingBox(2, tag)), blocks)))
    return {"points": points, "tetrahedra": tetrahedra, "face_nodes": np.concatenate(nodes), "face_block": np.concatenate(block)}


def _owner(bounds: np.ndarray, blocks: np.ndarray) -> int:
    """Number of the block a face of the bath lies on, by its bounding box; -1 for a wall."""
    slack = 1e-3
    for i, block in enumerate(blocks):
        if (bounds[:3] >= block[:3] - slack).all() and (bounds[3:] <= block[3:6] + slack).all():
            return i
    return -1


def main(folder: str) -> int:
    """Do what the request says; the exit code is 0 when a result or an error was written."""
    place = Path(folder)
    end_with_parent()
    limit(float(os.environ.get("DIEWRIGHT_MESH_SECONDS", "240")))
    try:
        np.savez(place / "result.part.npz", **fill(place))  # type: ignore[arg-type]
        (place / "result.part.npz").replace(place / "result.npz")
    except Exception as error:  # noqa: BLE001 - the border of the process: whatever it is, the parent gets one sentence
        (place / "error.json").write_text(json.dumps({"error": str(error) or type(error).__name__}))
    return 0


if __name__ == "__main__":
    code = main(sys.argv[1])
    # the mesher's own teardown can fault: everything is written, so leave at once
    os._exit(code)

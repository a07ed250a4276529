"""The child process that fills a box round a sheet with tetrahedra: ``python -m diewright.geometry.flood_fill_child FOLDER``.

It reads ``request.npz``, writes ``result.npz`` or ``error.json`` into the folder, and prints nothing. A child, because the mesher can hang or
fault on a bad sheet and because it must not run beside other threads. It ends when its parent ends.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import numpy as np

from diewright.geometry.child import end_with_parent, limit


def fill(points: np.ndarray, triangles: np.ndarray, corners: np.ndarray, walls: np.ndarray) -> dict[str, np.ndarray]:
    """``points`` (the given ones first, then the box's corners, then added ones), ``tets (k, 4)``, ``sheet (m, 3)`` as the mesher has left it."""
    import gmsh

    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.option.setNumber("General.NumThreads", 1)
        gmsh.option.setNumber("Mesh.Algorithm3D", 1)
        gmsh.option.setNumber("Mesh.Optimize", 0)
        gmsh.option.setNumber("Mesh.MaxIterDelaunay3D", 1)  # heights are linear in a cell of any shape: no refinement is wanted
        model, mesh = gmsh.model, gmsh.model.mesh
        given = len(points)
        sheet, box = model.addDiscreteEntity(2), model.addDiscreteEntity(2)
        mesh.addNodes(2, sheet, np.arange(1, given + 1), points.ravel())
        mesh.addNodes(2, box, np.arange(given + 1, given + 9), corners.ravel())
        mesh.addElementsByType(sheet, 2, [], (triangles + 1).ravel())
        mesh.addElementsByType(box, 2, [], (walls + given + 1).ravel())
        volume = model.geo.addVolume([model.geo.addSurfaceLoop([box])])
        model.geo.synchronize()
        mesh.embed(2, [sheet], 3, volume)
        mesh.generate(3)
        tags, x, _ = mesh.getNodes()
        number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
        number[tags] = np.arange(len(tags))
        first = number[np.arange(1, given + 9)]
        rest = np.setdiff1d(np.arange(len(tags)), first)
        order = np.concatenate([first, rest])
        place = np.zeros(len(tags), dtype=np.int64)
        place[order] = np.arange(len(tags))
        return {
            "points": x.reshape(-1, 3)[order],
            "tets": place[number[mesh.getElementsByType(4)[1]]].reshape(-1, 4).astype(np.int32),
            "sheet": place[number[mesh.getElementsByType(2, sheet)[1]]].reshape(-1, 3).astype(np.int32),
        }
    finally:
        gmsh.finalize()


def main(folder: str) -> int:
    """Do what the request says; the exit code is 0 when a result or an error was written."""
    place = Path(folder)
    end_with_parent()
    limit(float(os.environ.get("DIEWRIGHT_MESH_SECONDS", "120")))
    try:
        with np.load(place / "request.npz", allow_pickle=False) as pack:
            result = fill(pack["points"], pack["triangles"], pack["corners"], pack["walls"])
        with (place / "result.part").open("wb") as out:
            np.savez(out, points=result["points"], tets=result["tets"], sheet=result["sheet"])
        (place / "result.part").replace(place / "result.npz")
    except Exception as error:  # noqa: BLE001 - the border of the process: whatever it is, the parent gets one sentence
        (place / "error.json").write_text(json.dumps({"error": f"{type(error).__name__}: {error}"}))
    return 0


if __name__ == "__main__":
    code = main(sys.argv[1])
    # everything is written; the mesher's own teardown can be slow
    os._exit(code)

"""The child process that fills a flat region with triangles: ``python -m diewright.geometry.plane_mesh_child FOLDER``.

It reads ``request.npz``, writes ``result.npz`` or ``error.json`` into the folder, and prints nothing. A child, because the mesher can hang or
fault on a bad region and because it must not run beside other threads. It ends when its parent ends.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import numpy as np

from diewright.geometry.child import end_with_parent, limit


def _field_file(folder: Path, low: np.ndarray, step: float, values: np.ndarray) -> Path:
    """The mesher's own format of a structured grid (binary): origin, steps, counts, values with z fastest."""
    path = folder / "sizes.bin"
    with path.open("wb") as out:
        np.array([low[0], low[1], -1.0, step, step, 2.0]).tofile(out)
        np.array([*values.shape, 2], dtype=np.int32).tofile(out)
        np.repeat(values.ravel(), 2).tofile(out)
    return path


def fill(folder: Path) -> dict[str, np.ndarray]:
    """``points (n, 2)`` and ``triangles (m, 3)``; the given points keep their numbers and come first."""
    import gmsh

    with np.load(folder / "request.npz", allow_pickle=False) as pack:
        request = {name: pack[name] for name in pack.files}
    points, loops, embedded = request["points"], request["loops"], request["embedded"]
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.option.setNumber("General.NumThreads", 1)
        for name in ("MeshSizeFromPoints", "MeshSizeExtendFromBoundary", "MeshSizeFromCurvature", "MeshSizeMin"):
            gmsh.option.setNumber(f"Mesh.{name}", 0)
        gmsh.option.setNumber("Mesh.Algorithm", 6)
        gmsh.option.setNumber("Mesh.Smoothing", 10)
        geo = gmsh.model.geo
        for i, (x, y) in enumerate(points):
            geo.addPoint(x, y, 0.0, tag=i + 1)
        curves: list[list[int]] = [[] for _ in range(int(loops[:, 0].max()) + 1)]
        for loop, a, b in loops:
            curves[loop].append(geo.addLine(int(a) + 1, int(b) + 1))
        inner = [geo.addLine(int(a) + 1, int(b) + 1) for a, b in embedded]
        surface = geo.addPlaneSurface([geo.addCurveLoop(part) for part in curves])
        geo.synchronize()
        for tag in [*(t for part in curves for t in part), *inner]:
            gmsh.model.mesh.setTransfiniteCurve(tag, 2)
        if inner:
            gmsh.model.mesh.embed(1, inner, 2, surface)
        field = gmsh.model.mesh.field.add("Structured")
        gmsh.model.mesh.field.setString(
            field, "FileName", str(_field_file(folder, request["low"], float(request["step"]), request["values"]))
        )
        gmsh.model.mesh.field.setNumber(field, "TextFormat", 0)
        gmsh.model.mesh.field.setAsBackgroundMesh(field)
        gmsh.model.mesh.generate(2)
        return _collect(gmsh, len(points), surface)
    finally:
        gmsh.finalize()


def _collect(gmsh: object, given: int, surface: int) -> dict[str, np.ndarray]:
    mesh = gmsh.model.mesh  # type: ignore[attr-defined]
    tags, x, _ = mesh.getNodes()
    number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
    for i in range(given):
        number[mesh.getNodes(0, i + 1)[0]] = i
    rest = tags[number[tags] < 0]
    number[rest] = given + np.arange(len(rest))
    points = np.zeros((given + len(rest), 2))
    points[number[tags]] = x.reshape(-1, 3)[:, :2]
    corners = mesh.getElementsByType(2, surface)[1]
    return {"points": points, "triangles": number[corners].reshape(-1, 3)}


def main(folder: str) -> int:
    """Do what the request says; the exit code is 0 when a result or an error was written."""
    place = Path(folder)
    end_with_parent()
    limit(float(os.environ.get("DIEWRIGHT_MESH_SECONDS", "120")))
    try:
        result = fill(place)
        with (place / "result.part").open("wb") as out:
            np.savez(out, points=result["points"], triangles=result["triangles"])
        (place / "result.part").replace(place / "result.npz")
    except Exception as error:  # noqa: BLE001 - the border of the process: whatever it is, the parent gets one sentence
        (place / "error.json").write_text(json.dumps({"error": f"{type(error).__name__}: {error}"}))
    return 0


if __name__ == "__main__":
    code = main(sys.argv[1])
    # everything is written; the mesher's own teardown can be slow
    os._exit(code)

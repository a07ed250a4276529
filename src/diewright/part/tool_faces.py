"""A face of a tool from a foreign file: one fine skin, as it stands; runs in the child process only.

Unlike a part it is not meshed for computing: the kernel's own triangulation within a chord error serves the contact. Faces are joined where they meet;
nothing else is repaired.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from diewright.errors import FileError
from diewright.part.audit import UNIT_MM, Audit
from diewright.part.meshing import oriented
from diewright.part.stl import read_corners

CHORD, TURN = 0.02, 5.0
"""Chord error [mm] and turn [deg] of a triangle edge at most."""
JOIN = 1e-3
"""Points closer than this are one [mm]."""
MOST = 1_000_000


def read_tool(request: dict[str, Any], progress: Callable[[str, float], None]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Points ``(n, 3)`` [mm], triangles ``(m, 3)`` turned to agree piece by piece, and ``closed`` (m,): 1 where the piece has no free edge."""
    audit = Audit()
    if request["kind"] == "stl":
        progress("reading the file", 0.2)
        corners = read_corners(Path(request["path"])) * UNIT_MM[request["unit"]]
        unit, count = request["unit"], 1
    else:
        corners, unit, count = _cad(request, audit, progress)
    progress("joining the faces", 0.8)
    points, triangles = _joined(corners)
    if len(triangles) > MOST:
        raise FileError(
            f"the face needs {len(triangles)} triangles; the limit is {MOST}.", where="part.file", help="Export the working face alone."
        )
    triangles, turned = oriented(triangles, len(points))
    if turned:
        audit.add("repaired", "triangles turned so that neighbours agree", turned)
    return (
        {"unit": unit, "faces": count, "audit": audit.entries},
        {"points": points, "triangles": triangles.astype(np.int32)},
    )


def _cad(request: dict[str, Any], audit: Audit, progress: Callable[[str, float], None]) -> tuple[np.ndarray, str, int]:
    progress("loading the CAD kernel", 0.05)
    from OCP.BRep import BRep_Tool
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    from diewright.part import cad

    cad.silence()
    progress("reading the file", 0.2)
    shape, unit, _ = cad.read_shape(request["path"], request["kind"], request["unit"], audit)
    faces = cad.subshapes(shape, TopAbs_FACE)
    progress("triangulating", 0.5)
    BRepMesh_IncrementalMesh(shape, CHORD, False, math.radians(TURN), False)
    corners, empty = [], 0
    for face in faces:
        place = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(TopoDS.Face(face), place)
        if mesh is None:
            empty += 1
            continue
        move = place.Transformation()
        nodes = [mesh.Node(k).Transformed(move) for k in range(1, mesh.NbNodes() + 1)]
        points = np.array([(p.X(), p.Y(), p.Z()) for p in nodes])
        cells = np.array([[mesh.Triangle(k).Value(j) - 1 for j in (1, 2, 3)] for k in range(1, mesh.NbTriangles() + 1)])
        corners.append(points[cells[:, ::-1] if face.Orientation() == TopAbs_REVERSED else cells])
    if empty:
        audit.add("left", "faces that cannot be triangulated", empty)
    if not corners:
        raise FileError("the file holds no face that can be triangulated.", where="part.file", help="Export the working face as a surface.")
    return np.concatenate(corners), unit, len(faces)


def _joined(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points within :data:`JOIN` as one; triangles without area and doubles are left out."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    points, inverse = np.unique(corners.reshape(-1, 3) + 0.0, axis=0, return_inverse=True)
    near = cKDTree(points).query_pairs(JOIN, output_type="ndarray")
    graph = coo_matrix((np.ones(len(near)), (near[:, 0], near[:, 1])), shape=(len(points), len(points)))
    _, label = connected_components(graph, directed=False)
    _, first = np.unique(label, return_index=True)
    triangles = label[inverse.reshape(-1, 3)]
    whole = (triangles[:, 0] != triangles[:, 1]) & (triangles[:, 1] != triangles[:, 2]) & (triangles[:, 2] != triangles[:, 0])
    triangles = triangles[whole]
    _, once = np.unique(np.sort(triangles, axis=1), axis=0, return_index=True)
    return points[first], triangles[np.sort(once)].astype(np.int64)

"""From a foreign file to one skin as a mesh; the steps of the child process in their order."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from diewright.errors import FileError, SolveError
from diewright.part.audit import Audit, named
from diewright.part.meshing import Meshed, Sizes, mesh_faces
from diewright.part.skins import Skins, find_skins

SMALLEST, LARGEST = 1.0, 20_000.0
"""Parts between 1 mm and 20 m across are taken; anything else is more likely a wrong unit."""

Progress = Callable[[str, float], None]


def read_part(request: dict[str, Any], progress: Progress) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Read, check, pick the skin, mesh. Values as in the stage contract, arrays of the mesh."""
    audit = Audit()
    if request["remark"]:
        audit.add("note", request["remark"])
    if request["kind"] == "stl":
        from diewright.part.facets import read_facets

        return read_facets(request, audit, progress)
    return _read_cad(request, audit, progress)


def _read_cad(request: dict[str, Any], audit: Audit, progress: Progress) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    progress("loading the CAD kernel", 0.02)
    from OCP.BRepTools import BRepTools

    from diewright.part import cad

    cad.silence()
    progress("reading the file", 0.15)
    shape, unit, unit_source = cad.read_shape(request["path"], request["kind"], request["unit"], audit)
    progress("checking the faces", 0.3)
    body = cad.one_body(shape, audit)
    box = cad.corners(body.shape)
    check_size(box, unit)
    kind, skins, faces, outward = "surface", None, list(range(len(body.faces))), True
    if body.closed:
        progress("finding the skins", 0.45)
        points, triangles, owner = _triangulated(body.shape, body.faces, box)
        skins = find_skins(points, triangles, owner, _neighbours(body.faces))
        kind = "solid sheet"
        side, used, why, up = choose_skin(skins, points, triangles, owner, request)
        faces = [int(i) for i in np.flatnonzero(skins.side == side)]
        note_skins(skins, audit)
    else:
        used, why, up = "as drawn", "the file holds one surface without thickness; it is taken as the middle of the sheet", None
        audit.add("note", "one surface without thickness: taken as the middle of the sheet")
        if request["skin"] in ("upper", "lower"):
            audit.add("note", f"part.skin is {request['skin']}, but a surface has one skin only: it is used as drawn")
    skin = cad.compound([body.faces[i] for i in faces])
    area = cad.area_of(skin)
    brep = str(Path(request["path"]).with_name("skin.brep"))
    BRepTools.Write_s(skin, brep)
    progress("meshing", 0.6)
    stated = Sizes(request["target_edge"], request["chord_error"], request["min_edge"])
    mesh = mesh_faces(brep, area, stated)
    progress("checking the mesh", 0.95)
    if outward and skins is not None:
        mesh = _facing(mesh, points, triangles, normals_from=owner, faces=faces)
    found = float(np.linalg.norm(_doubled(mesh.points, mesh.triangles), axis=1).sum() / 2)
    if abs(found / area - 1) > 0.02:
        raise SolveError(
            f"the mesh has {found:.6g} mm2 where the CAD faces have {area:.6g} mm2.",
            where="part.file",
            help="Mend the shape in CAD, or state a shorter part.target_edge.",
        )
    thickness = skins.thickness if skins is not None else None
    owner_face = np.array(faces)[mesh.face] + 1
    return assemble(
        mesh, owner_face, thickness if used == "middle" else 0.0, audit,
        {"format": request["kind"], "unit": unit, "unit_source": unit_source, "kind": kind, "skin": f"{used}: {why}", "skin_used": used, "skin_up": up,
         "thickness_found": thickness, "thickness_range": [skins.low, skins.high] if skins else None, "bodies": body.bodies,
         "faces": len(body.faces), "skin_faces": len(faces), "skin_area": area, "bbox": [list(box[0]), list(box[1])]},
    )  # fmt: skip


def check_size(box: Any, unit: str) -> None:
    """Refuse parts whose size says that the unit is wrong; raises :class:`FileError`."""
    across = float(max(q - p for p, q in zip(*box, strict=True)))
    if not SMALLEST <= across <= LARGEST:
        raise FileError(
            f"the part is {across:.4g} mm across (unit {unit}); parts of {SMALLEST:g} mm to {LARGEST / 1000:g} m are taken.", where="part.file",
            help="Check the unit of the file.",
        )  # fmt: skip


def _triangulated(shape: Any, faces: list[Any], box: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The kernel's own quick triangulation with outward normals; points, triangles, face number of each."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.TopAbs import TopAbs_REVERSED
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    from diewright.part.cad import TopAbs_FACE

    across = math.dist(*box)
    BRepMesh_IncrementalMesh(shape, across / 5000, False, 0.2, False)
    # the orientation of a face in its solid is that of the walk, not of the map of unique faces
    turned = {}
    walk = TopExp_Explorer(shape, TopAbs_FACE)
    while walk.More():
        turned[hash(walk.Current())] = walk.Current().Orientation() == TopAbs_REVERSED
        walk.Next()
    points, triangles, owner, base = [], [], [], 0
    for i, face in enumerate(faces):
        place = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(TopoDS.Face(face), place)
        if mesh is None:
            continue
        move = place.Transformation()
        for k in range(1, mesh.NbNodes() + 1):
            p = mesh.Node(k).Transformed(move)
            points.append((p.X(), p.Y(), p.Z()))
        flip = turned.get(hash(face), face.Orientation() == TopAbs_REVERSED)
        for k in range(1, mesh.NbTriangles() + 1):
            a, b, c = (mesh.Triangle(k).Value(j) for j in (1, 2, 3))
            triangles.append((base + a - 1, base + c - 1, base + b - 1) if flip else (base + a - 1, base + b - 1, base + c - 1))
        owner += [i] * mesh.NbTriangles()
        base += mesh.NbNodes()
    if not triangles:
        raise FileError("the faces of the solid cannot be triangulated.", where="part.file", help="Export the part again.")
    return np.array(points), np.array(triangles, dtype=np.int64), np.array(owner, dtype=np.int64)


def _neighbours(faces: list[Any]) -> list[tuple[int, int]]:
    from diewright.part.cad import ShapeMap, TopAbs_EDGE, subshapes

    index = ShapeMap()
    users: dict[int, list[int]] = {}
    for i, face in enumerate(faces):
        for edge in subshapes(face, TopAbs_EDGE):
            users.setdefault(index.Add(edge), []).append(i)
    return [(u[0], v) for u in users.values() for v in u[1:]]


def choose_skin(
    skins: Skins, points: np.ndarray, triangles: np.ndarray, owner: np.ndarray, request: dict[str, Any]
) -> tuple[int, str, str, list[float] | None]:
    """Which side is meshed: its number, the word for it, the reason, and the upward direction if one was needed."""
    wanted = request["skin"]
    outer = 0 if skins.area[0] >= skins.area[1] else 1
    if wanted in ("auto", "middle"):
        asked = "as asked" if wanted == "middle" else "membrane strain belongs to the middle of the sheet"
        return outer, "middle", f"{asked}; the larger skin moved inwards by half the thickness found ({skins.thickness:.3g} mm)", None
    doubled = _doubled(points, triangles)
    side = skins.side[owner]
    total = doubled[side == outer].sum(axis=0)
    if request["direction"] is not None:
        up = -np.array(request["direction"], dtype=float)
        up /= np.linalg.norm(up)
        told = "against the stated press direction"
    else:
        up = total / max(float(np.linalg.norm(total)), 1e-12)
        size = np.linalg.norm(doubled, axis=1)
        middle = points[triangles].mean(axis=1)

        def mean(mask: np.ndarray) -> np.ndarray:
            return (middle[mask] * size[mask, None]).sum(axis=0) / max(float(size[mask].sum()), 1e-12)

        if (side < 0).any() and (mean(side < 0) - mean(side >= 0)) @ up < 0:
            up = -up
        told = "seen from the open side of the part, as no press direction is stated"
    upper = outer if total @ up > 0 else 1 - outer
    number = upper if wanted == "upper" else 1 - upper
    return number, wanted, f"as asked, {told}", [float(v) for v in up]


def note_skins(skins: Skins, audit: Audit) -> None:
    """Say what was found about the two skins."""
    rim = int((skins.side < 0).sum())
    audit.add(
        "note", f"solid sheet of {skins.thickness:.4g} mm (90 % of its area between {skins.low:.4g} and {skins.high:.4g} mm): two skins and rim faces",
        int((skins.side == 0).sum() + (skins.side == 1).sum() + rim), f"{rim} rim faces",
    )  # fmt: skip
    if skins.high - skins.low > 0.1 * skins.thickness:
        audit.add("left", f"the thickness is uneven: {skins.low:.3g} to {skins.high:.3g} mm over 90 % of the area")


def _facing(mesh: Meshed, points: np.ndarray, triangles: np.ndarray, normals_from: np.ndarray, faces: list[int]) -> Meshed:
    """Turn the mesh so that its normals leave the solid, judged on its largest face."""
    ours = np.bincount(mesh.face, weights=np.linalg.norm(_doubled(mesh.points, mesh.triangles), axis=1), minlength=len(faces))
    for f in np.argsort(-ours):
        a = _doubled(mesh.points, mesh.triangles[mesh.face == f]).sum(axis=0)
        b = _doubled(points, triangles[normals_from == faces[f]]).sum(axis=0)
        agree = a @ b
        if abs(agree) > 0.1 * np.linalg.norm(a) * np.linalg.norm(b) and np.linalg.norm(a) > 1e-6 * ours[f]:
            if agree < 0:
                mesh.triangles = mesh.triangles[:, ::-1]
                mesh.curvature, mesh.normal = -mesh.curvature, -mesh.normal
            break
    return mesh


def _doubled(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    return np.cross(b - a, c - a)


def assemble(
    mesh: Meshed, face: np.ndarray, thickness: float | None, audit: Audit, values: dict[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Move to the middle if asked (``thickness`` above 0, outward normals), mark features, measure the mesh."""
    points, curvature = mesh.points, mesh.curvature
    if thickness:
        points, curvature = to_middle(mesh, thickness)
        if (np.einsum("ij,ij->i", _doubled(points, mesh.triangles), _doubled(mesh.points, mesh.triangles)) <= 0).any():
            audit.add("left", "the middle of the sheet folds where a radius is smaller than half the thickness")
    ends = np.linalg.norm(points[mesh.triangles] - points[mesh.triangles[:, [1, 2, 0]]], axis=2)
    weak = int((mesh.quality < 0.2).sum())
    if weak:
        audit.add("left", "triangles of poor shape (quality below 0.2)", weak, named(sorted({int(f) for f in face[mesh.quality < 0.2]})))
    values["mesh"] = {
        "triangles": len(mesh.triangles), "points": len(points), "edge_min": float(ends.min()), "edge_median": float(np.median(ends)),
        "edge_max": float(ends.max()), "quality_min": float(mesh.quality.min()), "quality_median": float(np.median(mesh.quality)),
        "target_edge": mesh.sizes.target, "chord_error": mesh.sizes.chord, "min_edge": mesh.sizes.least,
    }  # fmt: skip
    values["audit"] = audit.entries
    return values, {
        "points": points, "drawn": mesh.points, "normal": mesh.normal, "triangles": mesh.triangles.astype(np.int32), "face": face.astype(np.int32), "curvature": curvature,
        "edges": mesh.edges.astype(np.int32), "sharp": mesh.sharp.astype(np.int8), "rim": rim_points(mesh.triangles, len(points)), "quality": mesh.quality,
    }  # fmt: skip


def to_middle(mesh: Meshed, thickness: float) -> tuple[np.ndarray, np.ndarray]:
    """Move every point inwards by half the thickness; points and their curvature there.

    Along the exact normal where there is one. At a sharp edge so that every face there moves by as much (a mitre): the step ``m`` solves
    ``n_i . m = -t/2`` over the unit normals around the point in the least-squares sense. Curvature of the parallel surface at
    distance ``s``: ``k' = k / (1 - k s)``.
    """
    step = -0.5 * thickness
    doubled = _doubled(mesh.points, mesh.triangles)
    size = np.linalg.norm(doubled, axis=1)
    normal = doubled / np.maximum(size, 1e-300)[:, None]
    matrix = np.zeros((len(mesh.points), 3, 3))
    right = np.zeros((len(mesh.points), 3))
    for i in range(3):
        np.add.at(matrix, mesh.triangles[:, i], size[:, None, None] * normal[:, :, None] * normal[:, None, :])
        np.add.at(right, mesh.triangles[:, i], size[:, None] * normal * step)
    trace = np.einsum("kii->k", matrix)
    matrix += (1e-8 * trace + 1e-300)[:, None, None] * np.eye(3)
    move = np.linalg.solve(matrix, right[..., None])[..., 0]
    length = np.linalg.norm(move, axis=1, keepdims=True)
    move *= np.minimum(1.0, thickness / np.maximum(length, 1e-300))
    exact = np.abs(mesh.normal).sum(axis=1) > 0
    move[exact] = step * mesh.normal[exact]
    return mesh.points + move, mesh.curvature / np.maximum(1 - mesh.curvature * step, 0.02)


def rim_points(triangles: np.ndarray, n: int) -> np.ndarray:
    """1 at points of free edges, ``(n,)``."""
    edge = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    found, count = np.unique(edge, axis=0, return_counts=True)
    rim = np.zeros(n, dtype=np.int8)
    rim[found[count == 1].ravel()] = 1
    return rim

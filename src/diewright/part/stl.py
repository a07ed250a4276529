"""STL files: strict reading, joining of identical corners, and what is wrong with the triangles; runs in the child process only."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from diewright.errors import FileError, SolveError
from diewright.part.audit import Audit
from diewright.part.meshing import oriented

TRIANGLES_MOST = 2_000_000
SELF_CUT_MOST = 300_000
"""Triangles up to which the mesh is searched for triangles that cut through each other."""
_NUMBER = rb"([-+0-9.eEinfaINFAnxX]+)"
_VERTEX = re.compile(rb"vertex\s+" + _NUMBER + rb"\s+" + _NUMBER + rb"\s+" + _NUMBER, re.IGNORECASE)
_RECORD = np.dtype([("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])


def read_corners(path: Path) -> np.ndarray:
    """Corners ``(m, 3, 3)`` in the file's unit; raises :class:`FileError` for a damaged file."""
    size = path.stat().st_size
    head = path.open("rb").read(512)
    is_text = head.lstrip()[:5].lower() == b"solid" and b"\x00" not in head[:84] and b"facet" in head.lower()
    corners = _text(path) if is_text else _binary(path, size)
    if len(corners) == 0:
        raise FileError("the STL file holds no triangles.", where="part.file", help="Export it again.")
    if len(corners) > TRIANGLES_MOST:
        raise FileError(
            f"the STL file holds {len(corners)} triangles; the limit is {TRIANGLES_MOST}.", where="part.file", help="Export it coarser."
        )
    bad = ~np.isfinite(corners).all(axis=(1, 2))
    if bad.any():
        raise FileError(
            f"{int(bad.sum())} triangles of the STL file have a coordinate that is not a number, the first is triangle {int(np.argmax(bad)) + 1}.",
            where="part.file", help="Export it again.",
        )  # fmt: skip
    return corners


def _binary(path: Path, size: int) -> np.ndarray:
    # sniff() has made sure that the count and the size agree
    count = (size - 84) // 50
    data = np.fromfile(path, dtype=_RECORD, count=count, offset=84)
    return data["corner"].astype(np.float64)


def _text(path: Path) -> np.ndarray:
    raw = path.read_bytes()
    lower = raw.lower()
    facets, ends = len(re.findall(rb"\bfacet\s+normal\b", lower)), lower.count(b"endfacet")
    if b"endsolid" not in lower[-2000:]:
        raise FileError(
            f"the text STL file has no 'endsolid' at its end (after {ends} triangles): it was cut off.",
            where="part.file",
            help="Export it again.",
        )
    if len(re.findall(rb"\bendsolid\b", lower)) > 1:
        raise FileError("the text STL file holds several solids where one is wanted.", where="part.file", help="Export the one part alone.")
    found = _VERTEX.findall(raw)
    if facets != ends or len(found) != 3 * facets or lower.count(b"vertex") != 3 * facets:
        raise FileError(
            f"the text STL file is damaged: {facets} facets, {ends} of them closed, {len(found)} corners that can be read.",
            where="part.file",
            help="Export it again.",
        )
    try:
        flat = np.array([float(v) for triple in found for v in triple])
    except ValueError:
        raise FileError("the text STL file has a coordinate that is not a number.", where="part.file", help="Export it again.") from None
    return flat.reshape(-1, 3, 3)


def cleaned(corners: np.ndarray, audit: Audit) -> tuple[np.ndarray, np.ndarray]:
    """Points and triangles of one consistently turned piece [mm]; raises :class:`FileError` for what is no sheet or body.

    Identical corners become one point. Points of free edges within a hundred-thousandth of the size are joined, twice the same triangle is kept once,
    triangles that point to one corner twice are left out, triangles are turned to agree: each of these stands in the audit.
    """
    points, inverse = np.unique(corners.reshape(-1, 3) + 0.0, axis=0, return_inverse=True)
    triangles = inverse.reshape(-1, 3).astype(np.int64)
    audit.add(
        "note", f"{3 * len(triangles)} corners of triangles became {len(points)} points: identical coordinates are one point", len(points)
    )
    size = np.linalg.norm(
        np.cross(points[triangles[:, 1]] - points[triangles[:, 0]], points[triangles[:, 2]] - points[triangles[:, 0]]), axis=1
    )
    if size.sum() <= 1e-12 * max(float(np.ptp(points, axis=0).max()) ** 2, 1e-300):
        raise FileError("all triangles of the STL file are without area.", where="part.file", help="Export it again.")
    triangles = _plain(triangles, audit)
    points, triangles = _cracks_closed(points, triangles, audit)
    _refuse_forks(points, triangles)
    pieces, label = _pieces(triangles)
    if pieces > 1:
        boxes = [np.ptp(points[np.unique(triangles[label == p])], axis=0) for p in range(min(pieces, 6))]
        sizes = "; ".join(" x ".join(f"{v:.4g}" for v in box) + " mm" for box in boxes)
        raise FileError(
            f"the file holds {pieces} bodies where one is wanted: {sizes}{'; ...' if pieces > 6 else ''}.", where="part.file",
            help="Export the one part alone; triangles must meet along whole edges.",
        )  # fmt: skip
    try:
        triangles, turned = oriented(triangles, len(points))
    except SolveError as error:
        raise FileError(error.what, where="part.file", help="Mend the shape in CAD.") from None
    if turned:
        audit.add("repaired", "triangles that looked the other way than their neighbours: turned", turned)
    used, new = np.unique(triangles, return_inverse=True)
    points, triangles = points[used], new.reshape(-1, 3)
    _refuse_self_cut(points, triangles, audit)
    return points, triangles


def _plain(triangles: np.ndarray, audit: Audit) -> np.ndarray:
    twice = (triangles == triangles[:, [1, 2, 0]]).any(axis=1)
    if twice.any():
        audit.add("repaired", "triangles with two corners in one place: left out", int(twice.sum()))
        triangles = triangles[~twice]
    _, first = np.unique(np.sort(triangles, axis=1), axis=0, return_index=True)
    if len(first) < len(triangles):
        audit.add("repaired", "triangles that are in the file twice: the second one is left out", len(triangles) - len(first))
        triangles = triangles[np.sort(first)]
    return triangles


def _edges(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    edge = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    return np.unique(edge, axis=0, return_counts=True)


def _cracks_closed(points: np.ndarray, triangles: np.ndarray, audit: Audit) -> tuple[np.ndarray, np.ndarray]:
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    edge, count = _edges(triangles)
    free = np.unique(edge[count == 1])
    reach = 1e-5 * float(np.ptp(points, axis=0).max())
    pairs = cKDTree(points[free]).query_pairs(reach, output_type="ndarray") if len(free) else np.zeros((0, 2), dtype=int)
    if len(pairs) == 0:
        return points, triangles
    n = len(points)
    graph = coo_matrix((np.ones(len(pairs)), (free[pairs[:, 0]], free[pairs[:, 1]])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    _, first = np.unique(label, return_index=True)
    audit.add("repaired", f"points of free edges less than {reach:.2g} mm apart: joined", n - len(first))
    joined = label[triangles]
    keep = ~(joined == joined[:, [1, 2, 0]]).any(axis=1)
    return points[first], joined[keep]


def _refuse_forks(points: np.ndarray, triangles: np.ndarray) -> None:
    edge, count = _edges(triangles)
    if (count > 2).any():
        at = points[edge[np.argmax(count > 2)]].mean(axis=0)
        raise FileError(
            f"{int((count > 2).sum())} edges of the STL file belong to three or more triangles, the first near x {at[0]:.4g}, y {at[1]:.4g}, z {at[2]:.4g} mm.",
            where="part.file", help="No sheet forks: mend the shape in CAD.",
        )  # fmt: skip


def _pieces(triangles: np.ndarray) -> tuple[int, np.ndarray]:
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    m = len(triangles)
    edge = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    _, number = np.unique(edge, axis=0, return_inverse=True)
    number = number.ravel()
    graph = coo_matrix((np.ones(3 * m), (np.tile(np.arange(m), 3), m + number)), shape=(m + number.max() + 1,) * 2)
    _, label = connected_components(graph, directed=False)
    pieces, mine = np.unique(label[:m], return_inverse=True)
    return len(pieces), mine


def _refuse_self_cut(points: np.ndarray, triangles: np.ndarray, audit: Audit) -> None:
    """Exact search for triangles that cut through each other."""
    if len(triangles) > SELF_CUT_MOST:
        audit.add("left", f"not searched for triangles that cut each other (more than {SELF_CUT_MOST} triangles)")
        return
    from igl.copyleft.cgal import remesh_self_intersections

    _, _, pairs, _, _ = remesh_self_intersections(points, triangles.astype(np.int64), detect_only=True)
    if len(pairs):
        at = points[triangles[int(pairs[0][0])]].mean(axis=0)
        raise FileError(
            f"the surface cuts through itself: {len(pairs)} pairs of triangles, the first near x {at[0]:.4g}, y {at[1]:.4g}, z {at[2]:.4g} mm.",
            where="part.file", help="Mend the shape in CAD.",
        )  # fmt: skip

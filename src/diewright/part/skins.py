"""The two skins of a sheet given as a solid, and its thickness, from a triangulation with face numbers.

From points spread over every face a ray goes into the material. Over the two skins the way to the opposite side is
one and the same, the thickness, and the opposite side looks the other way; from the rim and the walls of holes it is long. The faces
that agree are joined over the edges they share; two groups that face each other are the skins, the rest is rim.
The kernel's rays are single precision, so a hit only names the triangle; the distance is computed again in double precision.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import FileError

RAYS = 6000
"""Rays over the whole body."""
BLOCK = 0.25
"""A body whose thickness is more than this times the side of a square of one skin's area is no sheet."""
AGREE = 0.35
"""A ray agrees with the thickness if it differs by less than this share."""


@dataclass(frozen=True)
class Skins:
    """``side (faces,)``: 0 and 1 for the two skins, -1 for rim; ``thickness`` and its 5 and 95 percent points [mm]."""

    side: NDArray[np.int32]
    thickness: float
    low: float
    high: float
    area: tuple[float, float]


def find_skins(points: np.ndarray, triangles: np.ndarray, face: np.ndarray, neighbours: list[tuple[int, int]]) -> Skins:
    """Sort the faces of a closed body into two skins and rim.

    ``points (n, 3) [mm]``, ``triangles (m, 3)`` with outward normals, ``face (m,)`` from 0, ``neighbours`` pairs of faces that share an edge.
    Raises :class:`FileError` if the body is no sheet.
    """
    a, b, c = (points[triangles[:, i]] for i in range(3))
    doubled = np.cross(b - a, c - a)
    size = np.linalg.norm(doubled, axis=1)
    ok = size > 0
    normal = np.divide(doubled, size[:, None], out=np.zeros_like(doubled), where=ok[:, None])
    faces = int(face.max()) + 1
    area = np.bincount(face, weights=0.5 * size, minlength=faces)
    half = float(np.sqrt(0.5 * area.sum()))
    hollow = abs(float(np.einsum("ij,ij->i", a - points.mean(axis=0), doubled).sum())) / 6
    if 2 * hollow < 1e-5 * half * area.sum():
        raise _no_thickness(2 * hollow / max(float(area.sum()), 1e-300))
    origin, start = _spread(points, triangles, face, 0.5 * size, faces)
    distance, hit = _inward(points, triangles, normal, origin, start)
    opposed = (hit >= 0) & (np.einsum("ij,ij->i", normal[start], normal[hit]) < -0.5)
    weight = area[face[start]] / np.bincount(face[start], minlength=faces)[face[start]]
    if not opposed.any() or weight[opposed].sum() < 0.5 * weight.sum():
        raise _no_sheet(points, "its opposite sides do not run beside each other")
    thickness = _median(distance[opposed], weight[opposed])
    if thickness < 1e-5 * half or thickness < 1e-4:
        raise _no_thickness(thickness)
    agrees = opposed & (np.abs(distance - thickness) < AGREE * thickness)
    share = weight[agrees].sum() / weight.sum()
    if thickness > BLOCK * half:
        raise _no_sheet(points, f"it is {thickness:.4g} mm thick for {half:.4g} mm across")
    if share < 0.6:
        raise _no_sheet(points, f"only {100 * share:.0f} % of its area has one thickness ({thickness:.3g} mm)")
    side = _sort(face, start, hit, agrees, weight, area, faces, neighbours, points)
    sides = side[face[start]]
    use = agrees & (sides >= 0)
    low, high = (_quantile(distance[use], weight[use], p) for p in (0.05, 0.95))
    areas = (float(area[side == 0].sum()), float(area[side == 1].sum()))
    return Skins(side, float(_median(distance[use], weight[use])), float(low), float(high), areas)


def _no_thickness(found: float) -> FileError:
    return FileError(
        f"the solid has no thickness ({found:.2g} mm between its sides).", where="part.file",
        help="Export one skin as a surface, or the solid with its true thickness.",
    )  # fmt: skip


def _no_sheet(points: np.ndarray, why: str) -> FileError:
    box = " x ".join(f"{v:.4g}" for v in np.ptp(points, axis=0))
    return FileError(
        f"the solid of {box} mm is a block, not a sheet: {why}.", where="part.file",
        help="Export the sheet-metal part itself, as a solid of even thickness or as one surface.",
    )  # fmt: skip


def _spread(points: np.ndarray, triangles: np.ndarray, face: np.ndarray, size: np.ndarray, faces: int) -> tuple[np.ndarray, np.ndarray]:
    """Points spread by area over every face, with a kept seed; ``(k, 3)`` and their triangles ``(k,)``."""
    rng = np.random.default_rng(20)
    each = max(8, min(80, RAYS // faces))
    order = np.argsort(face, kind="stable")
    bounds = np.searchsorted(face[order], np.arange(faces + 1))
    picked = []
    for f in range(faces):
        mine = order[bounds[f] : bounds[f + 1]]
        total = size[mine].sum()
        if total > 0:
            picked.append(rng.choice(mine, each, p=size[mine] / total))
    start = np.concatenate(picked)
    u, v = rng.random((2, len(start)))
    fold = u + v > 1
    u[fold], v[fold] = 1 - u[fold], 1 - v[fold]
    a, b, c = (points[triangles[start, i]] for i in range(3))
    return a + u[:, None] * (b - a) + v[:, None] * (c - a), start


def _inward(
    points: np.ndarray, triangles: np.ndarray, normal: np.ndarray, origin: np.ndarray, start: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Distance along the inward normal to the next triangle and that triangle (-1: none)."""
    from igl.embree import EmbreeIntersector

    centre = points.mean(axis=0)
    caster = EmbreeIntersector()
    caster.init(np.asfortranarray(points - centre, dtype=np.float32), np.asfortranarray(triangles, dtype=np.int32), True)
    near = 2e-6 * float(np.ptp(points, axis=0).max())
    rays = -normal[start]
    origins = (origin - centre).astype(np.float32)
    rays32 = rays.astype(np.float32)
    hit = np.full(len(start), -1, dtype=np.int64)
    for i in range(len(start)):
        found = caster.intersectRay_first(origins[i], rays32[i], near)
        if found[0] >= 0 and found[3] > 0:
            hit[i] = found[0]
    plane = normal[hit]
    along = np.einsum("ij,ij->i", plane, rays)
    away = np.einsum("ij,ij->i", plane, points[triangles[hit, 0]] - origin)
    distance = np.divide(away, along, out=np.full(len(hit), np.inf), where=np.abs(along) > 1e-9)
    return np.where(hit >= 0, np.abs(distance), np.inf), hit


def _median(values: np.ndarray, weight: np.ndarray) -> float:
    return _quantile(values, weight, 0.5)


def _quantile(values: np.ndarray, weight: np.ndarray, p: float) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][min(np.searchsorted(total, p * total[-1]), len(order) - 1)])


def _sort(
    face: np.ndarray, start: np.ndarray, hit: np.ndarray, agrees: np.ndarray, weight: np.ndarray,
    area: np.ndarray, faces: int, neighbours: list[tuple[int, int]], points: np.ndarray,
) -> NDArray[np.int32]:  # fmt: skip
    """The side of each face by joining over shared edges and two-colouring over facing pairs."""
    mine = face[start]
    support = np.bincount(mine, weights=agrees.astype(float), minlength=faces) / np.maximum(np.bincount(mine, minlength=faces), 1)
    skin = support >= 0.5
    group = np.arange(faces)

    def root(i: int) -> int:
        while group[i] != i:
            group[i] = group[group[i]]
            i = int(group[i])
        return i

    for f, g in neighbours:
        if skin[f] and skin[g]:
            group[root(f)] = root(g)
    groups = np.array([root(i) for i in range(faces)])
    facing: dict[tuple[int, int], float] = {}
    for f, g, w in zip(mine[agrees], face[hit[agrees]], weight[agrees], strict=True):
        if skin[f] and skin[g]:
            key = (int(groups[f]), int(groups[g]))
            facing[key] = facing.get(key, 0.0) + float(w)
    side = np.full(faces, -1, dtype=np.int32)
    colour: dict[int, int] = {}
    by_area = sorted({int(g) for g in groups[skin]}, key=lambda g: -area[(groups == g) & skin].sum())
    for seed in by_area:
        if seed in colour:
            continue
        if colour and not any(seed in pair for pair in facing):
            continue
        colour[seed] = 0 if not colour else _free_side(seed, facing, colour)
        stack = [seed]
        while stack:
            at = stack.pop()
            for (p, q), w in facing.items():
                for one, other in ((p, q), (q, p)):
                    if one == at and other != at and other not in colour and w > 0:
                        colour[other] = 1 - colour[at]
                        stack.append(other)
    for g, c in colour.items():
        side[(groups == g) & skin] = c
    if not (side == 0).any() or not (side == 1).any():
        raise _no_sheet(points, "its two sides cannot be told apart")
    against = sum(w for (p, q), w in facing.items() if p in colour and q in colour and colour[p] == colour[q])
    if against > 0.1 * sum(facing.values()):
        raise _no_sheet(points, "its two sides run into each other without a rim")
    return _rest(side, faces, neighbours)


def _free_side(seed: int, facing: dict[tuple[int, int], float], colour: dict[int, int]) -> int:
    votes = [0.0, 0.0]
    for (p, q), w in facing.items():
        other = q if p == seed else p if q == seed else None
        if other in colour:
            votes[1 - colour[other]] += w
    return 0 if votes[0] >= votes[1] else 1


def _rest(side: NDArray[np.int32], faces: int, neighbours: list[tuple[int, int]]) -> NDArray[np.int32]:
    """A face not yet sorted that has one skin all around it belongs to that skin (a small fillet of uneven thickness)."""
    around: list[set[int]] = [set() for _ in range(faces)]
    for f, g in neighbours:
        if f != g:
            around[f].add(g)
            around[g].add(f)
    for f in range(faces):
        sides = {int(side[g]) for g in around[f]}
        if side[f] < 0 and len(sides) == 1 and sides != {-1}:
            side[f] = sides.pop()
    return side

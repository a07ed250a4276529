"""Points added to the part's edge where it turns: what is led on from a corner needs more sections than the part's mesh has points."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from diewright.die.edge import Edge, find_edge
from diewright.die.finer import Finer
from diewright.die.line import away
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

TURN = math.radians(8.0)
"""Largest turn of the way out from one section to the next."""
NEAR = 20.0
"""How near a climb counts as an open end [mm]."""
SHORTEST = 0.5
"""Edges not longer than this are not split [mm]."""


def turned_edge(fine: Finer, whole: Floats, outer: Ints, rounds: int = 5) -> tuple[Finer, Floats, Edge]:
    """The edge ``outer`` of a mesh with unit normals ``whole (n, 3)``, its mesh edges halved until the way out turns by 8 deg at most between points; mesh and normals with the points added.

    New points lie on the chords of the given edge, so the part's own surface does not change.
    """
    edge = find_edge(fine.mesh, outer, whole)
    for _ in range(rounds):
        lead = edge.lead
        turn = np.arccos(np.clip(np.einsum("ij,ij->i", lead, np.roll(lead, -1, axis=0)), -1.0, 1.0))
        side = np.arccos(np.clip(np.einsum("ij,ij->i", edge.outward, np.roll(edge.outward, -1, axis=0)), -1.0, 1.0))
        # at an open end the line on which the wall ends turns where the part's own surface does, and the more tightly the less the wall leans
        bend = np.arccos(np.clip(np.einsum("ij,ij->i", edge.normal, np.roll(edge.normal, -1, axis=0)), -1.0, 1.0))
        turn = np.maximum(turn, np.where(away(edge.points, edge.climb > 0.5) < NEAR, 2.0 * bend, 0.0))
        long = np.linalg.norm(np.roll(edge.points, -1, axis=0) - edge.points, axis=1) > 2.0 * SHORTEST
        split = (np.maximum(turn, np.where(edge.climb > 0.5, 0.0, side)) > TURN) & long
        if not split.any():
            break
        pairs = np.stack([edge.numbers, np.roll(edge.numbers, -1)], axis=1)[split]
        fine, whole, edge = _halved(fine, whole, edge, pairs)
    return fine, whole, edge


def _halved(fine: Finer, whole: Floats, edge: Edge, pairs: Ints) -> tuple[Finer, Floats, Edge]:
    """Put a point in the middle of each boundary edge ``pairs (c, 2)``; of a triangle with two of them only one is halved."""
    cells, parent = fine.mesh.triangles.astype(np.int64), fine.parent
    owner: dict[tuple[int, int], tuple[int, int]] = {}
    wanted = {tuple(sorted(p)) for p in pairs.tolist()}
    for side in range(3):
        two = np.sort(cells[:, [side, (side + 1) % 3]], axis=1)
        for i in map(int, np.flatnonzero(np.isin(two[:, 0], pairs) & np.isin(two[:, 1], pairs))):
            key = (int(two[i, 0]), int(two[i, 1]))
            if key in wanted:
                owner[key] = (i, side)
    points, normals, own = [fine.mesh.points], [whole], [fine.normals]
    new, origin, drop, used = [], [], [], set()
    count, after = len(fine.mesh.points), {int(p): int(q) for p, q in zip(edge.numbers, np.roll(edge.numbers, -1), strict=True)}
    for (a, b), (i, side) in owner.items():
        if i in used:
            continue
        used.add(i)
        p, q, r = (int(cells[i, (side + j) % 3]) for j in range(3))
        middle = whole[a] + whole[b]
        points.append(fine.mesh.points[[a, b]].mean(axis=0)[None])
        normals.append((middle / max(float(np.linalg.norm(middle)), 1e-12))[None])
        sharp = not (fine.normals[a].any() and fine.normals[b].any())
        own.append(np.zeros((1, 3)) if sharp else normals[-1])
        new += [[p, count, r], [count, q, r]]
        origin += [parent[i], parent[i]]
        drop.append(i)
        first, last = (a, b) if after.get(a) == b else (b, a)
        after[first], after[count] = count, last
        count += 1
    keep = np.setdiff1d(np.arange(len(cells)), drop)
    mesh = TriMesh(np.concatenate(points), np.concatenate([cells[keep], np.array(new)]).astype(np.int32))
    fine = Finer(mesh, np.concatenate(own), np.concatenate([parent[keep], np.array(origin, dtype=parent.dtype)]), fine.sagitta)
    loop = [int(edge.numbers[0])]
    while after[loop[-1]] != loop[0]:
        loop.append(after[loop[-1]])
    whole = np.concatenate(normals)
    return fine, whole, find_edge(mesh, np.array(loop, dtype=np.int32), whole)

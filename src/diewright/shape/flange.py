"""A flange found from a place on it: the bend it hangs on, what lies beyond, and the body that stays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.shape.pieces import Pieces, parts_of, touching

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

BEND = 40.0
"""Largest mean radius of a bend, over the thickness (common practice: up to about 10; larger ones are panels)."""
FREE = 1e-3
"""Share of the flange's area from which something else that hangs on the same bend counts."""


@dataclass(frozen=True, eq=False)
class Flange:
    """Triangles of the ``bend`` and of all ``beyond`` it ``(m,)``; points ``(k,)`` of the ``root`` line (bend and body) and of the ``tip`` line (bend and flange)."""

    name: str
    bend: Mask
    beyond: Mask
    root: NDArray[np.int64]
    tip: NDArray[np.int64]

    @property
    def cells(self) -> Mask:
        """All triangles that move."""
        return self.bend | self.beyond


def seed_at(mesh: TriMesh, at: tuple[float, float, float], near: float, where: str) -> int:
    """The triangle nearest to a point ``at`` [mm]; raises :class:`InputError` if it is farther than ``near`` [mm]."""
    import igl

    squared, cell, foot = igl.point_mesh_squared_distance(
        np.array([at], dtype=np.float64), np.array(mesh.points), mesh.triangles.astype(np.int64)
    )
    off = float(np.sqrt(np.ravel(squared)[0]))
    if off > near:
        f = np.ravel(foot)
        raise InputError(
            f"the point ({at[0]:g}, {at[1]:g}, {at[2]:g}) mm lies {off:.1f} mm off the part.", where=where,
            help=f"State a point on the flange in press coordinates; the nearest one of the part is ({f[0]:.1f}, {f[1]:.1f}, {f[2]:.1f}).",
        )  # fmt: skip
    return int(np.ravel(cell)[0])


def seed_of(face: NDArray[np.integer], number: int, where: str) -> int:
    """A triangle of the CAD face ``number``; raises :class:`InputError` if there is none."""
    found = np.flatnonzero(np.asarray(face) == number)
    if not len(found):
        raise InputError(
            f"the part's mesh has no CAD face {number}: it has faces {int(np.min(face))} to {int(np.max(face))}.", where=where,
            help="Pick a face of the skin that is drawn, or state a point.",
        )  # fmt: skip
    return int(found[0])


def find_flange(mesh: TriMesh, pieces: Pieces, seed: int, thickness: float, name: str, where: str) -> Flange:
    """The flange that the triangle ``seed`` lies on.

    Pieces are taken away in the order of their bend radius, the tightest first, until the seed's part hangs no longer on the largest one; the
    bend is what of them lies between. Raises :class:`InputError` where the seed lies on the body, nothing bends between, the flange ends nowhere freely, or shares its bend with another one.
    """
    own = pieces.label[seed]
    spot = _said(mesh.centroids[seed])
    for limit in _limits(pieces, own, BEND * thickness):
        gone = pieces.radius <= limit
        gone[own] = False
        found = parts_of(pieces, ~gone[pieces.label])
        if found[seed] != _largest(mesh, found):
            break
    else:
        gone = pieces.radius <= BEND * thickness
        found = parts_of(pieces, ~gone[pieces.label])
        if gone.any() and len(np.unique(found[found >= 0])) > 1:
            raise InputError(
                f"the point at {spot} mm lies on the body of the part, or within a bend, not on a flange beyond one.", where=where,
                help="State a point on the flat of the flange.",
            )  # fmt: skip
        raise InputError(
            f"the flange at {spot} mm has no bend line: nothing between it and the rest of the part bends more tightly than {BEND * thickness:.3g} mm.", where=where,
            help="A sharp edge needs its bend radius in CAD; a shape that runs over smoothly is drawn as it is.",
        )  # fmt: skip
    body, seeded = _largest(mesh, found), found == found[seed]
    bend = _between(mesh, pieces, gone, seeded, found == body, seed)
    bend = _whole_bend(mesh, pieces, bend, seed, 0.5 * BEND * thickness)
    rest = parts_of(pieces, ~bend)
    base, mine = rest == _largest(mesh, rest), rest == rest[seed]
    # what was taken for a bend and does not reach the body belongs to the flange
    groups = parts_of(pieces, bend)
    inner = np.isin(groups, np.setdiff1d(groups[bend], groups[touching(pieces, bend, base)[:, 0]])) & bend
    bend = bend & ~inner
    beyond = ~base & ~bend
    reached = parts_of(pieces, beyond)
    others = beyond & (reached != reached[seed])
    if mesh.areas[others].sum() > FREE * mesh.areas[mine].sum():
        at = mesh.centroids[others][np.argmin(np.linalg.norm(mesh.centroids[others] - mesh.centroids[seed], axis=1))]
        raise InputError(
            f"the flange at {spot} mm shares its bend with something else at {_said(at)} mm, so it cannot be opened alone.", where=where,
            help="Divide the bend in CAD, or put a relief notch into the corner.",
        )  # fmt: skip
    _must_end(mesh, beyond, spot, where)
    pinned = np.setdiff1d(_shared(mesh, base, beyond), np.unique(mesh.triangles[bend]))
    if len(pinned):
        raise InputError(
            f"the flange at {spot} mm also hangs on the body at {_said(mesh.points[pinned[0]])} mm, beside its bend.", where=where, help="Cut it free there in CAD.",
        )  # fmt: skip
    return Flange(name, bend, beyond, _shared(mesh, bend, base), _shared(mesh, bend, beyond))


def _limits(pieces: Pieces, own: int, most: float) -> Iterator[float]:
    yield from np.unique(np.delete(pieces.radius, own)[np.delete(pieces.radius, own) <= most])


def _largest(mesh: TriMesh, part: NDArray[np.int64]) -> int:
    kept = part >= 0
    return int(np.argmax(np.bincount(part[kept], mesh.areas[kept])))


def _between(mesh: TriMesh, pieces: Pieces, gone: NDArray[np.bool_], seeded: Mask, body: Mask, seed: int) -> Mask:
    """The fewest rings of the pieces ``gone``, from the flange outwards, that part it from the body."""
    taken = np.zeros(len(gone), dtype=bool)
    front = seeded
    while True:
        ring = np.unique(pieces.label[touching(pieces, front, gone[pieces.label] & ~taken[pieces.label])[:, 1]])
        if not len(ring):
            return taken[pieces.label]
        taken[ring] = True
        rest = parts_of(pieces, ~taken[pieces.label])
        if rest[seed] != _largest(mesh, rest) and not (rest[body] == rest[seed]).any():
            return taken[pieces.label]
        front = taken[pieces.label]


def _whole_bend(mesh: TriMesh, pieces: Pieces, bend: Mask, seed: int, most: float) -> Mask:
    """The bend with the pieces along at least half of it that turn the same way within the radius ``most`` [mm]: a bend of several radii."""
    sense = _sense(mesh, pieces, bend)
    while True:
        free = ~bend & (pieces.label != pieces.label[seed])
        pairs = touching(pieces, bend, free)
        near = pieces.label[pairs[:, 1]]
        whole = np.zeros(len(pieces.area))
        np.add.at(whole, near, _length(mesh, pairs))
        line = 0.5 * whole.max(initial=0.0)
        add = np.array(
            [
                g
                for g in np.unique(near)
                if whole[g] >= line and pieces.radius[g] <= most and _sense(mesh, pieces, pieces.label == g) * sense > 0
            ],
            dtype=np.int64,
        )
        grown = bend | np.isin(pieces.label, add)
        found = parts_of(pieces, ~grown)
        if not len(add) or not (~grown).any() or found[seed] == _largest(mesh, found):
            return bend
        bend = grown


def _length(mesh: TriMesh, pairs: NDArray[np.int64]) -> Floats:
    """Length of the edge that each pair of triangles shares [mm]."""
    a, b = mesh.triangles[pairs[:, 0]], mesh.triangles[pairs[:, 1]]
    same = (a[:, :, None] == b[:, None, :]).any(axis=2)
    ends = np.array([t[s][:2] for t, s in zip(a, same, strict=True)]).reshape(-1, 2)
    return np.linalg.norm(mesh.points[ends[:, 0]] - mesh.points[ends[:, 1]], axis=1)


def _sense(mesh: TriMesh, pieces: Pieces, cells: Mask) -> float:
    """Positive where the surface is hollow seen from its normals: sum over inner edges of how far a neighbour stands over its triangle."""
    p = pieces.pairs[cells[pieces.pairs].all(axis=1)]
    return float(np.einsum("ij,ij->", mesh.centroids[p[:, 1]] - mesh.centroids[p[:, 0]], mesh.normals[p[:, 0]]))


def _must_end(mesh: TriMesh, beyond: Mask, spot: str, where: str) -> None:
    on = np.zeros(len(mesh.points), dtype=bool)
    on[mesh.triangles[beyond]] = True
    if not on[mesh.boundary_edges].all(axis=1).any():
        raise InputError(
            f"what lies beyond the bend at {spot} mm has no free edge: it is no flange.", where=where, help="State a point on a flange that ends freely.",
        )  # fmt: skip


def _shared(mesh: TriMesh, a: Mask, b: Mask) -> NDArray[np.int64]:
    return np.intersect1d(mesh.triangles[a], mesh.triangles[b]).astype(np.int64)


def _said(p: Floats) -> str:
    return f"({p[0]:.1f}, {p[1]:.1f}, {p[2]:.1f})"

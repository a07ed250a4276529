"""The pockets of a sheet in one attitude: bubbles that stay when it is lowered into a liquid, pools that stay when it comes out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry import flood
from diewright.geometry.flood_space import Space
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Kind = Literal["air", "pool"]
_PAIRS = np.array([[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]])


@dataclass(frozen=True, eq=False)
class Pocket:
    """One bubble or pool.

    ``volume`` [mm3]; ``surface`` height of its free surface along up, ``depth`` from there to its far end [mm]; ``far`` the highest place of a bubble,
    the lowest of a pool; ``lip`` where it would run over ``(3,) [mm]``; ``area`` of sheet it touches in front and behind [mm2]; ``number`` in the flood.
    """

    kind: Kind
    number: int
    volume: float
    surface: float
    depth: float
    far: Floats
    lip: Floats
    area: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Flood:
    """One kind of pocket in one attitude. ``height (n,)`` along up for pools, along down for bubbles; the rest as :func:`~diewright.geometry.flood.shut` and ``locked`` give it."""

    kind: Kind
    height: Floats
    pool: Ints
    level: Floats
    bottom: Ints
    lip: Ints
    lock: Ints


@dataclass(frozen=True, eq=False)
class Attitude:
    """A space with its direction up and both floods; pockets below ``least`` [mm3] are summed, not named."""

    space: Space
    up: Floats
    air_flood: Flood
    pool_flood: Flood
    air: tuple[Pocket, ...]
    pools: tuple[Pocket, ...]
    air_total: float
    pool_total: float

    def flood(self, kind: Kind) -> Flood:
        """Bubbles or pools."""
        return self.air_flood if kind == "air" else self.pool_flood

    @cached_property
    def height(self) -> Floats:
        """Height of each copy along up ``(n,) [mm]``."""
        return self.pool_flood.height

    def depth_at_points(self, kind: Kind) -> Floats:
        """Thickness of air or liquid over or under each point ``(p,) [mm]``: from the free surface to the point, the greater of its sides; 0 elsewhere."""
        f = self.flood(kind)
        inside = f.pool >= 0
        depth = np.zeros(len(f.height))
        depth[inside] = f.level[f.pool[inside]] - f.height[inside]
        out = np.zeros(len(self.space.points))
        np.maximum.at(out, self.space.point_of, np.maximum(depth, 0.0))
        return out

    def on_faces(self, kind: Kind) -> Ints:
        """Number of the pocket (in order of :attr:`air` or :attr:`pools`) at each triangle's front and back ``(2, m)``, -1 none."""
        f = self.flood(kind)
        name = np.full(len(f.level) + 1, -1, dtype=np.int32)
        for i, pocket in enumerate(self.air if kind == "air" else self.pools):
            name[pocket.number] = i
        mine = np.where(f.lock >= 0, f.lock, f.pool)[self.space.sides]
        return name[mine.max(axis=2)]

    def free_surface(self, pocket: Pocket) -> TriMesh:
        """The pocket's free surface as triangles, in the part's coordinates."""
        f = self.flood(pocket.kind)
        cells = self.space.cells
        h = f.height[cells]
        low = np.take_along_axis(cells, h.argmin(axis=1)[:, None], 1)[:, 0]
        level = f.level[pocket.number] - 1e-9 * self.space.size  # a hair inside: a level rim leaves no cell that the level itself cuts
        cut = (f.pool[low] == pocket.number) & (h.max(axis=1) > level) & (h.min(axis=1) < level)
        return _section(self.space.places, cells[cut], f.height, level)


def attitude(space: Space, up: Floats, *, least: float = 0.0) -> Attitude:
    """Both floods for the direction ``up (3,)``; pockets smaller than ``least`` [mm3] are not named.

    Quasi-static: a bubble stays where the rising liquid has cut off its last way up, a pool where the falling one has left it. A vessel inside a bell stays
    dry and counts to the bubble; no pool is left where no liquid came, nor where a bubble sits. Raises :class:`InputError` for a direction that is no
    direction, :class:`SolveError` for a closed hollow body.
    """
    up = direction(up)
    if space.hollow > 0:
        raise SolveError(
            f"The sheet closes {space.hollow:.6g} mm3 off from outside: no liquid gets in and no air out, and the part floats.",
            where="part.file", help="Give the hollow body two holes, one high and one low.",
        )  # fmt: skip
    height = space.places @ up
    pool, air = _flood("pool", height, space), _flood("air", -height, space)
    none = np.full(len(height), -1, dtype=np.int32)
    bubbles = flood.held(air.height, space.cells, space.volumes, air.pool, air.level, air.lock, none, pool.level, none)
    pools = flood.held(height, space.cells, space.volumes, pool.pool, pool.level, pool.lock, air.pool, air.level, air.lock)
    return Attitude(
        space,
        up,
        air,
        pool,
        _named(air, bubbles, space, least),
        _named(pool, pools, space, least),
        float(bubbles.sum()),
        float(pools.sum()),
    )


def direction(up: Floats) -> Floats:
    """The unit vector of ``up``; raises :class:`InputError` for a zero vector or a number that is none."""
    try:
        vector = np.asarray(up, dtype=np.float64).reshape(-1)
    except (TypeError, ValueError):
        raise InputError(f"'{up}' is no direction.", where="dip.attitude", help="State three numbers, or auto.") from None
    if vector.shape != (3,) or not np.isfinite(vector).all():
        raise InputError(
            f"{vector.tolist()} is no direction: it needs three numbers.", where="dip.attitude", help="State three numbers, or auto."
        )
    length = float(np.linalg.norm(vector))
    if length < 1e-9:
        raise InputError("a direction needs a length above zero.", where="dip.attitude", help="State which way of the part is up, or auto.")
    return vector / length


def _flood(kind: Kind, height: Floats, space: Space) -> Flood:
    pool, level, bottom, lip = flood.shut(height, np.argsort(height, kind="stable"), space.start, space.near, space.open)
    return Flood(kind, height, pool, level, bottom, lip, flood.locked(pool, space.start, space.near, space.open))


def _named(f: Flood, volume: Floats, space: Space, least: float) -> tuple[Pocket, ...]:
    area = flood.touched(f.height, space.sides, space.areas, f.pool, f.level, f.lock)
    sense = 1.0 if f.kind == "pool" else -1.0
    out = []
    for i in np.argsort(-volume, kind="stable"):
        if volume[i] <= max(least, 1e-9 * space.size**3):
            break
        out.append(
            Pocket(
                f.kind, int(i), float(volume[i]), sense * float(f.level[i]), float(f.level[i] - f.height[f.bottom[i]]), _far(f, int(i), space),
                space.places[f.lip[i]], (float(area[i, 0]), float(area[i, 1])),
            )
        )  # fmt: skip
    return tuple(out)


def _far(f: Flood, i: int, space: Space) -> Floats:
    """The far end of a pocket; where it is a flat, the point of it nearest to its middle, so that a hole there stays clear of walls."""
    level = np.flatnonzero((f.pool == i) & (f.height <= f.height[f.bottom[i]] + 1e-6 * space.size))
    at = space.places[level]
    return at[int(np.argmin(np.linalg.norm(at - at.mean(axis=0), axis=1)))]


def _section(places: Floats, cells: Ints, height: Floats, level: float) -> TriMesh:
    """Triangles in which a level cuts cells; cut edges that cells share are one point."""
    a, b = cells[:, _PAIRS[:, 0]], cells[:, _PAIRS[:, 1]]
    crossed = (height[a] < level) != (height[b] < level)
    key = np.minimum(a, b).astype(np.int64) * len(places) + np.maximum(a, b)
    keys, number = np.unique(key[crossed], return_inverse=True)
    point = np.full(key.shape, -1, dtype=np.int64)
    point[crossed] = number
    first, second = keys // max(len(places), 1), keys % max(len(places), 1)
    share = (level - height[first]) / (height[second] - height[first])
    triangles = []
    # of four cut edges in the order of the pairs, the first three and the last three are the halves of the cut
    for count, faces in ((3, ((0, 1, 2),)), (4, ((0, 1, 2), (1, 3, 2)))):
        chosen = crossed.sum(axis=1) == count
        corner = point[chosen][crossed[chosen]].reshape(-1, count)
        triangles += [corner[:, list(face)] for face in faces]
    return TriMesh(places[first] + share[:, None] * (places[second] - places[first]), np.concatenate(triangles).astype(np.int32))

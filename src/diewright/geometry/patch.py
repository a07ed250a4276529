"""A flat triangulated patch inside a closed loop, with triangles as large as the loop's edges near by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.loops import vector_area
from diewright.geometry.nofit import signed_area
from diewright.watch import Watch

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_MOST_POINTS = 20_000
_GROWTH = 1.25


@dataclass(frozen=True, eq=False)
class Patch:
    """Flat ``points (n, 2)``, the loop first, counter-clockwise ``triangles (m, 3)``; ``frame``: the plane's two axes and normal as rows and
    ``origin`` where the loop was laid onto its plane, None where it was laid onto a circle."""

    points: Floats
    triangles: Ints
    frame: Floats | None
    origin: Floats


def flat_patch(ring: Floats, largest: float = 0.0, watch: Watch | None = None) -> Patch:
    """Lay the loop ``(k, 3)`` flat and fill it.

    Away from the loop triangles may grow to edges of ``largest`` [mm] (the usual edge of the mesh), a quarter from point to point.
    The loop runs counter-clockwise round the patch's normal. Raises :class:`SolveError` if it cannot be triangulated.
    """
    flat, frame = _laid_flat(ring)
    cells = np.array([[0, 1, 2]], dtype=np.int32) if len(flat) == 3 else _constrained(flat)
    points, triangles = _Refiner(flat, cells, largest).run(watch or Watch())
    return Patch(points, triangles, frame, ring.mean(axis=0))


def _laid_flat(ring: Floats) -> tuple[Floats, Floats | None]:
    normal = vector_area(ring)
    length = np.linalg.norm(normal)
    steps = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    if length > 1e-9 * steps.sum() ** 2:
        normal = normal / length
        first = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
        first /= np.linalg.norm(first)
        frame = np.stack([first, np.cross(normal, first), normal])
        flat = (ring - ring.mean(axis=0)) @ frame[:2].T
        shrunk = np.linalg.norm(np.roll(flat, -1, axis=0) - flat, axis=1)
        if shapely.Polygon(flat).is_valid and signed_area(flat) > 0 and (shrunk > 0.5 * steps).all():
            return flat, frame
    # Onto a circle of the same length: it can neither cross itself nor fold.
    at = 2.0 * np.pi * np.concatenate([[0.0], np.cumsum(steps)[:-1]]) / steps.sum()
    return steps.sum() / (2.0 * np.pi) * np.column_stack([np.cos(at), np.sin(at)]), None


def _constrained(flat: Floats) -> Ints:
    """Constrained Delaunay triangles of a simple polygon, by point number."""
    found = shapely.get_parts(shapely.constrained_delaunay_triangles(shapely.Polygon(flat)))
    corners = shapely.get_coordinates(found).reshape(-1, 4, 2)[:, :3]
    number = {tuple(p): i for i, p in enumerate(flat.tolist())}
    try:
        cells = np.array([[number[tuple(q)] for q in c] for c in corners.tolist()], dtype=np.int32)
    except KeyError:
        cells = np.zeros((0, 3), dtype=np.int32)
    if len(cells) != len(flat) - 2:
        raise SolveError(
            "A hole's edge could not be triangulated.", where="blank.holes", help="Repair the hole in the CAD file or keep the holes."
        )
    a, b, c = (flat[cells[:, i]] for i in range(3))
    left = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]) > 0
    cells[~left] = cells[~left][:, ::-1]
    return cells


class _Refiner:
    """Points into large triangles, edges flipped to Delaunay, points relaxed; the loop's edges are never touched."""

    def __init__(self, flat: Floats, cells: Ints, largest: float) -> None:
        self.edge = len(flat)
        self.largest = largest
        steps = np.linalg.norm(np.roll(flat, -1, axis=0) - flat, axis=1)
        self.points: list[tuple[float, float]] = [tuple(p) for p in flat.tolist()]
        self.size: list[float] = list(0.5 * (steps + np.roll(steps, 1)))
        self.cells: list[tuple[int, int, int]] = [tuple(c) for c in cells.tolist()]

    def run(self, watch: Watch) -> tuple[Floats, Ints]:
        self._flip()
        while True:
            watch.check()
            added = self._insert()
            self._flip()
            self._relax()
            self._flip()
            if not added:
                break
            if len(self.points) > _MOST_POINTS:
                raise SolveError(
                    "A hole needs too many triangles to fill.", where="blank.holes", help="Use a coarser mesh round it, or keep the holes."
                )
        for _ in range(4):
            self._relax()
            self._flip()
        return np.array(self.points), np.array(self.cells, dtype=np.int32)

    def _insert(self) -> int:
        """Put a point into each triangle whose area is well above that of an equilateral one of the size wanted there."""
        added = 0
        kept: list[tuple[int, int, int]] = []
        for a, b, c in self.cells:
            size = (self.size[a] + self.size[b] + self.size[c]) / 3.0
            (ax, ay), (bx, by), (cx, cy) = self.points[a], self.points[b], self.points[c]
            area2 = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
            x, y = (ax + bx + cx) / 3.0, (ay + by + cy) / 3.0
            nearest = min((x - ax) ** 2 + (y - ay) ** 2, (x - bx) ** 2 + (y - by) ** 2, (x - cx) ** 2 + (y - cy) ** 2)
            if area2 > 1.5 * 0.866 * size * size and nearest > (0.5 * size) ** 2:
                n = len(self.points)
                self.points.append((x, y))
                self.size.append(max(size, min(_GROWTH * size, self.largest)))
                kept += [(a, b, n), (b, c, n), (c, a, n)]
                added += 1
            else:
                kept.append((a, b, c))
        self.cells = kept
        return added

    def _flip(self) -> None:
        """Flip edges whose opposite angles add to more than half a turn, until none is left."""
        cells = [list(c) for c in self.cells]
        owner: dict[tuple[int, int], int] = {}
        for t, (a, b, c) in enumerate(cells):
            owner[a, b] = owner[b, c] = owner[c, a] = t
        todo = [k for k in owner if k[0] < k[1] and (k[1], k[0]) in owner]
        budget = 40 * len(cells) + 100
        while todo and budget > 0:
            budget -= 1
            a, b = todo.pop()
            if (a, b) not in owner or (b, a) not in owner:
                continue
            t, u = owner[a, b], owner[b, a]
            c = next(v for v in cells[t] if v not in (a, b))
            d = next(v for v in cells[u] if v not in (a, b))
            if not self._in_circle(a, b, c, d):
                continue
            if self._twice(a, d, c) <= 0 or self._twice(d, b, c) <= 0:
                continue
            cells[t], cells[u] = [a, d, c], [d, b, c]
            del owner[a, b], owner[b, a]
            owner[a, d] = owner[d, c] = owner[c, a] = t
            owner[d, b] = owner[b, c] = owner[c, d] = u
            todo += [(a, d), (d, b), (b, c), (c, a)]
        self.cells = [(c[0], c[1], c[2]) for c in cells]

    def _twice(self, a: int, b: int, c: int) -> float:
        (ax, ay), (bx, by), (cx, cy) = self.points[a], self.points[b], self.points[c]
        return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)

    def _in_circle(self, a: int, b: int, c: int, d: int) -> bool:
        """True if ``d`` lies inside the circle through ``a, b, c`` by more than rounding."""
        dx, dy = self.points[d]
        m = [(x - dx, y - dy) for x, y in (self.points[a], self.points[b], self.points[c])]
        q = [x * x + y * y for x, y in m]
        det = sum(q[i] * (m[(i + 1) % 3][0] * m[(i + 2) % 3][1] - m[(i + 1) % 3][1] * m[(i + 2) % 3][0]) for i in range(3))
        return det > 1e-12 * max(q) ** 2

    def _relax(self) -> None:
        """Move each inner point towards the mean of its neighbours, unless that would turn a triangle over."""
        p = np.array(self.points)
        t = np.array(self.cells)
        n = len(p)
        total, count = np.zeros((n, 2)), np.zeros(n)
        sizes = np.array(self.size)
        for i in range(3):
            for j in (1, 2):
                to = t[:, (i + j) % 3]
                np.add.at(total, t[:, i], p[to])
                np.add.at(count, t[:, i], 1.0)
        goal = p.copy()
        goal[self.edge :] = total[self.edge :] / count[self.edge :, None]
        share = 0.7
        for _ in range(4):
            q = p + share * (goal - p)
            a, b, c = (q[t[:, i]] for i in range(3))
            bad = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]) <= 1e-3 * sizes[t[:, 0]] ** 2
            if not bad.any():
                self.points = [tuple(v) for v in q.tolist()]
                return
            goal[np.unique(t[bad])] = p[np.unique(t[bad])]

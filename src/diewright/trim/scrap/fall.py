"""Which ways a piece of scrap can be moved off the post that it lies against, and the chute it then needs.

A piece ``P`` moved by ``x`` overlaps the obstacle ``A`` exactly when ``x`` lies inside ``A + (-P)``; a direction is free when the ray from 0 misses that region. The region's boundary
is a subset of the reduced convolution of the two outlines and the convolution lies inside the region (see :mod:`diewright.geometry.nofit`), so the blocked directions are exactly
those under which 0 sees a segment of the convolution: a union of angles, no sampling.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.geometry.nofit import convolution, ring

Floats = NDArray[np.float64]
Polygon = Any

GAP = 0.05
"""How far the outlines are drawn back so that a piece that touches the post may slide along it [mm] (ours)."""
TIGHT = 5.0
"""A piece whose way off the post is narrower than this jams easily [deg] (ours)."""
_TURN = 2.0 * np.pi


@dataclass(frozen=True)
class Free:
    """Free directions: ``spans`` of (begin, width) [rad], begin 0 to 2 pi from +x, anticlockwise."""

    spans: tuple[tuple[float, float], ...]

    @property
    def widest_deg(self) -> float:
        """The widest span [deg]."""
        return math.degrees(max((w for _, w in self.spans), default=0.0))

    @property
    def total_deg(self) -> float:
        """Sum of the free directions [deg]."""
        return math.degrees(sum(w for _, w in self.spans))

    def holds(self, angle: float) -> bool:
        """Whether a direction [rad] is free."""
        return any((angle - b) % _TURN < w for b, w in self.spans)


def solid(shape: Polygon) -> Polygon:
    """The largest polygon of a shape without its holes: what surrounds something is as solid to it as what covers it."""
    best = max(getattr(shape, "geoms", [shape]), key=lambda g: float(g.area))
    return shapely.Polygon(best.exterior)


def free_directions(piece: Polygon, obstacle: Polygon) -> Free:
    """Directions in which ``piece`` can be moved away for ever without meeting ``obstacle``; none if it surrounds it or lies over it: 0 then lies inside the region, and every ray meets its boundary.

    The piece is drawn back by 0.05 mm, or a quarter of its mean width if that is less.
    """
    width = 2.0 * piece.area / max(piece.length, 1e-12)
    if obstacle.is_empty:
        return Free(((0.0, _TURN),))
    gap = min(GAP, 0.25 * width)
    body = piece.buffer(-gap, join_style="mitre")
    while body.is_empty:  # a needle has no inside at that depth
        gap *= 0.25
        body = piece.buffer(-gap, join_style="mitre")
    body, block = (solid(s).simplify(0.2 * GAP) for s in (body, obstacle))
    seen = convolution(ring(np.asarray(block.exterior.coords)[:-1]), ring(np.asarray(body.exterior.coords)[:-1]))
    a = np.arctan2(seen[:, 0, 1], seen[:, 0, 0])
    turn = np.remainder(np.arctan2(seen[:, 1, 1], seen[:, 1, 0]) - a + np.pi, _TURN) - np.pi
    return _outside(np.remainder(np.minimum(a, a + turn), _TURN), np.abs(turn))


def _outside(begin: Floats, width: Floats) -> Free:
    """What a union of angles on the circle leaves."""
    order = np.argsort(begin)
    begin, reach = begin[order], np.maximum.accumulate((begin + width)[order])
    reach = np.maximum(reach, reach[-1] - _TURN)  # those that run over the end cover the beginning
    gap = np.append(begin[1:], begin[0] + _TURN) - reach
    return Free(tuple((float(r % _TURN), float(g)) for r, g in zip(reach, gap, strict=True) if g > 1e-9))


def way_out(free: Free, outward: Floats, run: Callable[[float], float]) -> float | None:
    """The free direction [rad] that a chute is best laid along: of those that lead away from the post the nearest to one of the four sides of the press (within 2 deg alike), then the one with the shortest ``run(angle)``.

    ``outward (2,)`` from the post's middle to the piece. None if nothing is free.
    """
    out = math.atan2(float(outward[1]), float(outward[0]))
    tried = []
    for begin, width in free.spans:
        edge = min(math.radians(2.0), 0.5 * width)
        for side in (0.0, 0.5 * np.pi, np.pi, 1.5 * np.pi, out):
            off = (side - begin) % _TURN
            if not edge <= off <= width - edge:  # the nearest direction that is free
                off = edge if (begin + edge - side) % _TURN <= (side - begin - width + edge) % _TURN else width - edge
            angle = (begin + off) % _TURN
            square = abs((angle + 0.25 * np.pi) % (0.5 * np.pi) - 0.25 * np.pi)
            away = math.cos(angle - out)
            tried.append((0.0 if away > 0.3 else 1.0 - away, round(math.degrees(square) / 2.0), run(angle), angle))
    return min(tried)[3] if tried else None


@dataclass(frozen=True)
class Chute:
    """A piece's way out: ``run`` [mm] level to the die shoe's edge, ``needed`` and ``drop`` heights [mm], ``angle`` [deg] that the drop allows."""

    run: float
    needed: float
    drop: float
    angle: float


def run_of(points: Floats, way: float, shoe: tuple[float, float, float, float]) -> float:
    """Level way [mm] from the hindmost of a piece's ``points (n, 2)``, as seen along ``way`` [rad], to where its middle leaves the die shoe ``(x0, y0, x1, y1)``."""
    u = np.array([math.cos(way), math.sin(way)])
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    bounds = [
        (top - m) / c if c > 0 else (low - m) / c for m, c, low, top in zip(middle, u, shoe[:2], shoe[2:], strict=True) if abs(c) > 1e-12
    ]
    return max(float(min(bounds)), 0.0) + float(((middle - points) @ u).max())


def chute(run: float, high: float, drop: float, least_deg: float) -> Chute:
    """The chute under a piece from its hindmost point on: it falls by ``run tan(least)`` and lets the piece's height ``high`` [mm] pass."""
    angle = math.degrees(math.atan2(drop - high, run)) if run > 0 else 90.0
    return Chute(run, run * math.tan(math.radians(least_deg)) + high, drop, angle)

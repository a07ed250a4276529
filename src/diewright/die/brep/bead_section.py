"""Sections of a draw bead's bar and of its groove: one half each, from the axis at the nose or the floor out and up to the axis again.

Coordinates in the section [mm]: ``x`` across the line, ``y`` along the normal of the surface, from the middle of the sheet up; the blankholder's face lies at ``t/2``, the die's at ``-t/2``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diewright.mechanics.forming.bead_line import Groove

Floats = NDArray[np.float64]

FLOOR_RADIUS_LEAST = 0.2
"""A floor corner that would turn on less stays sharp: no cutter is that small [mm]."""
_X, _W = np.polynomial.legendre.leggauss(24)


@dataclass(frozen=True)
class Straight:
    """A straight piece of a section."""

    start: tuple[float, float]
    end: tuple[float, float]

    def at(self, v: Floats) -> Floats:
        """Points ``(n, 2)`` at shares of its length."""
        return np.asarray(self.start) + v[:, None] * (np.asarray(self.end) - self.start)


@dataclass(frozen=True)
class Arc:
    """A round piece, from angle ``first`` to ``last`` [rad]."""

    centre: tuple[float, float]
    radius: float
    first: float
    last: float

    def at(self, v: Floats) -> Floats:
        """Points ``(n, 2)`` at shares of its length."""
        a = self.first + v * (self.last - self.first)
        return np.asarray(self.centre) + self.radius * np.column_stack([np.cos(a), np.sin(a)])


@dataclass(frozen=True)
class Half:
    """One half of a section: its pieces, begun and ended on the axis."""

    pieces: tuple[Straight | Arc, ...]

    @cached_property
    def _moments(self) -> tuple[float, float, float]:
        """Area of the half, and its integrals of x and y: by Green, ``int x dy``, ``int x^2/2 dy``, ``int x y dy``."""
        out = np.zeros(3)
        for piece in self.pieces:
            v, step = 0.5 * (_X + 1.0), 1e-6
            x, y = piece.at(v).T
            dy = (piece.at(v + step)[:, 1] - piece.at(v - step)[:, 1]) / (2.0 * step)
            out += [float(np.sum(0.5 * _W * dy * f)) for f in (x, 0.5 * x * x, x * y)]
        return float(out[0]), float(out[1]), float(out[2])

    @property
    def area(self) -> float:
        """Area of the whole section [mm2]."""
        return 2.0 * self._moments[0]

    @property
    def height(self) -> float:
        """The centroid's ``y`` [mm]."""
        return self._moments[2] / self._moments[0]

    @property
    def end_volume(self) -> float:
        """Volume of one rounded end, the half turned by half a turn about the axis (Guldin) [mm3]."""
        return math.pi * self._moments[1]

    @cached_property
    def corners(self) -> Floats:
        """Points of the half ``(n, 2)`` that bound it."""
        return np.vstack([p.at(np.linspace(0.0, 1.0, 9)) for p in self.pieces])


def bar(g: Groove, thickness: float) -> Half:
    """The bead's bar: nose or corners of ``R``, ``h`` out of the blankholder's face, let into it by its own width (ours)."""
    half, nose, top = 0.5 * g.width, 0.5 * thickness - g.height, 0.5 * thickness + g.width
    flat = [Straight((0.0, nose), (0.5 * g.flat, nose))] if g.flat > 0 else []
    return Half((
        *flat, Arc((0.5 * g.flat, nose + g.radius), g.radius, -0.5 * math.pi, 0.0), Straight((half, nose + g.radius), (half, top)), Straight((half, top), (0.0, top)),
    ))  # fmt: skip


def cutter(g: Groove, thickness: float) -> Half:
    """What the groove takes out of the die, a thickness higher than its face so that it cuts cleanly: shoulders of ``R``, upright walls, floor corners of ``R`` where the depth has room for both, else of what is left."""
    face, wall, r = -0.5 * thickness, 0.5 * g.groove_width, g.radius
    floor, mouth, top = face - g.depth, 0.5 * g.mouth, 0.5 * thickness
    foot = min(r, g.depth - r)
    foot = foot if foot >= FLOOR_RADIUS_LEAST else 0.0
    out: list[Straight | Arc] = []
    if g.depth >= r:
        begin, at = math.pi, wall
    else:
        # the shoulder's arc meets the floor before it stands upright
        begin = math.pi - math.asin((r - g.depth) / r)
        at = wall + r + r * math.cos(begin)
    out.append(Straight((0.0, floor), (at - foot, floor)))
    if foot:
        out.append(Arc((at - foot, floor + foot), foot, -0.5 * math.pi, 0.0))
    if g.depth - r - foot > 1e-6:
        out.append(Straight((wall, floor + foot), (wall, face - r)))
    out += [Arc((wall + r, face - r), r, begin, 0.5 * math.pi), Straight((mouth, face), (mouth, top)), Straight((mouth, top), (0.0, top))]
    return Half(tuple(out))

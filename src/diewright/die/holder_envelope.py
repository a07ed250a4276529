"""The general developable blankholder: the envelope of a family of planes, each touching it along one straight line.

In plan the straight lines (rulings) cross a spine, the line ``v = 0`` of a frame ``(u, v)``, at ``s`` under the slope ``m(s)``; the plane of the line ``s`` turns about it with the rate ``b'(s)``:

    z = a(s) + b(s) u + c(s) v    on the line    F = u - s - m(s) v = 0,
    a' = -s b',  c' = -m b',      so that  a' + b' u + c' v = b' F = 0,
    z_uu : z_uv : z_vv = b' / (1 + m' v) (1 : -m : m^2).

``m`` is a natural cubic spline through few rulings, led on straight; ``b'`` is linear between its knots and zero at their ends, beyond which the surface is a plane. So ``a``, ``b``, ``c`` are piecewise
polynomials and the surface's second derivatives are continuous where the lines do not meet, ``1 + m' v > 0``: where they do is its edge of regression, in plan ``v = -1 / m'``. Constant ``m`` is
a cylinder, linear ``m`` a cone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from scipy.interpolate import PPoly

from diewright.die.holder_shape import Floats, Local, Profile

_NODES = np.linspace(0.0, 1.0, 5)
_POWERS = np.linalg.inv(np.vander(_NODES))  # from values at the nodes to the coefficients of the quartic, highest power first
_ROUNDS = 60


@dataclass(frozen=True, eq=False)
class Envelope:
    """``origin (2,)`` [mm] and ``spine (2,)`` unit direction in plan of the spine; rulings that cross it ``at (r,)`` [mm] under ``slopes (r,)``; ``turns (m,)`` [1/mm] the rate ``b'`` at ``knots (m,)`` [mm]."""

    origin: tuple[float, float]
    spine: tuple[float, float]
    at_spine: tuple[float, ...]
    slopes: tuple[float, ...]
    knots: tuple[float, ...]
    turns: tuple[float, ...]
    kind: ClassVar[str] = "developable"

    @cached_property
    def _slope(self) -> Profile:
        return Profile(self.at_spine, self.slopes)

    @cached_property
    def _planes(self) -> PPoly:
        return planes(self._slope, np.asarray(self.knots), np.asarray(self.turns)[:, None])

    @property
    def rulings(self) -> list[tuple[float, float, float]]:
        """The rulings that state it: place on the spine (x, y) [mm] and angle in plan from +x [deg], 0 to 180."""
        spine = np.asarray(self.spine)
        other = np.array([-spine[1], spine[0]])
        out = []
        for s, m in zip(self.at_spine, self.slopes, strict=True):
            p, way = np.asarray(self.origin) + s * spine, other + m * spine
            out.append((float(p[0]), float(p[1]), float(np.degrees(np.arctan2(way[1], way[0])) % 180.0)))
        return out

    def at(self, xy: Floats) -> Local:
        """The shape at plan points ``(..., 2)``."""
        spine = np.asarray(self.spine)
        other = np.array([-spine[1], spine[0]])
        off = xy - np.asarray(self.origin)
        u, v = off @ spine, off @ other
        s = crossing(self._slope, u, v, self.knots[0], self.knots[-1])
        m, steeper, _ = self._slope.at(s)
        a, b, c = np.moveaxis(self._planes(s)[..., 0, :], -1, 0)
        turn = np.interp(s, self.knots, self.turns)
        bend = np.where((s > self.knots[0]) & (s < self.knots[-1]), turn * (1.0 + m * m) / (1.0 + steeper * v), 0.0)
        across = (spine - m[..., None] * other) / np.sqrt(1.0 + m * m)[..., None]
        return Local(a + b * u + c * v, b[..., None] * spine + c[..., None] * other, bend, across)


def crossing(slope: Profile, u: Floats, v: Floats, low: float, high: float) -> Floats:
    """Where the ruling through ``(u, v)`` crosses the spine, the root ``s`` of ``u - s - m(s) v``, which falls with ``s`` where lines do not meet; ``low`` or ``high`` where it lies beyond.

    Newton's steps, each kept within a bracket that is halved where a step leaves it.
    """
    a, b = np.full_like(u, low), np.full_like(u, high)
    first, last = u - a - slope.at(a)[0] * v <= 0.0, u - b - slope.at(b)[0] * v >= 0.0
    beyond = first | last
    s = np.where(first, low, np.where(last, high, np.clip(u, low, high)))
    for _ in range(_ROUNDS):
        m, steeper, _ = slope.at(s)
        lack = np.where(beyond, 0.0, u - s - m * v)
        a, b = np.where(lack > 0, s, a), np.where(lack < 0, s, b)
        step = s + lack / np.maximum(1.0 + steeper * v, 1e-3)
        new = np.where((step >= a) & (step <= b), step, 0.5 * (a + b))
        done = bool(np.abs(new - s).max(initial=0.0) <= 1e-12 * (high - low))
        s = new
        if done:
            break
    return s


def planes(slope: Profile, knots: Floats, turns: Floats) -> PPoly:
    """``a, b, c`` as piecewise polynomials ``s -> (..., k, 3)`` for ``turns (m, k)`` at ``knots (m,)``, all zero at the first knot: exact, for their rates are quartics at most."""
    breaks = np.unique(np.concatenate([knots, [s for s in slope.knots if knots[0] < s < knots[-1]]]))

    def rates(s: Floats) -> Floats:
        index = np.clip(np.searchsorted(knots, s, side="right") - 1, 0, len(knots) - 2)
        share = ((s - knots[index]) / (knots[index + 1] - knots[index]))[..., None]
        turn = turns[index] * (1.0 - share) + turns[index + 1] * share
        return np.stack([-s[..., None] * turn, turn, -slope.at(s)[0][..., None] * turn], axis=-1)

    return _pieces(rates, breaks).antiderivative()


def _pieces(rates: Callable[[Floats], Floats], breaks: Floats) -> PPoly:
    """A continuous function that is a quartic between breaks, from its values."""
    length = np.diff(breaks)
    values = rates(breaks[:-1, None] + length[:, None] * _NODES)  # (pieces, nodes, k, 3)
    c = np.einsum("pn,in...->pi...", _POWERS, values)
    powers = length[None, :] ** np.arange(4, -1, -1)[:, None]
    return PPoly(c / powers.reshape(*powers.shape, *([1] * (c.ndim - 2))), breaks)

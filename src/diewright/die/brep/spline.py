"""Cubic splines through sampled curves and surfaces that keep the parametrisation they were sampled in.

A tool's face is the designer's surface moved along its normals. Fitted in the designer's own (u, v), the moved surface takes over the trimming curves as they are.
Collocation at the Greville points of a knot vector; spans whose middle misses are halved until all are within the tolerance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST = 400
"""Spans in one direction not exceeded."""


@dataclass(frozen=True, eq=False)
class Axis:
    """One parameter: strictly increasing breaks ``(b,)`` and how often each interior one counts ``(b - 2,)``: 1 C2, 2 C1, 3 only continuous."""

    breaks: Floats
    times: Ints

    @property
    def knots(self) -> Floats:
        """Clamped knot vector of degree 3."""
        inner = np.repeat(self.breaks[1:-1], self.times)
        return np.concatenate([np.full(4, self.breaks[0]), inner, np.full(4, self.breaks[-1])])

    @property
    def sites(self) -> Floats:
        """Greville points, one a pole."""
        k = self.knots
        return np.clip((k[1:-3] + k[2:-2] + k[3:-1]) / 3.0, k[0], k[-1])

    def halved(self, spans: NDArray[np.bool_]) -> Axis:
        """With the spans marked ``(b - 1,)`` halved."""
        middle = 0.5 * (self.breaks[:-1] + self.breaks[1:])[spans]
        breaks = np.concatenate([self.breaks, middle])
        times = np.concatenate([[1], self.times, [1], np.ones(len(middle), dtype=np.int64)])
        order = np.argsort(breaks)
        return Axis(breaks[order], times[order][1:-1])

    def solve(self, values: Floats) -> Floats:
        """Poles ``(n, ...)`` of the spline through ``values (n, ...)`` at :attr:`sites`."""
        flat = values.reshape(len(values), -1)
        return np.asarray(splu(BSpline.design_matrix(self.sites, self.knots, 3).tocsc()).solve(flat)).reshape(values.shape)

    def span_of(self, at: Floats) -> Ints:
        """Number of the span each parameter lies in."""
        return np.clip(np.searchsorted(self.breaks, at, side="right") - 1, 0, len(self.breaks) - 2)


def axis(low: float, high: float, breaks: dict[float, int], spans: int) -> Axis:
    """An axis over ``[low, high]`` with the given inner breaks and their times, each longer gap cut so that there are about ``spans``."""
    least = 1e-6 * (high - low)
    kept = sorted(b for b in breaks if low + least < b < high - least)
    inner = [b for i, b in enumerate(kept) if i == 0 or b - kept[i - 1] > least]
    ends = [low, *inner, high]
    points, times = [low], []
    for a, b in pairwise(ends):
        count = max(round(spans * (b - a) / (high - low)), 1)
        cut = np.linspace(a, b, count + 1)[1:]
        points += cut.tolist()
        times += [1] * (count - 1) + [breaks.get(b, 1)]
    return Axis(np.array(points), np.array(times[:-1], dtype=np.int64))


@dataclass(frozen=True, eq=False)
class Curve:
    """A cubic spline curve: axis, poles ``(n, d)``, and the largest miss measured [mm]."""

    axis: Axis
    poles: Floats
    miss: float


@dataclass(frozen=True, eq=False)
class Surface:
    """A bicubic spline surface: axes, poles ``(n, m, 3)``, and the largest miss measured [mm]."""

    u: Axis
    v: Axis
    poles: Floats
    miss: float


def fit_curve(target: Callable[[Floats], Floats], along: Axis, tolerance: float, rounds: int = 9) -> Curve:
    """The curve through ``target(t (n,)) -> (n, d)``; ``miss`` stays above the tolerance where halving did not help."""
    for done in range(rounds + 1):
        poles = along.solve(target(along.sites))
        probe = _between(along.sites)
        miss = np.linalg.norm(BSpline(along.knots, poles, 3)(probe) - target(probe), axis=1)
        bad = np.zeros(len(along.breaks) - 1, dtype=bool)
        bad[along.span_of(probe[miss > tolerance])] = True
        if not bad.any() or done == rounds or len(along.breaks) + bad.sum() > MOST:
            return Curve(along, poles, float(miss.max()))
        along = along.halved(bad)
    raise AssertionError


def fit_surface(target: Callable[[Floats, Floats], Floats], u: Axis, v: Axis, tolerance: float, rounds: int = 7) -> Surface:
    """The surface through ``target(u (n,), v (m,)) -> (n, m, 3)`` on grids; ``miss`` as in :func:`fit_curve`."""
    for done in range(rounds + 1):
        su, sv = u.sites, v.sites
        values = target(su, sv)
        poles = u.solve(values)
        poles = v.solve(np.ascontiguousarray(poles.transpose(1, 0, 2))).transpose(1, 0, 2)
        pu, pv = _between(su), _between(sv)
        along_u = np.linalg.norm(evaluated(u, v, poles, pu, sv) - target(pu, sv), axis=2)
        along_v = np.linalg.norm(evaluated(u, v, poles, su, pv) - target(su, pv), axis=2)
        bad_u, bad_v = np.zeros(len(u.breaks) - 1, dtype=bool), np.zeros(len(v.breaks) - 1, dtype=bool)
        bad_u[u.span_of(pu[along_u.max(axis=1) > tolerance])] = True
        bad_v[v.span_of(pv[along_v.max(axis=0) > tolerance])] = True
        cross = np.linalg.norm(evaluated(u, v, poles, pu, pv) - target(pu, pv), axis=2)
        if not (bad_u.any() or bad_v.any()):  # both lines fit and the middles of the cells do not
            bad_u[u.span_of(pu[cross.max(axis=1) > tolerance])] = True
            bad_v[v.span_of(pv[cross.max(axis=0) > tolerance])] = True
        full = len(u.breaks) + bad_u.sum() > MOST or len(v.breaks) + bad_v.sum() > MOST
        if not (bad_u.any() or bad_v.any()) or done == rounds or full:
            return Surface(u, v, poles, float(max(along_u.max(), along_v.max(), cross.max())))
        u, v = u.halved(bad_u), v.halved(bad_v)
    raise AssertionError


def evaluated(u: Axis, v: Axis, poles: Floats, at_u: Floats, at_v: Floats) -> Floats:
    """The surface on the grid of parameters ``(n,)`` and ``(m,)``: ``(n, m, 3)``."""
    left = BSpline.design_matrix(np.clip(at_u, u.breaks[0], u.breaks[-1]), u.knots, 3)
    right = BSpline.design_matrix(np.clip(at_v, v.breaks[0], v.breaks[-1]), v.knots, 3)
    half = (left @ poles.reshape(len(poles), -1)).reshape(len(at_u), poles.shape[1], 3)
    return np.asarray((right @ half.transpose(1, 0, 2).reshape(poles.shape[1], -1)).reshape(len(at_v), len(at_u), 3).transpose(1, 0, 2))


def _between(sites: Floats) -> Floats:
    distinct = np.unique(sites)
    return 0.5 * (distinct[:-1] + distinct[1:])

"""Margin against the forming limit, with the path the strain has taken.

Two rules, both in percent points of major engineering strain at equal minor strain, so that they can be laid beside each other:

- **straight**: the present principal strains against the forming limit curve. Right only where the strain has grown in one direction.
- **path**: the limit read as plastic strain over the direction in which the sheet is being strained *now*. On a straight path with principal rates
  ``(cos T, sin T)`` the equivalent plastic strain is ``ep = q(T) e``; the state ``(ep, T)`` is that of a straight path that ends at

      (major, minor) = ep / q(T) (cos T, sin T)

  and is judged there. On a straight path both rules agree. Work hardening used up in another direction counts, whatever the order: stretching both ways first
  leaves less for a later pull in one direction, a pull first leaves more for later stretching both ways than the curve shows.
  (Effective strain and final direction: Muschenborn and Sonne 1975; polar effective plastic strain: Stoughton and Yoon 2012, Int. J. Solids Struct. 49;
  both from memory.)

``q`` comes from the yield surface, direction to rolling included. The direction now is that of the strain gained over the last half percent of plastic
strain or more; where the sheet does not flow it stays. A neck has to run through the thickness, so of several stations the one farthest from the limit counts:
bending alone necks nothing (the through-thickness argument of Stoughton and Yoon 2011, from memory). What has once been reached stays: the path margin kept is
the least over the frames.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError
from diewright.sheet.limit_margin import margin_pct
from diewright.sheet.surface import YieldSurface
from diewright.tryout.strains import principal, tensor

Floats = NDArray[np.float64]

WINDOW = 0.005
"""Plastic strain over which a direction of straining is taken; below it elastic changes and noise would turn it."""
BENT = 0.9
"""Chord over length of the strain path below which it counts as bent."""


class Gauge:
    """Equivalent strain of one unit of principal strain, over its direction ``T`` and its angle to rolling: a table of the yield surface.

    ``T`` = atan2(minor, major) runs from -135 to 45 degrees (major is the larger one). Bilinear between 91 x 19 exact values: within 0.1 %.
    """

    def __init__(self, surface: YieldSurface) -> None:
        self._theta = np.linspace(-0.75 * np.pi, 0.25 * np.pi, 91)
        self._phi = np.linspace(0.0, 0.5 * np.pi, 19)
        t, p = np.meshgrid(self._theta, self._phi, indexing="ij")
        rate = tensor(np.cos(t), np.sin(t), p)
        self._q: Floats = (rate * surface.stress_for(rate)).sum(axis=-1)

    def __call__(self, theta: Floats, phi: Floats) -> Floats:
        """``q`` at directions ``theta`` [rad] and angles ``phi`` to rolling [rad], any shape; plane orthotropy makes phi count modulo mirror images."""
        folded = np.abs(np.mod(phi + 0.5 * np.pi, np.pi) - 0.5 * np.pi)
        return self._between(theta, folded)

    def _between(self, theta: Floats, phi: Floats) -> Floats:
        n, m = self._q.shape
        i, a = _cell(theta, self._theta[0], self._theta[1] - self._theta[0], n)
        j, b = _cell(phi, self._phi[0], self._phi[1] - self._phi[0], m)
        flat, k = self._q.ravel(), i * m + j
        return (1 - a) * ((1 - b) * flat[k] + b * flat[k + 1]) + a * ((1 - b) * flat[k + m] + b * flat[k + m + 1])


def _cell(x: Floats, start: float, step: float, n: int) -> tuple[NDArray[np.intp], Floats]:
    at = np.clip((x - start) / step, 0.0, n - 1.0)
    low = np.minimum(at.astype(np.intp), n - 2)
    return low, at - low


@dataclass(frozen=True, eq=False)
class Margins:
    """Margins of one frame, per triangle, in percent points of major engineering strain (negative: beyond the limit).

    Attributes
    ----------
    straight: (m,) of the present strains. now: (m,) of the present state by the path rule. margin_pct: (m,) least of the path rule up to here: the one to go by.
    """

    straight: Floats
    now: Floats
    margin_pct: Floats


class PathMargin:
    """Follows the strain path frame by frame.

    Parameters
    ----------
    surface: yield surface of the sheet. limit_minor, limit_major: the forming limit curve on straight paths (true strain, dense).
    window: plastic strain over which the direction is taken.
    """

    def __init__(self, surface: YieldSurface, limit_minor: Floats, limit_major: Floats, *, window: float = WINDOW) -> None:
        self._q, self._limit, self._window = Gauge(surface), (limit_minor, limit_major), window
        self._shape: tuple[int, ...] = ()
        self._worst: Floats = np.zeros(0)
        margin_pct(np.zeros(1), np.zeros(1), limit_minor, limit_major)  # refuses a curve that is none before the run, not in it

    def add(self, major: ArrayLike, minor: ArrayLike, ep: ArrayLike, angle: ArrayLike | None = None) -> Margins:
        """The next frame from principal strains ``(m,)``, equivalent plastic strain ``(m,)`` and the angle ``(m,)`` [rad] of the major strain to rolling (0)."""
        e1, e2 = np.asarray(major, dtype=np.float64), np.asarray(minor, dtype=np.float64)
        phi = np.zeros_like(e1) if angle is None else np.asarray(angle, dtype=np.float64)
        return self.add_tensor(tensor(e1, e2, phi), ep)

    def add_tensor(self, strain: ArrayLike, ep: ArrayLike) -> Margins:
        """The next frame from log strains in the rolling frame (11, 22, engineering 12).

        ``strain`` is ``(m, 3)`` with ``ep (m,)``, or ``(m, stations, 3)`` with ``ep (m, stations)``. Raises :class:`InputError` if the number of triangles changes or
        a value is not finite.
        """
        e, p = np.asarray(strain, dtype=np.float64), np.asarray(ep, dtype=np.float64)
        if e.ndim == 2:
            e, p = e[:, None, :], p[:, None]
        if e.shape[:2] != p.shape or e.shape[2:] != (3,) or (self._shape and self._shape != p.shape):
            raise InputError(f"strains {e.shape} and plastic strains {p.shape} do not belong together.", where="tryout margin")
        if not (np.isfinite(e).all() and np.isfinite(p).all()):
            raise InputError("a strain is not a finite number.", where="tryout margin", help="Look at the frame before.")
        if not self._shape:
            self._start(p.shape)
        self._follow(e, p)
        size = p / self._q(self._theta, self._phi)
        layers = margin_pct(size * np.cos(self._theta), size * np.sin(self._theta), *self._limit)
        now = layers.max(axis=1)
        self._worst = np.minimum(self._worst, now)
        e1, e2, _ = principal(e.mean(axis=1))
        return Margins(margin_pct(e1, e2, *self._limit), now, self._worst.copy())

    def _start(self, shape: tuple[int, ...]) -> None:
        self._shape = shape
        self._from_e, self._from_p = np.zeros((*shape, 3)), np.zeros(shape)
        self._last = np.zeros((*shape, 3))
        self._length, self._chord = np.zeros(shape), np.zeros(shape)
        self._theta, self._phi = np.full(shape, -np.pi / 4), np.zeros(shape)
        self._worst = np.full(shape[0], np.inf)
        self._fresh = np.ones(shape, dtype=np.bool_)

    def _follow(self, e: Floats, p: Floats) -> None:
        self._length += _norm(e - self._last)
        self._last = e.copy()
        self._chord = _norm(e)
        moved = p - self._from_p > self._window
        gained = np.where((self._fresh & ~moved)[..., None], e, e - self._from_e)  # before the first half percent: the whole strain
        d1, d2, phi = principal(gained)
        turn = moved | self._fresh
        self._theta = np.where(turn, np.arctan2(d2, d1), self._theta)
        self._phi = np.where(turn, phi, self._phi)
        self._from_e[moved], self._from_p[moved] = e[moved], p[moved]
        self._fresh &= ~moved

    @property
    def straightness(self) -> Floats:
        """``(m,)``: chord over length of the strain path in the middle of the stations, 1 where it was straight (or nothing happened)."""
        middle = self._shape[1] // 2
        length, chord = self._length[:, middle], self._chord[:, middle]
        return np.where(length > self._window, np.minimum(chord / np.maximum(length, 1e-300), 1.0), 1.0)

    def bent_share(self, areas: Floats) -> float:
        """Share of the area ``(m,)`` whose strain path was bent."""
        return float(areas[self.straightness < BENT].sum() / areas.sum())


def _norm(e: Floats) -> Floats:
    """Von Mises length of in-plane strains at constant volume: ``2/sqrt(3) sqrt(e11^2 + e22^2 + e11 e22 + g^2/4)``."""
    a, b, g = e[..., 0], e[..., 1], e[..., 2]
    return np.sqrt(np.maximum(4.0 / 3.0 * (a * a + b * b + a * b + 0.25 * g * g), 0.0))

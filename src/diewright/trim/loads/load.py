"""Force of the cuts over the stroke: each element by its own penetration, summed exactly, with its centre, its work and its thrust.

Along an element the steel's touch goes evenly from s_a to s_b, so that at stroke S the mean of the force law is exact:

    F(S) = sum tau k L t' [Phi(u_a) - Phi(u_b)]/(u_a - u_b),   u = (S - s)/t',   t' = t/cos(lean)

with L the length across the travel: L t' is the area of the cut wall, whatever way the sheet slopes. The work is sum tau k L t'^2 Phi(1), exact as well.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from diewright.errors import SolveError
from diewright.trim.loads.law import ShearLaw
from diewright.trim.loads.line import Elements

Floats = NDArray[np.float64]
POINTS = 401
MOST_POINTS = 2001
FINE = 0.02
"""Step of the stroke in thicknesses, where the number of points allows it."""
THRUST = 0.2
"""Side force over cutting force, from the couple that the clearance makes (0.1 to 0.3, common practice)."""
CHUNK = 64


@dataclass(frozen=True)
class Load:
    """A set of elements cut with one law: ``stress`` tau times the wear factor [MPa], ``shift`` by which it touches later [mm], ``gain`` slide force over steel force."""

    elements: Elements
    law: ShearLaw
    stress: float
    shift: float = 0.0
    gain: float = 1.0

    @property
    def last(self) -> float:
        """Stroke at which it is through [mm]."""
        return self.elements.last + self.shift

    @property
    def full(self) -> float:
        """Force if all of it were cut at once [N]."""
        return self.gain * self.stress * self.elements.area

    @property
    def work(self) -> float:
        """Work of the cut [J]."""
        e = self.elements
        return self.gain * self.stress * float((e.length * e.along**2).sum()) * float(self.law.work(np.array(1.0))) / 1000.0

    def each(self, strokes: Floats) -> Floats:
        """Force of each element at each stroke ``(n, m)`` [N]."""
        kinds, which = self.elements.kinds
        begin, end, along = kinds.T
        s = np.asarray(strokes, dtype=np.float64)[:, None] - self.shift
        a, b = (s - begin) / along, (s - end) / along
        even = np.abs(a - b) < 1e-6
        rise = (self.law.work(a) - self.law.work(b)) / np.where(even, 1.0, a - b)
        mean = np.where(even, self.law.share(0.5 * (a + b)), rise)
        return self.gain * self.stress * self.elements.length * self.elements.along * mean[:, which]


@dataclass(frozen=True)
class Curve:
    """Force over stroke: ``stroke`` (n,) from first touch [mm], ``force`` (n,) [N], ``centre`` (n, 3) of the load [mm] (nan without load), ``thrust`` (n, 3) side force
    on the steels [N]; ``peak`` [N] at ``peak_stroke``, ``peak_centre`` (3,), ``work`` [J], ``released`` largest fall of the force while a crack runs [N], at ``released_stroke``."""

    stroke: Floats
    force: Floats
    centre: Floats
    thrust: Floats
    peak: float
    peak_stroke: float
    peak_centre: Floats
    work: float
    released: float
    released_stroke: float

    @property
    def thrust_max(self) -> float:
        """Largest side force that is left over [N]."""
        return float(np.linalg.norm(self.thrust, axis=1).max())


def force_at(loads: Sequence[Load], strokes: Floats) -> Floats:
    """Whole force at each stroke (n,) [N]."""
    s = np.atleast_1d(np.asarray(strokes, dtype=np.float64))
    return np.sum([_rows(load, s, lambda f: f.sum(axis=1)) for load in loads], axis=0)


def _rows(load: Load, strokes: Floats, of: Callable[[Floats], Floats]) -> Floats:
    return np.concatenate([of(load.each(strokes[i : i + CHUNK])) for i in range(0, len(strokes), CHUNK)])


def strokes_of(loads: Sequence[Load], until: float) -> Floats:
    """Strokes from first touch to ``until`` [mm], fine against the thickness."""
    thin = min(float(load.elements.along.min()) for load in loads)
    return np.linspace(0.0, until, int(np.clip(round(until / (FINE * thin)) + 1, POINTS, MOST_POINTS)))


def curve(loads: Sequence[Load], strokes: Floats) -> Curve:
    """Force over the ``strokes`` [mm], which rise from 0; raises :class:`SolveError` if a force is no number."""
    force = np.zeros(len(strokes))
    moment, thrust = np.zeros((len(strokes), 3)), np.zeros((len(strokes), 3))
    for load in loads:
        e = load.elements
        packed = np.column_stack([np.ones(len(e.length)), e.middle, THRUST * e.side])
        part = _rows(load, strokes, lambda f, packed=packed: f @ packed)  # type: ignore[misc]
        force += part[:, 0]
        moment += part[:, 1:4]
        thrust += part[:, 4:7]
    if not np.isfinite(force).all():
        raise SolveError("the cutting force came out as no number.", where="cutting", help="Check the thickness and lean of the trim.")
    peak, at = _peak(loads, strokes, force)
    some = force > 1e-6 * max(peak, 1e-9)
    centre = np.where(some[:, None], moment / np.where(some, force, 1.0)[:, None], np.nan)
    there = sum(f @ load.elements.middle for load in loads for f in load.each(np.array([at])))
    window = max(load.law.fall * float(load.elements.along.max()) for load in loads) + 1.001 * float(strokes[1] - strokes[0])
    fall = force - force_at(loads, strokes + window)
    i = int(fall.argmax())
    return Curve(
        strokes,
        force,
        centre,
        thrust,
        peak,
        at,
        np.asarray(there) / peak,
        sum(load.work for load in loads),
        float(fall[i]),
        float(strokes[i]),
    )


def _peak(loads: Sequence[Load], strokes: Floats, force: Floats) -> tuple[float, float]:
    """Largest force [N] and its stroke [mm], sought between the strokes on both sides of the largest one."""
    i = int(force.argmax())
    low, high = strokes[max(i - 1, 0)], strokes[min(i + 1, len(strokes) - 1)]
    best = minimize_scalar(
        lambda s: -float(force_at(loads, np.array([s]))[0]), bounds=(low, high), method="bounded", options={"xatol": 1e-6}
    )
    return (float(-best.fun), float(best.x)) if -best.fun > force[i] else (float(force[i]), float(strokes[i]))

"""True curves of a flat outline: lines, arcs and cubic splines, closed end to end.

Areas, lengths and positions come from the curves themselves, not from a polygon. All lengths mm, angles rad.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from diewright.errors import InputError

Floats = NDArray[np.float64]

_AREA_NODES, _AREA_WEIGHTS = np.polynomial.legendre.leggauss(3)  # exact for x dy of a cubic (degree 5)
_LENGTH_NODES, _LENGTH_WEIGHTS = np.polynomial.legendre.leggauss(16)


def _unit(v: Floats) -> Floats:
    length = float(np.hypot(*v))
    return v / length if length > 0 else np.array([1.0, 0.0])


@dataclass(frozen=True, eq=False)
class Line:
    """A straight piece from ``start`` to ``end``."""

    start: Floats
    end: Floats

    @property
    def start_tangent(self) -> Floats:
        return _unit(self.end - self.start)

    @property
    def end_tangent(self) -> Floats:
        return _unit(self.end - self.start)

    @property
    def length(self) -> float:
        return float(np.hypot(*(self.end - self.start)))

    @property
    def swept_area(self) -> float:
        """``1/2 integral (x dy - y dx)`` [mm2]."""
        return 0.5 * float(self.start[0] * self.end[1] - self.start[1] * self.end[0])

    def points(self, chord: float) -> Floats:
        """Both ends ``(2, 2)``."""
        return np.stack([self.start, self.end])

    def reversed(self) -> Line:
        return Line(self.end, self.start)


@dataclass(frozen=True, eq=False)
class Arc:
    """A circular piece: from angle ``begin`` through ``sweep`` (positive counter-clockwise) about ``centre``."""

    centre: Floats
    radius: float
    begin: float
    sweep: float

    def _at(self, angle: float | Floats) -> Floats:
        return self.centre + self.radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)

    @property
    def start(self) -> Floats:
        return self._at(self.begin)

    @property
    def end(self) -> Floats:
        return self._at(self.begin + self.sweep)

    def _tangent(self, angle: float) -> Floats:
        return np.sign(self.sweep) * np.array([-np.sin(angle), np.cos(angle)])

    @property
    def start_tangent(self) -> Floats:
        return self._tangent(self.begin)

    @property
    def end_tangent(self) -> Floats:
        return self._tangent(self.begin + self.sweep)

    @property
    def length(self) -> float:
        return self.radius * abs(self.sweep)

    @property
    def swept_area(self) -> float:
        """``1/2 integral (x dy - y dx)`` [mm2]: the sector about the centre and the shift of the centre."""
        d = self.end - self.start
        return 0.5 * (self.radius**2 * self.sweep + float(self.centre[0] * d[1] - self.centre[1] * d[0]))

    def points(self, chord: float) -> Floats:
        """Points with at most ``chord`` [mm] between curve and polygon, both ends included."""
        step = 2.0 * np.arccos(max(1.0 - chord / self.radius, 0.0)) if self.radius > 0 else np.pi
        count = max(int(np.ceil(abs(self.sweep) / max(step, 1e-4))), 1)
        return self._at(self.begin + self.sweep * np.linspace(0.0, 1.0, count + 1))

    def reversed(self) -> Arc:
        return Arc(self.centre, self.radius, self.begin + self.sweep, -self.sweep)


@dataclass(frozen=True, eq=False)
class Spline:
    """A cubic B-spline: ``knots`` (k + 4) clamped at both ends, ``control`` (k, 2)."""

    knots: Floats
    control: Floats

    @cached_property
    def curve(self) -> BSpline:
        """The curve as a function of its parameter."""
        return BSpline(self.knots, self.control, 3)

    @property
    def start(self) -> Floats:
        return self.control[0]

    @property
    def end(self) -> Floats:
        return self.control[-1]

    @property
    def start_tangent(self) -> Floats:
        return _unit(self.control[1] - self.control[0])

    @property
    def end_tangent(self) -> Floats:
        return _unit(self.control[-1] - self.control[-2])

    @cached_property
    def spans(self) -> Floats:
        """Ends of the polynomial spans."""
        return np.unique(self.knots)

    def _nodes(self, nodes: Floats, weights: Floats) -> tuple[Floats, Floats]:
        a, b = self.spans[:-1, None], self.spans[1:, None]
        return (0.5 * (a + b) + 0.5 * (b - a) * nodes).ravel(), (0.5 * (b - a) * weights).ravel()

    @cached_property
    def length(self) -> float:
        u, w = self._nodes(_LENGTH_NODES, _LENGTH_WEIGHTS)
        d = self.curve.derivative()(u)
        return float(w @ np.hypot(d[:, 0], d[:, 1]))

    @cached_property
    def swept_area(self) -> float:
        """``1/2 integral (x dy - y dx)`` [mm2], exact for a cubic."""
        u, w = self._nodes(_AREA_NODES, _AREA_WEIGHTS)
        p, d = self.curve(u), self.curve.derivative()(u)
        return 0.5 * float(w @ (p[:, 0] * d[:, 1] - p[:, 1] * d[:, 0]))

    def points(self, chord: float) -> Floats:
        """Points with at most about ``chord`` [mm] between curve and polygon, both ends included."""
        return self.curve(self.parameters(chord))

    def parameters(self, chord: float) -> Floats:
        """Parameters for :meth:`points`: a cubic's second derivative is largest at the ends of a span."""
        second = self.curve.derivative(2)
        found = [self.spans[:1]]
        for a, b in zip(self.spans[:-1], self.spans[1:], strict=True):
            inner = (b - a) * 1e-9
            bend = max(np.hypot(*second(a + inner)), np.hypot(*second(b - inner)))
            count = int(np.clip(np.ceil((b - a) * np.sqrt(bend / (8.0 * chord))), 2, 400))
            found.append(np.linspace(a, b, count + 1)[1:])
        return np.concatenate(found)

    def reversed(self) -> Spline:
        return Spline(self.knots[0] + self.knots[-1] - self.knots[::-1], self.control[::-1])


Piece = Line | Arc | Spline


@dataclass(frozen=True, eq=False)
class Outline:
    """A closed outline of pieces, each beginning where the one before ends (within 1e-6 mm).

    Raises :class:`InputError` if the pieces leave a gap.
    """

    pieces: tuple[Piece, ...]

    def __post_init__(self) -> None:
        if not self.pieces:
            raise InputError("An outline needs at least one piece.")
        if self.gap > 1e-6:
            raise InputError(f"The pieces of the outline leave a gap of {self.gap:.3g} mm.")

    @property
    def gap(self) -> float:
        """Largest distance between the end of a piece and the start of the next [mm]."""
        return max(float(np.hypot(*(p.end - q.start))) for p, q in zip(self.pieces, self.pieces[1:] + self.pieces[:1], strict=True))

    @property
    def area(self) -> float:
        """Enclosed area [mm2], positive when counter-clockwise."""
        return sum(p.swept_area for p in self.pieces)

    @property
    def perimeter(self) -> float:
        """Length of the outline [mm]."""
        return sum(p.length for p in self.pieces)

    @property
    def circle(self) -> tuple[Floats, float] | None:
        """Centre and radius if the outline is one full circle."""
        first = self.pieces[0]
        if not isinstance(first, Arc):
            return None
        same = all(isinstance(p, Arc) and p.radius == first.radius and np.array_equal(p.centre, first.centre) for p in self.pieces)
        turn = sum(p.sweep for p in self.pieces if isinstance(p, Arc))
        return (first.centre, first.radius) if same and abs(abs(turn) - 2 * np.pi) < 1e-9 else None

    def counts(self) -> dict[str, int]:
        """How many lines, arcs and splines."""
        return {name: sum(isinstance(p, kind) for p in self.pieces) for name, kind in (("lines", Line), ("arcs", Arc), ("splines", Spline))}

    def points(self, chord: float = 0.02) -> Floats:
        """Polygon ``(n, 2)`` with at most ``chord`` [mm] between it and the outline; the first point is not repeated."""
        return np.concatenate([p.points(chord)[:-1] for p in self.pieces])

    def corner_angles(self) -> Floats:
        """Change of direction where each piece ends [rad], signed."""
        found = []
        for p, q in zip(self.pieces, self.pieces[1:] + self.pieces[:1], strict=True):
            a, b = p.end_tangent, q.start_tangent
            found.append(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))
        return np.array(found)


def circle(centre: Floats, radius: float) -> Outline:
    """A full circle, counter-clockwise, as two half arcs."""
    c = np.asarray(centre, dtype=np.float64)
    return Outline((Arc(c, float(radius), 0.0, np.pi), Arc(c, float(radius), np.pi, np.pi)))

"""An outline moved outwards by an allowance, rounded at its outer corners."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.fitting import FitCircle, FitLine, fit_spline
from diewright.geometry.joints import Fitted, cross
from diewright.geometry.outline import fit_outline, is_simple, measured
from diewright.geometry.pieces import Arc, Line, Outline, Piece, circle
from diewright.geometry.runs import corners

Floats = NDArray[np.float64]


def offset(outline: Outline, distance: float, tolerance: float = 0.02) -> Outline:
    """The outline moved outwards by ``distance`` [mm], rounded at outer corners.

    Lines and arcs move exactly; splines are laid anew through exactly moved points. Where pieces of the moved outline would run
    into each other (inner corners, narrow necks), it is taken from the area within ``distance`` and fitted again.
    """
    if not (np.isfinite(distance) and distance >= 0):
        raise InputError(f"An allowance of {distance} mm cannot be used: it must be 0 mm or more.")
    if distance == 0.0:
        return outline
    full = outline.circle
    if full is not None:
        return circle(full[0], full[1] + distance)
    pieces = _moved(outline, distance, tolerance)
    grown = shapely.buffer(shapely.Polygon(outline.points(0.1 * tolerance)), distance, quad_segs=64)
    edge = np.asarray(shapely.get_exterior_ring(grown).coords)[:-1]
    if pieces is not None:
        found = Outline(tuple(pieces))
        if is_simple(found) and measured(found, edge, tolerance).deviation <= tolerance:
            return found
    return fit_outline(_evenly(edge, tolerance), 2.0 * tolerance).outline


def _evenly(edge: Floats, tolerance: float) -> Floats:
    """The polygon with even steps between its corners, for a fit that must not see the crowded points of round corners."""
    length = np.hypot(*(np.roll(edge, -1, axis=0) - edge).T)
    step = max(length.sum() / 800.0, 1e-3)
    sharp = corners(edge, tolerance)
    if len(sharp) == 0:
        sharp = np.array([0])
    edge = np.roll(edge, -sharp[0], axis=0)
    ends = [*(sharp - sharp[0]), len(edge)]
    row = np.concatenate([edge, edge[:1]])
    out = []
    for a, b in pairwise(ends):
        walk = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(row[a : b + 1], axis=0).T))])
        at = np.linspace(0.0, walk[-1], max(int(np.ceil(walk[-1] / step)), 1) + 1)[:-1]
        out.append(np.stack([np.interp(at, walk, row[a : b + 1, axis]) for axis in range(2)], axis=1))
    return np.concatenate(out)


def _moved(outline: Outline, distance: float, tolerance: float) -> list[Piece] | None:
    """Pieces moved outwards (to the right of their direction); None at inner corners or where an arc would vanish."""
    sign = 1.0 if outline.area > 0 else -1.0
    pieces: list[Piece] = []
    for p in outline.pieces:
        if isinstance(p, Line):
            t = p.start_tangent
            shift = sign * distance * np.array([t[1], -t[0]])
            pieces.append(Line(p.start + shift, p.end + shift))
        elif isinstance(p, Arc):
            radius = p.radius + distance * sign * np.sign(p.sweep)
            if radius <= 1e-6:
                return None
            pieces.append(Arc(p.centre, radius, p.begin, p.sweep))
        else:
            u = p.parameters(0.25 * tolerance)
            d = p.curve.derivative()(u)
            d[0], d[-1] = p.start_tangent, p.end_tangent
            normal = sign * np.stack([d[:, 1], -d[:, 0]], axis=1) / np.hypot(d[:, 0], d[:, 1])[:, None]
            pieces.append(fit_spline(p.curve(u) + distance * normal, 0.25 * tolerance, p.start_tangent, p.end_tangent))
    out: list[Piece] = list(pieces)
    corner: dict[int, Arc] = {}
    for i, (old, angle) in enumerate(zip(outline.pieces, outline.corner_angles(), strict=True)):
        k = (i + 1) % len(out)
        p, q = out[i], out[k]
        if np.hypot(*(p.end - q.start)) <= 1e-7:
            continue
        if sign * angle > 0:
            a = p.end - old.end
            corner[i] = Arc(old.end, distance, float(np.arctan2(a[1], a[0])), float(angle))
            continue
        f, g = _carrier(p), _carrier(q)
        meet = cross(f, g, 0.5 * (p.end + q.start)) if f is not None and g is not None else None
        if meet is None or i == k:
            return None
        out[i], out[k] = _cut(p, p.start, meet), _cut(q, meet, q.end)
    return [piece for i, p in enumerate(out) for piece in ((p, corner[i]) if i in corner else (p,))]


def _carrier(p: Piece) -> Fitted | None:
    if isinstance(p, Line):
        t = p.start_tangent
        normal = np.array([t[1], -t[0]])
        return FitLine(normal, float(normal @ p.start), t)
    return FitCircle(p.centre, p.radius, float(np.sign(p.sweep))) if isinstance(p, Arc) else None


def _cut(p: Piece, start: Floats, end: Floats) -> Piece:
    """A line or arc between new ends on its own carrier."""
    if isinstance(p, Line):
        return Line(start, end)
    assert isinstance(p, Arc)
    a, b = start - p.centre, end - p.centre
    begin, turn = float(np.arctan2(a[1], a[0])), float(np.sign(p.sweep))
    return Arc(p.centre, p.radius, begin, turn * float(np.remainder(turn * (np.arctan2(b[1], b[0]) - begin), 2.0 * np.pi)))

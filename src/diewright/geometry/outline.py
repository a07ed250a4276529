"""A noisy closed polygon made into true lines, arcs and splines within a stated tolerance.

The edge of a developed mesh is a polygon with the mesh's noise. A tool drawing wants what a draughtsman would have drawn:
straight stretches as lines, round ones as arcs, the rest as smooth splines; joined without gaps, with a common tangent where the outline
is smooth, and with its corners kept. Nothing is taken on trust: the finished outline is measured against every given
point, and must not cross itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.fitting import FitLine, fit_circle, fit_line, fit_spline
from diewright.geometry.joints import Fitted, cross, tangent, touch
from diewright.geometry.nofit import ring
from diewright.geometry.pieces import Arc, Line, Outline, Piece, Spline, circle
from diewright.geometry.runs import Kind, arc_fits, corners, segment

Floats = NDArray[np.float64]

_FINEST = 1e-6  # mm
_BULGE = 6.0  # tolerances that true curves may stand over the chords of the given polygon
_PIECE_SHARE = 0.7  # of the tolerance, for lines and arcs before their joints are pulled tangent


@dataclass(frozen=True, eq=False)
class Fit:
    """An outline with its measure: ``deviation`` [mm] is the largest distance of a given point from it, ``bulge`` [mm] the
    largest distance of the outline from the given polygon (the sagitta of true curves over coarse steps)."""

    outline: Outline
    deviation: float
    bulge: float
    tolerance: float


@dataclass(frozen=True, eq=False)
class _Part:
    """A run with its points; ``sharp`` says that a corner follows it."""

    kind: Kind
    points: Floats
    sharp: bool


def fit_outline(points: Floats, tolerance: float = 0.1) -> Fit:
    """Fit a closed polygon ``(n, 2) [mm]``; the result runs counter-clockwise.

    Raises :class:`InputError` for a polygon that is none (fewer than three points, no area, not finite, tolerance not above zero) and
    :class:`SolveError` if it crosses itself, or if no outline within the tolerance could be made.
    """
    if not (np.isfinite(tolerance) and tolerance >= _FINEST):
        raise InputError(f"The outline's tolerance of {tolerance} mm cannot be used: it must be {_FINEST} mm or more.")
    given = ring(points)
    rows = _without_tiny_steps(given, 0.2 * tolerance)
    simple_or_stop(rows)
    rows = _divided(rows)
    whole = _full_circle(rows, tolerance)
    if whole is not None:
        return measured(whole, given, tolerance)
    parts = _parts(rows, tolerance)
    tried: Fit | None = None
    for attempt in (parts, _only_lines_and_splines(parts), _only_splines(parts)):
        try:
            pieces = _joined(attempt, tolerance)
            outline = Outline(tuple(pieces))
        except (InputError, np.linalg.LinAlgError):
            continue
        tried = measured(outline, given, tolerance)
        if tried.deviation <= tolerance and tried.bulge <= _BULGE * tolerance and is_simple(outline):
            return tried
    polygon = Outline(tuple(Line(a, b) for a, b in zip(given, np.roll(given, -1, axis=0), strict=True)))
    if tried is not None and len(given) <= 400:
        # The polygon itself is always right, only not smooth; the counts tell the reader.
        return measured(polygon, given, tolerance)
    raise SolveError(
        f"No smooth outline within {tolerance} mm could be laid through the developed edge.", where="outline",
        help="Use a finer mesh at the edge of the part or a wider tolerance.",
    )  # fmt: skip


def simple_or_stop(given: Floats) -> None:
    """Raise :class:`SolveError`, with the place, if a polygon crosses or touches itself."""
    polygon = shapely.Polygon(given)
    if not polygon.is_valid:
        why = shapely.is_valid_reason(polygon)
        where = why[why.find("[") + 1 : why.find("]")].split() if "[" in why else []
        at = f" near x {float(where[0]):.2f}, y {float(where[1]):.2f} mm" if len(where) == 2 else ""
        raise SolveError(
            f"The outline crosses or touches itself{at}.", where="outline",
            help="The flat shape overlaps there: such a part cannot come from one piece of sheet, or its mesh is folded.",
        )  # fmt: skip


def measured(outline: Outline, given: Floats, tolerance: float) -> Fit:
    """Deviation and bulge of an outline against a polygon."""
    curve = shapely.LinearRing(outline.points(max(0.02 * min(tolerance, 0.1), 1e-5)))
    deviation = float(shapely.distance(curve, shapely.points(given)).max())
    bulge = float(shapely.distance(shapely.LinearRing(given), shapely.points(outline.points(0.2 * tolerance))).max())
    return Fit(outline, deviation, bulge, tolerance)


def is_simple(outline: Outline) -> bool:
    """True if the outline does not cross or touch itself."""
    return bool(shapely.Polygon(outline.points(0.01)).is_valid)


def _without_tiny_steps(p: Floats, least: float) -> Floats:
    kept = [0]
    for i in range(1, len(p)):
        if np.hypot(*(p[i] - p[kept[-1]])) >= least:
            kept.append(i)
    while len(kept) > 3 and np.hypot(*(p[kept[-1]] - p[0])) < least:
        kept.pop()
    return p[kept] if len(kept) >= 3 else p


def _divided(p: Floats, times: float = 3.0) -> Floats:
    """Split steps much longer than the usual ones, so that a long straight step weighs what its length is worth."""
    following = np.roll(p, -1, axis=0)
    length = np.hypot(*(following - p).T)
    usual = max(float(np.median(length)), length.sum() / 600.0)
    count = np.maximum(np.ceil(length / (times * usual)).astype(int), 1)
    out = [a + (b - a) * np.linspace(0.0, 1.0, k, endpoint=False)[:, None] for a, b, k in zip(p, following, count, strict=True)]
    return np.concatenate(out)


def _full_circle(p: Floats, tolerance: float) -> Outline | None:
    if len(p) < 8:
        return None
    found = fit_circle(p)
    closed = np.concatenate([p, p[:1]])
    if found is None or np.abs(found.distance(p)).max() > tolerance or not arc_fits(closed[:-1], tolerance):
        return None
    gap = np.hypot(*(p[0] - p[-1]))
    sagitta = found.radius - np.sqrt(max(found.radius**2 - 0.25 * gap**2, 0.0))
    return circle(found.centre, found.radius) if sagitta <= 5.0 * tolerance else None


def _parts(p: Floats, tolerance: float) -> list[_Part]:
    share = _PIECE_SHARE * tolerance
    whole = float(np.hypot(*(np.roll(p, -1, axis=0) - p).T).sum())
    sharp = corners(p, tolerance)
    if len(sharp) == 0:
        row = np.concatenate([p, p[:1]])
        runs = segment(row, share, whole)
        longest = max((r for r in runs if r.kind != "spline"), key=lambda r: r.last - r.first, default=None)
        if longest is None:
            return [_Part("spline", row, False)]
        p = np.roll(p, -longest.first, axis=0)
        row = np.concatenate([p, p[:1]])
        return [_Part(r.kind, row[r.first : r.last + 1], False) for r in segment(row, share, whole)]
    p = np.roll(p, -sharp[0], axis=0)
    ends = [*(sharp - sharp[0]), len(p)]
    row = np.concatenate([p, p[:1]])
    parts: list[_Part] = []
    for a, b in pairwise(ends):
        runs = segment(row[a : b + 1], share, whole)
        parts += [_Part(r.kind, row[a + r.first : a + r.last + 1], r is runs[-1]) for r in runs]
    return parts


def _only_lines_and_splines(parts: list[_Part]) -> list[_Part]:
    return _merged([replace(q, kind="spline") if q.kind == "arc" else q for q in parts])


def _only_splines(parts: list[_Part]) -> list[_Part]:
    return _merged([q if q.sharp and len(q.points) == 2 else replace(q, kind="spline") for q in parts])


def _merged(parts: list[_Part]) -> list[_Part]:
    """Join neighbouring splines that meet smoothly."""
    out: list[_Part] = []
    for q in parts:
        if out and q.kind == "spline" and out[-1].kind == "spline" and not out[-1].sharp:
            out[-1] = _Part("spline", np.concatenate([out[-1].points, q.points[1:]]), q.sharp)
        else:
            out.append(q)
    if len(out) > 1 and out[0].kind == "spline" and out[-1].kind == "spline" and not out[-1].sharp:
        last = out.pop()
        out[0] = _Part("spline", np.concatenate([last.points, out[0].points[1:]]), out[0].sharp)
    return out


def _fit(part: _Part) -> Fitted | None:
    if part.kind == "line":
        return fit_line(part.points)
    return fit_circle(part.points) if part.kind == "arc" else None


def _joined(parts: list[_Part], tolerance: float) -> list[Piece]:
    """Fit all parts and bring their ends together; a part or joint that does not come out gives way to a spline."""
    parts = _merged(parts)
    for _ in range(4 * len(parts) + 4):
        if len(parts) == 1 and parts[0].kind == "spline" and not parts[0].sharp:
            return [_closed_spline(parts[0].points, tolerance)]
        fits = [_fit(q) for q in parts]
        lost = [i for i, (q, f) in enumerate(zip(parts, fits, strict=True)) if q.kind != "spline" and f is None]
        if lost:
            parts = _give_way(parts, lost[0])
            continue
        fits = _tangent_everywhere(parts, fits)
        ends = [_joint(parts, fits, i, tolerance) for i in range(len(parts))]
        failed = next((i for i, e in enumerate(ends) if e is None), None)
        if failed is not None:
            parts = _ease(parts, failed)
            continue
        points = [e for e in ends if e is not None]
        pieces, bad = _pieces(parts, fits, points, tolerance)
        if bad is None:
            return pieces
        parts = _ease(parts, bad) if parts[bad].kind != "spline" else _only_splines(parts)
    raise InputError("The pieces of the outline could not be joined.")


def _tangent_everywhere(parts: list[_Part], fits: list[Fitted | None]) -> list[Fitted | None]:
    n = len(parts)
    solid = [i for i in range(n) if fits[i] is not None]
    place = {i: k for k, i in enumerate(solid)}
    joints = [
        (place[i], place[(i + 1) % n])
        for i in solid
        if (i + 1) % n in place and i != (i + 1) % n and not parts[i].sharp and "arc" in (parts[i].kind, parts[(i + 1) % n].kind)
    ]
    if not joints:
        return fits
    out = list(fits)
    for i, f in zip(solid, tangent([f for f in fits if f is not None], [parts[i].points for i in solid], joints), strict=True):
        out[i] = f
    return out


def _joint(parts: list[_Part], fits: list[Fitted | None], i: int, tolerance: float) -> Floats | None:
    """Where part ``i`` ends and the next begins; None if they do not meet near the given point."""
    a, b = fits[i], fits[(i + 1) % len(parts)]
    near = parts[i].points[-1]
    if a is None and b is None:
        return near
    if a is None:
        return b.foot(near) if b is not None else None
    if b is None:
        return a.foot(near)
    straight = isinstance(a, FitLine) and isinstance(b, FitLine)
    if parts[i].sharp or straight:
        found = cross(a, b, near)
        return found if found is not None and np.hypot(*(found - near)) <= 3.0 * tolerance else None
    found = touch(a, b, near)
    if found is None or max(abs(float(a.distance(found))), abs(float(b.distance(found)))) > 1e-7:
        return None
    return found


def _pieces(parts: list[_Part], fits: list[Fitted | None], ends: list[Floats], tolerance: float) -> tuple[list[Piece], int | None]:
    """The pieces, or the number of the first that does not follow its points."""
    n = len(parts)
    pieces: list[Piece | None] = [None] * n
    for i, (part, f) in enumerate(zip(parts, fits, strict=True)):
        start, end = ends[i - 1], ends[i]
        if f is None:
            continue
        if isinstance(f, FitLine):
            if (end - start) @ f.direction <= 0:
                return [], i
            piece: Piece = Line(start, end)
        else:
            a, b = start - f.centre, end - f.centre
            begin = float(np.arctan2(a[1], a[0]))
            sweep = float(np.remainder(f.turn * (np.arctan2(b[1], b[0]) - begin), 2.0 * np.pi)) * f.turn
            piece = Arc(f.centre, f.radius, begin, sweep)
        inner = part.points[1:-1]
        if len(inner) and shapely.distance(shapely.LineString(piece.points(0.02 * tolerance)), shapely.points(inner)).max() > tolerance:
            return [], i
        walk = np.hypot(*np.diff(part.points, axis=0).T)
        if abs(piece.length - walk.sum()) > 2.0 * walk.max() + 5.0 * tolerance + 0.2 * walk.sum():
            return [], i
        pieces[i] = piece
    for i, part in enumerate(parts):
        if pieces[i] is not None:
            continue
        before, after = pieces[i - 1], pieces[(i + 1) % n]
        t0 = before.end_tangent if before is not None and not parts[i - 1].sharp else None
        t1 = after.start_tangent if after is not None and not part.sharp else None
        row = np.concatenate([ends[i - 1][None], part.points[1:-1], ends[i][None]])
        pieces[i] = fit_spline(row, 0.8 * tolerance, t0, t1)
    return [q for q in pieces if q is not None], None


def _closed_spline(row: Floats, tolerance: float) -> Spline:
    """One smooth closed spline: the same tangent at both ends, taken from a fit over the seam."""
    m = min(8, (len(row) - 1) // 2)
    around = np.concatenate([row[-1 - m : -1], row[: m + 1]])
    seam = fit_spline(around, 0.5 * tolerance)
    u = seam.parameters(1e-3)
    at = u[int(np.argmin(np.hypot(*(seam.curve(u) - row[0]).T)))]
    direction = seam.curve.derivative()(at)
    direction = direction / np.hypot(*direction)
    return fit_spline(row, 0.8 * tolerance, direction, direction)


def _give_way(parts: list[_Part], i: int) -> list[_Part]:
    return _merged([replace(q, kind="spline") if k == i else q for k, q in enumerate(parts)])


def _ease(parts: list[_Part], i: int) -> list[_Part]:
    """Put a short spline in place of the joints of part ``i`` with lines and arcs it must touch; the whole part if it is too short."""
    n = len(parts)
    for joint in (i, (i - 1) % n):
        a, b = parts[joint], parts[(joint + 1) % n]
        if n == 1 or a.sharp or "spline" in (a.kind, b.kind):
            continue
        take = 2
        if len(a.points) < 2 * take + 2 or len(b.points) < 2 * take + 2:
            continue
        bridge = _Part("spline", np.concatenate([a.points[-1 - take :], b.points[1 : take + 1]]), False)
        out = list(parts)
        out[joint] = replace(a, points=a.points[:-take])
        out[(joint + 1) % n] = replace(b, points=b.points[take:])
        out.insert(joint + 1, bridge)
        return out
    near = [k for k in (i, (i + 1) % n) if parts[k].kind != "spline"]
    return _give_way(parts, min(near, key=lambda k: len(parts[k].points)) if near else i)

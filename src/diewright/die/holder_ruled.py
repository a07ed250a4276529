"""Cones and general developable surfaces through the heights wanted along an edge.

With the rulings in plan given, the surface is linear in the rates at which its planes turn (:mod:`diewright.die.holder_envelope`): one linear least squares, whose bounds keep every bend within
the radius allowed. Only the rulings are searched, by the simplex method of Nelder and Mead (1965): the apex of a cone, or the slopes of :data:`RULINGS` rulings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import lsq_linear, minimize

from diewright.die.holder import Holder
from diewright.die.holder_cone import Cone
from diewright.die.holder_envelope import Envelope, crossing, planes
from diewright.die.holder_fit import BEYOND, KNOTS, STEEPEST
from diewright.die.holder_shape import Floats, Profile
from diewright.errors import InputError

RULINGS = 4
"""Rulings that state a general developable surface."""
APART = 0.25
"""The straight lines come no closer together in the blankholder's area than this share of their distance at its middle: so far an apex or an edge of regression stays away."""
_STIFF = 1e-9  # of the penalty on bends where the heights say nothing about them
_RINGS, _RAYS = (0.75, 0.6, 0.4, 0.2), 40  # apexes tried first: half the area's diagonal over their distance, and directions
_STEP, _STARTS, _NONE = 0.05, 4, 1e6  # first step of the search and how often it starts, and what a surface leaves that cannot be had
_TURN = 15  # deg between directions of parallel rulings tried first


@dataclass(frozen=True, eq=False)
class Area:
    """Where the surface must serve: ``corners (4, 2)`` of the upright box in plan over which it is written as CAD, and ``spots (n, 2)`` spread over the blankholder, on which bend and slope are judged."""

    corners: Floats
    spots: Floats

    @property
    def middle(self) -> Floats:
        """Middle of the box ``(2,)``."""
        return np.asarray(self.corners.mean(axis=0))

    @property
    def reach(self) -> float:
        """Half the box's diagonal [mm]."""
        return 0.5 * float(np.hypot(*np.ptp(self.corners, axis=0)))


def area_of(landing: Floats, blank: Floats, beyond: float) -> Area:
    """The area of a surface that reaches ``beyond`` [mm] outside the blank ``(k, 2)`` and the landing line ``(j, 2)``."""
    hull = shapely.convex_hull(shapely.MultiPoint(np.vstack([landing, blank]))).buffer(beyond, quad_segs=4)
    x0, y0, x1, y1 = hull.bounds
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, 24), np.linspace(y0, y1, 24)), axis=-1).reshape(-1, 2)
    rim = np.asarray(hull.exterior.segmentize(0.005 * hull.length).coords)
    inside = grid[shapely.contains_xy(hull, grid[:, 0], grid[:, 1])]
    return Area(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), np.vstack([inside, rim]))


@dataclass(frozen=True, eq=False)
class Aim:
    """The fit's task: ``wanted (k,)`` heights [mm] at plan points ``xy (k, 2)`` with ``weight (k,)``, no bend tighter than ``radius`` [mm], over the ``area``."""

    xy: Floats
    wanted: Floats
    weight: Floats
    radius: float
    area: Area


@dataclass(frozen=True, eq=False)
class Lines:
    """Rulings in plan: the spine's ``origin (2,)`` and angle from +x [rad], and where and under which slopes they cross it."""

    origin: Floats
    angle: float
    at_spine: tuple[float, ...]
    slopes: tuple[float, ...]

    @property
    def axes(self) -> Floats:
        """Unit directions in plan along the spine and across it ``(2, 2)``."""
        c, s = math.cos(self.angle), math.sin(self.angle)
        return np.array([[c, s], [-s, c]])

    def frame(self, xy: Floats) -> tuple[Floats, Floats]:
        """``u`` along the spine and ``v`` across it [mm]."""
        off = (xy - self.origin) @ self.axes.T
        return off[:, 0], off[:, 1]


def fit_lines(aim: Aim, lines: Lines) -> tuple[Holder, float] | None:
    """The developable surface over given rulings nearest to the wanted heights, and the root mean square left [mm]; None where the lines come too close or it would be too steep."""
    slope = Profile(lines.at_spine, lines.slopes)
    (u, v), (su, sv), (cu, cv) = (lines.frame(p) for p in (aim.xy, aim.area.spots, aim.area.corners))
    reach = aim.area.reach
    low, high = float(cu.min()) - 2.0 * reach, float(cu.max()) + 2.0 * reach
    if (1.0 + slope.at(np.linspace(low, high, 121))[1][:, None] * cv < APART).any():
        return None
    s = crossing(slope, u, v, low, high)
    width = float(np.ptp(s))
    knots = np.linspace(s.min() - BEYOND * width, s.max() + BEYOND * width, KNOTS)
    spots = crossing(slope, su, sv, float(knots[0]), float(knots[-1]))
    m, steeper, _ = slope.at(spots)
    hats = np.eye(KNOTS)[:, 1:-1]
    share = np.column_stack([np.interp(spots, knots, hat) for hat in hats.T])
    # bend = turn (1 + m^2) / (1 + m' v), and the surface's own curvature is that at most
    most = np.where(share > 0, ((1.0 + m * m) / (1.0 + steeper * sv))[:, None], 0.0).max(axis=0)
    caps = width**2 / (aim.radius * np.maximum(most, 1e-12))
    made = planes(slope, knots, hats / width**2)
    a, b, c = np.moveaxis(made(np.clip(s, knots[0], knots[-1])), -1, 0)
    table = np.column_stack([a + b * u[:, None] + c * v[:, None], np.ones(len(u)), u / reach, v / reach])
    root = np.sqrt(aim.weight / aim.weight.sum())
    count = hats.shape[1]
    damping = math.sqrt(_STIFF / count) * np.eye(count, count + 3)
    rows, right = np.vstack([table * root[:, None], damping]), np.concatenate([aim.wanted * root, np.zeros(count)])
    q, r = np.linalg.qr(rows)
    free = np.full(3, np.inf)
    found = lsq_linear(r, q.T @ right, bounds=(np.append(-caps, -free), np.append(caps, free)), method="bvls").x
    spine, other = lines.axes
    tilt = (found[-2] * spine + found[-1] * other) / reach
    turns = tuple(float(x) for x in hats @ found[:count] / width**2)
    shape = Envelope(
        (float(lines.origin[0]), float(lines.origin[1])), (float(spine[0]), float(spine[1])), lines.at_spine, lines.slopes, tuple(map(float, knots)), turns
    )  # fmt: skip
    holder = Holder(float(found[count] - tilt @ lines.origin), shape, (float(tilt[0]), float(tilt[1])))
    turned = np.moveaxis(made(spots), -1, 0)[1:] @ found[:count] + (found[-2:] / reach)[:, None]
    if np.hypot(*turned).max() > STEEPEST:
        return None
    return holder, float(np.sqrt(np.average((aim.wanted - table @ found) ** 2, weights=aim.weight)))


def fit_cone(aim: Aim, apex: tuple[float, float] | None = None) -> tuple[Holder, float] | None:
    """The cone nearest to the wanted heights, about ``apex`` [mm, in plan] or the best of all, and the root mean square left [mm]; None if none can be had."""
    if apex is not None:
        return _as_cone(aim, _to_apex(aim.area, np.asarray(apex)))
    middle, reach = aim.area.middle, aim.area.reach

    def lines(q: Floats) -> Lines:  # q: towards the apex, half the diagonal over its distance; none is parallel
        return _to_apex(aim.area, middle + reach * q / max(float(q @ q), 1e-12))

    turn = 2.0 * math.pi * np.arange(_RAYS) / _RAYS
    first = np.array([[(f * math.cos(t), f * math.sin(t)) for t in turn] for f in _RINGS])
    left = np.array([[_left(aim, lines(q)) for q in ring] for ring in first])
    # the least of each valley: no greater than its neighbours on the same ring
    valley = (left < _NONE) & (left <= np.roll(left, 1, axis=1)) & (left <= np.roll(left, -1, axis=1))
    order = np.argsort(left[valley].round(6), kind="stable")[:_STARTS]
    best = _searched(aim, lines, list(first[valley][order]))
    return None if best is None else _as_cone(aim, lines(best[0]))


def fit_developable(aim: Aim, rulings: Sequence[tuple[float, float, float]] = ()) -> tuple[Holder, float] | None:
    """The general developable surface nearest to the wanted heights, over stated ``rulings`` (x, y [mm], angle from +x [deg]) or the best that are found, and the root mean square left [mm].

    The search starts at the best parallel lines and at the best apex. None if none can be had. Raises :class:`InputError` where the stated rulings do not lie beside each other.
    """
    if rulings:
        return fit_lines(aim, lines_of(rulings))
    middle, reach = aim.area.middle, aim.area.reach
    at = tuple(float(x) for x in np.linspace(-0.75, 0.75, RULINGS) * reach)

    def lines(angle: float) -> Callable[[Floats], Lines]:
        return lambda m: Lines(middle, angle, at, tuple(map(float, m)))

    starts: list[tuple[float, float, Floats]] = []  # what is left, angle of the spine, slopes
    zero = np.zeros(RULINGS)
    for degrees in range(0, 180, _TURN):
        tried = fit_lines(aim, lines(math.radians(degrees))(zero))
        if tried is not None:
            starts.append((tried[1], math.radians(degrees), zero))
    starts = sorted(starts, key=lambda p: round(p[0], 6))[:1]
    cone = fit_cone(aim)
    if cone is not None and isinstance(cone[0].shape, Cone):
        to = _to_apex(aim.area, np.asarray(cone[0].shape.apex))
        starts.append((cone[1], to.angle, np.asarray(Profile(to.at_spine, to.slopes).at(np.asarray(at))[0])))
    found = []
    for _, angle, start in starts:
        best = _searched(aim, lines(angle), [start])
        if best is not None:
            found.append((best[1], lines(angle)(best[0])))
    return fit_lines(aim, min(found, key=lambda p: round(p[0], 6))[1]) if found else None


def lines_of(rulings: Sequence[tuple[float, float, float]]) -> Lines:
    """Stated rulings as lines across a spine square to their mean direction. Raises :class:`InputError` where they cross or do not lie beside each other."""
    p = np.array([r[:2] for r in rulings], dtype=float)
    way = np.radians([r[2] for r in rulings])
    mean = 0.5 * math.atan2(float(np.sin(2 * way).sum()), float(np.cos(2 * way).sum()))
    lean = np.angle(np.exp(2j * (way - mean))) / 2.0
    if np.abs(lean).max() > math.radians(75.0):
        raise InputError(
            "the rulings stated run too differently.",
            where="faces.blankholder_ruling",
            help="State directions within 75 deg of their mean.",
        )
    angle = mean - 0.5 * math.pi
    spine, other = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    origin, slopes = p.mean(axis=0), -np.tan(lean)
    at = (p - origin) @ spine - slopes * ((p - origin) @ other)
    order = np.argsort(at)
    if len(at) < 2 or np.diff(at[order]).min() < 1.0:
        raise InputError(
            "the rulings stated do not lie beside each other.", where="faces.blankholder_ruling", help="State two at least that do not cross where the blank lies."
        )  # fmt: skip
    return Lines(origin, angle, tuple(map(float, at[order])), tuple(map(float, slopes[order])))


def _to_apex(area: Area, apex: Floats) -> Lines:
    """Lines through an apex in plan, their spine through the area's middle."""
    off = apex - area.middle
    far = max(float(np.hypot(*off)), 1e-6)
    at = (-area.reach, area.reach)
    return Lines(area.middle, math.atan2(off[1], off[0]) - 0.5 * math.pi, at, (area.reach / far, -area.reach / far))


def _as_cone(aim: Aim, lines: Lines) -> tuple[Holder, float] | None:
    """The surface over lines through one apex, written as the cone that it is."""
    found = fit_lines(aim, lines)
    if found is None or not isinstance(found[0].shape, Envelope):
        return None
    holder, left = found
    shape, (spine, other) = found[0].shape, lines.axes
    far = (lines.at_spine[1] - lines.at_spine[0]) / (lines.slopes[0] - lines.slopes[1])
    apex = lines.origin + far * other
    knots = np.asarray(shape.knots)
    top = holder.level + float(
        apex @ np.asarray(holder.tilt)
    )  # every plane runs through the apex, the first one too, which is level and tilt
    rise = (holder.height(lines.origin + knots[:, None] * spine) - top) / far
    cone = Cone(
        (float(apex[0]), float(apex[1])), (float(-other[0]), float(-other[1])), tuple(map(float, knots / far)), tuple(map(float, rise))
    )
    return Holder(top, cone), left


def _left(aim: Aim, lines: Lines) -> float:
    """What the surface over these lines leaves [mm]."""
    found = fit_lines(aim, lines)
    return _NONE if found is None else found[1]


def _searched(aim: Aim, lines: Callable[[Floats], Lines], starts: list[Floats]) -> tuple[Floats, float] | None:
    """The parameters that leave least, searched from each of ``starts``, and what they leave [mm]; None where nothing serves."""
    best: tuple[Floats, float] | None = None
    for start in starts:
        simplex = np.vstack([start, start + _STEP * np.eye(len(start))])
        options = {"initial_simplex": simplex, "maxfev": 50 * len(start), "xatol": 1e-4, "fatol": 1e-5}
        found = minimize(lambda q: _left(aim, lines(q)), start, method="Nelder-Mead", options=options)
        if found.fun < (best[1] - 1e-6 if best else _NONE):
            best = (found.x, float(found.fun))
    return best

"""Nesting of blanks on a strip, and of strips on a sheet.

Three layouts repeat along the strip with a pitch ``P``:

- ``one-up``: one row, every blank the same way round;
- ``two-up``: two rows, all the same way round, the second row shifted along and across by what fits;
- ``head-to-tail``: every second blank turned by 180 degrees, in one interlocking row or in two rows.

For an angle ``phi`` of the feed in the blank and a shift ``b`` across, the no-fit chords give the least pitch in closed form:
``P = max(p, R(b) - L(b))`` with ``p`` the pitch of a blank against its own copy and ``L, R`` the outermost contacts of the pair on the line
``y = b``. The metal per blank ``P W / n`` is searched over ``b`` and ``phi``: a grid with the directions of all hull edges (where the
width has its kinks), then nested zooms. No random numbers: the same outline gives the same layout. Layouts that a blank could
reach only by being lifted into a pocket of its neighbour are not looked for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from diewright.errors import InputError, SolveError
from diewright.geometry.nofit import chords, convolution, ring, signed_area, turned
from diewright.watch import Watch

Floats = NDArray[np.float64]
WEB_RULE = "max(1.25 t, 0.8 mm, 0.5 % of the longest side up to 3 mm): common practice"
LAYOUTS = ("one-up", "two-up", "head-to-tail")

_ANGLE_STEP = np.deg2rad(3.0)
_LEVELS = 33
_ZOOMS = 7
_STRAIGHT_FOR = 2e-4  # share of metal that a straight feed direction may cost against the best angle
_CLEAR = 1e-7  # mm; rows that only touch along a straight edge do not block each other


@dataclass(frozen=True)
class Layout:
    """One layout. Lengths [mm]; ``angle`` [rad] of the feed direction in the blank's own axes.

    ``turns`` [rad] and ``shifts`` (n, 2) [mm] place the ``n`` blanks of one pitch in strip axes: x along the feed,
    y across from the lower edge of the strip. A blank is turned first about its own origin, then shifted.
    """

    layout: str
    angle: float
    pitch: float
    strip_width: float
    web: float
    edge_web: float
    area: float
    turns: tuple[float, ...]
    shifts: tuple[tuple[float, float], ...]

    @property
    def parts(self) -> int:
        """Blanks per pitch."""
        return len(self.turns)

    @property
    def metal(self) -> float:
        """Strip per blank [mm2]."""
        return self.pitch * self.strip_width / self.parts

    @property
    def utilisation(self) -> float:
        """Blank area over strip area, 0 to 1."""
        return self.area / self.metal

    def placed(self, outline: Floats, pitches: int) -> Floats:
        """Outlines ``(pitches * parts, k, 2) [mm]`` in strip axes, pitch by pitch."""
        one = np.stack([turned(outline, turn) + np.array(shift) for turn, shift in zip(self.turns, self.shifts, strict=True)])
        step = np.arange(pitches)[:, None, None, None] * np.array([self.pitch, 0.0])
        return (one[None] + step).reshape(-1, *outline.shape)


@dataclass(frozen=True)
class Webs:
    """Bridges: ``web`` between blanks and ``edge(height)`` to the strip's edge, with where the rule comes from."""

    web: float
    edge_fixed: float | None
    thickness: float
    source: str

    def edge(self, height: float) -> float:
        """Bridge to the edge [mm] for a blank that is ``height`` [mm] high across the strip."""
        return self.edge_fixed if self.edge_fixed is not None else self.thickness + 0.015 * height


def webs(thickness: float, longest: float, web: float | None = None, edge_web: float | None = None) -> Webs:
    """Bridges [mm] for a sheet ``thickness`` and a blank whose longest side is ``longest`` [mm]; stated ones win.

    Between blanks ``B = max(1.25 t, 0.8 mm, 0.005 L up to 3 mm)`` (common practice); at the edge ``A = t + 0.015 D``, ``D`` the blank across the
    strip (course-book rule: Donaldson, LeCain, Goold, Tool Design; from memory).
    """
    if not (thickness > 0 and longest > 0):
        raise InputError("Webs need a thickness and a blank size above zero.")
    said = []
    if web is None:
        said.append(f"web {WEB_RULE}")
    else:
        said.append("web as stated")
    if edge_web is None:
        said.append("edge web t + 0.015 D, D across the strip: Donaldson, LeCain, Goold, Tool Design (from memory)")
    else:
        said.append("edge web as stated")
    return Webs(rule_web(thickness, longest) if web is None else web, edge_web, thickness, "; ".join(said))


def rule_web(thickness: float, longest: float) -> float:
    """The rule's bridge between blanks [mm], see :func:`webs`."""
    return max(1.25 * thickness, 0.8, min(0.005 * longest, 3.0))


class Nester:
    """The layouts of one outline.

    ``outline`` ``(n, 2) [mm]``; ``area`` [mm2] of the true blank if it differs from the polygon's; ``slack`` [mm] is added to every
    web for the distance between polygon and true outline. ``angles`` [rad] is the allowed range of the feed direction in blank axes.
    """

    def __init__(
        self, outline: Floats, bridges: Webs, *, area: float | None = None, slack: float = 0.0,
        angles: tuple[float, float] = (-np.pi / 2, np.pi / 2), width_max: float = np.inf,
    ) -> None:  # fmt: skip
        given = ring(outline)
        self.origin = given.mean(axis=0)
        self.outline = given - self.origin
        self.area = signed_area(given) if area is None else area
        self.bridges = bridges
        self.gap = bridges.web + slack
        self.slack = slack
        self.width_max = width_max
        self.same = convolution(self.outline, self.outline)
        self.opposed = convolution(self.outline, -self.outline)
        hull = self.outline[ConvexHull(self.outline).vertices]
        self.hull = hull
        self.angles = _candidate_angles(hull, *angles)
        self.range = angles

    def best(self, layout: str, watch: Watch | None = None) -> Layout | None:
        """The layout with the least metal per blank that the strip width allows; None if none fits.

        Raises :class:`InputError` for an unknown layout and :class:`SolveError` if the checked layout breaks its own webs.
        """
        if layout not in LAYOUTS:
            raise InputError(f"There is no layout called '{layout}'.", help=f"Known: {', '.join(LAYOUTS)}.")
        watch = watch or Watch()
        coarse = []
        for i, phi in enumerate(self.angles):
            watch.step(f"nesting {layout}", i, len(self.angles))
            coarse.append(self._metal(layout, phi, zooms=1)[0])
        values = np.array(coarse)
        if not np.isfinite(values).any():
            return None
        best: tuple[float, float] = (np.inf, 0.0)
        for i in _lowest_valleys(values, 4):
            watch.check()
            low, high = self.angles[max(i - 1, 0)], self.angles[min(i + 1, len(self.angles) - 1)]
            phi = _zoom(lambda angle: self._metal(layout, angle, zooms=3)[0], low, self.angles[i], high)
            for angle in (self.angles[i], phi):
                metal = self._metal(layout, angle)[0]
                if metal < best[0] * (1.0 - 1e-9):
                    best = (metal, angle)
        # An odd angle must earn its trouble: straight along or across stays where it costs next to nothing.
        for angle in _straight(*self.range):
            metal = self._metal(layout, angle)[0]
            if metal <= best[0] * (1.0 + _STRAIGHT_FOR):
                best = (metal, angle)
                break
        found = self._build(layout, best[1])
        self._check(found)
        return found

    def narrowest(self) -> tuple[float, float]:
        """Least strip width [mm] for one row and its feed angle [rad], whatever the limit."""
        widths = [self._width(phi)[0] for phi in self.angles]
        i = int(np.argmin(widths))
        return widths[i], float(self.angles[i])

    def _width(self, phi: float) -> tuple[float, float, float, float]:
        y = self.hull @ np.array([-np.sin(phi), np.cos(phi)])
        low, high = float(y.min()), float(y.max())
        edge = self.bridges.edge(high - low) + 0.5 * self.slack
        return high - low + 2.0 * edge, low, high, edge

    def _metal(self, layout: str, phi: float, zooms: int = _ZOOMS) -> tuple[float, float, float]:
        """Least ``P W / n`` [mm2] at the feed angle, with its shift across and pitch [mm]."""
        width, low, high, edge = self._width(phi)
        same = turned(self.same, -phi)
        own = float(chords(same, np.zeros(1), self.gap)[1][0])
        if layout == "one-up":
            return (own * width if width <= self.width_max else np.inf), 0.0, own
        if layout == "two-up":
            pair, a, b, b_low, b_high = same, low, high, 0.0, high - low + self.gap + _CLEAR
        else:
            pair, a, b, b_low, b_high = turned(self.opposed, -phi), -high, -low, 2 * low - self.gap - _CLEAR, 2 * high + self.gap + _CLEAR

        def metal(shift: Floats) -> tuple[Floats, Floats]:
            left, right = chords(pair, shift, self.gap)
            pitch = np.maximum(own, np.where(right > left, right - left, 0.0))
            w = np.maximum(high, b + shift) - np.minimum(low, a + shift) + 2.0 * edge
            return np.where(w <= self.width_max, 0.5 * pitch * w, np.inf), pitch

        start, end = b_low, b_high
        best = (np.inf, 0.0, own)
        for zoom in range(zooms):
            shift = np.linspace(start, end, _LEVELS if zoom else 2 * _LEVELS - 1)
            value, pitch = metal(shift)
            i = int(np.argmin(value))
            if value[i] < best[0]:
                best = (float(value[i]), float(shift[i]), float(pitch[i]))
            start, end = shift[max(i - 1, 0)], shift[min(i + 1, len(shift) - 1)]
        return best

    def _build(self, layout: str, phi: float) -> Layout:
        width, low, high, edge = self._width(phi)
        _, across, pitch = self._metal(layout, phi)
        turns, shifts = [-phi], [(0.0, 0.0)]
        bottom, top = low, high
        if layout != "one-up":
            other = layout == "head-to-tail"
            pair = turned(self.opposed if other else self.same, -phi)
            left, right = (float(v[0]) for v in chords(pair, np.array([across]), self.gap))
            # What the pitch has in excess of the pair's contact is shared evenly between both sides.
            along = right + 0.5 * (pitch - (right - left)) if right > left else 0.0
            turns.append(np.pi - phi if other else -phi)
            shifts.append((along, across))
            a, b = (-high, -low) if other else (low, high)
            bottom, top = min(low, a + across), max(high, b + across)
        width = top - bottom + 2.0 * edge
        # Turning is about the blank's own origin: carry the centring over into the shifts.
        placed = []
        for turn, (x, y) in zip(turns, shifts, strict=True):
            centre = turned(self.origin[None], turn)[0]
            placed.append((x - centre[0], y - centre[1] + edge - bottom))
        first = min(float((turned(self.origin + self.outline, t)[:, 0] + s[0]).min()) for t, s in zip(turns, placed, strict=True))
        return Layout(
            layout, float(phi), pitch, width, self.bridges.web, edge - 0.5 * self.slack, self.area,
            tuple(float(t) for t in turns), tuple((float(x - first + edge), float(y)) for x, y in placed),
        )  # fmt: skip

    def _check(self, found: Layout) -> None:
        """Measure what was built: every pair of neighbours over four pitches, and both edges."""
        import shapely

        outlines = found.placed(self.outline + self.origin, 4)
        shapes = shapely.polygons(outlines)
        count = found.parts
        for i in range(count):
            gap = shapely.distance(shapes[i], np.delete(shapes, np.s_[: i + 1])).min() if len(shapes) > i + 1 else np.inf
            if gap < self.gap - 1e-6:
                raise SolveError(
                    f"The layout {found.layout} leaves {gap:.6f} mm between blanks where {self.gap:.6f} mm are wanted.",
                    help="Simplify the outline.",
                )
        low, high = outlines[..., 1].min(), outlines[..., 1].max()
        if low < found.edge_web - 1e-6 or found.strip_width - high < found.edge_web - 1e-6:
            raise SolveError(
                f"The layout {found.layout} does not keep its edge web of {found.edge_web:.4f} mm.", help="Simplify the outline."
            )


def on_length(layout: Layout, outline: Floats, length: float) -> int:
    """Blanks on a strip cut to ``length`` [mm], with the edge web at both ends."""
    total = 0
    for turn, shift in zip(layout.turns, layout.shifts, strict=True):
        x = turned(outline, turn)[:, 0] + shift[0]
        room = length - layout.edge_web - float(x.max())
        if room >= -1e-9:
            total += int(np.floor((room + 1e-9) / layout.pitch)) + 1
    return total


def _candidate_angles(hull: Floats, low: float, high: float) -> Floats:
    edges = np.roll(hull, -1, axis=0) - hull
    long = np.hypot(edges[:, 0], edges[:, 1]) > 0.02 * np.ptp(hull, axis=0).max()
    direction = np.arctan2(edges[long, 1], edges[long, 0])
    turns = np.concatenate([direction, direction + 0.5 * np.pi])
    # Layouts repeat after half a turn: bring every direction into the allowed window.
    turns = low + np.remainder(turns - low, np.pi)
    count = max(int(np.ceil((high - low) / _ANGLE_STEP)), 2) if high > low else 0
    grid = np.linspace(low, high, count + 1) if count else np.array([low])
    inside = turns[turns <= high]
    found = np.unique(np.round(np.concatenate([grid, inside, _straight(low, high)]), 12))
    return np.clip(found, low, high)


def _straight(low: float, high: float) -> list[float]:
    """The rolling direction (the middle of the window), the blank's own axes and what stands across them, inside the window."""
    middle = 0.5 * (low + high)
    found = [middle, 0.0, middle + 0.5 * np.pi, 0.5 * np.pi]
    return [float(a) for a in (low + np.remainder(np.array(found) - low, np.pi)) if a <= high]


def _lowest_valleys(values: Floats, count: int) -> list[int]:
    padded = np.concatenate([[np.inf], values, [np.inf]])
    is_low = (padded[1:-1] <= padded[:-2]) & (padded[1:-1] <= padded[2:]) & np.isfinite(values)
    valleys = np.flatnonzero(is_low)
    return [int(i) for i in valleys[np.argsort(values[valleys], kind="stable")][:count]]


def _zoom(value: Callable[[float], float], low: float, middle: float, high: float, rounds: int = 5) -> float:
    """Least point of a function with kinks in ``low..high`` by nested grids of nine points."""
    best = (value(middle), middle)
    for _ in range(rounds):
        grid = np.linspace(low, high, 9)
        tried = [(value(float(x)), float(x)) for x in grid]
        least = min(tried)
        if least[0] < best[0]:
            best = least
        step = grid[1] - grid[0]
        low, high = max(best[1] - step, low), min(best[1] + step, high)
        if high - low < 1e-7:
            break
    return best[1]


def nest(
    outline: Floats, bridges: Webs, *, layouts: tuple[str, ...] = LAYOUTS, area: float | None = None, slack: float = 0.0,
    angles: tuple[float, float] = (-np.pi / 2, np.pi / 2), width_max: float = np.inf, watch: Watch | None = None,
) -> tuple[Layout, ...]:  # fmt: skip
    """The best layout of each kind that fits the strip, least metal first (see :class:`Nester` for the parameters)."""
    nester = Nester(outline, bridges, area=area, slack=slack, angles=angles, width_max=width_max)
    found = [nester.best(name, watch) for name in layouts]
    return tuple(sorted((f for f in found if f is not None), key=lambda f: (round(f.metal, 6), f.parts)))

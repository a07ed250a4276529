"""An outline moved until the formed edge lies on the wanted line. Knows no job: it is given a forming.

A run gives for every node of the sheet where it lay in the flat and where it lies formed. The wanted line is carried back by this to the flat blank, each of its points for itself: inside the formed sheet by the weights in its triangle, beyond its edge by the gradient there
(least squares over the nodes near it, in the sheet's tangent plane). What comes out is the outline of the next run: right in distance and direction where the sheet flows as it did, so the step is repeated until it does (successive substitution; a fixed point is a blank whose edge lands on the line).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.errors import InputError, SolveError
from diewright.geometry.cut_line import inside_line
from diewright.geometry.mesh import TriMesh
from diewright.geometry.outline import Fit, fit_outline
from diewright.trim.lines.mapping import spots
from diewright.trim.lines.stated import dense

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]

NEAR = 14
"""Nodes over which the gradient at the edge is taken."""
SMOOTH = 0.3
"""Of the tolerance: the outline is fitted by lines, arcs and splines within this of the carried points, so that it can be cut."""
CHORD = 0.02
EASE = 1.5
"""Edges of the mesh over which the outline's move is averaged."""
LEAST = 0.2
"""Share of the way below which the search ends: three runs that came no nearer."""


@dataclass(frozen=True, eq=False)
class Formed:
    """A blank before and after: ``flat`` and ``drawn`` with the same triangles, ``ring (k,)`` nodes of its outer edge in order."""

    flat: TriMesh
    drawn: TriMesh
    ring: Ints

    @property
    def edge(self) -> float:
        """Median edge of the mesh along the outline [mm]."""
        p = self.flat.points[self.ring]
        return float(np.median(np.linalg.norm(np.roll(p, -1, axis=0) - p, axis=1)))


@dataclass(frozen=True, eq=False)
class Round:
    """One run: the ``outline (j, 2)`` it was made with, what came of it, and how far its edge nodes lie past the wanted line ``over (k,)`` [mm], negative short of it. ``whole``: with the metal that is trimmed off later."""

    outline: Floats
    formed: Formed
    over: Floats
    whole: bool

    @property
    def max_mm(self) -> float:
        """Largest distance from the line [mm]."""
        return float(np.abs(self.over).max())

    @property
    def rms_mm(self) -> float:
        """Distance averaged along the edge as a square [mm]."""
        edge = self.formed.drawn.points[self.formed.ring]
        step = np.linalg.norm(np.roll(edge, -1, axis=0) - edge, axis=1)
        w = 0.5 * (step + np.roll(step, 1))
        return float(np.sqrt((w * self.over**2).sum() / w.sum()))


@dataclass(frozen=True, eq=False)
class Developed:
    """All runs and the number of the ``best``; the ``fit`` of its outline (None where it is the one that was begun with), and why the last run broke off (empty: none did)."""

    rounds: tuple[Round, ...]
    best: int
    fit: Fit | None
    broke: str

    @property
    def chosen(self) -> Round:
        """The run that came nearest."""
        return self.rounds[self.best]


Form = Callable[[Floats], Formed]
"""Forms a blank of that outline (j, 2)."""


def develop(
    form: Form, outline: Floats, wanted: Floats, *, tolerance: float, runs: int, whole: Floats | None = None, listen: Callable[[Round], None] = lambda r: None
) -> Developed:  # fmt: skip
    """Run, carry the ``wanted (k, 3)`` line back, run again; stops below the ``tolerance`` [mm], after ``runs``, or when three runs in a row have come no nearer. A run that comes no nearer is gone back from: the next goes half as far from the best.

    ``whole``: an outline with the metal that is trimmed off later; it is run first, for there the line lies inside the sheet. Raises :class:`InputError` for numbers out of range, :class:`SolveError` where the carried outline crosses itself, and whatever ``form`` raises at the first developed blank; a later one that breaks off ends the search.
    """
    if not (np.isfinite(tolerance) and tolerance > 0) or runs < 1:
        raise InputError(f"{runs} runs to {tolerance:g} mm: at least one, and more than 0 mm.", where="trim.edge_tolerance")
    now = np.asarray(outline if whole is None else whole, dtype=np.float64)
    fit: Fit | None = None
    rounds: list[Round] = []
    fits: list[Fit | None] = []
    broke, share = "", 1.0
    for k in range(runs):
        try:
            formed = form(now)
        except SolveError as error:
            if not rounds or rounds[-1].whole:
                raise
            broke = error.what  # what was reached before is kept and told
            break
        rounds.append(Round(now, formed, edge_over(formed, wanted), whole is not None and k == 0))
        fits.append(fit)
        listen(rounds[-1])
        at = _nearest(rounds)
        share = 1.0 if at == k else 0.5 * share  # past the mark: go back, and half as far
        if not rounds[at].whole and (rounds[at].max_mm <= tolerance or share < LEAST):
            break
        if k + 1 < runs:
            begin = rounds[at]
            before = outline if begin.whole else begin.outline
            fit = smooth(eased(carry_back(begin.formed, wanted), before, EASE * begin.formed.edge, share), tolerance)
            now = fit.outline.points(CHORD)
    best = _nearest(rounds)
    return Developed(tuple(rounds), best, fits[best], broke)


def _nearest(rounds: list[Round]) -> int:
    """Number of the run whose edge came nearest; one with the metal that is trimmed off counts only where there is no other."""
    judged = [k for k, r in enumerate(rounds) if not r.whole] or [0]
    return min(judged, key=lambda k: rounds[k].max_mm)


def eased(carried: Floats, before: Floats, wave: float, share: float = 1.0) -> Floats:
    """A carried outline ``(j, 2)`` whose way from the outline ``before (i, 2)`` is averaged along it (Gauss, standard deviation ``wave`` [mm]): what is shorter than an edge of the mesh is noise of the mesh. Detail of the outline before stays. ``share`` of the way is gone."""
    ring = shapely.LinearRing(before)
    foot = shapely.get_coordinates(shapely.line_interpolate_point(ring, shapely.line_locate_point(ring, shapely.points(carried))))
    step = np.linalg.norm(np.roll(carried, -1, axis=0) - carried, axis=1)
    at, length = np.concatenate([[0.0], np.cumsum(step)[:-1]]), float(step.sum())
    gap = np.abs(at[:, None] - at[None])
    gap = np.minimum(gap, length - gap)
    weight = np.exp(-0.5 * (gap / wave) ** 2) * (0.5 * (step + np.roll(step, 1)))[None]
    return np.asarray(foot + share * (weight @ (carried - foot)) / weight.sum(axis=1, keepdims=True))


def edge_over(formed: Formed, wanted: Floats) -> Floats:
    """How far the formed edge's nodes lie past the wanted line along the sheet ``(k,)`` [mm]."""
    drawn = formed.drawn
    # the whole sheet says which side is inside: round a wall the normals along the edge do not
    return -inside_line(drawn.points, wanted, drawn.point_normals, triangles=drawn.triangles)[formed.ring]


def carry_back(formed: Formed, line: Floats, step: float | None = None) -> Floats:
    """A closed line ``(k, 3)`` on or beyond the formed sheet as places in the flat ``(j, 2)``; points are added so that none lie farther apart than ``step`` (an edge of the blank's)."""
    edge = formed.drawn.points[formed.ring]
    if step is None:
        step = float(np.median(np.linalg.norm(np.roll(edge, -1, axis=0) - edge, axis=1)))
    return flat_places(formed, dense(line, step))


def flat_places(formed: Formed, points: Floats) -> Floats:
    """Material points ``(k, 2)`` in the flat of places ``(k, 3)`` on the formed sheet; past its edge by the gradient there."""
    found = spots(formed.drawn, points)
    out = found.on(formed.flat)[:, :2]
    past = found.rim & (found.off > 1e-6)
    if past.any():
        out[past] += _beyond(formed, found.on(formed.drawn)[past], points[past])
    return out


def _beyond(formed: Formed, foot: Floats, points: Floats) -> Floats:
    """The way from the edge's ``foot (k, 3)`` on to ``points`` in the flat: ``dX = A d`` with ``A (2 x 2)`` fitted to the nodes near it in the tangent plane."""
    drawn, flat = formed.drawn, formed.flat
    used = np.unique(drawn.triangles)
    _, near = cKDTree(drawn.points[used]).query(foot, k=min(NEAR, len(used)))
    out = np.zeros((len(foot), 2))
    for k in range(len(foot)):
        nodes = used[near[k]]
        normal = drawn.point_normals[nodes].mean(axis=0)
        axes = np.linalg.svd(normal[None])[2][1:]  # two unit vectors square to the normal
        x = (drawn.points[nodes] - foot[k]) @ axes.T
        matrix = np.column_stack([x, np.ones(len(nodes))])
        got, *_ = np.linalg.lstsq(matrix, flat.points[nodes, :2], rcond=None)
        out[k] = ((points[k] - foot[k]) @ axes.T) @ got[:2]
    return out


def smooth(outline: Floats, tolerance: float) -> Fit:
    """Lines, arcs and splines within a share of the tolerance of the carried points. Raises :class:`SolveError` where they cross themselves."""
    try:
        return fit_outline(outline, max(SMOOTH * tolerance, 0.02))
    except (SolveError, InputError) as error:
        raise SolveError(
            f"the outline carried back from the formed edge cannot be drawn: {error.what}", where="developed",
            help="Use a finer mesh (trim.edge_quality), or a wider trim.edge_tolerance.",
        ) from None  # fmt: skip


def mean_place(points: Floats) -> Floats:
    """Middle of a closed line by its length."""
    step = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    w = 0.5 * (step + np.roll(step, 1))
    return np.asarray((w[:, None] * points).sum(axis=0) / w.sum())

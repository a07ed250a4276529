"""Two copies of a part joined by a bridge, as one skin: the designer's faces twice, and the bridge as one panel over the same sections that its triangles came from.

    X(u, w) = h00 a(u) + h10 l(u) ta(u) + h01 b(u) - h11 l(u) tb(u),   l = |b - a|,

Hermite's cubics across, ``a`` and ``b`` the parts' own edges at the share ``u`` by which the runs are matched, ``ta`` and ``tb`` the directions in which the sections leave, laid into the parts' tangent planes.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from diewright.die.brep.kernel import curve2, line2, points2
from diewright.die.brep.model import Panel, Trim, normalised
from diewright.die.brep.skin import Skin
from diewright.die.brep.spline import axis, fit_curve
from diewright.errors import SolveError

Floats = NDArray[np.float64]
Edge = tuple[int, Trim]

_DENSE = 200  # points along a CAD edge
_FOOT = 0.1  # mm: run points that lie farther from the part's edge do not belong to it
_SAME = 1e-3  # mm: a run that ends nearer to a corner of the CAD ends there
_STEP = 1e-4  # of the share: for differences along the run


def joined(skin: Skin, outlines: Sequence[Sequence[Edge]], runs: Sequence[Floats]) -> Skin:
    """The skin with the bridge between the ``outlines`` of two copies; ``runs``: two arrays ``(n, 7)`` of places on them, share and direction of the sections. Raises :class:`SolveError` where a run does not lie on the part's edge."""
    panels = list(skin.panels)
    sides, rest = [], []
    for outline, run in zip(outlines, runs, strict=True):
        chain = _Chain(panels, _ordered(panels, outline))
        cut = chain.cut(run[0, :3], run[-1, :3])
        inner = _between(panels, _ordered(panels, cut), run)
        sides.append(_Side(panels, inner, run))
        keys = {trim.key for _, trim in inner}
        rest += [(i, trim) for i, trim in cut if trim.key not in keys]
    number = len(panels)
    panel, ends = _bridge(sides[0], sides[1])
    panels.append(panel)
    share = (np.arange(24) + 0.5) / 24
    uu, ww = (g.ravel() for g in np.meshgrid(share, share, indexing="ij"))
    spread = panel.base.points(uu, ww)[0], np.ones(len(uu))
    return Skin(tuple(panels), (*skin.inside, spread), (*rest, *((number, e) for e in ends)), skin.holes, skin.closed_holes)


def _ordered(panels: list[Panel], edges: Sequence[Edge]) -> list[Edge]:
    """The edges one behind the other, the part on their left."""
    start = {_foot(panels, e): e for e in edges}
    out = [edges[0]]
    while len(out) < len(edges):
        out.append(start[_head(panels, out[-1])])
    return out


def _forward(panels: list[Panel], edge: Edge) -> bool:
    """True if the edge's own direction has the part on its left, seen from above."""
    return edge[1].backwards == panels[edge[0]].down


def _foot(panels: list[Panel], edge: Edge) -> Hashable:
    return edge[1].ends[0] if _forward(panels, edge) else edge[1].ends[1]


def _head(panels: list[Panel], edge: Edge) -> Hashable:
    return edge[1].ends[1] if _forward(panels, edge) else edge[1].ends[0]


def _middle(panel: Panel, trim: Trim, t: Floats) -> tuple[Floats, Floats]:
    p, n = panel.base.points(*points2(trim.curve, t).T)
    return p + panel.rise * n, n


class _Chain:
    """A copy's outline, cut where the bridge begins and ends."""

    def __init__(self, panels: list[Panel], edges: list[Edge]) -> None:
        self.panels, self.edges = panels, edges

    def cut(self, *places: Floats) -> list[Edge]:
        """The edges, those that a place lies inside of in two."""
        for at in places:
            found = []
            for i, trim in self.edges:
                t, away = nearest(self.panels[i], trim, at)
                found.append((away, t))
            k = int(np.argmin([a for a, _ in found]))
            if found[k][0] > _FOOT:
                raise SolveError(
                    f"the bridge begins {found[k][0]:.2g} mm away from the edge of the part's CAD.",
                    where="faces",
                    help="Work the stage 'shape' again.",
                )
            i, trim = self.edges[k]
            ends = _middle(self.panels[i], trim, np.array([trim.first, trim.last]))[0]
            if np.linalg.norm(ends - at, axis=1).min() > _SAME:
                self._split(i, trim, found[k][1])
        return self.edges

    def _split(self, i: int, trim: Trim, t: float) -> None:
        corner: Hashable = ("split", trim.key, round(t, 9))
        one = replace(trim, key=("first", trim.key, t), ends=(trim.ends[0], corner), last=t)
        two = replace(trim, key=("last", trim.key, t), ends=(corner, trim.ends[1]), first=t)
        pair = (two, one) if trim.backwards else (one, two)
        panel = self.panels[i]
        loops = tuple(tuple(x for old in loop for x in (pair if old.key == trim.key else (old,))) for loop in panel.loops)
        self.panels[i] = replace(panel, loops=loops)
        self.edges = [x for j, old in self.edges for x in ([(j, one), (j, two)] if old.key == trim.key else [(j, old)])]


def nearest(panel: Panel, trim: Trim, at: Floats) -> tuple[float, float]:
    """Parameter of the place of an edge nearest to a point, and its distance [mm]."""
    low, high = trim.first, trim.last
    for _ in range(6):
        t = np.linspace(low, high, 65)
        away = np.linalg.norm(_middle(panel, trim, t)[0] - at, axis=1)
        k = int(np.argmin(away))
        low, high = float(t[max(k - 1, 0)]), float(t[min(k + 1, 64)])
    return float(t[k]), float(away[k])


def _between(panels: list[Panel], edges: list[Edge], run: Floats) -> list[Edge]:
    """The edges that the run goes along, in its order: a stretch of the outline, one way or the other."""
    middles = [_middle(panels[i], trim, np.array([0.5 * (trim.first + trim.last)]))[0][0] for i, trim in edges]
    line = run[:, :3]
    step = np.diff(line, axis=0)
    on = []
    for m in middles:
        share = np.clip(np.einsum("ij,ij->i", m - line[:-1], step) / np.einsum("ij,ij->i", step, step), 0.0, 1.0)
        on.append(float(np.linalg.norm(line[:-1] + share[:, None] * step - m, axis=1).min()))
    # chords of the mesh lie inside the edge by what it was meshed with
    reach = max(2.0 * _FOOT, 0.3 * float(np.linalg.norm(step, axis=1).max()))
    chosen = [e for e, away in zip(edges, on, strict=True) if away < reach]
    start = {_foot(panels, e): e for e in chosen}
    heads = {_head(panels, e) for e in chosen}
    first = [e for e in chosen if _foot(panels, e) not in heads]
    if len(first) != 1:
        raise SolveError(
            "the bridge's edge is not one stretch of the part's CAD edge.", where="faces", help="Work the stage 'shape' again."
        )
    out = [first[0]]
    while _head(panels, out[-1]) in start:
        out.append(start[_head(panels, out[-1])])
    i, trim = out[0]
    begin = _middle(panels[i], trim, np.array([trim.first if _forward(panels, out[0]) else trim.last]))[0][0]
    turned = np.linalg.norm(begin - line[0]) > np.linalg.norm(begin - line[-1])
    return out[::-1] if turned else out


class _Side:
    """One run: its edges, and by share the points, normals up and directions of the sections."""

    def __init__(self, panels: list[Panel], edges: list[Edge], run: Floats) -> None:
        self.panels, self.edges = panels, edges
        self.senses, self.ways, total = [], [], 0.0
        tip = run[0, :3]
        for i, trim in edges:
            t = np.linspace(trim.first, trim.last, _DENSE)
            p = _middle(panels[i], trim, t)[0]
            forward = bool(np.linalg.norm(p[0] - tip) <= np.linalg.norm(p[-1] - tip))
            gone = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1))])
            along = total + (gone if forward else gone[-1] - gone)
            self.senses.append(forward)
            self.ways.append((t, along))
            total += float(gone[-1])
            tip = p[-1] if forward else p[0]
        self.total = total
        at = self._places(run[:, :3])
        keep = np.concatenate([[True], (np.diff(at) > 1e-6) & (np.diff(run[:, 3]) > 1e-9)])
        at, share, way = at[keep], run[keep, 3], run[keep, 4:]
        at[0], at[-1], share[0], share[-1] = 0.0, total, 0.0, 1.0
        self.way_of, self.direction = PchipInterpolator(share, at), PchipInterpolator(share, way)
        fine = np.unique(np.concatenate([share, np.linspace(0.0, 1.0, 4001)]))
        self._fine, self._along = fine, np.maximum.accumulate(self.way_of(fine))

    def _places(self, points: Floats) -> Floats:
        out = np.zeros(len(points))
        for k, at in enumerate(points):
            found = [(*nearest(self.panels[i], trim, at)[::-1], j) for j, (i, trim) in enumerate(self.edges)]
            away, t, j = min(found)
            if away > _FOOT:
                spot = ", ".join(f"{v:.0f}" for v in at)
                raise SolveError(
                    f"the bridge begins {away:.2g} mm away from the edge of the part's CAD at ({spot}) mm.",
                    where="faces",
                    help="Work the stage 'shape' again.",
                )
            out[k] = np.interp(t, *self.ways[j])
        return np.maximum.accumulate(out)

    def share_of(self, j: int, t: Floats) -> Floats:
        """Share at parameters of an edge."""
        way = np.interp(t, *self.ways[j])
        s = np.interp(way, self._along, self._fine)
        for _ in range(4):
            s = np.clip(s - (self.way_of(s) - way) / np.maximum(self.way_of(s, 1), 1e-9), 0.0, 1.0)
        return np.asarray(s)

    def at(self, s: Floats) -> tuple[Floats, Floats, Floats]:
        """Points, normals up and unit directions ``(n, 3)`` at shares."""
        way = np.clip(self.way_of(s), 0.0, self.total)
        points, normals = np.zeros((len(s), 3)), np.zeros((len(s), 3))
        lows = np.array([along.min() for _, along in self.ways])
        owner = np.clip(np.searchsorted(lows, way, side="right") - 1, 0, len(lows) - 1)
        for j in np.unique(owner):
            mine = owner == j
            t, along = self.ways[j]
            order = np.argsort(along)
            i, trim = self.edges[j]
            points[mine], normals[mine] = _middle(self.panels[i], trim, np.interp(way[mine], along[order], t[order]))
        direction = np.asarray(self.direction(s))
        direction = direction - np.einsum("ij,ij->i", direction, normals)[:, None] * normals
        return points, normals, normalised(direction)


class BridgeBase:
    """The bridge on the middle of the sheet, over the share along the runs and the share across."""

    def __init__(self, one: _Side, two: _Side) -> None:
        self.one, self.two = one, two

    def _sections(self, u: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        (a, _, ta), (b, _, tb) = self.one.at(u), self.two.at(u)
        size = np.linalg.norm(b - a, axis=1, keepdims=True)
        return a, ta * size, b, -tb * size

    def points(self, u: Floats, w: Floats) -> tuple[Floats, Floats]:
        """Points and unit normals up ``(n, 3)``."""
        once, back = np.unique(u, return_inverse=True)
        low, high = np.maximum(once - _STEP, 0.0), np.minimum(once + _STEP, 1.0)
        here, before, after = (self._sections(s) for s in (once, low, high))
        slope = [(q - p) / (high - low)[:, None] for p, q in zip(before, after, strict=True)]
        w = w[:, None]
        value = (2 * w**3 - 3 * w**2 + 1, w**3 - 2 * w**2 + w, 3 * w**2 - 2 * w**3, w**3 - w**2)
        change = (6 * w**2 - 6 * w, 3 * w**2 - 4 * w + 1, 6 * w - 6 * w**2, 3 * w**2 - 2 * w)
        x = sum(h * c[back] for h, c in zip(value, here, strict=True))
        du = sum(h * c[back] for h, c in zip(value, slope, strict=True))
        dw = sum(h * c[back] for h, c in zip(change, here, strict=True))
        n = normalised(np.cross(np.asarray(du), np.asarray(dw)))
        return np.asarray(x), np.where(n[:, 2:] < 0, -n, n)


def _bridge(one: _Side, two: _Side) -> tuple[Panel, tuple[Trim, Trim]]:
    """The panel over ``[0, 1] x [0, 1]``, and its two free edges."""
    base = BridgeBase(one, two)
    p, _ = base.points(np.array([0.45, 0.55, 0.5, 0.5]), np.array([0.5, 0.5, 0.45, 0.55]))
    down = bool(np.cross(p[1] - p[0], p[3] - p[2])[2] < 0)
    rows: list[list[Trim]] = []
    corners: list[tuple[Hashable, Hashable]] = []
    for side, level in ((one, 0.0), (two, 1.0)):
        row = []
        for j, ((_, trim), forward) in enumerate(zip(side.edges, side.senses, strict=True)):
            plan = fit_curve(_onto(side, j, level), axis(trim.first, trim.last, trim.breaks, 8), 1e-6)
            row.append(replace(trim, curve=curve2(plan), backwards=not forward if level == 0.0 else forward))
        ends = row[0].ends[0 if side.senses[0] else 1], row[-1].ends[1 if side.senses[-1] else 0]
        rows.append(row if level == 0.0 else row[::-1])
        corners.append(ends)
    left = Trim(("bridge", 0), (corners[0][0], corners[1][0]), line2((0.0, 0.0), (0.0, 1.0)), 0.0, 1.0, True, {})
    right = Trim(("bridge", 1), (corners[0][1], corners[1][1]), line2((1.0, 0.0), (0.0, 1.0)), 0.0, 1.0, False, {})
    loop = (*rows[0], right, *rows[1], left)
    panel = Panel(base, 0.0, (loop,), axis(0.0, 1.0, {}, 16), axis(0.0, 1.0, {}, 6), down, "bridge", "bridge")
    return panel, (left, right)


def _onto(side: _Side, j: int, level: float) -> Callable[[Floats], Floats]:
    return lambda t: np.column_stack([side.share_of(j, t), np.full(len(t), level)])

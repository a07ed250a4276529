"""What was led out of the part's edge, as one panel for each edge of the CAD and each piece of the section between its joints.

Between the sections the strip is the part's own edge plus the section, carried along the edge by a periodic cubic spline of its points less the edge's; across, a cubic through
the section's points (on a circle every 6 degrees it lies within 3e-6 radii of it). At the part the strip takes over the part's normal, at the blankholder the
blankholder's height and normal, each blended out over one piece.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline, CubicSpline, make_interp_spline

from diewright.die.brep.kernel import line2, points2
from diewright.die.brep.model import Panel, Trim, normalised
from diewright.die.brep.ring import Ground
from diewright.die.brep.skin import Skin
from diewright.die.brep.spline import axis
from diewright.errors import SolveError

Floats = NDArray[np.float64]

_DENSE = 400  # points along a CAD edge that its length is measured with
_FOOT = 0.1  # mm: sections that start further from the part's edge do not belong to it


@dataclass(frozen=True, eq=False)
class Rim:
    """One edge of the part's outline: its panel and trim, points and normals on the middle surface by its parameter, and the way along the whole outline by it [mm]."""

    panel: Panel
    trim: Trim
    middle: Callable[[Floats], tuple[Floats, Floats]]
    way: Callable[[Floats], Floats]

    @property
    def anticlockwise(self) -> bool:
        """True if the edge's own direction has the part on its left, seen from above."""
        return self.trim.backwards == self.panel.down


def rims(skin: Skin) -> tuple[list[Rim], float]:
    """The edges of the part's outline counter-clockwise, and the outline's length [mm]."""
    made = []
    for i, trim in skin.edge:
        made.append((skin.panels[i], trim))
    order = _in_order(made)
    out, total = [], 0.0
    for panel, trim in order:
        middle = _middle(panel, trim)
        t = np.linspace(trim.first, trim.last, _DENSE)
        step = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(middle(t)[0], axis=0), axis=1))])
        forward = trim.backwards == panel.down
        along = total + (step if forward else step[-1] - step)
        out.append(Rim(panel, trim, middle, CubicSpline(t, along)))
        total += float(step[-1])
    return out, total


def _in_order(edges: list[tuple[Panel, Trim]]) -> list[tuple[Panel, Trim]]:
    """Each edge's start, run with the part on its left, is the end of the one before."""
    start: dict[Any, tuple[Panel, Trim]] = {}
    for panel, trim in edges:
        start[trim.ends[0] if trim.backwards == panel.down else trim.ends[1]] = (panel, trim)
    out = [edges[0]]
    while len(out) < len(edges):
        panel, trim = out[-1]
        out.append(start[trim.ends[1] if trim.backwards == panel.down else trim.ends[0]])
    return out


def _middle(panel: Panel, trim: Trim) -> Callable[[Floats], tuple[Floats, Floats]]:
    def at(t: Floats) -> tuple[Floats, Floats]:
        p, n = panel.base.points(*points2(trim.curve, t).T)
        return p + panel.rise * n, n

    return at


class StripBase:
    """One piece of the section along one edge; ``u`` is the edge's own parameter, ``v`` runs from 0 to 1 across the piece."""

    def __init__(self, rim: Rim, carried: _Carried, first: bool, last: bool, ground: Ground) -> None:
        self.rim, self.carried, self.first, self.last, self.ground = rim, carried, first, last, ground

    def points(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Points and unit normals up ``(n, 3)`` on the middle of the sheet."""
        once, back = np.unique(u, return_inverse=True)
        edge, steady = self.rim.middle(once)
        way = self.rim.way(once)
        p, n = self.carried.at(way[back], v)
        p = p + edge[back]
        p, n = self._from_part(way, back, steady, v, p, n) if self.first else (p, n)
        p, n = self._to_ground(edge, way, back, v, p, n) if self.last else (p, n)
        return p, normalised(n)

    def _from_part(self, way: Floats, back: Any, steady: Floats, v: Floats, p: Floats, n: Floats) -> tuple[Floats, Floats]:
        zero = np.zeros(len(way))
        slope, _ = self.carried.at(way, zero, 1)
        _, start = self.carried.at(way, zero)
        turn = -np.einsum("ij,ij->i", slope, steady)[:, None] * steady
        fade = ((1.0 - v) ** 2 * (1.0 + 2.0 * v))[:, None]
        return p + (v * (1.0 - v) ** 2)[:, None] * turn[back], n + fade * (steady - normalised(start))[back]

    def _to_ground(self, edge: Floats, way: Floats, back: Any, v: Floats, p: Floats, n: Floats) -> tuple[Floats, Floats]:
        one = np.ones(len(way))
        foot, end = self.carried.at(way, one)
        slope, _ = self.carried.at(way, one, 1)
        foot = foot + edge
        level = self.ground.normal(foot[:, :2])
        lift = np.zeros_like(foot)
        lift[:, 2] = self.ground.height(foot[:, :2]) - foot[:, 2]
        turn = -np.einsum("ij,ij->i", slope, level)[:, None] * level
        rise = (v**2 * (3.0 - 2.0 * v))[:, None]
        return p + rise * lift[back] + (v**2 * (v - 1.0))[:, None] * turn[back], n + rise * (level - normalised(end))[back]


class _Carried:
    """A piece of the sections as splines: across over ``[0, 1]``, along the outline periodic."""

    def __init__(self, at: Floats, total: float, relative: Floats, normals: Floats) -> None:
        s = relative.shape[1]
        step = np.linalg.norm(np.diff(relative, axis=1), axis=2).mean(axis=0)
        across = np.concatenate([[0.0], np.cumsum(step)]) / step.sum()
        across[-1] = 1.0
        both = np.concatenate([relative, normals], axis=2)  # (k, s, 6)
        made = make_interp_spline(across, both.transpose(1, 0, 2), k=min(3, s - 1))
        self.knots, self.degree = made.t, made.k
        poles = made.c.transpose(1, 0, 2)
        closed = np.concatenate([poles, poles[:1]])
        self.along = CubicSpline(np.append(at, at[0] + total), closed, bc_type="periodic")
        self.start, self.total = float(at[0]), total

    def at(self, way: Floats, v: Floats, order: int = 0) -> tuple[Floats, Floats]:
        """Points less the edge's and normals ``(n, 3)``, or their derivative across."""
        once, back = np.unique(way, return_inverse=True)
        poles = self.along(self.start + np.mod(once - self.start, self.total))  # (m, s, 6)
        if order:
            d = self.degree
            span = self.knots[d + 1 : -1] - self.knots[1 : -d - 1]
            poles = d * np.diff(poles, axis=1) / span[None, :, None]
            knots, degree = self.knots[1:-1], d - 1
        else:
            knots, degree = self.knots, self.degree
        weight = BSpline.design_matrix(np.clip(v, 0.0, 1.0), knots, degree).toarray()
        out = np.einsum("ns,nsc->nc", weight, poles[back])
        return out[:, :3], out[:, 3:]


def strips(skin: Skin, columns: Floats, standing: Floats, joints: list[int], ground: Ground) -> tuple[list[Panel], list[Trim]]:
    """Panels of what was led on, inner pieces first, and their outermost edges in order round the part.

    ``columns`` and ``standing (k, s, 3)`` the sections and their unit normals; ``joints`` numbers of section points, ends included.
    """
    edges, total = rims(skin)
    at = _places(edges, total, columns[:, 0])
    order = np.argsort(at)
    at, relative, normals = at[order], (columns - columns[:, :1])[order], standing[order]
    panels, outermost = [], []
    pieces = list(pairwise(joints))
    for number, (a, b) in enumerate(pieces):
        carried = _Carried(at, total, relative[:, a : b + 1], normals[:, a : b + 1])
        for rim in edges:
            base = StripBase(rim, carried, number == 0, number == len(pieces) - 1, ground)
            panel, top = _panel(base, rim, number, at)
            panels.append(panel)
            if number == len(pieces) - 1:
                outermost.append(top)
    return panels, outermost


def _panel(base: StripBase, rim: Rim, number: int, at: Floats) -> tuple[Panel, Trim]:
    t0, t1 = rim.trim.first, rim.trim.last
    inner_key = rim.trim.key if number == 0 else ("strip", number, rim.trim.key)
    foot, head = rim.trim.ends
    ends: list[tuple[Hashable, Hashable]] = [
        (foot, head) if j == 0 else (("strip", j, foot), ("strip", j, head)) for j in (number, number + 1)
    ]
    breaks = rim.trim.breaks
    bottom = Trim(inner_key, ends[0], line2((0.0, 0.0), (1.0, 0.0)), t0, t1, False, breaks, False, rim.trim.drawn if number == 0 else None)
    top = Trim(("strip", number + 1, rim.trim.key), ends[1], line2((0.0, 1.0), (1.0, 0.0)), t0, t1, True, breaks)
    sides = [
        Trim(("side", number, rim.trim.ends[i]), (ends[0][i], ends[1][i]), line2((t, 0.0), (0.0, 1.0)), 0.0, 1.0, i == 0, {})
        for i, t in ((0, t0), (1, t1))
    ]
    ways = np.sort(rim.way(np.array([t0, t1])))
    spans = max(4, int(((at > ways[0]) & (at < ways[1])).sum()))
    panel = Panel(
        base, 0.0, ((bottom, sides[1], top, sides[0]),), axis(t0, t1, breaks, spans), axis(0.0, 1.0, {}, 4),
        rim.anticlockwise, "strip", f"strip {number + 1} at {_name(rim.trim.key)}",
    )  # fmt: skip
    return panel, top


def _name(key: Any) -> str:
    return f"edge {key[1]}" if isinstance(key, tuple) else str(key)


def _places(edges: list[Rim], total: float, points: Floats) -> Floats:
    """Way along the outline ``(k,)`` [mm] of the section feet ``(k, 3)``."""
    lines, ways = [], []
    for rim in edges:
        t = np.linspace(rim.trim.first, rim.trim.last, _DENSE)
        lines.append(rim.middle(t)[0])
        ways.append(rim.way(t))
    start = np.vstack([line[:-1] for line in lines])
    step = np.vstack([np.diff(line, axis=0) for line in lines])
    low = np.concatenate([w[:-1] for w in ways])
    high = np.concatenate([w[1:] for w in ways])
    out = np.zeros(len(points))
    for i, p in enumerate(points):
        share = np.clip(np.einsum("ij,ij->i", p - start, step) / np.maximum(np.einsum("ij,ij->i", step, step), 1e-300), 0.0, 1.0)
        away = np.linalg.norm(start + share[:, None] * step - p, axis=1)
        j = int(np.argmin(away))
        if away[j] > _FOOT:
            spot = ", ".join(f"{v:.0f}" for v in p)
            raise SolveError(
                f"the surface is led on {away[j]:.2g} mm away from the edge of the part's CAD at ({spot}) mm, as where a notch is bridged.", where="faces",
                help="Close the notch in CAD to have the faces as CAD surfaces.",
            )  # fmt: skip
        out[i] = low[j] + share[j] * (high[j] - low[j])
    return np.mod(out, total)

"""A hole that reaches over several CAD faces, closed by one smooth surface that takes over its neighbours' points and normals along its edge.

Over the mean plane of the hole's edge the surface is a height ``z(u, v)``, the generalised cubic (Duchon) spline that interpolates heights and slopes of the neighbours:

    z(x) = sum_j c_j phi(x - x_j) - sum_j d_j m_j . grad phi(x - x_j) + q(x),   phi = r^3,   q a full quadratic,

``m_j`` in the plane and square to the edge, ``c`` and ``d`` free of quadratics. It is twice differentiable and gives back every quadratic crown or saddle, as the filling of the triangles does
(``geometry.fill``), which knows the neighbours by two rings of points instead, or is a thin plate where the edge turns too far. What is tried and what is cut shall be one: where the two differ by more than allowed,
the surface is led through points of the triangles' filling as well, ``c_j`` alone belonging to those. The kernel's own plate was not taken: it wants surfaces for neighbours, and here the neighbours are the middle of the sheet, half a thickness away from them.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.die.brep.kernel import curve2, points2
from diewright.die.brep.model import Panel, Trim, normalised
from diewright.die.brep.skin import Skin
from diewright.die.brep.spline import axis, fit_curve
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Loop = tuple[tuple[int, Trim], ...]
Way = Callable[[Floats], tuple[Floats, Floats]]
"""Points and unit normals up ``(n, 3)`` on the middle of the sheet along an edge, by its parameter."""

GAP = 0.01
"""Farthest that the filling may lie from its neighbours along the edge [mm]."""
BREAK = 1.0
"""Largest angle between its normals and its neighbours' there [deg]."""
STEEPEST = 0.35
"""Least cosine of a neighbour's normal with that of the plane: steeper, and the edge is no height over it."""
SAMPLES = 160
"""Places round the edge where heights and slopes are taken over, about; at least :data:`LEAST` an edge."""
LEAST = 8
SPACINGS = (np.inf, 0.3, 0.15, 0.08, 0.05)
"""How far apart, and clear of the edge, points of the triangles' own filling are taken over, in half widths of the hole: none first, then more and more."""
_MARGIN = 1e-3  # as of other panels
_INSIDE = 14  # points in a row of the grid that tells which tool the filling belongs to


@dataclass(frozen=True, eq=False)
class Filling:
    """What became of a hole: the ``panel`` that closes it with points ``inside`` it and their areas, or why there is none (``missed``). ``gap`` [mm] and ``deg`` along its edge, between the places taken over;
    ``off`` [mm] largest distance of the drawn triangles' points from it (None: none lie in the hole), ``at`` its middle, ``faces`` how many CAD faces it reaches over."""

    panel: Panel | None
    inside: tuple[Floats, Floats]
    at: Floats
    faces: int
    gap: float
    deg: float
    off: float | None
    missed: str


class Height:
    """The surface as a base; its parameters are the plane's coordinates [mm]."""

    def __init__(self, origin: Floats, frame: Floats, sites: Floats, heights: Floats, ways: Floats, slopes: Floats) -> None:
        self.origin, self.frame = origin, frame
        self.scale = float(np.abs(sites).max())
        self.sites, self.ways = sites / self.scale, ways
        n, k = len(sites), len(ways)
        d = self.sites[:, None] - self.sites[None]
        r = np.linalg.norm(d, axis=2)
        across, along = np.einsum("ijk,jk->ij", d[:, :k], ways), np.einsum("ijk,ik->ij", d[:k], ways)
        edge = r[:k, :k]
        both = 3.0 * (edge * (ways @ ways.T) + along[:, :k] * across[:k] / np.maximum(edge, 1e-300))
        q, qu, qv = _quadratic(self.sites)
        side = np.vstack([q, ways[:, :1] * qu[:k] + ways[:, 1:] * qv[:k]])
        system = np.block([[np.block([[r**3, -3.0 * r[:, :k] * across], [3.0 * r[:k] * along, -both]]), side], [side.T, np.zeros((6, 6))]])
        # rows of heights are in the plane's scale, and so slopes stay slopes
        wanted = np.concatenate([heights / self.scale, slopes, np.zeros(6)])
        found = np.linalg.lstsq(system, wanted, rcond=1e-13)[0]
        self.c, self.d, self.q = found[:n], found[n : n + k], found[n + k :]

    def heights(self, uv: Floats) -> tuple[Floats, Floats]:
        """Heights ``(k,)`` [mm] and slopes ``(k, 2)`` at the plane's coordinates ``(k, 2)``."""
        out, slope = np.zeros(len(uv)), np.zeros((len(uv), 2))
        for begin in range(0, len(uv), 4000):
            x = uv[begin : begin + 4000] / self.scale
            d = x[:, None] - self.sites[None]
            r = np.linalg.norm(d, axis=2)
            k = len(self.ways)
            near, across = r[:, :k], np.einsum("ijk,jk->ij", d[:, :k], self.ways)
            q, qu, qv = _quadratic(x)
            part = slice(begin, begin + len(x))
            out[part] = r**3 @ self.c - 3.0 * (near * across) @ self.d + q @ self.q
            turned = across / np.maximum(near, 1e-300) * self.d
            for way, row in ((0, qu), (1, qv)):
                own = (near * self.ways[:, way]) @ self.d + (turned * d[:, :k, way]).sum(axis=1)
                slope[part, way] = 3.0 * (r * d[:, :, way]) @ self.c - 3.0 * own + row @ self.q
        return self.scale * out, slope

    def points(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Points and unit normals up ``(n, 3)``."""
        uv = np.column_stack([u, v])
        z, slope = self.heights(uv)
        local = np.column_stack([uv, z])
        return self.origin + local @ self.frame, normalised(np.column_stack([-slope, np.ones(len(uv))]) @ self.frame)


def _quadratic(x: Floats) -> tuple[Floats, Floats, Floats]:
    """The six quadratics at ``x (n, 2)`` and their derivatives."""
    u, v = x.T
    one, zero = np.ones(len(x)), np.zeros(len(x))
    return (
        np.column_stack([one, u, v, u * u, u * v, v * v]), np.column_stack([zero, one, zero, 2 * u, v, zero]), np.column_stack([zero, zero, one, zero, u, 2 * v]),
    )  # fmt: skip


def fill(skin: Skin, loop: Loop, drawn: TriMesh, number: int, allowed: float) -> Filling:
    """Close the hole ``loop`` of a part. ``drawn`` is the sheet's middle as triangles, their own filling included: the surface is led through as few of its points as bring it within ``allowed`` [mm] of all of them."""
    order = _in_order(loop)
    ways = [_edge(skin, i, trim) for i, trim, _ in order]
    length = [
        float(np.linalg.norm(np.diff(at(np.linspace(t.first, t.last, 65))[0], axis=0), axis=1).sum())
        for at, (_, t, _) in zip(ways, order, strict=True)
    ]
    counts = [max(LEAST, round(SAMPLES * a / sum(length))) for a in length]
    taken, between = (_sampled(ways, order, counts, shift) for shift in (0.0, 0.5))
    points, normals = taken
    at, faces = points.mean(axis=0), len({i for i, _ in loop})
    none = (np.zeros((0, 3)), np.zeros(0))
    w = normalised(normals.mean(axis=0))
    if float((normals @ w).min()) < STEEPEST:
        lean = float(np.degrees(np.arccos(np.clip((normals @ w).min(), -1.0, 1.0))))
        return Filling(None, none, at, faces, np.nan, np.nan, None, f"its neighbours lean by up to {lean:.0f} deg from its own plane")
    u = normalised(np.cross([0.0, 1.0, 0.0] if abs(w[1]) < 0.9 else [1.0, 0.0, 0.0], w))
    frame = np.stack([u, np.cross(w, u), w])
    local = (points - at) @ frame.T
    ring = shapely.Polygon(local[:, :2])
    if not ring.is_valid:
        return Filling(None, none, at, faces, np.nan, np.nan, None, "its edge crosses itself seen along its own normal")
    if not ring.exterior.is_ccw:
        return fill(skin, tuple((i, trim) for i, trim, _ in reversed(order)), drawn, number, allowed)
    tangent = np.roll(local[:, :2], -1, axis=0) - np.roll(local[:, :2], 1, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    out = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    n = normals @ frame.T
    slopes = -(n[:, :2] * out).sum(axis=1) / n[:, 2]
    inner = _within(at, frame, ring, drawn)
    clear = np.asarray(shapely.distance(shapely.points(inner[:, :2]), ring.exterior)) / float(np.abs(local[:, :2]).max())
    for spacing in SPACINGS:
        led = inner[_thinned(inner[:, :2], clear, spacing * float(np.abs(local[:, :2]).max()), spacing)]
        base = Height(at, frame, np.vstack([local[:, :2], led[:, :2]]), np.concatenate([local[:, 2], led[:, 2]]), out, slopes)
        gap, deg = _missed(base, *between)
        off = _off(base, inner)
        if off is None or off <= allowed:
            break
    if not (gap <= GAP and deg <= BREAK):
        return Filling(None, none, at, faces, gap, deg, off, "it would miss")
    trims = tuple(_trim(way, trim, backwards, base) for way, (_, trim, backwards) in zip(ways, order, strict=True))
    low, high = local[:, :2].min(axis=0), local[:, :2].max(axis=0)
    wide = 0.02 * (high - low) + _MARGIN
    axes = [axis(float(a), float(b), {}, 12) for a, b in zip(low - wide, high + wide, strict=True)]
    panel = Panel(base, 0.0, (trims,), axes[0], axes[1], False, "fill", f"filling {number}")
    return Filling(panel, _spread(base, ring), at, faces, gap, deg, off, "")


def _in_order(loop: Loop) -> list[tuple[int, Trim, bool]]:
    """The edges of a closed chain, each with whether the chain runs it backwards."""
    out: list[tuple[int, Trim, bool]] = []
    first = loop[0][1]
    if len(loop) > 1:
        second = loop[1][1].ends
        tip: Hashable = first.ends[1] if first.ends[1] in second and (first.ends[0] not in second or len(loop) == 2) else first.ends[0]
    else:
        tip = first.ends[1]
    at: Hashable = first.ends[0] if tip == first.ends[1] else first.ends[1]
    for i, trim in loop:
        backwards = trim.ends[0] != at
        at = trim.ends[0] if backwards else trim.ends[1]
        out.append((i, trim, backwards))
    return out


def _edge(skin: Skin, i: int, trim: Trim) -> Way:
    panel = skin.panels[i]

    def at(t: Floats) -> tuple[Floats, Floats]:
        p, n = panel.base.points(*points2(trim.curve, t).T)
        return p + panel.rise * n, n

    return at


def _sampled(ways: list[Way], order: list[tuple[int, Trim, bool]], counts: list[int], shift: float) -> tuple[Floats, Floats]:
    """Points and normals along the edge, each edge's own begin in and its end left out; ``shift`` by a share of the step."""
    points, normals = [], []
    for at, (_, trim, backwards), count in zip(ways, order, counts, strict=True):
        share = (np.arange(count) + shift) / count
        t = trim.last - share * (trim.last - trim.first) if backwards else trim.first + share * (trim.last - trim.first)
        p, n = at(t)
        points.append(p)
        normals.append(n)
    return np.vstack(points), np.vstack(normals)


def _missed(base: Height, points: Floats, normals: Floats) -> tuple[float, float]:
    local = (points - base.origin) @ base.frame.T
    p, n = base.points(*local[:, :2].T)
    # the height's error seen along the normal
    gap = np.abs(np.einsum("ij,ij->i", p - points, n))
    deg = np.degrees(2.0 * np.arcsin(np.clip(0.5 * np.linalg.norm(n - normals, axis=1), 0.0, 1.0)))
    return float(gap.max()), float(deg.max())


def _within(origin: Floats, frame: Floats, ring: shapely.Polygon, drawn: TriMesh) -> Floats:
    """Points of the triangles in the hole, in the plane's frame ``(k, 3)``."""
    local = (drawn.points - origin) @ frame.T
    near = local[np.abs(local[:, 2]) < 1.5 * float(np.abs(shapely.get_coordinates(ring)).max())]
    return np.asarray(near[shapely.contains_xy(ring, *near[:, :2].T)])


def _thinned(plan: Floats, clear: Floats, apart: float, least: float) -> list[int]:
    """Numbers of points ``apart`` [mm] from each other at least, farthest from the edge first, and ``least`` or more clear of it."""
    out: list[int] = []
    for i in np.lexsort((plan[:, 1], plan[:, 0], -clear.round(9))):
        if clear[i] >= least and not (out and np.hypot(*(plan[out] - plan[i]).T).min() < apart):
            out.append(int(i))
    return out


def _off(base: Height, inner: Floats) -> float | None:
    """Largest distance of points in the hole from the surface [mm]."""
    if not len(inner):
        return None
    p, n = base.points(*inner[:, :2].T)
    return float(np.abs(np.einsum("ij,ij->i", p - base.origin - inner @ base.frame, n)).max())


def _trim(way: Way, trim: Trim, backwards: bool, base: Height) -> Trim:
    plan = fit_curve(lambda t: (way(t)[0] - base.origin) @ base.frame[:2].T, axis(trim.first, trim.last, trim.breaks, 8), 0.0002)
    return replace(trim, curve=curve2(plan), backwards=backwards)


def _spread(base: Height, ring: shapely.Polygon) -> tuple[Floats, Floats]:
    low_u, low_v, high_u, high_v = ring.bounds
    share = (np.arange(_INSIDE) + 0.5) / _INSIDE
    uv = np.stack(np.meshgrid(low_u + share * (high_u - low_u), low_v + share * (high_v - low_v)), axis=-1).reshape(-1, 2)
    uv = uv[shapely.contains_xy(ring, *uv.T)]
    return base.points(*uv.T)[0], np.ones(len(uv))

"""A section swept along the bead's line as a solid: upright to the surface's normal everywhere, its ends rounded by half a turn about the normal there.

``X(s, v) = P(s) + x(v) B(s) + y(v) N(s)``, ``B = N x T``. Faces share their edges by key as those of the tools do, so that the solid is closed by construction.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Builder
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.TopoDS import TopoDS_Solid
from scipy.interpolate import CubicSpline

from diewright.die.brep.bead_section import Arc, Half
from diewright.die.brep.kernel import line2
from diewright.die.brep.kernel import surface as bicubic
from diewright.die.brep.model import Panel, Trim, normalised
from diewright.die.brep.moved import Moved
from diewright.die.brep.sewn import Sewn, sew
from diewright.die.brep.spline import axis, fit_surface
from diewright.errors import SolveError

Floats = NDArray[np.float64]
Exact = Callable[[Floats, Floats], Floats]

Name = tuple[str, int, int, int]
"""A face: "run" or "end", piece of the half section, side (1 or -1, 0 for an end), stretch or station."""

FIT = 0.0005
"""Surfaces are fitted within this [mm]."""
STRETCH = 250.0
"""Length of line that one face runs along, about [mm]."""
LEAST = 0.1
"""The shortest that the section's inner edge may run, as a share of the line: less would be a crease."""


class Path:
    """The line as splines of ``s``: points and frame. ``s (k,)``, ``points``, ``normals (k, 3)`` of a closed line of ``length`` [mm]."""

    def __init__(self, s: Floats, points: Floats, normals: Floats, length: float) -> None:
        closed = np.hstack([points, normals])
        self.spline = CubicSpline(np.append(s, length), np.vstack([closed, closed[:1]]), bc_type="periodic")
        self.length = length

    def frame(self, s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Point, tangent, across and normal ``(n, 3)`` each."""
        at = np.mod(s, self.length)
        both = self.spline(at)
        tangent = normalised(self.spline(at, 1)[:, :3])
        normal = both[:, 3:] - np.einsum("ij,ij->i", both[:, 3:], tangent)[:, None] * tangent
        normal = normalised(normal)
        return both[:, :3], tangent, np.cross(normal, tangent), normal

    def on(self, s: Floats, x: Floats, y: Floats) -> Floats:
        """Points ``(n, 3)`` at places of the section."""
        p, _, across, normal = self.frame(s)
        return p + x[:, None] * across + y[:, None] * normal

    def run(self, s: Floats, x: float, y: float) -> Floats:
        """How far a place of the section moves along the tangent per mm of ``s``, ``(n,)``."""
        step = 1e-3
        one = np.ones(len(s))
        way = (self.on(s + step, x * one, y * one) - self.on(s - step, x * one, y * one)) / (2.0 * step)
        return np.asarray(np.einsum("ij,ij->i", way, self.frame(s)[1]))


@dataclass(eq=False)
class Body:
    """A solid with its shell, the surfaces of its faces by name, and the section's own volume: rounded ends, and area times the way of its centroid [mm3]."""

    solid: Any
    sewn: Sewn
    surfaces: dict[Name, Moved]
    ends: float
    swept: float

    @property
    def volume(self) -> float:
        """Volume by the kernel [mm3]."""
        props = GProp_GProps()
        BRepGProp.VolumeProperties_s(self.solid, props, 1e-6)
        return abs(float(props.Mass()))

    @property
    def closed(self) -> bool:
        """Whether every edge joins exactly two faces."""
        return all(len(j.panels) == 2 for j in self.sewn.joints)

    @property
    def valid(self) -> bool:
        """The kernel's own verdict."""
        return bool(BRepCheck_Analyzer(self.solid).IsValid())


def swept(path: Path, half: Half, begin: float, end: float, closed: bool) -> Body:
    """The solid of a section from ``begin`` to ``end`` [mm], rounded beyond both, or all round. Raises :class:`SolveError` where the line turns more tightly than the section is wide, or a face cannot be fitted."""
    if end <= begin:
        raise SolveError(f"a piece {end - begin:.3g} mm long between its rounded ends is none.", where="details", help="Leave it out.")
    _no_crease(path, half, begin, end)
    count = max(round((end - begin) / STRETCH), 4 if closed else 1)
    stations = np.linspace(begin, end, count + 1)
    panels, moved = [], []
    surfaces: dict[Name, Moved] = {}
    for i in range(count):
        after = (i + 1) % count if closed else i + 1
        for side in (1, -1):
            for j in range(len(half.pieces)):
                exact = _along(path, half, j, side)
                name: Name = ("run", j, side, i)
                spans = max(4, round((stations[i + 1] - stations[i]) / 8.0))
                m = surfaces[name] = _fitted(exact, float(stations[i]), float(stations[i + 1]), half, j, spans)
                panels.append(_panel(half, j, side, i, after, float(stations[i]), float(stations[i + 1]), side > 0))
                moved.append(m)
    for station, outward in () if closed else ((0, -1.0), (count, 1.0)):
        for j in range(len(half.pieces)):
            name = ("end", j, 0, station)
            m = surfaces[name] = _fitted(_turned(path, half, j, float(stations[station]), outward), 0.0, math.pi, half, j, 8)
            panels.append(_cap(half, j, station, outward > 0))
            moved.append(m)
    shell = sew(panels, moved, True, FIT)
    build, solid = BRep_Builder(), TopoDS_Solid()
    shell.shell.Closed(True)
    build.MakeSolid(solid)
    build.Add(solid, shell.shell)
    fine = np.linspace(begin, end, 8 * max(round(end - begin), 50) + 1)
    way = path.run(fine, 0.0, half.height)
    return Body(solid, shell, surfaces, 0.0 if closed else 2.0 * half.end_volume, half.area * float(np.trapezoid(way, fine)))


def _no_crease(path: Path, half: Half, begin: float, end: float) -> None:
    s = np.linspace(begin, end, max(round(end - begin), 20) * 2 + 1)
    worst, where = math.inf, 0
    wide = float(half.corners[:, 0].max())
    for x in (-wide, wide):
        for y in (float(half.corners[:, 1].min()), float(half.corners[:, 1].max())):
            run = path.run(s, x, y)
            if run.min() < worst:
                worst, where = float(run.min()), int(run.argmin())
    if worst < LEAST:
        spot = ", ".join(f"{v:.0f}" for v in path.frame(s[where : where + 1])[0][0])
        raise SolveError(
            f"the line turns at ({spot}) mm more tightly than the section's half width of {wide:.3g} mm allows.", where="details",
            help="State a larger tryout.bead_offset, a smaller bead, or leave that corner out (details.bead_least_radius).",
        )  # fmt: skip


def _along(path: Path, half: Half, j: int, side: int) -> Exact:
    def exact(u: Floats, v: Floats) -> Floats:
        x, y = half.pieces[j].at(v).T
        return path.on(u, side * x, y)

    return exact


def _turned(path: Path, half: Half, j: int, station: float, outward: float) -> Exact:
    p, tangent, across, normal = (f[0] for f in path.frame(np.array([station])))

    def exact(u: Floats, v: Floats) -> Floats:
        x, y = half.pieces[j].at(v).T
        way = np.cos(u)[:, None] * across + outward * np.sin(u)[:, None] * tangent
        return np.asarray(p + x[:, None] * way + y[:, None] * normal)

    return exact


def _fitted(exact: Exact, low: float, high: float, half: Half, j: int, spans: int) -> Moved:
    def grid(u: Floats, v: Floats) -> Floats:
        uu, vv = np.meshgrid(u, v, indexing="ij")
        return exact(uu.ravel(), vv.ravel()).reshape(len(u), len(v), 3)

    across = 4 if isinstance(half.pieces[j], Arc) else 1
    found = fit_surface(grid, axis(low, high, {}, spans), axis(0.0, 1.0, {}, across), FIT)
    if not found.miss <= 4.0 * FIT:
        raise SolveError(
            f"a face of the bead cannot be fitted: it misses by {found.miss:.3g} mm (allowed {4 * FIT:g} mm).", where="details",
            help="Look at the bead's line there: it turns too sharply.",
        )  # fmt: skip
    return Moved(bicubic(found), "fitted", found.miss, exact)


def _vertex(half: Half, k: int, side: int, station: int) -> Hashable:
    """Corner ``k`` of the section; the first and the last lie on the axis and belong to both sides."""
    return ("corner", k, side if 0 < k < len(half.pieces) else 0, station)


def _rectangle(
    bottom: tuple[Hashable, Hashable, Hashable], top: tuple[Hashable, Hashable, Hashable], left: Hashable, right: Hashable,
    low: float, high: float, collapsed: tuple[bool, bool], down: bool, kind: str,
) -> Panel:  # fmt: skip
    """A face over ``[low, high] x [0, 1]``; ``bottom`` and ``top``: key, first and last end."""
    (b, b0, b1), (t, t0, t1) = bottom, top
    loop = (
        Trim(b, (b0, b1), line2((0.0, 0.0), (1.0, 0.0)), low, high, False, {}, collapsed[0]),
        Trim(right, (b1, t1), line2((high, 0.0), (0.0, 1.0)), 0.0, 1.0, False, {}),
        Trim(t, (t0, t1), line2((0.0, 1.0), (1.0, 0.0)), low, high, True, {}, collapsed[1]),
        Trim(left, (b0, t0), line2((low, 0.0), (0.0, 1.0)), 0.0, 1.0, True, {}),
    )
    return Panel(_None(), 0.0, (loop,), axis(low, high, {}, 1), axis(0.0, 1.0, {}, 1), down, kind, kind)


def _panel(half: Half, j: int, side: int, i: int, after: int, low: float, high: float, down: bool) -> Panel:
    edges = []
    for k in (j, j + 1):
        a, b = _vertex(half, k, side, i), _vertex(half, k, side, after)
        edges.append((("run", k, side if 0 < k < len(half.pieces) else 0, i), a, b))
    return _rectangle(edges[0], edges[1], ("cut", j, side, i), ("cut", j, side, after), low, high, (False, False), down, "bead")


def _cap(half: Half, j: int, station: int, down: bool) -> Panel:
    edges = [(("turn", k, station), _vertex(half, k, 1, station), _vertex(half, k, -1, station)) for k in (j, j + 1)]
    flat = (j == 0, j + 1 == len(half.pieces))
    return _rectangle(edges[0], edges[1], ("cut", j, 1, station), ("cut", j, -1, station), 0.0, math.pi, flat, down, "bead end")


class _None:
    """A bead stands on no middle surface."""

    def points(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        raise SolveError("a bead has no middle surface.", where="details")

"""Panels as one shell: every edge is made once, from all panels that share it, and what they disagree by is measured."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Builder
from OCP.Geom import Geom_Circle, Geom_Curve
from OCP.gp import gp_Ax2, gp_Pnt, gp_Vec
from OCP.TopAbs import TopAbs_FORWARD, TopAbs_REVERSED
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS_Compound, TopoDS_Edge, TopoDS_Face, TopoDS_Shell, TopoDS_Vertex, TopoDS_Wire
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from diewright.die.brep.kernel import curve3, points2, points3, surface_points
from diewright.die.brep.model import Panel, Trim
from diewright.die.brep.moved import Moved
from diewright.die.brep.spline import axis, fit_curve

Floats = NDArray[np.float64]

_LEAST = 1e-7  # mm: the kernel's own least tolerance
_SAFE = 1e-6  # mm: what the kernel measures between two of the points looked at here may be a little more
_DENSE = 61


@dataclass(frozen=True, eq=False)
class Joint:
    """A shared or free edge: its key, the panels at it, points along it ``(n, 3)``, and how far the panels lie apart there [mm]."""

    key: Hashable
    panels: tuple[int, ...]
    points: Floats
    gap: float


@dataclass(eq=False)
class Sewn:
    """The shell (a compound of shells where they do not hang together), its faces in the order of the panels, and its joints."""

    shell: Any
    faces: list[Any]
    joints: list[Joint] = field(default_factory=list)

    @property
    def gap(self) -> float:
        """The largest distance of two panels at an edge they share [mm]."""
        return max((j.gap for j in self.joints if len(j.panels) > 1), default=0.0)


def sew(panels: list[Panel], moved: list[Moved], upwards: bool, tolerance: float) -> Sewn:
    """The shell of the panels, normals up or down."""
    users: dict[Hashable, list[tuple[int, Trim]]] = {}
    for i, panel in enumerate(panels):
        for loop in panel.loops:
            for trim in loop:
                users.setdefault(trim.key, []).append((i, trim))
    build, none = BRep_Builder(), TopLoc_Location()
    edges: dict[Hashable, TopoDS_Edge] = {}
    reach: dict[Hashable, list[Floats]] = {}
    loose: dict[Hashable, float] = {}
    joints = []
    for key, found in users.items():
        edge, slack, ends, joint = _edge(build, key, found, moved, tolerance)
        edges[key] = edge
        joints.append(joint)
        for name, at in zip(found[0][1].ends, ends, strict=True):
            reach.setdefault(name, []).append(at)
            loose[name] = max(loose.get(name, _LEAST), slack)  # a vertex must cover the edges that end in it
    corners = {name: _vertex(build, np.vstack(at), loose[name]) for name, at in reach.items()}
    for key, found in users.items():
        trim = found[0][1]
        a, b = (corners[name] for name in trim.ends)
        build.Add(edges[key], a.Oriented(TopAbs_FORWARD))
        build.Add(edges[key], b.Oriented(TopAbs_REVERSED))
        build.Range(edges[key], trim.first, trim.last)
    faces = []
    for panel, surface in zip(panels, moved, strict=True):
        face = TopoDS_Face()
        build.MakeFace(face, surface.surface, _LEAST)
        for loop in panel.loops:
            wire = TopoDS_Wire()
            build.MakeWire(wire)
            for trim in loop:
                edge = edges[trim.key]
                build.UpdateEdge(edge, trim.curve, surface.surface, none, _LEAST)
                build.Range(edge, face, trim.first, trim.last)
                build.Add(wire, edge.Oriented(TopAbs_REVERSED if trim.backwards else TopAbs_FORWARD))
            wire.Closed(True)
            build.Add(face, wire)
        face.Orientation(TopAbs_FORWARD if panel.down != upwards else TopAbs_REVERSED)
        faces.append(face)
    return Sewn(_shells(build, faces, users), faces, [j for j in joints if j is not None])


def _shells(build: Any, faces: list[Any], users: dict[Hashable, list[tuple[int, Trim]]]) -> Any:
    """One shell of faces that hang together by edges, or a compound of several: the punches of parts side by side do not touch."""
    links = [(found[0][0], i) for found in users.values() for i, _ in found]
    rows, columns = np.array(links, dtype=np.int64).T
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(faces), len(faces)))
    count, owner = connected_components(graph, directed=False)
    shells = []
    for k in range(count):
        shell = TopoDS_Shell()
        build.MakeShell(shell)
        for i in np.flatnonzero(owner == k):
            build.Add(shell, faces[i])
        shells.append(shell)
    if count == 1:
        return shells[0]
    whole = TopoDS_Compound()
    build.MakeCompound(whole)
    for shell in shells:
        build.Add(whole, shell)
    return whole


def _edge(
    build: Any, key: Hashable, found: list[tuple[int, Trim]], moved: list[Moved], tolerance: float
) -> tuple[TopoDS_Edge, float, tuple[Floats, Floats], Joint | None]:  # fmt: skip
    edge = TopoDS_Edge()
    trim = found[0][1]

    def sides(at: Floats) -> Floats:
        return np.stack([surface_points(moved[i].surface, *points2(t.curve, at).T) for i, t in found])

    if trim.collapsed:
        build.MakeEdge(edge)
        build.Degenerated(edge, True)
        at = sides(np.array([trim.first, trim.last]))
        return edge, _LEAST, (at[:, 0], at[:, 1]), None
    spans = max(getattr(moved[i].surface, f"Nb{w}Knots", int)() for i, _ in found for w in "UV")
    dense = np.linspace(trim.first, trim.last, _DENSE + 8 * spans)
    every = sides(dense)
    gap = float(max((np.linalg.norm(a - b, axis=1).max() for a in every for b in every), default=0.0))
    curve = _curve(found, sides, dense, every.mean(axis=0), tolerance)
    on = points3(curve, dense)
    apart = float(np.linalg.norm(every - on, axis=2).max())
    slack = max(1.3 * apart, _SAFE)
    build.MakeEdge(edge, curve, slack)
    ends = tuple(np.vstack([every[:, i], on[i : i + 1]]) for i in (0, -1))
    return edge, slack, (ends[0], ends[1]), Joint(key, tuple(i for i, _ in found), every.mean(axis=0), gap)


def _curve(found: list[tuple[int, Trim]], sides: Any, dense: Floats, mean: Floats, tolerance: float) -> Geom_Curve:
    """The edge's curve in space: the designer's own one, kept or carried over where that fits as closely as the kernel can tell, or a fitted one."""
    trim = found[0][1]
    for candidate in _carried(trim, dense, mean):
        if np.linalg.norm(points3(candidate, dense) - mean, axis=1).max() < _LEAST:
            return candidate
    breaks = {at: times for _, t in found for at, times in t.breaks.items()}
    made = fit_curve(lambda t: sides(t).mean(axis=0), axis(trim.first, trim.last, breaks, 4), 0.25 * tolerance)
    return curve3(made)


def _carried(trim: Trim, dense: Floats, mean: Floats) -> list[Geom_Curve]:
    if trim.drawn is None:
        return []
    step = (mean - points3(trim.drawn, dense)).mean(axis=0)
    shifted = trim.drawn.Translated(gp_Vec(*map(float, step)))
    out = [trim.drawn, shifted]
    if isinstance(trim.drawn, Geom_Circle):
        z = trim.drawn.Axis().Direction()
        axis_way = np.array([z.X(), z.Y(), z.Z()])
        c = trim.drawn.Location()
        centre = np.array([c.X(), c.Y(), c.Z()])
        centre = centre + axis_way * float(((mean - centre) @ axis_way).mean())
        radius = float(np.linalg.norm(mean - centre, axis=1).mean())
        frame = trim.drawn.Position()
        out.append(Geom_Circle(gp_Ax2(gp_Pnt(*map(float, centre)), frame.Direction(), frame.XDirection()), radius))
    return out


def _vertex(build: Any, at: Floats, least: float) -> TopoDS_Vertex:
    middle = at.mean(axis=0)
    vertex = TopoDS_Vertex()
    build.MakeVertex(vertex, gp_Pnt(*map(float, middle)), max(1.05 * float(np.linalg.norm(at - middle, axis=1).max()), least))
    return vertex

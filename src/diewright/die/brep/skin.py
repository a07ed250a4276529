"""The skin of the part that the faces are made from, as panels: the designer's own surfaces, closed ones cut in two, holes left out."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve2d
from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.Geom import Geom_RectangularTrimmedSurface
from OCP.Geom2dAdaptor import Geom2dAdaptor_Curve
from OCP.GeomAdaptor import GeomAdaptor_Curve, GeomAdaptor_Surface
from OCP.ShapeUpgrade import ShapeUpgrade_ShapeDivideClosed
from OCP.TopAbs import TopAbs_FACE, TopAbs_FORWARD, TopAbs_REVERSED, TopAbs_WIRE
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from diewright.die.brep.kernel import breaks_of, curve2, points2, points3, tangents, trsf
from diewright.die.brep.model import Panel, Trim, normalised
from diewright.die.brep.spline import Axis, axis, fit_curve
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.part.audit import Audit
from diewright.part.cad import ShapeMap, compound, one_body, read_shape, subshapes

Floats = NDArray[np.float64]

_STRAY = 1e-5  # mm: trimming curves that stray more from the designer's curve are made again
_MARGIN = 1e-3  # how far a panel's domain reaches beyond its trimming curves, as a share of its width


class CadBase:
    """A surface of the kernel as a base; ``sign`` is 1 where ``du x dv`` points up."""

    def __init__(self, surface: Any, sign: float, box: tuple[float, float, float, float]) -> None:
        self.surface, self.sign, self.box = surface, sign, box

    def points(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Points and unit normals up ``(n, 3)``; at a pole the normal close beside it."""
        p, du, dv = tangents(self.surface, u, v)
        cross = np.cross(du, dv)
        size = np.linalg.norm(cross, axis=1)
        flat = size < 1e-7 * max(float(np.median(size)), 1e-12)
        if flat.any():
            u0, u1, v0, v1 = self.box
            inner_u = u[flat] + 1e-5 * (0.5 * (u0 + u1) - u[flat])
            inner_v = v[flat] + 1e-5 * (0.5 * (v0 + v1) - v[flat])
            _, du, dv = tangents(self.surface, inner_u, inner_v)
            cross[flat] = np.cross(du, dv)
        return p, self.sign * normalised(cross)


@dataclass(frozen=True, eq=False)
class Skin:
    """Panels of the part; ``inside`` for each panel points ``(n, 3)`` spread over its trimmed middle surface and the areas they stand for ``(n,)``; the outer edge and the
    holes over several faces as loops of ``(panel, trim)``; how many holes within one face were left out."""

    panels: tuple[Panel, ...]
    inside: tuple[tuple[Floats, Floats], ...]
    edge: tuple[tuple[int, Trim], ...]
    holes: tuple[tuple[tuple[int, Trim], ...], ...]
    closed_holes: int


def read_skin(
    path: str, kind: str, unit: str, numbers: list[int], rotation: Floats, shift: Floats, half: float, drawn: TriMesh, copies: Floats | None = None, runs: Sequence[Floats] = (),
) -> Skin:  # fmt: skip
    """Read the part again and take the faces ``numbers`` (from 1, as the part stage counts them).

    ``copies (2, 4, 4)`` placements of two copies in press coordinates, joined by a bridge between the ``runs`` of their edges (see :mod:`diewright.die.brep.joined`).

    ``half`` [mm]: how deep the middle lies under the skin, against the material's outward normal (0 where the skin is taken as the middle); ``drawn`` is the middle surface in press coordinates, normals up.
    Raises :class:`SolveError` where the faces named are not there.
    """
    shape, _, _ = read_shape(path, kind, unit, Audit())
    body = one_body(shape, Audit())
    if not numbers or max(numbers) > len(body.faces) or min(numbers) < 1:
        raise SolveError(
            "the part's CAD faces are not the ones that were meshed.", where="faces", help="Work the stage 'part' again.",
        )  # fmt: skip
    faces = [body.faces[i - 1] for i in sorted(numbers)]
    own = compound(faces).Moved(TopLoc_Location(trsf(rotation, shift)))
    if copies is None:
        skin, outlines = _sorted_out(_divided(own), half, drawn, 1)
        return replace(skin, edge=tuple(outlines[0]))
    from diewright.die.brep.joined import joined

    # mirrored surfaces are the designer's own in another frame: no location can hold a reflection
    placed = [BRepBuilderAPI_Transform(own, trsf(m[:3, :3], m[:3, 3]), True).Shape() for m in copies]
    skin, outlines = _sorted_out(_divided(compound(placed)), half, drawn, len(placed))
    return joined(skin, [next(o for o in outlines if _nearest_to(skin, o, run)) for run in runs], runs)


def _divided(shape: Any) -> Any:
    divide = ShapeUpgrade_ShapeDivideClosed(shape)
    divide.Perform()
    return divide.Result()


def _nearest_to(skin: Skin, outline: Sequence[tuple[int, Trim]], run: Floats) -> bool:
    """Whether a run lies within the plan box of an outline."""
    at = _loop_points(list(skin.panels), list(outline))[:, :2]
    return bool((run[:, :2] > at.min(axis=0) - 1.0).all() and (run[:, :2] < at.max(axis=0) + 1.0).all())


def _sorted_out(shape: Any, half: float, drawn: TriMesh, count: int) -> tuple[Skin, list[list[tuple[int, Trim]]]]:
    """The skin, without its edge, and the ``count`` largest free loops: the outlines."""
    BRepMesh_IncrementalMesh(shape, 0.5, False, 0.35, False)
    edges, ends = ShapeMap(), ShapeMap()
    panels, inside = [], []
    for number, item in enumerate(subshapes(shape, TopAbs_FACE), 1):
        panel, spread = _panel(TopoDS.Face(item), number, edges, ends, half, drawn)
        panels.append(panel)
        inside.append(spread)
    users: dict[Hashable, list[tuple[int, Trim]]] = {}
    for i, panel in enumerate(panels):
        for loop in panel.loops:
            for trim in loop:
                if not trim.collapsed:
                    users.setdefault(trim.key, []).append((i, trim))
    free = [found[0] for found in users.values() if len(found) == 1]
    loops = _chained(free)
    if not loops:
        raise SolveError("the part's skin has no outer edge.", where="faces", help="Give the part as one open sheet.")
    across = [float(np.linalg.norm(np.ptp(_loop_points(panels, loop), axis=0))) for loop in loops]
    outer = sorted(np.argsort(across)[-count:].tolist())
    holes = [loop for i, loop in enumerate(loops) if i not in outer]
    single = [loop for loop in holes if _one_wire(panels, loop)]
    gone = {trim.key for loop in single for _, trim in loop}
    kept = [_without(panel, gone) for panel in panels]
    skin = Skin(tuple(kept), tuple(inside), (), tuple(tuple(h) for h in holes if h not in single), len(single))
    return skin, [loops[i] for i in outer]


def _panel(face: Any, number: int, edges: Any, ends: Any, half: float, drawn: TriMesh) -> tuple[Panel, tuple[Floats, Floats]]:
    surface = _whole(BRep_Tool.Surface_s(face))
    turned = face.Orientation() == TopAbs_REVERSED
    uv, area = _spread(face)
    p, du, dv = tangents(surface, *uv.T)
    natural = normalised(np.cross(du, dv))
    sign = 1.0 if _facing(p, natural, drawn) >= 0 else -1.0
    outward = -1.0 if turned else 1.0
    # the middle lies at -half along the outward normal, that is rise along the normal up
    rise = -half * outward * sign
    forward = TopoDS.Face(face.Oriented(TopAbs_FORWARD))
    outer = BRepTools.OuterWire_s(forward)
    loops: list[tuple[Trim, ...]] = []
    walk = TopExp_Explorer(forward, TopAbs_WIRE)
    while walk.More():
        wire = walk.Current()
        loop = _loop(TopoDS.Wire(wire), forward, edges, ends)
        if loop:
            loops.insert(0, loop) if wire.IsSame(outer) else loops.append(loop)
        walk.Next()
    corners = np.vstack([points2(t.curve, np.linspace(t.first, t.last, 33)) for loop in loops for t in loop])
    low, high = corners.min(axis=0), corners.max(axis=0)
    wide = _MARGIN * (high - low)
    b = surface.Bounds()
    (u0, v0), (u1, v1) = low - wide, high + wide
    if not surface.IsUPeriodic():
        u0, u1 = max(u0, b[0]), min(u1, b[1])
    if not surface.IsVPeriodic():
        v0, v1 = max(v0, b[2]), min(v1, b[3])
    adaptor = GeomAdaptor_Surface(surface, float(u0), float(u1), float(v0), float(v1))
    base = CadBase(surface, sign, (u0, u1, v0, v1))
    panel = Panel(
        base, rise, tuple(loops), axis(u0, u1, breaks_of(adaptor, "U"), 4), axis(v0, v1, breaks_of(adaptor, "V"), 4), sign < 0,
        "part", f"part face {number}", surface,
    )  # fmt: skip
    return panel, (p + rise * sign * natural, area)


def _facing(points: Floats, normals: Floats, drawn: TriMesh) -> float:
    """Mean of the normals' cosines with those of the nearest triangles."""
    from igl import point_mesh_squared_distance

    _, cell, _ = point_mesh_squared_distance(np.ascontiguousarray(points), drawn.points, drawn.triangles.astype(np.int64))
    return float(np.einsum("ij,ij->i", drawn.normals[np.asarray(cell, dtype=np.int64).ravel()], normals).mean())


def _whole(surface: Any) -> Any:
    """The surface without the limits of its parameters."""
    while isinstance(surface, Geom_RectangularTrimmedSurface):
        surface = surface.BasisSurface()
    return surface


def _loop(wire: Any, face: Any, edges: Any, ends: Any) -> tuple[Trim, ...]:
    surface = _whole(BRep_Tool.Surface_s(face))
    out, walk = [], BRepTools_WireExplorer(wire, face)
    while walk.More():
        edge = walk.Current()
        on = BRepAdaptor_Curve2d(edge, face)
        curve = BRep_Tool.CurveOnSurface_s(edge, face, 0.0, 0.0)
        first, last = on.FirstParameter(), on.LastParameter()
        straight = TopoDS.Edge(edge.Oriented(TopAbs_FORWARD))
        keys = (("part", ends.Add(TopExp.FirstVertex_s(straight, False))), ("part", ends.Add(TopExp.LastVertex_s(straight, False))))
        breaks = breaks_of(Geom2dAdaptor_Curve(curve, first, last))
        collapsed = bool(BRep_Tool.Degenerated_s(edge))
        drawn = None
        if not collapsed:
            drawn = BRep_Tool.Curve_s(edge, 0.0, 0.0)
            breaks |= breaks_of(GeomAdaptor_Curve(drawn, first, last))
            curve = _true(curve, drawn, surface, axis(first, last, breaks, 8))
        out.append(
            Trim(("part", edges.Add(edge)), keys, curve, first, last, edge.Orientation() == TopAbs_REVERSED, breaks, collapsed, drawn)
        )
        walk.Next()
    return tuple(out)


def _true(curve: Any, drawn: Any, surface: Any, along: Axis) -> Any:
    """A trimming curve that runs under the designer's curve everywhere.

    The kernel makes those that a file leaves out and looks at a few points only: near the ends they may stray by hundredths of a millimetre.
    """
    dense = np.linspace(along.breaks[0], along.breaks[-1], 97)
    uv = points2(curve, dense)
    p, du, dv = tangents(surface, *uv.T)
    if np.linalg.norm(p - points3(drawn, dense), axis=1).max() <= _STRAY:
        return curve
    scale = np.array([np.linalg.norm(d, axis=1).mean() for d in (du, dv)])  # mm a unit of the parameter

    def under(t: Floats) -> Floats:
        uv, goal = points2(curve, t), points3(drawn, t)
        for _ in range(6):
            p, du, dv = tangents(surface, *uv.T)
            a, b, c = (np.einsum("ij,ij->i", x, y) for x, y in ((du, du), (du, dv), (dv, dv)))
            f, g = (np.einsum("ij,ij->i", goal - p, d) for d in (du, dv))
            det = np.maximum(a * c - b * b, 1e-300)
            uv = uv + np.stack([(c * f - b * g) / det, (a * g - b * f) / det], axis=1)
        return uv * scale

    found = fit_curve(under, along, 0.1 * _STRAY)
    return curve2(replace(found, poles=found.poles / scale))


def _spread(face: Any) -> tuple[Floats, Floats]:
    """Parameters ``(n, 2)`` of the middles of the kernel's triangles on a face, and their areas."""
    place = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, place)
    if mesh is None:
        raise SolveError("a CAD face of the part cannot be triangulated.", where="faces", help="Mend the part in CAD.")
    uv = np.array([(q.X(), q.Y()) for q in (mesh.UVNode(i) for i in range(1, mesh.NbNodes() + 1))])
    xyz = np.array([(q.X(), q.Y(), q.Z()) for q in (mesh.Node(i) for i in range(1, mesh.NbNodes() + 1))])
    cells = np.array([[mesh.Triangle(i).Value(j) - 1 for j in (1, 2, 3)] for i in range(1, mesh.NbTriangles() + 1)])
    a, b, c = (xyz[cells[:, i]] for i in range(3))
    return uv[cells].mean(axis=1), 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)


def _chained(free: list[tuple[int, Trim]]) -> list[list[tuple[int, Trim]]]:
    """Free edges as closed chains, each in its own order along the chain."""
    at: dict[Hashable, list[int]] = {}
    for i, (_, trim) in enumerate(free):
        for end in trim.ends:
            at.setdefault(end, []).append(i)
    left, loops = set(range(len(free))), []
    while left:
        start = min(left)
        left.remove(start)
        chain, tip, first = [start], free[start][1].ends[1], free[start][1].ends[0]
        while tip != first:
            nxt = [i for i in at[tip] if i in left]
            if not nxt:
                raise SolveError("the part's outer edge does not close.", where="faces", help="Mend the part in CAD.")
            left.remove(nxt[0])
            chain.append(nxt[0])
            ends = free[nxt[0]][1].ends
            tip = ends[1] if ends[0] == tip else ends[0]
        loops.append([free[i] for i in chain])
    return loops


def _loop_points(panels: list[Panel], loop: list[tuple[int, Trim]]) -> Floats:
    return np.vstack([panels[i].base.points(*points2(t.curve, np.linspace(t.first, t.last, 9)).T)[0] for i, t in loop])


def _one_wire(panels: list[Panel], loop: list[tuple[int, Trim]]) -> bool:
    """True if the loop is an inner outline of one face, which can simply be left out."""
    first, keys = loop[0][0], {t.key for _, t in loop}
    return any({t.key for t in inner} == keys for inner in panels[first].loops[1:])


def _without(panel: Panel, gone: set[Hashable]) -> Panel:
    kept = (panel.loops[0], *(loop for loop in panel.loops[1:] if not any(t.key in gone for t in loop)))
    return replace(panel, loops=kept) if len(kept) < len(panel.loops) else panel

"""Tools as files: STEP, and a DXF drawing of sections through the closed tools. Equal tools give equal bytes."""

from __future__ import annotations

import math
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
from OCP.Geom import Geom_BSplineCurve, Geom_Line, Geom_TrimmedCurve
from OCP.GeomConvert import GeomConvert
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
from OCP.IFSelect import IFSelect_RetDone
from OCP.Interface import Interface_Static
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopoDS import TopoDS

from diewright.errors import SolveError
from diewright.geometry.drawing import drawing
from diewright.geometry.mesh import TriMesh
from diewright.part.cad import subshapes

Floats = NDArray[np.float64]
Cut = tuple[str, float]
"""An axis across the cut, "x" or "y", and where it cuts it [mm]."""

_LAYERS = {"DIE": 5, "PUNCH": 1, "BLANKHOLDER": 3, "SHEET": 2, "TEXT": 7}


def step(bodies: Sequence[tuple[str, Any]], title: str) -> bytes:
    """A STEP file (AP214, mm) of shapes, each under its own product name; raises :class:`SolveError` if it cannot be written."""
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetCVal_s("write.step.schema", "AP214IS")
    names = [_plain(name) for name, _ in bodies]
    for name, (_, shape) in zip(names, bodies, strict=True):
        Interface_Static.SetCVal_s("write.step.product.name", name)
        writer.Transfer(shape, STEPControl_AsIs)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tool.step"
        if writer.Write(str(path)) != IFSelect_RetDone:
            raise SolveError("The STEP file could not be written.", where="faces", help="Check the space in the temporary folder.")
        text = path.read_text(encoding="latin-1")
    text = re.sub(r"(FILE_NAME\('[^']*',)'[^']*'", r"\1'1970-01-01T00:00:00'", text, count=1)
    for name in names:
        # the kernel counts its products on behind the name
        text = re.sub(rf"PRODUCT\('{re.escape(name)} \d+','{re.escape(name)} \d+'", f"PRODUCT('{name}','{name}'", text, count=1)
    return re.sub(r"FILE_NAME\('[^']*'", f"FILE_NAME('{_plain(title)}.step'", text, count=1).encode("latin-1")


def _plain(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9 ._-]", "_", name)[:60] or "tool"


def sections(shells: dict[str, Any], sheet: TriMesh, cuts: list[Cut]) -> tuple[bytes, dict[str, int]]:
    """A DXF R2010 drawing in mm of the cuts one above the other, a layer a tool and one for the middle of the sheet, and how many curves each layer has.

    Curves are lines and splines of the true surfaces; the sheet is a polyline of its triangles. Raises :class:`SolveError` if the drawing fails its own audit.
    """
    with drawing() as made:
        for layer, colour in _LAYERS.items():
            made.doc.layers.add(layer, color=colour)
        space, count = made.space, dict.fromkeys(_LAYERS, 0)
        low, high = sheet.points.min(axis=0), sheet.points.max(axis=0)
        pitch = 1.5 * float(high[2] - low[2]) + 40.0
        for row, (across, at) in enumerate(cuts):
            lift = -row * pitch
            space.add_text(f"{across} = {at:.3f} mm", height=5.0, dxfattribs={"layer": "TEXT"}).set_placement((float(low[0]), lift + 15.0))
            count["TEXT"] += 1
            for name, shell in shells.items():
                for piece in _cut(shell, across, at):
                    _draw(space, name.upper(), piece, across, lift)
                    count[name.upper()] += 1
            for line in sheet_lines(sheet, across, at):
                space.add_lwpolyline([(float(p), float(q) + lift) for p, q in line], dxfattribs={"layer": "SHEET"})
                count["SHEET"] += 1
    return made.content, count


def _cut(shell: Any, across: str, at: float) -> list[tuple[Any, float, float]]:
    """Curves, with their ranges, in which a plane cuts a shell."""
    place = gp_Pnt(at, 0.0, 0.0) if across == "x" else gp_Pnt(0.0, at, 0.0)
    way = gp_Dir(1, 0, 0) if across == "x" else gp_Dir(0, 1, 0)
    maker = BRepAlgoAPI_Section(shell, gp_Pln(place, way), False)
    maker.Approximation(True)
    maker.Build()
    if not maker.IsDone():
        raise SolveError(f"the section at {across} = {at:g} mm cannot be made.", where="faces", help="Choose another place for it.")
    out = []
    for item in subshapes(maker.Shape(), TopAbs_EDGE):
        edge = TopoDS.Edge(item)
        curve = BRep_Tool.Curve_s(edge, 0.0, 0.0)
        on = BRepAdaptor_Curve(edge)
        if curve is not None:
            out.append((curve, on.FirstParameter(), on.LastParameter()))
    # the kernel lists them by where they lie in memory
    return sorted(out, key=_middle)


def _middle(piece: tuple[Any, float, float]) -> tuple[float, float, float]:
    p = piece[0].Value(0.5 * (piece[1] + piece[2]))
    return round(p.X(), 6), round(p.Y(), 6), round(p.Z(), 6)


def _draw(space: Any, layer: str, piece: tuple[Any, float, float], across: str, lift: float) -> None:
    from ezdxf.math import BSpline

    curve, first, last = piece

    def flat(p: Any) -> tuple[float, float]:
        return (p.Y() if across == "x" else p.X(), p.Z() + lift)

    if isinstance(curve, Geom_Line):
        space.add_line(flat(curve.Value(first)), flat(curve.Value(last)), dxfattribs={"layer": layer})
        return
    spline: Geom_BSplineCurve = GeomConvert.CurveToBSplineCurve_s(Geom_TrimmedCurve(curve, first, last))
    if spline.IsPeriodic():
        spline.SetNotPeriodic()
    poles = [(*flat(spline.Pole(i)), 0.0) for i in range(1, spline.NbPoles() + 1)]
    knots = [spline.Knot(i) for i in range(1, spline.NbKnots() + 1) for _ in range(spline.Multiplicity(i))]
    weights = [spline.Weight(i) for i in range(1, spline.NbPoles() + 1)] if spline.IsRational() else None
    made = BSpline(poles, order=spline.Degree() + 1, knots=knots, weights=weights)
    space.add_spline(dxfattribs={"layer": layer}).apply_construction_tool(made)


def sheet_lines(mesh: TriMesh, across: str, at: float) -> list[Floats]:
    """Lines ``(n, 2)`` in which the plane cuts a mesh, in (y, z) or (x, z)."""
    axis = 0 if across == "x" else 1
    height = mesh.points[:, axis] - at
    height = np.where(height == 0.0, 1e-12, height)  # a point in the plane counts to one side
    t = mesh.triangles.astype(np.int64)
    crossing: dict[tuple[int, int], list[int]] = {}
    points: dict[tuple[int, int], Floats] = {}
    mixed = np.flatnonzero(np.abs(np.sign(height[t]).sum(axis=1)) < 3)
    for i in mixed.tolist():
        for a, b in ((t[i, 0], t[i, 1]), (t[i, 1], t[i, 2]), (t[i, 2], t[i, 0])):
            if height[a] * height[b] < 0:
                key = (int(min(a, b)), int(max(a, b)))
                crossing.setdefault(key, []).append(i)
                share = height[key[0]] / (height[key[0]] - height[key[1]])
                points[key] = mesh.points[key[0]] + share * (mesh.points[key[1]] - mesh.points[key[0]])
    of: dict[int, list[tuple[int, int]]] = {}
    for key, cells in crossing.items():
        for i in cells:
            of.setdefault(i, []).append(key)
    left, out = set(crossing), []
    while left:
        ends = [k for k in left if len(crossing[k]) == 1]
        key = min(ends) if ends else min(left)
        line, cell = [key], crossing[key][0]
        left.discard(key)
        while True:
            nxt = [k for k in of[cell] if k in left]
            if not nxt:
                break
            key = nxt[0]
            left.discard(key)
            line.append(key)
            other = [c for c in crossing[key] if c != cell]
            if not other:
                break
            cell = other[0]
        out.append(np.array([points[k][[1 - axis, 2]] for k in line]))
    return out


def default_cuts(mesh: TriMesh) -> list[Cut]:
    """Two cuts across x and two across y: through the middle and a quarter of the way out."""
    low, high = mesh.points[:, :2].min(axis=0), mesh.points[:, :2].max(axis=0)
    middle, wide = 0.5 * (low + high), high - low
    # a hair off round figures: a plane along an edge of a face cuts it in no clear line
    hair = 1e-3 * math.sqrt(2.0)
    return [(name, float(middle[i] + share * wide[i] + hair)) for i, name in enumerate("xy") for share in (0.0, 0.25)]

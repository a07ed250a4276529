"""Flat outlines as shop-floor files: DXF (R2010, mm, true entities) and STEP (a wire and a planar face).

The same outlines give the same bytes: no dates and no random identifiers go into the files.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.drawing import drawing
from diewright.geometry.nofit import turned
from diewright.geometry.pieces import Arc, Line, Outline, Piece, Spline

Floats = NDArray[np.float64]

# Purpose -> colour index and line type, as on a drawing-office plot: outlines black, helps thin.
_LAYERS: dict[str, tuple[int, str, int]] = {
    "BLANK_OUTLINE": (7, "CONTINUOUS", 50), "NET_OUTLINE": (3, "DASHED", 25), "HOLES": (1, "CONTINUOUS", 35),
    "CENTRE": (2, "CENTER", 18), "ROLLING_DIRECTION": (5, "CONTINUOUS", 25), "STRIP_EDGE": (7, "CONTINUOUS", 35),
    "PITCH": (2, "CENTER", 18), "TEXT": (7, "CONTINUOUS", 18),
}  # fmt: skip


@dataclass(frozen=True)
class Note:
    """A line of text at a place [mm], ``height`` [mm]."""

    text: str
    at: tuple[float, float]
    height: float = 5.0


Content = Outline | Piece | Note


def dxf(layers: Mapping[str, Sequence[Content]]) -> bytes:
    """A DXF R2010 drawing in mm with one layer per purpose; raises :class:`SolveError` if its own audit finds a fault.

    Lines become LINE, arcs ARC, whole circles CIRCLE, splines SPLINE.
    """
    from ezdxf.math import BSpline

    with drawing(linetypes=True) as made:
        doc, space = made.doc, made.space
        for name, content in layers.items():
            colour, linetype, weight = _LAYERS.get(name, (7, "CONTINUOUS", 25))
            if name not in doc.layers:
                doc.layers.add(name, color=colour, linetype=linetype, lineweight=weight)
            look = {"layer": name}
            for item in content:
                if isinstance(item, Note):
                    space.add_text(item.text, height=item.height, dxfattribs=look).set_placement(item.at)
                    continue
                full = item.circle if isinstance(item, Outline) else None
                if full is not None:
                    space.add_circle(tuple(full[0]), full[1], dxfattribs=look)
                    continue
                for piece in item.pieces if isinstance(item, Outline) else (item,):
                    if isinstance(piece, Line):
                        space.add_line(tuple(piece.start), tuple(piece.end), dxfattribs=look)
                    elif isinstance(piece, Arc):
                        a, b = np.degrees(piece.begin), np.degrees(piece.begin + piece.sweep)
                        space.add_arc(tuple(piece.centre), piece.radius, a, b, is_counter_clockwise=piece.sweep > 0, dxfattribs=look)
                    else:
                        control = [(float(x), float(y), 0.0) for x, y in piece.control]
                        curve = BSpline(control, order=4, knots=[float(k) for k in piece.knots])
                        space.add_spline(dxfattribs=look).apply_construction_tool(curve)
    return made.content


def dxf_text_height(size: float) -> float:
    """Text height [mm] that reads well on a drawing of an object ``size`` [mm] large."""
    return float(np.clip(size / 40.0, 2.5, 20.0))


def moved(item: Outline, turn: float, shift: tuple[float, float]) -> Outline:
    """An outline turned by ``turn`` [rad] about the origin, then shifted [mm]."""
    return Outline(tuple(_moved(p, turn, np.asarray(shift, dtype=np.float64)) for p in item.pieces))


def _moved(p: Piece, turn: float, shift: Floats) -> Piece:
    if isinstance(p, Line):
        return Line(turned(p.start, turn) + shift, turned(p.end, turn) + shift)
    if isinstance(p, Arc):
        return Arc(turned(p.centre, turn) + shift, p.radius, p.begin + turn, p.sweep)
    return Spline(p.knots, turned(p.control, turn) + shift)


def step(outline: Outline, holes: Sequence[Outline] = (), name: str = "blank") -> bytes:
    """A STEP file (AP214, mm) with one planar face bounded by the outline, less the holes.

    Raises :class:`SolveError` if the wire does not close or the face's area is not that of the outline within 1e-6.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.BRepGProp import BRepGProp
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
    from OCP.GProp import GProp_GProps
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Interface import Interface_Static
    from OCP.Message import Message, Message_PrinterOStream
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer

    Message.DefaultMessenger_s().RemovePrinters(Message_PrinterOStream.get_type_descriptor_s())
    plane = gp_Pln(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))
    sign = 1.0 if outline.area > 0 else -1.0
    face_maker = BRepBuilderAPI_MakeFace(plane, _wire(outline), True)
    for hole in holes:
        wire = _wire(hole if hole.area * sign < 0 else Outline(tuple(p.reversed() for p in reversed(hole.pieces))))
        face_maker.Add(wire)
    if not face_maker.IsDone():
        raise SolveError("The outline could not be made into a planar face.", where="step")
    face = face_maker.Face()
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, props, 1e-9)
    want = abs(outline.area) - sum(abs(h.area) for h in holes)
    if abs(abs(props.Mass()) - want) > 1e-6 * max(want, 1.0):
        raise SolveError(f"The face in the STEP file has {props.Mass():.6f} mm2 where the outline has {want:.6f} mm2.", where="step")
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    name = re.sub(r"[^A-Za-z0-9 ._-]", "_", name)[:60] or "blank"
    Interface_Static.SetCVal_s("write.step.product.name", name)
    writer.Transfer(face, STEPControl_AsIs)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "outline.step"
        if writer.Write(str(path)) != IFSelect_RetDone:
            raise SolveError("The STEP file could not be written.", where="step", help="Check the space in the temporary folder.")
        text = path.read_text(encoding="latin-1")
    # The header's date would make equal outlines give different files.
    text = re.sub(r"(FILE_NAME\('[^']*',)'[^']*'", r"\1'1970-01-01T00:00:00'", text, count=1)
    # The library numbers the products of a session.
    text = re.sub(rf"PRODUCT\('{re.escape(name)} \d+','{re.escape(name)} \d+'", f"PRODUCT('{name}','{name}'", text)
    text = re.sub(r"FILE_NAME\('[^']*'", f"FILE_NAME('{name}.step'", text, count=1)
    return text.encode("latin-1")


def _wire(outline: Outline) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.collections import Array1_double, Array1_gp_Pnt, Array1_int
    from OCP.Geom import Geom_BSplineCurve, Geom_Circle, Geom_TrimmedCurve
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    maker = BRepBuilderAPI_MakeWire()
    for piece in outline.pieces:
        if isinstance(piece, Line):
            edge = BRepBuilderAPI_MakeEdge(gp_Pnt(*piece.start, 0.0), gp_Pnt(*piece.end, 0.0))
        elif isinstance(piece, Arc):
            # A clockwise arc is a counter-clockwise one about the opposite axis; x stays, so the angle changes sign.
            up = 1.0 if piece.sweep > 0 else -1.0
            axis = gp_Ax2(gp_Pnt(*piece.centre, 0.0), gp_Dir(0, 0, up), gp_Dir(1, 0, 0))
            begin = up * piece.begin
            edge = BRepBuilderAPI_MakeEdge(Geom_TrimmedCurve(Geom_Circle(axis, piece.radius), begin, begin + abs(piece.sweep)))
        else:
            poles = Array1_gp_Pnt(1, len(piece.control))
            for i, (x, y) in enumerate(piece.control, start=1):
                poles.SetValue(i, gp_Pnt(float(x), float(y), 0.0))
            at, times = np.unique(piece.knots, return_counts=True)
            knots, mults = Array1_double(1, len(at)), Array1_int(1, len(at))
            for i, (k, m) in enumerate(zip(at, times, strict=True), start=1):
                knots.SetValue(i, float(k))
                mults.SetValue(i, int(m))
            edge = BRepBuilderAPI_MakeEdge(Geom_BSplineCurve(poles, knots, mults, 3))
        if not edge.IsDone():
            raise SolveError("A piece of the outline could not be made into an edge.", where="step")
        maker.Add(edge.Edge())
        if not maker.IsDone():
            raise SolveError("The pieces of the outline do not close to a wire.", where="step")
    return maker.Wire()

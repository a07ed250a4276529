"""Small parts in CAD and what the stage makes of them, for the tests of the faces as CAD."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely

from diewright.die.edge import find_edge
from diewright.die.extend import lead_on
from diewright.die.fit import plain, settle
from diewright.die.holder import Holder
from diewright.die.holder_shape import Cylinder, Shape
from diewright.die.made import make
from diewright.die.seams import Origin
from diewright.die.surface import fine_surface, same_loop, whole_normals
from diewright.die.zones import split
from diewright.part.holes import outer_loop
from diewright.part.reader import read
from diewright.part.tipping import press_frame


def write_step(shape: Any, path: Path) -> Path:
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer

    from diewright.part.cad import silence

    silence()
    writer = STEPControl_Writer()
    writer.Transfer(shape, STEPControl_AsIs)
    writer.Write(str(path))
    return path


def pan(path: Path, corner: float = 20.0, nose: float = 8.0, size: tuple[float, float, float] = (120.0, 90.0, 25.0)) -> Path:
    """An open box without thickness, upright corners and bottom rounded; ``nose`` 0 leaves the bottom edge sharp."""
    from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
    from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
    from OCP.TopoDS import TopoDS

    from diewright.part.cad import compound, corners, subshapes

    def spread(shape: Any) -> np.ndarray:
        low, high = corners(shape)
        return np.abs(np.array(high) - np.array(low))

    box = BRepPrimAPI_MakeBox(*size).Shape()
    fillet = BRepFilletAPI_MakeFillet(box)
    for edge in subshapes(box, TopAbs_EDGE):
        if spread(edge)[2] > 1.0:
            fillet.Add(corner, TopoDS.Edge(edge))
    solid = fillet.Shape()
    if nose:
        fillet = BRepFilletAPI_MakeFillet(solid)
        low = next(e for e in subshapes(solid, TopAbs_EDGE) if spread(e)[2] < 1e-6 and corners(e)[0][2] < 1e-6)
        fillet.Add(nose, TopoDS.Edge(low))
        solid = fillet.Shape()
    open_box = [f for f in subshapes(solid, TopAbs_FACE) if corners(f)[0][2] < size[2] - 1e-3]
    return write_step(compound(open_box), path)


def bowl(path: Path) -> Path:
    """A dome with a flange as one face of revolution: no edge between what is held and what is drawn."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.collections import Array1_gp_Pnt
    from OCP.GeomAPI import GeomAPI_PointsToBSpline
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    r = np.linspace(0.0, 60.0, 25)
    points = Array1_gp_Pnt(1, len(r))
    for i, x in enumerate(r, start=1):
        points.SetValue(i, gp_Pnt(float(x), 0.0, float(12.0 * np.tanh((x - 30.0) / 6.0))))
    edge = BRepBuilderAPI_MakeEdge(GeomAPI_PointsToBSpline(points).Curve()).Edge()
    return write_step(BRepPrimAPI_MakeRevol(edge, gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))).Shape(), path)


CROWN = Cylinder((1.0, 0.0), (-90.0, -45.0, 0.0, 45.0, 90.0), (0.0, 6.0, 8.0, 6.0, 0.0))
"""A blankholder that rises by 8 mm in the middle."""


def asked_of(
    path: Path,
    thickness: float,
    extra: float = 0.2,
    direction: tuple[float, float, float] = (0.0, 0.0, -1.0),
    curved: Shape | None = None,
    **sizes: float,
) -> dict[str, Any]:
    """Everything that the call needs for a part whose punch travels along ``direction``, as the stage gets it; the blank is taken 30 mm larger than the part;
    ``curved`` leads it on over land, punch radius, wall and die radius to a blankholder of that shape."""
    shape = read(path, **sizes)
    rotation, shift = press_frame(shape.mesh, np.array(direction))
    mesh = shape.mesh.moved(rotation, shift)
    turned = float(mesh.doubled_normals[:, 2].sum()) < 0
    exact = (-1.0 if turned else 1.0) * shape.point_normal @ rotation.T
    fine = fine_surface(mesh, exact, 0.02 * thickness, 12.0)
    edge = find_edge(fine.mesh, same_loop(fine.mesh, outer_loop(mesh)))
    outline = np.asarray(shapely.Polygon(mesh.points[outer_loop(mesh)][:, :2]).buffer(30.0).exterior.coords)[:-1]
    lead = holder = None
    if curved is not None:
        lead = plain(edge, 4.0, 5.0 + 0.5 * thickness, 6.0, np.radians(6.0), "profile")
        holder = settle(edge, lead, Holder(0.0, curved))
    drawn = lead_on(fine.mesh, whole_normals(fine), edge, outline, 4.0, 5.0 + 0.5 * thickness, 0.02 * thickness, 4.0, lead, holder)
    zones = split(drawn, thickness)
    made = make(drawn, zones, thickness, extra, Origin(shape.face[fine.parent], len(mesh.points)))
    return {
        "path": path, "unit": "", "numbers": sorted(set(shape.face.tolist())),
        "skin_depth": 0.5 * shape.values["thickness_found"] if shape.values["skin_used"] == "middle" else 0.0, "rotation": rotation, "shift": shift,
        "drawn": drawn, "zones": zones, "rule": made.rule, "tools": {"die": made.die, "punch": made.punch, "blankholder": made.blankholder}, "thickness": thickness, "extra": extra,
    }  # fmt: skip

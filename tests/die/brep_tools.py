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
from diewright.geometry.fill import fill_holes
from diewright.geometry.mesh import TriMesh
from diewright.part.holes import outer_loop
from diewright.part.reader import read
from diewright.part.tipping import press_frame
from diewright.shape.bridge import bridge
from diewright.shape.copies import placed, placements


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


def pierced(path: Path, at: tuple[float, float], radius: float, nose: float = 8.0) -> Path:
    """The pan with a round hole drilled straight down."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.STEPControl import STEPControl_Reader

    reader = STEPControl_Reader()
    reader.ReadFile(str(pan(path, nose=nose)))
    reader.TransferRoots()
    drill = BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(*at, -5.0), gp_Dir(0, 0, 1)), radius, 25.0).Shape()
    return write_step(BRepAlgoAPI_Cut(reader.OneShape(), drill).Shape(), path)


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
    filled: bool = False,
    copies: str = "one",
    **sizes: float,
) -> dict[str, Any]:
    """Everything that the call needs for a part whose punch travels along ``direction``, as the stage gets it; the blank is taken 30 mm larger than the part;
    ``copies`` lays a second part beside it ("mirrored", "turned" or "shifted"), 12 mm clear, and bridges the two; ``filled`` closes its holes as the solution does before the faces are made; ``curved`` leads it on over land, punch radius, wall and die radius to a blankholder of that shape."""
    shape = read(path, **sizes)
    rotation, shift = press_frame(shape.mesh, np.array(direction))
    mesh = shape.mesh.moved(rotation, shift)
    turned = float(mesh.doubled_normals[:, 2].sum()) < 0
    exact = (-1.0 if turned else 1.0) * shape.point_normal @ rotation.T
    more, own = {}, shape.face
    if copies != "one":
        mesh = mesh.reversed() if turned else mesh
        places = placements(mesh, copies, 0.0, 12.0)
        count = len(mesh.points)
        both = [mesh.triangles, mesh.triangles[:, ::-1] if copies == "mirrored" else mesh.triangles]
        mesh = TriMesh(np.vstack([placed(mesh.points, m) for m in places]), np.vstack([both[0], both[1] + count]))
        exact, own = np.vstack([exact @ m[:3, :3].T for m in places]), np.tile(own, 2)
        joint = bridge(mesh, exact, len(both[0]), 0.0, thickness, 12.0)
        mesh = TriMesh(np.vstack([mesh.points, joint.points]), np.vstack([mesh.triangles, joint.triangles]))
        own = np.concatenate([own, np.full(len(joint.triangles), -1)])
        more = {"copies": places, "runs": joint.runs}
    given, outer = len(exact), outer_loop(mesh)
    whole = fill_holes(mesh, [i for i, loop in enumerate(mesh.boundary_loops) if not np.array_equal(loop, outer)]) if filled else None
    face = own if whole is None else np.concatenate([own, np.full(int(whole.new_triangles.sum()), -1, dtype=np.int64)])
    fine = fine_surface(mesh if whole is None else whole.mesh, exact, 0.02 * thickness, 12.0)
    edge = find_edge(fine.mesh, same_loop(fine.mesh, outer))
    outline = np.asarray(shapely.Polygon(mesh.points[outer][:, :2]).buffer(30.0).exterior.coords)[:-1]
    lead = holder = None
    if curved is not None:
        lead = plain(edge, 4.0, 5.0 + 0.5 * thickness, 6.0, np.radians(6.0), "profile")
        holder = settle(edge, lead, Holder(0.0, curved))
    drawn = lead_on(fine.mesh, whole_normals(fine), edge, outline, 4.0, 5.0 + 0.5 * thickness, 0.02 * thickness, 4.0, lead, holder)
    zones = split(drawn, thickness)
    made = make(drawn, zones, thickness, extra, Origin(face[fine.parent], given))
    return {
        "path": path, "unit": "", "numbers": sorted(set(shape.face.tolist())),
        "skin_depth": 0.5 * shape.values["thickness_found"] if shape.values["skin_used"] == "middle" else 0.0, "rotation": rotation, "shift": shift,
        "drawn": drawn, "zones": zones, "rule": made.rule, "tools": {"die": made.die, "punch": made.punch, "blankholder": made.blankholder}, "thickness": thickness, "extra": extra, **more,
    }  # fmt: skip


BEADED = {"plateau": 12.0, "bead": 4.0, "steep": 45.0, "floor": 34.0, "nose": 6.0, "lean": 12.0, "wall": 8.0, "shoulder": 7.0, "rim": 15.0}
"""A cup of revolution [mm, deg]: plateau radius, ring bead of two arcs up to ``steep``, radius to which the floor is level, bottom radius, wall ``lean`` from upright, its length, shoulder radius, width of the flange."""

Piece = tuple[tuple[float, float], tuple[float, float], float]


def beaded_section(bead: float) -> list[Piece]:
    """The cup's section from the axis outwards, floor at z = 0: ``(start (r, z), end (r, z), radius)``, the radius positive where the section bends up, 0 for a line."""
    b = BEADED
    s, a = np.radians(b["steep"]), np.radians(90.0 - b["lean"])
    drop, way = bead * (1 - np.cos(s)), bead * np.sin(s)
    p = [(0.0, 2 * drop), (b["plateau"], 2 * drop), (b["plateau"] + way, drop), (b["plateau"] + 2 * way, 0.0), (b["floor"], 0.0)]
    for radius, length in ((b["nose"], 0.0), (0.0, b["wall"]), (b["shoulder"], 0.0)):
        r, z = p[-1]
        step = (length * np.cos(a), length * np.sin(a)) if length else (radius * np.sin(a), radius * (1 - np.cos(a)))
        p.append((r + step[0], z + step[1]))
    p.append((p[-1][0] + b["rim"], p[-1][1]))
    bends = (0.0, -bead, bead, 0.0, b["nose"], 0.0, -b["shoulder"], 0.0)
    return [(p[i], p[i + 1], k) for i, k in enumerate(bends)]


def beaded(path: Path, bead: float = BEADED["bead"]) -> Path:
    """The cup of :func:`beaded_section` as CAD: planes, cones and tori."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    wire = BRepBuilderAPI_MakeWire()
    for piece in beaded_section(bead):
        a, m, b = (gp_Pnt(float(r), 0.0, float(z)) for r, z in along(piece, np.array([0.0, 0.5, 1.0]))[0])
        edge = BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(a, m, b).Value()) if piece[2] else BRepBuilderAPI_MakeEdge(a, b)
        wire.Add(edge.Edge())
    return write_step(BRepPrimAPI_MakeRevol(wire.Wire(), gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))).Shape(), path)


def along(piece: Piece, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points (r, z) of a piece of a section and unit normals up ``(n, 2)`` at shares of its length."""
    start, end, radius = np.array(piece[0]), np.array(piece[1]), piece[2]
    chord = end - start
    slope = np.arctan2(chord[1], chord[0])
    if not radius:
        return start + share[:, None] * chord, np.tile([-np.sin(slope), np.cos(slope)], (len(share), 1))
    turn = 2.0 * np.arcsin(0.5 * np.hypot(*chord) / radius)
    angle = slope + (share - 0.5) * turn
    first = slope - 0.5 * turn
    way = radius * np.column_stack([np.sin(angle) - np.sin(first), np.cos(first) - np.cos(angle)])
    return start + way, np.column_stack([-np.sin(angle), np.cos(angle)])

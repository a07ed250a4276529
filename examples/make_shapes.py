"""Make the CAD of the three example jobs: ``python examples/make_shapes.py [folder]``.

Everything is invented for the examples. The fascia is the job of the demonstration: the side fascia of a lever espresso machine,
drawn from 0.8 mm drawing steel, pierced in the crown, trimmed, polished and plated. The cup is deep enough to need redraws;
the panel is the cover of a shop counter's edge, long and shallow. Coordinates: mm, the flange (or mouth) lies in a plane of constant z.
"""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire, BRepBuilderAPI_Sewing
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
from OCP.BRepGProp import BRepGProp
from OCP.BRepOffsetAPI import BRepOffsetAPI_MakeThickSolid, BRepOffsetAPI_ThruSections
from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakePrism, BRepPrimAPI_MakeRevol
from OCP.GC import GC_MakeArcOfCircle
from OCP.gp import gp_Ax1, gp_Ax2, gp_Dir, gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_RetDone
from OCP.Interface import Interface_Static
from OCP.Message import Message
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Controller, STEPControl_Writer
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_REVERSED, TopAbs_SHELL, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Shape, TopoDS_Shell

Point = tuple[float, float, float]


def explore(shape: TopoDS_Shape, kind: object) -> list[TopoDS_Shape]:
    """The sub-shapes of one kind, each once."""
    found, walk = [], TopExp_Explorer(shape, kind)
    while walk.More():
        if not any(walk.Current().IsSame(s) for s in found):
            found.append(walk.Current())
        walk.Next()
    return found


def line(a: Point, b: Point) -> TopoDS_Shape:
    return BRepBuilderAPI_MakeEdge(gp_Pnt(*a), gp_Pnt(*b)).Edge()


def arc(a: Point, through: Point, b: Point) -> TopoDS_Shape:
    return BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(gp_Pnt(*a), gp_Pnt(*through), gp_Pnt(*b)).Value()).Edge()


def wire(edges: list[TopoDS_Shape]) -> TopoDS_Shape:
    made = BRepBuilderAPI_MakeWire()
    for edge in edges:
        made.Add(edge)
    return made.Wire()


def outline(half_x: float, half_y: float, corner: float, z: float, inset: float = 0.0, side_radius: float = 0.0) -> TopoDS_Shape:
    """A rounded rectangle at height ``z``, moved inwards by ``inset`` (negative: outwards); with ``side_radius`` the +y side bulges.

    Corner centres stay where they are when the outline is inset, so two insets at two heights give plane and conical walls.
    """
    r = corner - inset
    cx, low = half_x - corner, -half_y + corner
    if side_radius:
        # the arc of the +y side has its top at y = half_y; a corner circle touches it from inside
        yc = half_y - side_radius
        high = yc + math.sqrt((side_radius - corner) ** 2 - cx**2)
        reach = math.atan2(cx, high - yc)
    else:
        high, reach, yc = half_y - corner, 0.0, 0.0

    def at(centre: tuple[float, float], angle: float) -> Point:
        return (centre[0] + r * math.cos(angle), centre[1] + r * math.sin(angle), z)

    ne, nw, sw, se = (cx, high), (-cx, high), (-cx, low), (cx, low)
    top = math.pi / 2
    e1, e2, e3 = at(ne, 0), at(ne, 0.5 * (top - reach)), at(ne, top - reach)
    w1, w2, w3 = at(nw, top + reach), at(nw, 0.5 * (top + reach + math.pi)), at(nw, math.pi)
    s1, s2, s3 = at(sw, math.pi), at(sw, 1.25 * math.pi), at(sw, 1.5 * math.pi)
    t1, t2, t3 = at(se, 1.5 * math.pi), at(se, 1.75 * math.pi), at(se, 2 * math.pi)
    north = arc(e3, (0.0, half_y - inset, z), w1) if side_radius else line(e3, w1)
    return wire([arc(e1, e2, e3), north, arc(w1, w2, w3), line(w3, s1), arc(s1, s2, s3), line(s3, t1), arc(t1, t2, t3), line(t3, e1)])


def loft(wires: list[TopoDS_Shape], ruled: bool = True) -> TopoDS_Shape:
    made = BRepOffsetAPI_ThruSections(True, ruled)
    for w in wires:
        made.AddWire(w)
    made.CheckCompatibility(False)
    made.Build()
    return made.Shape()


def prism(outer: TopoDS_Shape, height: float) -> TopoDS_Shape:
    return BRepPrimAPI_MakePrism(BRepBuilderAPI_MakeFace(outer).Face(), gp_Vec(0, 0, height)).Shape()


def crowned_body(top: float, long_radius: float, cross_radius: float, half: float, reach: float) -> TopoDS_Shape:
    """Everything below a doubly curved crown whose top is at (0, 0, ``top``): an arc of ``cross_radius`` turned about an axis along y.

    ``half`` is half the width the crown must cover, ``reach`` half the length; the body is a sector of a ring.
    """
    drop = cross_radius - math.sqrt(cross_radius**2 - half**2)
    base = top - 120.0
    section = wire([
        arc((0, -half, top - drop), (0, 0, top), (0, half, top - drop)),
        line((0, half, top - drop), (0, half, base)),
        line((0, half, base), (0, -half, base)),
        line((0, -half, base), (0, -half, top - drop)),
    ])  # fmt: skip
    axis = gp_Ax1(gp_Pnt(0, 0, top - long_radius), gp_Dir(0, 1, 0))
    angle = 1.05 * math.asin(reach / long_radius)
    face = BRepBuilderAPI_MakeFace(section).Face()
    forth = BRepPrimAPI_MakeRevol(face, axis, angle).Shape()
    back = BRepPrimAPI_MakeRevol(face, axis, -angle).Shape()
    return unified(BRepAlgoAPI_Fuse(forth, back).Shape())


def unified(shape: TopoDS_Shape) -> TopoDS_Shape:
    from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain

    made = ShapeUpgrade_UnifySameDomain(shape, True, True, True)
    made.Build()
    return made.Shape()


def extent(shape: TopoDS_Shape) -> tuple[Point, Point]:
    """Low and high corner of the bounding box."""
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    a, b = box.CornerMin(), box.CornerMax()
    return (a.X(), a.Y(), a.Z()), (b.X(), b.Y(), b.Z())


def heights(edge: TopoDS_Shape) -> tuple[float, float]:
    low, high = extent(edge)
    return low[2], high[2]


def filleted(body: TopoDS_Shape, pick: object, radius: float) -> TopoDS_Shape:
    """Round every edge for which ``pick(edge)`` holds."""
    made = BRepFilletAPI_MakeFillet(body)
    edges = [e for e in explore(body, TopAbs_EDGE) if not BRep_Tool.Degenerated_s(TopoDS.Edge(e)) and pick(e)]
    if not edges:
        raise RuntimeError("no edge to round")
    for edge in edges:
        made.Add(radius, TopoDS.Edge(edge))
    made.Build()
    return made.Shape()


def face_normal_z(face: TopoDS_Shape) -> tuple[float, float, float]:
    """z of the outward normal in the middle of a face, and the lowest and highest z of the face."""
    surface = BRepAdaptor_Surface(TopoDS.Face(face))
    u = 0.5 * (surface.FirstUParameter() + surface.LastUParameter())
    v = 0.5 * (surface.FirstVParameter() + surface.LastVParameter())
    p, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1(u, v, p, du, dv)
    normal = du.Crossed(dv)
    z = normal.Z() / max(normal.Magnitude(), 1e-12)
    low, high = heights(face)
    return (-z if face.Orientation() == TopAbs_REVERSED else z), low, high


def skin_of(body: TopoDS_Shape, floor: float) -> TopoDS_Shell:
    """The faces of ``body`` that do not reach below ``floor``: the one skin the part is made from."""
    sewing = BRepBuilderAPI_Sewing(1e-4)
    for face in explore(body, TopAbs_FACE):
        _, low, _ = face_normal_z(face)
        if low > floor:
            sewing.Add(face)
    sewing.Perform()
    shells = explore(sewing.SewedShape(), TopAbs_SHELL)
    if len(shells) != 1:
        raise RuntimeError(f"the skin came out as {len(shells)} shells")
    return TopoDS.Shell(shells[0])


def thickened(skin: TopoDS_Shell, thickness: float) -> TopoDS_Shape:
    """A solid sheet: ``skin`` and its offset by ``thickness`` (negative: against the normals)."""
    made = BRepOffsetAPI_MakeThickSolid()
    made.MakeThickSolidBySimple(skin, thickness)
    solid = TopoDS.Solid(explore(made.Shape(), TopAbs_SOLID)[0])
    return solid if volume(solid) > 0 else TopoDS.Solid(solid.Reversed())


def volume(shape: TopoDS_Shape) -> float:
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props)
    return props.Mass()


def area(shape: TopoDS_Shape) -> float:
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(shape, props)
    return props.Mass()


def drilled(body: TopoDS_Shape, tools: list[TopoDS_Shape]) -> TopoDS_Shape:
    for tool in tools:
        body = BRepAlgoAPI_Cut(body, tool).Shape()
    return explore(body, TopAbs_SOLID)[0] if explore(body, TopAbs_SOLID) else explore(body, TopAbs_SHELL)[0]


def drill(x: float, y: float, diameter: float) -> TopoDS_Shape:
    return BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(x, y, -50), gp_Dir(0, 0, 1)), diameter / 2, 150).Shape()


def slot(x: float, y: float, width: float, length: float) -> TopoDS_Shape:
    """A slot along x with round ends, as a cutting tool."""
    a, r = 0.5 * (length - width), 0.5 * width
    edges = [
        line((x - a, y - r, -50), (x + a, y - r, -50)),
        arc((x + a, y - r, -50), (x + a + r, y, -50), (x + a, y + r, -50)),
        line((x + a, y + r, -50), (x - a, y + r, -50)),
        arc((x - a, y + r, -50), (x - a - r, y, -50), (x - a, y - r, -50)),
    ]
    return prism(wire(edges), 150)


def fascia() -> tuple[TopoDS_Shape, TopoDS_Shape]:
    """Side fascia, 320 x 180 x 40 mm: crowned top (R 1600 by R 700), walls with 7 degrees of draft, flange of 8 mm, three holes.

    Returns the solid sheet of 0.8 mm and the one-sided surface (its outer skin).
    """
    height, draft, flange, thickness = 40.0, math.radians(7.0), 8.0, 0.8
    half_x, half_y, corner, side = 147.0, 77.0, 42.0, 1100.0  # the wall's foot, before the foot radius
    foot_radius, crown_radius = 6.0, 9.0
    wall = loft([
        outline(half_x, half_y, corner, 0.0, 0.0, side),
        outline(half_x, half_y, corner, height + 5, (height + 5) * math.tan(draft), side),
    ])  # fmt: skip
    body = BRepAlgoAPI_Common(wall, crowned_body(height, 1600.0, 700.0, 100.0, 200.0)).Shape()
    crown_edge = 12.0  # below this height no edge belongs to the crown
    body = filleted(body, lambda e: heights(e)[0] > crown_edge, crown_radius)
    reach = flange + foot_radius * math.tan(math.pi / 4 - draft / 2)
    plate = prism(outline(half_x, half_y, corner, -6.0, -reach, side), 6.0)
    body = BRepAlgoAPI_Fuse(plate, body).Shape()
    body = filleted(body, lambda e: max(map(abs, heights(e))) < 1e-3 and _is_foot(e, half_x, half_y), foot_radius)
    skin = skin_of(body, -1e-3)
    holes = [drill(-78.0, 4.0, 54.0), drill(118.0, -38.0, 8.0), slot(118.0, 42.0, 8.0, 18.0)]
    # the tools look at the outer skin from above; the sheet lies below it
    return drilled(thickened(skin, -thickness), holes), drilled(skin, holes)


def _is_foot(edge: TopoDS_Shape, half_x: float, half_y: float) -> bool:
    """Whether an edge at z = 0 lies at the wall's foot and not at the flange's rim."""
    (x0, y0, _), (x1, y1, _) = extent(edge)
    return max(abs(x0), abs(x1)) < half_x + 0.01 and max(abs(y0), abs(y1)) < half_y + 0.01


def cup() -> TopoDS_Shape:
    """Round cup without flange: 60 mm across the mid-surface, 95 mm high outside, 1 mm sheet, mid radius 6 mm at the bottom."""
    radius, high, bottom, half = 30.0, 95.0, 6.0, 0.5

    def corner(r: float, angle: float) -> Point:
        return (radius - bottom + r * math.cos(angle), 0.0, half + bottom + r * math.sin(angle))

    outer, inner = bottom + half, bottom - half
    section = wire([
        line((0, 0, 0), corner(outer, -math.pi / 2)),
        arc(corner(outer, -math.pi / 2), corner(outer, -math.pi / 4), corner(outer, 0)),
        line(corner(outer, 0), (radius + half, 0, high)),
        line((radius + half, 0, high), (radius - half, 0, high)),
        line((radius - half, 0, high), corner(inner, 0)),
        arc(corner(inner, 0), corner(inner, -math.pi / 4), corner(inner, -math.pi / 2)),
        line(corner(inner, -math.pi / 2), (0, 0, 2 * half)),
        line((0, 0, 2 * half), (0, 0, 0)),
    ])  # fmt: skip
    return BRepPrimAPI_MakeRevol(BRepBuilderAPI_MakeFace(section).Face(), gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))).Shape()


def panel() -> TopoDS_Shape:
    """Edge cover, 1400 x 120 x 18 mm: crowned (R 40 m by R 400), walls with 12 degrees of draft, flange of 8 mm, one long sunk bead; 1 mm."""
    height, draft, flange, thickness = 18.0, math.radians(12.0), 8.0, 1.0
    half_x, half_y, corner, foot_radius, depth = 689.0, 49.0, 22.0, 4.0, 3.0
    crown = (40_000.0, 400.0, 60.0, 750.0)
    wall = loft([
        outline(half_x, half_y, corner, 0.0),
        outline(half_x, half_y, corner, height + 4, (height + 4) * math.tan(draft)),
    ])  # fmt: skip
    body = BRepAlgoAPI_Common(wall, crowned_body(height, *crown)).Shape()
    body = filleted(body, lambda e: heights(e)[0] > 3.0, 5.0)
    body = BRepAlgoAPI_Cut(body, bead(0.0, height, depth, crown)).Shape()

    def of_a_bead(edge: TopoDS_Shape) -> bool:
        low, high = extent(edge)
        return high[1] < 12.0 and low[1] > -12.0 and low[2] > 1.0 and max(abs(low[0]), abs(high[0])) < 500.0

    body = filleted(body, of_a_bead, 4.0)
    reach = flange + foot_radius * math.tan(math.pi / 4 - draft / 2)
    body = BRepAlgoAPI_Fuse(prism(outline(half_x, half_y, corner, -6.0, -reach), 6.0), body).Shape()
    body = filleted(body, lambda e: max(map(abs, heights(e))) < 1e-3 and _is_foot(e, half_x, half_y), foot_radius)
    return thickened(skin_of(body, -1e-3), -thickness)


def bead(x: float, height: float, depth: float, crown: tuple[float, float, float, float]) -> TopoDS_Shape:
    """The tool that sinks a bead of even ``depth`` along x into the crown: 900 mm long, flanks at 45 degrees."""
    half_length, half_width, above = 450.0, 6.0, 6.0

    def stadium(z: float) -> TopoDS_Shape:
        r = half_width + (z - (height - depth))
        a = half_length - half_width
        return wire([
            line((x - a, -r, z), (x + a, -r, z)), arc((x + a, -r, z), (x + a + r, 0, z), (x + a, r, z)),
            line((x + a, r, z), (x - a, r, z)), arc((x - a, r, z), (x - a - r, 0, z), (x - a, -r, z)),
        ])  # fmt: skip

    low = height - depth - half_width + 0.5
    rise = height + above
    return BRepAlgoAPI_Cut(loft([stadium(low), stadium(rise)]), crowned_body(height - depth, *crown)).Shape()


def write_step(shape: TopoDS_Shape, path: Path, title: str) -> None:
    """Write AP242 in mm with a neutral header, after checking the shape."""
    if not BRepCheck_Analyzer(shape).IsValid():
        raise RuntimeError(f"{title}: the shape is not valid")
    STEPControl_Controller.Init_s()
    Interface_Static.SetCVal_s("write.step.schema", "AP242DIS")
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetCVal_s("write.step.product.name", title)
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)  # curves in parameter space are made anew on reading: half the size
    writer = STEPControl_Writer()
    writer.Transfer(shape, STEPControl_AsIs)
    if writer.Write(str(path)) != IFSelect_RetDone:
        raise RuntimeError(f"{path} was not written")
    text = path.read_text(encoding="latin-1")
    text = re.sub(
        r"FILE_NAME\(.*?\);", f"FILE_NAME('{title}','2026-01-01T00:00:00',('diewright'),(''),'','examples','');", text, count=1, flags=re.S
    )
    path.write_text(text, encoding="latin-1", newline="\n")


def main(folder: Path) -> None:
    Message.DefaultMessenger_s().RemovePrinters(Message.DefaultMessenger_s().Printers().Value(1).DynamicType())
    solid, surface = fascia()
    shapes = [
        ("fascia/fascia.step", "side fascia", solid),
        ("fascia/fascia_surface.step", "side fascia, outer skin", surface),
        ("cup/cup.step", "deep cup", cup()),
        ("panel/panel.step", "edge cover", panel()),
    ]
    for name, title, shape in shapes:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        write_step(shape, path, title)
        (x0, y0, z0), (x1, y1, z1) = extent(shape)
        print(f"{name}: {x1 - x0:.1f} x {y1 - y0:.1f} x {z1 - z0:.1f} mm, area {area(shape):.0f} mm2, volume {volume(shape):.0f} mm3, "
              f"{len(explore(shape, TopAbs_FACE))} faces, {path.stat().st_size / 1000:.0f} kB")  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[1] / "src" / "diewright" / "examples")

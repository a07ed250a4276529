"""STEP and IGES through the open CAD kernel; runs in the child process only.

Gives one body (a solid or an open shell) in mm and writes into the audit what was wrong, repaired and left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid, BRepBuilderAPI_Sewing
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.collections import IndexedMap_TopoDS_Shape_TopTools_ShapeMapHasher as ShapeMap
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_RetDone
from OCP.Message import Message
from OCP.ShapeFix import ShapeFix_Shape
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_SHELL, TopAbs_SOLID, TopAbs_VERTEX
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS, TopoDS_Compound

from diewright.errors import FileError, InputError
from diewright.part.audit import UNIT_MM, Audit, named

SEW = 0.01
"""mm: edges of separate faces closer than this are joined (a hundredth is what exchange files commonly keep)."""
SEW_WIDE = 0.1
"""mm: tried, and reported, only if faces stay apart at :data:`SEW`."""

_STEP_UNITS = {"millimetre": "mm", "centimetre": "cm", "metre": "m", "inch": "inch"}
_IGES_UNITS = {1: "inch", 2: "mm", 4: "foot", 5: "mile", 6: "m", 7: "km", 8: "mil", 9: "micrometre", 10: "cm", 11: "microinch"}


@dataclass
class Body:
    """One body: ``shape`` is a solid (``closed``) or a shell; ``faces`` in file order."""

    shape: Any
    closed: bool
    faces: list[Any]
    bodies: int


def silence() -> None:
    """Take every printer off the kernel's messenger."""
    messenger = Message.DefaultMessenger_s()
    printers = messenger.Printers()
    kinds = [printers.Value(i).DynamicType() for i in range(1, printers.Length() + 1)]
    for kind in kinds:
        messenger.RemovePrinters(kind)


def subshapes(shape: Any, kind: Any) -> list[Any]:
    """Sub-shapes of one kind, each once, in the kernel's own order (the order the mesher numbers them in)."""
    found = ShapeMap()
    TopExp.MapShapes_s(shape, kind, found)
    return [found.FindKey(i) for i in range(1, found.Extent() + 1)]


def read_shape(path: str, kind: str, stated: str, audit: Audit) -> tuple[Any, str, str]:
    """The shape of a file in mm, the unit it is drawn in, and whether "file" or "job" said so."""
    if kind == "step":
        from OCP.STEPControl import STEPControl_Reader as Reader
    else:
        from OCP.IGESControl import IGESControl_Reader as Reader
    title = kind.upper()
    reader: Any = Reader()
    if reader.ReadFile(path) != IFSelect_RetDone:
        raise FileError(
            f"the {title} file is damaged: the CAD kernel cannot read its structure.", where="part.file", help="Export it again."
        )
    unit = _step_unit(reader, audit) if kind == "step" else _IGES_UNITS.get(reader.IGESModel().GlobalSection().UnitFlag(), "")
    if unit and stated and unit != stated:
        raise InputError(
            f"the job states {stated} but the {title} file itself says {unit}.", where="part.unit",
            help="Leave part.unit empty to take the file's unit, or have the file exported again.",
        )  # fmt: skip
    if not unit and not stated:
        raise InputError(
            f"the {title} file states no unit of length that is known.", where="part.unit", help="State part.unit: mm, cm, m or inch."
        )
    reader.TransferRoots()
    if reader.NbShapes() == 0:
        raise FileError(f"the {title} file holds no shape.", where="part.file", help="Export the part as a solid or as surfaces.")
    shape = reader.OneShape()
    if unit:
        return shape, unit, "file"
    audit.add("note", f"the file states no unit of length: the job's unit ({stated}) is taken")
    # without a unit the kernel takes the numbers as mm
    return _scaled(shape, UNIT_MM[stated]), stated, "job"


def _scaled(shape: Any, factor: float) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.gp import gp_Pnt, gp_Trsf

    move = gp_Trsf()
    move.SetScale(gp_Pnt(0, 0, 0), factor)
    return BRepBuilderAPI_Transform(shape, move, True).Shape()


def _step_unit(reader: Any, audit: Audit) -> str:
    from OCP.collections import Sequence_TCollection_AsciiString as Texts

    lengths, angles, solid_angles = Texts(), Texts(), Texts()
    reader.FileUnits(lengths, angles, solid_angles)
    names = list(dict.fromkeys(lengths.Value(i).ToCString().lower() for i in range(1, lengths.Length() + 1)))
    if len(names) > 1:
        audit.add("note", "the file uses several units of length, each converted by itself", len(names), ", ".join(names))
    return _STEP_UNITS.get(names[0], names[0]) if names else ""


def one_body(shape: Any, audit: Audit) -> Body:
    """Check, repair and reduce the shape to one body; raises :class:`FileError` if there is none or more than one."""
    faces = subshapes(shape, TopAbs_FACE)
    if not faces:
        edges, points = len(subshapes(shape, TopAbs_EDGE)), len(subshapes(shape, TopAbs_VERTEX))
        raise FileError(
            f"the file holds no faces, only {edges} curves and {points} points.",
            where="part.file",
            help="Export the part as a solid or as surfaces.",
        )
    shape = _repaired(shape, faces, audit)
    solids = subshapes(shape, TopAbs_SOLID)
    inside = ShapeMap()
    for solid in solids:
        TopExp.MapShapes_s(solid, TopAbs_FACE, inside)
    loose = _without_doubles([f for f in subshapes(shape, TopAbs_FACE) if inside.FindIndex(f) == 0], audit)
    shells = _sewn(loose, audit) if loose else []
    bodies = solids + shells
    if len(bodies) != 1:
        sizes = "; ".join(f"{'solid' if i < len(solids) else 'surface'} of {_size(b)}" for i, b in enumerate(bodies[:6]))
        more = f"; and {len(bodies) - 6} more" if len(bodies) > 6 else ""
        raise FileError(
            f"the file holds {len(bodies)} bodies where one is wanted: {sizes}{more}.", where="part.file",
            help="Export the one part alone; faces more than 0.1 mm apart count as separate bodies.",
        )  # fmt: skip
    body = bodies[0]
    closed = True if solids else bool(BRep_Tool.IsClosed_s(body))
    shells_inside = subshapes(body, TopAbs_SHELL)
    if solids and not all(BRep_Tool.IsClosed_s(s) for s in shells_inside):
        audit.add("left", "the solid is not closed: edges that belong to one face only", _free_edges(subshapes(body, TopAbs_FACE)))
    body = _right_way_out(body, closed, audit)
    found = subshapes(body, TopAbs_FACE)
    tiny = [e for e in subshapes(body, TopAbs_EDGE) if not BRep_Tool.Degenerated_s(TopoDS.Edge(e)) and 0 < _length(e) < SEW]
    if tiny:
        audit.add("left", f"edges shorter than {SEW:g} mm", len(tiny))
    return Body(body, closed, found, len(bodies))


def _repaired(shape: Any, faces: list[Any], audit: Audit) -> Any:
    bad = [i for i, f in enumerate(faces, 1) if not BRepCheck_Analyzer(f).IsValid()]
    if not bad and BRepCheck_Analyzer(shape).IsValid():
        return shape
    if bad:
        audit.add("wrong", "faces that are not valid (outline open, crossing itself, or off its surface)", len(bad), named(bad))
    else:
        audit.add("wrong", "the faces do not fit together as a valid body")
    fix = ShapeFix_Shape(shape)
    fix.Perform()
    fixed = fix.Shape()
    still = [i for i, f in enumerate(subshapes(fixed, TopAbs_FACE), 1) if not BRepCheck_Analyzer(f).IsValid()]
    if len(bad) > len(still):
        audit.add("repaired", "faces made valid by mending their outlines", len(bad) - len(still))
    elif not bad and BRepCheck_Analyzer(fixed).IsValid():
        audit.add("repaired", "the body was made valid")
    if still:
        audit.add("left", "faces that are still not valid", len(still), named(still))
    return fixed


def _without_doubles(faces: list[Any], audit: Audit) -> list[Any]:
    seen: dict[tuple[int, ...], int] = {}
    kept, dropped = [], []
    for i, face in enumerate(faces, 1):
        props = GProp_GProps()
        BRepGProp.SurfaceProperties_s(face, props)
        c = props.CentreOfMass()
        key = tuple(round(v / SEW) for v in (c.X(), c.Y(), c.Z(), props.Mass() ** 0.5))
        if key in seen:
            dropped.append(i)
        else:
            seen[key] = i
            kept.append(face)
    if dropped:
        audit.add("repaired", "faces that lie twice in the same place: the second one is left out", len(dropped), named(dropped))
    return kept


def _sewn(faces: list[Any], audit: Audit) -> list[Any]:
    """Shells of faces that meet; joins edges within :data:`SEW`, then :data:`SEW_WIDE` if faces stay apart."""
    free = _free_edges(faces)
    best: list[Any] = []
    for tolerance in (SEW, SEW_WIDE):
        sewing = BRepBuilderAPI_Sewing(tolerance)
        for face in faces:
            sewing.Add(face)
        sewing.Perform()
        sewed = sewing.SewedShape()
        shells = subshapes(sewed, TopAbs_SHELL)
        in_shells = ShapeMap()
        for shell in shells:
            TopExp.MapShapes_s(shell, TopAbs_FACE, in_shells)
        single = [f for f in subshapes(sewed, TopAbs_FACE) if in_shells.FindIndex(f) == 0]
        found = shells + [_shell_of(f) for f in single]
        if sewing.NbMultipleEdges():
            audit.add("wrong", "edges where three or more faces meet: no sheet can do that", sewing.NbMultipleEdges())
        if not best or len(found) < len(best):
            best, used = found, tolerance
            still = sum(_free_edges(subshapes(s, TopAbs_FACE)) for s in found)
        if len(best) == 1:
            break
    if free > still:
        audit.add("repaired", f"free edges of faces joined to their neighbours within {used:g} mm", free - still)
    return best


def _shell_of(face: Any) -> Any:
    from OCP.TopoDS import TopoDS_Shell

    shell, builder = TopoDS_Shell(), BRep_Builder()
    builder.MakeShell(shell)
    builder.Add(shell, face)
    return shell


def _free_edges(faces: list[Any]) -> int:
    """Edges that one face only uses (a seam counts for two)."""
    from OCP.TopExp import TopExp_Explorer

    index = ShapeMap()
    count: dict[int, int] = {}

    for face in faces:
        walk = TopExp_Explorer(face, TopAbs_EDGE)
        while walk.More():
            edge = walk.Current()
            if not BRep_Tool.Degenerated_s(TopoDS.Edge(edge)):
                i = index.Add(edge)
                count[i] = count.get(i, 0) + 1
            walk.Next()
    return sum(1 for n in count.values() if n == 1)


def _right_way_out(body: Any, closed: bool, audit: Audit) -> Any:
    """A closed shell becomes a solid; a solid that is inside out is turned."""
    if not closed:
        return body
    if not subshapes(body, TopAbs_SOLID):
        body = BRepBuilderAPI_MakeSolid(TopoDS.Shell(body)).Solid()
        audit.add("note", "the surfaces close into one body: treated as a solid")
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(body, props)
    if props.Mass() < 0:
        audit.add("repaired", "the solid was inside out: its faces are turned")
        body = body.Reversed()
    return body


def compound(faces: list[Any]) -> Any:
    """A compound of faces (they keep the edges they share)."""
    made, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(made)
    for face in faces:
        builder.Add(made, face)
    return made


def corners(shape: Any) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Bounding box [mm]."""
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    a, b = box.CornerMin(), box.CornerMax()
    return (a.X(), a.Y(), a.Z()), (b.X(), b.Y(), b.Z())


def area_of(shape: Any) -> float:
    """Exact area [mm2]."""
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(shape, props)
    return props.Mass()


def _length(edge: Any) -> float:
    props = GProp_GProps()
    BRepGProp.LinearProperties_s(edge, props)
    return props.Mass()


def _size(shape: Any) -> str:
    a, b = corners(shape)
    return " x ".join(f"{q - p:.4g}" for p, q in zip(a, b, strict=True)) + " mm"

"""Outside checks of reading and meshing: the handbook's blank diameters of turned shells, from CAD that is written and read back.

Each case turns a section (the middle of the sheet) about z with the CAD kernel, writes STEP, reads it as any job's file is read, and takes the
blank of equal area, ``D = sqrt(4 A / pi)``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from diewright.part.sandbox import private_folder

Point = tuple[float, float]
Piece = tuple[Point, ...]


def _blank(pieces: list[Piece], angle: float = 2 * math.pi) -> float:
    """Diameter [mm] of the blank of equal area; ``pieces`` are lines ``(a, b)`` and arcs ``(a, through, b)`` in the plane of r and z."""
    from diewright.part.reader import read

    with private_folder() as folder:
        path = folder / "turned.step"
        _write(_turned(pieces, angle), path)
        return math.sqrt(4 * read(path).mesh.area / math.pi)


def _turned(pieces: list[Piece], angle: float) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    wire = BRepBuilderAPI_MakeWire()
    for piece in pieces:
        at = [gp_Pnt(r, 0.0, z) for r, z in piece]
        edge = BRepBuilderAPI_MakeEdge(at[0], at[1]) if len(at) == 2 else BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(*at).Value())
        wire.Add(edge.Edge())
    return BRepPrimAPI_MakeRevol(wire.Wire(), gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1)), angle).Shape()


def _write(shape: Any, path: Path) -> None:
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer

    from diewright.part.cad import silence

    silence()
    writer = STEPControl_Writer()
    writer.Transfer(shape, STEPControl_AsIs)
    writer.Write(str(path))


def _sharp_cup() -> dict[str, float]:
    return {"blank_diameter": _blank([((0, 0), (25, 0)), ((25, 0), (25, 60))])}


def _round_cup() -> dict[str, float]:
    r, d, h, s = 6.0, 60.0, 94.5, math.sqrt(0.5)
    middle = (d / 2 - r + r * s, r - r * s)
    return {"blank_diameter": _blank([((0, 0), (d / 2 - r, 0)), ((d / 2 - r, 0), middle, (d / 2, r)), ((d / 2, r), (d / 2, h))])}


def _flanged_cup() -> dict[str, float]:
    return {"blank_diameter": _blank([((0, 0), (25, 0)), ((25, 0), (25, 30)), ((25, 30), (40, 30))])}


def _hemisphere() -> dict[str, float]:
    s = 25 * math.sqrt(0.5)
    return {"blank_diameter": _blank([((0, 0), (s, 25 - s), (25, 25))])}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "part-sharp-cup": _sharp_cup,
    "part-round-cup": _round_cup,
    "part-flanged-cup": _flanged_cup,
    "part-hemisphere": _hemisphere,
}

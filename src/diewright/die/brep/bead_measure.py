"""What the bodies of a draw bead are measured for: the kernel's verdict, volume against the section's area along the line, and the room between nose and floor."""

from __future__ import annotations

from typing import Any

import numpy as np
from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.gp import gp_Pnt
from OCP.TopoDS import TopoDS_Compound

from diewright.die.brep.bead_section import Half
from diewright.die.brep.bead_sweep import Body
from diewright.die.brep.kernel import surface_points

SAMPLES = 12
"""Places along each face of the nose where the room to the groove is measured."""


def measured(body: Body, half: Half) -> dict[str, Any]:
    """Figures of one body [mm, mm2, mm3]: ``swept`` is what area times the way of the centroid should give, ``ends`` the rounded ends, ``volume_off`` the share by which the kernel's volume differs."""
    volume = body.volume
    return {
        "valid": body.valid, "closed": body.closed, "faces": len(body.sewn.faces), "volume": volume, "area": half.area, "swept": body.swept, "ends": body.ends,
        "volume_off": abs(volume - body.ends - body.swept) / body.swept, "sewing_gap": body.sewn.gap, "fit_error": max(m.miss for m in body.surfaces.values()),
    }  # fmt: skip


def between(bar: Body, groove: Body) -> dict[str, Any]:
    """Least and largest distance [mm] of the middle of the bar's nose from the groove's floor, with the place of each."""
    floor = _floor(groove)
    out: list[tuple[float, list[float]]] = []
    for (kind, piece, side, _), made in bar.surfaces.items():
        if (kind, piece, side) != ("run", 0, 1):
            continue
        u0, u1, v0, _ = made.surface.Bounds()
        for p in surface_points(made.surface, np.linspace(u0, u1, SAMPLES), np.full(SAMPLES, v0)):
            vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, p))).Vertex()
            out.append((float(BRepExtrema_DistShapeShape(vertex, floor).Value()), p.tolist()))
    low, high = min(out), max(out)
    return {"least": low[0], "most": high[0], "least_at": low[1], "most_at": high[1], "places": len(out)}


def _floor(groove: Body) -> TopoDS_Compound:
    """The faces on both sides of the floor's middle: a wall beside a thin sheet may be nearer to the nose than the floor."""
    build, out = BRep_Builder(), TopoDS_Compound()
    build.MakeCompound(out)
    for (kind, piece, *_), face in zip(groove.surfaces, groove.sewn.faces, strict=True):
        if (kind, piece) == ("run", 0):
            build.Add(out, face)
    return out

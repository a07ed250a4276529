"""What a sewn tool is measured for: the kernel's own verdict, free edges, tangent breaks, and its distance from the triangles that the tryout runs on."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRepCheck import BRepCheck_Analyzer

from diewright.die.brep.build import Tool, summary
from diewright.die.brep.facets import Facets, distance
from diewright.die.brep.kernel import points2, tangents
from diewright.die.brep.model import Panel, Trim, normalised
from diewright.die.brep.sewn import Joint
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]

BREAK = 1.0
"""Largest tangent break along an edge that is no edge of the part [deg]."""
GAP = 0.01
"""Largest distance of two faces at an edge they share [mm]."""
_INNER = np.linspace(0.02, 0.98, 25)  # shares of an edge where breaks are looked at: its ends belong to other edges too


def report(tool: Tool, found: Facets, tryout: TriMesh) -> dict[str, Any]:
    """Figures of one tool (see :func:`diewright.die.brep.faces_cad`)."""
    joints = tool.sewn.joints
    breaks = [b for b in (_break(tool, j) for j in joints if len(j.panels) == 2) if b is not None]
    ours = [b for b in breaks if not b["true_edge"]]
    off = distance(found, tool.moved, tryout.points)
    worst = int(np.argmax(off))
    return {
        **summary(tool),
        "valid": bool(BRepCheck_Analyzer(tool.sewn.shell).IsValid()),
        "invalid_faces": [p.name for p, f in zip(tool.panels, tool.sewn.faces, strict=True) if not BRepCheck_Analyzer(f).IsValid()],
        "gaps": [_place(tool, j, j.gap) for j in joints if len(j.panels) > 1 and j.gap > GAP],
        "crowded_edges": [_place(tool, j, float(len(j.panels))) for j in joints if len(j.panels) > 2],
        "free_edges": sum(len(j.panels) == 1 for j in joints),
        "free_inside": [_place(tool, j, 0.0) for j in joints if len(j.panels) == 1 and j.key not in tool.border],
        "break_deg": max((b["deg"] for b in ours), default=0.0),
        "breaks": [b for b in breaks if b["deg"] > BREAK],
        "deviation": {"max": float(off.max()), "p99": float(np.quantile(off, 0.99)), "mean": float(off.mean()), "at": tryout.points[worst].tolist()},
    }  # fmt: skip


def _place(tool: Tool, joint: Joint, value: float) -> dict[str, Any]:
    middle = joint.points[len(joint.points) // 2]
    return {"between": [tool.panels[i].name for i in joint.panels], "value": value, "at": [round(float(v), 3) for v in middle]}


def _trim_of(panel: Panel, joint: Joint) -> Trim:
    return next(t for loop in panel.loops for t in loop if t.key == joint.key)


def _break(tool: Tool, joint: Joint) -> dict[str, Any] | None:
    """The largest angle between the faces' normals along an edge [deg], and whether it is an edge of the middle surface too."""
    a, b = joint.panels
    if a == b:
        return None
    panels = tool.panels[a], tool.panels[b]
    trims = [_trim_of(p, joint) for p in panels]
    t = trims[0].first + _INNER * (trims[0].last - trims[0].first)
    uv = [points2(trim.curve, t) for trim in trims]
    normals = []
    for i, at, panel in zip((a, b), uv, panels, strict=True):
        _, du, dv = tangents(tool.moved[i].surface, *at.T)
        normals.append((-1.0 if panel.down else 1.0) * normalised(np.cross(du, dv)))
    angle = _angle(*normals)
    wall = any(p.kind == "skirt" for p in panels)
    drawn = 0.0 if wall else float(_angle(*(p.base.points(*at.T)[1] for p, at in zip(panels, uv, strict=True))).max())
    worst = int(np.argmax(angle))
    return {
        "between": [p.name for p in panels], "deg": float(angle[worst]), "drawn_deg": drawn, "true_edge": wall or drawn > BREAK,
        "at": [round(float(v), 3) for v in tangents(tool.moved[a].surface, *uv[0][worst : worst + 1].T)[0][0]],
    }  # fmt: skip


def _angle(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.degrees(2.0 * np.arcsin(np.clip(0.5 * np.linalg.norm(a - b, axis=1), 0.0, 1.0))))

"""What the developed blank has to say."""

from __future__ import annotations

from typing import Any

from diewright.job.findings import Figure, Finding, Place

SOURCE = "tryouts of this job, each with a mesh of its own"
HOLE = 0.5
"""A hole that the one-step solution would put farther off than this is told [mm] (ours)."""


def _place(p: list[float], label: str) -> Place:
    return Place(points=((float(p[0]), float(p[1]), float(p[2])),), label=label)


def figures_of(v: dict[str, Any]) -> list[Figure]:
    """Distance of the edge before and after."""
    return [
        Figure(
            key="edge", label="Largest distance of the formed edge from the wanted line", value=v["after_max_mm"], unit="mm", formula="over the nodes of the edge, along the sheet", source=SOURCE,
            inputs={"blank it began with": (v["before_max_mm"], "mm"), "tolerance": (v["tolerance_mm"], "mm")},
        ),
        Figure(key="edge_rms", label="The same, mean square", value=v["after_rms_mm"], unit="mm", formula="root of the mean square along the edge", source=SOURCE, inputs={"blank it began with": (v["before_rms_mm"], "mm")}),
        Figure(key="area", label="Area of the developed blank", value=v["area"], unit="mm2", formula="area of the fitted outline", source="outline carried back by material points"),
    ]  # fmt: skip


def findings_of(v: dict[str, Any]) -> list[Finding]:
    """Whether the trim can be left out, holes that wander, springback."""
    x, y, z = v["worst_at"]
    where = _place(v["worst_at"], "formed edge")
    out = []
    if v["reached"]:
        out.append(
            Finding(
                key="developed.reached", severity="note", value=v["after_max_mm"], limit=v["tolerance_mm"], unit="mm", source=SOURCE, place=where,
                sentence=f"The formed edge lies within {v['after_max_mm']:.2f} mm of the wanted line ({v['before_max_mm']:.2f} mm with the blank it began with): the trim can be left out as far as this tolerance goes.",
                help="Cut the first blanks soft (laser), draw them, and correct the outline on what comes out before the blanking tool is made.",
            )
        )  # fmt: skip
    else:
        out.append(
            Finding(
                key="developed.left", severity="attend", value=v["after_max_mm"], limit=v["tolerance_mm"], unit="mm", source=SOURCE, place=where,
                sentence=f"The formed edge still lies {v['after_max_mm']:.2f} mm off the wanted line at ({x:.1f}, {y:.1f}, {z:.1f}) mm after {v['runs']} runs.",
                help="Allow more runs (trim.edge_runs), a finer mesh (trim.edge_quality), or trim this edge.",
            )
        )  # fmt: skip
    if v["broke"]:
        out.append(
            Finding(
                key="developed.broke", severity="attend", source=SOURCE, sentence=f"Run {v['runs'] + 1} broke off, and the best blank before it is given: {v['broke']}",
                help="Where the blank's edge leaves the blankholder before the bottom, let its force fall (tryout.blankholder_end_kn), or use a finer mesh.",
            )
        )  # fmt: skip
    out += [
        Finding(
            key=f"developed.hole.{h['id']}", severity="attend", value=h["one_step_off_mm"], limit=HOLE, unit="mm", source=SOURCE, place=_place(h["wanted"], h["id"]),
            sentence=f"{h['id']}, pierced in the flat where the one-step solution puts it, comes out {h['one_step_off_mm']:.2f} mm off at ({h['wanted'][0]:.1f}, {h['wanted'][1]:.1f}, {h['wanted'][2]:.1f}) mm.",
            help="Pierce it after the draw, or in the flat where developed.dxf has it.",
        )
        for h in v["holes"]
        if h["one_step_off_mm"] is not None and h["one_step_off_mm"] > HOLE
    ]  # fmt: skip
    if v["springback_why"]:
        out.append(
            Finding(
                key="developed.springback", severity="attend", source="static release of the last run", sentence=f"How far springback moves the holes was not found: {v['springback_why']}",
                help="Look at the tryout's springback.",
            )
        )  # fmt: skip
    return out

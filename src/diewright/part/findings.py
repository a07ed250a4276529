"""What the stages ``part`` and ``tipping`` have to say."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Finding, Place

POOR = 0.2
THICKNESS_OFF = 0.05
SHALLOW_DEG = 0.5
UNDERCUT_LEAST = 1e-4


def thickness_spread(values: dict[str, Any]) -> str:
    """How even the thickness is, in words."""
    span = values.get("thickness_range")
    return (
        f"between {span[0]:.3g} and {span[1]:.3g} mm over 90 % of the area" if span else "the file holds one surface: no thickness to find"
    )


def of_part(values: dict[str, Any], mesh: TriMesh, quality: np.ndarray, thickness: float) -> Iterator[Finding]:
    """Findings about the file and the mesh; ``thickness`` [mm] is the sheet's, from the job."""
    for severity, key, sentence, help_text in (
        (
            "left",
            "part.left",
            "Some faults of the file are left as they are",
            "Look at the places in the view; mend them in CAD if they matter.",
        ),
        ("wrong", "part.wrong", "The file had faults", "What was repaired and what is left stands in the audit."),
        ("repaired", "part.repaired", "The file was repaired on reading", "Check that the repaired places look as meant."),
    ):
        entries = [e for e in values["audit"] if e["severity"] == severity]
        if entries:
            yield Finding(
                key=key, severity="attend" if severity == "left" else "note", value=float(sum(e["count"] for e in entries)), limit=0.0, unit="places",
                sentence=f"{sentence}: {'; '.join(_said(e) for e in entries[:4])}.", source="audit of the file", help=help_text,
            )  # fmt: skip
    found = values["thickness_found"]
    if found is not None and abs(found / thickness - 1) > THICKNESS_OFF:
        yield Finding(
            key="part.thickness", severity="attend", value=found, limit=thickness, unit="mm", source="sheet.thickness of the job",
            sentence=f"The solid in the file is {found:.3g} mm thick, the job states {thickness:.3g} mm; the job's thickness is used.",
            help="Correct sheet.thickness, or have the part drawn in this thickness: the middle of the sheet is found from the file's own.",
        )  # fmt: skip
    worst = int(np.argmin(quality))
    if quality[worst] < POOR:
        yield Finding(
            key="part.mesh", severity="attend", value=float(quality[worst]), limit=POOR, unit="", source="inverse condition number of the triangle, common practice",
            sentence=f"{int((quality < POOR).sum())} triangles are of poor shape, the worst has quality {quality[worst]:.2f}.",
            help="State a shorter part.target_edge, or remove slivers and short edges in CAD.",
            place=Place(points=(_triple(mesh.centroids[worst]),), label=f"near {_at(mesh.centroids[worst])}"),
        )  # fmt: skip


def _said(entry: dict[str, Any]) -> str:
    count = f" ({entry['count']})" if entry["count"] > 1 else ""
    return f"{entry['what']}{count}"


def of_tipping(
    values: dict[str, Any], part: dict[str, Any], mesh: TriMesh, undercut: np.ndarray, thickness: float, place: type[Place]
) -> Iterator[Finding]:
    """Findings about the press position; ``mesh`` in press coordinates, places in part coordinates."""
    rotation, shift = np.array(values["rotation"]), np.array(values["shift"])

    def part_place(points: list[Any], label: str) -> Place:
        return place(points=tuple(_triple((np.asarray(p) - shift) @ rotation) for p in points), label=label)

    share = values["undercut_area"] / values["developed_area"]
    if share > UNDERCUT_LEAST:
        regions = values["undercut_regions"]
        spots = mesh.centroids[undercut]
        some = spots[:: max(1, len(spots) // 40)][:60]
        yield Finding(
            key="tipping.undercut", severity="stop", value=values["undercut_area"], limit=0.0, unit="mm2", source="a punch moving straight cannot reach it",
            sentence=f"{100 * share:.2g} % of the surface is undercut in this position, in {len(regions)} region{'s' if len(regions) != 1 else ''}.",
            help="Turn the part, open the walls, or form these regions in a later operation with cams.",
            place=part_place(list(some), f"the largest has {regions[0]['area']:.3g} mm2 at {_at((np.array(regions[0]['centre']) - shift) @ rotation)}"),
        )  # fmt: skip
    elif (
        values["draft_min_reachable_deg"] is not None
        and values["draft_min_reachable_deg"] < SHALLOW_DEG
        and values["depth"] > 3 * thickness
    ):
        yield Finding(
            key="tipping.draft", severity="note", value=values["draft_min_reachable_deg"], limit=SHALLOW_DEG, unit="deg", source="common practice",
            sentence=f"The steepest wall has {values['draft_min_reachable_deg']:.1f} degrees of draft: it stands upright.",
            help="Upright walls are drawn through the full clearance and stick on the punch; a few degrees help where the design allows.",
        )  # fmt: skip
    for key, word, tool in (("radius_concave", "concave", "punch"), ("radius_convex", "convex", "die")):
        radius = values[f"{key}_min"]
        if radius is None or radius - 0.5 * thickness >= thickness:
            continue
        inner = max(radius - 0.5 * thickness, 0.0)
        sharp = radius == 0.0
        yield Finding(
            key=f"tipping.{key}", severity="attend", value=inner, limit=thickness, unit="mm",
            source="an inner radius of at least the thickness, common practice (handbooks want 4 to 10 times)",
            sentence=f"The part has a sharp {word} edge." if sharp else f"The smallest {word} radius is {inner:.2g} mm inside, less than the thickness of {thickness:.3g} mm.",
            help=f"A sharp {tool} edge cuts or tears the sheet: ask for a radius, or strike it in a later operation.",
            place=part_place([values[f"{key}_place"]], f"near {_at((np.array(values[f'{key}_place']) - shift) @ rotation)}"),
        )  # fmt: skip
    if part.get("skin_up") is not None and float(np.dot(part["skin_up"], values["direction"])) > 0:
        yield Finding(
            key="tipping.skin", severity="attend", value=None, unit="", source="",
            sentence=f"The {part['skin_used']} skin was chosen for a part lying the other way up.",
            help="State part.press_direction, or take part.skin = middle.",
        )  # fmt: skip
    for hole in values["holes"]:
        if hole["askew_deg"] > 15.0 and hole["diameter"] is not None:
            yield Finding(
                key=f"tipping.hole_{hole['id']}", severity="note", value=hole["askew_deg"], limit=15.0, unit="deg", source="common practice",
                sentence=f"The axis of hole {hole['id']} is {hole['askew_deg']:.0f} degrees off the press direction.",
                help="Pierce it with a cam, or accept an oval hole.", place=part_place([hole["centre"]], f"hole {hole['id']}"),
            )  # fmt: skip


def _triple(v: Any) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def _at(v: Any) -> str:
    return f"x {v[0]:.0f}, y {v[1]:.0f}, z {v[2]:.0f}"

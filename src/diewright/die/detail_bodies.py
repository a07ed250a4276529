"""Figures and findings of the draw bead's bodies."""

from __future__ import annotations

from collections.abc import Iterator

from diewright.die.bead_cad import FACE, GAP, VOLUME, BeadBodies
from diewright.job.findings import Figure, Finding, Place

MOST = 6
"""Bodies that are told one by one; more of them are told as a count."""


def body_figures(b: BeadBodies | None) -> Iterator[Figure]:
    """Volumes of bars and grooves, and the room between nose and floor."""
    if b is None:
        return
    v = b.values()
    for kind, label, role in (("bar", "Steel of the bead's bars", "from the nose to the back of the slot in the blankholder, a bar's width deep"), ("groove", "What the grooves take out of the die", "a thickness above its face included")):  # fmt: skip
        rows = [r[kind] for r in b.rows if kind in r]
        if rows:
            yield Figure(
                key=f"details.{kind}_volume", label=label, value=1e-3 * v[f"{kind}_volume"], unit="cm3", formula="sum of A l + ends, l the way of the section's centroid", digits=4,
                inputs={"A": (rows[0]["area"], "mm2"), "bodies": (float(len(rows)), "")}, source="volume of the bodies by the CAD kernel", confidence=f"within {100 * v['volume_off']:.2g} % of A l; {role}",
            )  # fmt: skip
    if v["room_least"] is not None:
        yield Figure(
            key="details.bead_room", label="Room between the bead's nose and the groove's floor", value=v["room_least"], unit="mm", formula="s + f", inputs={"stated": (b.room, "mm")}, digits=4,
            source=f"measured between the bodies at {sum(r['gap']['places'] for r in b.rows if 'gap' in r)} places, least", confidence=f"largest {v['room_most']:.4g} mm",
        )  # fmt: skip


def body_findings(b: BeadBodies | None) -> Iterator[Finding]:
    """What of the bead could not be made as a body, or is not as stated."""
    if b is None:
        return
    for i, fault in enumerate(b.faults[:MOST]):
        x, y, z = fault["at"]
        more = f", and {len(b.faults) - MOST} more bodies" if i == MOST - 1 and len(b.faults) > MOST else ""
        yield Finding(
            key=f"details.bead_body.{i}", severity="attend", source="made and checked by the CAD kernel", sentence=f"The body '{fault['name']}' is not in beads.step{more}: {fault['text'].rstrip('.')}.",
            help=fault["help"], place=Place(points=((x, y, z),), label=f"at ({x:.0f}, {y:.0f}) mm"),
        )  # fmt: skip
    for row in b.rows:
        for kind in ("bar", "groove"):
            off = row[kind]["volume_off"] if kind in row else 0.0
            if off > VOLUME:
                yield Finding(
                    key=f"details.bead_volume.{kind}.{row['piece']}", severity="attend", value=100.0 * off, limit=100.0 * VOLUME, unit="%", source="volume by the CAD kernel against area times length; limit ours",
                    sentence=f"The {kind} of piece {row['piece']} of the bead holds {100 * off:.2g} % more or less than its section along its line: it folds somewhere.", help="Look at that body before cutting it.",
                )  # fmt: skip
        gap = row.get("gap")
        if gap is not None:
            worst = max(("least", "most"), key=lambda k: abs(gap[k] - b.room))
            if abs(gap[worst] - b.room) > GAP:
                x, y, z = gap[f"{worst}_at"]
                yield Finding(
                    key=f"details.bead_room.{row['piece']}", severity="attend", value=gap[worst], limit=b.room, unit="mm", source="measured between the bodies; limit ours",
                    sentence=f"Between the nose of the bead and the floor of its groove piece {row['piece']} has {gap[worst]:.4g} mm where {b.room:.4g} mm are stated.",
                    help="Look at both bodies there before cutting them.", place=Place(points=((x, y, z),), label=f"at ({x:.0f}, {y:.0f}) mm"),
                )  # fmt: skip
    if b.off_face > FACE:
        yield Finding(
            key="details.bead_face", severity="note", value=b.off_face, limit=FACE, unit="mm", source="edges of the groove's mouth against the blankholder's triangles; limit ours",
            sentence=f"The blankholder bends so tightly across the bead that its face lies up to {b.off_face:.2g} mm off the mouth of the groove, which stands upright to the normal in its middle.",
            help="Blend the shoulders into the face by hand, or state a larger faces.blankholder_radius.",
        )  # fmt: skip

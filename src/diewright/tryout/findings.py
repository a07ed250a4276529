"""What the tryout has to say. ``stop`` only where steel must not be cut: the sheet tears, the press cannot do it, the run broke off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Finding, Place
from diewright.job.places import place, side
from diewright.tryout.edge import EdgeMoves
from diewright.tryout.loads import Reserve
from diewright.tryout.loose import MAJOR, MINOR, Loose
from diewright.tryout.surface import Skid

Floats = NDArray[np.float64]
Severity = Literal["stop", "attend", "note"]

WRINKLE = 0.25
"""Height of a wrinkle, in thicknesses, from which it is named: it can be felt (common practice); on clean radii of 5.5 thicknesses the meter itself shows 0.05 at edges of two thicknesses, 0.1 at three, 0.2 at four."""
IRONED = 2.0
"""Thickness over the gap [%] from which the wall is ironed; within it lubricant and tool give way (common practice)."""
RESERVE = 0.8
"""Share of the press's force that a tool for production should use at most (common practice)."""
KINETIC, BALANCE, PENETRATION, MASS = 0.05, 2.0, 0.05, 0.05
"""Limits of the computation: kinetic over internal energy after the first tenth of stroke; energy balance [%]; depth in a tool over thickness; mass added over mass."""
BENT_NOTED = 0.1
"""Share of the area with a bent strain path from which it is said."""
HANDBOOK = 0.25
"""Difference of punch force and handbook force that is said."""
FAR = 100.0
"""Percent points beyond the limit from which the number itself says nothing."""
RUN = "limit of explicit computation, common practice"


@dataclass(frozen=True, eq=False)
class Tried:
    """What the findings look at; ``None`` (or empty): not judged, nothing is said about it.

    Attributes
    ----------
    mesh: the drawn sheet as it stands. zone: (m,) words as ``job.places.zones`` gives them. thickness0: nominal [mm].
    margin: (m,) least margin with path; straight: (m,) of the straight rule, both in percent points. bent_share: of the area. thickness: (m,) [mm].
    wrinkle: (n,) height [mm]; wrinkle_stroke: where it first passed the limit [mm from first touch]. loose: regions. gap: (m,) between punch and die where the sheet stands there, nan elsewhere [mm].
    press: name of it, with its reserve; punch_kN largest; handbook_kN. edge: draw-in; flange: (k,) left at the edge's nodes [mm], edge_at (k, 3) these nodes;
    drawn_through: the part has no flange and the edge is meant to leave it. skid: marks.
    kinetic, balance, penetration, mass: see the limits. stopped: the sentence of an early stop.
    """

    mesh: TriMesh
    zone: NDArray[np.str_]
    thickness0: float
    margin: Floats
    thickness: Floats
    straight: Floats | None = None
    bent_share: float = 0.0
    wrinkle: Floats | None = None
    wrinkle_stroke: float | None = None
    loose: Sequence[Loose] = ()
    gap: Floats | None = None
    press: str = ""
    reserve: Reserve | None = None
    punch_kN: float | None = None
    handbook_kN: float | None = None
    edge: EdgeMoves | None = None
    flange: Floats | None = None
    edge_at: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    drawn_through: bool = False
    skid: Skid | None = None
    kinetic: float | None = None
    balance: float | None = None
    penetration: float | None = None
    mass: float | None = None
    stopped: str | None = None


def findings_of(t: Tried, margin_wanted: float) -> list[Finding]:
    """All findings of the stage, ``stop`` first. ``margin_wanted``: stated, in percent points.

    Raises :class:`SolveError` for a field or number that is not finite: it would pass every limit unseen.
    """
    _finite(t)
    found = [
        *_stopped(t),
        *_margin(t, margin_wanted),
        *_press(t),
        *_wrinkle(t),
        *_ironing(t),
        *_edge(t),
        *_loose(t),
        *_skid(t),
        *_run(t),
        *_bent(t),
    ]
    return sorted(found, key=lambda f: ("stop", "attend", "note").index(f.severity))


def _finite(t: Tried) -> None:
    names = ("margin", "thickness", "straight", "wrinkle", "flange", "kinetic", "balance", "penetration", "mass")
    for name in names:
        value = getattr(t, name)
        if value is not None and not np.isfinite(value).all():
            raise SolveError(f"The tryout gives a {name} that is not a finite number.", where="tryout", help="Look at the frame before.")


def _worst(value: Floats, bad: NDArray[np.bool_]) -> NDArray[np.intp]:
    cells = np.flatnonzero(bad)
    return cells[np.argsort(value[cells], kind="stable")]


def _stopped(t: Tried) -> Iterator[Finding]:
    if t.stopped is not None:
        yield Finding(
            key="tryout.stopped", severity="stop", sentence=f"The tryout broke off: {t.stopped}", source="explicit tryout",
            help="What is shown is the last good frame, not the finished part. Remove the cause and run again.",
        )  # fmt: skip


def _margin(t: Tried, wanted: float) -> Iterator[Finding]:
    least = float(t.margin.min())
    source = "forming limit curve of the sheet with the strain path (plastic strain over the direction of straining; Stoughton and Yoon 2012, from memory)"
    if least < 0.0:
        cells = _worst(t.margin, t.margin < 0.0)
        where = place(t.mesh, cells, t.zone)
        far = f"{-least:.1f}" if least > -FAR else f"more than {FAR:g}"
        share = 100.0 * float(t.mesh.areas[cells].sum()) / t.mesh.area
        yield Finding(
            key="tryout.tear", severity="stop", value=least, limit=0.0, unit="%", source=source, place=where,
            sentence=f"The sheet tears: it is {far} percent points beyond its forming limit ({where.label}), {share:.2g} % of the area is beyond it.",
            help="Less blankholder force or friction, larger radii, less depth there, or a sheet with higher n or r.",
        )  # fmt: skip
    elif least < wanted:
        where = place(t.mesh, _worst(t.margin, t.margin < wanted), t.zone)
        yield Finding(
            key="tryout.neck", severity="attend", value=least, limit=wanted, unit="%", source="stated: blank.margin_wanted", place=where,
            sentence=f"The sheet comes near to necking: {least:.1f} percent points are left ({where.label}), {wanted:g} are wanted.",
            help="Scatter of sheet and lubricant takes 5 to 10 percent points: gain room by radii, force or friction.",
        )  # fmt: skip


def _bent(t: Tried) -> Iterator[Finding]:
    if t.straight is None or t.bent_share < BENT_NOTED:
        return
    straight, least = float(t.straight.min()), float(t.margin.min())
    yield Finding(
        key="tryout.path", severity="note", value=100.0 * t.bent_share, limit=100.0 * BENT_NOTED, unit="%", source="chord over length of the strain path below 0.9",
        sentence=f"On {100.0 * t.bent_share:.0f} % of the area the strain path is bent. Read straight, the curve would leave {straight:.1f} percent points; with the path it is {least:.1f}.",
        help="The margin with path is the one to go by; grid measurements on a real part show the straight one.",
    )  # fmt: skip


def _wrinkle(t: Tried) -> Iterator[Finding]:
    if t.wrinkle is None:
        return
    limit = WRINKLE * t.thickness0
    most = float(t.wrinkle.max())
    if most <= limit:
        return
    cell = t.wrinkle[t.mesh.triangles].max(axis=1)
    cells = _worst(-cell, cell > limit)
    where = place(t.mesh, cells, t.zone)
    held = t.zone[cells[0]] == "flange"
    since = f", from a stroke of {t.wrinkle_stroke:.1f} mm on" if t.wrinkle_stroke is not None else ""
    yield Finding(
        key="tryout.wrinkle", severity="attend", value=most, limit=limit, unit="mm", source=f"{WRINKLE:g} of the thickness, crest over valley, common practice", place=where,
        sentence=f"The sheet wrinkles by {most:.2f} mm from crest to valley ({where.label}){since}.",
        help="More blankholder force, or a smaller holder gap." if held else "A free wall puckers: beads, a step that takes up the metal, or a smaller blank there; more blankholder force helps less.",
    )  # fmt: skip


def _ironing(t: Tried) -> Iterator[Finding]:
    if t.gap is None or not np.isfinite(t.gap).any():
        return
    seen = np.isfinite(t.gap) & (t.gap > 0.0)
    over = np.where(seen, 100.0 * (t.thickness / np.where(seen, t.gap, 1.0) - 1.0), -np.inf)
    most = float(over.max())
    if most <= IRONED:
        return
    where = place(t.mesh, _worst(-over, over > IRONED), t.zone)
    i = int(np.argmax(over))
    yield Finding(
        key="tryout.ironing", severity="attend", value=most, limit=IRONED, unit="%", source="thickness over the gap between punch and die, 2 % common practice", place=where,
        sentence=f"The sheet is {t.thickness[i]:.2f} mm thick where the gap is {t.gap[i]:.2f} mm: it is ironed by {most:.1f} % ({where.label}).",
        help="Open the clearance there, or plan for ironing: more force, wear and cooling; the tryout does not thin the sheet by it.",
    )  # fmt: skip


def _press(t: Tried) -> Iterator[Finding]:
    r = t.reserve
    if r is not None and r.share > 1.0:
        since = f" The force passes what it gives at a stroke of {r.from_stroke:.1f} mm." if r.from_stroke is not None else ""
        yield Finding(
            key="tryout.press", severity="stop", value=r.need_kN, limit=r.have_kN, unit="kN", source="force diagram of the press against the force of the tryout",
            sentence=f"{t.press or 'The press'} is too weak: {r.need_kN:.0f} kN are needed at a stroke of {r.stroke:.1f} mm ({r.height:.1f} mm above bottom), it gives {r.have_kN:.0f} kN there.{since}",
            help="Take a larger press, a longer stroke or a hydraulic press; less blankholder force or friction if the sheet allows it.",
        )  # fmt: skip
    elif r is not None and r.share > RESERVE:
        yield Finding(
            key="tryout.press", severity="attend", value=100.0 * r.share, limit=100.0 * RESERVE, unit="%", source="four fifths of the force there, common practice",
            sentence=f"{t.press or 'The press'} is used to {100.0 * r.share:.0f} % at a stroke of {r.stroke:.1f} mm ({r.height:.1f} mm above bottom).",
            help="Leave a fifth for wear, dry sheet and a thicker coil.",
        )  # fmt: skip
    if t.punch_kN and t.handbook_kN and abs(t.punch_kN / t.handbook_kN - 1.0) > HANDBOOK:
        yield Finding(
            key="tryout.handbook", severity="note", value=t.punch_kN, limit=t.handbook_kN, unit="kN", source="largest punch force against the handbook's draw force",
            sentence=f"The tryout needs {t.punch_kN:.0f} kN at the punch, the handbook form says {t.handbook_kN:.0f} kN: they differ by more than {100 * HANDBOOK:.0f} %.",
            help="Beads, free shapes and sharp radii are not in the handbook form; for a plain cup look at friction and force first.",
        )  # fmt: skip


def _edge(t: Tried) -> Iterator[Finding]:
    if t.flange is None or not len(t.flange):
        return
    least = float(t.flange.min())
    if least >= 0.0:
        return
    order = _worst(t.flange, t.flange < 0.0)
    low, high = t.edge_at[:, :2].min(axis=0), t.edge_at[:, :2].max(axis=0)
    at = t.edge_at[order[:60]].round(6)
    label = f"{side(at[0, :2], low, high)}, edge"
    share = 100.0 * len(order) / len(t.flange)
    drawn = max((s.mm for s in t.edge.stations if np.isfinite(s.mm)), default=np.nan) if t.edge is not None else np.nan
    moved = f" The edge has come in by up to {drawn:.1f} mm." if np.isfinite(drawn) else ""
    severity: Severity = "note" if t.drawn_through else "attend"
    help_ = (
        "The part is drawn through, so its edge has to leave the flange; wrinkles can form once the holder has let go."
        if t.drawn_through
        else "A larger blank there, more restraint, or less depth: an edge on the radius is no longer held, and leaves a ridge in the wall."
    )
    yield Finding(
        key="tryout.edge", severity=severity, value=least, limit=0.0, unit="mm", source="plan distance of the blank's edge to the end of the die radius",
        sentence=f"The blank's edge is pulled into the die radius, {-least:.1f} mm past its end ({label}), on {share:.0f} % of the edge.{moved}",
        help=help_, place=Place(points=tuple((float(x), float(y), float(z)) for x, y, z in at), label=label),
    )  # fmt: skip


def _loose(t: Tried) -> Iterator[Finding]:
    if not t.loose:
        return
    first = t.loose[0]
    where = place(t.mesh, first.cells, t.zone)
    area, share = sum(r.area for r in t.loose), 100.0 * sum(r.share for r in t.loose)
    more = f" in {len(t.loose)} places" if len(t.loose) > 1 else ""
    yield Finding(
        key="tryout.loose", severity="attend", value=100.0 * first.major, limit=100.0 * MAJOR, unit="%", place=where,
        source=f"true strain below {100 * MAJOR:g} % one way and {100 * MINOR:g} % the other, less than 3 % thinner: common practice for panels",
        sentence=f"{area:.0f} mm2 of the flat visible faces ({share:.2g} %){more} are hardly stretched, {100.0 * first.major:.1f} % in the mean at the largest ({where.label}): they can drum and dent.",
        help="More restraint (beads, blankholder) or a smaller blank, so that the punch stretches the middle.",
    )  # fmt: skip


def _skid(t: Tried) -> Iterator[Finding]:
    if t.skid is None or not t.skid.nodes.any():
        return
    cell = t.skid.nodes[t.mesh.triangles].sum(axis=1).astype(np.float64)
    where = place(t.mesh, _worst(-cell, cell > 0), t.zone)
    yield Finding(
        key="tryout.skid", severity="attend", value=t.skid.way, limit=1.0, unit="mm", source="way over a tool radius below ten thicknesses: common practice", place=where,
        sentence=f"{t.skid.area:.0f} mm2 of the visible faces have gone over a tight tool radius by up to {t.skid.way:.0f} mm ({where.label}): the line shows after polishing and plating.",
        help="Move the radius away from the visible face, make it larger, or draw the line into a hidden face.",
    )  # fmt: skip


def _run(t: Tried) -> Iterator[Finding]:
    limits: list[tuple[str, float | None, float, float, str, str, Severity, str]] = [
        ("kinetic", t.kinetic, KINETIC, 100.0, "%", "The sheet's motion holds {v:.1f} % of its internal energy after the first tenth of the stroke, {l:g} % is the limit: the tools run too fast in the computation.", "attend",
         "Run it slower or with less added mass; forces and wrinkles are uncertain."),
        ("balance", None if t.balance is None else abs(t.balance), BALANCE, 1.0, "%", "The energies of the run do not close: {v:.1f} % are missing, {l:g} % is the limit.", "attend",
         "Take the forces as uncertain by as much; a shorter step or verification mode shows where it is lost."),
        ("penetration", t.penetration, PENETRATION, 100.0, "%", "The sheet sinks into a tool by {v:.1f} % of its thickness, {l:g} % is the limit.", "attend",
         "Where the gap is narrower than the sheet this is ironing; elsewhere use a shorter step."),
        ("mass", t.mass, MASS, 100.0, "%", "{v:.0f} % of mass was added to the smallest triangles to keep the step.", "note",
         "Look at the kinetic share; a mesh without slivers needs less."),
    ]  # fmt: skip
    for key, value, limit, scale, unit, sentence, severity, help_ in limits:
        if value is not None and value > limit:
            yield Finding(
                key=f"tryout.{key}", severity=severity, value=scale * value, limit=scale * limit, unit=unit, source=RUN,
                sentence=sentence.format(v=scale * value, l=scale * limit), help=help_,
            )  # fmt: skip

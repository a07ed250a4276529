"""What is told about the cuts, as findings with their place."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Finding, Place
from diewright.trim.loads.found import CutFound, Found, Operation
from diewright.trim.loads.line import STEEPEST, Cut, folded
from diewright.trim.loads.press import OFF_CENTRE, RESERVE, REVERSE_LIMITS, reverse_load
from diewright.trim.loads.punches import ALLOWED, BUCKLING_SAFETY, HEAD_ALLOWED, YIELD
from diewright.trim.loads.steels import LARGE_CLEARANCE
from diewright.trim.loads.webs import LEAST_WEB

Floats = NDArray[np.float64]
DEEP_SHEAR = 1.5
"""Shear depth over thickness beyond which nothing is gained for a plain cut but the sheet bends (common practice: half to one and a half thicknesses)."""
SPRING_OFF = 10.0
"""Middle of the springs off the stripping's centre [mm] that a guided pad bears (ours)."""
THIN_SLUG = 1.0
"""Sheet [mm] below which slugs are light enough to be lifted by the punch (ours)."""
LEVEL_WAY = 3.0
"""Way in thicknesses over which a level steel may meet a sloping rim (ours)."""


def findings_of(f: Found) -> Iterator[Finding]:
    """All findings of the stage."""
    if not f.cuts:
        yield Finding(
            key="cutting.none",
            severity="note",
            sentence="The trim has no cut: there is nothing to load.",
            source="stage trim",
            help="State trim lines or holes.",
        )
        return
    yield from _metal(f)
    yield from _lines(f)
    yield from _punches(f)
    yield from _webs(f)
    for o in f.operations:
        yield from _press(f, o)
        yield from _springs(o)
    yield from _edges(f)


def _spot(*cuts: Cut) -> Place:
    return Place(points=tuple(_triple(c.points.mean(axis=0)) for c in cuts), label=", ".join(c.id for c in cuts))


def _triple(p: Floats) -> tuple[float, float, float]:
    return float(p[0]), float(p[1]), float(p[2])


def _names(cuts: list[CutFound]) -> str:
    names = [c.cut.id for c in cuts]
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def _metal(f: Found) -> Iterator[Finding]:
    m = f.metal
    if not m.known:
        yield Finding(
            key="cutting.material", severity="attend", source="families of the handbook", sentence=f"No handbook row is known for a metal of the family '{m.family}': shear strength and clearance are those stated, the rest is ours.",
            help="State cutting.penetration as well, or try a strip.",
        )  # fmt: skip
    if m.clearance > LARGE_CLEARANCE:
        yield Finding(
            key="cutting.clearance", severity="attend", value=100 * m.clearance, limit=100 * LARGE_CLEARANCE, unit="%", source="common practice", sentence=f"The clearance is {100 * m.clearance:.3g} % of the thickness a side: the sheet bends into the gap and tears.",
            help="5 to 12 % is usual.",
        )  # fmt: skip
    elif m.clearance < 0.01:
        yield Finding(
            key="cutting.clearance", severity="attend", value=100 * m.clearance, limit=1.0, unit="%", source="common practice", sentence=f"The clearance is {100 * m.clearance:.3g} % of the thickness a side: edges touch and chip.",
            help="Below 1 % only fine blanking with its own press works.",
        )  # fmt: skip


def _lines(f: Found) -> Iterator[Finding]:
    steep = [c for c in f.cuts if float(folded(c.cut.lean).max()) > STEEPEST]
    if steep:
        worst = max(steep, key=lambda c: float(folded(c.cut.lean).max()))
        lean = folded(worst.cut.lean)
        yield Finding(
            key="cutting.lean", severity="stop", value=float(lean.max()), limit=STEEPEST, unit="deg", source="geometry", sentence=f"The steel runs along the sheet at {_names(steep)}: its force there means nothing.", help="Turn the steel or cut it by a cam.",
            place=Place(points=(_triple(worst.cut.points[int(lean.argmax())]),), label=worst.cut.id),
        )  # fmt: skip
    guessed = sum(c.cut.filled for c in f.cuts)
    if guessed:
        yield Finding(
            key="cutting.thickness", severity="note", value=float(guessed), limit=0.0, source="stage trim", sentence=f"At {guessed} points of the lines no thickness is known: the nominal one is taken.", help="Nothing needs to be done where the cut runs through trim land.",
        )  # fmt: skip
    t = f.metal.thickness
    deep = [c for c in f.cuts if c.depth > DEEP_SHEAR * t]
    if deep and f.inputs.shear != "scallop":
        yield Finding(
            key="cutting.shear_depth", severity="attend", value=max(c.depth for c in deep), limit=DEEP_SHEAR * t, unit="mm", source="half to one and a half thicknesses, common practice",
            sentence=f"The shear of {_names(deep)} is deeper than one and a half thicknesses: the part or the slug is bent before it is through.", help="Grind it on the member that cuts scrap, or take less.", place=_spot(*(c.cut for c in deep[:5])),
        )  # fmt: skip
    for c in f.cuts:
        way = float(np.ptp(c.plain.elements.begin))
        if way > LEVEL_WAY * t:
            yield Finding(
                key=f"cutting.level.{_key(c.cut.id)}", severity="attend" if c.cut.kind == "pierce" else "note", value=way, limit=LEVEL_WAY * t, unit="mm", source="geometry; limit ours",
                sentence=f"The level edge of {c.cut.id} meets the sheet over {way:.3g} mm of stroke: it pushes the sheet down on one side before it cuts on the other.",
                help="Let the edge follow the sheet, or turn the steel square to it.", place=_spot(c.cut),
            )  # fmt: skip


def _key(name: str) -> str:
    return "".join(ch if ch.isalnum() and ch.isascii() else "_" for ch in name.lower()) or "cut"


def _punches(f: Found) -> Iterator[Finding]:
    rows = [(c, c.punch) for c in f.cuts if c.punch is not None]
    small = [(c, p) for c, p in rows if c.smallest is not None and p.section.narrowest < c.smallest * (1 - 1e-9)]
    if small:
        c, p = min(small, key=lambda r: r[1].section.narrowest / (r[0].smallest or 1.0))
        yield Finding(
            key="cutting.hole_small", severity="attend", value=p.section.narrowest, limit=c.smallest, unit="mm", source="die design handbooks, from memory" if f.metal.known else "compressive strength of the punch",
            sentence=f"{_names([r[0] for r in small])}: the narrowest is {p.section.narrowest:.3g} mm wide, this sheet allows {c.smallest:.3g} mm with a {f.inputs.punch_guide} punch.",
            help="Drill it, make it wider, or guide the punch in the stripper.", place=_spot(*(r[0].cut for r in small[:5])),
        )  # fmt: skip
    crushed = [(c, p) for c, p in rows if p.stress > ALLOWED]
    if crushed:
        c, p = max(crushed, key=lambda r: r[1].stress)
        yield Finding(
            key="cutting.punch_stress", severity="stop" if p.stress > YIELD else "attend", value=p.stress, limit=ALLOWED, unit="MPa", source="common practice; strength 2000 MPa (typical, from memory)",
            sentence=f"{_names([r[0] for r in crushed])}: the punch is pressed with {p.stress:.0f} MPa.", help="Make the hole wider, or use a tougher steel, shear on the punch, sharp edges.", place=_spot(*(r[0].cut for r in crushed[:5])),
        )  # fmt: skip
    buckled = [(c, p) for c, p in rows if p.safety < BUCKLING_SAFETY]
    if buckled:
        c, p = min(buckled, key=lambda r: r[1].safety)
        yield Finding(
            key="cutting.buckling", severity="stop" if p.safety < 1.0 else "attend", value=p.safety, limit=BUCKLING_SAFETY, source="Euler and Johnson; twofold safety, common practice",
            sentence=f"{_names([r[0] for r in buckled])}: the {f.inputs.punch_guide} punch buckles at {p.buckling / 1000:.3g} kN and is loaded with {p.force / 1000:.3g} kN over {p.free:.3g} mm.",
            help=f"A free length of {p.longest / np.sqrt(BUCKLING_SAFETY):.3g} mm or less, a guided punch, or a stepped one.", place=_spot(*(r[0].cut for r in buckled[:5])),
        )  # fmt: skip
    heads = [(c, p) for c, p in rows if p.head_pressure > HEAD_ALLOWED]
    if heads:
        c, p = max(heads, key=lambda r: r[1].head_pressure)
        yield Finding(
            key="cutting.head", severity="note", value=p.head_pressure, limit=HEAD_ALLOWED, unit="MPa", source="common practice", sentence=f"{_names([r[0] for r in heads])}: the head presses with up to {p.head_pressure:.0f} MPa.",
            help="Put a hardened backing plate behind it.", place=_spot(*(r[0].cut for r in heads[:5])),
        )  # fmt: skip
    paired = [c for c in f.cuts if c.sizes is not None and c.sizes.paired]
    if paired:
        z = paired[0].sizes
        assert z is not None
        yield Finding(
            key="cutting.paired", severity="note", value=z.punch_tolerance + z.die_tolerance, limit=0.5 * (z.die - z.punch), unit="mm", source="ISO 286-1; limit ours",
            sentence=f"{_names(paired)}: the usual tolerances of punch and die eat up more than half of the clearance.", help="Make the die to the punch, or grind closer.", place=_spot(*(c.cut for c in paired[:5])),
        )  # fmt: skip
    if rows and f.metal.thickness < THIN_SLUG:
        yield Finding(
            key="cutting.slug", severity="note", value=f.metal.thickness, limit=THIN_SLUG, unit="mm", source="common practice; limit ours", sentence="Slugs of thin sheet may come up with the punch.",
            help="Ejector pin or air in the punch, a roughened land, less clearance, or a punch that enters further.",
        )  # fmt: skip


def _webs(f: Found) -> Iterator[Finding]:
    t = f.metal.thickness
    cuts = {c.cut.id: c.cut for c in f.cuts}
    for key, edge, words in (("cutting.web", False, "between two holes"), ("cutting.edge", True, "between a hole and the trimmed edge")):
        narrow = [w for w in f.webs if ("trim" in (cuts[w.a].kind, cuts[w.b].kind)) == edge and w.distance < LEAST_WEB * t]
        if narrow:
            w = narrow[0]
            at_once = cuts[w.a].operation == cuts[w.b].operation
            yield Finding(
                key=key, severity="stop" if at_once else "attend", value=w.distance, limit=LEAST_WEB * t, unit="mm", source="a thickness at least, common practice; 1.5 to 2 are planned",
                sentence=f"{w.distance:.3g} mm of sheet are left {words} ({w.a}, {w.b}){f', and too little at {len(narrow) - 1} more places' if len(narrow) > 1 else ''}{': it tears when both are cut at once' if at_once else ''}.",
                help="Pierce them in two operations, move them, or ask for a wider web.", place=Place(points=tuple(_triple(p) for p in w.at), label=f"{w.a}, {w.b}"),
            )  # fmt: skip


def _press(f: Found, o: Operation) -> Iterator[Finding]:
    tag, nominal, name = _key(o.name), 1000.0 * float(f.press["force_kn"]), str(f.press.get("name", "the press"))
    place = Place(points=(_triple(o.sheared.peak_centre),), label=o.name)
    top = float(o.slide.max())
    if top > RESERVE * nominal:
        yield Finding(
            key=f"cutting.overload.{tag}", severity="stop" if top > nominal else "attend", value=top / 1000, limit=RESERVE * nominal / 1000, unit="kN", source="four fifths of the nominal force, common practice",
            sentence=f"The {o.name} takes {top / 1000:.4g} kN with its pad, {name} gives {nominal / 1000:.4g} kN.", help="Grind shear, stagger the punches, split the operation, or take a larger press.", place=place,
        )  # fmt: skip
    i = o.tightest
    if o.slide[i] > o.capacity[i] and o.capacity[i] < 0.999 * nominal:
        yield Finding(
            key=f"cutting.height.{tag}", severity="stop", value=float(o.slide[i]) / 1000, limit=float(o.capacity[i]) / 1000, unit="kN", source="force curve of the stage press",
            sentence=f"{o.height[i]:.3g} mm above bottom the {o.name} takes {o.slide[i] / 1000:.4g} kN, {name} gives {o.capacity[i] / 1000:.4g} kN there.", help="Cut nearer to the bottom: less entry, less shear, less stagger; or take a larger press.", place=place,
        )  # fmt: skip
    reverse = reverse_load(o.sheared.released)
    if reverse > REVERSE_LIMITS[0] * nominal:
        most = reverse > REVERSE_LIMITS[1] * nominal
        yield Finding(
            key=f"cutting.snap.{tag}", severity="stop" if most else "attend", value=100 * reverse / nominal, limit=100 * REVERSE_LIMITS[1 if most else 0], unit="%", source="10 to 20 % of the rated force, common practice; reverse load half of what is released (ours)",
            sentence=f"At the break {o.sheared.released / 1000:.4g} kN are let go at once in the {o.name}: the press snaps back with about {100 * reverse / nominal:.0f} % of its rated force.", help="Grind shear or stagger the punches so that not all of it breaks at once.", place=place,
        )  # fmt: skip
    bed = f.press.get("bed_mm") or (0.0, 0.0)
    for axis in (0, 1):
        limit = OFF_CENTRE * float(bed[axis])
        if limit > 0 and abs(o.off[axis]) > limit:
            yield Finding(
                key=f"cutting.centre.{tag}.{'xy'[axis]}", severity="attend", value=abs(float(o.off[axis])), limit=limit, unit="mm", source="a tenth of the bed; limit ours",
                sentence=f"At its largest the load of the {o.name} acts {abs(o.off[axis]):.3g} mm off the slide's centre along {'xy'[axis]}; the moment is up to {o.tilt.max() / 1e6:.3g} kNm.",
                help="Move the tool in the press (cutting.press_centre), and look at the press's off-centre diagram.", place=place,
            )  # fmt: skip
    if f.energy is not None and o.sheared.work > f.energy:
        yield Finding(
            key=f"cutting.energy.{tag}", severity="stop", value=o.sheared.work, limit=f.energy, unit="J", source="press table, work without pause", sentence=f"The {o.name} takes {o.sheared.work:.4g} J a stroke, the drive of {name} gives {f.energy:.4g} J.",
            help="Run slower with single strokes, or take a larger press.",
        )  # fmt: skip
    if float(o.height[0]) > float(f.press["stroke_mm"]):
        yield Finding(
            key=f"cutting.stroke.{tag}", severity="stop", value=float(o.height[0]), limit=float(f.press["stroke_mm"]), unit="mm", source="press table", sentence=f"The steels of the {o.name} would touch {o.height[0]:.4g} mm above bottom, more than the press's stroke.",
            help="Let trim steels follow the sheet, or take less shear and entry.",
        )  # fmt: skip


def _springs(o: Operation) -> Iterator[Finding]:
    for s in o.strippers:
        tag = _key(s.of)
        if s.springs is None:
            yield Finding(
                key=f"cutting.springs.{tag}", severity="attend", value=s.force / 1000, unit="kN", source="springs.toml (typical, from memory)", sentence=f"No spring of the table strips {s.force / 1000:.4g} kN over {s.work:.3g} mm for {s.of}.",
                help="Strip in a fixed stripper, allow gas springs, or shorten the way.",
            )  # fmt: skip
        elif s.places is None:
            yield Finding(
                key=f"cutting.springs_room.{tag}", severity="attend", value=float(s.springs.count), source="geometry", sentence=f"{s.springs.count} of '{s.springs.name}' do not stand inside the pad of {s.of}.", help="Lay them above the pad on pins, or use gas springs.",
            )  # fmt: skip
        elif s.off is not None and s.off > SPRING_OFF:
            middle = s.places.mean(axis=0)
            yield Finding(
                key=f"cutting.springs_centre.{tag}", severity="note", value=s.off, limit=SPRING_OFF, unit="mm", source="geometry; limit ours", sentence=f"The springs of {s.of} push {s.off:.3g} mm beside the middle of what they strip.", help="Shift them by hand where the tool has room.",
                place=Place(points=((float(middle[0]), float(middle[1]), 0.0),), label=s.of) if o.name != "cam" else None,
            )  # fmt: skip


def _edges(f: Found) -> Iterator[Finding]:
    seen = [c for c in f.cuts if c.burr == f.visible]
    if seen:
        worst = max(c.edge.burr for c in seen)
        how = "stated" if f.inputs.visible != "auto" else "taken as the outside of the drawn part"
        yield Finding(
            key="cutting.burr_side", severity="attend", value=worst, limit=0.0, unit="mm", source="the burr lies where the steel leaves the part", sentence=f"The burr of {_names(seen)} lies on the {f.visible} face, which is seen ({how}): up to about {worst:.2g} mm.",
            help="Cut from the other side, or deburr before polishing and plating: plating grows on burrs.", place=_spot(*(c.cut for c in seen[:5])),
        )  # fmt: skip

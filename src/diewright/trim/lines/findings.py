"""What the cut lines have to say: angles, what must wait, and lines that cannot be cut as they are stated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Figure, Finding, Place
from diewright.trim.lines.angle import cam_deg
from diewright.trim.lines.bend import NearBend
from diewright.trim.lines.between import Meeting
from diewright.trim.lines.cut import Cut
from diewright.trim.lines.stated import OFF, Curve

Floats = NDArray[np.float64]
PRACTICE = "common practice"
_MOST = 60  # points of a place


@dataclass(frozen=True, eq=False)
class Found:
    """All cuts, the curves that were left out with the reason, how lines meet (numbers of ``cuts``), holes near bends, the places of lines beyond the blank's edge or the part's, and the limits."""

    cuts: tuple[Cut, ...]
    curves: dict[str, Curve]
    left_out: dict[str, str]
    duplicates: tuple[tuple[str, str, Floats], ...]
    meets: tuple[Meeting, ...]
    bends: dict[str, NearBend]
    over_edge: dict[str, Floats]
    in_scrap: dict[str, Floats]
    undercut: dict[str, Floats]
    short: float
    short_at: Floats
    care: float
    most: float
    knife: float
    web: float
    thickness: float


def place(points: Floats, label: str) -> Place:
    """A place of the points, thinned out."""
    p = np.atleast_2d(points)
    p = p[:: max(len(p) // _MOST, 1)][:_MOST]
    return Place(points=tuple((float(x), float(y), float(z)) for x, y, z in p.round(4)), label=label)


def spot(p: Floats) -> str:
    """A point in words."""
    return f"({p[0]:.1f}, {p[1]:.1f}, {p[2]:.1f})"


def findings_of(f: Found) -> list[Finding]:
    """All of them."""
    out: list[Finding] = []
    for cut in f.cuts:
        out += _angle(f, cut)
    out += [*_lines(f), *_meetings(f), *_waits(f)]
    if f.short > 1.0:
        out.append(
            Finding(
                key="trim.rim", severity="attend", value=f.short, limit=0.0, unit="mm", source="developed outline laid on the faces", place=place(f.short_at, "blank's edge"),
                sentence=f"The faces end {f.short:.1f} mm before the blank's edge at {spot(f.short_at)} mm: the rim is shown as far as they reach.", help="Make the faces larger, or the blank smaller.",
            )
        )  # fmt: skip
    return out


def _angle(f: Found, cut: Cut) -> list[Finding]:
    worst, at = float(cut.lean.max()), cut.points[cut.worst]
    how = "straight down" if cam_deg(cut.direction) < 1e-3 else f"by a cam {90 - cam_deg(cut.direction):.0f} deg below level"
    out: list[Finding] = []
    if 90.0 - worst < f.knife:
        bad = cut.points[90.0 - cut.lean < f.knife]
        out.append(
            Finding(
                key=f"trim.knife.{cut.name}", severity="stop", value=90.0 - worst, limit=f.knife, unit="deg", source=PRACTICE, place=place(bad, cut.name),
                sentence=f"{cut.name} runs along a wall at {spot(at)} mm: the sheet meets the steel's travel at {90 - worst:.1f} deg and would be sheared along its plane.",
                help=_wall_help(cut),
            )
        )  # fmt: skip
    elif worst > f.most:
        out.append(
            Finding(
                key=f"trim.lean.{cut.name}", severity="stop", value=worst, limit=f.most, unit="deg", source=PRACTICE, place=place(cut.points[cut.lean > f.most], cut.name),
                sentence=f"{cut.name}, cut {how}, leans by {worst:.0f} deg at {spot(at)} mm: burr and steel do not bear that.", help=_wall_help(cut),
            )
        )  # fmt: skip
    elif worst > f.care:
        out.append(
            Finding(
                key=f"trim.care.{cut.name}", severity="attend", value=worst, limit=f.care, unit="deg", source=PRACTICE, place=place(cut.points[cut.lean > f.care], cut.name),
                sentence=f"{cut.name}, cut {how}, leans by {worst:.0f} deg at {spot(at)} mm: the edge gets oblique there and the steel wears faster.",
                help="Tip the part for the trim, lay the line where the sheet is level, or cut this stretch by a cam.",
            )
        )  # fmt: skip
    if not out and cut.operation == "cam" and not cut.stated_direction:
        out.append(
            Finding(
                key=f"trim.cam.{cut.name}", severity="note", value=90 - cam_deg(cut.direction), unit="deg", source="direction that makes the worst lean along the line least",
                place=place(at, cut.name), sentence=f"{cut.name} is cut {how}; straight down it would lean by {cut.straight_lean:.0f} deg.", help="Keep room for the cam's slide and its return.",
            )
        )  # fmt: skip
    return out


def _wall_help(cut: Cut) -> str:
    if cut.stretches:
        return f"{len(cut.stretches)} cams, each for a stretch of the line, would cut it within the limit; or lead the addendum out level and trim there."
    if cut.stated_direction:
        return "State direction = auto, or another direction."
    return "Lay the line where the sheet lies level, lead the addendum out level and trim there, or cut it in the flat blank."


def _lines(f: Found) -> list[Finding]:
    out = []
    for name, c in f.curves.items():
        if len(c.off):
            out.append(
                Finding(
                    key=f"trim.off.{name}", severity="stop", value=float(len(c.off)), unit="places", source="drawn surface of the faces", place=place(c.off, name),
                    sentence=f"{name} runs off the drawn sheet at {spot(c.off[0])} mm{': it is left out' if name in f.left_out else ''}.", help="Move the line, or correct its unit and origin.",
                )
            )  # fmt: skip
        if len(c.double):
            out.append(
                Finding(
                    key=f"trim.double.{name}", severity="stop", value=float(len(c.double)), unit="places", source="drawn surface of the faces", place=place(c.double, name),
                    sentence=f"The steel of {name} meets the sheet more than once at {spot(c.double[0])} mm, where the sheet lies over itself.", help="State another direction, or cut it in a later operation.",
                )
            )  # fmt: skip
        if len(c.jumps):
            out.append(
                Finding(
                    key=f"trim.jump.{name}", severity="stop", value=float(len(c.jumps)), unit="places", source="drawn surface of the faces", place=place(c.jumps, name),
                    sentence=f"{name} leaps from one layer of the sheet to another at {spot(c.jumps[0])} mm.", help="State another direction or another line.",
                )
            )  # fmt: skip
        if c.off_mm > OFF and c.off_at is not None:
            out.append(
                Finding(
                    key=f"trim.away.{name}", severity="attend", value=c.off_mm, limit=OFF, unit="mm", source="distance of the stated line from the drawn surface", place=place(c.off_at, name),
                    sentence=f"{name} lies {c.off_mm:.2f} mm off the drawn sheet at {spot(c.off_at)} mm and was laid on it.", help="Check that the line belongs to this part and these coordinates.",
                )
            )  # fmt: skip
    for name, at in f.over_edge.items():
        out.append(
            Finding(
                key=f"trim.edge.{name}", severity="stop", value=float(len(at)), unit="points", source="developed outline laid on the faces", place=place(at, name),
                sentence=f"{name} runs over the blank's edge at {spot(at[0])} mm: there is no sheet to cut.", help="Give the blank a larger trim allowance (blank.trim_allowance), or move the line inwards.",
            )
        )  # fmt: skip
    for name, at in f.in_scrap.items():
        out.append(
            Finding(
                key=f"trim.scrap.{name}", severity="attend", value=float(len(at)), unit="points", source="the part's own edge", place=place(at, name),
                sentence=f"{name} lies outside the part's edge at {spot(at[0])} mm, in what is trimmed off.", help="Move it onto the part, or leave it out.",
            )
        )  # fmt: skip
    return out


def _meetings(f: Found) -> list[Finding]:
    out = [
        Finding(
            key=f"trim.same.{b}", severity="attend", value=0.0, unit="mm", source="distance of the two lines", place=place(at, b),
            sentence=f"{b} is the same line as {a}, at {spot(at)} mm: it is left out.", help="State every cut once.",
        )
        for a, b, at in f.duplicates
    ]  # fmt: skip
    for m in f.meets:
        a, b = f.cuts[m.a].name, f.cuts[m.b].name
        if m.how == "cross":
            out.append(
                Finding(
                    key=f"trim.cross.{a}.{b}", severity="stop", value=0.0, limit=f.web, unit="mm", source="distance of the two lines", place=place(m.at, f"{a}, {b}"),
                    sentence=f"{a} and {b} cross or touch at {spot(m.at)} mm.", help="Move one of them, or join them to one line.",
                )
            )  # fmt: skip
        else:
            out.append(
                Finding(
                    key=f"trim.web.{a}.{b}", severity="attend", value=m.gap, limit=f.web, unit="mm", source=f"{PRACTICE}: two thicknesses", place=place(m.at, f"{a}, {b}"),
                    sentence=f"Between {a} and {b} only {m.gap:.2f} mm are left at {spot(m.at)} mm: too little for steels of one operation.",
                    help="The second is put into a later operation; a wider web saves it.",
                )
            )  # fmt: skip
    return out


def _waits(f: Found) -> list[Finding]:
    out = []
    for name, near in f.bends.items():
        on = near.distance < 1e-3
        out.append(
            Finding(
                key=f"trim.bend.{name}", severity="attend", value=near.distance, limit=near.wanted, unit="mm", source=f"{PRACTICE}: 2 t + r from the tangent line", place=place(near.at, name),
                sentence=f"{name} lies {'on a bend' if on else f'{near.distance:.1f} mm from the tangent line of a bend'} of inner radius {near.radius:.1f} mm at {spot(near.at)} mm; {near.wanted:.1f} mm are wanted.",
                help="Move the hole, or pierce it after every bend near it is finished, with a die shaped to the radius.",
            )
        )  # fmt: skip
    for name, at in f.undercut.items():
        out.append(
            Finding(
                key=f"trim.wait.{name}", severity="attend", value=float(len(at)), unit="points", source="undercut faces of the tipped part", place=place(at, name),
                sentence=f"{name} lies at {spot(at[0])} mm on a wall that is undercut in this press direction: that wall is made by a later operation, and the cut must wait for it.",
                help="Cut it after the flanging that makes this wall.",
            )
        )  # fmt: skip
    return out


def figures_of(f: Found) -> list[Figure]:
    """The few numbers in front."""
    worst = max(f.cuts, key=lambda c: float(c.lean.max()))
    cams = [c for c in f.cuts if c.operation == "cam"]
    return [
        Figure(key="length", label="Cut in all", value=sum(c.length for c in f.cuts), unit="mm", formula="sum of the lengths of all lines on the drawn sheet", source="exact polylines on the drawn surface"),
        Figure(key="lean", label="Largest lean of the sheet under a steel", value=float(worst.lean.max()), unit="deg", formula="acos |n . d|", source=PRACTICE, inputs={"line": (worst.name, ""), "care from": (f.care, "deg"), "most": (f.most, "deg")}),
        Figure(key="cams", label="Cuts by cam", value=float(len(cams)), unit="cuts", formula="lines that lean by more than the limit straight down", source=PRACTICE),
    ]  # fmt: skip

"""What the blank has to say: findings and figures of the stage ``blank``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.blank.developed import TOLERANCE, Developed
from diewright.blank.flange import Flange, Hold
from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Figure, Finding
from diewright.job.places import place
from diewright.mechanics.road import PULLED

Floats = NDArray[np.float64]

WRINKLE_SHARE = 0.7
"""Share of compression from which sheet is named."""

BACKED = float(np.sin(np.deg2rad(12.0)))
"""Walls with less draft than 12 degrees count as backed by the punch (common practice: 10 to 15)."""

DIE_BAND = 0.25
"""Share of the depth below the top that the die radius is taken to reach."""

FAR = 100.0
"""Percent points beyond the limit from which the number itself says nothing: no sheet gets there."""

AREA_NOTED, AREA_ATTEND = 2.0, 5.0
"""Difference of blank and part area [%] that is noted, and that asks for a decision."""

POINTER = "share of compression in the stress; a pointer, not a buckling analysis"

ONE_STEP = (
    "One-step solution: it knows the finished shape and the flat blank, not the way between. Bending over radii, contact, draw-in "
    "history and strain-path changes are left out; margins hold for early judgement, about 5 to 10 percent points, and a tryout decides."
)


@dataclass(frozen=True, eq=False)
class Judged:
    """What the findings look at; fields per triangle of ``mesh``."""

    mesh: TriMesh
    zone: NDArray[np.str_]
    flange: Flange
    margin: Floats
    thinning: Floats
    wrinkle: Floats
    developed: Developed
    growth: float
    warnings: tuple[str, ...]
    taut: tuple[str, ...]
    wall_tension: float = 0.0
    wall_gap: float = 0.0


def findings_of(j: Judged, margin_wanted: float, thinning_limit: float, stated_force: float | None) -> list[Finding]:
    """All findings of the stage, worst first."""
    out = [
        *_margin(j, margin_wanted),
        *_thinning(j, thinning_limit),
        *_wrinkle(j),
        *_balance(j),
        *_flange(j, stated_force),
        *_rim(j),
        *_area(j),
        *_edge(j),
    ]
    out.append(Finding(
        key="blank.deep", severity="note", sentence=ONE_STEP, source="one-step inverse method, deformation theory of plasticity",
        help="Use the margin to compare shapes and sheets; leave it room.",
    ))  # fmt: skip
    return out


def _worst(field: Floats, bad: NDArray[np.bool_]) -> NDArray[np.intp]:
    cells = np.flatnonzero(bad)
    return cells[np.argsort(field[cells], kind="stable")]


def _margin(j: Judged, wanted: float) -> Iterator[Finding]:
    least = float(j.margin.min())
    if least >= wanted:
        return
    beyond = least < 0.0
    cells = _worst(j.margin, j.margin < (0.0 if beyond else wanted))
    where = place(j.mesh, cells, j.zone)
    share = 100.0 * float(j.mesh.areas[cells].sum()) / j.mesh.area
    far = f"{-least:.1f}" if least > -FAR else f"more than {FAR:g}"
    text = (
        f"The sheet is {far} percent points beyond its forming limit ({where.label}); {share:.2g} % of the area is beyond it."
        if beyond
        else f"The least margin to necking is {least:.1f} percent points ({where.label}), {wanted:g} are wanted."
    )
    yield Finding(
        key="blank.margin", severity="stop" if beyond else "attend", sentence=text, value=least, limit=0.0 if beyond else wanted, unit="%",
        source="forming limit curve of the sheet (straight strain path)" if beyond else "stated: blank.margin_wanted", place=where,
        help="A larger radius or less depth there; a sheet with higher n or r; less restraint (friction, beads, blankholder).",
    )  # fmt: skip


def _thinning(j: Judged, limit: float) -> Iterator[Finding]:
    most = float(j.thinning.max())
    if most > limit:
        where = place(j.mesh, _worst(-j.thinning, j.thinning > limit), j.zone)
        yield Finding(
            key="blank.thinning", severity="attend", sentence=f"The sheet thins by up to {most:.1f} % ({where.label}); {limit:g} % is the limit.",
            value=most, limit=limit, unit="%", source="stated: blank.thinning_limit", place=where,
            help="A larger radius, less depth, less restraint, or a sheet with a higher r-value.",
        )  # fmt: skip
    thick = float(-j.thinning.min())
    if thick > 20.0:
        where = place(j.mesh, _worst(j.thinning, j.thinning < -20.0), j.zone)
        yield Finding(
            key="blank.thickening", severity="attend", sentence=f"The sheet thickens by up to {thick:.1f} % ({where.label}): the draw clearance must let it pass.",
            value=thick, limit=20.0, unit="%", source="common practice: 1.1 to 1.2 times the thickness as draw clearance", place=where,
            help="Notch the blank there, add a draw, or plan for ironing.",
        )  # fmt: skip


def _wrinkle(j: Judged) -> Iterator[Finding]:
    pressed = (j.wrinkle > WRINKLE_SHARE) & (j.thinning < -1.0)
    off = pressed & ~j.flange.cells
    # A steep wall is backed by punch and die, the die radius by the die; a sloping wall hangs free during the draw, where it puckers.
    top, depth = float(j.mesh.points[:, 2].max()), float(np.ptp(j.mesh.points[:, 2]))
    below_die = j.mesh.centroids[:, 2] < top - DIE_BAND * depth
    free = off & below_die & (np.abs(j.mesh.normals[:, 2]) > BACKED)
    few = 0.01 * j.mesh.area
    if j.flange.there and float(j.mesh.areas[free].sum()) > few:
        where = place(j.mesh, _worst(-j.wrinkle * j.mesh.areas, free), j.zone)
        yield Finding(
            key="blank.wrinkle", severity="attend", value=float(j.wrinkle[free].max()), limit=WRINKLE_SHARE, place=where, source=POINTER,
            sentence=f"{_share(j, free):.2g} % of the sheet is pressed together in its plane where it slopes freely, off the flange ({where.label}).",
            help="Hold the sheet longer, add beads or a step that takes up the metal, or change the blank there.",
        )  # fmt: skip
    rest = off & ~free if j.flange.there else off
    if float(j.mesh.areas[rest].sum()) > few:
        where = place(j.mesh, _worst(-j.wrinkle * j.mesh.areas, rest), j.zone)
        backed = (
            "it lies on the die radius or between punch and die"
            if j.flange.there
            else "the final shape has no flange: it was under the blankholder before"
        )
        yield Finding(
            key="blank.wrinkle.wall", severity="note", value=float(j.wrinkle[rest].max()), limit=WRINKLE_SHARE, place=where, source=POINTER,
            sentence=f"{_share(j, rest):.2g} % of the sheet is pressed together in its plane off the flange ({where.label}); {backed}.",
            help="Keep the draw clearance tight enough to iron out folds.",
        )  # fmt: skip
    held = pressed & j.flange.cells
    if held.any():
        yield Finding(
            key="blank.wrinkle.flange", severity="note", value=float(-j.thinning[held].min()), unit="%", place=place(j.mesh, _worst(j.thinning, held), j.zone),
            sentence=f"The flange is pressed together and thickens by up to {-j.thinning[held].min():.1f} %; the blankholder must keep it flat.",
            source=POINTER, help="See the blankholder pressure of the press page.",
        )  # fmt: skip


def _share(j: Judged, cells: NDArray[np.bool_]) -> float:
    return 100.0 * float(j.mesh.areas[cells].sum()) / j.mesh.area


def _balance(j: Judged) -> Iterator[Finding]:
    pulled = any(PULLED in text for text in j.warnings)  # a compressed rim is said by the solver's own note
    if j.growth > 0.0 and pulled:
        yield Finding(
            key="blank.balance", severity="attend", value=j.growth, limit=0.0, source="inverse solution",
            sentence="The sheet has no load in reserve somewhere: the balance was found only with a hardening curve made steeper, so peak strains are understated.",
            help="Take the place of least margin as torn until a tryout shows otherwise.",
        )  # fmt: skip
    for k, text in enumerate(j.warnings):
        yield Finding(key=f"blank.solver.{k + 1}", severity="note", sentence=text, source="inverse solution")


def _flange(j: Judged, stated_force: float | None) -> Iterator[Finding]:
    if j.flange.there:
        return
    extra = (
        " The stated blankholder force has nothing to press on in the final shape and is left out of the strains." if stated_force else ""
    )
    yield Finding(
        key="blank.flange", severity="note", sentence=f"No blankholder acts in this solution: {j.flange.why}.{extra}", source="shape of the part",
        help="Strains of a part drawn through, or one that still lacks its addendum, are a lower bound.",
    )  # fmt: skip


def _rim(j: Judged) -> Iterator[Finding]:
    if j.wall_tension > 0.0:
        yield Finding(
            key="blank.rim", severity="note", value=j.wall_tension, unit="N/mm", source="slab method of the flange over the stroke: Siebel and Beisswaenger 1955, losses from memory",
            sentence=f"The blank of this open rim rests on an estimate of how the wall was drawn: under up to {j.wall_tension:.0f} N/mm, through a gap of {j.wall_gap:.2f} mm. Cups of one draw checked so far agree within 2 %; deeper ones come out larger.",
            help="State blank.bead_restraint to replace the estimate; cut the first blanks large and trim back in tryout.",
        )  # fmt: skip


def _area(j: Judged) -> Iterator[Finding]:
    """The handbook's rule beside the solution: equal areas of part and blank."""
    net, pierced = j.developed.net, sum(abs(h.outline.area) for h in j.developed.holes.values())
    blank = net.area - pierced
    more = 100.0 * (blank / j.mesh.area - 1.0)
    if abs(more) <= AREA_NOTED:
        return
    inwards = (blank - j.mesh.area) / net.perimeter
    why = "the edge thickens freely in this solution" if more > 0 else "the sheet is stretched"
    side = "inside" if more > 0 else "outside"
    yield Finding(
        key="blank.constant_area", severity="attend" if abs(more) > AREA_ATTEND else "note", value=more, limit=AREA_NOTED, unit="%",
        sentence=f"The blank is {abs(more):.1f} % {'larger' if more > 0 else 'smaller'} than the part's own area: {why}. By the handbook's equal areas its edge would lie about {abs(inwards):.1f} mm further {side}.",
        source="constant area of the middle surface, drawing handbooks", help="Cut the first blanks to the larger outline and trim back in tryout.",
    )  # fmt: skip


def _edge(j: Judged) -> Iterator[Finding]:
    fit = j.developed.fit
    counts = fit.outline.counts()
    if fit.deviation > TOLERANCE or sum(counts.values()) > 120:
        yield Finding(
            key="blank.outline", severity="note", value=fit.deviation, limit=TOLERANCE, unit="mm", source="fit of true curves to the developed edge",
            sentence=f"The developed edge is too rough for few smooth curves within {TOLERANCE} mm; it is drawn with {sum(counts.values())} pieces.",
            help="Use a finer mesh at the part's edge.",
        )  # fmt: skip
    for name in j.taut:
        yield Finding(
            key=f"blank.fill.{name.removeprefix('hole_')}", severity="note", source="shape of the part",
            sentence=f"Hole {name.removeprefix('hole_')} stands in a collar: it is filled flat, and its collar is developed with the part.",
            help="If the collar is raised after drawing, take it out of the CAD shape.",
        )  # fmt: skip


def figures_of(
    j: Judged, thickness: float, density: float, hold: Hold | None, rm: float, draw_force: float, applied: float | None, parts: int
) -> list[Figure]:
    """The numbers that can be opened."""
    area = j.developed.area
    t = (thickness, "mm")
    out = [
        Figure(key="blank.area", label="Blank area", value=area, unit="mm2", formula="1/2 integral (x dy - y dx) round the outline, less kept holes",
               confidence="exact for the outline; the outline follows the solution within 0.1 mm", digits=5),
        Figure(key="blank.mass", label="Blank mass", value=area * thickness * density * 1e-9, unit="kg", formula="m = rho A t",
               inputs={"rho": (density, "kg/m3"), "A": (area, "mm2"), "t": t}, confidence="nominal thickness"),
        Figure(key="blank.margin_min", label="Least margin to necking", value=float(j.margin.min()), unit="%", formula="100 (exp(e1_limit(e2)) - exp(e1))",
               inputs={"e1": ("true major strain of each triangle", ""), "e2": ("true minor strain", "")}, source="forming limit curve of the sheet", confidence=ONE_STEP),
        Figure(key="blank.thinning_max", label="Largest thinning", value=float(j.thinning.max()), unit="%", formula="100 (1 - t / t0)", inputs={"t0": t}, confidence=ONE_STEP),
        Figure(key="blank.draw_force", label="Draw force of the inverse solution", value=draw_force, unit="N", formula="largest vertical membrane force through a level section",
               confidence="final shape only; bending over the die radius is left out, so rather low"),
    ]  # fmt: skip
    if parts > 1:
        out.append(Figure(
            key="blank.part_mass", label="Metal a part", value=area * thickness * density * 1e-9 / parts, unit="kg", formula="m = rho A t / n",
            inputs={"rho": (density, "kg/m3"), "A": (area, "mm2"), "t": t, "n": (float(parts), "parts a blank")}, confidence="nominal thickness",
        ))  # fmt: skip
    if hold is not None:
        out.append(Figure(
            key="blank.blankholder", label="Blankholder force, handbook", value=hold.force, unit="N", formula="F = [(beta - 1)^2 + d / (200 s)] Rm / 400 (A_blank - A_opening)",
            inputs={"beta": (hold.ratio, "equal areas"), "d": (hold.diameter, "mm"), "s": t, "Rm": (rm, "MPa"), "A_blank - A_opening": (hold.area, "mm2"), "used": (applied if applied is not None else "none", "N")},
            source="Siebel form; Kugler, Umformtechnik, Hanser 2009", confidence="blank area taken from constant area of the part; band 0.7 to 1.5 of this",
        ))  # fmt: skip
    return out

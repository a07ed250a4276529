"""Cutting: lines, loads, scrap and steels, bends, the press plan."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from diewright.job.stated.record import Record, Vector, q, safe_name


class TrimLine(Record):
    """A cut line that a person states: an outline from a file, or a round hole. Outlines in plan are laid on the drawn sheet along the steel's travel."""

    kind: Literal["trim", "pierce"] = q("", "trim cuts what lies outside away, pierce what lies inside", default="pierce")
    file: str = q("", "outline in the job folder (DXF, or CSV of x,y or x,y,z); empty for a round hole", default="", max_length=200)
    layer: str = q("", "layer of the DXF; empty takes all of its lines", default="", max_length=120)
    unit: Literal["", "mm", "cm", "m", "inch"] = q("", "unit of the file, where it states none", default="")
    coordinates: Literal["press", "part"] = q("", "press: as the draw lies; part: as the CAD file", default="press")
    x: float = q("mm", "middle of a round hole, or where the outline's origin lies", default=0.0, ge=-20_000, le=20_000)
    y: float = q("mm", "middle of a round hole, or where the outline's origin lies", default=0.0, ge=-20_000, le=20_000)
    z: float | None = q(
        "mm", "height there; needed for a cam, else it says which layer is meant where the sheet lies over itself", default=None
    )
    diameter: float | None = q("mm", "of a round hole", default=None, gt=0, le=20_000)
    direction: Literal["auto"] | Vector = q(
        "",
        "way the steel travels; auto goes straight down, and where the sheet leans too much by the cam that meets it best",
        default="auto",
    )
    operation: Literal["auto", "first trim", "second trim", "cam"] = q("", "operation in which it is cut", default="auto")

    @field_validator("file")
    @classmethod
    def _inside(cls, value: str) -> str:
        return safe_name(value)

    @field_validator("direction")
    @classmethod
    def _direction(cls, value: Any) -> Any:
        if value != "auto" and math.hypot(*value) < 1e-9:
            raise ValueError("a direction needs a length above zero")
        return value


class TrimStated(Record):
    """Where the drawn sheet is cut."""

    line: tuple[TrimLine, ...] = q("", "further cut lines beside the part's own edge and holes", default=(), max_length=200)
    lean_care: float = q(
        "deg", "lean of the sheet under the steel up to which nothing is said (common practice)", default=15.0, ge=0, le=60
    )
    lean_most: float = q("deg", "largest lean that a steel may cut (common practice)", default=30.0, ge=0, le=80)
    knife: float = q(
        "deg", "a sheet that meets the steel's travel at less than this cannot be cut at all (common practice)", default=5.0, ge=0, le=45
    )
    bend_thicknesses: float = q(
        "", "thicknesses that a hole keeps from a bend's tangent line, beside the inner radius (common practice)", default=2.0, ge=0, le=20
    )
    web_least: Literal["auto"] | Annotated[float, Field(ge=0, le=100)] = q(
        "mm", "least distance of two lines cut in one operation; auto takes 2 thicknesses (common practice)", default="auto"
    )
    edge_tolerance: float = q(
        "mm", "how far the formed edge may lie off the wanted line with the developed blank", default=0.5, gt=0, le=20
    )
    edge_runs: int = q("", "most tryouts that the developed blank may take", default=6, ge=1, le=20)
    edge_quality: Literal["coarse", "normal", "fine"] = q("", "mesh of the sheet in these tryouts", default="coarse")


class CuttingStated(Record):
    """What the cuts ask of steels, punches, springs and press."""

    shear_strength: Literal["auto"] | Annotated[float, Field(gt=0, le=3000)] = q(
        "MPa", "shear strength of the sheet; auto takes the handbook's share of Rm", default="auto"
    )
    penetration: Literal["auto"] | Annotated[float, Field(ge=0.05, le=1)] = q(
        "", "penetration over thickness at which the sheet breaks; auto by material", default="auto"
    )
    wear: float = q("", "factor of worn edges on the cutting force: 1 sharp, 1.15 to 1.3 before regrinding", default=1.2, ge=1, le=2)
    clearance: Literal["auto"] | Annotated[float, Field(ge=0, le=100)] = q(
        "%", "cutting clearance a side, of the thickness; auto by handbook rule", default="auto"
    )
    trim_steel: Literal["follow", "level"] = q(
        "", "follow: the edge of trim steels follows the drawn sheet and meets it all at once; level: it lies in a plane", default="follow"
    )
    shear: Literal["none", "roof", "slope", "scallop"] = q("", "shear ground on trim steels", default="none")
    shear_depth: float = q("mm", "depth of the shear on trim steels", default=0.0, ge=0, le=500)
    shear_pitch: float = q("mm", "distance from crest to crest of scallops", default=150.0, gt=0, le=5000)
    punch_shear: Literal["none", "roof", "slope"] = q("", "shear ground on piercing punches", default="none")
    punch_shear_depth: float = q("mm", "depth of the shear on piercing punches", default=0.0, ge=0, le=100)
    stagger: float = q(
        "mm", "by how much each group of piercing punches is shorter than the one before; 0 for none", default=0.0, ge=0, le=50
    )
    stagger_groups: int = q("", "groups of staggered punches; the largest punches come first", default=2, ge=1, le=10)
    entry: float = q("mm", "how far the steels go on once they are through the sheet", default=1.0, ge=0, le=100)
    stripping_share: float = q("", "stripping force over cutting force", default=0.15, ge=0.02, le=0.5)
    springs: Literal["auto", "coil", "gas"] = q("", "springs of the stripper; auto takes coil springs while twelve serve", default="auto")
    pad_lead: float = q("mm", "how far the pad touches the sheet before the steels do", default=3.0, ge=0, le=100)
    hole_tolerance: Literal["auto"] | Annotated[float, Field(ge=0, le=5)] = q(
        "mm", "tolerance of round holes, from their size upwards; auto takes ISO 286 H11", default="auto"
    )
    punch_length: float = q("mm", "length of the piercing punches", default=80.0, ge=20, le=400)
    punch_guide: Literal["free", "guided", "fixed"] = q(
        "", "piercing punches: free below their plate, guided by the stripper, or held at both ends", default="guided"
    )
    press_centre: Literal["auto"] | tuple[float, float] = q(
        "mm",
        "where the slide's centre stands over the part, x and y in press coordinates; auto takes the middle of all cuts",
        default="auto",
    )
    visible: Literal["auto", "upper", "lower"] = q(
        "",
        "face of the part that is seen or plated, against the press direction; auto takes the outside of the drawn part, its lower face",
        default="auto",
    )


class ScrapStated(Record):
    """Scrap pieces, choppers and chutes, and the trim steels in segments."""

    piece_max: Literal["auto"] | Annotated[float, Field(gt=0, le=5000)] = q(
        "mm", "longest piece of scrap; auto takes 250, or the chute's width over 1.4", default="auto"
    )
    chute_width: Literal["auto"] | Annotated[float, Field(gt=0, le=5000)] = q(
        "mm", "width of the chutes' openings; auto tells the width that the largest piece needs", default="auto"
    )
    chute_angle: float = q("deg", "flattest chute that sheet slides down by itself (common practice)", default=30.0, ge=0, le=80)
    drop_height: Literal["auto"] | Annotated[float, Field(ge=0, le=5000)] = q(
        "mm",
        "height from the cut down to where the scrap must be out of the tool; auto takes 40 % of the press's shut height",
        default="auto",
    )
    shoe_margin: float = q("mm", "how far the die shoe reaches past the blank's edge in plan", default=100.0, ge=0, le=5000)
    slug_opening: Literal["auto"] | Annotated[float, Field(gt=0, le=5000)] = q(
        "mm", "narrowest opening under the dies that slugs fall through; auto takes it as wide as they need", default="auto"
    )
    choppers: Literal["auto"] | Annotated[int, Field(ge=0, le=120)] = q(
        "", "choppers in each ring of scrap; auto as many as the pieces need", default="auto"
    )
    chopper_max: float = q("mm", "longest edge of a chopper: a wider ring is not cut across", default=150.0, gt=0, le=2000)
    corner_radius: Literal["auto"] | Annotated[float, Field(ge=0, le=1000)] = q(
        "mm",
        "where the trim line turns on less than this neither choppers nor joints stand; auto takes 25, less on small lines",
        default="auto",
    )
    corner_distance: float = q(
        "mm", "distance of choppers and joints from corners, and of joints from choppers", default=10.0, ge=0, le=500
    )
    steel_length_max: float = q("mm", "longest cutting edge of one trim steel (common practice)", default=280.0, ge=20, le=2000)


class BendStated(Record):
    """A bend: one that ``[[shape.flange]]`` opens, told by its number, or one of its own. What is left to auto is read off the draw shape."""

    flange: int | None = q("", "number of the flange in [[shape.flange]], from 1; left out for a bend of its own", default=None, ge=1)
    name: str = q("", "what it is called", default="", max_length=60)
    kind: Literal["bend", "hem"] = q("", "a bend, or a hem folded back by 180 degrees", default="bend")
    method: Literal["auto", "wipe", "v"] = q("", "wiped over an edge, or in a V-die; auto takes that of the table", default="auto")
    angle: Literal["auto"] | Annotated[float, Field(gt=0, le=180)] = q(
        "deg", "by how much the sheet is bent: 90 for a right angle; a hem is bent by 180", default="auto"
    )
    radius: Literal["auto"] | Annotated[float, Field(ge=0, le=2000)] = q("mm", "inner radius; 0 closes a hem flat", default="auto")
    length: Literal["auto"] | Annotated[float, Field(gt=0, le=20_000)] = q("mm", "length of the bend line", default="auto")
    leg: Literal["auto"] | Annotated[float, Field(gt=0, le=20_000)] = q("mm", "outer leg that is bent up, or folded back", default="auto")
    other_leg: Literal["auto"] | Annotated[float, Field(gt=0, le=20_000)] = q(
        "mm", "outer leg that stays; with it the developed length of both is told", default="auto"
    )
    line: Literal["auto", "straight", "stretch", "shrink"] = q(
        "", "bend line straight in plan, or curved: stretch lengthens the flange's edge, shrink shortens it", default="auto"
    )
    line_radius: Literal["auto"] | Annotated[float, Field(gt=0, le=100_000)] = q(
        "mm", "radius in plan of a curved bend line", default="auto"
    )
    rolling: Literal["auto"] | Annotated[float, Field(ge=0, le=90)] = q(
        "deg", "angle between bend line and rolling direction; auto takes that of a flange of the draw shape, across else", default="auto"
    )
    hole_distance: Literal["none"] | Annotated[float, Field(ge=0, le=20_000)] = q(
        "mm", "from the bend's tangent line to the nearest hole's edge, of a bend of its own", default="none"
    )
    die_opening: Literal["auto"] | Annotated[float, Field(gt=0, le=2000)] = q(
        "mm", "opening of the V-die, or of the wiping die across its two radii and the sheet; auto by common practice", default="auto"
    )


class BendsStated(Record):
    """Flanges that are bent or hemmed after the draw."""

    from_shape: bool = q("", "every flange that [[shape.flange]] opens is bent here", default=True)
    bend: tuple[BendStated, ...] = q("", "bends, one table [[bends.bend]] each", default=(), max_length=60)
    method: Literal["wipe", "v"] = q("", "way of bending where none is stated", default="wipe")
    neutral: Literal["din", "k-factor"] = q("", "where the neutral fibre lies: by DIN 6935, or by the K factor", default="din")
    k_factor: Literal["auto"] | Annotated[float, Field(ge=0, le=0.5)] = q(
        "", "neutral fibre from the inner face over the thickness; auto 0.33 below two thicknesses of radius, else 0.5", default="auto"
    )
    die_radius: Literal["auto"] | Annotated[float, Field(gt=0, le=200)] = q(
        "mm", "radius of the wiping steel over which the sheet runs; auto takes three thicknesses", default="auto"
    )
    hem_force: float = q("", "force that closes a hem over that of its bend in a V-die (common practice: 3 to 5)", default=4.0, ge=1, le=20)
    edge_limit: Literal["auto"] | Annotated[float, Field(gt=0, le=200)] = q(
        "%", "largest stretch of a flange's edge; auto takes the sheet's uniform strain", default="auto"
    )
    shrink_limit: float = q("%", "largest shrinking of a flange's edge before it wrinkles (common practice)", default=3.0, gt=0, le=50)


class PlanStation(Record):
    """A station: the operations that share one die."""

    name: str = q("", "what it is called", default="", max_length=60)
    operations: tuple[str, ...] = q("", "names of its operations, as the page Press plan lists them", min_length=1, max_length=20)
    press: str = q("", "press of the table; auto takes the smallest that serves", default="auto", max_length=60)


class PlanStated(Record):
    """Which operations share a die and a press, and the cycle of the press."""

    station: tuple[PlanStation, ...] = q(
        "", "stations, one table [[plan.station]] each; operations that none names get stations of their own", default=(), max_length=20
    )
    compound: bool = q("", "the blank is cut and drawn in one die, where no station is stated for either", default=False)
    feed: Literal["auto", "hand", "transfer"] = q(
        "", "how parts come to the next station; auto takes a transfer from 100000 parts a year on", default="auto"
    )
    stagger_steps: int = q(
        "", "most steps of one thickness by which cutting steels are made to follow each other; 0 for none", default=2, ge=0, le=5
    )
    holder_lead: float = q("mm", "how far the blank is held before the draw begins", default=3.0, ge=0, le=100)
    hand_time_s: float = q("s", "time a person takes to unload and load a station", default=8.0, ge=0.5, le=600)
    transfer_time_s: float = q("s", "time the transfer takes from station to station while the press is open", default=1.2, ge=0.05, le=60)
    clearance: float = q("mm", "free height over the part's depth that feeding needs", default=40.0, ge=0, le=1000)
    dwell_mm: float = q("mm", "height above bottom within which a crank press is said to dwell", default=0.5, ge=0, le=20)
    dwell_s: float = q("s", "dwell of a hydraulic press at the bottom", default=0.5, ge=0, le=60)
    knockout: float = q("mm", "way of the slide below its top in which the upper ejector knocks out", default=20.0, ge=0, le=1000)
    efficiency: float = q("", "share of the hour that parts are made (common practice)", default=0.8, gt=0, le=1)
    stop_time_s: Literal["none"] | Annotated[float, Field(gt=0, le=5)] = q(
        "s", "measured stopping time of press and protective device together; with it safety distances are told", default="none"
    )
    curtain_mm: float = q("mm", "detection capability of the light curtain", default=14.0, ge=14, le=40)
    engaging_points: Literal["none"] | Annotated[int, Field(ge=1, le=20)] = q(
        "", "engaging points of a full-revolution clutch; none for a part-revolution clutch", default="none"
    )

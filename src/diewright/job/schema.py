"""What a person states about a job: the content of ``job.toml``.

Every field carries its unit, its range and a line of explanation. Lengths mm, forces kN where a press is meant
(the name then says so), stresses MPa, angles degrees. Unknown fields, values out of range and values of
the wrong kind are refused with one sentence that names the field, the value and what was expected.
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from diewright.errors import InputError

FORMAT = 1


def q(unit: str, text: str, **limits: Any) -> Any:
    """A field with a unit, a line of explanation and limits."""
    return Field(description=text, json_schema_extra={"unit": unit}, **limits)


class Record(BaseModel):
    """Base of all stated records: frozen, no unknown fields, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


Positive = Annotated[float, Field(gt=0)]
Vector = tuple[float, float, float]


class About(Record):
    """Title block of the job."""

    title: str = q("", "what the part is called", default="Untitled part", min_length=1, max_length=120)
    number: str = q("", "drawing or job number", default="", max_length=60)
    revision: str = q("", "revision letter or number", default="A", max_length=12)
    quantity: int = q("parts a year", "how many parts are made", default=1000, ge=1, le=100_000_000)
    drawn_by: str = q("", "who drew it", default="", max_length=60)
    checked_by: str = q("", "who checked it", default="", max_length=60)


class PartStated(Record):
    """The shape and how it lies in the press."""

    file: str = q("", "CAD file in the job folder (STEP, IGES or STL)", default="")
    unit: Literal["", "mm", "cm", "m", "inch"] = q("", "unit of the file, for formats that state none (STL)", default="")
    skin: Literal["auto", "upper", "lower", "middle"] = q(
        "", "which skin of a solid sheet is meshed; upper and lower are seen against the press direction", default="auto"
    )
    press_direction: Literal["auto"] | Vector = q("", "direction the punch travels, in part coordinates, or auto", default="auto")
    target_edge: float = q("mm", "length of a triangle edge on flat areas; 0 chooses it from the part's size", default=0.0, ge=0, le=500)
    chord_error: float = q("mm", "largest distance between mesh and true surface; 0 chooses it", default=0.0, ge=0, le=10)
    min_edge: float = q("mm", "shortest triangle edge; 0 chooses it", default=0.0, ge=0, le=100)

    @field_validator("file")
    @classmethod
    def _inside(cls, value: str) -> str:
        return safe_name(value)

    @field_validator("press_direction")
    @classmethod
    def _direction(cls, value: Any) -> Any:
        if value != "auto" and math.hypot(*value) < 1e-9:
            raise ValueError("a direction needs a length above zero")
        return value


class FlangeStated(Record):
    """A flange that a later operation bends: a point on it in press coordinates, or the number of its CAD face, and the angle it is drawn at."""

    x: float | None = q("mm", "a point on the flange, in press coordinates", default=None)
    y: float | None = q("mm", "a point on the flange, in press coordinates", default=None)
    z: float | None = q("mm", "a point on the flange, in press coordinates", default=None)
    face: int | None = q("", "number of a CAD face of the flange, in place of a point", default=None, ge=0)
    angle: Literal["tangent"] | Annotated[float, Field(ge=-120, le=150)] = q(
        "deg",
        "angle at which it is drawn, from the tangent of the surface it hangs on, positive the way it is bent; tangent is 0",
        default="tangent",
    )


class ShapeStated(Record):
    """The draw shape: what is drawn in the first operation where it is not the finished part itself."""

    copies: Literal["one", "mirrored", "turned", "shifted"] = q(
        "", "parts in one draw: one, or two side by side, the second mirrored, turned by 180 degrees or shifted", default="one"
    )
    side: float = q("deg", "direction in plan in which the second part lies, from +x of the press", default=0.0, ge=-180, le=180)
    spacing: float = q(
        "mm",
        "distance of the two upright planes, square to the side, that touch the parts where they face each other; less than 0 lets them reach past each other",
        default=40.0,
        ge=-2000,
        le=2000,
    )
    flange: tuple[FlangeStated, ...] = q(
        "", "flanges drawn open and bent in a later operation: x, y, z of a point on each or its face, and angle", default=()
    )


class SheetStated(Record):
    """The sheet metal."""

    material: str = q(
        "", "name of a sheet in the library, or of one in the job's sheets folder", default="DC04", min_length=1, max_length=60
    )
    thickness: float = q("mm", "sheet thickness", default=0.8, ge=0.05, le=12)
    rolling_direction: float = q(
        "deg",
        "angle of the rolling direction in the blank plane, from the part's first axis across the press direction",
        default=0.0,
        ge=-180,
        le=180,
    )
    hardening: Literal["auto", "swift", "hollomon", "ludwik", "voce", "hockett-sherby", "swift-voce", "table"] = q(
        "", "hardening law; auto takes the one the library recommends", default="auto"
    )
    yield_surface: Literal["mises", "hill48", "yld2000"] = q("", "yield surface", default="hill48")
    forming_limit: Literal["auto", "measured", "keeler-brazier", "swift-hill", "marciniak-kuczynski"] = q(
        "", "how the forming limit is found; auto takes measured points where the library has them", default="auto"
    )
    groove: float = q("", "starting thickness ratio of the groove in the Marciniak-Kuczynski analysis", default=0.995, gt=0.9, lt=1)
    tensile_files: tuple[str, ...] = q("", "tensile test CSV files in the job folder (0, 45, 90 degrees)", default=())

    @field_validator("tensile_files")
    @classmethod
    def _inside(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(safe_name(v) for v in value)


class BlankStated(Record):
    """How the blank is developed."""

    outline_file: str = q(
        "",
        "DXF or CSV of the blank's outline in mm, in place of the developed one, for instance the developed blank; empty takes the developed one",
        default="",
    )
    holes: Literal["fill", "keep"] = q("", "fill: holes are pierced after drawing; keep: they are in the blank", default="fill")
    friction: float = q("", "coefficient of friction under the blankholder", default=0.12, ge=0, le=0.6)
    blankholder_force_kn: Literal["auto"] | Annotated[float, Field(ge=0, le=100_000)] = q(
        "kN", "blankholder force; auto takes the handbook pressure on the flange", default="auto"
    )
    bead_restraint: float = q("N/mm", "draw-bead restraint along the flange edge", default=0.0, ge=0, le=2000)
    trim_allowance: float = q("mm", "metal added all round the developed outline", default=0.0, ge=0, le=200)
    margin_wanted: float = q("%", "wanted distance from the forming limit, in major strain", default=10.0, ge=0, le=50)
    thinning_limit: float = q("%", "largest thinning accepted", default=20.0, gt=0, le=90)

    @field_validator("outline_file")
    @classmethod
    def _inside(cls, value: str) -> str:
        return safe_name(value)


class NestStated(Record):
    """How blanks lie on the strip or sheet."""

    layout: Literal["auto", "one-up", "two-up", "head-to-tail"] = q(
        "", "arrangement on the strip; auto takes the least metal", default="auto"
    )
    web: Literal["auto"] | Annotated[float, Field(ge=0, le=100)] = q("mm", "bridge between blanks; auto by handbook rule", default="auto")
    edge_web: Literal["auto"] | Annotated[float, Field(ge=0, le=100)] = q(
        "mm", "bridge to the strip's edge; auto by handbook rule", default="auto"
    )
    strip_width_max: float = q("mm", "widest strip or coil", default=1500.0, gt=0, le=4000)
    sheet_length: float = q("mm", "sheet length for cut sheets; 0 for coil", default=0.0, ge=0, le=20_000)
    grain_tolerance: float = q("deg", "how far a blank may be turned from the rolling direction; 90 for no care", default=90.0, ge=0, le=90)


class PressStated(Record):
    """The press."""

    name: str = q(
        "", "press of the table, or of one in the job's presses file; auto takes the smallest that serves", default="auto", max_length=60
    )
    strokes_per_minute: float = q("1/min", "stroking rate; 0 takes the press's own", default=0.0, ge=0, le=500)


class AddendumPlace(Record):
    """Values of the section round the part's edge near one place; between places they pass over smoothly along the edge. What is not stated follows the table ``[faces]``."""

    x: float = q("mm", "place along the edge, in press coordinates")
    y: float = q("mm", "place along the edge, in press coordinates")
    trim_land: float | None = q("mm", "trim land there", default=None, ge=0, le=200)
    punch_radius: float | None = q("mm", "punch radius there", default=None, gt=0, le=200)
    wall_angle: float | None = q("deg", "wall angle from vertical there", default=None, ge=0, le=60)
    die_radius: float | None = q("mm", "die radius there", default=None, gt=0, le=200)


class Ruling(Record):
    """One straight line of a developable blankholder surface, in plan; between those stated their directions pass over smoothly."""

    x: float = q("mm", "place on the line, in press coordinates")
    y: float = q("mm", "place on the line, in press coordinates")
    direction: float = q("deg", "angle of the line from +x in plan", ge=0, le=180)


class FacesStated(Record):
    """The working faces of the draw: made from the part, or given as CAD files in the part's own coordinates."""

    die_file: str = q("", "CAD file of the die's face in the job folder (STEP, IGES or STL); empty makes it from the part", default="")
    punch_file: str = q("", "CAD file of the punch's face; empty makes it from the part", default="")
    blankholder_file: str = q("", "CAD file of the blankholder's face; empty makes it from the part", default="")
    clearance: Literal["auto"] | Annotated[float, Field(gt=0, le=30)] = q(
        "mm", "gap between punch and die at a vertical wall; auto by handbook rule", default="auto"
    )
    die_radius: Literal["auto"] | Annotated[float, Field(gt=0, le=200)] = q(
        "mm", "radius of the die where a wall is led out onto the blankholder plane; auto takes 8 thicknesses, 4 to 15 mm", default="auto"
    )
    trim_land: Literal["auto"] | Annotated[float, Field(ge=0, le=200)] = q(
        "mm",
        "length by which the sheet is led on from the part's edge before the die radius; auto takes 3 mm and 2 thicknesses",
        default="auto",
    )
    lead_on: Literal["auto", "blend", "profile"] = q(
        "",
        "how the part's edge is led on: blend joins a flange to the blankholder surface, profile puts trim land, punch radius, wall and die radius between; auto blends a flange that lies near it",
        default="auto",
    )
    punch_radius: Literal["auto"] | Annotated[float, Field(gt=0, le=200)] = q(
        "mm", "radius from the trim land up into the led wall; auto takes 6 thicknesses, 4 to 15 mm", default="auto"
    )
    wall_angle: Literal["auto"] | Annotated[float, Field(ge=0, le=60)] = q(
        "deg", "how far the led wall leans from vertical; auto takes 8, and 25 at least at an open end", default="auto"
    )
    blankholder: Literal["auto", "flat", "cylindrical", "conical", "developable"] = q(
        "",
        "blankholder surface; auto takes the plane unless a cylinder, a cone or a general developable surface makes the depth of the draw clearly more even, the simplest that does",
        default="auto",
    )
    blankholder_direction: Literal["auto"] | Annotated[float, Field(ge=0, le=180)] = q(
        "deg", "angle in plan of the straight lines of a cylindrical blankholder from +x, in press coordinates", default="auto"
    )
    blankholder_apex_x: Literal["auto"] | Annotated[float, Field(ge=-1e6, le=1e6)] = q(
        "mm", "apex of a conical blankholder in plan, in press coordinates, outside the blank; state y too", default="auto"
    )
    blankholder_apex_y: Literal["auto"] | Annotated[float, Field(ge=-1e6, le=1e6)] = q(
        "mm", "apex of a conical blankholder in plan, in press coordinates; state x too", default="auto"
    )
    blankholder_ruling: tuple[Ruling, ...] = q(
        "",
        "straight lines in plan of a developable blankholder, two at least, each with x, y and direction; none are found by fitting",
        default=(),
    )
    blankholder_radius: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "mm", "tightest bend of a curved blankholder; auto takes 200 thicknesses, 150 mm at least", default="auto"
    )
    blankholder_shift: float = q("mm", "how much higher the blankholder surface stands than it need", default=0.0, ge=-100, le=200)
    blankholder_tilt_x: float = q("deg", "tilt of the blankholder surface, rising towards +x", default=0.0, ge=-20, le=20)
    blankholder_tilt_y: float = q("deg", "tilt of the blankholder surface, rising towards +y", default=0.0, ge=-20, le=20)
    shift_file: str = q(
        "", "file of displacements that moves the faces against springback, from the compensation; empty leaves them", default=""
    )
    addendum: tuple[AddendumPlace, ...] = q(
        "", "places along the edge with values of their own: x, y and any of trim_land, punch_radius, wall_angle, die_radius", default=()
    )

    @field_validator("die_file", "punch_file", "blankholder_file", "shift_file")
    @classmethod
    def _inside(cls, value: str) -> str:
        return safe_name(value)


class DetailsStated(Record):
    """What the toolmaker adds to the faces: groove of the draw bead, pins for the blank, vents."""

    bead_flat: float = q("mm", "flat between the two corners of a square or locking bead", default=0.0, ge=0, le=100)
    bead_least_radius: Literal["auto"] | Annotated[float, Field(ge=0, le=5000)] = q(
        "mm",
        "where the bead's line turns round a corner more tightly it is left out, in the tryout too; auto takes 10 nose radii, 0 cuts it all round",
        default="auto",
    )
    locator_diameter: float = q("mm", "diameter of the pins that the blank lies against", default=10.0, gt=0, le=100)
    vent_diameter: Literal["auto"] | Annotated[float, Field(gt=0, le=50)] = q(
        "mm", "drill of the vents; auto takes the smallest of 2 to 6 with which a pocket needs no more than 12", default="auto"
    )
    air_speed: float = q("m/s", "fastest that the air may leave through the vents", default=30.0, gt=0, le=150)


class DrawsStated(Record):
    """The sequence of draws of a round cup that one draw does not reach."""

    blank_diameter: Literal["auto"] | Annotated[float, Field(gt=0, le=5000)] = q(
        "mm", "round blank of the sequence; auto takes the circle as large as the developed blank", default="auto"
    )
    diameters: tuple[Annotated[float, Field(gt=0, le=5000)], ...] = q(
        "mm", "mean wall diameters of all draws but the last, largest first; empty takes the handbook's sequence", default=()
    )
    die_radii: tuple[Annotated[float, Field(gt=0, le=200)], ...] = q(
        "mm", "die radius of each draw, one a draw; empty takes the handbook's", default=()
    )
    forces_kn: tuple[Annotated[float, Field(ge=0, le=100_000)], ...] = q(
        "kN", "force of blankholder and sleeves, one a draw; empty takes the handbook's", default=()
    )
    quality: Literal["coarse", "normal", "fine"] = q("", "mesh of the sheet in the tryout of the draws", default="normal")


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


class TryoutStated(Record):
    """The virtual tryout."""

    blankholder_force_kn: Literal["auto"] | Annotated[float, Field(ge=0, le=100_000)] = q(
        "kN", "blankholder force; auto takes that of the blank, or the handbook's", default="auto"
    )
    blankholder_end_kn: Literal["same"] | Annotated[float, Field(ge=0, le=100_000)] = q(
        "kN", "blankholder force at the bottom of the stroke, rising or falling evenly from the first; same keeps it", default="same"
    )
    friction_die: Literal["blank"] | Annotated[float, Field(ge=0, le=0.6)] = q(
        "", "coefficient of friction at die and blankholder; blank takes that of the blank page", default="blank"
    )
    friction_punch: Literal["blank"] | Annotated[float, Field(ge=0, le=0.6)] = q(
        "", "coefficient of friction at the punch; blank takes that of the blank page", default="blank"
    )
    quality: Literal["coarse", "normal", "fine"] = q(
        "", "mesh of the sheet: coarse for a first look, normal, fine for a last one", default="normal"
    )
    stations: int = q("", "points through the thickness", default=5, ge=3, le=9)
    back_modulus: float = q(
        "MPa",
        "slope of the back stress at first yield (kinematic hardening, for springback); 0 is isotropic",
        default=0.0,
        ge=0,
        le=100_000,
    )
    back_recall: float = q("", "how fast the back stress saturates: at back modulus / recall", default=0.0, ge=0, le=1000)
    springback: bool = q("", "release and trim the drawn sheet and let it spring", default=True)
    gravity: bool = q("", "let the blank sag on the die under its own weight first", default=False)
    bead_kind: Literal["none", "round", "square", "locking"] = q(
        "", "draw bead round the punch opening; none takes the restraint of the blank page, if one is stated there", default="none"
    )
    bead_radius: float = q("mm", "radius of the bead's nose or corners, and of its groove's shoulders", default=4.0, gt=0, le=50)
    bead_height: float = q("mm", "how far the bead stands into the sheet", default=4.0, ge=0, le=50)
    bead_offset: Literal["auto"] | Annotated[float, Field(ge=0, le=500)] = q(
        "mm", "from the punch opening line to the middle of the bead; auto stands it just outside the die radius", default="auto"
    )
    reference_points: tuple[Vector, ...] = q(
        "mm", "places on the part, in press coordinates, where springback is read; none chooses them", default=()
    )


class WindowStated(Record):
    """The blankholder window."""

    runs: int = q("", "how many blankholder forces are tried", default=7, ge=3, le=25)
    from_share: float = q("", "lowest force tried, over that of the tryout", default=0.25, gt=0, le=1)
    to_share: float = q("", "highest force tried, over that of the tryout", default=4.0, ge=1, le=50)
    widen: int = q(
        "",
        "further forces tried at each end, each four times as far, while the sheet does not wrinkle or tear there",
        default=2,
        ge=0,
        le=4,
    )
    frictions: tuple[Annotated[float, Field(ge=0, le=0.6)], ...] = q(
        "", "coefficients of friction at die and blankholder tried beside that of the tryout: all forces anew for each", default=()
    )
    wrinkle_limit: float = q("", "wrinkle height that is too much, over the thickness", default=0.3, gt=0, le=10)


class ProposalStated(Record):
    """The proposal of faces, draw bead and blankholder force."""

    tryouts: int = q("", "most coarse tryouts that are run", default=6, ge=1, le=60)
    beads: bool = q("", "draw beads may be proposed", default=True)


class CompensationStated(Record):
    """Working faces moved against the springback of the trimmed part."""

    iterations: int = q("", "how many times the faces are moved; each costs a run of the tryout", default=3, ge=1, le=10)
    factor: float = q("", "share of the deviation that is taken back at a time", default=1.0, gt=0, le=2)
    quality: Literal["coarse", "graded", "normal", "fine"] = q(
        "",
        "mesh of the sheet in all its runs: coarse has even edges for a first look, graded is fine where a first run bends and about 4,000 triangles in all; normal and fine as in the tryout",
        default="graded",
    )
    tolerance: float = q("mm", "largest deviation of the part that is good enough; it stops there", default=0.05, ge=0, le=50)
    wave: Literal["auto"] | Annotated[float, Field(gt=0, le=5000)] = q(
        "mm",
        "length of waves of which half is passed on to the faces, shorter ones are left out; auto takes 30 thicknesses, three edges of the mesh at least",
        default="auto",
    )
    alignment: Literal["best fit", "supports"] = q(
        "", "how the sprung part is laid on the one wanted: over its whole area, or on three points as the tryout does", default="best fit"
    )
    blankholder: Literal["auto", "keep", "follow"] = q(
        "",
        "keep: its surface stays; follow: it moves with the part; auto lets it follow where the part has a flange under it",
        default="auto",
    )


class TankStated(Record):
    """A station of the hoist line: a tank, a group of tanks alike, or where racks are loaded and unloaded."""

    name: str = q("", "what the tank is called", min_length=1, max_length=60)
    position_m: float = q("m", "place of its middle along the track", ge=-1000, le=1000)
    role: Literal["bath", "load", "unload", "load-unload"] = q("", "bath, or where racks are loaded, unloaded, or both", default="bath")
    cells: int = q("", "racks that it holds at a time", default=1, ge=1, le=50)
    least_s: float = q("s", "shortest soak; for a loading place the time that loading and unloading take", default=0.0, ge=0, le=86_400)
    most_s: Literal["none"] | Annotated[float, Field(ge=0, le=86_400)] = q("s", "longest soak, or none", default="none")
    drip_s: float = q("s", "time a rack hangs above it when it leaves", default=0.0, ge=0, le=3600)
    source: str = q("", "where the times are from", default="", max_length=200)


class HoistStated(Record):
    """A hoist on the track; they stand in the order in which they are stated, from low positions to high."""

    name: str = q("", "what the hoist is called", default="hoist", min_length=1, max_length=60)
    travel_m_per_min: float = q("m/min", "speed along the track", default=36.0, gt=0, le=300)
    lift_m_per_min: float = q("m/min", "speed of lifting", default=12.0, gt=0, le=120)
    lower_m_per_min: float = q("m/min", "speed of lowering", default=12.0, gt=0, le=120)
    from_m: Literal["track"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m", "lowest place it may go to, or the track's end", default="track"
    )
    to_m: Literal["track"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m", "highest place it may go to, or the track's end", default="track"
    )


class RecipeStated(Record):
    """The way of one kind of rack through the tanks."""

    name: str = q("", "what the recipe is called", min_length=1, max_length=60)
    tanks: tuple[str, ...] = q("", "names of the tanks in their order, from where racks are loaded to where they are unloaded")
    least_s: tuple[Annotated[float, Field(ge=0, le=86_400)], ...] = q(
        "s", "shortest soak of each step; empty takes the tanks' own", default=()
    )
    most_s: tuple[Literal["none"] | Annotated[float, Field(ge=0, le=86_400)], ...] = q(
        "s", "longest soak of each step; empty takes the tanks' own", default=()
    )


class LineStated(Record):
    """The hoist line of the finishing shop."""

    tank: tuple[TankStated, ...] = q(
        "", "the stations, one table [[line.tank]] each; none takes a typical bright nickel and chromium line", default=()
    )
    hoist: tuple[HoistStated, ...] = q(
        "", "the hoists, one table [[line.hoist]] each, from low positions to high; none takes those of the typical line", default=()
    )
    recipe: tuple[RecipeStated, ...] = q(
        "", "the recipes, one table [[line.recipe]] each; none takes all tanks in the order stated", default=()
    )
    mix: tuple[str, ...] = q("", "recipes of the racks of one cycle in the order of loading, as A, B, A; empty takes each once", default=())
    racks_per_cycle: int = q("", "how often the mix is repeated within one cycle", default=1, ge=1, le=4)
    parts_per_rack: int = q("", "parts that hang on a rack", default=24, ge=1, le=100_000)
    lift_m: float = q("m", "height by which a rack is lifted out", default=1.8, gt=0, le=10)
    gap_m: float = q("m", "distance kept between the middles of two hoists", default=2.0, gt=0, le=50)
    track_from_m: Literal["auto"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m",
        "low end of the track for a hoist's middle; auto lets the hoists that are not needed stand beyond the first tank",
        default="auto",
    )
    track_to_m: Literal["auto"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m",
        "high end of the track for a hoist's middle; auto lets the hoists that are not needed stand beyond the last tank",
        default="auto",
    )
    cycle_most_s: Literal["none"] | Annotated[float, Field(gt=0, le=86_400)] = q(
        "s", "longest cycle that will do; none asks for the shortest only", default="none"
    )
    tick_s: float = q("s", "step of time of the schedule", default=0.5, ge=0.05, le=10)
    time_limit_s: float = q("s", "longest search for the shortest cycle", default=30.0, ge=1, le=3600)
    what_if_s: float = q("s", "time for all searches of what a change would bring; 0 leaves them out", default=20.0, ge=0, le=3600)


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
    line_radius: Literal["auto"] | Annotated[float, Field(gt=0, le=100_000)] = q("mm", "radius in plan of a curved bend line", default="auto")
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
    stagger_steps: int = q("", "most steps of one thickness by which cutting steels are made to follow each other; 0 for none", default=2, ge=0, le=5)
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


class PlatingLayerStated(Record):
    """One deposit of the sequence, in its own bath."""

    bath: str = q("", "name of a bath in the library", default="watts-nickel", min_length=1, max_length=60)
    minimum_um: float = q("µm", "least thickness wanted on the significant surface", default=10.0, gt=0, le=2000)
    current_density: Literal["auto"] | Annotated[float, Field(gt=0, le=500)] = q(
        "A/dm2", "mean current density of all that hangs on the cathode; auto takes the bath's usual one", default="auto"
    )
    current: Literal["auto"] | Annotated[float, Field(gt=0, le=200_000)] = q(
        "A", "total current of the rectifier; auto takes it from the mean current density", default="auto"
    )
    minutes: Literal["auto"] | Annotated[float, Field(gt=0, le=10_000)] = q(
        "min", "time in the bath; auto until the least thickness is reached", default="auto"
    )
    conductivity: Literal["auto"] | Annotated[float, Field(gt=0, le=200)] = q(
        "S/m", "conductivity of the bath; auto takes the library's", default="auto"
    )
    tafel_slope: Literal["auto"] | Annotated[float, Field(gt=0, le=1000)] = q(
        "mV/decade", "cathodic Tafel slope; auto takes the library's", default="auto"
    )


class PlatingBodyStated(Record):
    """A body in the bath beside parts and anodes: tank coordinates, x along the rack, y towards the front anodes, z up, 0 in the middle of the rack."""

    role: Literal["shield", "thief", "bipolar"] = q(
        "",
        "shield: insulating; thief: metal on the cathode bar that takes current off the parts; bipolar: metal joined to nothing",
        default="shield",
    )
    kind: Literal["box", "rod", "plate"] = q(
        "", "box; rod: round, along its longest side; plate: without thickness, one side of size is 0", default="box"
    )
    at: Vector = q("mm", "middle of the body")
    size: tuple[Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)]] = q(
        "mm", "its sides along x, y and z"
    )

    @model_validator(mode="after")
    def _sides(self) -> PlatingBodyStated:
        flat = sum(s == 0 for s in self.size)
        if flat != (1 if self.kind == "plate" else 0):
            raise ValueError("a plate has one side of 0 mm, box and rod have none")
        return self


class PlatingStated(Record):
    """The rack in its bath and what is plated on it."""

    layers: tuple[PlatingLayerStated, ...] = q(
        "",
        "deposits in their order, each a table: bath, minimum_um, current_density, current, minutes, conductivity, tafel_slope",
        default=(PlatingLayerStated(), PlatingLayerStated(bath="chromium-vi", minimum_um=0.3)),
        min_length=1,
        max_length=6,
    )
    columns: int = q("", "parts side by side on the rack", default=2, ge=1, le=20)
    rows: int = q("", "parts above each other on the rack", default=2, ge=1, le=20)
    spacing: float = q("mm", "gap between neighbouring parts", default=40.0, gt=0, le=2000)
    facing: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that looks at the front anodes; auto turns its outer side there", default="auto"
    )
    up: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that hangs upwards; auto lays its longer side level", default="auto"
    )
    significant: Literal["auto", "upper", "lower", "both", "finish"] = q(
        "",
        "side of the sheet whose thickness counts, upper and lower as in the press; auto takes the outer side: the one whose normals point away from the part's middle; finish takes what [finish] picks and its ball touches",
        default="auto",
    )
    tank: Literal["auto"] | tuple[Positive, Positive, Positive] = q(
        "mm",
        "bath inside the tank: length along the rack, width between the anode rows, depth of liquid; auto leaves the usual room",
        default="auto",
    )
    anode_rows: Literal[1, 2] = q("", "anodes on the front side only, or on both sides of the rack", default=2)
    anode_distance: float = q("mm", "from the middle of the rack to the faces of the anodes", default=200.0, gt=0, le=3000)
    anode_count: Literal["auto"] | Annotated[int, Field(ge=1, le=100)] = q("", "anode bars in a row; auto one every 200 mm", default="auto")
    anode_width: float = q("mm", "width of a bar", default=60.0, gt=0, le=2000)
    anode_thickness: float = q("mm", "thickness of a bar", default=30.0, gt=0, le=500)
    anode_span: Literal["auto"] | Annotated[float, Field(gt=0, le=20_000)] = q(
        "mm", "length of the row of anodes along the rack; auto as long as the rack", default="auto"
    )
    anode_length: Literal["auto"] | Annotated[float, Field(gt=0, le=5000)] = q(
        "mm", "length of a bar in the bath; auto as deep as the rack", default="auto"
    )
    anode_raise: float = q("mm", "how much higher the middle of the bars hangs than that of the rack", default=0.0, ge=-2000, le=2000)
    bodies: tuple[PlatingBodyStated, ...] = q(
        "", "shields, thieves and bipolar metal in the bath, each a table: role, kind, at, size", default=(), max_length=40
    )
    quality: Literal["coarse", "normal", "fine"] = q("", "mesh of parts and bath", default="normal")
    tries: int = q("", "most solutions that the search for the anodes' place makes", default=14, ge=4, le=200)


class DipStated(Record):
    """The part in a bath: the air that stays when it goes in, the liquid that stays when it comes out."""

    attitude: Literal["auto"] | Vector = q(
        "", "which way of the part is up on the rack, in part coordinates; auto searches", default="auto"
    )
    significant: Literal["both", "upper", "lower"] = q(
        "", "side of the sheet on which trapped air does harm, as seen against the press direction", default="both"
    )
    directions: int = q("", "attitudes tried in the search", default=1000, ge=100, le=20_000)
    in_speed: float = q("mm/s", "speed at which the rack is lowered", default=100.0, gt=0, le=2000)
    out_speed: float = q("mm/s", "speed at which the rack is raised", default=100.0, gt=0, le=2000)
    drip_time: float = q("s", "time the rack drips over the bath", default=10.0, ge=0, le=3600)
    density: float = q("kg/m3", "density of the bath", default=1250.0, ge=600, le=3000)
    viscosity: float = q("mPa s", "viscosity of the bath", default=1.5, gt=0, le=10_000)
    surface_tension: float = q("mN/m", "surface tension of the bath", default=70.0, gt=0, le=1000)
    depth: float = q("mm", "bath above the part's highest point when it is in", default=100.0, ge=0, le=20_000)
    hole_least: float = q(
        "mm",
        "narrowest hole that counts: narrower ones of the part are taken as shut, none narrower is proposed",
        default=3.0,
        ge=0,
        le=200,
    )
    pocket_least: float = q("mm3", "smallest pocket that is named; smaller ones are summed", default=20.0, ge=0, le=1_000_000)
    parts: int = q("", "parts on the rack", default=1, ge=1, le=10_000)

    @field_validator("attitude")
    @classmethod
    def _direction(cls, value: Any) -> Any:
        if value != "auto" and math.hypot(*value) < 1e-9:
            raise ValueError("a direction needs a length above zero")
        return value


class FinishStated(Record):
    """The finish: what is asked for, how the surface is prepared, the rack, and what is measured."""

    service: Literal["auto"] | Annotated[int, Field(ge=1, le=5)] = q(
        "", "service condition: 1 mild, 2 moderate, 3 severe, 4 very severe, 5 extended very severe; auto takes 2", default="auto"
    )
    base: Literal["auto", "steel", "copper", "zinc", "aluminium"] = q(
        "", "base metal of the classes; auto takes the sheet's", default="auto"
    )
    chromium: Literal["auto", "r", "mc", "mp"] = q(
        "", "chromium: regular, microcracked or microporous; auto takes regular where the class has it", default="auto"
    )
    nickel_um: Literal["auto"] | Annotated[float, Field(gt=0, le=2000)] = q(
        "µm", "least local nickel; auto takes the class's", default="auto"
    )
    chromium_um: Literal["auto"] | Annotated[float, Field(gt=0, le=500)] = q(
        "µm", "least local chromium; auto takes the class's", default="auto"
    )
    significant: Literal["visible", "all"] | tuple[Annotated[int, Field(ge=0)], ...] = q(
        "", "surfaces that count: visible is the shown side, all both sides, or a list of CAD faces of the shown side", default="visible"
    )
    significant_points: tuple[Vector, ...] = q(
        "mm", "points in press coordinates; the CAD face nearest to each counts too", default=(), max_length=200
    )
    side: Literal["auto", "upper", "lower"] = q(
        "", "side of the sheet that is shown, as in the press; auto takes the outer one", default="auto"
    )
    ball_mm: float = q("mm", "ball that must touch a place for its thickness to count (ISO 27830)", default=20.0, gt=0, le=500)
    start_ra_um: Literal["auto"] | Annotated[float, Field(gt=0, le=50)] = q(
        "µm", "Ra of the rolled sheet; auto takes what is usual", default="auto"
    )
    grain_um: float = q("µm", "grain size of the sheet", default=20.0, gt=0, le=1000)
    peel_factor: float = q(
        "",
        "Ra that orange peel adds, in grain sizes for a strain of 1 (typical, from memory; measure your own sheet)",
        default=0.1,
        ge=0,
        le=5,
    )
    scratch_um: float = q(
        "µm", "depth of the scratches where the sheet slid over the die radius (typical, from memory)", default=10.0, ge=0, le=500
    )
    slide_mm: float = q("mm", "inward slide from which on a wall counts as drawn over the die radius", default=3.0, gt=0, le=500)
    polish_ra_um: float = q("µm", "Ra wanted before plating", default=0.2, gt=0, le=10)
    grits: Literal["auto"] | tuple[Annotated[int, Field(ge=1, le=5000)], ...] = q("", "grits in their order; auto chooses", default="auto")
    buff: Literal["none", "cut", "bright"] = q(
        "", "what follows the last grit: nothing, a cut buff, or cut and bright buffs", default="bright"
    )
    least_thickness: Literal["auto"] | Annotated[float, Field(gt=0, le=20)] = q(
        "mm", "least thickness of the sheet after polishing; auto takes 0.75 of the sheet", default="auto"
    )
    wheel_mm: float = q("mm", "diameter of the polishing wheel", default=300.0, gt=0, le=2000)
    wheel_width: float = q("mm", "width of the polishing wheel", default=50.0, gt=0, le=1000)
    wheel_rpm_most: float = q("1/min", "highest speed marked on the wheel", default=3000.0, gt=0, le=100_000)
    rate_cm2_min: tuple[Positive, Positive] = q(
        "cm2/min", "area that one person takes through one step, from and to", default=(100.0, 400.0)
    )
    wheel_life_m2: tuple[Positive, Positive] = q(
        "m2", "area that one dressing or wheel lasts for in one step, from and to", default=(3.0, 15.0)
    )
    current_density: Literal["auto"] | Annotated[float, Field(gt=0, le=500)] = q(
        "A/dm2", "highest mean current density on the rack; auto takes the greater of the usual ones of nickel and chromium", default="auto"
    )
    facing: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that looks at the anodes; auto its shown side", default="auto"
    )
    up: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that hangs upwards; auto lays its longer side level", default="auto"
    )
    spacing: float = q("mm", "gap between neighbouring parts", default=40.0, gt=0, le=2000)
    rack_width: float = q("mm", "room for parts across the rack", default=1200.0, gt=0, le=10_000)
    rack_height: float = q("mm", "room for parts down the rack", default=900.0, gt=0, le=10_000)
    rack_kg: float = q("kg", "weight of the empty rack", default=8.0, ge=0, le=5000)
    rack_load_kg: float = q("kg", "most that rack and parts may weigh", default=40.0, gt=0, le=20_000)
    tank_depth: float = q("mm", "depth of the bath", default=1300.0, gt=0, le=20_000)
    cover_mm: float = q("mm", "bath over the uppermost part", default=80.0, ge=0, le=2000)
    spine_mm2: float = q("mm2", "section of the rack's spine", default=400.0, gt=0, le=100_000)
    spine_a_mm2: float = q("A/mm2", "current that a copper spine bears (common practice)", default=1.5, gt=0, le=20)
    hook_a: float = q("A", "current that one contact bears (common practice)", default=30.0, gt=0, le=2000)
    rectifier_a: float = q("A", "current of the rectifier", default=2000.0, gt=0, le=200_000)
    plan_points: int = q("", "places to measure, spread over the significant surface of each side that counts", default=5, ge=1, le=200)
    readings_file: str = q("", "CSV of thickness readings: place, method, um", default="", max_length=200)
    coulometric_pct: float = q("%", "expanded uncertainty (k = 2) of one coulometric reading", default=10.0, gt=0, le=100)
    xrf_pct: float = q("%", "expanded uncertainty (k = 2) of one X-ray reading", default=10.0, gt=0, le=100)
    bath_log_file: str = q("", "CSV of the baths' book: date, bath, Ah, m2, additions", default="", max_length=200)
    nickel_g_l: float = q("g/L", "nickel in the bath", default=75.0, gt=0, le=500)
    chromic_g_l: float = q("g/L", "chromic acid in the bath", default=250.0, gt=0, le=1000)
    brightener_ml_kah: float = q(
        "mL/kAh", "brightener used up by the current (the supplier's figure; typical, from memory)", default=200.0, ge=0, le=5000
    )
    brightener_ml_l: float = q("mL/L", "brightener in the bath (typical, from memory)", default=1.0, ge=0, le=100)
    drag_out_ml_m2: Literal["auto"] | Annotated[float, Field(ge=0, le=5000)] = q(
        "mL/m2", "bath carried out by both sides; auto takes the formula of dipping for this part", default="auto"
    )
    cost_chromium_vi: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for nickel and hexavalent chromium", default="auto"
    )
    cost_chromium_iii: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for nickel and trivalent chromium", default="auto"
    )
    cost_zinc_nickel: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for zinc-nickel and paint", default="auto"
    )
    cost_powder: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for phosphate and powder coating", default="auto"
    )
    cost_stainless: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for stainless sheet, polished and left bright", default="auto"
    )

    @field_validator("readings_file", "bath_log_file")
    @classmethod
    def _inside(cls, value: str) -> str:
        return safe_name(value)

    @field_validator("facing", "up")
    @classmethod
    def _direction(cls, value: Any) -> Any:
        if value != "auto" and math.hypot(*value) < 1e-9:
            raise ValueError("a direction needs a length above zero")
        return value

    @field_validator("rate_cm2_min", "wheel_life_m2")
    @classmethod
    def _band(cls, value: tuple[float, float]) -> tuple[float, float]:
        if value[0] > value[1]:
            raise ValueError("the first of the two may not be more than the second")
        return value

    @field_validator("grits")
    @classmethod
    def _finer(cls, value: Any) -> Any:
        if value != "auto" and (not value or any(a >= b for a, b in zip(value, value[1:], strict=False))):
            raise ValueError("grits go from coarse to fine, each with a greater number than the one before")
        return value


class AcceptedStated(Record):
    """An ``attend`` finding accepted with a reason; ``value`` is the figure that was accepted."""

    finding: str = q("", "key of the finding", min_length=1, max_length=120)
    reason: str = q("", "why it is accepted", min_length=3, max_length=500)
    by: str = q("", "who accepted it", default="", max_length=60)
    value: float | None = q("", "measured value at the time", default=None)


class Job(Record):
    """The whole of ``job.toml``."""

    format: int = q("", "format number of the file", default=FORMAT, ge=1, le=FORMAT)
    job: About = About()
    part: PartStated = PartStated()
    shape: ShapeStated = ShapeStated()
    sheet: SheetStated = SheetStated()
    blank: BlankStated = BlankStated()
    nest: NestStated = NestStated()
    press: PressStated = PressStated()
    faces: FacesStated = FacesStated()
    details: DetailsStated = DetailsStated()
    draws: DrawsStated = DrawsStated()
    cutting: CuttingStated = CuttingStated()
    tryout: TryoutStated = TryoutStated()
    window: WindowStated = WindowStated()
    compensation: CompensationStated = CompensationStated()
    proposal: ProposalStated = ProposalStated()
    plating: PlatingStated = PlatingStated()
    line: LineStated = LineStated()
    trim: TrimStated = TrimStated()
    scrap: ScrapStated = ScrapStated()
    bends: BendsStated = BendsStated()
    plan: PlanStated = PlanStated()
    dip: DipStated = DipStated()
    finish: FinishStated = FinishStated()
    accepted: tuple[AcceptedStated, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _newer(cls, data: Any) -> Any:
        if isinstance(data, dict) and isinstance(data.get("format"), int) and data["format"] > FORMAT:
            raise InputError(
                f"This job was written by a newer diewright (format {data['format']}; this one reads {FORMAT}).",
                where="format",
                help="Update diewright.",
            )
        return data


_BAD_NAME = re.compile(r"[\x00-\x1f<>:\"|?*]")


def safe_name(name: str) -> str:
    """A file name inside the job folder; refuses absolute paths, ``..`` and control characters."""
    if name == "":
        return name
    if name.startswith(("/", "\\")) or re.match(r"^[A-Za-z]:", name) or ".." in re.split(r"[\\/]", name):
        raise ValueError("a file must lie inside the job folder: no absolute path and no '..'")
    if _BAD_NAME.search(name):
        raise ValueError('a file name may not hold control characters or any of < > : " | ? *')
    if len(name) > 200:
        raise ValueError("a file name may be 200 characters at most")
    return name


_EXPECTED = {
    "greater_than": "more than {gt}", "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}", "less_than_equal": "{le} or less",
    "float_parsing": "a number", "float_type": "a number", "int_parsing": "a whole number", "int_type": "a whole number",
    "int_from_float": "a whole number", "finite_number": "a finite number", "string_type": "text in quotes",
    "string_too_short": "at least {min_length} characters", "string_too_long": "at most {max_length} characters",
    "tuple_type": "a list", "model_type": "a table of fields", "model_attributes_type": "a table of fields",
    "missing": "a value",
}  # fmt: skip


def _show(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _unit_of(path: tuple[Any, ...]) -> str:
    model: Any = Job
    info = None
    for name in path:
        fields = getattr(model, "model_fields", None)
        if not isinstance(name, str) or fields is None or name not in fields:
            continue
        info = fields[name]
        model = info.annotation
    extra = info.json_schema_extra if info is not None else None
    unit = extra.get("unit", "") if isinstance(extra, dict) else ""
    return str(unit)


def explain(error: ValidationError) -> InputError:
    """Turn the first problem of a validation into one sentence with the field, the value and what was expected."""
    problems = error.errors()
    first = problems[0]
    loc = tuple(first["loc"])
    names = tuple(
        p
        for p in loc
        if not (isinstance(p, str) and (p.startswith("literal[") or p in ("float", "constrained-float", "tuple[float, float, float]")))
    )
    where = ".".join(str(p) for p in names)
    kind, context, value = first["type"], first.get("ctx", {}), first.get("input")
    unit = _unit_of(names)
    same = [p for p in problems if tuple(p["loc"])[: len(names)] == names]
    if kind == "extra_forbidden":
        known = _known_fields(names[:-1])
        return InputError(
            f"there is no field called '{names[-1]}'.", where=where,
            help=f"Known fields here: {', '.join(known)}." if known else "Take it out.",
        )  # fmt: skip
    wants: list[str] = []
    for p in same:
        ctx = p.get("ctx", {})
        if p["type"] == "literal_error":
            wants.append("one of " + str(ctx.get("expected", "")).replace(" or ", ", "))
        elif p["type"] in _EXPECTED:
            wants.append(_EXPECTED[p["type"]].format(**{k: f"{v:g}" if isinstance(v, float) else v for k, v in ctx.items()}))
        elif p["type"] == "value_error":
            wants.append(str(ctx.get("error", p["msg"])))
    if kind == "value_error" and len(same) == 1:
        return InputError(f"{_show(value)} cannot be used: {context.get('error', first['msg'])}.", where=where)
    want = " or ".join(dict.fromkeys(wants)) or first["msg"].lower()
    tail = f" {unit}" if unit and "number" not in want and "one of" not in want else ""
    return InputError(f"{_show(value)} cannot be used: expected {want}{tail}.", where=where)


def _known_fields(path: tuple[Any, ...]) -> list[str]:
    model: Any = Job
    for name in path:
        if isinstance(name, int):
            continue
        info = model.model_fields.get(name)
        if info is None:
            return []
        model = AcceptedStated if name == "accepted" else info.annotation
    return list(getattr(model, "model_fields", {}))


def parse(data: dict[str, Any]) -> Job:
    """Validate a plain dictionary as a job; raises :class:`InputError` with one sentence."""
    try:
        return Job.model_validate(data)
    except ValidationError as error:
        raise explain(error) from None

"""Sheet, blank, press and the virtual tryout."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator

from diewright.job.stated.record import Record, Vector, q, safe_name


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

"""The working faces and what the toolmaker adds to them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator

from diewright.job.stated.record import Record, q, safe_name


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

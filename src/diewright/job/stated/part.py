"""The shape and what is drawn first."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from diewright.job.stated.record import Record, Vector, q, safe_name


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

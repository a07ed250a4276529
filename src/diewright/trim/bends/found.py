"""What the stage ``bends`` reads and finds, as records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.job.schema import BendsStated, FlangeStated
from diewright.trim.bends.law import Sprung, outer_strain, setback

Floats = NDArray[np.float64]


class BendsInputs(BaseModel):
    """What the stage reads of the job: the table ``[bends]``, flanges of the draw shape, thickness [mm], rolling direction [deg], thicknesses that holes keep from bends."""

    model_config = ConfigDict(frozen=True)
    stated: BendsStated
    flange: tuple[FlangeStated, ...]
    thickness: float
    rolling_direction: float
    hole_thicknesses: float


@dataclass(frozen=True)
class Metal:
    """The sheet as it is bent: strength, yield stress, Young's modulus [MPa], uniform strain (true) and strain at break (true, from A80)."""

    family: str
    rm: float
    rp: float
    modulus: float
    uniform: float
    broken: float


@dataclass(frozen=True, eq=False)
class Bend:
    """A bend to be worked: sizes in mm and degrees. ``leg`` the shortest outer leg, ``reach`` [most] the longest flat of the flange past its tangent line; ``hole`` distance of the nearest hole (None: none), ``at`` (k, 3) the line in space (may be empty)."""

    number: int
    name: str
    flange: int | None
    kind: Literal["bend", "hem"]
    method: Literal["wipe", "v"]
    angle: float
    r: float
    length: float
    leg: float
    reach: float
    other_leg: float | None
    line: str
    line_radius: float
    rolling: float
    hole: float | None
    hole_at: Floats
    at: Floats
    opening: float
    stands: float
    """Angle at which the flange stands before it is bent here [deg]."""
    edge: float | None
    """True strain of the edge where the line in space is known (None: by ``line`` and ``line_radius``)."""

    @property
    def steps(self) -> list[tuple[str, float]]:
        """Operations and the angle after each."""
        return [("flange", 90.0), ("pre-hem", 135.0), ("hem", 180.0)] if self.kind == "hem" else [("flange", self.angle)]


@dataclass(frozen=True, eq=False)
class Worked:
    """A bend with its numbers: ``share`` K of the neutral fibre, ``deduction`` [mm], forces [N], least radius and leg [mm] with where the radius is from, springback (None where the sheet would not stay bent), true strain of the edge (None: straight)."""

    bend: Bend
    s: float
    share: float
    deduction: float
    force: float
    hem_force: float | None
    least_radius: float
    radius_source: str
    least_leg: float
    sprung: Sprung | None
    gardiner: float
    edge: float | None

    @property
    def arc(self) -> float:
        """Length that the bend takes of the flat [mm]: the set-back less the deduction; the neutral fibre's length but for bends of less than 15 degrees and closed hems."""
        return setback(self.bend.angle, self.bend.r, self.s) - self.deduction

    @property
    def flat_leg(self) -> float:
        """What the leg that is bent takes of the flat sheet, from the root line [mm]: its outer leg less half of the set-back, and the arc."""
        return self.bend.leg - 0.5 * setback(self.bend.angle, self.bend.r, self.s) + self.arc

    @property
    def developed(self) -> float | None:
        """Both outer legs less the deduction [mm]; None where the other leg is not known."""
        return None if self.bend.other_leg is None else self.bend.leg + self.bend.other_leg - self.deduction

    @property
    def strain(self) -> float:
        """Strain of the outer fibre."""
        return outer_strain(self.bend.r, self.s)


@dataclass(frozen=True, eq=False)
class Operation:
    """Bends of one press stroke: force over ``stroke`` from first touch (n,) [mm, N], ``capacity`` of the press there."""

    name: str
    bends: list[int]
    stroke: Floats
    force: Floats
    capacity: Floats

    @property
    def height(self) -> Floats:
        """Height above bottom [mm]."""
        return self.stroke[-1] - self.stroke


@dataclass(frozen=True, eq=False)
class Found:
    """Everything the stage found."""

    inputs: BendsInputs
    metal: Metal
    bends: list[Worked]
    operations: list[Operation]
    press: Mapping[str, Any]
    left_out: list[str]

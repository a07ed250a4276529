"""What the stage ``scrap`` reads and finds, as records."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.trim.scrap.choppers import Chopped
from diewright.trim.scrap.pieces import Piece, Slug
from diewright.trim.scrap.rings import Lines
from diewright.trim.scrap.segments import Grade, Section, Segmented

Floats = NDArray[np.float64]

CHUTE_ROOM = 1.4
"""Width of a chute over the largest measure of what slides in it, so that it does not wedge (common practice)."""
PIECE_AUTO = 250.0
"""Longest piece where nothing is stated [mm] (ours: one hand holds it, a usual scrap box takes it)."""
THIN = (2.0, 2.0)
"""Least trim allowance: thicknesses, and millimetres (common practice); less than one thickness is no sound cut."""
LOWER_HALF = 0.4
"""Share of the press's shut height that lies under the cut (ours)."""


class ScrapInputs(BaseModel):
    """What the stage reads of the job: the table ``[scrap]``, sheet thickness [mm], parts a year, largest lean [deg]."""

    model_config = ConfigDict(frozen=True)
    thickness: float
    quantity: int
    lean_most: float
    piece_max: Literal["auto"] | float
    chute_width: Literal["auto"] | float
    chute_angle: float
    drop_height: Literal["auto"] | float
    shoe_margin: float
    slug_opening: Literal["auto"] | float
    choppers: Literal["auto"] | int
    chopper_max: float
    corner_radius: Literal["auto"] | float
    corner_distance: float
    steel_length_max: float

    @property
    def longest(self) -> float:
        """Longest piece wanted [mm]."""
        if not isinstance(self.piece_max, str):
            return self.piece_max
        return PIECE_AUTO if isinstance(self.chute_width, str) else self.chute_width / CHUTE_ROOM


@dataclass(frozen=True)
class Thin:
    """Where a ring is narrowest: ``width`` [mm] at ``at`` (3,)."""

    width: float
    at: Floats


@dataclass(frozen=True)
class Button:
    """Two die buttons that overlap, or one and the edge of the post or a joint of its steels (``other`` "post", "joint"): by ``over`` [mm], at (3,)."""

    cut: str
    other: str
    over: float
    at: Floats


@dataclass(frozen=True)
class Found:
    """Everything the stage found; ``drop`` height [mm], ``density`` [kg/m3], ``blank_mass`` [kg] or None, ``crossing``: layer of the drawing -> place of an outline that crosses itself."""

    inputs: ScrapInputs
    lines: Lines
    chopped: list[Chopped]
    pieces: list[Piece]
    slugs: list[Slug]
    thin: dict[str, Thin]
    buttons: list[Button]
    segmented: list[Segmented]
    section: Section
    grade: Grade
    drop: float
    density: float
    blank_mass: float | None
    crossing: dict[str, Floats] = field(default_factory=dict)

    @property
    def across(self) -> float:
        """Largest measure of any piece [mm]; 0 without pieces."""
        return max((p.across for p in self.pieces), default=0.0)

    @property
    def mass(self) -> float:
        """All scrap of a stroke [kg]."""
        return sum(p.mass for p in self.pieces) + sum(s.mass for s in self.slugs)

    @property
    def chute(self) -> float:
        """Width of the chutes [mm]: stated, or what the largest piece needs."""
        return self.inputs.chute_width if not isinstance(self.inputs.chute_width, str) else CHUTE_ROOM * self.across

"""What the stage ``cutting`` finds, as records: the metal, each cut, each operation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.trim.loads.line import Cut
from diewright.trim.loads.load import Curve, Load
from diewright.trim.loads.punches import Button, Punch
from diewright.trim.loads.springs import Springs
from diewright.trim.loads.steels import Edge, Sizes
from diewright.trim.loads.webs import Web

Floats = NDArray[np.float64]
CAM_GAIN = 1.25
"""Slide force over the force of a cam's steel: a fifth is lost in friction, driver and slide travel alike (ours)."""


class CuttingInputs(BaseModel):
    """What the stage reads of the job: the table ``[cutting]`` and the thickness [mm]."""

    model_config = ConfigDict(frozen=True)
    thickness: float
    shear_strength: Literal["auto"] | float
    penetration: Literal["auto"] | float
    wear: float
    clearance: Literal["auto"] | float
    trim_steel: Literal["follow", "level"]
    shear: Literal["none", "roof", "slope", "scallop"]
    shear_depth: float
    shear_pitch: float
    punch_shear: Literal["none", "roof", "slope"]
    punch_shear_depth: float
    stagger: float
    stagger_groups: int
    entry: float
    stripping_share: float
    springs: Literal["auto", "coil", "gas"]
    pad_lead: float
    hole_tolerance: Literal["auto"] | float
    punch_length: float
    punch_guide: Literal["free", "guided", "fixed"]
    press_centre: Literal["auto"] | tuple[float, float]
    visible: Literal["auto", "upper", "lower"]


@dataclass(frozen=True)
class Metal:
    """The sheet as it is cut: ``shear`` strength and ``rm`` [MPa], ``penetration`` at break [-], ``clearance`` a side over thickness [-]; ``how`` says where each is from."""

    family: str
    known: bool
    rm: float
    thickness: float
    shear: float
    penetration: float
    clearance: float
    how: Mapping[str, str]


@dataclass(frozen=True)
class CutFound:
    """One cut. ``sharp`` its largest force with sharp flat tools [N]; ``plain`` and ``shaped`` with the wear factor, without and with shear; ``group`` of the staggered punches."""

    cut: Cut
    plain: Load
    shaped: Load
    flat: Curve
    sheared: Curve
    sharp: float
    clearance: float
    burr: Literal["upper", "lower"]
    edge: Edge
    depth: float
    group: int
    sizes: Sizes | None = None
    punch: Punch | None = None
    button: Button | None = None
    smallest: float | None = None


@dataclass(frozen=True)
class Stripper:
    """A pad or cam return with its springs: ``force`` [N] to strip, ``work`` deflection [mm], ``centre`` (2,) of stripping [mm], ``places`` (n, 2) of the springs or None."""

    of: str
    force: float
    force_us: float
    work: float
    centre: Floats
    springs: Springs | None
    places: Floats | None

    @property
    def off(self) -> float | None:
        """Middle of the springs off the centre of stripping [mm]."""
        return None if self.places is None else float(np.linalg.norm(self.places.mean(axis=0) - self.centre))


@dataclass(frozen=True)
class Operation:
    """All cuts of one stroke. ``height`` above bottom and ``capacity`` (n,) at the strokes of ``sheared`` [mm, N], ``pad`` force of the strippers (n,) [N];
    ``press_centre`` (2,) in plan [mm], ``tilt`` (n,) moment of the load about it [Nmm]."""

    name: str
    cuts: list[CutFound]
    flat: Curve
    sheared: Curve
    height: Floats
    capacity: Floats
    pad: Floats
    strippers: list[Stripper]
    press_centre: Floats
    tilt: Floats

    @property
    def gain(self) -> float:
        """Slide force over steel force."""
        return CAM_GAIN if self.name == "cam" else 1.0

    @property
    def slide(self) -> Floats:
        """Force on the slide over the stroke (n,) [N]."""
        return self.sheared.force + self.pad

    @property
    def off(self) -> Floats:
        """Centre of the load at its peak off the press's centre (2,) [mm]."""
        return self.sheared.peak_centre[:2] - self.press_centre

    @property
    def tightest(self) -> int:
        """Row where the press has least to spare."""
        return int((self.slide / np.maximum(self.capacity, 1e-9)).argmax())


@dataclass(frozen=True)
class Found:
    """Everything the stage found."""

    inputs: CuttingInputs
    metal: Metal
    cuts: list[CutFound]
    operations: list[Operation]
    webs: list[Web]
    press: Mapping[str, Any]
    energy: float | None
    visible: Literal["upper", "lower"]

    @property
    def heaviest(self) -> Operation:
        """The operation with the largest force on the slide."""
        return max(self.operations, key=lambda o: float(o.slide.max()))

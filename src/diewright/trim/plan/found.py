"""What the stage ``plan`` reads and finds, as records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.job.schema import PlanStated
from diewright.press.fit import Check
from diewright.press.table import Press
from diewright.trim.plan.cycle import Cycle, Event
from diewright.trim.plan.ops import Operation

Floats = NDArray[np.float64]
BLANK_WALL = (4.0, 8.0)
"""Least wall between blank edge and punch opening of a die that cuts and draws: thicknesses, and mm (ours)."""
TRANSFER_FROM = 100_000
"""Parts a year from which a transfer is taken where nothing is stated (ours)."""


class PlanInputs(BaseModel):
    """What the stage reads of the job: the table ``[plan]``, thickness [mm], parts a year, press and rate stated, entry and pad lead of the cutting steels, least web [mm]."""

    model_config = ConfigDict(frozen=True)
    stated: PlanStated
    thickness: float
    quantity: int
    press: str
    strokes_per_minute: float
    entry: float
    pad_lead: float
    web_least: float


@dataclass(frozen=True, eq=False)
class Group:
    """Operations that share a die, the press asked for ("auto"), whether a person stated it, and why they share it."""

    name: str
    operations: tuple[Operation, ...]
    press: str = "auto"
    stated: bool = False
    why: str = ""


@dataclass(frozen=True, eq=False)
class Load:
    """Force of a station over the slide's height: ``height`` (n,) above bottom, falling to 0 [mm]; ``flat`` with all steels touching together and ``force`` with their ``steps`` (piece -> number of
    thicknesses) (n,) [N], strippers in both; ``touch`` height at first touch [mm]."""

    height: Floats
    flat: Floats
    force: Floats
    steps: Mapping[str, int]
    touch: float

    @property
    def lowered(self) -> float:
        """Share by which steps lower the largest force."""
        top = float(self.flat.max())
        return 0.0 if top <= 0.0 else 1.0 - float(self.force.max()) / top


@dataclass(frozen=True, eq=False)
class Station:
    """A station with its press: ``checks`` of it, ``slide`` force (n,) at the heights of the load [N], ``serves`` how many presses of the table serve; ``rate`` [1/min] in use, ``feed`` height that
    feeding needs [mm] and what the cycle leaves for it (``window`` deg, ``window_s``), ``period`` of a part [s], ``parts_per_hour``."""

    number: int
    group: Group
    load: Load
    press: Press
    checks: list[Check]
    serves: int
    slide: Floats
    rate: float
    cycle: Cycle
    events: list[Event]
    feed: float
    window: float
    window_s: float
    period: float
    parts_per_hour: float

    @property
    def use(self) -> tuple[float, int]:
        """Largest share of the press's force, and where."""
        have = self.press.capacity(self.load.height)
        share = np.divide(self.slide, have, out=np.where(self.slide > 0, 1e6, 0.0), where=have > 0)
        i = int(share.argmax())
        return float(share[i]), i


@dataclass(frozen=True)
class Compound:
    """Whether blank and draw can share a die: the least ``wall`` between them [mm] (None: not known) and what is wanted, the force for cutting at its height [N, mm] and the press's there."""

    possible: bool
    why: str
    wall: float | None
    wanted: float
    force: float
    height: float
    capacity: float


@dataclass(frozen=True, eq=False)
class Found:
    """Everything the stage found. ``unclaimed``: operations that no stated station names."""

    inputs: PlanInputs
    feed: Literal["hand", "transfer"]
    operations: list[Operation]
    stations: list[Station]
    transfer: Station | None
    compound: Compound | None
    unclaimed: list[str]
    parts: int
    main: int
    webs: list[str] = field(default_factory=list)

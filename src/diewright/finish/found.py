"""Everything the stage ``finish`` found, for its values, tables, figures and findings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.finish.prepare.start import Drawn, Start
from diewright.finish.prepare.steps import Effort, Step
from diewright.finish.rack.contacts import Contact
from diewright.finish.rack.layout import Layout
from diewright.finish.records.bath_log import Balance
from diewright.finish.records.plan import Spot
from diewright.finish.records.readings import Local
from diewright.finish.spec.alternatives import Priced
from diewright.finish.spec.classes import Corrosion, Wanted
from diewright.finish.spec.significant import Significant
from diewright.geometry.mesh import TriMesh
from diewright.geometry.sides import Region
from diewright.job.schema import FinishStated

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Found:
    """``wheel`` by side: share of each triangle that the wheel reaches; ``removed`` by polishing at most and at least (m,) [µm]; ``left`` (m,) [mm]; ``least`` thickness wanted [mm];
    ``recesses`` and ``untouched``: (side, region) that wheel and ball do not reach; ``readings`` judged, None without a file; ``book`` balances, None without a file."""

    stated: FinishStated
    mesh: TriMesh
    sheet: float
    wanted: Wanted
    test: Corrosion
    significant: Significant
    wheel: dict[str, Floats]
    drawn: Drawn
    start: Start
    steps: list[Step]
    removed: Floats
    removed_least: Floats
    left: Floats
    least: float
    recesses: list[tuple[str, Region]]
    untouched: list[tuple[str, Region]]
    effort: Effort
    layout: Layout
    turn: Floats
    contacts: list[Contact]
    spots: list[Spot]
    drag_out: float
    readings: list[Local] | None
    book: list[Balance] | None
    anodes_kg: float
    alternatives: list[Priced]

    def share(self, side: str) -> float:
        """Share of the picked surface of a side that the ball touches."""
        area = self.mesh.areas * self.significant.picked
        return float((area * self.significant.ball[side]).sum() / area.sum())

    @property
    def polished(self) -> NDArray[np.bool_]:
        """Triangles that are polished: all that are picked."""
        return self.significant.picked

    @property
    def significant_area(self) -> float:
        """Area that counts, over all sides [mm2]."""
        return float(sum(self.mesh.areas[self.significant.counts(s)].sum() for s in self.significant.sides))

"""Everything the stage found, for its values, tables and findings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.finish.dip.drag_out import DragOut
from diewright.finish.dip.holes import Bath, Measured
from diewright.finish.dip.search import Search
from diewright.finish.dip.sheet import BathSheet
from diewright.geometry.flood_pockets import Attitude

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Found:
    """``at`` the attitude with its ``air`` and ``pools``; ``improved`` the same with all holes (None without pockets); ``weight`` of the sheet's sides; ``best`` the
    attitudes of the search; ``lift`` of the trapped air in the bath and ``weight_in_bath`` of the part [N]."""

    sheet: BathSheet
    auto: bool
    bath: Bath
    weight: Floats
    at: Attitude
    air: list[Measured]
    pools: list[Measured]
    improved: Attitude | None
    search: Search
    best: list[Attitude]
    drag: DragOut
    thickness: float
    lift: float
    weight_in_bath: float

    def shown(self, m: Measured) -> float:
        """Area of significant sheet that a pocket touches [mm2]."""
        return float(self.weight @ np.array(m.pocket.area))

    def band(self, m: Measured) -> float:
        """Volume of the sheet's own thickness along the pocket [mm3]: how much less the pocket holds if the meshed skin is the far one."""
        return self.thickness * sum(m.pocket.area)

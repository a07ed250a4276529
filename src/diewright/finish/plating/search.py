"""Where the anodes had better hang: a search without derivatives over their distance, the length of their row and their depth.

Every try meshes and solves the first deposit on a coarse mesh. What is lowered is the mean thickness over that of the thinnest hundredth of the
significant surface. The method is the simplex of Nelder and Mead on logarithms of the three lengths, within limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from diewright.errors import InputError, SolveError
from diewright.finish.plating.rack import lay_out
from diewright.finish.plating.report import ratio, thinnest
from diewright.finish.plating.run import make_mesh, plate, surface_cells
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import PlatingStated
from diewright.watch import Watch

NEAR, WIDE = 0.5, 1.6
"""Distance, row and depth stay within ``NEAR`` and ``WIDE`` of the stated place."""
FIRST = 0.25
REFUSED = 1e6


@dataclass(frozen=True)
class Tried:
    """One place: ``distance``, ``span``, ``length`` [mm]; ``ratio`` mean over thinnest hundredth, ``mean_over_min``, ``max_over_mean`` of the current; nan where refused."""

    distance: float
    span: float
    length: float
    ratio: float
    mean_over_min: float
    max_over_mean: float


def search(part: TriMesh, stated: PlatingStated, watch: Watch, surface: FieldMesh | None = None) -> list[Tried]:
    """All places tried, the stated one first. Raises what the stated place raises."""
    rack = lay_out(part, stated, 0.5 * stated.anode_width)
    low = np.min([a.low for a in rack.anodes], axis=0)
    high = np.max([a.high for a in rack.anodes], axis=0)
    begin = np.array([stated.anode_distance, high[0] - low[0], high[2] - low[2]])
    # the tank stays that of the stated place, so that only the anodes move
    room = tuple(float(v) for v in np.array(rack.high) - np.array(rack.low))
    room = (
        max(room[0], WIDE * begin[1] + 20.0),
        max(room[1], 2.0 * (WIDE * begin[0] + stated.anode_thickness) + 20.0),
        max(room[2], WIDE * begin[2] + 20.0),
    )
    count = stated.anode_count if not isinstance(stated.anode_count, str) else len(rack.anodes) // stated.anode_rows
    tried: list[Tried] = []

    def one(logs: np.ndarray) -> float:
        watch.step("trying places of the anodes", len(tried), stated.tries)
        d, s, h = (float(f"{v:.4g}") for v in begin * np.exp(logs))
        moved = stated.model_copy(update={"anode_distance": d, "anode_span": s, "anode_length": h, "anode_count": count, "tank": room})
        try:
            tried.append(_judged(part, moved, watch, surface))
        except (InputError, SolveError):
            if not tried:
                raise
            tried.append(Tried(d, s, h, REFUSED, math.nan, math.nan))
        return tried[-1].ratio

    first = np.vstack([np.zeros(3), FIRST * np.diag([-1.0, -1.0, -1.0])])
    limits = [(math.log(NEAR), math.log(WIDE))] * 3
    minimize(
        one,
        np.zeros(3),
        method="Nelder-Mead",
        bounds=limits,
        options={"initial_simplex": first, "maxfev": stated.tries, "xatol": 0.01, "fatol": 0.005},
    )
    return tried


def _judged(part: TriMesh, stated: PlatingStated, watch: Watch, surface: FieldMesh | None) -> Tried:
    mesh = make_mesh(part, stated, stated.bodies, "coarse", Watch(cancelled=lambda: _asked(watch)))
    done = plate(
        mesh, stated, surface_cells(mesh, part, stated.significant, surface), Watch(cancelled=lambda: _asked(watch)), stated.layers[:1]
    )
    layer = done.layers[0]
    um, areas = done.on_significant(layer.thickness)
    i, _ = done.on_significant(layer.density)
    mean = float(um @ areas / areas.sum())
    least = thinnest(um, areas)
    assert not isinstance(stated.anode_span, str)
    assert not isinstance(stated.anode_length, str)
    return Tried(
        stated.anode_distance, stated.anode_span, stated.anode_length, mean / least if least > 0 else REFUSED, ratio(um, areas), float(i.max()) / float(i @ areas / areas.sum())
    )  # fmt: skip


def _asked(watch: Watch) -> bool:
    """Whether to stop; the watch itself raises if so."""
    watch.check()
    return False

"""A picture of the sheet and its tools at one instant."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.mechanics.shell.layout import S_COUNT, S_COUNT_KINEMATIC
from diewright.mechanics.shell.model import ShellModel

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Frame:
    """One instant.

    Attributes
    ----------
    operation: its number. time [s]. travel: (K,) of the tools [mm].
    x: (n, 3) [mm]. membrane: (m, 3) log strain of the middle surface in the rolling frame (11, 22, engineering 12). stretch: (m,) thickness share.
    plastic: (m,) mean equivalent plastic strain over the stations; plastic_max: (m,) the largest. stress: (m, 3) mean stress [MPa] in the same frame.
    layers: (m, 3, 3) log strain at the lowest, middle and highest station; layers_plastic: (m, 3) plastic strain there.
    pressure: (n, K) [MPa], mean since the last frame. slide: (n,) [mm]. rub: (n, K) friction work [N mm]. curvature: (m, 3) [1/mm].
    """

    operation: int
    time: float
    travel: Floats
    x: Floats
    membrane: Floats
    stretch: Floats
    plastic: Floats
    plastic_max: Floats
    stress: Floats
    pressure: Floats
    slide: Floats
    rub: Floats
    curvature: Floats
    layers: Floats
    layers_plastic: Floats


def take(model: ShellModel, operation: int) -> Frame:
    """The model as it is now; starts the mean of the pressures anew."""
    r = model.recovered()
    w = model.stations[:, 1]
    width = S_COUNT_KINEMATIC if model.material.kinematic else S_COUNT
    ep = np.asarray(model.state, dtype=np.float64)[:, 3::width]
    share = np.ones(model.patches.n)
    weight = np.bincount(model.patches.conn[:, :3].ravel(), minlength=len(model.patches.points))[: model.patches.n]
    total = np.bincount(
        model.patches.conn[:, :3].ravel(),
        weights=np.repeat(np.asarray(model.stretch, dtype=np.float64), 3),
        minlength=len(model.patches.points),
    )[: model.patches.n]
    share = np.where(weight > 0, total / np.maximum(weight, 1), 1.0)
    tools = model.tools
    three = [0, len(w) // 2, len(w) - 1]
    frame = Frame(
        operation=operation, time=model.time, travel=tools.state[:, 0].copy(), x=model.x[: model.patches.n].copy(), membrane=r.membrane,
        stretch=np.asarray(model.stretch, dtype=np.float64).copy(), plastic=ep @ w, plastic_max=ep.max(axis=1),
        stress=np.einsum("s,esk->ek", w, r.stress), pressure=tools.pressure(share), slide=tools.slide.copy(), rub=tools.rub.copy(),
        curvature=r.curvature, layers=r.strain[:, three], layers_plastic=ep[:, three],
    )  # fmt: skip
    tools.start_pressure()
    return frame

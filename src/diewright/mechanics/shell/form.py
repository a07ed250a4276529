"""What a sheet is at one instant: places, slopes, the state of its stations, its thickness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.mechanics.shell.layout import S_COUNT, S_COUNT_KINEMATIC
from diewright.mechanics.shell.patch import Patches, mirror_images

Floats = NDArray[np.float64]
Reals = NDArray[np.floating]


@dataclass
class ShellForm:
    """The state that passes on from one operation to the next.

    Attributes
    ----------
    x: (n + ghosts, 3) float64 [mm], the mirror images at the end.
    slope: (sides,) extra slope across each side [-].
    state: (ne, stations * (4 or 7)): plastic strain 11, 22, engineering 12, equivalent plastic strain, back stress.
    stretch: (ne,) thickness over its initial value.
    """

    x: Floats
    slope: Reals
    state: Reals
    stretch: Reals

    def copy(self) -> ShellForm:
        """A copy that shares nothing."""
        return ShellForm(self.x.copy(), self.slope.copy(), self.state.copy(), self.stretch.copy())


def at_rest(patches: Patches, stations: Floats, *, kinematic: bool) -> ShellForm:
    """The sheet before anything has happened to it."""
    ne = len(patches.conn)
    width = S_COUNT_KINEMATIC if kinematic else S_COUNT
    return ShellForm(patches.points.copy(), np.zeros(len(patches.side_free)), np.zeros((ne, width * len(stations))), np.ones(ne))


def place(patches: Patches, x: Floats) -> Floats:
    """All positions, mirror images included, from those of the real nodes (n, 3)."""
    return np.vstack([x[: patches.n], mirror_images(x, patches.ghost, patches.ghost_normal)])


def collect(patches: Patches, element_force: Reals) -> tuple[Floats, Floats]:
    """``(force (n, 3) [N], moment (sides,) [N mm])`` summed from element forces (ne, 21); mirror images brought back to their nodes."""
    nodes = patches.conn[:, :6].ravel()
    every = element_force.astype(np.float64)
    f = np.zeros((len(patches.points), 3))
    for d in range(3):
        f[:, d] = np.bincount(nodes, weights=every[:, d:18:3].ravel(), minlength=len(f))
    if len(patches.ghost):
        g = f[patches.n :]
        w = 2.0 * (g * patches.ghost_normal).sum(1, keepdims=True) * patches.ghost_normal
        np.add.at(f, patches.ghost[:, 0], g - w)
        np.add.at(f, patches.ghost[:, 1], w)
    moment = np.zeros(len(patches.side_free))
    moment += np.bincount(patches.conn[:, 6:].ravel(), weights=every[:, 18:].ravel(), minlength=len(moment))
    return f[: patches.n], moment

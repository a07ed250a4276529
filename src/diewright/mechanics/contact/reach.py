"""How far points are from a tool as it stands, and where a tool on its way first touches a sheet."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from diewright.mechanics.contact import layout as at
from diewright.mechanics.contact.lookup import look_up
from diewright.mechanics.contact.tools import Tool, ToolSet
from diewright.mechanics.shell.layout import KERNEL

Floats = NDArray[np.float64]


@njit(**KERNEL)
def _distances(points, numbers, sizes, k, travel, place, samples, out):
    dx, dy, dz = numbers[k, 7], numbers[k, 8], numbers[k, 9]
    for i in range(points.shape[0]):
        d, nx, ny, nz = look_up(
            points[i, 0] - travel * dx, points[i, 1] - travel * dy, points[i, 2] - travel * dz, numbers, sizes, k, place, samples
        )
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = d, nx, ny, nz


def distances(tools: ToolSet, name: str, points: Floats, travel: float | None = None) -> Floats:
    """``(n, 4)``: signed distance [mm] and its gradient at points (n, 3), the tool level at its own or a given travel; inf where the face is out of its band."""
    k = tools.number(name)
    out = np.zeros((len(points), 4))
    s = float(tools.state[k, at.T_TRAVEL]) if travel is None else float(travel)
    _distances(np.ascontiguousarray(points, dtype=np.float64), tools.numbers, tools.sizes, k, s, tools.place, tools.samples, out)
    out[out[:, 0] > 1e8, 0] = np.inf
    return out


def first_touch(tool: Tool, points: Floats, half: float | Floats, start: float, end: float) -> float:
    """Travel [mm] at which a tool that comes from ``start`` towards ``end`` is as near as ``half`` the sheet's thickness to one of the points; ``end`` if it never is.

    Steps are an eighth of the band of its distances, then halved: it touches by less than a thousandth of the band.
    """
    alone = ToolSet((tool,), np.ones(1), 1)

    def touches(travel: float) -> bool:
        return bool((distances(alone, tool.name, points, travel)[:, 0] < half).any())

    step = 0.125 * tool.grid.band * math.copysign(1.0, end - start)
    before = start
    if touches(start):
        return start
    for k in range(1, math.ceil(abs((end - start) / step)) + 1):
        now = start + min(k * abs(step), abs(end - start)) * math.copysign(1.0, step)
        if touches(now):
            low, high = before, now
            for _ in range(10):
                middle = 0.5 * (low + high)
                low, high = (low, middle) if touches(middle) else (middle, high)
            return low
        before = now
    return end

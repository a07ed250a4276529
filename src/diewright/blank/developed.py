"""The flat edge of the developed mesh as true outlines: net, with allowance, and the kept holes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.offset import offset
from diewright.geometry.outline import Fit, fit_outline
from diewright.geometry.pieces import Outline

Floats = NDArray[np.float64]

TOLERANCE = 0.1
"""Largest distance of an edge point of the mesh from the outline [mm]."""

CHORD = 0.02
"""Largest distance between the outline and the polygon kept of it [mm]."""


@dataclass(frozen=True, eq=False)
class Developed:
    """``net`` as fitted to the mesh, ``cut`` with the allowance, ``holes`` by name."""

    fit: Fit
    cut: Outline
    holes: dict[str, Fit]

    @property
    def net(self) -> Outline:
        return self.fit.outline

    @property
    def area(self) -> float:
        """Area of the blank with allowance, kept holes taken out [mm2]."""
        return self.cut.area - sum(abs(h.outline.area) for h in self.holes.values())


def develop(
    flat: Floats, outer: NDArray[np.int32], holes: Mapping[str, NDArray[np.int32]], allowance: float, stated: Floats | None = None
) -> Developed:
    """Outlines of the flat ``(n, 2)``; ``outer`` and ``holes`` are rows of point numbers. ``stated (k, 2)``: an outline that takes the place of the developed one.

    Raises :class:`SolveError` with the place where the developed edge crosses itself.
    """
    fit = fit_outline(flat[outer] if stated is None else stated, TOLERANCE)
    pierced = {name: fit_outline(flat[loop], TOLERANCE) for name, loop in holes.items()}
    cut = offset(fit.outline, allowance)
    if cut.area < fit.outline.area - 1e-9:
        raise SolveError("The allowance made the outline smaller.", where="blank.trim_allowance", help="Report this job.")
    return Developed(fit, cut, pierced)


def hole_records(holes: Mapping[str, Fit]) -> list[dict[str, Any]]:
    """Each kept hole in the flat: ``id``, ``centre`` and ``area`` of the outline, ``perimeter``, ``diameter`` if it is a circle."""
    out: list[dict[str, Any]] = []
    for name, fit in holes.items():
        points = fit.outline.points(CHORD)
        full = fit.outline.circle
        x, y = points.T
        w = x * np.roll(y, -1) - np.roll(x, -1) * y
        centre = [float((w * (x + np.roll(x, -1))).sum() / (3 * w.sum())), float((w * (y + np.roll(y, -1))).sum() / (3 * w.sum()))]
        out.append({
            "id": name.removeprefix("hole_"), "centre": centre, "area": abs(fit.outline.area), "perimeter": fit.outline.perimeter,
            "diameter": 2.0 * full[1] if full is not None else None, "deviation": fit.deviation,
        })  # fmt: skip
    return out


def match_holes(loops: Sequence[NDArray[np.int32]], outer: int, named: Mapping[str, NDArray[np.int32]]) -> dict[str, NDArray[np.int32]]:
    """The mesh's hole loops under the names they have in the part; loops the part does not name are numbered on."""
    by_points = {frozenset(int(i) for i in ring): name for name, ring in named.items()}
    out: dict[str, NDArray[np.int32]] = {}
    for k, loop in enumerate(loops):
        if k == outer:
            continue
        name = by_points.get(frozenset(int(i) for i in loop), "")
        number = len(out) + 1
        while not name:
            guess = f"hole_{number}"
            name = guess if guess not in out and guess not in by_points.values() else ""
            number += 1
        out[name] = loop
    return out

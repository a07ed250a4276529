"""``developed.dxf``: the developed outline and the holes that may be pierced in the flat."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.geometry.outline import fit_outline
from diewright.geometry.outline_files import Content, Note, dxf, dxf_text_height
from diewright.geometry.pieces import Line, Outline

Floats = NDArray[np.float64]
_HOLE = 0.05  # mm: of the fitted hole from its carried points


def developed_drawing(outline: Outline, holes: Sequence[Floats], rolling: float, thickness: float) -> bytes:
    """Layers BLANK_OUTLINE, HOLES, ROLLING_DIRECTION, TEXT; ``rolling`` [deg], mm. A hole that cannot be fitted goes in as its polygon."""
    points = outline.points(0.05)
    low, high = points.min(axis=0), points.max(axis=0)
    size = float((high - low).max())
    text = dxf_text_height(size)
    way = np.array([np.cos(np.deg2rad(rolling)), np.sin(np.deg2rad(rolling))])
    below = np.array([0.5 * (low[0] + high[0]), low[1] - 0.15 * size])
    layers: dict[str, list[Content]] = {"BLANK_OUTLINE": [outline]}
    if holes:
        layers["HOLES"] = [_hole(h) for h in holes]
    layers["ROLLING_DIRECTION"] = [
        Line(below - 0.15 * size * way, below + 0.15 * size * way),
        Note("ROLLING DIRECTION", (float(low[0]), float(below[1])), text),
    ]
    note = f"DEVELOPED BLANK {high[0] - low[0]:.2f} x {high[1] - low[1]:.2f} mm, t = {thickness:g} mm, area {outline.area:.1f} mm2"
    layers["TEXT"] = [Note(note, (float(low[0]), float(high[1] + 0.08 * size)), text)]
    return dxf(layers)


def _hole(points: Floats) -> Outline:
    try:
        return fit_outline(points, _HOLE).outline
    except SolveError:
        return Outline(tuple(Line(a, b) for a, b in zip(points, np.roll(points, -1, axis=0), strict=True)))

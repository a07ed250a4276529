"""``details.dxf``: opening, bead, locators, vents and blank in plan, press coordinates, mm, closed polylines and circles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.drawing import drawing

Floats = NDArray[np.float64]
COLOURS = {"opening": 7, "bead": 1, "bead_groove": 9, "locators": 3, "vents": 5, "blank": 2}


def details_drawing(
    lines: Mapping[str, Sequence[tuple[Floats, bool]]], circles: Mapping[str, Sequence[tuple[float, float, float]]]
) -> bytes:
    """Layers of polylines ``(points (k, 2), closed)`` and of circles ``(x, y, radius)``; the same content gives the same bytes. Raises :class:`SolveError` if the drawing's own audit finds a fault."""
    with drawing() as made:
        for name, colour in COLOURS.items():
            made.doc.layers.add(name, color=colour)
        for name, content in lines.items():
            for points, closed in content:
                made.space.add_lwpolyline([(float(x), float(y)) for x, y in points], close=closed, dxfattribs={"layer": name})
        for name, rounds in circles.items():
            for x, y, radius in rounds:
                made.space.add_circle((x, y), radius, dxfattribs={"layer": name})
    return made.content

"""``details.dxf``: opening, bead, locators, vents and blank in plan, press coordinates, mm, closed polylines and circles."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError

Floats = NDArray[np.float64]
COLOURS = {"opening": 7, "bead": 1, "bead_groove": 9, "locators": 3, "vents": 5, "blank": 2}


def drawing(lines: Mapping[str, Sequence[tuple[Floats, bool]]], circles: Mapping[str, Sequence[tuple[float, float, float]]]) -> bytes:
    """Layers of polylines ``(points (k, 2), closed)`` and of circles ``(x, y, radius)``; the same content gives the same bytes. Raises :class:`SolveError` if the drawing's own audit finds a fault."""
    import ezdxf
    from ezdxf import units

    kept = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        doc = ezdxf.new("R2010")
        doc.units = units.MM
        doc.header["$MEASUREMENT"] = 1
        space = doc.modelspace()
        for name, colour in COLOURS.items():
            doc.layers.add(name, color=colour)
        for name, content in lines.items():
            for points, closed in content:
                space.add_lwpolyline([(float(x), float(y)) for x, y in points], close=closed, dxfattribs={"layer": name})
        for name, rounds in circles.items():
            for x, y, radius in rounds:
                space.add_circle((x, y), radius, dxfattribs={"layer": name})
        audit = doc.audit()
        if audit.has_errors:
            raise SolveError(f"The drawing fails its own audit: {audit.errors[0].message}", where="dxf")
        text = io.StringIO()
        doc.write(text)
        return text.getvalue().encode("utf-8")
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = kept

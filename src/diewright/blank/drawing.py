"""Shop drawings of the blank and of the strip, as DXF with true entities."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.blank.nesting import Layout
from diewright.geometry.outline_files import Content, Note, dxf, dxf_text_height, moved
from diewright.geometry.pieces import Line, Outline

Floats = NDArray[np.float64]


def _line(ax: float, ay: float, bx: float, by: float) -> Line:
    return Line(np.array([ax, ay]), np.array([bx, by]))


def arrow(at: Floats, angle: float, length: float) -> list[Line]:
    """A double-headed arrow through ``at`` along ``angle`` [rad]."""
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    lines = [Line(at - 0.5 * length * along, at + 0.5 * length * along)]
    for end, sign in ((at + 0.5 * length * along, -1.0), (at - 0.5 * length * along, 1.0)):
        for wing in (1.0, -1.0):
            lines.append(Line(end, end + 0.12 * length * (sign * along + 0.35 * wing * across)))
    return lines


def blank_drawing(outline: Outline, net: Outline, holes: Sequence[Outline], rolling: float, thickness: float, allowance: float) -> bytes:
    """``blank.dxf``: BLANK_OUTLINE, NET_OUTLINE where an allowance was added, HOLES, CENTRE, ROLLING_DIRECTION, TEXT."""
    points = outline.points(0.05)
    low, high = points.min(axis=0), points.max(axis=0)
    middle, size = 0.5 * (low + high), float((high - low).max())
    text = dxf_text_height(size)
    over = 0.04 * size
    layers: dict[str, list[Content]] = {"BLANK_OUTLINE": [outline]}
    if allowance > 0:
        layers["NET_OUTLINE"] = [net]
    if holes:
        layers["HOLES"] = list(holes)
    layers["CENTRE"] = [
        _line(low[0] - over, middle[1], high[0] + over, middle[1]),
        _line(middle[0], low[1] - over, middle[0], high[1] + over),
    ]
    at = np.array([middle[0], low[1] - 4.0 * over - 2.0 * text])
    layers["ROLLING_DIRECTION"] = [*arrow(at, rolling, 0.3 * size), Note("ROLLING DIRECTION", (float(low[0]), float(at[1] + text)), text)]
    note = f"BLANK {high[0] - low[0]:.2f} x {high[1] - low[1]:.2f} mm, t = {thickness:g} mm, area {outline.area:.1f} mm2"
    layers["TEXT"] = [Note(note, (float(low[0]), float(high[1] + 2.0 * over)), text)]
    return dxf(layers)


def nest_drawing(layout: Layout, outline: Outline, holes: Sequence[Outline], thickness: float, pitches: int = 3) -> bytes:
    """``nest.dxf``: the chosen layout over a few pitches on its strip: STRIP_EDGE, BLANK_OUTLINE, HOLES, PITCH, TEXT."""
    length = layout.pitch * pitches + 2.0 * layout.edge_web
    blanks: list[Content] = []
    pierced: list[Content] = []
    for k in range(pitches):
        for turn, (x, y) in zip(layout.turns, layout.shifts, strict=True):
            at = (x + k * layout.pitch, y)
            blanks.append(moved(outline, turn, at))
            pierced += [moved(h, turn, at) for h in holes]
    text = dxf_text_height(layout.strip_width)
    height = layout.strip_width
    layers: dict[str, list[Content]] = {
        "STRIP_EDGE": [_line(0.0, 0.0, length, 0.0), _line(0.0, height, length, height)],
        "BLANK_OUTLINE": blanks,
    }
    if pierced:
        layers["HOLES"] = pierced
    layers["PITCH"] = [
        _line(layout.edge_web + k * layout.pitch, -2.0 * text, layout.edge_web + k * layout.pitch, -0.5 * text) for k in range(2)
    ]
    layers["ROLLING_DIRECTION"] = list(arrow(np.array([0.5 * length, -4.0 * text]), 0.0, 0.3 * length))
    note = f"{layout.layout.upper()}, PITCH {layout.pitch:.3f} mm, STRIP {height:.3f} mm, t = {thickness:g} mm, UTILISATION {100 * layout.utilisation:.1f} %"
    layers["TEXT"] = [Note(note, (0.0, height + text), text)]
    return dxf(layers)

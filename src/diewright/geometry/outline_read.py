"""Closed outlines from DXF and CSV files, in mm, with every point checked.

A DXF states its unit in its header (``$INSUNITS``); where it does not, and for CSV files whose heading names none, the unit must be stated: it is never guessed from the size.
"""

from __future__ import annotations

import csv
import io
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.errors import FileError, InputError

Floats = NDArray[np.float64]

UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
"""Millimetres in one of the unit."""

_DXF_UNITS = {1: "inch", 4: "mm", 5: "cm", 6: "m"}
_FLAT = 0.005  # mm: largest distance of the polyline from an arc or a spline of the drawing
_JOIN = 0.01  # mm: ends nearer than that belong together
_MOST_BYTES = 20_000_000
_MOST_POINTS = 100_000
_CLOSING = 3.0  # a CSV line closes itself where the last step is not longer than this many of its longest other


def read_outlines(path: Path, where: str, *, unit: str = "", layer: str = "", prefer: str = "") -> list[Floats]:
    """Closed polylines ``(k, 2)`` or ``(k, 3)`` [mm] of a DXF or CSV file, the longest first, no first point repeated.

    ``unit``: of a file that states none. ``layer``: of a DXF, only that one; ``prefer``: a layer that is taken alone if there is one. Raises :class:`FileError` for a file that cannot be read, and :class:`InputError`, with the place, for a
    line that is open, has fewer than three points or one that is not a finite number.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise FileError(f"'{path.name}' has more than {_MOST_BYTES // 1_000_000} MB, too much for an outline.", where=where)
        data = path.read_bytes()
    except OSError as error:
        raise FileError(f"'{path.name}' cannot be read ({error.strerror}).", where=where, help="Check the file.") from None
    kind = path.suffix.lower()
    if kind == ".csv":
        return [_csv_line(data, path.name, where, unit)]
    if kind != ".dxf":
        raise FileError(f"'{path.name}' is neither .dxf nor .csv.", where=where, help="Save the outline as DXF or as a CSV of points.")
    found = _dxf_lines(data, path.name, where, unit, layer, prefer)
    return sorted(found, key=lambda p: -float(np.linalg.norm(p - np.roll(p, 1, axis=0), axis=1).sum()))


def checked_ring(points: Floats, name: str, where: str) -> Floats:
    """A closed polyline without repeated points. Raises :class:`InputError` for numbers that are not finite, fewer than three different points, or too many."""
    bad = np.flatnonzero(~np.isfinite(points).all(axis=1))
    if len(bad):
        raise InputError(f"point {bad[0] + 1} of '{name}' is not a finite number.", where=where, help="Correct that point.")
    if len(points) > _MOST_POINTS:
        raise InputError(f"'{name}' has {len(points)} points; {_MOST_POINTS} are the most.", where=where, help="Save it with fewer.")
    size = float(np.abs(points).max(initial=0.0))
    step = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
    ring = points[step > 1e-9 * max(size, 1.0)]
    if len(ring) < 3:
        at = ", ".join(f"{v:g}" for v in points[0][:2]) if len(points) else "nowhere"
        raise InputError(
            f"'{name}' has {len(ring) or min(len(points), 1)} different points (the first at {at} mm); a closed line needs three at least.",
            where=where, help="Draw the whole line.",
        )  # fmt: skip
    return ring


def _factor(unit: str, name: str, where: str) -> float:
    if not unit:
        raise InputError(f"'{name}' states no unit.", where=where, help="State the unit of the file: mm, cm, m or inch.")
    return UNITS[unit]


def _csv_line(data: bytes, name: str, where: str, unit: str) -> Floats:
    try:
        rows = [r for r in csv.reader(io.StringIO(data.decode("utf-8-sig"))) if r and any(c.strip() for c in r)]
    except (UnicodeDecodeError, csv.Error):
        raise FileError(f"'{name}' is not a table of text.", where=where, help="Save points as x,y or x,y,z with a heading.") from None
    if not rows:
        raise InputError(f"'{name}' holds no points.", where=where)
    heading = "".join(rows[0]).lower()
    if re.search(r"[xyz]", heading):
        named = re.search(r"\[\s*(mm|cm|m|inch|in)\s*\]", heading)
        if named:
            unit = "inch" if named[1] == "in" else named[1]
        rows = rows[1:]
    points: list[list[float]] = []
    for i, row in enumerate(rows, start=1):
        try:
            point = [float(c) for c in row[:3] if c.strip()]
        except ValueError:
            raise InputError(f"point {i} of '{name}' is not a number: {', '.join(row)[:40]}.", where=where) from None
        if len(point) < 2 or (points and len(point) != len(points[0])):
            raise InputError(f"point {i} of '{name}' has {len(point)} numbers.", where=where, help="Give x,y or x,y,z for every point.")
        points.append(point)
    line = np.array(points, dtype=np.float64).reshape(len(points), -1) * _factor(unit, name, where)
    ring = checked_ring(line if line.size else np.zeros((0, 2)), name, where)
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    if step[-1] > _CLOSING * float(step[:-1].max()):
        raise InputError(_open(name, ring[-1], ring[0], float(step[-1])), where=where, help="Close the line.")
    return ring


def _open(name: str, end: Floats, begin: Floats, gap: float) -> str:
    return f"'{name}' is open: from ({end[0]:.3f}, {end[1]:.3f}) to ({begin[0]:.3f}, {begin[1]:.3f}) mm {gap:.3g} mm are missing."


def _dxf_lines(data: bytes, name: str, where: str, unit: str, layer: str, prefer: str) -> list[Floats]:
    import ezdxf
    from ezdxf import path as paths
    from ezdxf import recover

    try:
        doc, _ = recover.read(io.BytesIO(data))
        drawn = [e for e in doc.modelspace() if e.dxftype() in _CURVES]
        names = {str(e.dxf.layer) for e in drawn}
        only = layer or (prefer if prefer in names else "")
        if layer and layer not in names:
            raise InputError(
                f"'{name}' has no line on a layer '{layer}'.", where=where, help=f"It has lines on: {', '.join(sorted(names)) or 'none'}."
            )
        own = _DXF_UNITS.get(int(doc.header.get("$INSUNITS", 0)), "")
        scale = _factor(own or unit, name, where)
        pieces = [_piece(paths.make_path(e), scale) for e in drawn if not only or e.dxf.layer == only]
    except (
        ezdxf.DXFError,
        ValueError,
        TypeError,
        IndexError,
        KeyError,
        AttributeError,
        UnicodeError,
        OSError,
        ZeroDivisionError,
        OverflowError,
    ):
        raise FileError(f"'{name}' is not a DXF drawing that can be read.", where=where, help="Save it again as DXF R2000 or later.") from None  # fmt: skip
    pieces = [p for p in pieces if len(p) > 1]
    if not pieces:
        raise InputError(
            f"'{name}' holds no line, arc, circle, spline or polyline.", where=where, help="Draw the outline in its model space."
        )
    for p in pieces:
        if not np.isfinite(p).all():
            raise InputError(f"'{name}' has a line with a point that is not a finite number.", where=where)
    rings = [checked_ring(p, name, where) for p in _chained(pieces, name, where)]
    return [r[:, :2] if float(np.ptp(r[:, 2])) < _JOIN and abs(float(r[0, 2])) < _JOIN else r for r in rings]


_CURVES = {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE"}


def _piece(path: Any, scale: float) -> Floats:
    return np.array([(v.x, v.y, v.z) for v in path.flattening(_FLAT / scale)], dtype=np.float64).reshape(-1, 3) * scale


def _chained(pieces: list[Floats], name: str, where: str) -> list[Floats]:
    """Pieces joined end to end to closed lines."""
    left, rings = list(pieces), []
    while left:
        chain = left.pop(0)
        while math.dist(chain[0], chain[-1]) > _JOIN or len(chain) < 3:
            ends = [(math.dist(chain[-1], p[i]), k, i) for k, p in enumerate(left) for i in (0, -1)]
            gap, k, i = min(ends, default=(math.inf, 0, 0))
            if gap > _JOIN:
                missing = min(gap, math.dist(chain[0], chain[-1]))
                raise InputError(_open(name, chain[-1], chain[0], missing), where=where, help="Close the line; ends may be 0.01 mm apart.")
            piece = left.pop(k)
            chain = np.concatenate([chain, (piece if i == 0 else piece[::-1])[1:]])
        rings.append(chain[:-1])
    return rings

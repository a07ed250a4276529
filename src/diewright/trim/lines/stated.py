"""Lines that a person states: outlines from files and round holes, as curves on the drawn sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.geometry.outline_read import read_outlines
from diewright.job.schema import TrimLine
from diewright.job.stage import InputFile
from diewright.trim.lines.angle import DOWN
from diewright.trim.lines.mapping import spots
from diewright.trim.lines.project import axes, lay
from diewright.trim.lines.sheet import DrawnSheet

Floats = NDArray[np.float64]

HUGE = 20.0
"""A line that reaches farther than this many times the drawn sheet's size cannot be meant in this unit."""
OFF = 0.5
"""A line in space may lie this far off the sheet [mm] and is laid on it; more is told."""
_CHORD = 0.002  # mm: of the polyline of a round hole
_STEP = 1.0  # mm: longest step of a line in space as it is laid on the sheet


@dataclass(frozen=True, eq=False)
class Curve:
    """A stated line on the drawn sheet: ``points (k, 3)`` closed, the steel's ``direction`` (None: to be found), and the trouble met: where it runs ``off`` the sheet, is met ``double``, ``jumps`` through the air (places ``(j, 3)``),
    and how far it was off the sheet where it was given in space [mm]."""

    name: str
    stated: TrimLine
    points: Floats
    direction: Floats | None
    diameter: float | None = None
    off: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    double: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    jumps: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    off_mm: float = 0.0
    off_at: Floats | None = None


def stated_curves(
    stated: tuple[TrimLine, ...], files: Mapping[str, InputFile], sheet: DrawnSheet, rotation: Floats, shift: Floats
) -> list[Curve]:  # fmt: skip
    """All stated lines laid on the sheet. Raises :class:`InputError`, naming line and place, for one that is open, crosses itself, has too few points or a number that is none, or is far larger than the sheet."""
    out: list[Curve] = []
    for k, line in enumerate(stated):
        where = f"trim.line {k + 1}"
        given = _outlines(line, files.get(f"line_{k + 1}"), where)
        for outline in given:
            name = (
                f"line_{k + 1}" if len(given) == 1 else f"line_{k + 1}_{len([c for c in out if c.name.startswith(f'line_{k + 1}_')]) + 1}"
            )
            out.append(_curve(name, line, outline, sheet, rotation, shift, where))
    return out


def _outlines(line: TrimLine, file: InputFile | None, where: str) -> list[Floats]:
    if file is not None:
        return read_outlines(file.path, where, unit=line.unit, layer=line.layer)
    if line.diameter is None:
        raise InputError(
            "the line has neither a file nor a diameter.", where=where, help="State file, or x, y and diameter of a round hole."
        )
    r = 0.5 * line.diameter
    count = max(int(np.ceil(np.pi / np.arccos(1.0 - min(_CHORD / r, 0.5)))), 24)
    at = 2.0 * np.pi * np.arange(count) / count
    return [r * np.column_stack([np.cos(at), np.sin(at)])]


def _curve(name: str, line: TrimLine, outline: Floats, sheet: DrawnSheet, rotation: Floats, shift: Floats, where: str) -> Curve:
    round_ = None if line.file else line.diameter
    stated = None if isinstance(line.direction, str) else np.asarray(line.direction, dtype=np.float64)
    if stated is not None and line.coordinates == "part":
        stated = rotation @ stated
    frame = axes(DOWN if stated is None else stated)
    if outline.shape[1] == 3:
        points = outline @ rotation.T + shift if line.coordinates == "part" else outline
        _small_enough(points, sheet.mesh, where)
        _simple(points @ frame.T[:, :2], points, where)
        return _in_space(name, line, points, sheet, None if stated is None else frame[2])
    if line.coordinates == "part" and round_ is None:
        raise InputError(
            "a flat outline cannot be given in the part's coordinates.",
            where=where,
            help="Give it in space (x, y, z), or in press coordinates.",
        )
    straight = abs(frame[2, 2]) > 1.0 - 1e-9
    if not straight and line.z is None:
        raise InputError(
            "a flat outline that is cut by a cam needs the height z of its origin.",
            where=where,
            help="State x, y and z of the place on the sheet.",
        )
    origin = np.array([line.x, line.y, 0.0 if line.z is None else line.z])
    if line.coordinates == "part":
        if line.z is None:
            raise InputError("a hole in the part's coordinates needs x, y and z.", where=where, help="State z.")
        origin = rotation @ origin + shift
    at = origin @ frame.T
    moved = outline + at[:2]
    _small_enough(np.column_stack([moved, np.full(len(moved), at[2])]) @ frame, sheet.mesh, where)
    _simple(moved, np.column_stack([moved, np.full(len(moved), at[2])]) @ frame, where)
    laid = lay(sheet.mesh, moved, frame, height=None if line.z is None else float(at[2]))
    return Curve(name, line, laid.points, None if stated is None else frame[2], round_, laid.missed, laid.double, laid.jumps)


def _in_space(name: str, line: TrimLine, points: Floats, sheet: DrawnSheet, direction: Floats | None) -> Curve:
    """A line in space goes to the nearest places of the sheet, step by step."""
    ring = dense(points, _STEP)
    found = spots(sheet.mesh, ring)
    worst = int(np.argmax(found.off))
    beyond = found.rim & (found.off > OFF)
    return Curve(
        name, line, found.on(sheet.mesh), direction, off=ring[beyond], off_mm=float(found.off[worst]), off_at=ring[worst]
    )  # fmt: skip


def dense(ring: Floats, step: float) -> Floats:
    """A closed polyline with points added so that none are farther apart than ``step`` [mm]."""
    out = []
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        count = max(int(np.ceil(np.linalg.norm(b - a) / step)), 1)
        out.append(a + (b - a) * np.arange(count)[:, None] / count)
    return np.concatenate(out)


def _small_enough(points: Floats, mesh: TriMesh, where: str) -> None:
    size = float(np.ptp(mesh.points, axis=0).max())
    middle = mesh.points.mean(axis=0)
    far = np.linalg.norm(points - middle, axis=1)
    if far.max() > HUGE * size:
        x, y, z = points[int(np.argmax(far))]
        raise InputError(
            f"the line reaches to ({x:.4g}, {y:.4g}, {z:.4g}) mm; the whole drawn sheet is {size:.4g} mm across.", where=where,
            help="Check the unit and the origin of the line.",
        )  # fmt: skip


def _simple(plan: Floats, points: Floats, where: str) -> None:
    polygon = shapely.Polygon(plan)
    if polygon.is_valid and polygon.area > 0:
        return
    if polygon.is_valid:
        raise InputError("the line encloses no area.", where=where, help="Draw it as a closed line.")
    why = shapely.is_valid_reason(polygon)
    spot = why[why.find("[") + 1 : why.find("]")].split() if "[" in why else []
    at = np.array([float(v) for v in spot[:2]]) if len(spot) >= 2 else plan[0]
    x, y, z = points[int(np.argmin(np.linalg.norm(plan - at, axis=1)))]
    raise InputError(
        f"the line crosses or touches itself near ({x:.2f}, {y:.2f}, {z:.2f}) mm.", where=where, help="Draw it without the loop."
    )

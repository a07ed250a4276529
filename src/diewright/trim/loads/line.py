"""The cut lines as the stage ``trim`` hands them over, cut into elements that the steel meets one after the other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.nofit import signed_area
from diewright.job.stage import Result

Floats = NDArray[np.float64]
Shear = Literal["none", "roof", "slope", "scallop"]
PIECES = 120
"""An element is no longer than this part of its line, so that a centre of load is that of many short pieces."""
STEEPEST = 80.0
"""Lean [deg] beyond which the length along the travel is no longer led on: the steel would run along the sheet."""


@dataclass(frozen=True)
class Cut:
    """One cut line: ``points`` (k, 3) on the drawn sheet's middle surface [mm], ``lean`` (k,) between travel and normal [deg], ``thickness`` (k,) [mm].

    ``direction`` unit vector of the steel's travel, ``diameter`` of a round hole or None, ``filled`` how many thicknesses were not known and are nominal.
    """

    id: str
    kind: Literal["trim", "pierce"]
    operation: str
    direction: Floats
    closed: bool
    diameter: float | None
    points: Floats
    lean: Floats
    thickness: Floats
    filled: int = 0

    @property
    def frame(self) -> tuple[Floats, Floats]:
        """Two unit vectors across the travel; x and y of the press where the steel comes straight down."""
        d = self.direction
        start = np.array([1.0, 0.0, 0.0]) if abs(d[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
        e1 = start - (start @ d) * d
        e1 = e1 / np.linalg.norm(e1)
        e2 = np.cross(e1, d)
        return e1, e2

    @property
    def across(self) -> Floats:
        """The line as the steel sees it, (k, 2) [mm] across the travel."""
        e1, e2 = self.frame
        return np.column_stack([self.points @ e1, self.points @ e2])

    @property
    def along(self) -> Floats:
        """Thickness along the travel t/cos(lean) (k,) [mm]."""
        return self.thickness / np.cos(np.radians(np.minimum(folded(self.lean), STEEPEST)))


def folded(lean: Floats) -> Floats:
    """Lean between 0 and 90 degrees: which way the normal was taken does not matter to the cut."""
    a = np.abs(np.asarray(lean, dtype=np.float64)) % 180.0
    return np.minimum(a, 180.0 - a)


@dataclass(frozen=True)
class Elements:
    """Pieces of a cut line. ``begin``, ``end`` (m,): stroke at which the steel meets their two ends [mm] (first touch of the whole is 0); ``length`` across the travel,
    ``along`` thickness along it [mm]; ``middle`` (m, 3) [mm]; ``side`` (m, 3) unit vector across line and travel, out of a closed line."""

    begin: Floats
    end: Floats
    length: Floats
    along: Floats
    middle: Floats
    side: Floats

    @cached_property
    def kinds(self) -> tuple[Floats, NDArray[np.intp]]:
        """Rows (j, 3) of begin, end and along that differ beyond the tenth decimal, and which of them each element is: alike ones are computed once."""
        rows = np.round(np.column_stack([self.begin, self.end, self.along]), 10)
        kinds, which = np.unique(rows, axis=0, return_inverse=True)
        return np.asarray(kinds, dtype=np.float64), which.ravel()

    @property
    def last(self) -> float:
        """Stroke at which the steel is through everywhere [mm]."""
        return float((np.maximum(self.begin, self.end) + self.along).max())

    @property
    def area(self) -> float:
        """Area of the cut wall [mm2]: length across the travel times thickness along it."""
        return float((self.length * self.along).sum())


def read_cuts(trim: Result, nominal: float) -> list[Cut]:
    """The cuts of the stage ``trim``, a line with stretches of cams as its pieces; raises :class:`InputError` with one sentence for what cannot be cut."""
    out = []
    for entry in trim.values.get("cuts") or []:
        name = str(entry.get("id", ""))
        try:
            points, lean, thickness = (np.asarray(trim.arrays[f"{a}_{name}"], dtype=np.float64) for a in ("cut", "lean", "thickness"))
        except KeyError as missing:
            raise InputError(f"the cut '{name}' has no array {missing}.", where="trim", help="Work the stage 'trim' again.") from None
        whole = _cut(entry, name, points, lean, thickness, nominal)
        out += _stretches(whole, entry["cams"]) if entry.get("cams") else [whole]
    names = [c.id for c in out]
    if len(set(names)) < len(names):
        raise InputError("two cuts have the same name.", where="trim.cuts", help="Give each cut a name of its own.")
    return out


def _stretches(whole: Cut, cams: list[dict[str, Any]]) -> list[Cut]:
    """The open pieces of a line that no single direction cuts, a cam each: lean is the worst of the piece all along it, as more is not handed over (safe side)."""
    out = []
    for i, cam in enumerate(cams):
        first, last = int(cam["from"]), int(cam["to"])
        count = len(whole.points)
        at = np.arange(first, last + 1 if last > first else last + 1 + count) % count
        piece = {"kind": whole.kind, "operation": "cam", "direction": cam["direction"], "closed": False}
        lean = np.full(len(at), float(cam["lean_max_deg"]))
        out.append(
            replace(
                _cut(piece, f"{whole.id}_cam_{i + 1}", whole.points[at], lean, whole.thickness[at], 1.0),
                filled=whole.filled if i == 0 else 0,
            )
        )
    return out


def _cut(entry: dict[str, Any], name: str, points: Floats, lean: Floats, thickness: Floats, nominal: float) -> Cut:
    where = f"trim, cut '{name}'"
    kind = entry.get("kind")
    if kind not in ("trim", "pierce"):
        raise InputError(f"its kind is {kind!r}: expected trim or pierce.", where=where, help="Correct the trim.")
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < (3 if entry.get("closed", True) else 2):
        raise InputError("its line has too few points to be cut.", where=where, help="Correct the trim line.")
    if lean.shape != (len(points),) or thickness.shape != (len(points),):
        raise InputError("lean and thickness are not one a point of its line.", where=where, help="Work the stage 'trim' again.")
    if not (np.isfinite(points).all() and np.isfinite(lean).all()):
        raise InputError("its line holds values that are no numbers.", where=where, help="Correct the trim line.")
    d = np.asarray(entry.get("direction"), dtype=np.float64)
    if d.shape != (3,) or not np.isfinite(d).all() or np.linalg.norm(d) < 1e-9:
        raise InputError("the direction of its steel has no length.", where=where, help="State a direction of travel.")
    known = np.isfinite(thickness) & (thickness > 0)
    diameter = entry.get("diameter")
    return Cut(
        name, kind, str(entry.get("operation", "first trim")), d / np.linalg.norm(d), bool(entry.get("closed", True)), None if diameter is None else float(diameter),
        points, lean, np.where(known, thickness, nominal), int((~known).sum()),
    )  # fmt: skip


def elements(cut: Cut, *, follow: bool, shear: Shear = "none", depth: float = 0.0, pitch: float = 0.0) -> Elements:
    """The elements of a cut with first touch at stroke 0.

    ``follow``: the steel's edge follows the sheet and meets it all at once; otherwise the edge lies in a plane across the travel and a sloping rim is met bit by bit.
    Shear of ``depth`` [mm] is ground on top: ``slope`` rises evenly along the longest way across the line, ``roof`` from its middle to both ends, ``scallop`` up and
    down along the line every ``pitch`` [mm]. Raises :class:`InputError` for a line without length or a scallop without pitch.
    """
    if shear == "scallop" and depth > 0 and pitch <= 0:
        raise InputError("scallops need a pitch above 0 mm.", where="cutting.shear_pitch", help="State the distance from crest to crest.")
    values = np.column_stack([cut.across, cut.points, cut.along])
    if cut.closed:
        values = np.vstack([values, values[:1]])
    way = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(values[:, :2], axis=0), axis=1)))
    total = float(way[-1])
    if total <= 1e-6:
        raise InputError("its line has no length across the travel of the steel.", where=f"trim, cut '{cut.id}'", help="Turn the steel.")
    keep = np.append(True, np.diff(way) > 1e-9 * total)
    values, way = values[keep], way[keep]
    reach = _longest(values[:, :2])
    at = np.unique(np.concatenate([way, np.linspace(0.0, total, PIECES + 1), _kinks(reach, way, shear, pitch, cut.closed)]))
    at = at[np.append(True, np.diff(at) > 1e-9 * total)]
    v = np.column_stack([np.interp(at, way, values[:, i]) for i in range(6)])
    touch = _heights(np.interp(at, way, reach), at, shear, depth, pitch, cut.closed)
    if not follow:
        touch = touch + v[:, 2:5] @ cut.direction - 0.5 * v[:, 5]
    touch = touch - touch.min()
    step = np.diff(v[:, :2], axis=0)
    length = np.linalg.norm(step, axis=1)
    e1, e2 = cut.frame
    turn = -1.0 if cut.closed and signed_area(values[:, :2]) < 0 else 1.0
    side = turn * ((step[:, 1:2] / length[:, None]) * e1 - (step[:, :1] / length[:, None]) * e2)
    return Elements(touch[:-1], touch[1:], length, 0.5 * (v[:-1, 5] + v[1:, 5]), 0.5 * (v[:-1, 2:5] + v[1:, 2:5]), side)


def _longest(p: Floats) -> Floats:
    """Coordinate along the longer side of the smallest box round the points, 0 to its length (n,) [mm]."""
    box = shapely.get_coordinates(shapely.MultiPoint(p).minimum_rotated_rectangle)
    sides = np.diff(box, axis=0)
    longest = sides[np.linalg.norm(sides, axis=1).argmax()]
    axis = longest / np.linalg.norm(longest)
    u = p @ (axis if axis[np.abs(axis).argmax()] > 0 else -axis)
    return u - u.min()


def _waves(total: float, pitch: float, closed: bool) -> float:
    """Half waves along the line: a whole even number on a closed one, so that crests meet."""
    return 2.0 * max(1, round(total / pitch)) if closed else 2.0 * total / pitch


def _kinks(u: Floats, way: Floats, shear: Shear, pitch: float, closed: bool) -> Floats:
    """Places along the line [mm] where the ground edge has a kink."""
    if shear == "scallop":
        half = way[-1] / _waves(float(way[-1]), pitch, closed)
        return half * np.arange(1, int(way[-1] / half))
    if shear == "roof":
        off = u - 0.5 * u.max()
        i = np.flatnonzero(off[:-1] * off[1:] < 0)
        return way[i] + (way[i + 1] - way[i]) * off[i] / (off[i] - off[i + 1])
    return np.zeros(0)


def _heights(u: Floats, way: Floats, shear: Shear, depth: float, pitch: float, closed: bool) -> Floats:
    """How far the edge stands back from its foremost point (n,) [mm]."""
    if shear == "none" or depth <= 0:
        return np.zeros(len(way))
    if shear == "scallop":
        x = way / way[-1] * _waves(float(way[-1]), pitch, closed)
        return depth * np.abs((x + 1.0) % 2.0 - 1.0)
    share = u / u.max()
    return depth * (share if shear == "slope" else np.abs(2.0 * share - 1.0))

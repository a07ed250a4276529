"""Trim steels and post in segments: joints off the corners and the choppers, section, screws, dowels, mass, and a tool steel to begin with."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.ops import polygonize

from diewright.trim.scrap.along import Along, along, spread

Floats = NDArray[np.float64]
Polygon = Any
Side = Literal["upper", "lower"]

STEEL_DENSITY = 7850.0
"""Tool steel [kg/m3] (typical, from memory)."""
HEIGHTS = ((1.5, 60.0, 12.0), (3.0, 80.0, 12.0), (6.0, 100.0, 16.0), (math.inf, 120.0, 20.0))
"""Sheet thickness up to which, height of the section and screw [mm] (common practice)."""
SCREW_PITCH = 100.0
"""A screw every so many millimetres of a segment, two at least (common practice)."""
THRUST_SHARE = 0.2
"""Side thrust over cutting force, as in the stage 'cutting'."""
DOWEL_SHEAR = 80.0
"""Shear stress that a dowel of hardened steel in a soft seat is planned with [MPa] (ours)."""
ONE_PIECE = 150.0
"""A post or ring no wider than this is made of one piece [mm] (common practice)."""
STRAIGHT = 4.0
"""Joints go first where the line turns on more than so many corner radii (ours)."""
CLEAR = 2.0
"""Steel that stays between a joint and a die button [mm] (ours)."""
PHASES = 8


@dataclass(frozen=True)
class Section:
    """Section of the steels [mm] and their screw and dowel."""

    height: float
    width: float
    screw: float
    dowel: float


def section_of(thickness: float) -> Section:
    """Height by the sheet, and as wide as it is high, so that the side thrust does not tip it; dowels of the screw's size (common practice)."""
    height, screw = next((h, s) for t, h, s in HEIGHTS if thickness <= t)
    return Section(height, height, screw, screw)


@dataclass(frozen=True)
class Grade:
    """A tool steel by its number in EN ISO 4957, hardness and the reason."""

    number: str
    name: str
    hardness: str
    why: str


def grade_of(thickness: float, rm: float, family: str, quantity: int) -> Grade:
    """A tool steel to begin with, by sheet and quantity (common practice; grades of EN ISO 4957 from memory; the steel maker's sheet decides)."""
    if thickness > 6.0:
        return Grade("1.2767", "45NiCrMo16", "52 to 54 HRC", f"sheet of {thickness:g} mm chips harder edges: toughness first")
    if rm > 700.0:
        return Grade("1.2363", "X100CrMoV5", "58 to 60 HRC", f"Rm {rm:.0f} MPa loads the edge hard: tougher than 12 % chromium steels")
    if family == "stainless":
        return Grade("1.2379", "X153CrMoV12", "60 to 62 HRC", "stainless sheet galls and wears: much carbide, and a coating helps")
    if quantity > 20_000:
        return Grade("1.2379", "X153CrMoV12", "60 to 62 HRC", f"{quantity} parts a year: wear decides")
    return Grade(
        "1.2842",
        "90MnCrV8",
        "58 to 60 HRC",
        f"soft sheet and {quantity} parts a year: an oil-hardening steel that is cheap to make and grind serves",
    )


@dataclass(frozen=True, eq=False)
class Steel:
    """One segment: ``outline`` polygon across the travel (None: a bar on a cam, not drawn), ``edge`` length of its cutting edge [mm], ``force`` on it [N], ``screws``, ``dowels``, ``key``: the thrust wants a key or heel behind it; mass [kg]."""

    cut: str
    side: Side
    outline: Polygon
    edge: float
    force: float
    screws: int
    dowels: int
    key: bool
    mass: float

    @classmethod
    def bar(cls, cut: str, side: Side, edge: float, force: float, section: Section, mass: float, outline: Polygon = None) -> Steel:
        """A steel with its screws, dowels and key: two dowels bear the side thrust, or a key does."""
        seat = 2.0 * math.pi * section.dowel**2 / 4.0
        return cls(
            cut, side, outline, edge, force, max(2, math.ceil(edge / SCREW_PITCH)), 2, THRUST_SHARE * force / seat > DOWEL_SHEAR, mass
        )

    @property
    def thrust(self) -> float:
        """Side thrust [N]."""
        return THRUST_SHARE * self.force


@dataclass(frozen=True, eq=False)
class Joint:
    """A joint between two segments: place on the trim line (2,) across the travel, ``normal`` out of the line (2,), ``way`` [mm] along it, ``radius`` [mm] on which the line turns there, ``chopper`` distance to the nearest one along the line [mm]."""

    cut: str
    at: Floats
    normal: Floats
    way: float
    radius: float
    chopper: float


@dataclass(frozen=True, eq=False)
class Segmented:
    """Steels and joints of a trim line; ``long``: longest edge [mm]; ``cornered``: joints that had to go where corners or choppers are near."""

    cut: str
    steels: list[Steel]
    joints: list[Joint]
    long: float
    cornered: bool


def segment(
    cut: str, line: Floats, outer: Floats, section: Section, longest: float, radius: float, keep: float, choppers: list[Floats], buttons: Polygon, force: float, check: Callable[[], None],
) -> Segmented:  # fmt: skip
    """Divide upper steels (outside the ``outer (k, 2)`` outline) and post (inside the trim ``line (k, 2)``, anticlockwise) at the same joints.

    ``choppers``: places (2,) on the line that joints keep ``keep`` [mm] from, as from corners (turns on less than ``radius`` [mm]); ``buttons``: what the post's joints should not run through. Nearly straight stretches are taken before round ones, and both before places over a button. The fewest evenly spread joints that leave no edge longer than ``longest`` [mm]. ``force`` on the whole line [N].
    """
    inner, ring = shapely.Polygon(line), shapely.Polygon(outer)
    if not (inner.is_valid and ring.is_valid):
        return Segmented(cut, [], [], 0.0, False)  # the drawing tells where the line crosses itself
    places = along(line)
    mark = np.zeros(len(places.way), dtype=bool)
    for p in choppers:
        mark[int(np.argmin(np.linalg.norm(places.points - p, axis=1)))] = True
    inwards = shapely.linestrings(np.stack([places.points, places.points - section.width * places.normal], axis=1))
    clear = ~places.near(mark, keep) & (np.asarray(shapely.distance(inwards, buttons)) > CLEAR if not buttons.is_empty else True)
    straight, flat = (~places.corners(r, keep) for r in (STRAIGHT * radius, radius))
    ways: list[float] = []
    choices = [straight & clear, flat & clear, flat & ~places.near(mark, keep)]
    cornered = int(choices[-1].sum()) < 2
    if _widest(line) > ONE_PIECE or places.length > 3.2 * longest:
        for allowed in [np.ones(len(flat), dtype=bool)] if cornered else [c for c in choices if c.sum() >= 2]:
            ways = _ways(places, allowed, longest, check)
            if float(np.diff([*ways, ways[0] + places.length]).max()) <= longest:
                break
    chop_ways = places.way[mark]
    joints = []
    for w in ways:
        i = places.index(w)
        off = np.abs(np.remainder(chop_ways - w + 0.5 * places.length, places.length) - 0.5 * places.length)
        joints.append(
            Joint(cut, places.points[i], places.normal[i], w, float(places.radius[i]), float(off.min()) if len(off) else math.inf)
        )
    # a narrow post keeps a core, or joints from both sides would run past each other
    wide = 2.0 * float(shapely.maximum_inscribed_circle(inner).length)
    deep = min(section.width, 0.4 * wide)
    bodies: list[tuple[Side, Polygon, Any]] = [
        ("upper", ring.buffer(section.width, join_style="mitre", mitre_limit=2.0).difference(ring), shapely.LinearRing(outer)),
        ("lower", inner.difference(inner.buffer(-deep, join_style="mitre")), shapely.LinearRing(line)),
    ]
    steels = [s for side, body, edge in bodies for s in _steels(cut, side, body, edge, joints, section, force / places.length)]
    return Segmented(cut, steels, joints, max((s.edge for s in steels), default=0.0), cornered and bool(ways))


def _widest(line: Floats) -> float:
    return float(np.ptp(line, axis=0).max())


def _ways(places: Along, allowed: NDArray[np.bool_], longest: float, check: Callable[[], None]) -> list[float]:
    at, best = places.way[allowed], (math.inf, [0.0])
    least = max(2, math.ceil(places.length / longest))
    for count in range(least, 2 * least + 5):
        for k in range(PHASES):
            check()
            ways = spread(at, 0.0, places.length, count, k / PHASES, closed=True)
            long = float(np.diff([*ways, ways[0] + places.length]).max())
            if long < best[0]:
                best = (long, ways)
        if best[0] <= longest:
            break
    return best[1]


def _steels(cut: str, side: Side, body: Polygon, edge: Any, joints: list[Joint], section: Section, force_per_mm: float) -> list[Steel]:
    """The bodies between the joints' lines; a body without joints on it stays whole."""
    sign = 1.0 if side == "upper" else -1.0
    rings = [r for g in getattr(body, "geoms", [body]) for r in ([g.exterior] if side == "upper" else g.interiors)]
    back = shapely.MultiLineString(rings)
    near = []
    for j in joints:
        if back.is_empty:
            break  # a post without a core is one body
        # square to the line where that meets the back, else to the nearest place of it
        foot = np.asarray(shapely.shortest_line(back, shapely.Point(j.at + sign * section.width * j.normal)).coords)[0]
        way = (foot - j.at) / np.linalg.norm(foot - j.at)
        near.append(shapely.LineString([j.at - sign * j.normal, j.at, foot + 0.1 * way]))
    parts = getattr(body, "geoms", [body])
    faces = [body] if not near else list(polygonize(shapely.node(shapely.GeometryCollection([*(p.boundary for p in parts), *near]))))
    out = []
    for f in (g for face in faces for g in getattr(face, "geoms", [face])):
        if f.area < 1e-3 or (near and not body.contains(f.representative_point())):
            continue
        length = float(edge.intersection(f.buffer(0.01)).length)
        out.append(Steel.bar(cut, side, length, force_per_mm * length, section, float(f.area) * section.height * STEEL_DENSITY * 1e-9, f))
    return out

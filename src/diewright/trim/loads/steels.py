"""Sizes of punches, dies and trim steels with the clearance on the right member, the side the burr lies on, and what the cut edge looks like."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.need import between, not_negative, positive
from diewright.sheet.cutting import blanking_sizes, piercing_sizes
from diewright.trim.loads.line import Cut

Floats = NDArray[np.float64]
Side = Literal["upper", "lower"]

STEPS = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
UNITS = {5: 7.0, 6: 10.0, 7: 16.0, 8: 25.0, 9: 40.0, 10: 64.0}
"""ISO 286-1: tolerance over the unit i by grade (from memory)."""
SMALL = {5: 4.0, 6: 6.0, 7: 10.0, 8: 14.0, 9: 25.0, 10: 40.0, 11: 60.0, 12: 100.0, 13: 140.0, 14: 250.0}
"""ISO 286-1: tolerances up to 3 mm [um] (from memory)."""
WEAR_SHARE = ((10, 1.0), (13, 0.75), (14, 0.5))
"""Share of the hole's tolerance laid on the punch against its wear, by grade up to which it holds (die design handbooks, from memory)."""
LARGE_CLEARANCE = 0.30
"""Clearance a side over thickness beyond which the edge tears rather than shears (common practice)."""

EDGE_CLEARANCE = (0.015, 0.065, 0.09, 0.12, 0.21)
"""Clearance a side over thickness of the five edge types of the die handbooks, low-carbon steel (from memory)."""
ROLLOVER = ((0.02, 0.04, 0.06, 0.08, 0.10), (0.05, 0.07, 0.08, 0.10, 0.20))
"""Roll-over over thickness of the five types, least and most (from memory)."""
BURNISH = ((0.50, 0.35, 0.25, 0.15, 0.10), (0.70, 0.55, 0.40, 0.25, 0.20))
"""Burnish over thickness of the five types, least and most (from memory)."""
BURR = (0.04, 0.03, 0.02, 0.03, 0.10)
"""Height of the burr over thickness with sharp edges (ours, after the handbooks' words: large, medium, small, normal, large)."""
BURR_WORN = 4.0
"""How much a burr grows for each whole by which worn edges raise the force: at a wear factor of 1.25 it is twice as high (ours)."""


def it_grade(size: float, grade: int) -> float:
    """Tolerance of ISO 286-1 [mm] for a ``size`` up to 500 mm: ``a (0.45 D^(1/3) + 0.001 D)`` um, D the geometric mean of the size's step; rounded to 1 um (ISO's own rounding may differ by 1). From IT11 on ten times the value five grades finer."""
    d = between(size, 1e-6, 500.0, "the size", "mm")
    if grade not in SMALL:
        raise InputError(f"there is no tolerance grade IT{grade} here.", help="Known: IT5 to IT14.")
    if d <= 3.0:
        return SMALL[grade] / 1000.0
    if grade >= 11:
        return 10.0 * it_grade(d, grade - 5)
    k = next(i for i, s in enumerate(STEPS) if d <= s)
    mean = float(np.sqrt(STEPS[k - 1] * STEPS[k]))
    return round(UNITS[grade] * (0.45 * mean ** (1.0 / 3.0) + 0.001 * mean)) / 1000.0


def wear_share(size: float, tolerance: float) -> float:
    """Share x of the tolerance [mm] that the punch is made larger by, so that wear uses the tolerance up: 1 up to IT10, 0.75 up to IT13, 0.5 beyond."""
    for grade, share in WEAR_SHARE[:-1]:
        if tolerance <= it_grade(size, grade) * (1 + 1e-9):
            return share
    return WEAR_SHARE[-1][1]


@dataclass(frozen=True)
class Sizes:
    """Punch and die of a round hole or blank [mm] and their making tolerances: punch 0 to -``punch_tolerance``, die 0 to +``die_tolerance``."""

    punch: float
    die: float
    punch_tolerance: float
    die_tolerance: float

    @property
    def paired(self) -> bool:
        """Whether the tolerances eat up more than half of the clearance: then the second member is made to the first."""
        return self.punch_tolerance + self.die_tolerance > 0.5 * (self.die - self.punch)


def tool_sizes(size: float, clearance: float, wanted: Literal["hole", "piece"], tolerance: float = 0.0) -> Sizes:
    """Punch and die for a hole of ``size`` 0 to +``tolerance``, or a piece of ``size`` 0 to -``tolerance`` [mm], with ``clearance`` a side [mm].

    A hole takes its size from the punch, which wears smaller: it is made x T above the least hole. A piece takes it from the die, which wears larger: x T
    below the largest piece. The clearance goes on the other member. Punch to IT6, die to IT7 (common practice).
    """
    d, t = positive(size, "the size", "mm"), not_negative(tolerance, "the tolerance", "mm")
    shift = wear_share(d, t) * t if t > 0 else 0.0
    if wanted == "hole":
        die, punch = piercing_sizes(d + shift, clearance)
    else:
        die, punch = blanking_sizes(d - shift, clearance)
    if max(die, punch) > STEPS[-1]:
        return Sizes(punch, die, it_grade(STEPS[-1], 6), it_grade(STEPS[-1], 7))
    return Sizes(punch, die, it_grade(punch, 6), it_grade(die, 7))


@dataclass(frozen=True)
class Edge:
    """Shares of the thickness on the cut edge, (least, most): ``rollover``, ``burnish``, ``fracture``; ``burr`` its height [mm]."""

    rollover: tuple[float, float]
    burnish: tuple[float, float]
    fracture: tuple[float, float]
    burr: float


def edge_quality(clearance_share: float, thickness: float, wear: float) -> Edge:
    """The cut edge by clearance a side over thickness, between the handbook's five types; beyond them the outer ones hold."""
    c = not_negative(clearance_share, "the clearance over the thickness")
    roll, burnish = (tuple(float(np.interp(c, EDGE_CLEARANCE, row)) for row in rows) for rows in (ROLLOVER, BURNISH))
    burr = float(np.interp(c, EDGE_CLEARANCE, BURR)) * positive(thickness, "the thickness", "mm") * (1.0 + BURR_WORN * (wear - 1.0))
    return Edge(
        (roll[0], roll[1]), (burnish[0], burnish[1]), (max(0.0, 1.0 - roll[1] - burnish[1]), max(0.0, 1.0 - roll[0] - burnish[0])), burr
    )


def burr_side(cut: Cut, middle: Floats) -> Side:
    """The face of the part that the burr lies on: the one the steel leaves by, in piercing and in trimming alike.

    A piece carries its burr on the face that its own tool touches: the blank on the punch's, the strip on the die's. Round a hole the part lies on the die; along a trim the part lies on the post, and the
    steel pushes the scrap: both times the tool under the part is the one the steel travels towards. A steel that comes within 17 degrees of level is judged by whether it comes
    from outside the part (whose ``middle`` (3,) is given [mm]): the drawn part's outside is its lower face.
    """
    down = -float(cut.direction[2])
    if abs(down) >= 0.3:
        return "lower" if down > 0 else "upper"
    inward = float(cut.direction @ (middle - cut.points.mean(axis=0))) > 0
    return "upper" if inward else "lower"


def offset_line(cut: Cut, distance: float) -> Floats:
    """The cut line across the travel, led out by ``distance`` [mm] (inwards if negative), closed, first point not repeated; empty where nothing is left."""
    import shapely

    shape = shapely.Polygon(cut.across).buffer(distance, join_style="round", quad_segs=16)
    if shape.is_empty:
        return np.zeros((0, 2))
    largest = max(getattr(shape, "geoms", [shape]), key=lambda g: float(g.area))
    return np.asarray(largest.exterior.coords)[:-1]

"""Our values for ``reference/cutting.csv``."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.sheet import cutting as handbook
from diewright.trim.loads.law import ShearLaw
from diewright.trim.loads.line import Cut, Shear, elements
from diewright.trim.loads.load import Curve, Load, curve, strokes_of
from diewright.trim.loads.punches import buckling_force, round_section
from diewright.trim.loads.steels import it_grade, tool_sizes

Floats = NDArray[np.float64]
HALF = ShearLaw(0.5, rise=0.0, fall=0.0, friction=0.0)
"""The elementary sheet: full shear stress up to half the thickness, nothing after it."""


def _line(points: Floats, thickness: float, *, closed: bool = True, lean: float = 0.0) -> Cut:
    n = len(points)
    return Cut("a", "pierce", "first trim", np.array([0.0, 0.0, -1.0]), closed, None, points, np.full(n, lean), np.full(n, thickness))


def _circle(diameter: float, lean: float = 0.0) -> Floats:
    a = 2.0 * math.pi * np.arange(2000) / 2000
    x, y = 0.5 * diameter * np.cos(a), 0.5 * diameter * np.sin(a)
    return np.column_stack([x, y, x * math.tan(math.radians(lean))])


def _straight(length: float) -> Floats:
    return np.array([[0.0, 0.0, 0.0], [length, 0.0, 0.0]])


def _cut(line: Cut, stress: float, law: ShearLaw, *, follow: bool = True, shear: Shear = "none", depth: float = 0.0) -> tuple[Load, Curve]:
    load = Load(elements(line, follow=follow, shear=shear, depth=depth), law, stress)
    return load, curve([load], strokes_of([load], load.last))


def groover_disc() -> dict[str, float]:
    """Disc of 150 mm, half-hard steel."""
    clearance = handbook.cutting_clearance(3.2, handbook.CLEARANCE_ALLOWANCE["hard steel"])
    sizes = tool_sizes(150.0, clearance, "piece")
    _, force = _cut(_line(_circle(150.0), 3.2), 310.0, ShearLaw.of(0.38))
    return {"cutting force": force.peak, "clearance": clearance, "die size": sizes.die, "punch size": sizes.punch}


def brass_line() -> dict[str, float]:
    """Brass blank with stripping."""
    _, force = _cut(_line(_straight(126.0), 2.0, closed=False), 400.0, ShearLaw.of(handbook.PENETRATION["brass"]))
    return {"cutting force": force.peak / 1000.0, "with stripping": (force.peak + handbook.stripping_force(force.peak, 0.2)) / 1000.0}


def kalpakjian_hole() -> dict[str, float]:
    """Hole of 30 mm."""
    _, force = _cut(_line(_circle(30.0), 3.0), 700.0, ShearLaw.of(0.3))
    return {"cutting force": force.peak / 1e6}


def ghosh_mallik_work() -> dict[str, float]:
    """Work of a hole of 50 mm."""
    force = handbook.force_from_fracture(handbook.clearance_from_fracture(3.0, 1.75), 2100.0, math.pi * 50.0)
    return {"work": handbook.cutting_energy(force, 3.0, 0.2925, 0.5)}


def inclined_blade() -> dict[str, float]:
    """Blade at 3 degrees over a long line."""
    depth = 500.0 * math.tan(math.radians(3.0))
    _, force = _cut(_line(_straight(500.0), 2.0, closed=False), 300.0, HALF, shear="slope", depth=depth)
    return {"force": force.peak, "handbook function": handbook.force_inclined_blade(2.0, 300.0, 3.0)}


def sheared_line() -> dict[str, float]:
    """Shear of 3 mm on a line of brass: mean, peak, work."""
    _, force = _cut(_line(_straight(126.0), 2.0, closed=False), 400.0, HALF, shear="slope", depth=3.0)
    working = force.stroke <= 4.0 + 1e-9
    mean = float(np.trapezoid(force.force[working], force.stroke[working])) / float(force.stroke[working][-1])
    return {"mean force": mean, "peak force": force.peak, "work": force.work}


def sloping_hole() -> dict[str, float]:
    """Hole in a leaning sheet: all at once, and with a level punch."""
    line = _line(_circle(30.0, 30.0), 1.0, lean=30.0)
    _, at_once = _cut(line, 1000.0 / 3.0, HALF)
    level, _ = _cut(line, 1000.0 / 3.0, HALF, follow=False)
    return {"cutting force": at_once.peak, "stroke to be through": level.last}


def two_legs() -> dict[str, float]:
    """Centre of pressure of an open line."""
    corner = np.array([[60.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 40.0, 0.0]])
    _, force = _cut(_line(corner, 1.0, closed=False), 300.0, ShearLaw.of(0.5))
    return {"centre x": float(force.peak_centre[0]), "centre y": float(force.peak_centre[1])}


def iso_286() -> dict[str, float]:
    """Tolerance grades."""
    rows = ((8, 5), (11, 8), (7, 12), (6, 25), (7, 25), (9, 40), (7, 100), (7, 2))
    return {f"IT{grade} {size} mm": 1000.0 * it_grade(float(size), grade) for grade, size in rows}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "groover-disc": groover_disc,
    "brass-line": brass_line,
    "kalpakjian-hole": kalpakjian_hole,
    "ghosh-mallik-work": ghosh_mallik_work,
    "inclined-blade": inclined_blade,
    "sheared-line": sheared_line,
    "sloping-hole": sloping_hole,
    "two-legs": two_legs,
    "fixed-guided-punch": lambda: {"buckling force": buckling_force(round_section(4.0), 80.0, "guided")[0]},
    "free-punch": lambda: {"buckling force": buckling_force(round_section(3.0), 80.0, "free")[0]},
    "iso-286": iso_286,
}

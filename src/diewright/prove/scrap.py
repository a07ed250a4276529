"""Our values for ``reference/scrap.csv``: closed forms of plane geometry."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.trim.loads.line import Cut
from diewright.trim.scrap.choppers import ChopLimits, chop, longest
from diewright.trim.scrap.drawing import Shape, led_out, polyline
from diewright.trim.scrap.fall import free_directions
from diewright.trim.scrap.rings import Line, Ring, Sheet
from diewright.trim.scrap.segments import section_of, segment

Floats = NDArray[np.float64]
DOWN = np.array([0.0, 0.0, -1.0])


def _circle(radius: float, count: int = 2000) -> Floats:
    a = 2.0 * math.pi * np.arange(count) / count
    return radius * np.column_stack([np.cos(a), np.sin(a)])


def _sector(wrap: float) -> shapely.Polygon:
    a = np.radians(np.linspace(-0.5 * wrap, 0.5 * wrap, 1001))
    u = np.column_stack([np.cos(a), np.sin(a)])
    return shapely.Polygon(np.vstack([1020.0 * u, 1000.0 * u[::-1]]))


def sector_fall() -> dict[str, float]:
    """Sectors of a ring round a round post."""
    post = shapely.Polygon(_circle(1000.0))
    return {f"free directions at {w:g} deg": free_directions(_sector(w), post).total_deg for w in (120.0, 185.0)}


def slot_fall() -> dict[str, float]:
    """A bar that fills a slot."""
    slot = shapely.box(-50, -50, 50, 50).difference(shapely.box(-5, 0, 5, 51))
    return {"free directions": free_directions(shapely.box(-5, 0, 5, 50), slot).total_deg}


def annulus_pieces() -> dict[str, float]:
    """A flat ring 15 mm wide round a circle of 200 mm."""
    inner, outer = _circle(100.0), _circle(115.0)
    space, edge = (np.column_stack([p, np.zeros(len(p))]) for p in (inner, outer))
    n = len(inner)
    cut = Cut("edge", "trim", "first trim", DOWN, True, None, space, np.zeros(n), np.ones(n))
    line = Line(cut, inner, space, np.tile(DOWN, (n, 1)), False)
    region = shapely.Polygon(outer, [inner])
    ring = Ring(line, region, True, outer, edge, Sheet(np.zeros((0, 3, 3)), np.zeros((0, 3)), np.zeros(0)))
    found = chop(ring, ChopLimits(170.0, 150.0, 25.0, 10.0, 30.0), shapely.Polygon(inner), lambda: None)
    sizes = [longest(p) for p in found.pieces]
    return {
        "area": sum(float(p.area) for p in found.pieces), "pieces": float(len(found.pieces)), "length": float(np.mean([s[0] for s in sizes])), "width": float(np.mean([s[1] for s in sizes])),
    }  # fmt: skip


def square_post() -> dict[str, float]:
    """A square post of 200 mm in segments."""
    square = np.array([[-100.0, -100.0], [100.0, -100.0], [100.0, 100.0], [-100.0, 100.0]])
    found = segment("edge", square, square, section_of(1.0), 280.0, 25.0, 10.0, [], shapely.Polygon(), 1000.0, lambda: None)
    return {"mass of the post": sum(s.mass for s in found.steels if s.side == "lower")}


def led_out_square() -> dict[str, float]:
    """A square led out by 1.5 mm."""
    square = Shape("post", np.array([[0.0, 0.0], [50.0, 0.0], [50.0, 50.0], [0.0, 50.0]]), np.zeros(4))
    out = led_out(square, 1.5, "trim steel")
    return {"area": float(shapely.Polygon(polyline(out.points, out.bulge)).area)}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "sector-fall": sector_fall,
    "slot-fall": slot_fall,
    "annulus-pieces": annulus_pieces,
    "square-post": square_post,
    "led-out-square": led_out_square,
}

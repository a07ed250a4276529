"""Our values for ``reference/dip.csv``."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from diewright.finish.dip import rules
from diewright.geometry.flood_measure import pressed
from diewright.geometry.flood_pockets import attitude
from diewright.geometry.flood_space import Opening, Space
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
UP = np.array([0.0, 0.0, 1.0])
HALF = math.degrees(math.atan(0.4))


def cup(radius: float, height: float, count: int) -> TriMesh:
    """A cup, mouth up, of ``count`` facets round."""
    rings = max(2, count // 12)
    angle = 2.0 * np.pi * np.arange(count) / count
    circle = np.stack([np.cos(angle), np.sin(angle), np.zeros(count)], axis=1)
    rows = [radius * k / rings * circle for k in range(1, rings + 1)] + [
        radius * circle + height * k / rings * UP for k in range(1, rings + 1)
    ]
    first = np.arange(count) + 1
    triangles = [np.stack([np.zeros(count, dtype=np.int64), first, np.roll(first, -1)], axis=1)]
    for low, high in pairwise(1 + np.arange(count) + count * k for k in range(len(rows))):
        triangles += [
            np.stack([low, high, np.roll(high, -1)], axis=1),
            np.stack([low, np.roll(high, -1), np.roll(low, -1)], axis=1),
        ]
    return TriMesh(np.concatenate([np.zeros((1, 3)), *rows]), np.concatenate(triangles).astype(np.int32))


def leaning(degrees: float) -> Floats:
    """Up for a part that leans towards x."""
    a = math.radians(degrees)
    return np.array([math.sin(a), 0.0, math.cos(a)])


def tilted_cup() -> dict[str, float]:
    """The cup of 50 x 40 mm with 96 facets; the error at 20 degrees over 24, 48 and 96."""
    exact = math.pi * 50.0**2 * (40.0 - 50.0 * math.tan(math.radians(20.0)))
    error = [abs(attitude(Space.round_sheet(cup(50.0, 40.0, n)), leaning(20.0)).pool_total - exact) for n in (24, 96)]
    space = Space.round_sheet(cup(50.0, 40.0, 96))
    return {
        "pool at 0 deg": attitude(space, UP).pool_total,
        "pool at 20 deg": attitude(space, leaning(20.0)).pool_total,
        "pool at tan = H/2R": attitude(space, leaning(HALF)).pool_total,
        "air at 20 deg mouth down": attitude(space, -leaning(20.0)).air_total,
        "order of convergence": math.log(error[0] / error[1], 4.0),
    }


def tilted_box() -> dict[str, float]:
    """An open box of 60 x 80 x 40 mm, leaning over its width."""
    corner = np.array([[x, y, z] for z in (0.0, 40.0) for x, y in ((0, 0), (60, 0), (60, 80), (0, 80))], dtype=np.float64)
    walls = [(0, 1, 2), (0, 2, 3)]
    for i in range(4):
        j = (i + 1) % 4
        walls += [(i, j + 4, j), (i, i + 4, j + 4)]
    space = Space.round_sheet(TriMesh(corner, np.array(walls, dtype=np.int32)))
    return {f"pool at {d:g} deg": attitude(space, leaning(d)).pool_total for d in (20.0, 60.0)}


def nested_cups() -> dict[str, float]:
    """A cup of 20 x 30 mm upside down in one of 50 x 60 mm, as shares of the volumes of their polygons."""
    big, small = cup(50.0, 60.0, 48), cup(20.0, 30.0, 48)
    over = small.points * np.array([-1.0, 1.0, -1.0]) + 45.0 * UP
    both = TriMesh(np.concatenate([big.points, over]), np.concatenate([big.triangles, small.triangles + len(big.points)]))
    at = attitude(Space.round_sheet(both), UP)
    section = 24.0 * math.sin(2.0 * math.pi / 48.0)
    outer, inner = section * 50.0**2 * 60.0, section * 20.0**2 * 30.0
    return {"air under the inner cup": at.air_total / inner, "pool": at.pool_total / (outer - inner)}


def bowl_with_hole() -> dict[str, float]:
    """A straight cup with a hole at its lowest point, and half way up."""
    space = Space.round_sheet(cup(50.0, 40.0, 48))
    half = attitude(space.opened([Opening(np.array([50.0, 0.0, 20.0]), 0.2)]), UP).pool_total
    return {
        "hole at the bottom": attitude(space.opened([Opening(np.zeros(3), 8.0)]), UP).pool_total,
        "hole half way up": half / attitude(space, UP).pool_total,
    }


def ugly_pot() -> dict[str, float]:
    """A bulged pot with overhanging wall, dented floor and wavy rim, leaning 14 degrees; the solid with a lid is cut by a library's own plane."""
    import pyvista

    mesh = cup(50.0, 40.0, 72)
    x, y, z = mesh.points.T
    turn = np.arctan2(y, x)
    bulge = 1.0 + 0.25 * np.sin(np.pi * z / 40.0) + 0.06 * np.cos(3.0 * turn) * z / 40.0
    points = np.stack([x * bulge, y * bulge, z * (1.0 + 0.12 * np.cos(2.0 * turn)) + 5.0 * np.exp(-(x**2 + y**2) / 300.0)], axis=1)
    sheet = TriMesh(points, mesh.triangles)
    up = leaning(14.0)
    rim = sheet.boundary_loops[0]
    lid = np.stack([np.roll(rim, -1), rim, np.full(len(rim), len(points))], axis=1)
    closed = np.concatenate([sheet.triangles, lid])
    solid = pyvista.PolyData.from_regular_faces(np.concatenate([points, points[rim].mean(axis=0)[None]]), closed)
    spill = float((points[rim] @ up).min())
    below = solid.compute_normals(auto_orient_normals=True).clip_closed_surface(normal=-up, origin=spill * up)
    return {"pool over clipped solid": attitude(Space.round_sheet(sheet), up).pool_total / float(below.volume)}


def bubble_pressure() -> dict[str, float]:
    """A bubble so shallow that its own rise does not count."""
    line = np.linspace(0.0, 1e-6, 9)
    return {f"share at {z:g} m": pressed(line, line, 1000.0 * z, rules.ATMOSPHERE, 12258.0)[0] for z in (0.25, 0.5, 1.0, 2.0)}


def emptying() -> dict[str, float]:
    """A straight vessel of 2500 mm2 and 100 mm through a hole of 5 mm."""
    y = np.linspace(0.0, 100.0, 33)
    return {"time": rules.emptying_time(y, 2500.0 * y, 5.0)}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "tilted-cup": tilted_cup,
    "tilted-box": tilted_box,
    "nested-cups": nested_cups,
    "bowl-with-hole": bowl_with_hole,
    "ugly-pot": ugly_pot,
    "bubble-pressure": bubble_pressure,
    "emptying": emptying,
    "kushner": lambda: {f"W at {u:g} mm/s": rules.kushner(1e6, u, 1.5, 1250.0) for u in (50.0, 100.0, 200.0)},
    "konishi": lambda: {
        "bead a metre of edge": rules.edge_bead(1000.0, 70.0, 1250.0),
        "film": rules.film(1e6),
        "least of both ways": rules.konishi(1e6, 1000.0, 100.0, 1.5, 1250.0, 70.0),
    },
    "draining-film": lambda: {f"at {t:g} s": 1000.0 * rules.draining_film(300.0, t, 1.5, 1250.0) for t in (10.0, 20.0, 30.0)},
    "area-figures": lambda: {name: band[0] * rules.GALLONS_PER_1000_FT2 for name, band in rules.AREA_FIGURES.items()},
    "vent-table": lambda: {f"hole for a round of {w:g} mm": rules.vent_by_table(w) or math.nan for w in (40.0, 100.0)},
}

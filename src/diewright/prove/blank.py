"""Our values for ``reference/blank.csv``."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.blank import formulas
from diewright.blank.flange import handbook_hold
from diewright.blank.nesting import Layout, Webs, nest
from diewright.blank.stage import SOLUTION, STAGE
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.watch import Watch

Floats = NDArray[np.float64]


def sharp_cup() -> dict[str, float]:
    """Closed form of the sharp-edged cup."""
    return {"blank diameter": formulas.sharp_cup(50.0, 60.0)}


def radius_cup() -> dict[str, float]:
    """The factors of ``d r`` and ``r^2`` as our formula has them: two radii give two equations."""
    d, h = 50.0, 60.0
    lost = [d**2 + 4 * d * h - formulas.cup(d, h, r) ** 2 for r in (5.0, 10.0)]
    of_dr, of_r2 = np.linalg.solve(np.array([[d * 5.0, 25.0], [d * 10.0, 100.0]]), np.array(lost))
    return {
        "factor of d r": float(of_dr), "factor of r^2": float(of_r2), "exact factor of d r": float(of_dr), "exact factor of r^2": float(of_r2),
    }  # fmt: skip


def flanged_cup() -> dict[str, float]:
    """Closed form of the cup with a flange."""
    return {"blank diameter": formulas.flanged_cup(50.0, 30.0, 80.0)}


def hemisphere() -> dict[str, float]:
    """Closed form of the half ball."""
    return {"blank diameter over diameter": formulas.hemisphere(80.0) / 80.0}


def blankholder_pressure() -> dict[str, float]:
    """The printed example of the handbook pressure, through equal areas."""
    return {"pressure": handbook_hold(np.pi / 4 * 200.0**2, np.pi / 4 * 100.0**2, 1.0, 310.0).pressure}


# The flanged cup, mid-surface [mm]: wall radius, height, bottom radius, die radius, flange radius; and its sheet.
WALL, HEIGHT, BOTTOM_RADIUS, DIE_RADIUS, RIM = 30.0, 30.0, 8.0, 6.0, 45.0


def flanged_cup_mesh(around: int = 72, step: float = 2.5) -> TriMesh:
    """The cup as a structured mesh in press coordinates, its flange at z = 0."""
    r0, r1 = WALL - BOTTOM_RADIUS, WALL + DIE_RADIUS

    def row(length: float) -> Floats:
        return np.linspace(0.0, 1.0, max(int(length / step), 3) + 1)[1:]

    rings = [(r0 * u, -HEIGHT) for u in row(r0)]
    a = 0.5 * np.pi * row(BOTTOM_RADIUS * np.pi / 2)
    rings += list(zip(r0 + BOTTOM_RADIUS * np.sin(a), -HEIGHT + BOTTOM_RADIUS * (1 - np.cos(a)), strict=True))
    rise = HEIGHT - BOTTOM_RADIUS - DIE_RADIUS
    rings += [(WALL, -HEIGHT + BOTTOM_RADIUS + rise * u) for u in row(rise)]
    a = 0.5 * np.pi * row(DIE_RADIUS * np.pi / 2)
    rings += list(zip(r1 - DIE_RADIUS * np.cos(a), -DIE_RADIUS + DIE_RADIUS * np.sin(a), strict=True))
    rings += [(r1 + (RIM - r1) * u, 0.0) for u in row(RIM - r1)]
    points, triangles = [[0.0, 0.0, -HEIGHT]], []
    for k, (r, z) in enumerate(rings):
        # Half a step from ring to ring: triangles come out alike.
        phase = (np.arange(around) + 0.5 * (k % 2)) * 2 * np.pi / around
        points += [[r * np.cos(a), r * np.sin(a), z] for a in phase]
    triangles += [[0, 1 + i, 1 + (i + 1) % around] for i in range(around)]
    for k in range(len(rings) - 1):
        low, high = 1 + k * around, 1 + (k + 1) * around
        for i in range(around):
            j = (i + 1) % around
            if k % 2 == 0:
                triangles += [[low + i, high + i, low + j], [low + j, high + i, high + j]]
            else:
                triangles += [[low + i, high + i, high + j], [low + i, high + j, low + j]]
    return TriMesh(np.array(points), np.array(triangles))


def cup_stage() -> dict[str, float]:
    """The cup through the whole stage: the flange found and the handbook pressure on it."""
    strain = np.linspace(0.0, 2.0, 400)
    minor = np.linspace(-0.6, 0.6, 241)
    sheet = Result(
        values={
            "E": 2.1e5,
            "nu": 0.3,
            "density": 7850.0,
            "Rm": 300.0,
            "family": "steel",
            "anisotropy": {"F": 0.5, "G": 0.5, "H": 0.5, "N": 1.5},
        },
        tables={
            "hardening": {"strain": strain, "stress": 520.0 * (0.006 + strain) ** 0.21},
            "limit": {"minor": minor, "major": 0.35 + np.where(minor < 0, -minor, 0.5 * minor)},
        },
    )
    shape = Result(values={"parts": 1}, meshes={"part": FieldMesh(flanged_cup_mesh())})
    job = parse({"format": 1, "sheet": {"thickness": 1.0}})
    upstream = {"shape": shape, "sheet": sheet}
    upstream["solution"] = SOLUTION.work(SOLUTION.inputs(job), upstream, {}, Watch())
    found = STAGE.work(STAGE.inputs(job), upstream, {}, Watch())
    return {
        "blank diameter": 2.0 * float(np.sqrt(found.values["net_area"] / np.pi)),
        "flange area": found.values["flange_area"],
        "blankholder pressure": found.values["blankholder_pressure"],
    }


def _circle(diameter: float, n: int) -> Floats:
    a = np.linspace(0.0, 2 * np.pi, n, endpoint=False)
    return 0.5 * diameter * np.column_stack([np.cos(a), np.sin(a)])


def _by_name(outline: Floats, web: float, area: float | None = None) -> dict[str, Layout]:
    # One angle is enough for a circle and for a triangle on its side.
    found = nest(outline, Webs(web, web, 1.0, "stated"), area=area, angles=(0.0, 0.0))
    return {f.layout: f for f in found}


def nested_circles() -> dict[str, float]:
    """Circles in one row and in two, with a web of 2 mm and with none."""
    circle = _circle(100.0, 720)
    webbed, bare = _by_name(circle, 2.0), _by_name(circle, 0.0, area=float(np.pi / 4 * 100.0**2))
    return {
        "pitch of one row": webbed["one-up"].pitch,
        "distance of two rows": webbed["two-up"].strip_width - webbed["one-up"].strip_width,
        "utilisation of one row without webs": 100.0 * bare["one-up"].utilisation,
        "utilisation of two rows without webs": 100.0 * bare["two-up"].utilisation,
    }


def nested_triangles() -> dict[str, float]:
    """Equilateral triangles in one row and head to tail."""
    found = _by_name(np.array([[0.0, 0.0], [100.0, 0.0], [50.0, 50.0 * np.sqrt(3.0)]]), 0.0)
    return {
        "utilisation head to tail without webs": 100.0 * found["head-to-tail"].utilisation,
        "utilisation of one row without webs": 100.0 * found["one-up"].utilisation,
    }


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "sharp-cup": sharp_cup,
    "radius-cup": radius_cup,
    "flanged-cup": flanged_cup,
    "hemisphere": hemisphere,
    "blankholder-pressure": blankholder_pressure,
    "cup-stage": cup_stage,
    "nested-circles": nested_circles,
    "nested-triangles": nested_triangles,
}

"""A flat sheet closed between the faces of a developable blankholder surface: it bends and does not stretch. A dome of the same radius is closed as a counter-check."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.die.holder import Holder
from diewright.die.holder_fit import KNOTS
from diewright.die.holder_shape import Cylinder
from diewright.geometry.plane_mesh import mesh_region
from diewright.mechanics.forming.draw import DrawPlan, set_draw, tools_of
from diewright.mechanics.forming.operations import Move, Operation
from diewright.mechanics.forming.run import Run
from diewright.mechanics.shell.material import hill_from_r, plastic

Floats = NDArray[np.float64]

RADIUS, WIDTH, LENGTH, THICKNESS, EDGE = 500.0, 240.0, 160.0, 1.0, 6.0
"""Radius of the surface, size of the sheet, its thickness and the edges of its triangles [mm]."""
FORCE = 20e3
"""Blankholder force [N]."""
STEEL = {"K": 550.0, "e0": 0.005, "n": 0.21}


def _drop(u: Floats) -> Floats:
    return RADIUS - np.sqrt(RADIUS**2 - u**2)


def _face(holder: Holder, side: float, dome: bool) -> tuple[Floats, NDArray[np.int64]]:
    """Points and triangles half a thickness above (``side`` 1, normals down) or below (-1, normals up) the surface."""
    x, y = np.linspace(-0.6 * WIDTH, 0.6 * WIDTH, 121), np.linspace(-0.6 * LENGTH, 0.6 * LENGTH, 81)
    xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    z = holder.height(xy) + (_drop(xy[:, 1]) if dome else 0.0)
    slope = holder.gradient(xy) + (np.column_stack([np.zeros(len(xy)), xy[:, 1] / np.sqrt(RADIUS**2 - xy[:, 1] ** 2)]) if dome else 0.0)
    normal = np.column_stack([-slope, np.ones(len(xy))])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    i = np.arange(len(xy)).reshape(len(x), len(y))
    a, b, c, d = (k.ravel() for k in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    cells = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return np.column_stack([xy, z]) + side * 0.5 * THICKNESS * normal, cells if side < 0 else cells[:, ::-1]


def _close(dome: bool) -> tuple[float, float]:
    """Largest principal strain of the middle surface, and the median curvature [1/mm] across, of a quarter sheet closed and pressed."""
    knots = np.linspace(-0.65 * WIDTH, 0.65 * WIDTH, KNOTS)
    holder = Holder(0.0, Cylinder((1.0, 0.0), tuple(knots), tuple(_drop(knots))))
    top = float(holder.height(np.array([[0.5 * WIDTH, 0.0]]))[0]) + (float(_drop(np.array(0.5 * LENGTH))) if dome else 0.0)
    half = 0.5 * np.array([WIDTH, LENGTH])
    mesh = mesh_region(np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half, size=EDGE, quarter=True)
    plan = DrawPlan(10.0, FORCE / 4, friction={"die": 0.1, "blankholder": 0.1})
    tools = tools_of({"die": _face(holder, -1.0, dome), "blankholder": _face(holder, 1.0, dome)}, THICKNESS, plan, flow_stress=400.0)
    steel = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.6, 1.6, 1.6), STEEL)
    flat = np.column_stack([mesh.points, np.full(len(mesh.points), top)])
    model = set_draw(
        flat, mesh.triangles, THICKNESS, steel, tools, plan, symmetry="xy", start_travel={"blankholder": -(top + 0.02 * THICKNESS)}
    )
    die, press = Move("die", "rest"), Move("blankholder", "force", to=FORCE / 4, stop=0.1 * THICKNESS)
    operations = (
        Operation("close", (die, Move("blankholder", "stroke", to=-0.02 * THICKNESS)), 0.02, frames=2),
        Operation("hold", (die, press), 2e-3, frames=1),
        Operation("settle", (die, press), 3e-3, damping=2000.0, frames=1),
    )
    last = Run(model, operations).work().frames[-1]
    e = last.membrane
    middle, radius = 0.5 * (e[:, 0] + e[:, 1]), np.hypot(0.5 * (e[:, 0] - e[:, 1]), 0.5 * e[:, 2])
    return float(np.maximum(np.abs(middle + radius), np.abs(middle - radius)).max()), float(np.median(np.abs(last.curvature[:, 0])))


def closing() -> dict[str, float]:
    """A cylinder, and a dome that no flat sheet can lie on."""
    strain, bend = _close(dome=False)
    return {"largest strain of the middle": strain, "curvature": bend, "a dome stretches by more": float(_close(dome=True)[0] > 1e-3)}

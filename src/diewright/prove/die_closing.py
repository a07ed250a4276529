"""A flat sheet closed between the faces of a developable blankholder surface: it bends and does not stretch. A dome of the same radius is closed as a counter-check."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.die.holder import Holder
from diewright.die.holder_cone import Cone
from diewright.die.holder_envelope import Envelope
from diewright.die.holder_fit import KNOTS
from diewright.die.holder_shape import Cylinder
from diewright.geometry.plane_mesh import mesh_region
from diewright.mechanics.forming.draw import DrawPlan, set_draw, tools_of
from diewright.mechanics.forming.operations import Move, Operation
from diewright.mechanics.forming.run import Run
from diewright.mechanics.shell.material import hill_from_r, plastic

Floats = NDArray[np.float64]

RADIUS, WIDTH, LENGTH, THICKNESS, EDGE = 500.0, 240.0, 160.0, 1.0, 6.0
"""Radius of the cylinder and the dome, size of their sheet, its thickness and the edges of its triangles [mm]."""
FORCE = 5e3
"""Blankholder force on what is computed of the sheet, 9600 mm2 of it each time [N]."""
STEEL = {"K": 550.0, "e0": 0.005, "n": 0.21}
ENDS = 30.0
"""The curvature on cone and tangents is judged this far from the edges that lie along the straight lines: no moment acts on them, so the sheet unbends there [mm]."""
APEX, OPEN = 300.0, 0.3
"""The cone ``z = c y^2 / (x + a)``: distance ``a`` [mm] of its apex from the middle of the sheet, and ``c``; it bends with a radius of 367 to 633 mm."""


@dataclass(frozen=True, eq=False)
class Closing:
    """What is closed: a blankholder surface, with a dome on it or not, and the sheet's ``width`` and ``length`` [mm], cut at the planes of ``symmetry``."""

    holder: Holder
    width: float
    length: float
    symmetry: str
    dome: bool = False

    def height(self, xy: Floats) -> Floats:
        """Height of the middle of the sheet when closed [mm]."""
        return self.holder.height(xy) + (_drop(xy[:, 1]) if self.dome else 0.0)

    def face(self, side: float) -> tuple[Floats, NDArray[np.int64]]:
        """Points and triangles half a thickness above (``side`` 1, normals down) or below (-1, normals up) the surface."""
        x, y = np.linspace(-0.6 * self.width, 0.6 * self.width, 121), np.linspace(-0.6 * self.length, 0.6 * self.length, 81)
        xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
        slope = self.holder.gradient(xy)
        if self.dome:
            slope = slope + np.column_stack([np.zeros(len(xy)), xy[:, 1] / np.sqrt(RADIUS**2 - xy[:, 1] ** 2)])
        normal = np.column_stack([-slope, np.ones(len(xy))])
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        i = np.arange(len(xy)).reshape(len(x), len(y))
        a, b, c, d = (k.ravel() for k in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
        cells = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
        points = np.column_stack([xy, self.height(xy)]) + side * 0.5 * THICKNESS * normal
        return points, cells if side < 0 else cells[:, ::-1]

    def strain(self) -> tuple[float, Floats, Floats]:
        """Largest principal strain of the middle surface, and the largest curvature ``(m,)`` [1/mm] of the triangles and their middles in plan ``(m, 2)``, of the sheet closed and pressed."""
        low = [0.0 if axis in self.symmetry else -0.5 for axis in "xy"]
        size = np.array([self.width, self.length])
        corners = np.array([[low[0], low[1]], [0.5, low[1]], [0.5, 0.5], [low[0], 0.5]]) * size
        mesh = mesh_region(corners, size=EDGE)
        z = self.height(mesh.points)
        top, stroke = float(z.max()), float(np.ptp(z)) + 0.02 * THICKNESS
        plan = DrawPlan(10.0, FORCE, friction={"die": 0.1, "blankholder": 0.1})
        tools = tools_of({"die": self.face(-1.0), "blankholder": self.face(1.0)}, THICKNESS, plan, flow_stress=400.0)
        steel = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.6, 1.6, 1.6), STEEL)
        flat = np.column_stack([mesh.points, np.full(len(mesh.points), top)])
        model = set_draw(flat, mesh.triangles, THICKNESS, steel, tools, plan, symmetry=self.symmetry, start_travel={"blankholder": -stroke})
        die, press = Move("die", "rest"), Move("blankholder", "force", to=FORCE, stop=0.1 * THICKNESS)
        operations = (
            Operation("close", (die, Move("blankholder", "stroke", to=-0.02 * THICKNESS)), 0.02, frames=2),
            Operation("hold", (die, press), 2e-3, frames=1),
            Operation("settle", (die, press), 3e-3, damping=2000.0, frames=1),
        )
        last = Run(model, operations).work().frames[-1]
        largest = [_largest(e) for e in (last.membrane, last.curvature * [1.0, 1.0, 2.0])]
        return float(largest[0].max()), largest[1], mesh.points[mesh.triangles].mean(axis=1)


def _drop(u: Floats) -> Floats:
    return RADIUS - np.sqrt(RADIUS**2 - u**2)


def _largest(e: Floats) -> Floats:
    """Largest principal value ``(m,)`` by its size, of strains ``(m, 3)`` with the third twice the shear."""
    return np.asarray(0.5 * np.abs(e[:, 0] + e[:, 1]) + np.hypot(0.5 * (e[:, 0] - e[:, 1]), 0.5 * e[:, 2]))


def closing() -> dict[str, float]:
    """A cylinder, and a dome that no flat sheet can lie on."""
    knots = np.linspace(-0.65 * WIDTH, 0.65 * WIDTH, KNOTS)
    holder = Holder(0.0, Cylinder((1.0, 0.0), tuple(knots), tuple(_drop(knots))))
    strain, bend, _ = Closing(holder, WIDTH, LENGTH, "xy").strain()
    dome = Closing(holder, WIDTH, LENGTH, "xy", dome=True).strain()[0]
    return {"largest strain of the middle": strain, "curvature": float(np.median(bend)), "a dome stretches by more": float(dome > 1e-3)}


def closing_cone() -> dict[str, float]:
    """A cone whose bend tightens towards its apex."""
    w = np.linspace(-0.6, 0.6, 41)
    holder = Holder(0.0, Cone((-APEX, 0.0), (1.0, 0.0), tuple(w), tuple(OPEN * w * w)))
    strain, bend, at = Closing(holder, 160.0, 120.0, "y").strain()
    xi, eta = at[:, 0] + APEX, at[:, 1]
    w = eta / xi
    slope2 = OPEN**2 * w * w * (w * w + 4.0)
    along2 = (OPEN * w * w) ** 2 / (1.0 + w * w)  # square of the slope along the straight line, with the line's own length in plan
    known = 2.0 * OPEN * (1.0 + w * w) / xi * (1.0 + along2) / (1.0 + slope2) ** 1.5
    return {
        "largest strain of the middle": strain,
        "curvature, of the cone's": float(np.median((bend / known)[np.abs(at[:, 1]) < 60.0 - ENDS])),
    }


HELIX, RISE, ALONG = 40.0, 8.0, 100.0
"""Radius of the helix, its rise a radian, and how far along its tangents the middle of the sheet lies, in plan [mm]."""


def helical() -> Holder:
    """The tangents of the helix ``(a cos t, a sin t, b t)`` about the place ``(a, l)``, moved to the origin: its rulings cross ``v = 0`` at ``s = a (1 / cos t - 1) - l tan t`` under the slope
    ``-tan t``, and its gradient is ``b/a`` along them."""
    t = np.linspace(1.0, -1.0, 161)
    s = HELIX * (1.0 / np.cos(t) - 1.0) - ALONG * np.tan(t)
    turns = RISE / HELIX * np.cos(t) ** 3 / (ALONG - HELIX * np.sin(t))
    first = (float(-np.sin(t[0]) * RISE / HELIX), float(np.cos(t[0]) * RISE / HELIX))
    shape = Envelope((0.0, 0.0), (1.0, 0.0), tuple(s), tuple(-np.tan(t)), tuple(s), tuple(turns))
    return Holder(0.0, shape, first)


def closing_envelope() -> dict[str, float]:
    """The tangents of a helix, whose bend is ``b / a`` over the length of the tangent from the helix."""
    strain, bend, at = Closing(helical(), 160.0, 60.0, "").strain()
    tangent = np.sqrt((at[:, 0] + HELIX) ** 2 + (at[:, 1] + ALONG) ** 2 - HELIX**2) * np.hypot(1.0, RISE / HELIX)
    known = RISE / HELIX / tangent
    return {
        "largest strain of the middle": strain,
        "curvature, of the tangents'": float(np.median((bend / known)[np.abs(at[:, 0]) < 80.0 - ENDS])),
    }

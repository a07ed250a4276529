"""The blankholder surface and the section round the edge in numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.die import rules
from diewright.die.edge import Edge
from diewright.die.extend import PLANE, Drawn
from diewright.die.fit import BETTER, UNEVEN, UNEVEN_CURVED
from diewright.die.holder_cone import Cone
from diewright.die.holder_envelope import Envelope
from diewright.die.holder_fit import Spread
from diewright.die.holder_shape import Cylinder
from diewright.die.line import walk
from diewright.die.radii import Bend
from diewright.job.findings import Figure

Floats = NDArray[np.float64]
WINDOW = 3.0
"""Length along the led wall's line over which its turn is measured [mm]."""


@dataclass(frozen=True)
class Surface:
    """Numbers of the blankholder surface and of the section [mm, deg, 1/mm2].

    ``depth`` least, mean and largest height of the surface over the part's edge; ``spread`` of the wanted heights; ``gauss`` largest Gaussian curvature of the surface at
    the points of the blankholder, ``bend`` its tightest radius (None: none); ``turned`` the total curvature of its triangulation [rad]: the sum of the angles that lack to a full turn at its inner points.
    ``developed``: the longest section from the part's edge to the blankholder surface, along the sheet (None unless profile).
    ``direction`` [deg] of a cylinder's straight lines, ``apex`` [mm] of a cone in plan, ``rulings`` (x, y [mm], angle [deg]) of a general developable surface.
    ``corner``: the tightest radius in plan of the line on which the led wall ends, and where (None unless profile). ``mode``, and of a profile the ranges ``angle`` of the wall and ``punch`` of the punch radius.
    ``record``: the surface itself, as :meth:`Holder.record` writes it down.
    """

    kind: str
    direction: float | None
    level: float
    depth: tuple[float, float, float]
    spread: Spread
    gauss: float
    bend: float | None
    turned: float
    mode: str
    angle: tuple[float, float] | None
    punch: tuple[float, float] | None
    corner: Bend | None = None
    developed: float | None = None
    apex: tuple[float, float] | None = None
    rulings: tuple[tuple[float, float, float], ...] = ()
    record: Mapping[str, Any] | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain data for the stage's values."""
        return {
            "kind": self.kind, "direction": self.direction, "level": self.level, "depth_least": self.depth[0], "depth_mean": self.depth[1], "depth_most": self.depth[2],
            "uneven_flat": self.spread.flat, "uneven_curved": self.spread.curved, "gauss": self.gauss, "bend": self.bend, "lead_on": self.mode,
            "wall_angle": None if self.angle is None else list(self.angle), "punch_radius": None if self.punch is None else list(self.punch), "corner": None if self.corner is None else self.corner.radius,
            "developed": self.developed, "uneven_conical": self.spread.conical, "uneven_developable": self.spread.developable, "apex": None if self.apex is None else list(self.apex),
            "rulings": [list(r) for r in self.rulings], "surface": None if self.record is None else _plain(self.record),
        }  # fmt: skip

    def figures(self, thickness: float, stated: frozenset[str]) -> Iterator[Figure]:
        """Figures of the surface, and of the section where it has a punch radius and a wall of its own."""
        t = (thickness, "mm")
        others = {
            "about the best cylinder": self.spread.curved,
            "about the best cone": self.spread.conical,
            "about the best developable": self.spread.developable,
        }
        yield Figure(
            key="faces.depth", label="Depth of the part's edge below the blankholder surface", value=self.depth[1], unit="mm", formula="mean of z_holder - z_edge along the edge",
            inputs={"least": (self.depth[0], "mm"), "largest": (self.depth[2], "mm")}, confidence="exact geometry, of the sheet's middle",
        )  # fmt: skip
        yield Figure(
            key="faces.uneven", label="Unevenness of the draw depth about the best plane", value=round(self.spread.flat, 9), unit="mm",
            formula=f"root mean square of the wanted heights about a plane; of cylinder, cone and developable surface the next is taken above {UNEVEN:g} s ({UNEVEN_CURVED:g} s from a curved one) if it leaves {BETTER:g} of what the one before leaves at most",
            inputs={"s": t, **{name: (value, "mm") for name, value in others.items() if value is not None}}, confidence="criterion of ours",
        )  # fmt: skip
        yield Figure(
            key="faces.gauss", label="Largest Gaussian curvature of the blankholder surface", value=self.gauss, unit="1/mm2",
            formula="K = (z_xx z_yy - z_xy^2) / (1 + z_x^2 + z_y^2)^2, differences over 0.5 mm",
            inputs={"tightest bend": (self.bend if self.bend is not None else "none", "mm"), "sum of the triangulation's angle defects": (self.turned, "rad")},
            confidence="zero but for rounding where a flat sheet lies on it without stretching",
        )  # fmt: skip
        if self.punch is not None and self.angle is not None:
            own = "punch_radius" in stated
            yield Figure(
                key="faces.punch_radius_led", label="Punch radius of the led wall", value=self.punch[0], unit="mm", formula="as stated" if own else "r = 6 s, 4 mm to 15 mm",
                inputs={"s": t, "largest along the edge": (self.punch[1], "mm")}, source="" if own else "common practice", confidence="exact" if own else "handbook range 4 s to 10 s",
            )  # fmt: skip
            own = "wall_angle" in stated
            yield Figure(
                key="faces.wall_angle", label="Lean of the led wall from vertical", value=self.angle[0], unit="deg",
                formula="as stated; 25 deg at least at an open end" if own else f"{rules.WALL_ANGLE:g} deg; 25 deg at least at an open end",
                inputs={"largest along the edge": (self.angle[1], "deg")}, source="" if own else "common practice", confidence="exact" if own else "5 to 15 deg are usual",
            )  # fmt: skip


def surface_of(drawn: Drawn, edge: Edge, spread: Spread, thickness: float) -> Surface:
    """Measure the blankholder surface of ``drawn`` over the part's ``edge``."""
    mesh, holder, lead = drawn.mesh, drawn.holder, drawn.lead
    depth = holder.height(edge.points[:, :2]) - edge.points[:, 2]
    plane = mesh.triangles[drawn.kind == PLANE]
    plan = mesh.points[np.unique(plane)][:, :2]
    shape, bend = holder.shape, holder.least_radius(plan)
    profiled = lead.mode == "profile"
    lean = np.degrees(0.5 * math.pi - lead.steep)
    punch = lead.punch - 0.5 * thickness
    return Surface(
        holder.kind, shape.direction if isinstance(shape, Cylinder) else None, drawn.level,
        (float(depth.min()), float(np.average(depth, weights=edge.lengths)), float(depth.max())), spread,
        float(np.abs(holder.gaussian(plan)).max()), bend if math.isfinite(bend) else None,
        _turned(mesh.points, plane), lead.mode,
        (float(lean.min()), float(lean.max())) if profiled else None, (float(punch.min()), float(punch.max())) if profiled else None,
        tightest_corner(drawn.columns[:, drawn.joints[2]]) if profiled else None,
        float(np.linalg.norm(np.diff(drawn.columns, axis=1), axis=2).sum(axis=1).max()) if profiled else None,
        shape.apex if isinstance(shape, Cone) else None, tuple(shape.rulings) if isinstance(shape, Envelope) else (),
        holder.record(),
    )  # fmt: skip


def _plain(record: Any) -> Any:
    """A record with lists for tuples."""
    if isinstance(record, Mapping):
        return {key: _plain(value) for key, value in record.items()}
    return [_plain(value) for value in record] if isinstance(record, list | tuple) else record


def tightest_corner(line: Floats) -> Bend | None:
    """Tightest radius in plan of a closed line ``(k, 3)``: of the circles through points :data:`WINDOW` mm apart along it; None for a line without a turn."""
    s = walk(line)
    closed = np.vstack([line, line[:1]])
    apart = [np.column_stack([np.interp((s[:-1] + d) % s[-1], s, closed[:, i]) for i in range(2)]) for d in (-WINDOW, 0.0, WINDOW)]
    u, v = apart[1] - apart[0], apart[2] - apart[1]
    cross = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    radius = np.hypot(*u.T) * np.hypot(*v.T) * np.hypot(*(u + v).T) / np.maximum(2.0 * cross, 1e-12)
    i = int(np.argmin(radius))
    return Bend(float(radius[i]), (float(line[i, 0]), float(line[i, 1]), float(line[i, 2]))) if cross[i] > 1e-6 else None


def _turned(points: np.ndarray, triangles: np.ndarray) -> float:
    """Sum over the inner points of ``2 pi`` less the angles of their triangles [rad]: the total Gaussian curvature of a triangulation."""
    total = np.zeros(len(points))
    corner = points[triangles]
    for i in range(3):
        a, b = corner[:, (i + 1) % 3] - corner[:, i], corner[:, (i + 2) % 3] - corner[:, i]
        np.add.at(total, triangles[:, i], np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), (a * b).sum(axis=1)))
    edge = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    _, first, count = np.unique(edge, axis=0, return_index=True, return_counts=True)
    rim = np.unique(edge[first[count == 1]])
    inner = np.setdiff1d(np.unique(triangles), rim)
    return float((2.0 * math.pi - total[inner]).sum())

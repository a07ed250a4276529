"""The details of the faces against closed forms: volumes of pockets, the locator matrix, a crank's closing time and the bead's line and bodies."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from diewright.die.bead_cad import bead_bodies
from diewright.die.bead_path import bead_path
from diewright.die.detail_locators import locate
from diewright.die.detail_pockets import column_volume, pockets
from diewright.die.detail_vents import back_pressure, closing
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.forming.bead_line import bead_line, groove
from diewright.watch import Watch


def caps() -> dict[str, float]:
    """Depth [mm] and volume [mm3] of a cap 8 mm deep of a sphere of 25 mm pressed into a plane, on a grid of 0.5 mm."""
    x = np.arange(-40.0, 40.25, 0.5)
    u, v = np.meshgrid(x, x, indexing="ij")
    z = -np.maximum(np.sqrt(np.maximum(625.0 - u**2 - v**2, 0.0)) - 17.0, 0.0)
    i = np.arange(z.size).reshape(z.shape)
    a, b, c, d = (k.ravel() for k in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    mesh = TriMesh(
        np.column_stack([u.ravel(), v.ravel(), z.ravel()]),
        np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]),
    )
    drain = np.zeros(z.size, dtype=bool)
    drain[mesh.boundary_edges.ravel()] = True
    p = pockets(mesh.points[:, 2], mesh.edges, drain, 1.0)
    mine = TriMesh(mesh.points, mesh.triangles[(p.of[mesh.triangles] == 0).any(axis=1)])
    return {
        "pockets": float(len(p.bottom)), "depth": float(p.spill[0] - mesh.points[p.bottom[0], 2]),
        "volume": float(column_volume(mine, p.spill[0] - mesh.points[:, 2]).sum()),
    }  # fmt: skip


def pins() -> dict[str, float]:
    """Condition number of the locator matrix of a blank 300 x 160 mm against two pins 0.7 of its side apart and one in the middle of its end; rank of a round one."""
    w, h = 150.0, 80.0
    box = locate(np.array([[-w, -h], [w, -h], [w, h], [-w, h]]), 10.0)
    at = 2.0 * np.pi * np.arange(720) / 720
    return {
        "condition, 300 x 160": box.condition,
        "rank, round": float(locate(80.0 * np.column_stack([np.cos(at), np.sin(at)]), 10.0).rank),
    }


def crank() -> dict[str, float]:
    """Time [s] of the last 50 mm of a crank press of 200 mm stroke at 20 strokes a minute, and what air at 30 m/s builds up in a sharp hole [Pa]."""
    run = closing({"kind": "crank single", "stroke_mm": 200.0, "rod_mm": 0.0}, 20.0, 50.0)
    return {"time": run.time, "largest over mean speed": run.peak, "pressure": 1e6 * back_pressure(30_000.0)}


def bead() -> dict[str, float]:
    """Line 15 mm outside a rounded box, and the groove of a round bead of 4 mm radius in 1 mm sheet [mm]."""
    shape = shapely.box(-88.0, -48.0, 88.0, 48.0).buffer(12.0, quad_segs=96)
    line = bead_line(shapely.get_coordinates(shape.exterior)[:-1], 15.0, 8.0, 40.0)
    return {
        "length": line.length, "tightest radius": float(line.radius[line.radius > 0].min()), "pieces": float(line.cut.sum()),
        "groove width": groove("round", 4.0, 4.0, 0.0, 1.0).groove_width,
    }  # fmt: skip


def bead_body() -> dict[str, float]:
    """Bar and groove of a round bead of 4 mm radius, 5 mm high in 1 mm sheet, on a ring of 80 mm radius in a level blankholder [mm, mm3]."""
    at = 2.0 * np.pi * np.arange(720) / 720
    section = groove("round", 4.0, 5.0, 0.0, 1.0)
    line = bead_line(60.0 * np.column_stack([np.cos(at), np.sin(at)]), 20.0, 0.5 * section.mouth, 0.0)
    corners = np.array([[-150.0, -150.0, 0.5], [150.0, -150.0, 0.5], [150.0, 150.0, 0.5], [-150.0, 150.0, 0.5]])
    face = TriMesh(corners, np.array([[0, 2, 1], [0, 3, 2]]))
    made = bead_bodies(line, bead_path(line, face, None, 1.0), section, 1.0, face, "", Watch()).values()
    return {"bar volume": made["bar_volume"], "groove volume": made["groove_volume"], "room below the nose": made["room_least"]}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "details-pocket": caps,
    "details-locators": pins,
    "details-closing": crank,
    "details-bead": bead,
    "details-bead-body": bead_body,
}

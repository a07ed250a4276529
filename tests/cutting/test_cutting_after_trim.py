"""The two stages together: a plate and a slope go through ``trim`` and on into ``cutting``."""

from __future__ import annotations

import numpy as np
import pytest
from cutting_jobs import upstream, work

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.trim.lines.stage import STAGE as TRIM
from diewright.watch import Watch

THINNED = 0.9


def plate(slope_deg: float) -> tuple[TriMesh, TriMesh]:
    """A plate of 120 x 80 mm that leans about y, and its flat."""
    u, v = np.meshgrid(np.linspace(-60, 60, 41), np.linspace(-40, 40, 27), indexing="ij")
    n = np.arange(u.size).reshape(u.shape)
    a, b, c, d = (k.ravel() for k in (n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]))
    cells = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]).astype(np.int32)
    flat = np.column_stack([u.ravel(), v.ravel(), np.zeros(u.size)])
    s = np.radians(slope_deg)
    turn = np.array([[np.cos(s), 0, -np.sin(s)], [0, 1, 0], [np.sin(s), 0, np.cos(s)]])
    return TriMesh(flat @ turn.T, cells), TriMesh(flat, cells)


def trimmed(slope_deg: float) -> Result:
    formed, flat = plate(slope_deg)
    s = np.radians(slope_deg)
    outer = max(formed.boundary_loops, key=formed.loop_length)
    die = TriMesh(formed.points - 0.5 * np.array([-np.sin(s), 0, np.cos(s)]), formed.triangles)
    holder = TriMesh(np.array([[0, 0, 500.0], [1, 0, 500.0], [0, 1, 500.0]]), np.array([[0, 1, 2]]))
    before = {
        "shape": Result(values={"parts": 1, "rotation": np.eye(3).tolist(), "shift": [0.0, 0.0, 0.0], "holes": []}, meshes={"part": FieldMesh(formed)}),
        "sheet": Result(values={"family": "steel"}),
        "solution": Result(meshes={"part": FieldMesh(formed, {}, {"thickness": np.full(len(formed.triangles), THINNED)}), "flat": FieldMesh(flat)}, arrays={"outer": outer}),
        "blank": Result(arrays={"outline": flat.points[outer, :2]}),
        "faces": Result(values={"clearance": 1.0}, meshes={"die": FieldMesh(die), "blankholder": FieldMesh(holder)}, arrays={"trim_line": formed.points[outer]}),
    }  # fmt: skip
    job = parse({"sheet": {"thickness": 1.0}})
    return TRIM.work(TRIM.inputs(job), before, {}, Watch())


@pytest.mark.parametrize("slope", [0.0, 12.0])
def test_the_edge_of_a_leaning_plate_takes_tau_times_its_wall(slope):
    before = upstream() | {"trim": trimmed(slope)}
    r = work(before=before, wear=1.0)
    (edge,) = r.values["cuts"]
    c = np.cos(np.radians(slope))
    wall = THINNED * (2 * 120 + 2 * 80 / c)  # up the slope length times thickness, across it the sheet is thicker along the travel
    assert edge["wall_mm2"] == pytest.approx(wall, rel=1e-3)
    assert edge["flat_kN"] == pytest.approx(240 * wall / 1000, rel=5e-3)
    assert edge["burr_side"] == "lower"
    level = work(before=before, wear=1.0, trim_steel="level")
    assert level.values["operations"][0]["touch_height_mm"] == pytest.approx(120 * np.sin(np.radians(slope)) + THINNED / c + 1.0, abs=0.02)

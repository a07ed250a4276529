"""The job's draw inside the compensation: what moves with the faces, and what it says when a run does not come to its end."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from diewright.die.simple import channel_tools
from diewright.errors import SolveError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.shift_field import ShiftField
from diewright.job.stage import Result
from diewright.tryout import compensation_runs
from diewright.tryout.compensation import _Lay
from diewright.tryout.compensation_runs import JobDraw, moved_result
from diewright.watch import Watch

T, DEPTH = 1.0, 30.0
CORNERS = np.array([[x, y, z] for x in (-80.0, 80.0) for y in (-30.0, 30.0) for z in (-40.0, 10.0)])


def faces() -> Result:
    meshes = channel_tools(40.0, 5.0, 42.0, 5.0, DEPTH, T, 120.0, 20.0, bottom=True)
    line = np.array([[-50.0, -10.0, 0.0], [50.0, -10.0, 0.0], [50.0, 10.0, 0.0], [-50.0, 10.0, 0.0]])
    return Result(
        values={"stroke": DEPTH}, meshes={n: FieldMesh(m) for n, m in meshes.items()},
        arrays={"trim_line": line, "opening": line[:, :2], "die_touch": np.zeros(1)},
    )  # fmt: skip


def test_lines_level_and_stroke_go_with_the_faces() -> None:
    here = faces()
    # the die stays level but rises by 0.2 at the top, the bottom goes down by 0.3: a shift that grows evenly with z
    slope = (0.2 + 0.3) / DEPTH
    field = ShiftField(CORNERS, np.column_stack([np.full(8, 0.4), np.zeros(8), 0.2 + slope * (CORNERS[:, 2] + 0.5 * T)]))
    moved = moved_result(here, {n: field.moved(m.mesh) for n, m in here.meshes.items()}, field, T)
    low = float(moved.meshes["punch"].mesh.points[:, 2].min())
    assert moved.arrays["die_touch"][0] == pytest.approx(0.2)
    # travel from touching the flat blank on the die to closed: top of the blank less the punch's lowest point
    assert moved.values["stroke"] == pytest.approx(moved.arrays["die_touch"][0] + 0.5 * T - low)
    assert moved.values["stroke"] == pytest.approx(DEPTH + 0.2 + 0.3 - slope * T, abs=1e-9)
    assert moved.arrays["opening"] - here.arrays["opening"] == pytest.approx(np.tile([0.4, 0.0], (4, 1)))
    assert moved.arrays["trim_line"][:, 0] - here.arrays["trim_line"][:, 0] == pytest.approx(np.full(4, 0.4))
    same = moved_result(here, {n: m.mesh for n, m in here.meshes.items()}, None, T)
    assert same.values == here.values
    assert same.arrays["die_touch"][0] == 0.0


def test_a_run_that_breaks_off_is_said_with_its_faces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compensation_runs, "press_tools", lambda *a: ())
    monkeypatch.setattr(compensation_runs, "run_press", lambda *a, **k: (None, SimpleNamespace(stopped="the sheet tears.", frames=[])))
    mesh = SimpleNamespace(points=np.array([[0.0, 0], [1, 0], [0, 1]]), triangles=np.array([[0, 1, 2]]), areas=np.array([0.5]))
    here = faces()
    draw = JobDraw(
        SimpleNamespace(thickness=T), here, SimpleNamespace(), SimpleNamespace(), 300.0, mesh, SimpleNamespace(), (1.0, 0.0, 0.0), Watch(), 4, 0.03  # type: ignore[arg-type]
    )  # fmt: skip
    meshes = {n: m.mesh for n, m in here.meshes.items()}
    with pytest.raises(SolveError, match="the draw in the nominal faces broke off: the sheet tears"):
        draw(meshes, None)
    draw.runs = 2
    with pytest.raises(SolveError, match="moved faces 2 of 3 broke off"):
        draw(meshes, ShiftField(CORNERS, np.zeros_like(CORNERS)))


def test_three_supports_are_the_same_nodes_in_every_run() -> None:
    x = np.linspace(-50.0, 50.0, 11)
    points = np.column_stack([a.ravel() for a in np.meshgrid(x, x)] + [np.zeros(121)])
    a = (np.arange(10)[:, None] * 11 + np.arange(10)).ravel()
    flat = TriMesh(points, np.vstack([np.column_stack([a, a + 1, a + 12]), np.column_stack([a, a + 12, a + 11])]))
    lay = _Lay("supports", T)
    first = lay(flat, points + np.column_stack([np.zeros((121, 2)), 1e-3 * points[:, 0] ** 2]))
    second = lay(TriMesh(points * 1.01, flat.triangles), points * 1.01 + np.array([3.0, 2.0, 1.0]))
    assert first.supports == second.supports
    assert len(first.supports) == 3
    assert np.abs(first.displacement[list(first.supports), 2]).max() < 1e-9
    assert np.abs(second.displacement).max() < 1e-9
    assert _Lay("best fit", T)(flat, points).supports == ()

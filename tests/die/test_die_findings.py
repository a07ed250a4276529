"""Findings and figures of made faces that no shape of the others shows."""

from __future__ import annotations

import numpy as np
import pytest
from die_parts import faces_of
from die_shapes import SHAPES, pan, pan_section, plan_line
from die_shapes import _shape as shape

from diewright.die.edge import find_edge
from diewright.die.evenness import tightest_corner
from diewright.die.fit import plain, settle
from diewright.die.holder import Holder
from diewright.die.rules import holder_radius, punch_radius
from diewright.errors import SolveError

RNG = np.random.default_rng(3)


def test_a_face_that_runs_through_itself_is_a_stop() -> None:
    """An inner corner of 3 mm whose wall leans out until nothing of that radius is left at the rim, led on by more than the corner has."""
    plan = [(0.0, 0.0), (80.0, 0.0), (80.0, 40.0), (40.0, 40.0), (40.0, 90.0), (0.0, 90.0)]
    s = shape(*pan(*plan_line(plan, 12.0, 1.0, hollow=3.0), pan_section(30.0, 8.0, 0.0, 0.0, 5.0)))
    r = faces_of(s.mesh, s.blank, normals=s.normals, lead_on="profile")
    found = {f.key: f for f in r.findings}
    crossed = found["faces.crossing.die"]
    assert crossed.severity == "stop"
    assert crossed.value > 10
    assert crossed.place is not None
    assert np.hypot(crossed.place.points[0][0] - 40.0, crossed.place.points[0][1] - 40.0) < 25.0
    assert found["faces.fold.die"].severity == "stop"


class Restless(Holder):
    """A surface that never says the same height twice."""

    def height(self, xy: np.ndarray) -> np.ndarray:
        return super().height(xy) + RNG.uniform(-1.0, 1.0)


def test_a_surface_that_finds_no_height_is_refused() -> None:
    cup = SHAPES["leaning cup"]()
    edge = find_edge(cup.mesh, cup.mesh.boundary_loops[0])
    with pytest.raises(SolveError, match="no height of the"):
        settle(edge, plain(edge, 5.0, 8.5), Restless(0.0, tilt=(0.1, 0.0)))


def test_figures_of_the_section_say_where_they_come_from() -> None:
    s = SHAPES["cup with flange"]()
    own = faces_of(s.mesh, s.blank, normals=s.normals, lead_on="profile")
    assert own.figure("faces.punch_radius_led").value == pytest.approx(punch_radius(1.0)) == pytest.approx(6.0)
    assert own.figure("faces.punch_radius_led").source == "common practice"
    assert own.figure("faces.wall_angle").source == "common practice"
    assert own.figure("faces.depth").value == pytest.approx(own.values["blankholder"]["depth_mean"])
    assert own.figure("faces.uneven").value == pytest.approx(0.0, abs=1e-9)
    places = [{"x": 60.0, "y": 0.0, "wall_angle": 15.0}, {"x": -60.0, "y": 0.0, "wall_angle": 5.0, "punch_radius": 9.0}]
    stated = faces_of(s.mesh, s.blank, normals=s.normals, lead_on="profile", addendum=places)
    assert stated.figure("faces.wall_angle").formula.startswith("as stated")
    assert stated.values["blankholder"]["wall_angle"] == pytest.approx([5.0, 15.0], abs=0.01)
    assert stated.values["blankholder"]["punch_radius"] == pytest.approx([9.0, 9.0])
    assert [f.key for f in stated.findings if f.severity == "stop"] == []
    assert [holder_radius(t) for t in (0.5, 1.0, 2.0)] == [150.0, 200.0, 400.0]


def test_a_tight_corner_of_the_led_wall_is_told() -> None:
    at = 2 * np.pi * np.arange(200) / 200
    found = tightest_corner(np.column_stack([20.0 * np.cos(at), 20.0 * np.sin(at), 0 * at]))
    assert found is not None
    assert found.radius == pytest.approx(20.0, abs=0.2)  # chords of 0.6 mm
    assert tightest_corner(np.array([[0.0, 0.0, 0.0], [50.0, 0.0, 0.0], [100.0, 0.0, 0.0], [50.0, 0.0, 0.0]])[:3]) is None
    s = SHAPES["angle section"]()
    keys = {f.key: f for f in faces_of(s.mesh, s.blank, normals=s.normals).findings}
    assert keys["faces.corner"].severity == "attend"
    assert keys["faces.corner"].value < 4.0
    assert abs(keys["faces.corner"].place.points[0][0]) > 70.0
    lip = SHAPES["cup with a lip down"]()
    assert "faces.corner" not in {f.key for f in faces_of(lip.mesh, lip.blank, normals=lip.normals).findings}


def test_a_blank_that_does_not_reach_the_blankholder_is_told_with_what_it_takes() -> None:
    s = SHAPES["cup with flange"]()
    net = np.asarray(s.blank)[:, :2]
    grown = net * (1.0 + 2.0 / np.hypot(*net.T).max())  # 2 mm larger all round
    short = faces_of(s.mesh, grown, normals=s.normals, lead_on="profile", net=net)
    found = {f.key: f for f in short.findings}["faces.blank"]
    section = short.values["blankholder"]["developed"]
    assert found.limit == pytest.approx(section + 10.0)
    assert found.value == pytest.approx(2.0, abs=0.1)
    # land 5, punch arc over 82 deg on 6.5, wall, die arc over 82 deg on 8.5 mm: the least there can be
    assert section > 5.0 + np.radians(82.0) * (6.5 + 8.5)
    wide = faces_of(s.mesh, net * (1.0 + 60.0 / np.hypot(*net.T).max()), normals=s.normals, lead_on="profile", net=net)
    assert "faces.blank" not in {f.key for f in wide.findings}

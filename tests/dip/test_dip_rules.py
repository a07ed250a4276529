"""Vents, drains and drag-out against their formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from flood_shapes import box

from diewright.finish.dip import rules
from diewright.finish.dip.drag_out import drag_out, lower_edge
from diewright.geometry.mesh import TriMesh

PLATE = TriMesh(np.array([[0.0, 0, 0], [200, 0, 0], [200, 0, 300], [0, 0, 300]]), np.array([[0, 1, 2], [0, 2, 3]]))


@pytest.mark.parametrize(("speed", "millilitres"), [(50.0, 49.0), (100.0, 69.3), (200.0, 98.0)])
def test_kushner_a_square_metre(speed: float, millilitres: float) -> None:
    assert rules.kushner(1e6, speed, 1.5, 1250.0) == pytest.approx(millilitres, abs=0.05)
    assert rules.kushner(1e6, 2 * speed, 1.5, 1250.0) == pytest.approx(math.sqrt(2) * rules.kushner(1e6, speed, 1.5, 1250.0))


def test_konishi_takes_the_lesser_of_both_ways() -> None:
    assert rules.edge_bead(1000.0, 70.0, 1250.0) == pytest.approx(3.71, abs=0.01)
    assert rules.film(1e6) == pytest.approx(10.0)
    fast, slow = (rules.konishi(1e6, 1000.0, speed, 1.5, 1250.0, 70.0) for speed in (100.0, 0.5))
    assert fast == pytest.approx(13.71, abs=0.01)
    assert slow == pytest.approx(rules.kushner(1e6, 0.5, 1.5, 1250.0))
    assert slow < fast


@pytest.mark.parametrize(("time", "micrometres"), [(10.0, 40.4), (20.0, 28.6), (30.0, 23.3)])
def test_jeffreys(time: float, micrometres: float) -> None:
    assert 1000 * rules.draining_film(300.0, time, 1.5, 1250.0) == pytest.approx(micrometres, abs=0.05)


def test_torricelli_in_a_straight_vessel_and_back() -> None:
    y = np.linspace(0.0, 100.0, 33)
    area, hole = 5000.0, 6.0
    closed = area / (0.62 * math.pi / 4 * hole**2) * math.sqrt(2 / 9806.65) * math.sqrt(100.0)
    assert rules.emptying_time(y, area * y, hole) == pytest.approx(closed, rel=1e-12)
    assert rules.hole_for_time(y, area * y, closed) == pytest.approx(hole, rel=1e-12)
    assert rules.emptying_time(y, area * y, hole, 1000.0) == pytest.approx(closed / math.sqrt(1000.0))


def test_a_hole_holds_the_head_of_its_drop_and_the_table_ends() -> None:
    assert rules.head_left(5.0, 70.0, 1250.0) == pytest.approx(4.57, abs=0.01)
    assert [rules.vent_by_table(w) for w in (3.0, 15.0, 15.1, 100.0, 500.0)] == [8.0, 8.0, 10.0, 30.0, 300.0]
    assert rules.vent_by_table(501.0) is None


def test_the_lower_edge_of_a_plate_hung_straight_by_a_corner_and_flat() -> None:
    assert lower_edge(PLATE, np.array([0.0, 0.0, 1.0])) == pytest.approx(200.0)
    assert lower_edge(PLATE, np.array([0.0, 0.0, -1.0])) == pytest.approx(200.0)
    assert lower_edge(PLATE, np.array([1.0, 0.0, 0.0])) == pytest.approx(300.0)
    assert lower_edge(PLATE, np.array([1.0, 0.0, 1.0]) / math.sqrt(2)) == pytest.approx(500.0 / math.sqrt(2))
    assert lower_edge(PLATE, np.array([0.0, 1.0, 0.0])) == pytest.approx(0.0)


def test_drag_out_of_a_plate_and_of_a_box_full_of_bath() -> None:
    up = np.array([0.0, 0.0, 1.0])
    plate = drag_out(PLATE, up, 0.0, 100.0, 10.0, 1.5, 1250.0, 70.0)
    area = 2 * 200 * 300
    assert plate.total == pytest.approx(rules.edge_bead(200.0, 70.0, 1250.0) + rules.film(area))
    assert plate.running == pytest.approx(1e-3 * area * rules.draining_film(300.0, 10.0, 1.5, 1250.0))
    full = drag_out(box(60, 80, 40), up, 192000.0, 100.0, 10.0, 1.5, 1250.0, 70.0)
    assert full.edge == pytest.approx(0.0)
    assert full.total == pytest.approx(192.0 + rules.film(full.area))

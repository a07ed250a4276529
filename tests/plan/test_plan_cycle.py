"""The press's cycle against kinematics, and the search for the steps against every combination."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from plan_jobs import upstream, work

from diewright.errors import InputError
from diewright.press.table import generic_presses, named
from diewright.trim.plan import safety
from diewright.trim.plan.cycle import cycle, least_period
from diewright.trim.plan.ops import Piece
from diewright.trim.plan.stagger import _one_by_one, best_steps

CRANK = named(generic_presses(), "Crank 1000 kN")
HYDRAULIC = next(p for p in generic_presses() if p.kind == "hydraulic")


def test_a_crank_stands_at_the_top_at_both_ends_and_halves_its_stroke_at_a_right_angle():
    c = cycle(CRANK, 30.0, 20.0, 0.5)
    assert c.period == 2.0
    assert c.height[[0, 180, 360]] == pytest.approx([CRANK.stroke_mm, 0.0, CRANK.stroke_mm])
    assert c.angle_at(CRANK.stroke_mm / 2, down=True) == pytest.approx(90.0)
    assert c.open(CRANK.stroke_mm / 2) == (pytest.approx(180.0), pytest.approx(1.0))
    assert c.open(CRANK.stroke_mm + 1.0) == (0.0, 0.0)
    assert math.isnan(c.angle_at(CRANK.stroke_mm + 1.0, down=True))
    assert c.speed == pytest.approx(-np.gradient(c.height, c.time, edge_order=2), abs=0.02 * np.abs(c.speed).max())
    assert c.speed[90] == pytest.approx(math.pi / 2 * CRANK.stroke_mm)


def test_a_hydraulic_press_presses_at_its_speed_and_dwells():
    c = cycle(HYDRAULIC, 3.0, 50.0, 1.0)
    assert c.period == 20.0
    t0, t1 = (c.angle_at(h, down=True) / 360 * c.period for h in (50.0, 0.0))
    assert t1 - t0 == pytest.approx(50.0 / HYDRAULIC.speed_mm_s)
    assert c.angle_at(0.0, down=False) / 360 * c.period - t1 == pytest.approx(1.0)
    assert c.height[[0, -1]] == pytest.approx([HYDRAULIC.stroke_mm] * 2)
    assert float(np.trapezoid(c.speed, c.time)) == pytest.approx(0.0, abs=0.02 * HYDRAULIC.stroke_mm)
    quick = cycle(HYDRAULIC, 500.0, 50.0, 1.0)
    assert quick.period == pytest.approx(least_period(HYDRAULIC, 50.0, 1.0))
    assert quick.period > 60.0 / 500.0


def test_events_come_in_order_and_lie_on_the_slides_way():
    r = work(upstream(depth=20.0), job={"press": {"name": "Crank 1000 kN"}})
    t, e = r.tables["cycle"], r.tables["events"]
    assert (np.diff(e["angle_deg"]) >= 0).all()
    assert np.interp(e["angle_deg"], t["angle_deg"], t["slide_mm"]) == pytest.approx(e["slide_mm"], abs=0.02)
    found = {x["event"]: x for x in r.values["stations"][1]["events"]}
    assert found["draw 1 begins"]["slide_mm"] == 20.0
    assert found["blankholder touches, draw 1"]["slide_mm"] == 23.0
    assert found["draw 1 begins"]["angle_deg"] == pytest.approx(180.0 - math.degrees(math.acos(1 - 2 * 20.0 / CRANK.stroke_mm)))
    assert found["bottom"]["angle_deg"] == pytest.approx(180.0)
    period = r.tables["cycle"]["time_s"][-1]
    assert found["bottom"]["time_s"] == pytest.approx(period / 2)
    begin, end = found["feeding may begin"]["angle_deg"], found["feeding must be over"]["angle_deg"]
    assert 360.0 - begin + end == pytest.approx(r.values["stations"][1]["window_deg"])
    cut = [x["event"] for x in r.values["stations"][2]["events"]]
    assert cut.index("trim begins") < cut.index("trim is through") < cut.index("bottom") < cut.index("steels leave the sheet, trim")


def test_what_lies_above_the_stroke_is_no_event():
    r = work(upstream(depth=90.0), station=[{"operations": ["trim", "pierce"], "press": "Crank 250 kN"}])
    assert not [e for e in r.values["stations"][2]["events"] if "feeding" in e["event"]]


def box(force, way=1.0, break_at=0.5):
    s = np.linspace(0.0, way, 101)
    return Piece(f"{force}", s, np.where(s <= break_at, force, 0.0), 1.0, True)


def peak(pieces, steps):
    s = np.linspace(0.0, 12.0, 4001)
    return float(np.sum([p.at(s - k) for p, k in zip(pieces, steps, strict=True)], axis=0).max())


def test_two_equal_punches_halve_their_force_and_one_stays():
    assert best_steps([box(10.0), box(10.0)], 2, 1.0) == [0, 1]
    assert best_steps([box(10.0)], 2, 1.0) == [0]
    assert best_steps([box(10.0), box(10.0)], 0, 1.0) == [0, 0]


def test_nothing_is_ground_where_nothing_is_gained():
    assert best_steps([box(1000.0), box(1.0)], 2, 1.0) == [0, 0]
    assert best_steps([Piece("a", np.array([0.0, 9.0]), np.array([5.0, 5.0]), 1.0, True)] * 2, 2, 1.0) == [0, 0]


@pytest.mark.parametrize("seed", range(6))
def test_the_search_finds_the_best_of_all_where_all_can_be_tried(seed):
    rng = np.random.default_rng(seed)
    pieces = [box(f, break_at=float(b)) for f, b in zip(rng.uniform(1, 20, 6), rng.uniform(0.3, 0.9, 6), strict=True)]
    steps = best_steps(pieces, 2, 1.0)
    least = min(peak(pieces, c) for c in itertools.product(range(3), repeat=6))
    assert peak(pieces, steps) == pytest.approx(least)
    grid = np.linspace(0.0, 3.0, 401)
    curves = np.array([[p.at(grid - k) for k in range(3)] for p in pieces])
    found = _one_by_one(np.zeros(401), curves)
    assert peak(pieces, found) <= 1.15 * least


def test_many_punches_are_shared_evenly():
    rng = np.random.default_rng(1)
    pieces = [box(f) for f in rng.uniform(1, 5, 120)]
    steps = best_steps(pieces, 2, 1.0)
    assert peak(pieces, steps) <= 1.02 * sum(p.peak for p in pieces) / 3
    assert set(steps) == {0, 1, 2}


def test_safety_distances_have_their_floors_and_refuse_nonsense():
    assert safety.curtain_distance(0.01, 14.0) == 100.0
    assert safety.curtain_distance(0.25, 14.0) == 500.0
    assert safety.curtain_distance(0.2501, 14.0) == 500.0  # 1600 T would be 400
    assert safety.curtain_distance(0.1, 30.0) == pytest.approx(328.0)
    for call in (
        lambda: safety.curtain_distance(0.0, 14.0),
        lambda: safety.curtain_distance(math.nan, 14.0),
        lambda: safety.curtain_distance(0.1, 60.0),
        lambda: safety.trip_distance(0, 60.0),
        lambda: safety.us_distance(-1.0),
    ):
        with pytest.raises(InputError):
            call()

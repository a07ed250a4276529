"""Strokes, forces and crank kinematics as histories: the distance is exact, the ends are at rest."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from diewright.errors import InputError
from diewright.mechanics.forming.operations import (
    Move,
    Operation,
    careful_profile,
    crank_travel,
    force_ramp,
    profile_time,
    stroke_speed,
)

WAYS = st.floats(-300.0, 300.0).filter(lambda v: abs(v) > 1e-3)


def way(t, v):
    return float(((v[1:] + v[:-1]) * np.diff(t)).sum() / 2)


@seed(21)
@settings(max_examples=60, deadline=None)
@given(WAYS, st.floats(-100.0, 100.0), st.floats(1e-4, 1.0), st.booleans())
def test_a_stroke_covers_its_distance_exactly_and_ends_at_rest(distance, start, time, smooth):
    t, v = stroke_speed(start, Move("punch", "stroke", to=start + distance), time, smooth=smooth)
    assert way(t, v) == pytest.approx(distance, rel=1e-12)
    assert (np.diff(t) > 0).all()
    assert [t[0], t[-1]] == pytest.approx([0.0, time])
    assert v[0] == v[-1] == 0.0
    assert (v * distance >= 0).all()
    assert np.abs(v).max() <= abs(distance) / time / (1 - (0.15 if smooth else 0.02)) * (1 + 1e-9)


@seed(22)
@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-50.0, 50.0), min_size=1, max_size=6), st.floats(1e-3, 0.5))
def test_a_travel_curve_ends_where_it_says(values, time):
    values = [0.0, *values]
    curve = tuple(zip(np.linspace(0.0, 1.0, len(values)), values, strict=True))
    t, v = stroke_speed(0.0, Move("punch", "stroke", curve=curve), time)
    assert (np.diff(t) > 0).all()
    assert t[-1] == pytest.approx(time)
    assert v[0] == v[-1] == 0.0
    if abs(values[-1]) > 0.5:
        assert way(t, v) == pytest.approx(values[-1], rel=1e-9)


def test_a_travel_curve_passes_near_its_points_on_the_way():
    """Corners are blunted over 2 % of the time, so it is off by no more than the speed steps times half of that."""
    curve = ((0.0, -30.0), (0.4, -10.0), (0.7, -6.0), (1.0, 0.0))
    t, v = stroke_speed(-30.0, Move("punch", "stroke", curve=curve), 0.01)
    dense = np.linspace(0, 0.01, 20001)
    travel = -30.0 + np.concatenate([[0.0], np.cumsum(0.5 * (np.interp(dense[1:], t, v) + np.interp(dense[:-1], t, v)) * np.diff(dense))])
    for share, value in curve:
        assert np.interp(share * 0.01, dense, travel) == pytest.approx(value, abs=0.6)
    assert travel[-1] == pytest.approx(0.0, abs=1e-6)


def test_a_curve_that_starts_elsewhere_is_refused_with_both_numbers():
    with pytest.raises(InputError, match="starts at -5 mm but the tool stands at -3 mm"):
        stroke_speed(-3.0, Move("punch", "stroke", curve=((0.0, -5.0), (1.0, 0.0))), 0.01)


@pytest.mark.parametrize(
    "curve",
    [
        ((0.0, 1.0),),
        ((0.1, 0.0), (1.0, 1.0)),
        ((0.0, 0.0), (0.9, 1.0)),
        ((0.0, 0.0), (0.5, 1.0), (0.5, 2.0), (1.0, 3.0)),
        ((0.0, 0.0), (1.0, math.nan)),
    ],
)
def test_curves_that_are_none_are_refused(curve):
    with pytest.raises(InputError, match="at least two pairs"):
        force_ramp(0.0, Move("blankholder", "force", curve=curve), 0.01)
    with pytest.raises(InputError, match="at least two pairs"):
        stroke_speed(0.0, Move("punch", "stroke", curve=curve), 0.01)


def test_points_of_a_travel_curve_that_stand_too_close_are_refused():
    with pytest.raises(InputError, match="too close together"):
        stroke_speed(0.0, Move("punch", "stroke", curve=((0.0, 0.0), (0.5, 1.0), (0.501, 2.0), (1.0, 3.0))), 0.01)


def test_a_force_rises_without_a_jump_and_stays():
    t, f = force_ramp(100.0, Move("blankholder", "force", to=900.0), 0.02)
    assert f[0] == 100.0
    assert f[-1] == f[-2] == pytest.approx(900.0)
    assert t[-2] == pytest.approx(0.15 * 0.02)
    assert (np.diff(f) >= 0).all()
    assert np.diff(f).max() < 0.1 * 800.0
    t, f = force_ramp(0.0, Move("blankholder", "force", curve=((0.0, 5.0), (0.5, 8.0), (1.0, 2.0))), 0.02)
    assert t.tolist() == [0.0, 0.01, 0.02]
    assert f.tolist() == [5.0, 8.0, 2.0]


@seed(23)
@settings(max_examples=40, deadline=None)
@given(st.floats(50.0, 1000.0), st.floats(0.8, 8.0), st.floats(0.05, 1.0))
def test_a_crank_stands_where_the_formula_says(stroke, rod_share, height_share):
    r, rod, height = stroke / 2, rod_share * stroke, height_share * stroke
    points = crank_travel(stroke, rod, height)
    share, travel = np.array(points).T
    assert travel[0] == pytest.approx(0.0, abs=1e-3 * stroke)
    assert travel[-1] == pytest.approx(height)
    assert (np.diff(travel) > 0).all()
    # even steps of angle: the law of cosines between crank, rod and slide holds at each
    above = height - travel
    y = r + rod - above  # from the crank's centre to the rod's end
    cosine = (r * r + y * y - rod * rod) / (2 * r * y)
    angle = np.arccos(np.clip(cosine, -1, 1))
    assert angle == pytest.approx(angle[0] * (1 - share), abs=2e-3)


def test_a_crank_that_cannot_be_built_is_refused():
    for stroke, rod, height in ((100.0, 40.0, 30.0), (100.0, 300.0, 120.0), (100.0, 300.0, 0.0)):
        with pytest.raises(InputError, match="do not make a crank press"):
            crank_travel(stroke, rod, height)


def test_a_careful_profile_keeps_motion_small_against_work_and_covers_the_way():
    mass, work, speed = 1.2e-4, 4e6, 5000.0
    profile = careful_profile(mass, work, speed)
    share, v = np.array(profile).T
    late = (share > 0.25) & (share < 0.9)
    assert (0.5 * mass * v[late] ** 2 <= 0.03 * work * share[late] ** 2 + 1e-9).all()
    time = profile_time(40.0, profile)
    t, speeds = stroke_speed(-40.0, Move("punch", "stroke", to=0.0, profile=profile), time)
    assert t[-1] == pytest.approx(time)
    assert way(t, speeds) == pytest.approx(40.0, rel=1e-9)
    assert speeds.max() <= speed * (1 + 1e-9)


@pytest.mark.parametrize(("time", "frames"), [(0.0, 1), (-1.0, 1), (math.inf, 1), (math.nan, 1), (1.0, 0)])
def test_an_operation_that_cannot_be_worked_is_refused(time, frames):
    with pytest.raises(InputError, match="cannot be used"):
        Operation("draw", (), time, frames=frames)

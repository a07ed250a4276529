"""Slide kinematics and the force that constant torque leaves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diewright.errors import InputError
from diewright.mechanics.crank import Crank, flywheel_energy

few = settings(max_examples=60, deadline=None, derandomize=True)
stroke = st.floats(10.0, 800.0)
slender = st.one_of(st.just(math.inf), st.floats(0.6, 20.0))


def crank_of(s, q):
    return Crank(s, q * s)


@few
@given(stroke, slender, st.floats(0.0, 1.0))
def test_angle_is_the_inverse_of_height(s, q, x):
    crank = crank_of(s, q)
    h = x * s
    assert float(crank.height(crank.angle(h))) == pytest.approx(h, abs=1e-9 * s)
    assert float(crank.height(math.pi)) == pytest.approx(s)


@few
@given(stroke, slender, st.floats(0.05, 3.0))
def test_lever_is_the_derivative_of_height(s, q, a):
    crank = crank_of(s, q)
    e = 1e-5
    numeric = (float(crank.height(a + e)) - float(crank.height(a - e))) / (2 * e)
    assert float(crank.lever(a)) == pytest.approx(numeric, rel=1e-5, abs=1e-6 * s)


@few
@given(stroke, slender)
def test_constant_torque_does_its_work(s, q):
    """Above the rated position int F dh = M a: the drive gives torque times angle."""
    crank = crank_of(s, q)
    rated = math.radians(30.0)
    a = np.linspace(rated, math.radians(120.0), 2001)
    h = crank.height(a)
    work = np.trapezoid(crank.force(h, 1000.0, rated), h)
    torque = 1000.0 * float(crank.lever(rated))
    limited = np.minimum(torque, 1000.0 * crank.lever(a))
    assert work == pytest.approx(np.trapezoid(limited, a), rel=1e-4)


def test_force_falls_to_mid_stroke_and_is_nominal_below_the_rated_position():
    crank = Crank(200.0)
    rated = crank.rated_angle(angle_deg=30.0)
    h = np.linspace(0.0, 100.0, 201)
    f = crank.force(h, 1000.0, rated)
    assert (np.diff(f) <= 1e-9).all()
    assert (f[h <= 0.0669 * 200.0] == 1000.0).all()
    assert f[-1] == pytest.approx(500.0)


def test_long_rod_tends_to_the_infinite_one():
    a = np.linspace(0.0, math.pi, 50)
    assert np.allclose(Crank(100.0, 1e7).height(a), Crank(100.0).height(a), atol=2e-4)
    short = Crank(100.0, 200.0)  # a finite rod lifts the slide faster near the bottom
    assert float(short.height(0.5)) > float(Crank(100.0).height(0.5))
    assert float(short.height(1e-6)) > 0.0


def test_speed_is_the_way_in_the_time():
    crank = Crank(160.0, 500.0)
    omega = 2 * math.pi * 40 / 60
    t = 1e-5
    a = float(crank.angle(30.0))
    assert float(crank.speed(30.0, 40.0)) == pytest.approx((float(crank.height(a + omega * t)) - 30.0) / t, rel=1e-3)


def test_flywheel():
    assert flywheel_energy(100.0, 10.0, 0.1) == pytest.approx(0.5 * 100.0 * (100.0 - 81.0))


def test_refusals():
    with pytest.raises(InputError, match="connecting rod"):
        Crank(100.0, 50.0)
    with pytest.raises(InputError, match="stroke"):
        Crank(0.0)
    with pytest.raises(InputError, match="outside the stroke"):
        Crank(100.0).angle(101.0)
    with pytest.raises(InputError, match="outside the stroke"):
        Crank(100.0).angle(math.nan)
    with pytest.raises(InputError, match="either an angle or a distance"):
        Crank(100.0).rated_angle()
    with pytest.raises(InputError, match="either an angle or a distance"):
        Crank(100.0).rated_angle(angle_deg=30.0, distance=5.0)
    with pytest.raises(InputError, match="slow-down"):
        flywheel_energy(1.0, 1.0, 1.5)

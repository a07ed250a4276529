"""Load centre, moment, work, press reserve."""

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.tryout.loads import against_press, resultant, work


def test_an_even_load_has_its_centre_in_the_middle_and_no_moment():
    a = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    points = np.column_stack([50 * np.cos(a), 50 * np.sin(a), np.full(16, -20.0)])
    forces = np.column_stack([-30 * np.cos(a), -30 * np.sin(a), np.full(16, 100.0)])
    r = resultant(points, forces)
    np.testing.assert_allclose(r.force, [0, 0, 1600], atol=1e-9)
    np.testing.assert_allclose(r.centre, 0.0, atol=1e-9)
    assert r.tilt == pytest.approx(0.0, abs=1e-6)


def test_an_eccentric_load_tilts_the_slide():
    points = np.array([[[40.0, -10, 0]], [[40, -10, 5]]])
    forces = np.array([[[0.0, 0, 1000]], [[200, 0, 1000]]])
    r = resultant(points, forces)
    np.testing.assert_allclose(r.centre, [[40, -10], [40, -10]])
    np.testing.assert_allclose(r.moment[0], [-10_000, -40_000])
    np.testing.assert_allclose(r.moment[1], [-10_000, -40_000 + 1000])
    assert r.tilt[0] == pytest.approx(np.hypot(1e4, 4e4))
    assert resultant(points, forces, (40.0, -10.0, 0.0)).tilt[0] == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(resultant(points, forces, (40.0, -10.0, 0.0)).centre[0], [40, -10])


def test_without_load_there_is_no_centre():
    assert np.isnan(resultant(np.ones((4, 3)), np.zeros((4, 3))).centre).all()


def test_work_is_the_area_under_the_curve():
    s = np.linspace(0, 50, 201)
    assert work(s, 2000.0 * s) == pytest.approx(0.5 * 2000 * 50**2 / 1000)
    there_and_back = np.concatenate([s, s[::-1]])
    assert work(there_and_back, 2000.0 * there_and_back) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(InputError, match="gaps"):
        work(s, np.full(201, np.nan))


def test_the_press_is_too_weak_where_the_curves_cross():
    stroke = np.linspace(0, 40, 81)
    height = 40.0 - stroke
    need = 10.0 * stroke  # 400 kN at the bottom
    x, y = np.array([0.0, 10, 20, 40]), np.array([500.0, 500, 150, 100])
    r = against_press(stroke, height, need, x[::-1], y[::-1])
    # need 10 s passes 150 + 35 (s - 20) down from 150 at s 20: below s 20 the press gives 100 + 2.5 s -> cross at 13.33
    assert r.from_stroke == pytest.approx(40.0 / 3.0, abs=1e-6)
    assert r.stroke == pytest.approx(20.0)
    assert r.height == pytest.approx(20.0)
    assert (r.need_kN, r.have_kN) == (pytest.approx(200.0), pytest.approx(150.0))
    assert r.share == pytest.approx(200 / 150)
    strong = against_press(stroke, height, need, x, y + 400)
    assert strong.from_stroke is None
    assert strong.share < 1.0


def test_a_press_that_gives_nothing_is_infinitely_overloaded():
    r = against_press(np.arange(3.0), np.arange(3.0)[::-1], np.ones(3), np.array([0.0, 5.0]), np.zeros(2))
    assert r.share == np.inf
    assert r.from_stroke == 0.0


def test_refusals():
    with pytest.raises(InputError, match="one length"):
        against_press(np.arange(3.0), np.arange(2.0), np.ones(3), np.arange(2.0), np.ones(2))
    with pytest.raises(InputError, match="not finite"):
        against_press(np.arange(3.0), np.arange(3.0), np.array([1, np.nan, 1]), np.arange(2.0), np.ones(2))

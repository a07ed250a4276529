"""Draw-in and flange left, on outlines whose answers are known."""

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.tryout.edge import draw_in, flange_left


def circle(r, n=180, centre=(0.0, 0.0)):
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.asarray(centre) + r * np.column_stack([np.cos(a), np.sin(a)])


def square(half, n=20):
    side = np.linspace(-half, half, n, endpoint=False)
    one = np.full(n, half)
    return np.concatenate([np.column_stack(c) for c in ((side, -one), (one, side), (-side, one), (-one, -side))])


@pytest.mark.parametrize("turn", [1, -1])
def test_a_round_blank_comes_in_evenly(turn):
    found = draw_in(circle(100)[::turn], np.column_stack([circle(92)[::turn], np.full(180, 5.0)]))
    np.testing.assert_allclose(found.every, 8.0, atol=0.02)
    assert len(found.stations) == 10
    for k, s in enumerate(found.stations[:8]):
        assert s.mm == pytest.approx(8.0, abs=0.02)
        assert np.allclose(s.at, 100 * np.array([np.cos(k * np.pi / 4), np.sin(k * np.pi / 4)]), atol=0.05)


def test_it_is_the_edge_that_is_measured_not_the_material():
    """A blank that only slides round its own middle does not come in."""
    a = np.radians(7.0)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    assert np.abs(draw_in(circle(100), circle(100) @ turn.T).every).max() < 0.03


def test_a_shifted_blank_comes_in_on_one_side_and_out_on_the_other():
    found = draw_in(circle(100), circle(100, centre=(3.0, 0.0)))
    at = {s.name: s for s in found.stations}
    assert at["0 degrees"].mm == pytest.approx(-3.0, abs=0.01)
    assert at["180 degrees"].mm == pytest.approx(3.0, abs=0.01)
    assert at["largest"].mm == pytest.approx(3.0, abs=0.02)
    assert at["largest"].at[0] == pytest.approx(-100.0, abs=0.5)
    assert at["least"].mm == pytest.approx(-3.0, abs=0.02)


def test_a_square_blank_comes_in_on_its_sides():
    start = square(100.0)
    now = start.copy()
    right = start[:, 0] >= 100.0 - 1e-9
    now[right, 0] -= 12.0 * np.cos(np.pi * start[right, 1] / 200.0)
    found = draw_in(start, now)
    at = {s.name: s.mm for s in found.stations}
    assert at["0 degrees"] == pytest.approx(12.0, abs=0.05)
    assert at["90 degrees"] == pytest.approx(0.0, abs=1e-6)
    assert at["largest"] == pytest.approx(12.0, abs=0.05)


def test_flange_left_counts_from_the_end_of_the_radius():
    opening = circle(50, 720)
    left = flange_left(np.column_stack([circle(80), np.zeros(180)]), opening, 8.0)
    np.testing.assert_allclose(left, 22.0, atol=0.02)
    assert flange_left(circle(55), opening, 8.0).max() < -2.9
    np.testing.assert_allclose(flange_left(circle(45), opening, 8.0), -13.0, atol=0.02)


def test_refusals():
    with pytest.raises(InputError, match="do not belong together"):
        draw_in(circle(10), circle(10, 20))
    with pytest.raises(InputError, match="no area"):
        draw_in(np.zeros((5, 2)) + np.arange(5)[:, None], np.zeros((5, 2)))
    with pytest.raises(InputError, match="opening line"):
        flange_left(circle(10), np.array([[0.0, 0], [1, 1], [1, 0], [0, 1]]), 1.0)

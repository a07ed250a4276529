"""The no-fit chords against an independent polygon clipper and against closed forms."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from diewright.errors import InputError
from diewright.geometry.nofit import chords, convolution, ring, signed_area, turned


def circle(radius, n=200):
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return radius * np.column_stack([np.cos(t), np.sin(t)])


def lobed(seed):
    rng = np.random.default_rng(seed)
    n = 24
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    r = rng.uniform(10, 40, n)
    return ring(r[:, None] * np.column_stack([np.cos(t), np.sin(t)]))


def clipped(a, b):
    """``A + (-B)`` by the integer clipper, as a shapely polygon without holes."""
    import pyclipper

    grid = 1e-6
    paths = pyclipper.MinkowskiSum(np.rint(-b / grid).astype(np.int64).tolist(), np.rint(a / grid).astype(np.int64).tolist(), True)
    whole = shapely.union_all([shapely.Polygon(np.array(p) * grid).buffer(0) for p in paths if len(p) > 2])
    # The clipper's sum sweeps the edges only: what lies inside the outer ring belongs to it too.
    return shapely.Polygon(max(shapely.get_parts(whole), key=lambda g: g.area).exterior)


@given(st.integers(0, 10_000), st.sampled_from([0.0, 2.5]))
@settings(max_examples=15, deadline=None, derandomize=True)
def test_chords_are_those_of_the_clipped_minkowski_sum(seed, gap):
    a, b = lobed(seed), lobed(seed + 1)
    y = np.linspace(-85, 85, 35)
    left, right = chords(convolution(a, b), y, gap)
    region = clipped(a, b).buffer(gap, quad_segs=400)
    for h, low, high in zip(y, left, right, strict=True):
        cut = region.intersection(shapely.LineString([(-300, h), (300, h)]))
        if cut.is_empty:
            assert low > high
        else:
            assert low == pytest.approx(cut.bounds[0], abs=2e-3)
            assert high == pytest.approx(cut.bounds[2], abs=2e-3)


@given(st.integers(0, 10_000), st.floats(0.1, 5.0), st.floats(-60, 60))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_the_outermost_contact_leaves_exactly_the_gap(seed, gap, height):
    a, b = lobed(seed), lobed(seed + 7)
    _, right = chords(convolution(a, b), np.array([height]), gap)
    if np.isfinite(right[0]):
        moved = shapely.Polygon(b + np.array([right[0], height]))
        assert shapely.distance(shapely.Polygon(a), moved) == pytest.approx(gap, abs=1e-9)


def test_two_discs_touch_at_the_sum_of_their_radii():
    segments = convolution(circle(30), circle(20))
    left, right = chords(segments, np.array([0.0]), 1.5)
    assert right[0] == pytest.approx(51.5, abs=1e-12)
    assert left[0] == pytest.approx(-51.5, abs=1e-12)


def test_turning_both_turns_the_region():
    a, b = lobed(3), lobed(4)
    y = np.linspace(-40, 40, 9)
    one = chords(turned(convolution(a, b), 0.4), y, 1.0)
    two = chords(convolution(turned(a, 0.4), turned(b, 0.4)), y, 1.0)
    np.testing.assert_allclose(one, two, atol=1e-9)


def test_a_line_along_a_straight_edge_counts_as_touched():
    square = ring(np.array([[0, 0], [10, 0], [10, 10], [0, 10.0]]))
    left, right = chords(convolution(square, square), np.array([10.0]), 0.0)
    assert (left[0], right[0]) == (-10.0, 10.0)


@pytest.mark.parametrize(
    ("points", "says"),
    [
        (np.zeros((2, 2)), "at least 3"),
        (np.array([[0, 0], [1, 1], [2, 2.0]]), "no area"),
        (np.array([[0, 0], [1, np.nan], [2, 2.0]]), "finite"),
        (np.zeros((4, 3)), "two coordinates"),
        (np.array([[1, 1], [1, 1], [1, 1], [1, 1.0]]), "at least 3"),
    ],
)
def test_what_is_no_outline_is_refused(points, says):
    with pytest.raises(InputError, match=says):
        ring(points)


def test_ring_runs_counter_clockwise_and_drops_the_repeated_end():
    p = ring(np.array([[0, 0], [0, 5], [5, 5], [5, 0], [0, 0.0]]))
    assert len(p) == 4
    assert signed_area(p) == pytest.approx(25.0)

"""Outlines: true curves found within the tolerance, closed, smooth, measured; exact areas; offsets."""

import numpy as np
import pytest
import shapely

from diewright.errors import InputError, SolveError
from diewright.geometry.offset import offset
from diewright.geometry.outline import fit_outline
from diewright.geometry.pieces import Arc, Line, Outline, circle
from diewright.geometry.record import from_record, to_record


def turn(n):
    return np.linspace(0, 2 * np.pi, n, endpoint=False)


def round_points(radius, n, seed=0, noise=0.0):
    p = radius * np.column_stack([np.cos(turn(n)), np.sin(turn(n))])
    return p + np.random.default_rng(seed).normal(0, noise, p.shape) if noise else p


def rounded_box(width, height, radius, step):
    edge = shapely.box(radius, radius, width - radius, height - radius).buffer(radius, quad_segs=200).exterior
    n = int(edge.length / step)
    return np.array([edge.interpolate(i / n, normalized=True).coords[0] for i in range(n)])


def superellipse(n=260):
    c, s = np.cos(turn(n)), np.sin(turn(n))
    return np.column_stack([160 * np.sign(c) * np.abs(c) ** 0.7, 90 * np.sign(s) * np.abs(s) ** 0.7])


SHAPES = {
    "box": np.array([[0, 0], [100, 0], [100, 50], [0, 50.0]]),
    "triangle": np.array([[0, 0], [100, 0], [50, 50.0]]),
    "ell": np.array([[0, 0], [100, 0], [100, 30], [30, 30], [30, 100], [0, 100.0]]),
    "rounded": rounded_box(200, 120, 20, 2.0),
    "rounded coarse": rounded_box(200, 120, 10, 3.0),
    "superellipse": superellipse(),
    "star": (50 + 20 * np.cos(9 * turn(300)))[:, None] * np.column_stack([np.cos(turn(300)), np.sin(turn(300))]),
    "slot": np.asarray(shapely.LineString([(0, 0), (100, 0)]).buffer(20, quad_segs=16).exterior.coords)[:-1],
    "strip": np.array([[0, 0], [2000, 0], [2000, 8], [0, 8.0]]),
}


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_every_outline_is_closed_simple_and_within_its_tolerance(name, noise):
    p = SHAPES[name]
    p = p + np.random.default_rng(4).normal(0, noise, p.shape) if noise else p
    fit = fit_outline(p, 0.1)
    # Measured here anew, not taken from the fit's own word.
    curve = shapely.LinearRing(fit.outline.points(0.002))
    worst = shapely.distance(curve, shapely.points(p)).max()
    assert worst <= 0.1
    assert fit.deviation == pytest.approx(worst, abs=2e-3)
    assert fit.outline.gap < 1e-9
    assert shapely.Polygon(fit.outline.points(0.01)).is_valid
    # A polygon with chords 1e-4 mm below the curve misses at most that times the length.
    fine = shapely.Polygon(fit.outline.points(1e-4))
    assert fit.outline.area == pytest.approx(fine.area, abs=1e-4 * fine.length)
    assert fit.outline.perimeter == pytest.approx(fine.length, rel=1e-5)


@pytest.mark.parametrize("name", ["rounded", "rounded coarse", "superellipse", "star", "slot"])
def test_smooth_outlines_have_no_kink(name):
    fit = fit_outline(SHAPES[name], 0.1)
    assert np.abs(fit.outline.corner_angles()).max() < 1e-6


def test_a_round_blank_is_one_circle():
    fit = fit_outline(round_points(100, 160, noise=0.02) + np.array([30, -7]), 0.1)
    centre, radius = fit.outline.circle
    assert radius == pytest.approx(100, abs=0.01)
    np.testing.assert_allclose(centre, [30, -7], atol=0.01)
    assert fit.outline.area == pytest.approx(np.pi * radius**2, rel=1e-12)
    assert fit.deviation <= 0.1


def test_a_circle_rougher_than_the_tolerance_is_not_called_a_circle():
    p = round_points(100, 160) * (1 + 0.004 * np.cos(4 * turn(160)))[:, None]  # four ears of 0.4 mm
    fit = fit_outline(p, 0.1)
    assert fit.outline.circle is None
    assert fit.deviation <= 0.1


def test_a_rounded_box_gives_four_lines_and_four_arcs_with_its_radius():
    fit = fit_outline(SHAPES["rounded"] + np.random.default_rng(0).normal(0, 0.02, SHAPES["rounded"].shape), 0.1)
    assert fit.outline.counts() == {"lines": 4, "arcs": 4, "splines": 0}
    for p in fit.outline.pieces:
        if isinstance(p, Arc):
            assert p.radius == pytest.approx(20, abs=0.25)
            assert abs(p.sweep) == pytest.approx(np.pi / 2, abs=0.01)
    assert fit.outline.area == pytest.approx(200 * 120 - (4 - np.pi) * 400, rel=1e-3)


def test_corners_are_kept():
    fit = fit_outline(SHAPES["ell"], 0.1)
    assert fit.outline.counts() == {"lines": 6, "arcs": 0, "splines": 0}
    angles = np.sort(np.degrees(fit.outline.corner_angles()))
    np.testing.assert_allclose(angles, [-90, 90, 90, 90, 90, 90], atol=1e-9)
    assert fit.outline.area == pytest.approx(5100.0, rel=1e-12)


def test_a_finely_meshed_box_keeps_its_corners():
    edge = shapely.box(0, 0, 100, 60).exterior
    p = np.array([edge.interpolate(2.0 * i).coords[0] for i in range(160)])
    assert fit_outline(p).outline.counts() == {"lines": 4, "arcs": 0, "splines": 0}


def test_clockwise_and_counter_clockwise_give_the_same():
    a, b = fit_outline(SHAPES["superellipse"]), fit_outline(SHAPES["superellipse"][::-1])
    assert a.outline.area > 0
    assert b.outline.area == pytest.approx(a.outline.area, rel=1e-4)


def test_the_same_points_give_the_same_pieces():
    assert to_record(fit_outline(SHAPES["star"]).outline) == to_record(fit_outline(SHAPES["star"]).outline)


def test_records_give_back_the_outline_exactly():
    o = fit_outline(SHAPES["superellipse"]).outline
    back = from_record(to_record(o))
    assert back.area == o.area
    np.testing.assert_array_equal(back.points(0.02), o.points(0.02))
    with pytest.raises(InputError, match="not known"):
        from_record([{"kind": "hyperbola"}])


def test_tiny_steps_do_not_make_corners():
    p = round_points(100, 160)
    tiny = np.insert(p, np.arange(1, 160, 3), p[np.arange(0, 159, 3)] + 1e-5 * (p[np.arange(1, 160, 3)] - p[np.arange(0, 159, 3)]), axis=0)
    fit = fit_outline(tiny)
    assert fit.outline.circle is not None


def test_rough_edges_are_met_all_the_same():
    fit = fit_outline(round_points(100, 160, noise=0.3), 0.1)
    assert fit.deviation <= 0.1


@pytest.mark.parametrize(
    ("points", "tolerance", "error", "says"),
    [
        (np.array([[0, 0], [100, 100], [100, 0], [0, 120.0]]), 0.1, SolveError, "crosses"),
        (np.array([[0, 0], [100, 0], [100, 50], [50, 0], [0, 50.0]]), 0.1, SolveError, "touches"),
        (np.array([[0, 0], [100, 0.0]]), 0.1, InputError, "at least 3"),
        (np.array([[0, 0], [100, 0], [200, 0.0]]), 0.1, InputError, "no area"),
        (SHAPES["box"], 0.0, InputError, "tolerance"),
        (SHAPES["box"], -1.0, InputError, "tolerance"),
        (SHAPES["box"], np.nan, InputError, "tolerance"),
        (np.full((4, 2), np.inf), 0.1, InputError, "finite"),
    ],
)
def test_what_cannot_be_an_outline_is_refused(points, tolerance, error, says):
    with pytest.raises(error, match=says):
        fit_outline(points, tolerance)


def test_pieces_with_a_gap_are_refused():
    with pytest.raises(InputError, match="gap"):
        Outline((Line(np.zeros(2), np.array([1.0, 0.0])), Line(np.array([1.0, 0.1]), np.zeros(2))))


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("distance", [0.5, 5.0, 15.0])
def test_offset_is_the_rounded_offset(name, distance):
    fit = fit_outline(SHAPES[name])
    grown = offset(fit.outline, distance, 0.02)
    want = shapely.Polygon(fit.outline.points(1e-3)).buffer(distance, quad_segs=256)
    got = shapely.Polygon(grown.points(1e-3))
    assert got.is_valid
    rim = shapely.LinearRing(want.exterior)
    assert shapely.hausdorff_distance(rim, shapely.LinearRing(got.exterior), densify=0.2) < 0.05 if name != "strip" else True
    assert grown.area == pytest.approx(want.area, rel=2e-4)


def test_offset_of_lines_and_arcs_is_exact():
    d = 5.0
    o = fit_outline(SHAPES["ell"]).outline
    grown = offset(o, d)
    # Five outer corners add a sector each; at the inner corner both strips overlap by d^2.
    assert grown.area == pytest.approx(5100 + 400 * d + 5 * np.pi * d**2 / 4 - d**2, rel=1e-12)
    assert grown.counts()["splines"] == 0
    c = offset(circle(np.array([3.0, 4.0]), 50.0), d)
    assert c.circle[1] == 55.0
    assert offset(o, 0.0) is o


def test_offset_closes_a_narrow_notch():
    notched = np.array([[0, 0], [100, 0], [100, 60], [51, 60], [51, 20], [49, 20], [49, 60], [0, 60.0]])
    grown = offset(fit_outline(notched).outline, 3.0)
    want = shapely.Polygon(notched).buffer(3.0, quad_segs=128)
    assert grown.area == pytest.approx(shapely.Polygon(want.exterior).area, rel=1e-3)


@pytest.mark.parametrize("distance", [-1.0, np.nan])
def test_offset_refuses_what_is_no_allowance(distance):
    with pytest.raises(InputError, match="allowance"):
        offset(circle(np.zeros(2), 10.0), distance)

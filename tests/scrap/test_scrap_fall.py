"""Free directions: closed forms, and a sweep that moves the piece for real."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import affinity

from diewright.trim.scrap.fall import GAP, Free, _outside, chute, free_directions, run_of, way_out


def sector(inner, outer, wrap_deg, n=400):
    a = np.radians(np.linspace(-wrap_deg / 2, wrap_deg / 2, n))
    ring = np.vstack([np.column_stack([np.cos(a), np.sin(a)]) * outer, (np.column_stack([np.cos(a), np.sin(a)]) * inner)[::-1]])
    return shapely.Polygon(ring)


POST = shapely.Point(0, 0).buffer(1000.0, quad_segs=200)


@pytest.mark.parametrize("wrap", [40.0, 120.0, 170.0])
def test_a_sector_round_a_round_post_is_free_over_180_less_its_wrap(wrap):
    free = free_directions(sector(1000.0, 1020.0, wrap), POST)
    slack = 2 * math.degrees(math.acos(1000.0 / (1000.0 + GAP)))  # drawn back, its ends may lean in a little
    assert free.total_deg == pytest.approx(180.0 - wrap + slack, abs=0.3)
    assert len(free.spans) == 1
    assert way_out(free, np.array([1.0, 0.0]), lambda a: 0.0) == pytest.approx(0.0, abs=1e-6)


def test_what_wraps_by_more_than_half_or_all_round_is_hooked():
    assert free_directions(sector(1000.0, 1020.0, 184.0), POST).spans == ()
    assert free_directions(sector(1000.0, 1020.0, 300.0), POST).spans == ()
    assert free_directions(shapely.Point(0, 0).buffer(1020.0).difference(POST), POST).spans == ()


def test_a_bar_on_a_wall_is_free_over_half_a_turn_and_in_a_slot_only_along_it():
    wall = shapely.box(-500, -100, 500, 0)
    assert free_directions(shapely.box(-20, 0, 20, 10), wall).total_deg == pytest.approx(180.0, abs=0.5)
    slot = shapely.box(-50, -50, 50, 50).difference(shapely.box(-10, 0, 10, 50))
    free = free_directions(shapely.box(-10, 0, 10, 30), slot)
    # drawn back by g on both sides: its upper or lower corner meets the mouth 50 mm further on
    assert free.total_deg == pytest.approx(math.degrees(2 * math.atan(2 * GAP / 50) - 0), rel=0.6)
    assert free.holds(math.pi / 2)
    assert not free.holds(math.pi / 2 + 0.05)
    dovetail = shapely.Polygon([(-50, -50), (50, -50), (50, 50), (5, 50), (15, 0), (-15, 0), (-5, 50), (-50, 50)])
    assert free_directions(shapely.Polygon([(-15, 0), (15, 0), (5, 50), (-5, 50)]), dovetail).spans == ()


def test_a_piece_that_lies_over_the_post_has_no_way():
    assert free_directions(shapely.box(-5, -5, 30, 5), shapely.box(-50, -50, 20, 50)).spans == ()
    assert free_directions(shapely.box(-5, -5, 5, 5), shapely.box(-50, -50, 50, 50)).spans == ()


def test_angles_that_run_over_the_end_cover_the_beginning():
    deg = np.radians
    free = _outside(deg(np.array([350.0, 5.0, 20.0, 200.0])), deg(np.array([40.0, 1.0, 1.0, 10.0])))
    assert [tuple(np.degrees(s).round(6)) for s in free.spans] == [(30.0, 170.0), (210.0, 140.0)]
    assert Free(((deg(350.0), deg(20.0)),)).holds(deg(5.0))


def star(rng, n, centre, size):
    a = np.sort(rng.uniform(0, 2 * np.pi, n))
    return shapely.Polygon(np.column_stack([np.cos(a), np.sin(a)]) * (size * rng.uniform(0.3, 1.0, n))[:, None] + centre)


@pytest.mark.parametrize("seed", range(12))
def test_free_directions_are_those_along_which_a_swept_piece_meets_nothing(seed):
    rng = np.random.default_rng(seed)
    post = star(rng, 14, (0.0, 0.0), 50.0)
    piece = star(rng, 11, rng.uniform(-50, 50, 2), 25.0).difference(post.buffer(0.2))
    piece = max(getattr(piece, "geoms", [piece]), key=lambda g: g.area)
    piece = shapely.Polygon(piece.exterior)
    if piece.intersects(post):
        pytest.skip("the piece surrounds the post")
    free = free_directions(piece, post)
    smaller = piece.buffer(-GAP - 0.03)  # drawn back, and both outlines simplified by a hundredth
    counted = 0
    for angle in np.radians(np.arange(0.5, 360.0, 3.0)):
        u = 300.0 * np.array([math.cos(angle), math.sin(angle)])
        if free.holds(angle):
            assert not swept(smaller, u).intersects(post), math.degrees(angle)
        else:
            assert swept(piece, u).intersects(post), math.degrees(angle)
        counted += 1
    assert counted == 120


def swept(shape, u):
    """What a polygon passes over on its way: itself and its edges' parallelograms."""
    rings = [np.asarray(g.exterior.coords) for g in getattr(shape, "geoms", [shape])]
    return shapely.union_all([shape, *(shapely.MultiPoint([p, q, p + u, q + u]).convex_hull for c in rings for p, q in pairwise(c))])


def test_the_way_is_square_to_the_press_where_that_is_free_and_leads_outwards():
    free = free_directions(sector(1000.0, 1020.0, 60.0), POST)
    turned = free_directions(affinity.rotate(sector(1000.0, 1020.0, 60.0), 37, origin=(0, 0)), POST)
    assert way_out(free, np.array([1.0, 0.0]), lambda a: 1.0) == pytest.approx(0.0, abs=1e-9)
    u = math.radians(37)
    # 0 and 90 deg are both free: the shorter run decides
    assert way_out(turned, np.array([math.cos(u), math.sin(u)]), lambda a: 1.0 if a > 1 else 2.0) == pytest.approx(math.pi / 2)
    assert way_out(turned, np.array([math.cos(u), math.sin(u)]), lambda a: 2.0 if a > 1 else 1.0) == pytest.approx(0.0)
    assert way_out(free_directions(sector(1000.0, 1020.0, 200.0), POST), np.array([1.0, 0.0]), lambda a: 1.0) is None


def test_a_chute_falls_by_its_run_times_the_tangent():
    points = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 10.0], [0.0, 10.0]])
    assert run_of(points, 0.0, (-200.0, -50.0, 300.0, 50.0)) == pytest.approx(300.0)
    assert run_of(points, math.pi / 2, (-200.0, -50.0, 300.0, 50.0)) == pytest.approx(50.0)
    c = chute(100.0, 5.0, 60.0, 30.0)
    assert c.needed == pytest.approx(100 * math.tan(math.radians(30)) + 5)
    assert c.angle == pytest.approx(math.degrees(math.atan(0.55)))

"""The draw bead's line, pieces and groove, and the pins of the blank: closed forms, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from die_parts import circle_line, rounded

from diewright.die.detail_locators import BIG, LOOSE, contact_rows, fixing, gyration, locate
from diewright.die.details import room
from diewright.errors import InputError
from diewright.mechanics.forming.bead_line import INNER, auto_offset, bead_line, groove, turning_radius

BOX = rounded([(-100, -60), (100, -60), (100, 60), (-100, 60)], 12.0)


def test_round_a_round_opening_the_line_is_a_circle():
    line = bead_line(circle_line(50.0, 720), 10.0, 8.0, 40.0)
    assert line.length == pytest.approx(2 * math.pi * 60.0, rel=1e-3)
    assert np.hypot(*line.points.T) == pytest.approx(60.0, abs=0.02)
    assert line.radius == pytest.approx(60.0, rel=0.03)
    assert line.on.all()
    assert line.cut.tolist() == [True]
    assert line.bounds[0] == pytest.approx([0.0, line.length])


def test_a_line_that_turns_too_tightly_all_round_is_not_cut():
    line = bead_line(circle_line(20.0, 720), 10.0, 8.0, 40.0)
    assert not line.on.any()
    assert line.cut.tolist() == [False]


def test_the_bead_of_a_box_is_left_out_in_its_four_corners():
    line = bead_line(BOX, 13.0, 8.0, 40.0)
    assert line.cut.sum() == 4
    assert (~line.cut).sum() == 4
    assert (line.bounds[:, 1] - line.bounds[:, 0]).sum() == pytest.approx(line.length)
    corner = (np.abs(line.points[:, 0]) > 88.0) & (np.abs(line.points[:, 1]) > 48.0)
    assert not line.on[corner].any()
    # straight sides of 176 and 96 mm, less the run-out of a groove's width at either end
    assert line.on.mean() * line.length == pytest.approx(2 * (176 + 96) - 8 * 16.0, abs=12.0)
    assert line.radius[corner].min() == pytest.approx(25.0, rel=0.05)


def test_short_pieces_between_corners_go_too():
    small = rounded([(-100, -40), (100, -40), (100, 40), (-100, 40)], 12.0)
    line = bead_line(small, 13.0, 8.0, 40.0)
    assert line.cut.sum() == 2  # the ends of 56 mm less run-out are shorter than four widths
    ends = np.abs(line.points[:, 0]) > 112.0
    assert not line.on[ends].any()


def test_inner_corners_are_rounded_and_keep_the_offset():
    shape = rounded([(-100, -60), (100, -60), (100, 60), (0, 60), (0, 0), (-100, 0)], 4.0)
    line = bead_line(shape, 13.0, 8.0, 30.0)
    assert shapely.distance(shapely.LinearRing(line.points), shapely.LinearRing(shape)) == pytest.approx(13.0, abs=0.05)
    inner = line.radius < 0
    assert inner.any()
    assert -line.radius[inner].max() >= 0.9 * INNER * 8.0
    assert line.on[inner & (np.hypot(*(line.points - np.array([-13.0, 13.0])).T) < 10.0)].all(), (
        "an inner corner stretches the sheet: the bead stays"
    )


def test_turning_radius_has_a_sign_and_straight_lines_have_none():
    ring = circle_line(30.0, 360)
    assert turning_radius(ring, 2 * math.pi * 30.0, 5.0) == pytest.approx(30.0, rel=0.01)
    assert turning_radius(ring[::-1], 2 * math.pi * 30.0, 5.0) == pytest.approx(-30.0, rel=0.01)
    square = np.column_stack([np.linspace(0, 400, 400, endpoint=False), np.zeros(400)])
    assert np.isinf(turning_radius(square, 400.0, 3.0)[10:-10]).all()


def test_groove_by_section():
    g = groove("round", 4.0, 5.0, 3.0, 1.0)
    assert (g.flat, g.width, g.gap) == (0.0, 8.0, 1.1)
    assert (g.groove_width, g.mouth, g.depth) == pytest.approx((10.2, 18.2, 5.5))
    s = groove("square", 3.0, 5.0, 6.0, 2.0)
    assert (s.width, s.groove_width, s.mouth, s.depth) == pytest.approx((12.0, 16.4, 22.4, 6.0))
    assert groove("locking", 3.0, 5.0, 0.0, 2.0).gap == 2.0
    with pytest.raises(InputError, match="0 mm high"):
        groove("round", 4.0, 0.0, 0.0, 1.0)


def test_auto_offset_is_that_of_the_tryout():
    from diewright.job.stage import Result
    from diewright.tryout.bead_line import bead_of

    strain = np.linspace(0, 2, 200)
    up = {
        "faces": Result(values={"die_radius": 6.0}, arrays={"opening": BOX}),
        "sheet": Result(tables={"hardening": {"strain": strain, "stress": 200 + 300 * strain**0.3}}),
    }
    for kind in ("round", "square", "locking"):
        theirs = bead_of(kind, 4.0, 3.0, "auto", 0.0, 1.0, 0.1, up, 0.0, 0.0)
        assert theirs is not None
        assert auto_offset(kind, 4.0, 1.0, 6.0) == theirs.offset
        assert bead_line(BOX, theirs.offset, 9.0, 0.0).length == pytest.approx(theirs.length, rel=1e-3)
    restraint = bead_of("none", 4.0, 3.0, "auto", 50.0, 1.0, 0.1, up, 0.0, 0.0)
    assert restraint is not None
    assert auto_offset("none", 4.0, 1.0, 6.0) == restraint.offset


def test_an_opening_that_crosses_itself_is_refused():
    with pytest.raises(InputError, match="crosses itself"):
        bead_line(np.array([[0, 0], [10, 10], [10, 0], [0, 10.0]]), 5.0, 2.0, 10.0)


def test_room_is_positive_inside():
    region = shapely.box(0, 0, 10, 10)
    assert room(np.array([[5.0, 5.0], [5.0, 12.0]]), region) == pytest.approx([5.0, -2.0])


# -- pins


def test_a_rectangle_lies_against_two_and_one():
    box = np.array([[-150, -80], [150, -80], [150, 80], [-150, 80.0]])
    p = locate(box, 10.0)
    assert np.abs(p.normal[:2]) == pytest.approx(np.array([[0, 1], [0, 1]]), abs=1e-9)
    assert np.abs(p.normal[2]) == pytest.approx([1, 0], abs=1e-9)
    assert abs(p.touch[0, 0] - p.touch[1, 0]) == pytest.approx(0.7 * 300.0, abs=4.0)
    assert np.linalg.norm(p.at - p.touch, axis=1) == pytest.approx(5.0)
    assert shapely.distance(shapely.points(p.at), shapely.Polygon(box)) == pytest.approx(5.0)
    # two unit rows that share y, apart by +-a: singular values from the 2x2 of y and turn, and the third pin's own arm is nothing
    a = 0.5 * abs(p.touch[0, 0] - p.touch[1, 0]) / gyration(shapely.Polygon(box))
    values = np.sort([math.sqrt(2.0), math.sqrt(2.0) * a, 1.0])
    assert p.rank == 3
    assert p.condition == pytest.approx(values[2] / values[0], rel=0.02)


def test_pins_do_not_depend_on_where_the_outline_begins():
    shape = rounded([(-100, -60), (120, -50), (100, 60), (-90, 70)], 15.0)
    first, again = locate(shape, 8.0), locate(np.roll(shape, 17, axis=0), 8.0)
    assert again.at == pytest.approx(first.at, abs=1e-6)


def test_a_round_blank_keeps_its_turn_free():
    p = locate(circle_line(80.0, 720), 10.0)
    assert p.rank == 2
    assert math.isinf(p.condition)
    rows = contact_rows(p.touch, p.normal, np.zeros(2), 80.0)
    assert rows @ [0.0, 0.0, 1.0] == pytest.approx(0.0, abs=0.01), "the free motion is the turn"


def test_rank_and_condition_of_known_rows():
    assert fixing(np.eye(3)) == (3, pytest.approx(1.0))
    assert fixing(np.array([[1.0, 0, 0], [1.0, 0, 0], [0, 1.0, 0]])) == (2, math.inf)


def test_gyration_of_a_rectangle():
    assert gyration(shapely.box(3, 4, 3 + 30, 4 + 40)) == pytest.approx(math.sqrt((30**2 + 40**2) / 12.0))


def test_big_blanks_get_loose_pins():
    w = 0.55 * BIG
    p = locate(np.array([[-w, -80], [w, -80], [w, 80], [-w, 80.0]]), 10.0)
    assert p.loose.tolist() == [False] * 3 + [True] * 3
    assert np.linalg.norm(p.at - p.touch, axis=1) == pytest.approx(5.0 + LOOSE * p.loose)
    assert len(np.unique(p.touch.round(3), axis=0)) == len(p.touch)


def test_a_jagged_blank_gives_thick_pins_no_room():
    at = np.pi * np.arange(40) / 20
    star = np.where(np.arange(40) % 2, 40.0, 80.0)[:, None] * np.column_stack([np.cos(at), np.sin(at)])
    with pytest.raises(InputError, match="find no side"):
        locate(star, 100.0)


def test_a_blank_that_crosses_itself_is_refused():
    with pytest.raises(InputError, match="outline crosses"):
        locate(np.array([[0, 0], [10, 10], [10, 0], [0, 10.0]]), 5.0)

"""Bending by closed forms: limits, continuity, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diewright.errors import InputError, SolveError
from diewright.trim.bends import law

SOFT = law.Bending.of(np.linspace(0.0, 2.0, 2001), 165.0 * (1.0 + np.linspace(0.0, 2.0, 2001) / 0.002) ** 0.1, 207_000.0, 1.0, 0.3)


def test_the_neutral_fibre_moves_in_as_the_bend_gets_tighter_and_never_leaves_the_sheet():
    k = [law.neutral_k(r, 1.0) for r in np.geomspace(1e-6, 100.0, 200)]
    assert (np.diff(k) >= 0.0).all()
    assert (k[0], k[-1]) == (0.0, 1.0)
    assert law.neutral_k(0.0, 1.0) == 0.0


@pytest.mark.parametrize("angle", [20.0, 45.0, 89.999999, 90.0, 120.0, 165.0])
def test_legs_less_deduction_are_the_flats_and_the_neutral_fibre(angle):
    r, s, a, b = 3.0, 1.5, 40.0, 60.0
    half = (r + s) * (math.tan(math.radians(angle) / 2.0) if angle < 90.0 else 1.0)
    flat = (a - half) + (b - half) + math.radians(angle) * (r + 0.5 * law.neutral_k(r, s) * s)
    assert a + b - law.deduction(angle, r, s) == pytest.approx(flat, rel=1e-12)


def test_the_deduction_of_bends_below_fifteen_degrees_is_nothing_by_din_and_small_by_the_k_factor():
    assert law.deduction(14.99, 3.0, 1.0) == 0.0
    assert abs(law.deduction(14.99, 3.0, 1.0, 0.44)) < 0.16
    assert law.deduction(15.0, 3.0, 1.0) > 0.0


def test_a_v_die_needs_half_its_opening_along_the_leg():
    assert law.least_leg("v", 90.0, 2.0, 1.0, 10.0) == pytest.approx(10.0 / math.sqrt(2.0))
    assert law.least_leg("v", 1e-9, 2.0, 1.0, 10.0) == pytest.approx(5.0)
    assert law.least_leg("wipe", 90.0, 2.0, 1.0, 10.0) == 4.5


def test_the_tool_of_the_bend_leaves_the_bend():
    p = law.springback(SOFT, 90.0, 5.0)
    assert p.tool_radius < 5.0
    assert p.tool_angle > 90.0
    c = 1.0 / (p.tool_radius + 0.5)
    assert SOFT.released(c) == pytest.approx(1.0 / 5.5, rel=1e-9)
    assert p.tool_angle * SOFT.released(c) / c == pytest.approx(90.0)  # its own arc, let go


def test_an_elastic_bend_goes_back_altogether():
    yields = 165.0 * 2.0 / math.sqrt(3.0) / (207_000.0 / 0.91)
    assert SOFT.released(1.9 * yields) == pytest.approx(0.0, abs=1e-6 * yields)
    assert law.gardiner(1000.0, 1.0, 200.0, 200_000.0) == 0.0
    with pytest.raises(SolveError, match="no tool radius"):
        law.Bending.of(np.array([0.0, 1.0]), np.array([9e5, 9e5]), 200_000.0, 1.0, None).tool(0.5)


def test_wide_sheet_springs_more_than_a_strip_and_strong_sheet_more_than_soft():
    p, y = np.array([0.0, 2.0]), np.array([200.0, 200.0])
    strip, wide = (law.Bending.of(p, y, 200_000.0, 1.0, nu) for nu in (None, 0.3))
    strong = law.Bending.of(p, 3.0 * y, 200_000.0, 1.0, None)
    left = [law.springback(b, 90.0, 10.0).left for b in (strip, wide, strong)]
    assert left[2] < left[1] < left[0] < 1.0


def test_the_least_radius_grows_along_the_rolling_direction_with_strength_and_thickness():
    soft, along = law.least_radius("steel", 300.0, 2.0, 90.0)[0], law.least_radius("steel", 300.0, 2.0, 0.0)[0]
    assert (soft, along) == (2.5, 3.0)
    assert law.least_radius("steel", 450.0, 2.0, 90.0)[0] == 3.0
    assert law.least_radius("steel", 700.0, 2.0, 90.0) == (6.0, "ours: the steel is beyond the table of DIN 6935")
    assert law.least_radius("bronze", 300.0, 2.0, 90.0)[1] == "ours: the metal is in no table"
    grid = [law.least_radius("steel", rm, s, 90.0)[0] for rm in (300.0, 450.0, 600.0) for s in (0.5, 1.2, 2.0, 3.0, 4.0, 6.0, 12.0)]
    assert (np.diff(np.reshape(grid, (3, 7)), axis=1) > 0).all()
    assert (np.diff(np.reshape(grid, (3, 7)), axis=0) >= 0).all()


def test_edges_of_round_flanges_by_the_closed_form():
    """A hole of 40 mm flanged up to 50 mm by a tiny bend: ln(50/40)."""
    assert law.edge_strain(25.0, 1.0, 0.0, (5.0, 0.0), (law.reach(90.0, 0.0, 5.0), law.rise(90.0, 0.0, 5.0))) == pytest.approx(
        math.log(50.0 / 40.0)
    )
    assert law.edge_strain(25.0, -1.0, 0.0, (5.0, 0.0), (0.0, 5.0)) == pytest.approx(math.log(25.0 / 30.0))
    assert law.edge_strain(25.0, 1.0, 0.0, (25.0, 0.0), (0.0, 25.0)) == math.inf
    # a tube of 50 mm whose end is turned out by 5 mm, and in by 5 mm: the sheet that it hangs on is the tube itself
    assert law.edge_strain(25.0, 0.0, -1.0, (5.0, 0.0), (0.0, 5.0)) == pytest.approx(math.log(30.0 / 25.0))
    assert law.edge_strain(25.0, 0.0, 1.0, (5.0, 0.0), (0.0, 5.0)) == pytest.approx(math.log(20.0 / 25.0))
    assert law.edge_strain(25.0, 0.0, 1.0, (30.0, 0.0), (0.0, 30.0)) == -math.inf
    assert law.rise(90.0, 0.5 * math.pi * 3.0, 8.0) == pytest.approx(11.0)
    assert law.rise(0.0, 3.0, 8.0) == 0.0
    assert law.reach(0.0, 3.0, 5.0) == 8.0


def test_a_hem_takes_its_middle_fibre_of_the_flat():
    """Closed flat 0.43 s off both legs is an arc of 1.57 s: half a turn round the middle of the sheet, pi s/2, to the digits of the rule."""
    assert 2.0 - law.hem_deduction(0.0, 1.0) == pytest.approx(0.5 * math.pi, abs=0.005)
    assert law.hem_deduction(2.0, 1.0) == pytest.approx(law.deduction(180.0, 2.0, 1.0))


@pytest.mark.parametrize(
    "call",
    [
        lambda: law.bend_force("roll", 300.0, 100.0, 1.0, 8.0),
        lambda: law.bend_force("v", math.nan, 100.0, 1.0, 8.0),
        lambda: law.bend_force("v", 300.0, 100.0, 1.0, 0.0),
        lambda: law.neutral_k(-1.0, 1.0),
        lambda: law.neutral_k(1.0, 0.0),
        lambda: law.allowance(181.0, 1.0, 1.0, 0.4),
        lambda: law.allowance(90.0, 1.0, 1.0, 1.4),
        lambda: law.deduction(-5.0, 1.0, 1.0),
        lambda: law.least_leg("v", 180.0, 1.0, 1.0, 8.0),
        lambda: law.least_radius("steel", 300.0, 1.0, math.nan),
        lambda: law.edge_strain(0.0, 1.0, 0.0, (1.0, 0.0), (0.0, 1.0)),
        lambda: law.edge_strain(10.0, 1.0, 0.0, (math.nan, 0.0), (0.0, 1.0)),
        lambda: law.Bending.of(np.array([0.0, 0.0]), np.array([200.0, 210.0]), 2e5, 1.0, None),
        lambda: law.Bending.of(np.array([0.0, 1.0]), np.array([np.nan, 210.0]), 2e5, 1.0, None),
    ],
)
def test_numbers_that_cannot_be_used_are_refused(call):
    with pytest.raises(InputError):
        call()

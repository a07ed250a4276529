"""Handbook formulas: direction, scaling, and refusals."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diewright.errors import InputError
from diewright.press import drawing, holder, radii, ratios
from diewright.press.sequence import blank_diameter, cup_height, cup_sequence, number_of_draws
from diewright.sheet import cutting

few = settings(max_examples=60, deadline=None, derandomize=True)
thick = st.floats(0.2, 5.0)
size = st.floats(20.0, 600.0)
share = st.floats(1.1, 2.1)
rm = st.floats(150.0, 1200.0)


@few
@given(thick, size, share, rm)
def test_forces_grow_with_thickness_strength_and_ratio(s, d, beta, strength):
    here = drawing.draw_force_groover(d, s, strength, beta * d)
    assert drawing.draw_force_groover(d, 2 * s, strength, beta * d) == pytest.approx(2 * here)
    assert drawing.draw_force_groover(d, s, 3 * strength, beta * d) == pytest.approx(3 * here)
    assert drawing.draw_force_groover(d, s, strength, beta * d * 1.01) > here
    # N = mm mm MPa: lengths in a unit k times larger give a force k^2 times larger
    assert drawing.draw_force_groover(10 * d, 10 * s, strength, 10 * beta * d) == pytest.approx(100 * here)


@few
@given(thick, size, rm)
def test_the_wall_carries_ratio_1_7_in_the_handbook_form(s, d, strength):
    assert drawing.draw_force_groover(d, s, strength, 1.7 * d) == pytest.approx(drawing.bottom_tear_force(math.pi * d, s, strength))
    assert drawing.draw_force_oehler(math.pi * d, s, strength, 2.0, 2.0) == pytest.approx(
        1.2 * drawing.bottom_tear_force(math.pi * d, s, strength)
    )


@few
@given(size, share)
def test_equivalent_ratio_of_circles_is_the_draw_ratio(d, beta):
    big = math.pi / 4 * (beta * d) ** 2
    assert drawing.equivalent_ratio(big, math.pi / 4 * d**2) == pytest.approx(beta)


@few
@given(thick, size, share, rm)
def test_holder_pressure_falls_with_thickness_and_area_leaves_the_radius_out(s, d, beta, strength):
    assert holder.holder_pressure_siebel(beta, d, 2 * s, strength) < holder.holder_pressure_siebel(beta, d, s, strength)
    assert holder.holder_pressure_cubic(beta, beta * d, 2 * s, strength) < holder.holder_pressure_cubic(beta, beta * d, s, strength)
    assert holder.holder_area_round(beta * d, d, 0.0) == pytest.approx(math.pi / 4 * d**2 * (beta**2 - 1))
    assert holder.holder_area_round(beta * d, d, beta * d) == 0.0


@few
@given(st.floats(1.0, 2000.0), thick, st.floats(100.0, 900.0))
def test_cutting_force_and_its_relief(length, t, tau):
    force = cutting.blanking_force(length, t, tau)
    assert cutting.blanking_force(length, 2 * t, tau) == pytest.approx(2 * force)
    assert cutting.force_with_shear(force, t, 0.0) == pytest.approx(force)
    assert cutting.force_with_shear(force, t, t, 0.5) == pytest.approx(force / 3)
    assert 0.1 * force <= cutting.stripping_force(force) <= 0.2 * force


def test_inclined_blade_is_half_a_triangle():
    assert cutting.force_inclined_blade(2.0, 300.0, 30.0) == pytest.approx(0.5 * 300.0 * 4.0 * math.sqrt(3.0))


def test_clearance_classes():
    assert cutting.allowance("aluminium", 100.0, 40.0)[0] == 0.045
    assert cutting.allowance("aluminium", 280.0, 140.0)[0] == 0.060
    assert cutting.allowance("steel", 310.0, 170.0)[0] == 0.060
    assert cutting.allowance("steel", 620.0, 380.0)[0] == 0.075
    assert cutting.allowance("stainless", 620.0, 300.0)[0] == 0.060
    die, punch = cutting.piercing_sizes(10.0, 0.06)
    assert (die, punch) == (pytest.approx(10.12), 10.0)


@few
@given(st.floats(0.5, 2.5), st.floats(0.05, 0.5))
def test_limits_grow_with_r(r, n):
    assert ratios.limit_whiteley(r + 0.1) > ratios.limit_whiteley(r)
    assert ratios.limit_leu(r + 0.1, n) > ratios.limit_leu(r, n)


@few
@given(st.floats(0.02, 5.0))
def test_romanovskii_factors_fall_with_thickness_and_rise_with_the_draw(relative):
    factors, inside = ratios.romanovskii_factors(relative, 100.0)
    thicker, _ = ratios.romanovskii_factors(relative * 1.5, 100.0)
    assert inside == (0.08 <= relative <= 2.0)
    assert all(b <= a for a, b in zip(factors, thicker, strict=True))
    assert list(factors) == sorted(factors)


@few
@given(size, st.floats(0.3, 4.0), st.floats(0.0, 0.25))
def test_cup_height_is_the_inverse_of_the_blank(d, slim, corner):
    h, r = slim * d, corner * d
    assert cup_height(blank_diameter(d, h, r), d, r) == pytest.approx(h)


@few
@given(st.floats(40.0, 200.0), st.floats(1.2, 3.6), st.floats(0.5, 2.5))
def test_sequence_ends_at_the_cup_and_keeps_to_the_table(d, beta, s):
    draws, _ = cup_sequence(beta * d, d, s)
    factors, _ = ratios.romanovskii_factors(s, beta * d)
    assert draws[-1].diameter == pytest.approx(d)
    assert math.prod(x.ratio for x in draws) == pytest.approx(beta)
    for x, m in zip(draws, factors, strict=False):
        assert x.ratio <= 1.0 / m * (1 + 1e-12)
        assert x.height > 0.0
    spread = [math.log(x.ratio) / -math.log(factors[min(i, 4)]) for i, x in enumerate(draws)]
    assert spread == pytest.approx([spread[0]] * len(draws))  # what is left over is spread alike
    if len(draws) > 1:  # one draw fewer would not do
        assert math.prod(1.0 / m for m in factors[: len(draws) - 1]) < beta
    assert all(b.height > a.height for a, b in itertools.pairwise(draws))


def test_one_draw_limit_decides_first():
    assert len(cup_sequence(195.0, 100.0, 0.5)[0]) == 2
    assert len(cup_sequence(195.0, 100.0, 0.5, one_draw_limit=2.0)[0]) == 1
    assert len(cup_sequence(195.0, 100.0, 5.0, one_draw_limit=1.9)[0]) == 2


def test_too_many_draws_are_refused():
    with pytest.raises(InputError, match="8 draws do not bring"):
        number_of_draws(1000.0, 10.0, (1.5, 1.2))


@few
@given(thick)
def test_clearances_and_radii_grow_with_thickness(s):
    assert radii.draw_clearance(1.1 * s, "steel") > radii.draw_clearance(s, "steel") > s
    assert radii.die_radius(200.0, 100.0, 4 * s) == pytest.approx(2 * radii.die_radius(200.0, 100.0, s))
    low, high = radii.die_radius_range(s)
    assert low < radii.redraw_radius(high) < high


BAD = [
    (lambda v: drawing.draw_force_groover(v, 1.0, 300.0, 200.0), "punch diameter"),
    (lambda v: drawing.draw_force_groover(100.0, v, 300.0, 200.0), "thickness"),
    (lambda v: drawing.draw_force_perimeter(300.0, 1.0, v, 1.8), "Rm"),
    (lambda v: drawing.equivalent_diameter(v), "area"),
    (lambda v: drawing.draw_force_siebel(100.0, 1.0, v, 1.8), "flow stress"),
    (lambda v: holder.holder_pressure_siebel(1.8, 100.0, v, 300.0), "thickness"),
    (lambda v: holder.holder_pressure_yield(v), "yield strength"),
    (lambda v: holder.holder_area_round(v, 50.0, 5.0), "blank diameter"),
    (lambda v: cutting.blanking_force(100.0, v, 300.0), "thickness"),
    (lambda v: cutting.blanking_force(100.0, 1.0, v), "shear strength"),
    (lambda v: cutting.cutting_clearance(v, 0.06), "thickness"),
    (lambda v: cutting.blanking_sizes(v, 0.1), "size"),
    (lambda v: radii.die_radius(200.0, 100.0, v), "thickness"),
    (lambda v: radii.draw_clearance(v, "steel"), "thickness"),
    (lambda v: ratios.limit_whiteley(v), "r-value"),
    (lambda v: ratios.limit_tschaetsch(100.0, v), "thickness"),
    (lambda v: blank_diameter(v, 50.0), "cup diameter"),
]


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, -math.inf, "thick", None])
@pytest.mark.parametrize(("call", "word"), BAD)
def test_bad_numbers_get_one_sentence(call, word, value):
    with pytest.raises(InputError) as caught:
        call(value)
    assert word in caught.value.sentence
    assert "\n" not in caught.value.sentence
    assert caught.value.help


def test_unknown_family_is_named():
    for call in (cutting.shear_strength, lambda rm, f: cutting.allowance(f, rm, rm), radii.draw_clearance):
        with pytest.raises(InputError, match="unobtainium"):
            call(1.0, "unobtainium")


def test_other_refusals():
    with pytest.raises(InputError, match="below the cup diameter"):
        drawing.draw_ratio(90.0, 100.0)
    with pytest.raises(InputError, match="below the cup diameter"):
        radii.die_radius(90.0, 100.0, 1.0)
    with pytest.raises(InputError, match="punch size"):
        cutting.blanking_sizes(1.0, 0.5)
    with pytest.raises(InputError, match="bottom radius"):
        blank_diameter(50.0, 10.0, 20.0)
    with pytest.raises(InputError, match="limiting draw ratio"):
        drawing.draw_factor_oehler(1.5, 1.0)
    with pytest.raises(InputError, match="nothing to hold"):
        holder.holder_force_groover(200.0, 100.0, 95.0, 2.0, 6.0)
    with pytest.raises(InputError, match="not above"):
        cup_sequence(100.0, 100.0, 1.0)

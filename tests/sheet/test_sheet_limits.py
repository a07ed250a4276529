"""Forming limits: shapes, closed forms, the groove analysis."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from diewright.errors import InputError, SolveError
from diewright.sheet import (
    FormingLimitCurve,
    Hill48,
    Mises,
    Yld2000,
    groove_curve,
    hardening_law,
    keeler_brazier,
    load,
    measured,
    swift_hill,
)
from diewright.sheet.limits import hill_local_neck, instability_strain, keeler_brazier_flc0, storen_rice, swift_diffuse
from diewright.sheet.mk import marciniak_kuczynski

BARLAT = Yld2000((0.4865, 1.3783, 0.7536, 1.0246, 1.0363, 0.9036, 1.2321, 1.4858), 8.0)
HILL = Hill48.from_r(1.79, 1.51, 2.27)
SURFACES = {"mises": Mises(), "hill48": HILL, "yld2000": BARLAT}
SWIFT = hardening_law("swift", {"K": 525.0, "e0": 0.004, "n": 0.227})


def power(n: float):
    return hardening_law("hollomon", {"K": 500.0, "n": n})


def closed_form(n: float, f: float) -> float:
    return brentq(lambda e: n * math.log(e / n) - e + n - math.log(f), 1e-4, n)


def test_margin_is_in_percent_points_of_engineering_strain():
    curve = FormingLimitCurve("measured", [-0.2, 0.0, 0.2], [0.5, 0.3, 0.4], "three points")
    assert curve.flc0 == 0.3
    assert curve.margin(0.3, 0.0) == pytest.approx(0.0, abs=1e-12)
    assert curve.margin(math.log(1.2), 0.0) == pytest.approx(100 * (math.exp(0.3) - 1.2))
    assert curve.margin(0.45, 0.2) < 0
    assert curve.major_at(0.1) == pytest.approx(0.35)
    assert curve.major_at(-0.3) == pytest.approx(0.6)
    assert curve.major_at(0.5) == pytest.approx(0.4)
    np.testing.assert_array_equal(curve.covers([-0.3, 0.0, 0.3]), [False, True, False])


def test_the_table_holds_the_points_of_the_curve():
    curve = FormingLimitCurve("measured", [-0.2137, 0.0, 0.2311], [0.5, 0.3, 0.4], "three points")
    table = curve.table()
    assert table["minor"][0] == -0.6
    assert table["minor"][-1] == 0.6
    assert (np.diff(table["minor"]) > 0).all()
    for m, j in zip(curve.minor, curve.major, strict=True):
        assert np.interp(m, table["minor"], table["major"]) == pytest.approx(j, abs=1e-15)


@pytest.mark.parametrize(
    ("minor", "major", "says"),
    [
        ([0.0], [0.3], "two or more"),
        ([0.0, 0.1], [0.3, float("nan")], "finite"),
        ([0.1, 0.0], [0.3, 0.3], "must rise"),
        ([0.0, 0.1], [-0.3, 0.3], "above zero"),
        ([0.0, 0.5], [0.3, 0.3], "not below its minor"),
    ],
)
def test_bad_curves(minor, major, says):
    with pytest.raises(InputError, match=says):
        FormingLimitCurve("measured", minor, major, "")


def test_measured_needs_both_sides():
    assert measured([(0.1, 0.35), (-0.1, 0.4), (0.0, 0.3)], "test").flc0 == pytest.approx(0.3)
    with pytest.raises(InputError, match="below and above zero"):
        measured([(0.1, 0.35), (0.2, 0.4), (0.3, 0.45)], "test")


def test_keeler_forms_agree_and_are_capped():
    assert keeler_brazier_flc0(1.0, 0.21) == pytest.approx(37.43, abs=1e-9)
    assert keeler_brazier_flc0(25.4 * 0.05, 0.15) == pytest.approx(keeler_brazier_flc0(0.05, 0.15, "inch"), rel=2e-3)
    assert keeler_brazier_flc0(1.0, 0.30) == keeler_brazier_flc0(1.0, 0.21)
    assert keeler_brazier_flc0(6.0, 0.2) == keeler_brazier_flc0(3.175, 0.2)
    assert keeler_brazier_flc0(0.2, 0.2, "inch") == keeler_brazier_flc0(0.125, 0.2, "inch")


def test_keeler_shape():
    curve = keeler_brazier(1.0, 0.21)
    assert math.expm1(curve.flc0) * 100 == pytest.approx(37.43, abs=1e-9)
    left = np.linspace(-0.4, 0.0, 9)
    np.testing.assert_allclose(curve.major_at(left) + left, curve.flc0, atol=1e-12)  # constant thinning
    right = np.log1p([0.05, 0.10, 0.20])
    np.testing.assert_allclose(100 * np.expm1(curve.major_at(right)), 37.43 + 0.6 * np.array([5, 10, 20]), atol=1e-9)
    assert curve.major_at(0.4) == curve.major_at(math.log(1.2))


@pytest.mark.parametrize(("t", "n"), [(0.0, 0.2), (float("nan"), 0.2), (1.0, 0.0), (1.0, float("inf"))])
def test_keeler_refuses(t, n):
    with pytest.raises(InputError, match="cannot be used"):
        keeler_brazier(t, n)


def test_closed_forms():
    n = 0.23
    for form in (hill_local_neck, swift_diffuse, storen_rice):
        assert form(n, 0.0) == pytest.approx(n)
    assert hill_local_neck(n, -0.5) == pytest.approx(2 * n)
    assert swift_diffuse(n, -0.5) == pytest.approx(n)
    assert swift_diffuse(n, 1.0) == pytest.approx(n)
    assert storen_rice(n, 1.0) == pytest.approx((1 + 3 * n) / 6)


def test_general_instability_is_the_closed_form_on_mises():
    left, right = np.linspace(-0.5, 0.0, 6), np.linspace(0.1, 1.0, 10)
    np.testing.assert_allclose(instability_strain(Mises(), power(0.2), left), hill_local_neck(0.2, left), rtol=1e-7)
    np.testing.assert_allclose(instability_strain(Mises(), power(0.2), right), swift_diffuse(0.2, right), rtol=1e-7)


@pytest.mark.parametrize("surface", SURFACES.values(), ids=SURFACES)
def test_hill_neck_of_a_power_law_does_not_see_the_surface(surface):
    rho = np.array([-0.5, -0.3, 0.0])
    for angle in (0.0, 45.0, 90.0):
        np.testing.assert_allclose(instability_strain(surface, power(0.2), rho, angle), hill_local_neck(0.2, rho), rtol=1e-7)


def test_swift_hill_curve():
    curve = swift_hill(HILL, SWIFT)
    assert curve.flc0 == pytest.approx(0.227 - 0.004 * float(HILL.gradient(HILL.stress_for([1.0, 0.0, 0.0]))[0]), abs=1e-6)
    assert curve.major_at(-0.2) > curve.flc0


def test_a_law_without_hardening_has_no_swift_hill_limit():
    flat = hardening_law("voce", {"ss": 100.5, "s0": 100.0, "c": 1.0})
    with pytest.raises(SolveError, match="unstable from the first strain"):
        swift_hill(Mises(), flat)


@pytest.mark.parametrize("surface", SURFACES.values(), ids=SURFACES)
@pytest.mark.parametrize(("n", "f"), [(0.2, 0.98), (0.22, 0.995), (0.25, 0.999)])
def test_groove_at_plane_strain_is_the_closed_form(surface, n, f):
    found = marciniak_kuczynski(surface, power(n), f, ratios=[0.0])
    assert found.major[0] == pytest.approx(closed_form(n, f), rel=2e-3)
    assert found.inclination[0] == pytest.approx(0.0, abs=1.0)


def test_groove_of_an_isotropic_sheet_does_not_see_the_rolling_direction():
    rho = [-0.5, -0.25, 0.0, 0.3, 0.7]
    straight = marciniak_kuczynski(Mises(), SWIFT, 0.99, ratios=rho)
    turned = marciniak_kuczynski(Mises(), SWIFT, 0.99, ratios=rho, major_angle=90.0)
    slant = marciniak_kuczynski(Mises(), SWIFT, 0.99, ratios=rho, major_angle=30.0)
    np.testing.assert_allclose(turned.major, straight.major, rtol=1e-6)
    np.testing.assert_allclose(slant.major, straight.major, rtol=2e-3)


def test_groove_converges_with_the_step_and_the_inclinations():
    rho = [-0.5, -0.2, 0.1, 0.5, 1.0]
    usual = marciniak_kuczynski(HILL, SWIFT, 0.995, ratios=rho).major
    fine = marciniak_kuczynski(HILL, SWIFT, 0.995, ratios=rho, step=0.001, inclination_step=2.5).major
    np.testing.assert_allclose(usual, fine, rtol=6e-3)


def test_a_thinner_groove_necks_earlier_and_a_rate_term_later():
    rho = [-0.4, 0.0, 0.5]
    thin, thick = (marciniak_kuczynski(HILL, SWIFT, f, ratios=rho).major for f in (0.98, 0.995))
    assert (thin < thick).all()
    before = thick
    for m in (0.001, 0.005, 0.02):
        rated = marciniak_kuczynski(HILL, SWIFT, 0.995, ratios=rho, rate_exponent=m).major
        assert (rated > before).all()
        before = rated


def test_the_limit_nears_hills_neck_as_the_groove_vanishes():
    rho = np.array([-0.4, -0.2, 0.0])
    gaps = [
        np.max(1.0 - marciniak_kuczynski(Mises(), power(0.22), f, ratios=rho).major / hill_local_neck(0.22, rho))
        for f in (0.99, 0.999, 0.9999)
    ]
    assert gaps[0] > gaps[1] > gaps[2] > 0
    assert gaps[2] < 0.06


def test_inclination_of_the_worst_groove_on_the_left():
    # Hill's direction of no extension, tan^2 psi = -rho, is reached by a line that has turned with the sheet.
    found = marciniak_kuczynski(Mises(), power(0.22), 0.9999, ratios=[-0.5])
    turned = math.degrees(math.atan(math.tan(math.radians(found.inclination[0])) * math.exp(1.5 * found.major[0])))
    assert turned == pytest.approx(math.degrees(math.atan(math.sqrt(0.5))), abs=3.0)


@pytest.mark.parametrize("name", ["DC04", "EN AW-6181-T4", "HCT780X", "1.4301", "CuZn37"])
def test_groove_curve_of_library_sheets(name):
    sheet = load(name)
    surface = sheet.surface("yld2000" if sheet.has_yld2000 else "hill48")
    curve = groove_curve(surface, sheet.hardening[0].build(), 0.99, major_angles=(0.0,))
    assert curve.minor[0] < -0.08
    assert curve.minor[-1] > 0.08
    assert 0.0 < curve.flc0 < swift_hill(surface, sheet.hardening[0].build()).flc0
    assert curve.major[0] > curve.flc0


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"groove": 1.0}, "groove"),
        ({"groove": float("nan")}, "groove"),
        ({"ratios": [2.0]}, "ratio"),
        ({"rate_exponent": -1.0}, "rate_exponent"),
    ],
)
def test_groove_refuses(change, says):
    with pytest.raises(InputError, match=says):
        marciniak_kuczynski(Mises(), SWIFT, **{"groove": 0.99, **change})


def test_a_sheet_that_never_necks_is_said_so():
    # Rising like exp(3 ep), it hardens faster than it thins as far as the analysis goes.
    strain = np.linspace(0.0, 6.0, 61)
    steep = hardening_law("table", {"strain": list(strain), "flow": list(np.exp(3.0 * strain))})
    with pytest.raises(SolveError, match=r"found no limit on the path with strain ratio 0"):
        marciniak_kuczynski(Mises(), steep, 0.99, ratios=[0.0], step=0.05)


@pytest.mark.parametrize("groove", [0.95, 0.9995])
@pytest.mark.parametrize("rate", [0.0, 0.002])
def test_groove_with_laws_that_leave_zero_strain_steeply(groove, rate):
    for law in (
        hardening_law("ludwik", {"s0": 150.0, "K": 400.0, "n": 0.5}),
        hardening_law("hockett-sherby", {"ss": 900.0, "s0": 350.0, "m": 5.0, "p": 0.6}),
        power(0.2),
    ):
        found = marciniak_kuczynski(Mises(), law, groove, ratios=[-0.4, 0.0, 0.6], rate_exponent=rate, step=0.01)
        assert (found.major > 0.01).all()

"""Hardening laws: slopes, limits, texts, refusals."""

import math
import re

import numpy as np
import pytest

from diewright.errors import InputError, SolveError
from diewright.sheet.hardening import (
    LAWS,
    Swift,
    Table,
    Voce,
    dense_table,
    hardening_law,
    maximum_load_stress,
    mean_exponent,
    uniform_strain,
)

EXAMPLES = {
    "swift": {"K": 525.0, "e0": 0.004, "n": 0.227},
    "hollomon": {"K": 500.0, "n": 0.22},
    "ludwik": {"s0": 150.0, "K": 400.0, "n": 0.5},
    "voce": {"ss": 330.2, "s0": 140.2, "c": 12.4},
    "hockett-sherby": {"ss": 848.4, "s0": 312.0, "m": 4.77, "p": 0.6},
    "swift-voce": {"share": 0.6, "K": 525.0, "e0": 0.004, "n": 0.227, "ss": 340.0, "s0": 160.0, "c": 12.0},
    "table": {"strain": [0.0, 0.01, 0.05, 0.1, 0.2, 0.25], "flow": [160.0, 200.0, 260.0, 300.0, 345.0, 360.0]},
}


def test_every_law_has_an_example():
    assert set(EXAMPLES) == set(LAWS)


@pytest.mark.parametrize("name", EXAMPLES)
def test_slope_is_the_derivative(name):
    law = hardening_law(name, EXAMPLES[name])
    ep = np.array([0.003, 0.013, 0.07, 0.15, 0.23, 0.4, 1.2])
    h = 1e-6
    numeric = (law.stress(ep + h) - law.stress(ep - h)) / (2 * h)
    np.testing.assert_allclose(law.slope(ep), numeric, rtol=2e-6, atol=1e-4)


@pytest.mark.parametrize("name", EXAMPLES)
def test_stress_rises_over_the_dense_table(name):
    law = hardening_law(name, EXAMPLES[name])
    table = dense_table(law)
    assert table["strain"][0] == 0.0
    assert table["strain"][-1] == 2.0
    assert (np.diff(table["strain"]) > 0).all()
    assert (np.diff(table["stress"]) >= 0).all()
    np.testing.assert_array_equal(table["stress"], law.stress(table["strain"]))
    assert np.isfinite(law.slope(table["strain"])).all()


@pytest.mark.parametrize("name", EXAMPLES)
def test_parameters_go_round_and_the_text_shows_the_numbers(name):
    law = hardening_law(name, EXAMPLES[name])
    assert hardening_law(name, law.parameters()) == law
    assert "MPa" in law.text()
    assert len(re.findall(r"\d", law.text())) > 4


def test_the_text_is_the_formula():
    assert Swift(525.0, 0.004, 0.227).text() == "525 (0.004 + ep)^0.227 MPa"
    assert hardening_law("voce", EXAMPLES["voce"]).text() == "330.2 - 190 exp(-12.4 ep) MPa"


def test_strains_below_zero_count_as_zero():
    law = hardening_law("voce", EXAMPLES["voce"])
    assert law.stress(-0.1) == law.stress(0.0)


def test_table_meets_its_points_and_goes_on_smoothly():
    law = Table(**{k: tuple(v) for k, v in EXAMPLES["table"].items()})
    np.testing.assert_allclose(law.stress(np.array(law.strain)), law.flow, rtol=1e-14)
    end = law.strain[-1]
    assert law.stress(end + 1e-9) == pytest.approx(law.flow[-1], rel=1e-8)
    assert law.slope(end + 1e-9) == pytest.approx((360.0 - float(law.stress(0.225))) / 0.025, rel=1e-6)


@pytest.mark.parametrize(("e0", "n"), [(1e-4, 0.2), (0.01, 0.22), (0.03, 0.3)])
def test_considere_with_swift(e0, n):
    law = Swift(500.0, e0, n)
    assert uniform_strain(law) == pytest.approx(n - e0, abs=1e-10)
    assert maximum_load_stress(law) == pytest.approx(500.0 * n**n * math.exp(-(n - e0)), rel=1e-9)


def test_considere_at_the_ends():
    assert uniform_strain(Voce(101.0, 100.0, 1.0)) == 0.0
    with pytest.raises(SolveError, match="no load maximum"):
        uniform_strain(Table((0.0, 0.5, 1.0, 1.5, 2.0), (1.0, 4.0, 16.0, 64.0, 256.0)))


def test_mean_exponent_of_a_power_law_is_its_exponent():
    assert mean_exponent(hardening_law("hollomon", EXAMPLES["hollomon"]), 0.1, 0.2) == pytest.approx(0.22, abs=1e-12)


@pytest.mark.parametrize(
    ("name", "change", "says"),
    [
        ("swift", {"K": -5.0}, "hardening swift K: -5.0 cannot be used"),
        ("swift", {"n": math.nan}, "hardening swift n: nan cannot be used"),
        ("swift", {"n": None}, "expected a number"),
        ("voce", {"s0": 500.0}, "hardening voce ss"),
        ("voce", {"q": 1.0}, "there is no parameter 'q'"),
        ("hockett-sherby", {"p": 9.0}, "hardening hockett-sherby p"),
        ("swift-voce", {"share": 1.2}, "share"),
        ("swift-voce", {"c": 0.0}, "hardening voce c"),
        ("table", {"strain": [0.0, 0.01]}, "the same number"),
        ("table", {"strain": [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]}, "must start at 0"),
        ("table", {"flow": [1, 2, 3, 2, 5, 6]}, "must not fall"),
        ("table", {"flow": [1, 2, math.inf, 3, 5, 6]}, "not a finite number"),
    ],
)
def test_bad_parameters_are_one_sentence(name, change, says):
    with pytest.raises(InputError, match=re.escape(says)) as caught:
        hardening_law(name, {**EXAMPLES[name], **change})
    assert "\n" not in caught.value.sentence


def test_unknown_and_missing():
    with pytest.raises(InputError, match="'power' is not a hardening law"):
        hardening_law("power", {})
    with pytest.raises(InputError, match="the parameter 'n' is missing"):
        hardening_law("swift", {"K": 500.0, "e0": 0.01})


def test_a_yield_plateau_does_not_end_the_test():
    law = Table((0.0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3), (300.0, 300.0, 300.0, 345.0, 400.0, 450.0, 460.0))
    assert 0.1 < uniform_strain(law) < 0.25
    e = np.linspace(0, 0.4, 4001)
    assert maximum_load_stress(law) == pytest.approx((law.stress(e) * np.exp(-e)).max(), rel=1e-6)

"""Tensile tests: figures come back from synthetic tests, every bad file is one sentence."""

import math

import numpy as np
import pytest
from synthetic_tests import as_csv, pull

from diewright.errors import FileError, InputError
from diewright.sheet.hardening import hardening_law, maximum_load_stress, mean_exponent, uniform_strain
from diewright.sheet.hardening_fit import FITTED, converted, fit_law, rank_laws
from diewright.sheet.tensile import evaluate
from diewright.sheet.tensile_csv import TensileRecord, parse_tensile, read_tensile

SWIFT = hardening_law("swift", {"K": 525.0, "e0": 0.004, "n": 0.227})
VOCE = hardening_law("voce", {"ss": 330.2, "s0": 140.2, "c": 12.4})
CASES = {"steel": (SWIFT, 1.8, 207_000.0), "aluminium": (VOCE, 0.65, 70_000.0)}


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_n_and_r_come_back_within_two_standard_errors(seed):
    result = evaluate(pull(SWIFT, 1.8, seed), 207_000.0, 0.3)
    true_n = mean_exponent(SWIFT, result.n.low, result.n.high)
    assert abs(result.n.value - true_n) <= 2 * result.n.standard_error
    assert abs(result.r.value - 1.8) <= 2 * result.r.standard_error
    assert 0 < result.n.standard_error < 0.002
    assert 0 < result.r.standard_error < 0.01


def test_the_standard_errors_are_honest_over_many_seeds():
    z_n, z_r = [], []
    for seed in range(100):
        result = evaluate(pull(SWIFT, 1.8, 1000 + seed), 207_000.0, 0.3)
        z_n.append((result.n.value - mean_exponent(SWIFT, result.n.low, result.n.high)) / result.n.standard_error)
        z_r.append((result.r.value - 1.8) / result.r.standard_error)
    for z in (np.array(z_n), np.array(z_r)):
        assert (np.abs(z) <= 2).mean() >= 0.90
        assert abs(z.mean()) < 0.5
        assert 0.75 < z.std() < 1.25


@pytest.mark.parametrize(("law", "r", "modulus"), CASES.values(), ids=CASES)
def test_strength_figures_come_back(law, r, modulus):
    result = evaluate(pull(law, r, 11, modulus=modulus), modulus, 0.3)
    assert result.slope_measured
    assert result.slope == pytest.approx(modulus, rel=0.03)
    assert result.Rp02 == pytest.approx(float(law.stress(math.log1p(0.002))) * math.exp(-0.002), rel=0.005)
    assert result.Rm == pytest.approx(maximum_load_stress(law), rel=0.004)
    assert result.reached_maximum
    # The load is flat to 0.5 % over several percent of strain about its maximum: Ag is not sharper than that.
    assert result.Ag == pytest.approx(math.expm1(uniform_strain(law)), abs=0.015)
    assert abs(result.A - math.expm1(uniform_strain(law)) - 0.08) < 0.01
    assert (result.n.low, result.r.low) == (0.10, 0.08)
    assert result.n.high == pytest.approx(min(0.20, result.Ag))


def test_without_noise_r_is_exact_and_n_the_local_slope():
    result = evaluate(pull(SWIFT, 1.8, None), 207_000.0, 0.3)
    assert result.r.value == pytest.approx(1.8, abs=2e-5)  # the elastic line is straight in engineering stress, not in true stress
    assert result.n.value == pytest.approx(mean_exponent(SWIFT, 0.1, 0.2), abs=2e-4)


def test_a_toe_of_the_curve_is_taken_out():
    plain, record = pull(SWIFT, 1.8, 3), pull(SWIFT, 1.8, 3)
    shifted = TensileRecord("late", 0.0, record.strain + 0.004, record.stress, record.width_strain)
    a, b = evaluate(plain, 207_000.0, 0.3), evaluate(shifted, 207_000.0, 0.3)
    assert b.Rp02 == pytest.approx(a.Rp02, rel=2e-3)
    assert b.n.value == pytest.approx(a.n.value, abs=2e-3)


def test_a_test_that_stops_early_says_so():
    result = evaluate(pull(SWIFT, 1.8, 3, neck=False), 207_000.0, 0.3)
    assert not result.reached_maximum
    assert result.A is None


def test_short_uniform_strain_takes_the_lower_interval():
    law = hardening_law("swift", {"K": 800.0, "e0": 0.004, "n": 0.09})
    result = evaluate(pull(law, 1.0, 3), 207_000.0, 0.3)
    assert result.n.low == 0.04
    assert result.r.low == 0.02


@pytest.mark.parametrize("name", FITTED)
def test_every_law_fits_its_own_curve(name):
    from test_sheet_hardening import EXAMPLES

    law = hardening_law(name, EXAMPLES[name])
    ep = np.linspace(0.002, 0.22, 90)
    fit = fit_law(name, ep, law.stress(ep))
    assert fit.rms < (2.0 if name == "swift-voce" else 0.02)
    if name != "swift-voce":
        np.testing.assert_allclose(fit.law.stress([0.5, 1.0]), law.stress([0.5, 1.0]), rtol=5e-3)


def test_the_ranking_puts_the_true_law_first():
    for law in (SWIFT, VOCE):
        result = evaluate(pull(law, 1.0, 5), 207_000.0, 0.3)
        ranked = rank_laws(result.plastic_strain, result.true_stress)
        assert {f.law.name for f in ranked} == set(FITTED)
        assert [f.rms for f in ranked] == sorted(f.rms for f in ranked)
        own = next(f for f in ranked if f.law.name == law.name)
        assert own.rms < 1.05 * ranked[0].rms
        assert own.rms < 0.4


def test_table_from_a_test_rises_and_meets_the_curve():
    result = evaluate(pull(SWIFT, 1.8, 5), 207_000.0, 0.3)
    fit = fit_law("table", result.plastic_strain, result.true_stress)
    assert fit.rms < 0.5
    assert (np.diff(fit.law.stress(np.linspace(0, 1, 500))) >= 0).all()


def test_conversion_states_its_misfit():
    fit = converted(SWIFT, "voce")
    ep = np.linspace(0.002, uniform_strain(SWIFT), 80)
    assert fit.rms == pytest.approx(float(np.sqrt(np.mean((fit.law.stress(ep) - SWIFT.stress(ep)) ** 2))))
    assert 0.5 < fit.rms < 10


@pytest.mark.parametrize(("cut", "comma"), [(";", True), (";", False), ("\t", True), ("\t", False), (",", False)])
def test_all_separators_read_the_same(cut, comma):
    record = pull(SWIFT, 1.8, 5, angle=45.0)
    read = parse_tensile(as_csv(record, cut=cut, comma=comma), "t.csv")
    assert read.angle == 45.0
    assert read.ignored == ("time [s]",)
    np.testing.assert_allclose(read.strain, record.strain, atol=1e-8)
    np.testing.assert_allclose(read.stress, record.stress, atol=1e-4)
    np.testing.assert_allclose(read.width_strain, record.width_strain, atol=1e-7)


def test_stress_strain_in_percent_and_columns_for_the_sizes():
    record = pull(SWIFT, 1.8, 5)
    rows = ["angle [deg],stress [N/mm2],strain [%],width strain [%]"]
    rows += [f"90,{s:.5f},{100 * e:.7f},{100 * w:.7f}" for e, s, w in zip(record.strain, record.stress, record.width_strain, strict=True)]
    read = parse_tensile("\n".join(rows), "t.csv")
    assert read.angle == 90.0
    np.testing.assert_allclose(read.strain, record.strain, atol=1e-8)
    rows = ["thickness [mm],width [mm],gauge length [mm],force [N],extension [mm],angle [deg]"]
    rows += [
        f"0.8,{20 * (1 + w):.6f},80,{s * 16:.6f},{80 * e:.6f},0"
        for e, s, w in zip(record.strain, record.stress, np.minimum(record.width_strain, 0), strict=True)
    ]
    # The width column is the width now; its first row is the first width.
    read = parse_tensile("\n".join(rows), "t.csv")
    np.testing.assert_allclose(read.stress, record.stress, rtol=1e-4, atol=1e-3)  # the first width itself is noisy


def test_no_width_gives_no_r():
    rows = ["# angle: 0 deg", "stress [MPa];strain [-]"] + [
        f"{s};{e}" for e, s in zip(*(lambda t: (t.strain, t.stress))(pull(SWIFT, 1.8, 5)), strict=True)
    ]
    result = evaluate(parse_tensile("\n".join(rows), "t.csv"), 207_000.0, 0.3)
    assert result.r is None
    assert result.n is not None


def text(change=lambda t: t) -> str:
    return change(as_csv(pull(SWIFT, 1.8, 5, rows=60)))


BAD = {
    "empty": (lambda t: "", "no rows"),
    "only comments": (lambda t: "# angle: 0 deg\n", "no rows"),
    "no angle": (lambda t: t.replace("# angle: 0 deg", "# angel: 0 deg"), "the angle is not given"),
    "odd angle": (lambda t: t.replace("angle: 0", "angle: 30"), "the angle is 30 deg: expected 0, 45 or 90"),
    "no thickness": (lambda t: t.replace("# thickness: 0.8 mm\n", ""), "the thickness is not given"),
    "zero thickness": (lambda t: t.replace("thickness: 0.8", "thickness: 0.0"), "line 2: thickness is 0: expected more than 0 mm"),
    "negative width": (lambda t: t.replace("width: 20.0", "width: -20.0"), "width is -20"),
    "width in inches": (lambda t: t.replace("width: 20.0 mm", "width: 0.787 in"), "width has the unit 'in'"),
    "thickness twice": (lambda t: t.replace("# a note", "# thickness: 0.9 mm"), "thickness is given twice"),
    "no gauge length": (lambda t: t.replace("# gauge length: 80.0 mm\n", ""), "the gauge length is not given"),
    "no unit": (lambda t: t.replace("force [kN]", "force"), "the column 'force' has no unit"),
    "odd unit": (lambda t: t.replace("[kN]", "[lbf]"), "has the unit 'lbf'"),
    "true stress": (lambda t: t.replace("force [kN]", "true stress [MPa]"), "expected engineering values"),
    "no force": (lambda t: t.replace("force [kN]", "power [kW]"), "no column 'force' or 'stress'"),
    "no extension": (lambda t: t.replace("extension [mm]", "crosshead [mm]"), "no column 'extension' or 'strain'"),
    "two forces": (lambda t: t.replace("time [s]", "load [N]"), "two columns for force"),
    "one column": (lambda t: "# angle: 0 deg\nforce [N]\n1\n2\n", "a single column"),
    "few rows": (lambda t: "\n".join(t.splitlines()[:15]), "expected at least 20"),
    "short row": (lambda t: t + "1,0;2,0\n", "the row has 2 columns and the header 4"),
    "word": (lambda t: t + "1,0;much;0;0\n", "'much' is not a number"),
    "nan": (lambda t: t + "nan;0;0;0\n", "'nan' is not a finite number"),
    "infinite": (lambda t: t + "1e999;0;0;0\n", "not a finite number"),
    "thousands": (lambda t: t + "1.000,5;0;0;0\n", "both a comma and a point"),
    "comma trouble": (lambda t: t.replace(";", ","), "With a decimal comma, use a semicolon"),
    "force in N said kN": (lambda t: t.replace("thickness: 0.8", "thickness: 0.0008"), "the largest stress is"),
    "strain too large": (lambda t: t.replace("gauge length: 80.0", "gauge length: 0.8"), "the largest strain is"),
    "width grows": (lambda t: t.replace(";-", ";"), "the width strain is not below zero"),
    "width in %": (lambda t: t.replace("width change [mm]", "width strain [-]").replace("-0,", "-9,"), "the width strain falls to"),
    "no load": (lambda t: "# angle: 0 deg\nstress [MPa];strain [-]\n" + "0;0\n" * 30, "no stress is above zero"),
}  # fmt: skip


@pytest.mark.parametrize(("change", "says"), BAD.values(), ids=BAD)
def test_bad_files_are_one_sentence(change, says):
    with pytest.raises(FileError) as caught:
        parse_tensile(text(change), "tests/t.csv")
    assert says in caught.value.sentence
    assert caught.value.where.startswith("tests/t.csv")
    assert "\n" not in caught.value.sentence


def flat(strain, stress, width=None) -> TensileRecord:
    return TensileRecord(
        "t.csv", 0.0, np.asarray(strain, float), np.asarray(stress, float), None if width is None else np.asarray(width, float)
    )


def test_tests_that_cannot_be_used():
    e = np.linspace(0.0, 0.2, 100)
    s = 150 + 400 * e
    with pytest.raises(InputError, match="largest stress stands in the first rows"):
        evaluate(flat(e, s[::-1]), 207_000.0, 0.3)
    with pytest.raises(InputError, match="the strain falls back"):
        evaluate(flat(np.where(np.arange(100) == 50, 0.01, e), s), 207_000.0, 0.3)
    with pytest.raises(InputError, match="reaches a plastic strain"):
        evaluate(flat(np.linspace(0, 0.006, 100), np.linspace(0, 1240, 100)), 207_000.0, 0.3)
    good = pull(SWIFT, 1.8, None)
    with pytest.raises(InputError, match="expected between -1 and 0"):
        evaluate(flat(good.strain, good.stress, -2.0 * good.strain), 207_000.0, 0.3)


def test_reading_from_disk(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("﻿" + text(), encoding="utf-8")
    assert read_tensile(path, "t.csv").angle == 0.0
    path.write_bytes(b"force\x00\x01")
    with pytest.raises(FileError, match="not a text file"):
        read_tensile(path, "t.csv")
    path.write_bytes("# Prüfung\n".encode("latin-1"))
    with pytest.raises(FileError, match="UTF-8"):
        read_tensile(path, "t.csv")
    with pytest.raises(FileError, match="cannot be read"):
        read_tensile(tmp_path / "none.csv", "none.csv")


def test_too_few_points_for_a_law():
    with pytest.raises(InputError, match="too few"):
        fit_law("swift", np.array([0.01, 0.02]), np.array([200.0, 210.0]))
    with pytest.raises(InputError, match="not a hardening law that can be fitted"):
        fit_law("power", np.linspace(0.01, 0.2, 20), np.linspace(200, 300, 20))

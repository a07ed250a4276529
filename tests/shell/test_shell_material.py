"""The return mappings: yield residual, closest point, dissipation, smooth tangent, huge increments, agreement with the sheet's own laws."""

from __future__ import annotations

import numpy as np
import pytest
from numba import types

from diewright.errors import InputError
from diewright.mechanics.shell import layout as at
from diewright.mechanics.shell.barlat import equivalent, return_barlat
from diewright.mechanics.shell.curve import flow
from diewright.mechanics.shell.hill import return_hill
from diewright.mechanics.shell.material import barlat_yield, elastic, hill_from_r, plastic
from diewright.mechanics.shell.strain import log_strain, metric_stress
from diewright.sheet.hardening import Swift, SwiftVoce, Table, Voce
from diewright.sheet.quadratic import Hill48
from diewright.sheet.yld2000 import Yld2000

ALPHA_2090 = (0.4865, 1.3783, 0.7536, 1.0246, 1.0363, 0.9036, 1.2321, 1.4858)
ALPHA_6022 = (0.9355, 1.0350, 0.9337, 1.0539, 1.0102, 0.9337, 0.9594, 1.1828)
SWIFT = {"K": 550.0, "e0": 0.005, "n": 0.22}
SURFACES = {
    "mises": (hill_from_r(1.0, 1.0, 1.0), Hill48.from_r(1.0, 1.0, 1.0)),
    "hill": (hill_from_r(1.8, 1.2, 2.2), Hill48.from_r(1.8, 1.2, 2.2)),
    "6022": (barlat_yield(ALPHA_6022), Yld2000(ALPHA_6022)),
    "2090": (barlat_yield(ALPHA_2090), Yld2000(ALPHA_2090)),
    "bcc": (barlat_yield(ALPHA_6022, 6.0), Yld2000(ALPHA_6022, 6.0)),
    "odd": (barlat_yield(ALPHA_6022, 5.5), Yld2000(ALPHA_6022, 5.5)),
}
BACK = {"none": {}, "chaboche": {"back_modulus": 4000.0, "recall": 40.0}, "linear": {"back_modulus": 900.0}}
E, NU = 70000.0, 0.33
STIFF = E / (1 - NU**2) * np.array([[1, NU, 0], [NU, 1, 0], [0, 0, (1 - NU) / 2]])


def returned(material, strain, ep=0.0, back=(0.0, 0.0, 0.0), real=np.float64):
    f = return_barlat if int(material.mat[at.M_YIELD]) == at.YLD2000 else return_hill
    mat, table = material.mat.astype(real), material.table.astype(real)
    if real is np.float32:
        mat[at.M_TOL] = 2e-6
    o = f(*(real(v) for v in strain), real(ep), *(real(v) for v in back), mat, table)
    return np.array(o[:3]), np.array(o[3:6]), o[6], np.array(o[7:10]), o[10]


def directions(count: int, seed: int = 0) -> np.ndarray:
    d = np.random.default_rng(seed).normal(size=(count, 3))
    return d / np.linalg.norm(d, axis=1, keepdims=True)


@pytest.mark.parametrize("back", BACK)
@pytest.mark.parametrize("surface", SURFACES)
def test_any_increment_lands_on_the_surface_and_dissipates(surface, back):
    coefficients, law = SURFACES[surface]
    for hardening in (SWIFT, {"ss": 300.0, "s0": 300.0, "c": 1.0}):  # hardening, and perfectly plastic
        material = plastic(E, NU, 2.7e-9, coefficients, hardening, **BACK[back])
        for size in (1e-3, 4e-3, 0.02, 0.1, 0.5):
            for d in directions(60, 7):
                start = np.array([8.0, -5.0, 3.0]) if back != "none" else np.zeros(3)
                stress, dp, dl, a, answer = returned(material, size * d, 0.01, start)
                assert answer == at.FINE
                sy = flow(0.01 + dl, material.mat, material.table)[0]
                over = float(law.equivalent(stress - a)) / sy - 1.0
                assert over < 1e-8
                if dl > 0:
                    assert abs(over) < 1e-8
                    # closest point: the plastic strain is the trial strain less the elastic one, along the normal at the end
                    assert np.abs(np.linalg.solve(STIFF, stress) + dp - size * d).max() < 1e-8 * max(size, 1e-3)
                    n = np.asarray(law.gradient(stress - a))
                    assert np.abs(dp - dl * n).max() < 1e-6 * dl
                    # work on the flow stress is not negative, and equals flow times increment (degree one)
                    assert (stress - a) @ dp == pytest.approx(sy * dl, rel=1e-6)
                    assert (stress - a) @ dp >= 0


@pytest.mark.parametrize("surface", SURFACES)
def test_answer_is_smooth_in_the_strain(surface):
    """Central differences of two widths agree: no jump between the branches of the return (away from first yield)."""
    material = plastic(E, NU, 2.7e-9, SURFACES[surface][0], SWIFT, **BACK["chaboche"])
    for d in directions(20, 3):
        base = 0.02 * d
        tangent = []
        for h in (1e-6, 4e-6):
            columns = [
                (returned(material, base + h * unit, 0.01)[0] - returned(material, base - h * unit, 0.01)[0]) / (2 * h)
                for unit in np.eye(3)
            ]
            tangent.append(np.array(columns).T)
        assert np.abs(tangent[0] - tangent[1]).max() < 2e-4 * E
        # elastic-plastic stiffness stays below the elastic one and above nothing
        low = np.linalg.eigvalsh(0.5 * (tangent[0] + tangent[0].T))[0]
        assert low > -0.02 * E


@pytest.mark.parametrize("surface", ["hill", "6022", "2090"])
def test_single_precision_agrees(surface):
    material = plastic(E, NU, 2.7e-9, SURFACES[surface][0], SWIFT)
    for d in directions(40, 5):
        for size in (0.004, 0.05, 0.5):
            double, single = returned(material, size * d, 0.01), returned(material, size * d, 0.01, real=np.float32)
            assert single[4] == at.FINE
            assert np.abs(double[0] - single[0]).max() < 2e-4 * 550.0
    # no constant in the code lifts single precision to double
    f = return_barlat if surface != "hill" else return_hill
    kinds = [o.signature.return_type for s, o in f.overloads.items() if s[0] == types.float32]
    assert kinds
    assert all(t == types.float32 for kind in kinds for t in list(kind)[:-1])


def test_yield_functions_agree_with_the_sheet():
    for name in ("6022", "2090", "bcc", "odd"):
        material = plastic(E, NU, 2.7e-9, SURFACES[name][0], SWIFT)
        for s in 200.0 * np.vstack([directions(100, 1), [[1, 0, 0], [0, 1, 0], [1, 1, 0], [1, -1, 0], [0, 0, 1]]]):
            got = equivalent(s[0], s[1], s[2], material.mat)
            assert got[0] == pytest.approx(float(SURFACES[name][1].equivalent(s)), rel=1e-9)
            assert np.allclose(got[1:4], SURFACES[name][1].gradient(s), rtol=1e-7, atol=1e-9)


@pytest.mark.parametrize(
    ("parameters", "law"),
    [
        (SWIFT, Swift(550.0, 0.005, 0.22)),
        ({"ss": 320.0, "s0": 130.0, "c": 12.0, "h": 80.0}, Voce(320.0, 130.0, 12.0, 80.0)),
        (
            {"share": 0.3, "K": 500.0, "e0": 0.01, "n": 0.2, "ss": 320.0, "s0": 130.0, "c": 12.0},
            SwiftVoce(0.3, 500.0, 0.01, 0.2, 320.0, 130.0, 12.0),
        ),
    ],
)
def test_hardening_agrees_with_the_sheet_and_its_table(parameters, law):
    by_formula = plastic(E, NU, 2.7e-9, hill_from_r(1, 1, 1), parameters)
    by_table = plastic(E, NU, 2.7e-9, hill_from_r(1, 1, 1), law.stress)
    for ep in (0.0, 1e-4, 0.003, 0.02, 0.13, 0.6, 1.7):
        value, slope = flow(ep, by_formula.mat, by_formula.table)
        assert value == pytest.approx(float(law.stress(ep)), rel=1e-12)
        assert slope == pytest.approx(float(law.slope(ep)), rel=1e-9)
        value, slope = flow(ep, by_table.mat, by_table.table)
        assert value == pytest.approx(float(law.stress(ep)), rel=1e-4)
        assert slope == pytest.approx(float(law.slope(ep)), rel=0.05)


def test_a_measured_table_goes_in_as_a_function():
    law = Table((0.0, 0.01, 0.05, 0.1, 0.2), (150.0, 190.0, 240.0, 270.0, 300.0))
    material = plastic(E, NU, 2.7e-9, hill_from_r(1, 1, 1), law.stress)
    for ep in (0.0, 0.004, 0.04, 0.15, 0.4):
        assert flow(ep, material.mat, material.table)[0] == pytest.approx(float(law.stress(ep)), rel=2e-3)


def test_log_strain_and_its_stress_match_eigenvalues_and_differences():
    rng = np.random.default_rng(0)
    for scale in (1e-9, 1e-4, 0.05, 0.6):
        for _ in range(40):
            a = np.eye(2) + scale * rng.normal(size=(2, 2))
            c = a.T @ a
            values, vectors = np.linalg.eigh(c)
            want = (vectors * (0.5 * np.log(values))) @ vectors.T
            e11, e22, g12, m, q1, det, beta, gamma = log_strain(c[0, 0], c[1, 1], c[0, 1])
            assert np.allclose([e11, e22, g12], [want[0, 0], want[1, 1], 2 * want[0, 1]], atol=1e-12)
            if values[0] < 0.1:
                continue  # too close to nothing for differences of 1e-6
            t = rng.normal(size=3)
            s = metric_stress(t[0], t[1], t[2], c[0, 1], m, q1, det, beta, gamma)
            for k, d in enumerate(((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0))):
                h = 1e-6
                up, low = (np.array(log_strain(c[0, 0] + w * d[0], c[1, 1] + w * d[1], c[0, 1] + w * d[2])[:3]) for w in (h, -h))
                power = t @ (up - low) / (2 * h)
                assert (0.5 * s[k] if k < 2 else s[2]) == pytest.approx(power, abs=2e-8 * max(1.0, 1 / values[0] ** 2))


def test_elastic_sheet_never_yields():
    stress, dp, dl, _, answer = returned(elastic(E, NU), np.array([0.3, -0.2, 0.4]))
    assert answer == at.FINE
    assert dl == 0
    assert np.allclose(stress, STIFF @ [0.3, -0.2, 0.4])
    assert not dp.any()


@pytest.mark.parametrize(
    ("surface", "hardening", "says"),
    [
        (np.ones(3), SWIFT, "3 yield coefficients"),
        (np.array([1.0, -2.0, 1.0, 3.0]), SWIFT, "convex"),
        (hill_from_r(1, 1, 1), {"K": 500.0, "n": 0.2}, "'e0' is missing"),
        (hill_from_r(1, 1, 1), {"K": 500.0, "e0": 0.01, "n": 0.2, "x": 1.0}, "no parameter 'x'"),
        (hill_from_r(1, 1, 1), lambda e: 100.0 - e, "must not fall"),
        (hill_from_r(1, 1, 1), {"ss": 100.0, "s0": 0.0, "c": 1.0}, "not above zero"),
    ],
)
def test_laws_that_are_none_are_refused(surface, hardening, says):
    with pytest.raises(InputError, match=says):
        plastic(E, NU, 2.7e-9, surface, hardening)

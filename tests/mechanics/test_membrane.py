"""The element and the curve against differences, closed forms and invariance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diewright.errors import InputError
from diewright.mechanics.membrane import density, density_derivatives, positive_part
from diewright.mechanics.plasticity import Hill, build_curve, checked_hill

STRAIN = np.linspace(0.0, 2.0, 400)
HARDENING = (STRAIN, 550.0 * (0.008 + STRAIN) ** 0.22)
CURVE = build_curve(HARDENING, 2.1e5)
SIZES = st.floats(-0.3, 0.3)


def work(u, metric, hill, gap=np.inf):
    return density(*u, *metric, hill.split_form(), CURVE.table, CURVE.log_step, CURVE.modulus, gap, 2.0e4)


def derivatives(u, metric, hill, gap=np.inf):
    grad, hess = np.zeros(4), np.zeros((4, 4))
    w, eps = density_derivatives(*u, *metric, hill.split_form(), CURVE.table, CURVE.log_step, CURVE.modulus, gap, 2.0e4, grad, hess)
    return w, eps, grad, hess


@settings(max_examples=40, deadline=None, derandomize=True)
@given(SIZES, SIZES, SIZES, SIZES, st.floats(0.4, 3.0), st.floats(0.7, 1.4), st.floats(-0.2, 0.2))
def test_gradient_and_hessian_agree_with_differences(a, b, c, d, r, g, k):
    u, metric, hill = np.array([1 + a, b, c, 1 + d]), (g, k, 1.0), Hill.from_r(r, 1.3, 1.9)
    w, eps, grad, hess = derivatives(u, metric, hill)
    assert w == pytest.approx(work(u, metric, hill)[0], rel=1e-12)
    h = 1e-6
    steps = h * np.eye(4)
    fd = np.array([(work(u + s, metric, hill)[0] - work(u - s, metric, hill)[0]) / (2 * h) for s in steps])
    np.testing.assert_allclose(grad, fd, atol=2e-6 * np.abs(grad).max() + 1e-5)
    np.testing.assert_array_equal(hess, hess.T)
    # a difference across a joint of two power laws sees both slopes: keep clear of joints
    near = np.log(max(eps, 1e-9) / CURVE.yield_strain) / CURVE.log_step
    if eps > 2 * CURVE.yield_strain and 0.02 < near % 1 < 0.98:
        fd2 = np.array([(derivatives(u + s, metric, hill)[2] - derivatives(u - s, metric, hill)[2]) / (2 * h) for s in steps])
        np.testing.assert_allclose(hess, fd2, atol=1e-4 * np.abs(hess).max())


def test_series_and_closed_form_of_the_logarithm_meet():
    from diewright.mechanics.membrane import log_shape

    below, above = np.array(log_shape(1.3, 4e-3 * 1.69 * (1 - 1e-9))), np.array(log_shape(1.3, 4e-3 * 1.69 * (1 + 1e-9)))
    assert (np.abs(below / above - 1) < [1e-10, 1e-9, 1e-7]).all()


def test_uniaxial_tension_along_and_across_rolling_gives_the_r_values():
    hill = Hill.from_r(1.8, 1.4, 2.2)
    for s, r in ((np.array([1.0, 0, 0]), 1.8), (np.array([0, 1.0, 0]), 2.2), (0.5 * np.ones(3), 1.4)):
        e = hill.stress_form() @ s  # plastic strain direction, engineering shear
        along = s[:2].sum() and s / s[:2].sum()
        length = e[0] * along[0] + e[1] * along[1] + e[2] * along[2]
        width = e[0] + e[1] - length
        assert width / (-(e[0] + e[1])) == pytest.approx(r, rel=1e-12)


def test_work_conjugate_and_incompressible_isotropic_form():
    k = Hill().strain_form()
    e = np.array([0.1, -0.02, 0.03])
    assert e @ k @ e == pytest.approx(4 / 3 * (0.1**2 + 0.02**2 - 0.1 * 0.02 + 0.015**2), rel=1e-12)


def test_curve_starts_elastic_and_meets_the_table():
    assert CURVE.stress(1e-4)[0] == pytest.approx(21.0)
    eps = STRAIN[1:] + HARDENING[1][1:] / 2.1e5
    np.testing.assert_allclose(CURVE.stress(eps)[1:], HARDENING[1][2:], rtol=2e-4)
    grid = np.linspace(0, 1.5, 20001)
    sigma = CURVE.stress(grid)
    np.testing.assert_allclose(CURVE.work(1.5)[0], np.trapezoid(sigma, grid), rtol=1e-5)
    assert (np.diff(CURVE.gentler(0.05, 1.2).stress(grid)) > 0).all()
    gentle = CURVE.gentler(0.0, 1.2)
    assert (gentle.slope(grid[100:]) >= 1.19 * gentle.stress(grid[100:]) * (1 - CURVE.log_step)).all()


def test_positive_part_keeps_positive_matrices_and_mends_others():
    rng = np.random.default_rng(3)
    for _ in range(20):
        a = rng.normal(size=(4, 4))
        good = a @ a.T + np.eye(4)
        h = good.copy()
        positive_part(h, np.zeros((4, 4)))
        np.testing.assert_allclose(h, good, atol=1e-10 * np.abs(good).max())
        h = a + a.T
        positive_part(h, np.zeros((4, 4)))
        values, vectors = np.linalg.eigh(a + a.T)
        expected = (vectors * np.maximum(values, 1e-6 * values[-1])) @ vectors.T
        np.testing.assert_allclose(h, expected, atol=1e-8)


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ((0.5, 0.5, 0.5), "coefficients"),
        ((0.5, 0.6, 0.6, 1.5), "G \\+ H"),
        ((0.5, 0.5, 0.5, -1.0), "convex"),
        ((np.nan, 0.5, 0.5, 1.5), "finite"),
    ],
)
def test_bad_anisotropy_is_one_sentence(values, word):
    with pytest.raises(InputError, match=word):
        checked_hill(values)


@pytest.mark.parametrize(
    ("strain", "stress", "word"),
    [
        ([0, 1], [1], "pairs"),
        ([0, 0], [1, 2], "increase"),
        ([0, 1], [2, 1], "fall"),
        ([0, np.nan], [1, 2], "finite"),
        ([0, 1], [-1, 2], "positive"),
    ],
)
def test_bad_hardening_is_one_sentence(strain, stress, word):
    with pytest.raises(InputError, match=word):
        build_curve((strain, stress), 2.1e5)


def test_youngs_modulus_must_be_positive():
    with pytest.raises(InputError, match="Young"):
        build_curve(HARDENING, 0.0)

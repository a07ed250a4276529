"""The laws of nature of a yield surface, inherited by every surface."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diewright.errors import InputError, SolveError
from diewright.sheet import Hill48, Measures, Mises, Yld2000, fit_yld2000

BARLAT = (0.4865, 1.3783, 0.7536, 1.0246, 1.0363, 0.9036, 1.2321, 1.4858)
SURFACES = {
    "mises": Mises(),
    "hill48": Hill48.from_r(1.79, 1.51, 2.27),
    "hill48-low": Hill48.from_r(0.5, 0.25, 0.6),
    "yld2000-8": Yld2000(BARLAT, 8.0),
    "yld2000-6": Yld2000(BARLAT, 6.0),
    "yld2000-odd": Yld2000(BARLAT, 6.565182),
    "yld2000-isotropic": Yld2000((1.0,) * 8, 8.0),
}
every = pytest.mark.parametrize("surface", SURFACES.values(), ids=SURFACES)


def stresses(count: int = 300, seed: int = 7) -> np.ndarray:
    """Random stresses, with the awkward ones: no shear, balanced, pure shear, all but balanced."""
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(count, 3)) * 100.0
    special = [
        [1, 0, 0],
        [0, 1, 0],
        [1, 1, 0],
        [-1, -1, 0],
        [0, 0, 1],
        [1, -1, 0],
        [1, 1, 1e-7],
        [1, 1 + 1e-9, 0],
        [2, 1, 0],
        [1, 0.5, 1e-5],
        [1, 1, 1],
    ]
    return np.concatenate([s, 100.0 * np.array(special)])


def central(f, s, h):
    return np.stack([(f(s + h * e) - f(s - h * e)) / (2 * h) for e in np.eye(3)], axis=-1)


@every
def test_homogeneous_of_degree_one(surface):
    s = stresses()
    for factor in (1e-6, 0.37, 1e5):
        np.testing.assert_allclose(surface.equivalent(factor * s), factor * surface.equivalent(s), rtol=1e-12)
        np.testing.assert_allclose(surface.gradient(factor * s), surface.gradient(s), rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(factor * surface.hessian(factor * s), surface.hessian(s), rtol=1e-7, atol=1e-11)


@every
def test_euler_relations(surface):
    s = stresses()
    np.testing.assert_allclose((surface.gradient(s) * s).sum(axis=1), surface.equivalent(s), rtol=1e-12)
    along = np.einsum("kij,kj->ki", surface.hessian(s), s)
    np.testing.assert_allclose(along, 0.0, atol=1e-11)


@every
def test_symmetric_about_the_origin_the_axes_and_the_shear(surface):
    s = stresses()
    np.testing.assert_allclose(surface.equivalent(-s), surface.equivalent(s), rtol=1e-13)
    mirrored = s * np.array([1.0, 1.0, -1.0])
    np.testing.assert_allclose(surface.equivalent(mirrored), surface.equivalent(s), rtol=1e-13)
    np.testing.assert_allclose(surface.gradient(mirrored), surface.gradient(s) * np.array([1.0, 1.0, -1.0]), atol=1e-12)
    h = surface.hessian(s)
    np.testing.assert_allclose(h, np.swapaxes(h, 1, 2), atol=1e-15)


@every
def test_gradient_against_differences(surface):
    s = stresses()
    numeric = central(surface.equivalent, s, 1e-4)
    np.testing.assert_allclose(surface.gradient(s), numeric, atol=2e-8)


@every
def test_hessian_against_differences(surface):
    s = stresses()
    numeric = central(surface.gradient, s, 1e-4)
    np.testing.assert_allclose(surface.hessian(s), numeric, atol=2e-7)


@every
def test_derivatives_together_are_those_one_by_one(surface):
    s = stresses()
    for together, alone in zip(surface.derivatives(s), (surface.equivalent(s), surface.gradient(s), surface.hessian(s)), strict=True):
        np.testing.assert_allclose(together, alone, rtol=1e-13, atol=1e-15)


@every
def test_convex(surface):
    s = stresses(600)
    curvature = np.linalg.eigvalsh(surface.hessian(s)) * surface.equivalent(s)[:, None]
    assert curvature.min() > -1e-11
    a, b = s[:300], s[300:600]
    assert (surface.equivalent(0.5 * (a + b)) <= 0.5 * (surface.equivalent(a) + surface.equivalent(b)) + 1e-9).all()


@every
def test_shapes_and_zero_stress(surface):
    assert surface.equivalent([1.0, 0.0, 0.0]).shape == ()
    assert surface.gradient(np.ones((2, 5, 3))).shape == (2, 5, 3)
    assert surface.hessian(np.ones((2, 5, 3))).shape == (2, 5, 3, 3)
    zero = np.zeros((2, 3))
    assert (surface.equivalent(zero) == 0).all()
    assert (surface.gradient(zero) == 0).all()
    assert (surface.hessian(zero) == 0).all()


@every
def test_stress_for_inverts_the_normal(surface):
    rate = np.concatenate([np.random.default_rng(3).normal(size=(200, 3)), [[1, 0, 0], [1, -0.5, 0], [1, 1, 0], [0, 0, 1], [1, -1, 0]]])
    s = surface.stress_for(rate)
    np.testing.assert_allclose(surface.equivalent(s), 1.0, rtol=1e-12)
    g = surface.gradient(s)
    np.testing.assert_allclose(g / np.linalg.norm(g, axis=1)[:, None], rate / np.linalg.norm(rate, axis=1)[:, None], atol=1e-8)
    # No other stress on the surface does more work (maximum plastic work).
    other = stresses()
    other = other / surface.equivalent(other)[:, None]
    assert (rate @ other.T <= (rate * s).sum(axis=1)[:, None] + 1e-9).all()


@every
def test_locus_lies_on_the_surface(surface):
    s11, s22 = surface.locus()
    np.testing.assert_allclose(surface.equivalent(np.stack([s11, s22, 0 * s11], axis=1)), 1.0, rtol=1e-12)


def test_yld2000_with_unit_coefficients_and_exponent_two_is_mises():
    s = stresses()
    np.testing.assert_allclose(Yld2000((1.0,) * 8, 2.0).equivalent(s), Mises().equivalent(s), rtol=1e-12)


def test_isotropic_surfaces_do_not_see_the_direction():
    for surface in (Mises(), Yld2000((1.0,) * 8, 8.0)):
        ratio, r = surface.directional(np.arange(0, 91, 7.5))
        np.testing.assert_allclose(ratio, 1.0, rtol=1e-12)
        np.testing.assert_allclose(r, 1.0, rtol=1e-10)
        np.testing.assert_allclose(surface.biaxial(), (1.0, 1.0), rtol=1e-12)


positive_r = st.floats(0.15, 5.0)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(positive_r, positive_r, positive_r)
def test_hill_gives_back_its_r_values(r0, r45, r90):
    surface = Hill48.from_r(r0, r45, r90)
    ratio, r = surface.directional([0.0, 45.0, 90.0])
    np.testing.assert_allclose(r, [r0, r45, r90], rtol=1e-9)
    assert ratio[0] == pytest.approx(1.0, abs=1e-12)
    assert np.linalg.eigvalsh(surface.form).min() > 0
    assert surface.biaxial()[1] == pytest.approx(r0 / r90, rel=1e-9)


coefficients = st.tuples(*[st.floats(0.5, 1.6)] * 8)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(coefficients, st.sampled_from([2.0, 4.0, 6.0, 6.565, 8.0, 12.0]), st.integers(0, 10_000))
def test_yld2000_is_convex_and_exact_whatever_the_coefficients(alpha, exponent, seed):
    surface = Yld2000(alpha, exponent)
    s = np.random.default_rng(seed).normal(size=(30, 3))
    h = surface.hessian(s) * surface.equivalent(s)[:, None, None]
    scale = np.abs(h).max(axis=(1, 2))
    assert (np.linalg.eigvalsh(h).min(axis=1) > -1e-9 * scale).all()
    np.testing.assert_allclose(surface.gradient(s), central(surface.equivalent, s, 1e-6), rtol=1e-6, atol=1e-6)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.tuples(*[st.floats(0.9, 1.12)] * 8), st.sampled_from([6.0, 8.0]))
def test_fit_finds_a_surface_with_the_measurements_of_a_known_one(alpha, exponent):
    known = Yld2000(alpha, exponent)
    s, r = known.directional([0.0, 45.0, 90.0])
    sb, rb = known.biaxial()
    if min(r.min(), rb) < 0.1:
        return
    found = fit_yld2000(Measures(*(float(v) for v in s), sb, *(float(v) for v in r), rb), exponent)
    fs, fr = found.directional([0.0, 45.0, 90.0])
    np.testing.assert_allclose(fs, s, atol=1e-7)
    np.testing.assert_allclose(fr, r, atol=1e-6)
    np.testing.assert_allclose(found.biaxial(), (sb, rb), atol=1e-6)


def test_fit_without_rb_has_equal_third_and_sixth_coefficients():
    found = fit_yld2000(Measures(1.0, 0.811, 0.910, 1.035, 0.21, 1.58, 0.69))
    assert found.alpha[2] == pytest.approx(found.alpha[5], abs=1e-8)


def test_measurements_that_no_surface_meets_are_refused():
    with pytest.raises(SolveError, match="No Yld2000-2d surface"):
        fit_yld2000(Measures(0.95, 1.05, 1.11, 0.94, 2.2, 0.52, 1.2, 0.99), 6.0)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Hill48.from_r(-1.0, 1.0, 1.0), "r0: -1.0 cannot be used"),
        (lambda: Hill48.from_r(1.0, float("nan"), 1.0), "r45: nan"),
        (lambda: Hill48(0.5, 0.5, 0.6, 1.5), "expected 1"),
        (lambda: Hill48(-0.4, 0.5, 0.5, 1.5), "convex"),
        (lambda: Yld2000((1.0,) * 7, 8.0), "7 coefficients"),
        (lambda: Yld2000((1.0,) * 8, 1.0), "exponent"),
        (lambda: Yld2000((0.0,) * 8, 8.0), "not closed"),
        (lambda: Measures(1.0, 1.0, 1.0, 1.0, 1.0, -0.5, 1.0), "r45"),
    ],
)
def test_bad_surfaces_are_one_sentence(make, says):
    with pytest.raises(InputError, match=says):
        make()


def test_a_strain_direction_of_no_length_is_refused():
    with pytest.raises(SolveError, match="zero length"):
        Mises().stress_for([0.0, 0.0, 0.0])

"""Laying a sprung shape on three points, best fit, supports chosen."""

import numpy as np
import pytest
from sheets import cup_profile, disc_mesh, turned

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.tryout.reference_points import best_fit, choose_supports, kabsch, readings, stiff_points, three_two_one

FLAT, TRIANGLES = disc_mesh(95.0, 4.0)
CUP = TriMesh(turned(FLAT, cup_profile(50.0, 10.0, 10.0, 30.0)), TRIANGLES)


def rotation(w):
    a = np.linalg.norm(w)
    k = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]]) / a
    return np.eye(3) + np.sin(a) * k + (1 - np.cos(a)) * k @ k


MOVES = [np.array([0.02, -0.03, 0.05]), np.array([0.4, 0.3, -0.9])]


@pytest.mark.parametrize("w", MOVES)
def test_a_rigid_motion_is_taken_out_whole(w):
    sprung = CUP.points @ rotation(w).T + [4.0, -7.0, 2.0]
    for laid in (best_fit(CUP, sprung), three_two_one(CUP, sprung, choose_supports(CUP))):
        assert np.abs(laid.displacement).max() < 1e-9
        np.testing.assert_allclose(laid.rotation @ rotation(w), np.eye(3), atol=1e-12)


@pytest.mark.parametrize("w", MOVES)
def test_three_supports_are_met_as_in_a_fixture(w):
    bent = CUP.points.copy()
    bent[:, 2] += 2e-4 * CUP.points[:, 0] ** 2
    bent[:, 0] *= 1.002
    supports = choose_supports(CUP)
    laid = three_two_one(CUP, bent @ rotation(w).T + 3.0, supports)
    d = laid.displacement[list(supports)]
    np.testing.assert_allclose(d[:, 2], 0.0, atol=1e-9)
    line = (CUP.points[supports[1]] - CUP.points[supports[0]]) * [1, 1, 0]
    line /= np.linalg.norm(line)
    across = np.cross([0, 0, 1.0], line)
    np.testing.assert_allclose(d[:2] @ across, 0.0, atol=1e-9)
    assert abs(d[0] @ line) < 1e-9
    assert np.linalg.norm(d[1]) > 0.05  # the sheet is longer between its supports, and may be
    np.testing.assert_allclose(laid.rotation @ laid.rotation.T, np.eye(3), atol=1e-12)
    # what is left does not depend on how the sheet came to lie
    again = three_two_one(CUP, bent, supports)
    np.testing.assert_allclose(laid.points, again.points, atol=1e-8)


def test_the_normal_deviation_of_an_opened_flange():
    s = np.hypot(*FLAT.T)
    sprung = CUP.points.copy()
    sprung[s > 80.0, 2] += 0.5
    laid = three_two_one(CUP, sprung, tuple(np.argsort(s)[[0, 40, 80]]))
    flange = s > 88.0
    np.testing.assert_allclose(laid.normal_mm[flange], 0.5, atol=1e-6)
    point = tuple(CUP.points[np.flatnonzero(flange)[0]])
    found = readings(CUP, laid, {"rim": point, "middle": (0.0, 0.0, -30.0)})
    assert [r.name for r in found] == ["rim", "middle"]
    assert found[0].normal_mm == pytest.approx(0.5, abs=1e-6)
    assert found[0].size_mm == pytest.approx(0.5, abs=1e-6)
    assert found[1].normal_mm == pytest.approx(0.0, abs=1e-9)
    assert readings(CUP, laid, {}) == []


def test_best_fit_leaves_no_more_than_the_fixture():
    sprung = CUP.points + np.random.default_rng(5).normal(0, 0.1, CUP.points.shape) + [0, 0, 1.0]
    w = CUP.point_areas
    size = lambda laid: (w * (laid.displacement**2).sum(1)).sum()  # noqa: E731
    assert size(best_fit(CUP, sprung)) < size(three_two_one(CUP, sprung, choose_supports(CUP)))


def test_no_mirror_image_is_fitted():
    r, _ = kabsch(CUP.points * [1, 1, -1], CUP.points)
    assert np.linalg.det(r) == pytest.approx(1.0)


def test_supports_lie_far_apart_and_on_stiff_level_places():
    fit = stiff_points(CUP, reach=15.0)
    s = np.hypot(*FLAT.T)
    assert fit.any()
    assert (np.abs(CUP.point_normals[fit, 2]) > 0.9).all()
    assert s[fit].max() < 95.0 - 3.0
    three = choose_supports(CUP, fit)
    assert fit[list(three)].all()
    a, b, c = CUP.points[list(three), :2]
    best = 3 * np.sqrt(3) / 4 * np.hypot(*CUP.points[fit, :2].T).max() ** 2
    area = 0.5 * abs((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0])
    assert area > 0.95 * best
    assert np.linalg.norm(a - b) >= max(np.linalg.norm(b - c), np.linalg.norm(c - a)) - 1e-12


def test_refusals():
    line = TriMesh(np.array([[0.0, 0, 0], [10, 0, 0], [20, 0, 0], [0, 9, 0]]), np.array([[0, 1, 3]]))
    with pytest.raises(InputError, match="stand in line"):
        three_two_one(line, line.points, (0, 1, 2))
    with pytest.raises(InputError, match="one line"):
        kabsch(np.outer(np.arange(5.0), [1, 0, 0]), np.outer(np.arange(5.0), [1, 0, 0]))
    with pytest.raises(InputError, match="cannot be laid"):
        kabsch(np.zeros((2, 3)), np.zeros((2, 3)))
    flat = TriMesh(np.array([[0.0, 0, 0], [0, 0, 5], [0, 0, 10]]), np.array([[0, 1, 2]]))
    with pytest.raises(InputError, match="no extent in plan"):
        choose_supports(flat)

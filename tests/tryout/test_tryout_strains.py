"""Principal strains, directions and thickness, against deformations known in closed form."""

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.tryout.strains import log_strain, principal, rest_axes, strains_of, tensor

RNG = np.random.default_rng(7)


def rotation(axis, angle):
    a = np.asarray(axis, float) / np.linalg.norm(axis)
    k = np.array([[0, -a[2], a[1]], [a[2], 0, -a[0]], [-a[1], a[0], 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k


def some_triangles(n=40):
    points = np.column_stack([RNG.uniform(0, 50, (3 * n, 2)), np.zeros(3 * n)])
    triangles = np.arange(3 * n).reshape(n, 3)
    a, b, c = (points[triangles[:, i], :2] for i in range(3))
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    triangles[area < 0] = triangles[area < 0][:, ::-1]
    return points, triangles[np.abs(area) > 1.0]


@pytest.mark.parametrize("seed", range(5))
def test_any_homogeneous_stretch_and_rotation_comes_back(seed):
    rng = np.random.default_rng(seed)
    points, triangles = some_triangles()
    e1, e2 = np.sort(rng.uniform(-0.6, 0.8, 2))[::-1]
    phi = rng.uniform(-np.pi / 2, np.pi / 2)
    c, s = np.cos(phi), np.sin(phi)
    q = np.array([[c, -s], [s, c]])
    u = q @ np.diag(np.exp([e1, e2])) @ q.T
    turn = rotation(rng.normal(size=3), rng.uniform(0, 3))
    now = (points[:, :2] @ u.T) @ turn[:, :2].T + rng.normal(size=3)
    found = strains_of(points, triangles, now, 0.8)
    np.testing.assert_allclose(found.major, e1, atol=1e-10)
    np.testing.assert_allclose(found.minor, e2, atol=1e-10)
    np.testing.assert_allclose(found.thickness, 0.8 * np.exp(-e1 - e2), rtol=1e-10)
    np.testing.assert_allclose(found.thinning_pct, 100 * (1 - np.exp(-e1 - e2)), atol=1e-8)
    expected = turn @ np.array([c, s, 0.0])
    np.testing.assert_allclose(np.abs(found.direction @ expected), 1.0, atol=1e-9)


def test_the_shells_own_strain_and_stretch_are_taken_when_given():
    points, triangles = some_triangles(6)
    m = len(triangles)
    membrane = np.tile([0.1, -0.05, 0.08], (m, 1))
    found = strains_of(points, triangles, points, 1.0, membrane=membrane, stretch=np.full(m, 0.9))
    e1, e2, angle = principal(membrane)
    np.testing.assert_allclose(found.major, e1)
    np.testing.assert_allclose(found.minor, e2)
    np.testing.assert_allclose(found.thinning_pct, 10.0)
    np.testing.assert_allclose(np.abs(found.direction @ [np.cos(angle[0]), np.sin(angle[0]), 0.0]), 1.0, atol=1e-12)


def test_angles_count_from_the_rolling_direction():
    points, triangles = some_triangles(5)
    now = points * np.array([1.2, 1.0, 1.0])
    for deg in (0.0, 30.0, 90.0):
        a = np.radians(deg)
        found = strains_of(points, triangles, now, 1.0, rolling=(np.cos(a), np.sin(a), 0.0))
        np.testing.assert_allclose(np.cos(2 * (found.angle + a)), 1.0, atol=1e-9)
        np.testing.assert_allclose(np.abs(found.direction[:, 0]), 1.0, atol=1e-9)


def test_tensor_and_principal_are_inverse():
    e = RNG.normal(size=(100, 3))
    np.testing.assert_allclose(tensor(*principal(e)), e, atol=1e-12)


def test_rolling_direction_square_on_a_triangle_still_gives_axes():
    points = np.array([[0.0, 0, 0], [0, 1, 0], [0, 0, 1]])
    along, across = rest_axes(points, np.array([[0, 1, 2]]), np.array([1.0, 0, 0]))
    np.testing.assert_allclose(np.linalg.norm(along, axis=1), 1.0)
    np.testing.assert_allclose((along * across).sum(1), 0.0, atol=1e-15)


def test_slivers_and_collapsed_triangles_are_refused():
    flat = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]])
    one = np.array([[0, 1, 2]])
    with pytest.raises(InputError, match="no area"):
        strains_of(flat, one, flat, 1.0)
    good = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    with pytest.raises(InputError, match="not a finite number"):
        strains_of(good, one, flat, 1.0)
    assert not np.isfinite(log_strain(np.zeros((1, 3, 2)))).all()

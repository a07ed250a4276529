"""Signed distances of a face on the sparse grid, against the exact ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from diewright.errors import InputError
from diewright.mechanics.contact.features import features
from diewright.mechanics.contact.grid import FAR, distance_grid
from diewright.mechanics.contact.lookup import look_up
from diewright.mechanics.contact.tools import Tool, ToolSet


def asked(points, triangles, where, *, spacing=0.5, band=2.0):
    """``(distance (n,), gradient (n, 3))`` at points."""
    tools = ToolSet((Tool("face", distance_grid(points, triangles, spacing=spacing, band=band)),), np.ones(1), 1)
    got = np.array([look_up(*p, tools.numbers, tools.sizes, 0, tools.place, tools.samples) for p in np.atleast_2d(where).astype(float)])
    return got[:, 0], got[:, 1:]


def rectangle(a: float = 10.0, b: float = 8.0):
    return np.array([[0, 0, 0], [a, 0, 0], [a, b, 0], [0, b, 0.0]]), np.array([[0, 1, 2], [0, 2, 3]])


def swept(line, lines):
    """Triangles between lines of points (k, 3)."""
    p = np.concatenate(lines)
    k = len(line)
    t = []
    for i in range(len(lines) - 1):
        for j in range(k - 1):
            a, b, c, d = i * k + j, (i + 1) * k + j, (i + 1) * k + j + 1, i * k + j + 1
            t += [[a, b, c], [a, c, d]]
    return p, np.array(t)


def turned(seed_of: int):
    """A rotation and a shift."""
    g = np.random.default_rng(seed_of)
    q, _ = np.linalg.qr(g.normal(size=(3, 3)))
    if np.linalg.det(q) < 0:
        q[:, 0] *= -1
    return q, g.uniform(-20, 20, 3)


@seed(11)
@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_distance_to_a_plane_is_exact_in_any_position(number):
    """A trilinear function holds a plane exactly: 1e-5 mm is what float32 samples leave; gradient is the normal."""
    q, shift = turned(number)
    points, triangles = rectangle()
    g = np.random.default_rng(number)
    where = np.column_stack([g.uniform(1.5, 8.5, 40), g.uniform(1.5, 6.5, 40), g.uniform(-1.0, 1.0, 40)])
    d, n = asked(points @ q.T + shift, triangles, where @ q.T + shift, band=2.5)
    assert np.abs(d - where[:, 2]).max() < 1e-5
    assert np.abs(n - q[:, 2]).max() < 1e-4


def test_nothing_beyond_the_band_the_box_and_an_open_edge():
    points, triangles = rectangle()
    for p in ([5, 4, 4.5], [5, 4, -4.5], [500, 4, 0.1], [-1.2, 4, 0.3], [11.0, 4, -0.3], [5, 9.2, 0.0], [-0.8, -0.8, 0.1]):
        d, n = asked(points, triangles, p)
        assert d[0] > 1e8, p
        assert not n.any(), p
    d, _ = asked(points, triangles, [[0.6, 0.6, 0.4], [9.4, 7.4, -0.4]])
    assert d == pytest.approx([0.4, -0.4], abs=1e-6)


def test_distance_to_a_cylinder_is_off_by_no_more_than_stated():
    """``h^2/(4 R)`` of the trilinear samples and the sag of the facets; from inside and from outside the sign follows the normals."""
    r, h, step = 6.0, 0.4, math.radians(1.0)
    at = np.arange(0.0, math.pi / 2 + 1e-9, step)
    arc = np.column_stack([r * np.cos(at), 0 * at, r * np.sin(at)])
    p, t = swept(arc, [arc, arc + np.array([0, 10, 0])])
    normal = np.cross(p[t[0, 1]] - p[t[0, 0]], p[t[0, 2]] - p[t[0, 0]])
    outwards = 1.0 if normal @ [1, 0, 0] > 0 else -1.0
    g = np.random.default_rng(2)
    a, off, y = g.uniform(0.2, 1.3, 300), g.uniform(-1.0, 1.0, 300), g.uniform(1, 9, 300)
    where = np.column_stack([(r + off) * np.cos(a), y, (r + off) * np.sin(a)])
    d, n = asked(p, t, where, spacing=h)
    bound = h * h / (4 * (r - 1.0 - h)) + r * (1 - math.cos(step / 2)) + 1e-5
    assert np.abs(outwards * d - off).max() < bound
    radial = np.column_stack([np.cos(a), 0 * a, np.sin(a)])
    assert (outwards * (n * radial).sum(1)).min() > math.cos(math.radians(3.0))


def test_distance_to_a_die_radius_is_off_by_no_more_than_stated():
    """The torus of a round die from ``die.simple``: the sheet above it is at a positive distance."""
    from diewright.die.simple import round_cup_tools

    r, h = 10.0, 0.5
    die = round_cup_tools(60, 5, 62.4, r, 42, 1.0, 107.5)["die"]
    g = np.random.default_rng(5)
    a, phi, off = g.uniform(0, 2 * math.pi, 400), g.uniform(math.pi / 2 + 0.1, math.pi - 0.1, 400), g.uniform(-0.6, 0.9, 400)
    rho = 31.2 + r + (r + off) * np.cos(phi)
    where = np.column_stack([rho * np.cos(a), rho * np.sin(a), -0.5 - r + (r + off) * np.sin(phi)])
    d, _ = asked(die.points, die.triangles, where, spacing=h)
    # facets lie inside the radius by their chord (0.02 mm by default) at most
    assert np.abs(d - off).max() < h * h / (4 * (r - 1.2)) + 0.03


def test_a_sharp_corner_gives_the_right_sign_all_round():
    """A cube's corner: outside is positive, inside negative, also where a single triangle's normal would say otherwise."""
    c = np.array([[0, 0, 0], [6, 0, 0], [6, 6, 0], [0, 6, 0], [0, 0, 6], [6, 0, 6], [6, 6, 6], [0, 6, 6.0]])
    t = np.array(
        [[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
    )
    g = np.random.default_rng(3)
    where = g.uniform(-1.2, 7.2, (1500, 3))
    outside = np.maximum(np.maximum(-where, where - 6.0), 0.0)
    exact = np.linalg.norm(outside, axis=1)
    inside = exact == 0
    exact[inside] = -np.minimum(where, 6.0 - where).min(1)[inside]
    near = np.abs(exact) < 1.1
    spacing = 0.25
    d, n = asked(c, t, where[near], spacing=spacing)
    assert (d < 1e8).all()
    clear = np.abs(exact[near]) > spacing
    assert (np.sign(d) == np.sign(exact[near]))[clear].all()
    assert np.abs(d - exact[near]).max() < 0.5 * spacing
    assert np.linalg.norm(n, axis=1) == pytest.approx(np.ones(len(n)))


def test_an_acute_edge_is_not_inside_out():
    """A wedge of 20 degrees: points before the edge are outside by both its sides' mean normal, though one side's normal says inside."""
    s, c = math.sin(math.radians(10)), math.cos(math.radians(10))
    p = np.array(
        [[0, 0, 0], [0, 10, 0], [-10 * c, 0, 10 * s], [-10 * c, 10, 10 * s], [-10 * c, 0, -10 * s], [-10 * c, 10, -10 * s]], dtype=float
    )
    t = np.array([[0, 1, 3], [0, 3, 2], [0, 5, 1], [0, 4, 5]])
    where = np.array([[0.6, 5.0, 0.3], [0.6, 5.0, -0.3], [0.3, 5, 0.9], [0.3, 5, -0.9]])
    d, _ = asked(p, t, where, spacing=0.2)
    assert d == pytest.approx(np.linalg.norm(where[:, [0, 2]], axis=1), abs=0.03)
    d, _ = asked(p, t, [[-6.0, 5.0, 0.5], [-6.0, 5.0, -0.5]], spacing=0.2)
    assert d == pytest.approx(np.full(2, 0.5 * c - 6.0 * s), abs=1e-3)


def test_the_gradient_is_that_of_the_distance_between_samples():
    r = 5.0
    at = np.radians(np.arange(0.0, 90.1, 2.0))
    arc = np.column_stack([r * np.cos(at), 0 * at, r * np.sin(at)])
    p, t = swept(arc, [arc, arc + np.array([0, 8, 0])])
    where = np.array([[3.3, 3.1, 3.9], [4.6, 4.2, 2.3]])
    d, n = asked(p, t, where)
    e = 1e-4
    for k in range(2):
        difference = np.array([asked(p, t, where[k] + e * s)[0][0] - asked(p, t, where[k] - e * s)[0][0] for s in np.eye(3)]) / (2 * e)
        assert n[k] == pytest.approx(difference / np.linalg.norm(difference), abs=2e-3)
    assert np.isfinite(d).all()


def test_files_that_give_every_triangle_its_own_points_make_the_same_grid():
    points, triangles = rectangle()
    one = distance_grid(points, triangles, spacing=0.5, band=2.0)
    loose = distance_grid(points[triangles].reshape(-1, 3), np.arange(6).reshape(2, 3), spacing=0.5, band=2.0)
    assert (one.samples == loose.samples).all()
    assert (one.place == loose.place).all()
    assert not np.isnan(one.samples).any()
    assert (one.samples[one.samples < 1e8] <= 2.0 + 1e-6).all()
    assert (one.samples == FAR).any()


def test_the_same_face_gives_the_same_bits_twice():
    at = np.radians(np.arange(0.0, 90.1, 5.0))
    arc = np.column_stack([5 * np.cos(at), 0 * at, 5 * np.sin(at)])
    p, t = swept(arc, [arc, arc + np.array([0, 8, 0])])
    a, b = (distance_grid(p, t, spacing=0.3, band=1.5) for _ in range(2))
    assert a.samples.tobytes() == b.samples.tobytes()


@pytest.mark.parametrize(
    ("points", "triangles", "says"),
    [
        ([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0.0]], [[0, 1, 2], [0, 3, 2]], "turned against each other"),
        ([[0, 0, 0], [1, 0, 0], [2, 0, 0.0]], [[0, 1, 2]], "no area"),
        ([[0, 0, 0], [1, 0, math.nan], [0, 1, 0.0]], [[0, 1, 2]], "expected finite"),
        ([[0, 0], [1, 0], [0, 1.0]], [[0, 1, 2]], r"expected finite \(n, 3\)"),
    ],
)
def test_faces_that_cannot_be_used_are_refused(points, triangles, says):
    with pytest.raises(InputError, match=says):
        features(points, triangles)


def test_features_names_the_place_where_normals_turn():
    points = np.array([[20, 30, 0], [21, 30, 0], [21, 31, 0], [20, 31, 0.0]])
    with pytest.raises(InputError, match=r"near \[2[01]\.0, 3[01]\.0, 0\.0\]"):
        features(points, [[0, 1, 2], [0, 3, 2]])


def test_a_face_with_flat_triangles_among_good_ones_is_used_without_them():
    points, triangles = rectangle()
    got = features(points, np.vstack([triangles, [[0, 0, 1]], [[1, 1, 1]]]))
    assert len(got.corners) == 2
    assert got.ends[:, :3].sum() == 4  # the four outer sides, the diagonal is none


@pytest.mark.parametrize(("spacing", "band"), [(0.0, 1.0), (0.5, 0.0), (math.nan, 1.0), (0.5, math.inf)])
def test_lengths_that_are_none_are_refused(spacing, band):
    with pytest.raises(InputError, match="expected lengths above zero"):
        distance_grid(*rectangle(), spacing=spacing, band=band)


def test_a_face_too_large_for_its_spacing_is_refused_before_memory_is_taken():
    points, triangles = rectangle(4e4, 4e4)
    with pytest.raises(InputError, match=r"too large|bricks"):
        distance_grid(points, triangles, spacing=0.2, band=1.0)

"""Sections of sheets: chained, ordered, skins to scale, planes through vertices and along edges."""

import numpy as np
import pytest
from cups import DEPTH, LENGTH, RADIUS, cup, grid, half_cylinder

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.geometry.sections import plane_axes, section

X, Y, Z = np.eye(3)


def plate(n=10, shift=0.0):
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-50, 50, n + 1) + shift, np.linspace(-50, 50, n + 1), indexing="ij"))
    return TriMesh(np.column_stack([u, v, 0 * u]), grid(n + 1, n + 1))


def assert_in_plane(line, origin, normal):
    for skin in (line.middle, line.upper, line.lower):
        np.testing.assert_allclose((skin - origin) @ normal, 0.0, atol=1e-9)


@pytest.mark.parametrize("at", [0.0, 0.3, 10.0, -50.0, 50.0, 1e-9])
def test_a_plate_cut_between_on_and_along_its_points(at):
    mesh = plate()
    lines = section(mesh, 2.0, at * X, X)
    assert len(lines) == 1
    (line,) = lines
    assert not line.closed
    assert line.length == pytest.approx(100.0)
    assert np.linalg.norm(np.diff(line.middle, axis=0), axis=1).min() > 0.1
    assert_in_plane(line, round(at, 6) * X if abs(at) < 1e-6 else at * X, X)
    np.testing.assert_allclose(line.upper - line.middle, np.tile([0, 0, 1.0], (len(line.middle), 1)), atol=1e-12)
    np.testing.assert_allclose(line.lower[:, 2], -1.0, atol=1e-12)
    step = np.diff(line.middle, axis=0)
    assert (np.cross(X, step) @ Z > 0).all()  # the upper skin is on the left of travel


def test_a_miss_is_empty_and_a_level_cut_of_a_level_sheet_is_its_border():
    mesh = plate()
    assert section(mesh, 1.0, 51 * X, X) == ()
    (border,) = section(mesh, 1.0, 0 * Z, Z)
    assert border.closed
    assert border.length == pytest.approx(400.0)


@pytest.mark.parametrize("angle", [0.0, 0.001, 0.4, np.pi / 4, np.pi / 2])
def test_a_cup_cut_through_its_middle(angle):
    """Through vertices and the middle point where 96 triangles meet: still one line from rim to rim."""
    mesh, _, s, _ = cup()
    thickness = 1.0 - 0.3 * np.exp(-(((s - 40) / 10) ** 2))
    normal = np.array([-np.sin(angle), np.cos(angle), 0.0])
    (line,) = section(mesh, thickness, np.zeros(3), normal)
    assert not line.closed
    assert line.length == pytest.approx(2 * LENGTH, rel=2e-3)
    assert_in_plane(line, np.zeros(3), normal)
    across, up = plane_axes(normal)
    np.testing.assert_allclose(up, Z, atol=1e-12)
    flat = line.middle @ across
    assert flat.min() == pytest.approx(-60, rel=1e-3)
    assert flat.max() == pytest.approx(60, rel=1e-3)
    assert line.middle[:, 2].min() == pytest.approx(-DEPTH)
    # skins at half the sheet's own thickness: a cut through the axis is square to the sheet
    gap = np.linalg.norm(line.upper - line.lower, axis=1)
    np.testing.assert_allclose(gap, line.thickness, rtol=0.02)
    np.testing.assert_allclose(line.thickness, line.interpolate(thickness), atol=1e-12)
    assert line.thickness.min() < 0.75
    # up on the flange and on the bottom, towards the axis on the wall
    wall = (np.abs(np.abs(flat) - RADIUS) < 0.2) & (line.middle[:, 2] < -10) & (line.middle[:, 2] > -25)
    inward = -np.sign(flat[wall]) * ((line.upper - line.middle)[wall] @ across)
    assert wall.sum() > 10
    np.testing.assert_allclose(inward, 0.5 * line.thickness[wall], rtol=0.02)
    seen = np.cross(normal, np.gradient(line.middle, axis=0))
    assert (np.einsum("ij,ij->i", seen, line.upper - line.middle) > 0).all()


def test_a_level_cut_through_the_wall_is_a_ring():
    mesh, *_ = cup()
    (ring,) = section(mesh, 1.2, -15 * Z, Z)
    assert ring.closed
    n = len(ring.middle)
    assert n >= 96
    np.testing.assert_allclose(np.linalg.norm(ring.middle[:, :2], axis=1), RADIUS, atol=0.03)
    np.testing.assert_allclose(np.linalg.norm(ring.upper[:, :2], axis=1), RADIUS - 0.6, atol=0.03)
    assert ring.length == pytest.approx(2 * np.pi * RADIUS, rel=2e-3)


def test_a_slanting_cut_shows_the_sheet_thicker():
    mesh = plate()
    tilt = np.radians(30)
    (line,) = section(mesh, 2.0, np.zeros(3), np.array([np.cos(tilt), 0, np.sin(tilt)]))
    np.testing.assert_allclose(np.linalg.norm(line.upper - line.lower, axis=1), 2.0 / np.cos(tilt), rtol=1e-12)


def test_several_pieces_come_longest_first():
    formed, _ = half_cylinder(30.0, 40.0, 16)
    both = section(formed, 1.0, 15 * Z, Z)  # two legs of the half cylinder
    assert [round(line.length, 6) for line in both] == [40.0, 40.0]
    far = TriMesh(np.vstack([plate().points, 0.5 * plate().points + 200 * Y]), np.vstack([plate().triangles, plate().triangles + 121]))
    lines = section(far, 1.0, 3 * X, X)
    assert [round(line.length) for line in lines] == [100, 50]


def test_a_crest_that_touches_the_plane_is_found_once():
    formed, _ = half_cylinder(30.0, 40.0, 16)
    (crest,) = section(formed, 1.0, 30 * Z, Z)
    assert crest.length == pytest.approx(40.0)
    (crest,) = section(formed, 1.0, 30 * Z, -Z)
    assert crest.length == pytest.approx(40.0)


def test_random_planes_agree_with_a_triangle_by_triangle_sum():
    mesh, *_ = cup(rings=24, spokes=30)
    rng = np.random.default_rng(7)
    for _ in range(20):
        normal = rng.normal(size=3)
        normal /= np.linalg.norm(normal)
        origin = rng.uniform((-30, -30, -30), (30, 30, 0))
        total = 0.0
        for t in mesh.triangles:
            d = (mesh.points[t] - origin) @ normal
            ends = [
                mesh.points[t[i]] + d[i] / (d[i] - d[j]) * (mesh.points[t[j]] - mesh.points[t[i]])
                for i, j in ((0, 1), (1, 2), (2, 0))
                if d[i] * d[j] < 0
            ]
            if len(ends) == 2:
                total += np.linalg.norm(ends[1] - ends[0])
        lines = section(mesh, 1.0, origin, normal)
        assert sum(line.length for line in lines) == pytest.approx(total, rel=1e-9)
        for line in lines:
            assert_in_plane(line, origin, normal)


def test_refusals():
    with pytest.raises(InputError, match="normal"):
        section(plate(), 1.0, np.zeros(3), np.zeros(3))
    with pytest.raises(InputError, match="thickness"):
        section(plate(), np.ones(3), np.zeros(3), X)
    assert section(TriMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)), np.zeros(0), np.zeros(3), X) == ()

"""Trim lines: inside and outside round a wall, distances along the sheet, and the way back to the flat blank."""

import numpy as np
import pytest
from cups import FLANGE_FROM, LENGTH, WALL_FROM, WALL_TO, cup, half_cylinder, on_cup

from diewright.errors import InputError
from diewright.geometry.cut_line import inside_line, map_line

TURN = 2 * np.pi * np.arange(1440) / 1440
UP = np.tile([0.0, 0.0, 1.0], (400, 1))


def ring_at(s):
    return on_cup(s + 0 * TURN, TURN)


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("joined", [False, True])
@pytest.mark.parametrize(
    "at", [lambda a: FLANGE_FROM + 5 + 2 * np.cos(4 * a), lambda a: 0.5 * (WALL_FROM + WALL_TO) + 4 * np.cos(4 * a), lambda a: WALL_TO + 5 + 12 * np.sin(a)],
    ids=["flange", "wall", "flange and wall"],
)  # fmt: skip
def test_inside_of_a_line_on_a_cup(at, joined, backwards):
    mesh, _, s, angle = cup()
    line = ring_at(at(TURN))
    signed = inside_line(mesh.points, line[::-1] if backwards else line, mesh.point_normals, triangles=mesh.triangles if joined else None)
    true = at(angle) - s
    far = np.abs(true) > 0.05
    np.testing.assert_array_equal(np.sign(signed[far]), np.sign(true[far]))


@pytest.mark.parametrize("s0", [20.0, WALL_FROM + 8.0, FLANGE_FROM + 4.0])
def test_distance_along_the_sheet_to_an_even_line(s0):
    mesh, _, s, _ = cup()
    signed = inside_line(mesh.points, ring_at(s0), mesh.point_normals)
    near = np.abs(s - s0) < 6.0
    assert near.sum() > 400
    np.testing.assert_allclose(signed[near], (s0 - s)[near], atol=0.05)


def test_distance_round_a_cylinder_is_the_arc():
    radius = 30.0
    formed, flat = half_cylinder(radius, 60.0, 24)
    # a closed line whose long sides run straight along the apex's neighbourhood
    u = np.array([-0.3, 0.3, 0.3, -0.3])
    corners = np.column_stack([radius * u, [10.0, 10.0, 50.0, 50.0]])
    dense = np.vstack([np.linspace(a, b, 200, endpoint=False) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    line = np.column_stack([radius * np.sin(dense[:, 0] / radius), dense[:, 1], radius * np.cos(dense[:, 0] / radius)])
    # exact normals: the mesh's own differ from them at its border
    normals = formed.points * (1, 0, 1) / radius
    signed = inside_line(formed.points, line, normals)
    x, y = flat.points[:, 0], flat.points[:, 1]
    beside = (np.abs(y - 30) < 10) & (np.abs(x) > 0.3 * radius - 5)
    assert (np.abs(x[beside]) > 1.5 * 25).any()
    # 60 degrees and more away from the line, where the chord is 5 % short
    np.testing.assert_allclose(signed[beside], 0.3 * radius - np.abs(x[beside]), atol=0.03)


def test_a_line_with_a_notch_and_a_point_off_the_sheet():
    star = np.array([[0, 0], [10, 0], [10, 10], [5.5, 10], [5, 2], [4.5, 10], [0, 10.0]])
    line = np.column_stack([star, 0 * star[:, 0]])
    rng = np.random.default_rng(1)
    p = rng.uniform(-2, 12, (400, 2))
    import shapely

    polygon = shapely.Polygon(star)
    true = np.where(shapely.contains_xy(polygon, p[:, 0], p[:, 1]), 1, -1) * shapely.distance(shapely.points(p), polygon.boundary)
    signed = inside_line(np.column_stack([p, 0 * p[:, 0]]), line, UP)
    np.testing.assert_allclose(signed, true, atol=1e-9)
    lifted = inside_line(np.column_stack([p, 0.01 + 0 * p[:, 0]]), line, UP)
    far = np.abs(true) > 0.02
    np.testing.assert_allclose(lifted[far], true[far], atol=1e-9)
    # repeated points change nothing
    again = np.repeat(np.vstack([line, line[:1]]), 2, axis=0)
    np.testing.assert_allclose(inside_line(np.column_stack([p, 0 * p[:, 0]]), again, UP), true, atol=1e-9)


def test_far_points_follow_their_neighbours_not_the_nearest_line():
    """A deep narrow channel: the far wall is nearer to the line than its own neighbours are, and must not be cut from it."""
    half, depth, n = 1.0, 30.0, 61
    s = np.linspace(-depth - half, depth + half, 2 * n + 1)
    y = np.linspace(0, 40, 41)
    ss, yy = (a.ravel() for a in np.meshgrid(s, y, indexing="ij"))

    def shape(s, y):
        out = np.maximum(np.abs(s) - half, 0)
        return np.column_stack([np.clip(s, -half, half) + np.sign(s) * 0.1 * out, y, out])

    from cups import grid

    from diewright.geometry.mesh import TriMesh

    mesh = TriMesh(shape(ss, yy), grid(2 * n + 1, 41))
    assert mesh.normals[:, 2].sum() > 0
    corners = np.array([[8, 10], [20, 10], [20, 30], [8, 30.0]])  # (s, y): all of it on the wall at +x
    flat = np.vstack([np.linspace(a, b, 100, endpoint=False) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    line = shape(flat[:, 0], flat[:, 1])
    inside = (ss > 8) & (ss < 20) & (yy > 10) & (yy < 30)
    away = np.maximum(np.abs(ss - 14) - 6, np.abs(yy - 20) - 10)
    clear = np.abs(away) > 0.1
    for given in (line, line[::-1]):
        signed = inside_line(mesh.points, given, mesh.point_normals, triangles=mesh.triangles)
        np.testing.assert_array_equal(signed[clear] > 0, inside[clear])
        alone = inside_line(mesh.points, given, mesh.point_normals)
        assert ((alone[clear] > 0) != inside[clear]).any()  # what the joining is for


@pytest.mark.parametrize("n", [12, 24])
def test_a_line_on_a_half_cylinder_unrolls(n):
    radius, length = 25.0, 40.0
    formed, flat = half_cylinder(radius, length, n)
    u = np.linspace(-1.2, 1.2, 301)
    y = 20 + 12 * np.sin(2.5 * u)
    line = np.column_stack([radius * np.sin(u), y, radius * np.cos(u)])
    back = map_line(flat, formed, line)
    error = np.linalg.norm(back.points - np.column_stack([radius * u, y]), axis=1)
    angle = np.pi / 2 / n
    # on a chord of angle a the tangential place is wrong by R a^3 / (36 sqrt 3) at most, and the sagitta is R a^2 / 8
    assert error.max() <= 1.05 * radius * angle**3 / (36 * np.sqrt(3))
    assert back.off_max == pytest.approx(radius * (1 - np.cos(angle / 2)), rel=0.02)
    np.testing.assert_allclose(back.weights.sum(axis=1), 1.0, atol=1e-12)
    where = np.einsum("ki,kij->kj", back.weights, formed.points[formed.triangles[back.triangles]])
    np.testing.assert_allclose(np.linalg.norm(where - line, axis=1), back.off, atol=1e-9)


def test_a_line_of_mesh_points_comes_back_exactly():
    mesh, flat, s, _ = cup(rings=30, spokes=40)
    ring = np.flatnonzero(np.abs(s - s[20 * 40]) < 1e-9)
    back = map_line(flat, mesh, mesh.points[ring])
    np.testing.assert_allclose(back.points, flat.points[ring][:, :2], atol=1e-9)
    assert back.off_max < 1e-9
    dense = map_line(flat, mesh, mesh.points[ring], step=1.0)
    gaps = np.linalg.norm(np.diff(dense.points, axis=0), axis=1)
    assert len(dense.points) > 5 * len(ring)
    assert gaps.max() < 2.0


def test_the_cup_line_goes_to_the_blank_and_back():
    """A line on the wall, carried to the flat, gives the same inside as on the formed sheet."""
    mesh, flat, s, angle = cup()
    at = 0.5 * (WALL_FROM + WALL_TO) + 4 * np.cos(4 * TURN)
    back = map_line(flat, mesh, ring_at(at))
    np.testing.assert_allclose(np.linalg.norm(back.points, axis=1), at, atol=0.1)
    level = np.column_stack([back.points, 0 * TURN])
    inside = inside_line(flat.points, level, np.tile([0.0, 0.0, 1.0], (len(flat.points), 1)))
    formed = inside_line(mesh.points, ring_at(at), mesh.point_normals)
    clear = np.abs(0.5 * (WALL_FROM + WALL_TO) + 4 * np.cos(4 * angle) - s) > 0.2
    np.testing.assert_array_equal(inside[clear] > 0, formed[clear] > 0)
    assert LENGTH > FLANGE_FROM


def test_refusals():
    mesh, flat, *_ = cup(rings=10, spokes=12)
    line = ring_at(20.0)
    n = mesh.point_normals
    for bad in (line[:, :2], line[:2], np.repeat(line[:1], 9, axis=0), line * np.nan):
        with pytest.raises(InputError):
            inside_line(mesh.points, bad, n)
    with pytest.raises(InputError, match="normals"):
        inside_line(mesh.points, line, n[:-1])
    with pytest.raises(InputError, match="same triangles"):
        map_line(flat.reversed(), mesh, line)
    for bad in (line[:, :2], line[:0], np.full((5, 3), np.inf)):
        with pytest.raises(InputError):
            map_line(flat, mesh, bad)
    with pytest.raises(InputError, match="step"):
        map_line(flat, mesh, line, step=0.0)
    assert inside_line(np.zeros((0, 3)), line, np.zeros((0, 3))).shape == (0,)

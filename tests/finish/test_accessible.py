"""Ball and wheel against closed forms, another library's distances, and shapes they were not made for."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import trimesh

from diewright.errors import InputError
from diewright.geometry.accessible import Probe, samples
from diewright.geometry.mesh import TriMesh
from diewright.geometry.sides import outer_side, regions
from diewright.prove.finish import profile, slot


def bowl(radius: float, count: int = 4) -> TriMesh:
    """Lower half of a sphere, normals inwards."""
    ball = trimesh.creation.icosphere(subdivisions=count, radius=radius)
    low = ball.triangles_center[:, 2] < -0.15 * radius
    return TriMesh(ball.vertices, ball.faces[low][:, ::-1])


def wavy(seed: int) -> TriMesh:
    rng = np.random.default_rng(seed)
    g = np.linspace(-60.0, 60.0, 31)
    x, y = (a.ravel() for a in np.meshgrid(g, g, indexing="ij"))
    z = 9.0 * np.sin(x / 9.0) * np.cos(y / 14.0) + rng.normal(0.0, 0.7, len(x))
    n = len(g)
    i = (n * np.arange(n - 1)[:, None] + np.arange(n - 1)).ravel()
    return TriMesh(np.column_stack([x, y, z]), np.concatenate([np.stack([i, i + n, i + n + 1], 1), np.stack([i, i + n + 1, i + 1], 1)]))


@pytest.mark.parametrize(("radius", "touches"), [(10.6, True), (9.8, False)])
def test_a_ball_of_20_mm_touches_a_bowl_that_is_rounder_than_itself(radius: float, touches: bool) -> None:
    mesh = bowl(radius)
    inside, outside = (Probe(mesh).ball_share(10.0, s) for s in (1.0, -1.0))
    assert (mesh.normals * mesh.centroids).sum(axis=1).max() < 0
    assert inside.min() == inside.max() == float(touches)
    assert outside.min() == 1.0


def test_half_the_sheet_lies_on_each_side() -> None:
    mesh = bowl(10.6)
    assert Probe(mesh, 0.8).ball_share(10.0, 1.0).max() == 1.0  # 10.2 mm are left inside
    assert Probe(mesh, 1.4).ball_share(10.0, 1.0).max() == 0.0  # 9.9 mm


@pytest.mark.parametrize("seed", [1, 2])
def test_room_is_what_another_library_measures(seed: int) -> None:
    mesh = wavy(seed)
    some = np.random.default_rng(seed).choice(len(mesh.triangles), 150, replace=False)
    room = Probe(mesh, 1.0).room(mesh.centroids[some], mesh.normals[some], 10.0)
    centres = mesh.centroids[some] + 10.5 * mesh.normals[some]
    corners, off = mesh.points[mesh.triangles], []
    for c in centres:
        at = trimesh.triangles.closest_point(corners, np.broadcast_to(c, (len(corners), 3)))
        off.append(np.linalg.norm(at - c, axis=1).min())
    assert room == pytest.approx(np.array(off) - 10.5, abs=1e-9)
    assert room.max() <= 1e-9
    assert 0.1 < (room > -0.02).mean() < 0.9


def test_turning_and_shifting_the_part_changes_nothing() -> None:
    mesh = wavy(3)
    turn, _ = np.linalg.qr(np.random.default_rng(0).normal(size=(3, 3)))
    turn *= np.linalg.det(turn)
    moved = mesh.moved(turn, np.array([300.0, -40.0, 1000.0]))
    for s in (1.0, -1.0):
        assert Probe(moved).ball_share(10.0, s) == pytest.approx(Probe(mesh).ball_share(10.0, s), abs=0.26)
        assert Probe(moved).ball_share(10.0, s) @ mesh.areas == pytest.approx(Probe(mesh).ball_share(10.0, s) @ mesh.areas, rel=1e-3)
    assert np.array_equal(Probe(mesh.reversed()).ball_share(10.0, 1.0), Probe(mesh).ball_share(10.0, -1.0))


def test_a_smaller_ball_touches_whatever_a_larger_one_does() -> None:
    probe = Probe(wavy(4))
    at, normals = probe.mesh.centroids, probe.mesh.normals
    free = [probe.room(at, normals, r) >= -1e-9 for r in (3.0, 6.0, 12.0, 24.0)]
    assert all((a | ~b).all() for a, b in pairwise(free))
    assert [int(x.sum()) for x in free] == sorted((int(x.sum()) for x in free), reverse=True)


def test_large_triangles_are_asked_at_many_places() -> None:
    coarse = slot(30.0, 20.0)
    share = Probe(coarse).ball_share(10.0, 1.0)
    floor = (coarse.centroids[:, 2] < -19.9) & (coarse.normals[:, 2] > 0.9)
    assert 20.0 * (share * coarse.areas)[floor].sum() / coarse.areas[floor].sum() == pytest.approx(
        20.0 * 10.0 / 30.0, abs=2.0
    )  # 10 of 30 mm
    points, owner, parts = samples(coarse, 5.0)
    assert np.bincount(owner) == pytest.approx(parts)
    middle = np.stack([np.bincount(owner, points[:, k]) / parts for k in range(3)], axis=1)
    assert middle == pytest.approx(coarse.centroids, abs=1e-9)


def test_a_triangle_without_area_is_not_touched() -> None:
    mesh = TriMesh(np.array([[0, 0, 0], [50, 0, 0], [0, 50, 0], [25, 0, 0]]), np.array([[0, 1, 2], [0, 3, 1]]))
    assert Probe(mesh).ball_share(10.0, 1.0).tolist() == [1.0, 0.0]
    assert Probe(mesh).wheel_share(100.0, 20.0, 1.0).tolist() == [1.0, 0.0]


def test_a_wheel_goes_along_a_slot_that_is_wider_than_itself_and_not_into_a_round_pot() -> None:
    line = np.array([[-100.0, 0], [-30, 0], [-30, -25], [-10, -25], [10, -25], [30, -25], [30, 0], [100, 0]])
    mesh = profile(line, 400.0, 100)
    middle = (np.abs(mesh.centroids) < [11, 60, 26]).all(axis=1) & (mesh.normals[:, 2] > 0.9)
    probe = Probe(mesh)
    assert probe.wheel_share(150.0, 59.0, 1.0)[middle].min() == 1.0
    assert probe.wheel_share(150.0, 30.0, 1.0)[middle].min() == 1.0
    assert probe.wheel_share(150.0, 61.0, 1.0)[middle].max() == 0.0
    turned = mesh.moved(np.array([[0.8, -0.6, 0], [0.6, 0.8, 0], [0, 0, 1.0]]))  # a slot in no special direction
    assert Probe(turned).wheel_share(150.0, 30.0, 1.0)[middle].min() == 1.0
    pot = bowl(60.0)
    assert Probe(pot).wheel_share(150.0, 50.0, 1.0).max() == 0.0
    assert Probe(pot).wheel_share(150.0, 50.0, -1.0).min() == 1.0
    assert Probe(pot).wheel_share(40.0, 30.0, 1.0).min() == 1.0


def test_a_far_wall_of_two_large_triangles_stops_a_wheel() -> None:
    plate = np.array([[-300.0, -300, 0], [300, -300, 0], [300, 300, 0], [-300, 300, 0]])
    wall = np.array([[20.0, -300, 0], [20, 300, 0], [20, 300, 300], [20, -300, 300]])
    small = np.array([[0.0, 0, 0.0], [1, 0, 0], [0, 1, 0]])
    mesh = TriMesh(np.concatenate([plate, wall, small]), np.array([[0, 1, 2], [0, 2, 3], [4, 6, 5], [4, 7, 6], [8, 9, 10]]))
    assert Probe(mesh).wheel_share(150.0, 60.0, 1.0)[4] == 1.0  # its side lies along the wall
    both = TriMesh(np.concatenate([mesh.points, wall * [-1, 1, 1]]), np.concatenate([mesh.triangles, [[11, 12, 13], [11, 13, 14]]]))
    assert Probe(both).wheel_share(150.0, 60.0, 1.0)[4] == 0.0
    assert Probe(both).wheel_share(150.0, 39.0, 1.0)[4] == 1.0


def test_what_cannot_be_asked_is_refused() -> None:
    with pytest.raises(InputError, match="has no triangle"):
        Probe(TriMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)))
    probe = Probe(bowl(20.0, 2))
    with pytest.raises(InputError, match="A ball of radius 0 mm"):
        probe.ball_share(0.0, 1.0)
    with pytest.raises(InputError, match="A wheel of 0 x 50 mm"):
        probe.wheel_share(0.0, 50.0, 1.0)


def test_sides_and_regions() -> None:
    mesh = bowl(30.0)
    assert outer_side(mesh)[0] == "lower"
    assert outer_side(mesh.reversed())[0] == "upper"
    flat = profile(np.column_stack([np.linspace(-50, 50, 21), np.zeros(21)]), 100.0, 20)
    assert outer_side(flat) == ("upper", pytest.approx(0.0))
    x = flat.centroids[:, 0]
    found = regions(flat, (x < -20) | (x > 30))
    assert [r.area for r in found] == pytest.approx([3000.0, 2000.0])
    assert found[0].at[0] == pytest.approx(-35.0, abs=3.0)
    assert len(regions(flat, x > 30, least=2500.0)) == 0
    assert regions(flat, x > 1e3) == []
    assert regions(flat, x > 30, np.full(len(x), 0.5))[0].area == pytest.approx(1000.0)

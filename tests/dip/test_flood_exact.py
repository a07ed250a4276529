"""Pockets against closed forms: cups, boxes, nested vessels, holes, overhangs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from flood_shapes import box, cup, joined, moved, tilted, turned

from diewright.errors import InputError, SolveError
from diewright.geometry.flood import below, below_face
from diewright.geometry.flood_measure import mouth_width, pressed, volume_curve
from diewright.geometry.flood_pockets import attitude
from diewright.geometry.flood_space import Opening, Space
from diewright.geometry.mesh import TriMesh

UP = np.array([0.0, 0.0, 1.0])
HALF = math.degrees(math.atan(40.0 / 100.0))


def polygon(radius: float, height: float, count: int) -> float:
    return 0.5 * count * math.sin(2 * math.pi / count) * radius**2 * height


@pytest.fixture(scope="module")
def plain() -> Space:
    return Space.round_sheet(cup(count=96))


@pytest.mark.parametrize(("degrees", "volume"), [(0.0, 314159.0), (20.0, 171229.0), (HALF, 157080.0)])
def test_tilted_cup_keeps_what_the_formula_says_as_air_and_as_pool(plain: Space, degrees: float, volume: float) -> None:
    for at, mine, other in (
        (attitude(plain, tilted(degrees)), "pool_total", "air_total"),
        (attitude(plain, -tilted(degrees)), "air_total", "pool_total"),
    ):
        assert getattr(at, mine) == pytest.approx(volume, rel=1e-3)
        assert getattr(at, other) == 0.0


def test_tilted_cup_converges_with_the_square_of_the_facet() -> None:
    exact = math.pi * 50**2 * (40 - 50 * math.tan(math.radians(20)))
    error = [abs(attitude(Space.round_sheet(cup(count=n)), tilted(20.0)).pool_total - exact) for n in (24, 48, 96)]
    assert error[0] / error[1] == pytest.approx(4.0, rel=0.05)
    assert error[1] / error[2] == pytest.approx(4.0, rel=0.05)


@pytest.mark.parametrize("degrees", [0.0, 20.0, math.degrees(math.atan(40 / 60)), 60.0, 85.0])
def test_tilted_box_is_exact(degrees: float) -> None:
    t = math.tan(math.radians(degrees))
    volume = 60 * 80 * (40 - 30 * t) if t <= 40 / 60 else 80 * 40**2 / (2 * t)
    at = attitude(Space.round_sheet(box(60, 80, 40)), tilted(degrees))
    assert at.pool_total == pytest.approx(volume, rel=1e-10)
    assert len(at.pools) == 1


def test_a_cup_in_a_cup_is_one_pool_and_an_upturned_one_in_it_a_bubble() -> None:
    big, small = cup(50, 60, 48), cup(20, 30, 48)
    outer, inner = polygon(50, 60, 48), polygon(20, 30, 48)
    one = attitude(Space.round_sheet(joined(big, moved(small, (0, 0, 5)))), UP)
    assert len(one.pools) == 1
    assert one.pool_total == pytest.approx(outer, rel=1e-9)
    assert one.air_total == 0.0
    nested = attitude(Space.round_sheet(joined(big, moved(small, (0, 0, 45), flip=True))), UP)
    assert nested.air_total == pytest.approx(inner, rel=1e-9)
    assert nested.pool_total == pytest.approx(outer - inner, rel=1e-9)  # the bubble stays in the pool


def test_a_vessel_in_a_bell_stays_dry_only_where_no_liquid_comes_over_its_rim() -> None:
    bell, small = moved(cup(50, 60, 48), (0, 0, 60), flip=True), cup(20, 30, 48)
    outer, inner, below_bell = polygon(50, 60, 48), polygon(20, 30, 48), polygon(20, 10, 48)
    dry = attitude(Space.round_sheet(joined(bell, moved(small, (0, 0, -10)))), UP)
    assert dry.air_total == pytest.approx(outer + below_bell, rel=1e-9)
    assert dry.pool_total == 0.0
    wet = attitude(Space.round_sheet(joined(bell, moved(small, (0, 0, -40)))), UP)
    assert wet.air_total == pytest.approx(outer, rel=1e-9)
    assert wet.pool_total == pytest.approx(inner, rel=1e-9)


def test_two_cups_joined_by_a_brim_are_two_pools_until_the_wall_between_them_is_covered() -> None:
    ring = [(20 * k / 4, 0.0) for k in range(5)] + [(20.0, 15.0), (30.0, 15.0), (30.0, 0.0), (50.0, 0.0), (50.0, 40.0)]
    low = [*ring[:-1], (50.0, 10.0)]
    deep = attitude(Space.round_sheet(turned(ring, 48)), UP)
    assert len(deep.pools) == 1
    assert deep.pool_total == pytest.approx(polygon(50, 40, 48) - polygon(30, 15, 48) + polygon(20, 15, 48), rel=1e-9)
    apart = attitude(Space.round_sheet(turned(low, 48)), UP)
    assert sorted(p.volume for p in apart.pools) == pytest.approx(
        [polygon(20, 15, 48), polygon(50, 10, 48) - polygon(30, 10, 48)], rel=1e-9
    )
    assert len(apart.air) == 1  # under the ridge
    assert apart.air_total == pytest.approx(polygon(30, 15, 48) - polygon(20, 15, 48), rel=1e-9)


def test_a_hole_in_the_bottom_empties_a_bowl_and_one_half_way_up_half_of_it(plain: Space) -> None:
    bottom = attitude(plain.opened([Opening(np.zeros(3), 8.0)]), UP)
    assert bottom.pool_total == 0.0
    for diameter in (1.0, 8.0):
        side = attitude(plain.opened([Opening(np.array([50.0, 0.0, 20.0]), diameter)]), UP)
        assert side.pool_total == pytest.approx(polygon(50, 20 - diameter / 2, 96), rel=1e-3)
        upset = attitude(plain.opened([Opening(np.array([50.0, 0.0, 20.0]), diameter)]), -UP)
        assert upset.air_total == pytest.approx(polygon(50, 20 - diameter / 2, 96), rel=1e-3)


def test_a_hole_of_the_mesh_does_the_same_as_one_made(plain: Space) -> None:
    mesh = cup(count=96)
    middle = mesh.centroids
    angle = np.arctan2(middle[:, 1], middle[:, 0])
    cut_out = (np.abs(middle[:, 2] - 20.0) < 5.0) & (angle > 0) & (angle < 6 * np.pi / 96) & (np.hypot(middle[:, 0], middle[:, 1]) > 49)
    keep = ~cut_out
    cut = TriMesh(mesh.points, mesh.triangles[keep])
    assert len(cut.boundary_loops) == 2
    lowest = cut.points[cut.boundary_loops[1]][:, 2].min()
    assert lowest == 15.0
    assert attitude(Space.round_sheet(cut), UP).pool_total == pytest.approx(polygon(50, lowest, 96), rel=1e-9)


def test_air_upright_is_pool_upside_down_for_an_ugly_sheet_and_turning_about_up_changes_nothing() -> None:
    rng = np.random.default_rng(3)
    x, y = np.meshgrid(np.arange(21.0), np.arange(17.0), indexing="ij")
    z = 4 * rng.random(x.shape)
    n = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (n[:-1, :-1].ravel(), n[1:, :-1].ravel(), n[1:, 1:].ravel(), n[:-1, 1:].ravel())
    mesh = TriMesh(np.stack([x, y, z], axis=-1).reshape(-1, 3), np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]))
    space = Space.round_sheet(mesh)
    for up in (UP, tilted(35.0), np.array([0.2, -0.9, 0.4])):
        here, there = attitude(space, up), attitude(space, -up)
        assert len(here.air) > 3
        assert here.air_total == pytest.approx(there.pool_total, rel=1e-12)
    turn = np.array([[0.6, -0.8, 0.0], [0.8, 0.6, 0.0], [0.0, 0.0, 1.0]])
    spun = attitude(Space.round_sheet(mesh.moved(turn, np.array([500.0, -200.0, 30.0]))), UP)
    assert spun.pool_total == pytest.approx(attitude(space, UP).pool_total, rel=1e-9)
    assert len(spun.pools) == len(attitude(space, UP).pools)


def test_the_free_surface_its_width_and_the_volume_under_it() -> None:
    at = attitude(Space.round_sheet(cup(count=96)), tilted(20.0))
    surface = at.free_surface(at.pools[0])
    assert surface.area == pytest.approx(polygon(50, 1, 96) / math.cos(math.radians(20)), rel=1e-6)
    assert np.ptp(surface.points @ at.up) < 1e-9
    assert mouth_width(surface, at.up) == pytest.approx(100.0, rel=2e-3)
    distance, volume = volume_curve(at, at.pools[0])
    assert volume[-1] == pytest.approx(at.pool_total, rel=1e-12)
    assert (np.diff(volume) > 0).all()
    assert distance[-1] == pytest.approx(at.pools[0].depth)
    groove = attitude(Space.round_sheet(box(4, 80, 10)), UP)
    assert mouth_width(groove.free_surface(groove.pools[0]), UP) == pytest.approx(4.0, rel=0.03)


def test_a_pressed_bubble_follows_boyle() -> None:
    line = np.linspace(0.0, 1e-6, 9)  # so shallow that its own rise does not count
    for metres, share in ((0.25, 0.9706), (0.5, 0.9430), (1.0, 0.8921), (2.0, 0.8052)):
        assert pressed(line, line, 1000 * metres, 101325.0, 12258.0)[0] == pytest.approx(share, abs=1e-4)


def test_clipped_cells_and_faces_add_up() -> None:
    rng = np.random.default_rng(5)
    for _ in range(200):
        h = rng.integers(0, 4, 4) + rng.random(4) * rng.integers(0, 2)
        level = rng.random() * 5 - 0.5
        turned_over = below(*(-h), -level)
        assert below(*h, level) + turned_over == pytest.approx(1.0, abs=1e-12) or h.min() == h.max() == level
        assert below_face(*h[:3], level) + below_face(*(-h[:3]), -level) == pytest.approx(1.0, abs=1e-12)


def test_a_closed_hollow_a_sheet_through_itself_and_nonsense_are_refused(plain: Space) -> None:
    ball = turned([(0, -10), (8, -6), (10, 0), (8, 6), (0, 10)], 24)
    with pytest.raises(SolveError, match="closes .* off from outside"):
        attitude(Space.round_sheet(ball), UP)
    with pytest.raises(SolveError, match="crosses or touches itself"):
        Space.round_sheet(joined(cup(50, 40, 24), moved(cup(20, 30, 24), (0, 0, -15))))
    twins = TriMesh(np.concatenate([box(6, 8, 4).points] * 2), np.concatenate([box(6, 8, 4).triangles, box(6, 8, 4).triangles + 8]))
    with pytest.raises(InputError, match="lie in the same place"):
        Space.round_sheet(twins)
    with pytest.raises(InputError, match="no triangles"):
        Space.round_sheet(TriMesh(np.eye(3), np.zeros((0, 3))))
    for bad, says in (
        ([0, 0, 0], "length above zero"),
        ([math.nan, 0, 1], "three numbers"),
        ([1, 0], "three numbers"),
        (["a", 1, 2], "no direction"),
    ):
        with pytest.raises(InputError, match=says):
            attitude(plain, bad)  # type: ignore[arg-type]
    for centre, diameter, says in (
        (np.zeros(3), 0.0, "above 0"),
        (np.array([math.nan, 0, 0]), 5.0, "above 0"),
        (np.array([0, 0, 9.0]), 5.0, "off the sheet"),
    ):
        with pytest.raises(InputError, match=says):
            plain.opened([Opening(centre, diameter)])

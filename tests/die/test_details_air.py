"""Pockets by the flood, their volumes, and the vents: against brute force and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from diewright.die.detail_air import sheet_level
from diewright.die.detail_pockets import column_volume, pockets
from diewright.die.detail_vents import DRILLS, FEW, back_pressure, closing, drill, flatness, places, section
from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.crank import Crank

CRANK = {"kind": "crank single", "stroke_mm": 200.0, "rod_mm": 0.0, "speed_mm_s": 0.0}


def grid(f, size: float = 100.0, count: int = 81) -> TriMesh:
    x = np.linspace(-0.5 * size, 0.5 * size, count)
    u, v = np.meshgrid(x, x, indexing="ij")
    i = np.arange(count * count).reshape(count, count)
    a, b, c, d = (k.ravel() for k in (i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]))
    return TriMesh(
        np.column_stack([u.ravel(), v.ravel(), f(u, v).ravel()]), np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    )


def cap(u, v, x: float, y: float, radius: float, deep: float):
    """Depth of a spherical cap."""
    r2 = (u - x) ** 2 + (v - y) ** 2
    return np.maximum(np.sqrt(np.maximum(radius**2 - r2, 0.0)) - (radius - deep), 0.0)


def edge(mesh: TriMesh) -> np.ndarray:
    mask = np.zeros(len(mesh.points), dtype=bool)
    mask[mesh.boundary_edges.ravel()] = True
    return mask


def test_two_caps_in_a_plane_are_two_pockets_with_their_own_volumes():
    mesh = grid(lambda u, v: -cap(u, v, -22.0, 5.0, 25.0, 8.0) - cap(u, v, 25.0, -10.0, 30.0, 4.0), count=241)
    z = mesh.points[:, 2]
    p = pockets(z, mesh.edges, edge(mesh), 1.0)
    assert p.spill - z[p.bottom] == pytest.approx([8.0, 4.0], abs=0.02)
    assert mesh.points[p.bottom][:, :2] == pytest.approx(np.array([[-22.0, 5.0], [25.0, -10.0]]), abs=0.5)
    for k, (radius, deep) in enumerate(((25.0, 8.0), (30.0, 4.0))):
        mine = mesh.triangles[(p.of[mesh.triangles] == k).any(axis=1)]
        held = column_volume(TriMesh(mesh.points, mesh.triangles[(p.of[mesh.triangles] == k).any(axis=1)]), p.spill[k] - z).sum()
        assert len(mine)
        assert held == pytest.approx(math.pi * deep**2 * (radius - deep / 3.0), rel=2e-3)


def test_a_saddle_drains_to_its_lowest_neighbour():
    p = pockets(np.array([0.0, 5.0, 1.0, 9.0]), np.array([[0, 1], [1, 2], [2, 3]]), np.zeros(4, dtype=bool), 1.0)
    assert p.bottom.tolist() == [0, 2]
    assert p.spill.tolist() == [math.inf, 5.0]
    assert p.of.tolist() == [0, 0, 1, 1]


def test_shallow_places_and_slopes_that_drain_are_no_pockets():
    mesh = grid(lambda u, v: -cap(u, v, 0.0, 0.0, 30.0, 0.8))
    assert len(pockets(mesh.points[:, 2], mesh.edges, edge(mesh), 1.0).bottom) == 0
    dome = grid(lambda u, v: cap(u, v, 0.0, 0.0, 80.0, 20.0))
    assert len(pockets(dome.points[:, 2], dome.edges, edge(dome), 1.0).bottom) == 0


def test_without_an_opening_the_lowest_place_holds_all():
    mesh = grid(lambda u, v: 0.01 * (u**2 + v**2))
    p = pockets(mesh.points[:, 2], mesh.edges, np.zeros(len(mesh.points), dtype=bool), 1.0)
    assert len(p.bottom) == 1
    assert math.isinf(p.spill[0])
    assert (p.of == 0).all()


def test_a_ridge_parts_what_drains_where():
    mesh = grid(lambda u, v: np.where(u < 10.0, 0.5 * np.abs(u + 20.0), 0.5 * np.abs(u - 30.0) + 5.0) + 0.01 * np.abs(v))
    p = pockets(mesh.points[:, 2], mesh.edges, np.zeros(len(mesh.points), dtype=bool), 1.0)
    assert len(p.bottom) == 2
    assert mesh.points[p.bottom][:, 0] == pytest.approx([-20.0, 30.0])
    away = np.abs(mesh.points[:, 0] - 10.0) > 1.5
    assert (p.of[away] == (mesh.points[away, 0] > 10.0)).all()


@pytest.mark.parametrize("seed", range(6))
def test_spill_levels_against_brute_force(seed: int):
    rng = np.random.default_rng(seed)
    mesh = grid(lambda u, v: 10.0 * rng.random(u.shape), count=11)
    z, drain, least = mesh.points[:, 2], edge(mesh), 2.0
    level = np.where(drain, -1.0, z)
    e = mesh.edges

    def lake(bottom: int, height: float) -> np.ndarray:
        under = level <= height
        keep = under[e].all(axis=1)
        _, label = connected_components(coo_matrix((np.ones(keep.sum()), e[keep].T), shape=(len(z), len(z))), directed=False)
        return np.flatnonzero((label == label[bottom]) & under)

    want = {}
    for i in np.flatnonzero(~drain):
        around = np.concatenate([e[e[:, 0] == i, 1], e[e[:, 1] == i, 0]])
        if level[around].min() > level[i]:
            want[i] = next(h for h in np.sort(z) if h > z[i] and level[lake(i, h)].min() < level[i])
    deep = {i: h for i, h in want.items() if h - z[i] >= least}
    p = pockets(z, e, drain, least)
    assert dict(zip(p.bottom.tolist(), p.spill.tolist(), strict=True)) == pytest.approx(deep)
    assert (p.of[p.bottom] == np.arange(len(p.bottom))).all()
    assert (p.of[drain] == -1).all()


@pytest.mark.parametrize(
    "depth", [(1.0, 2.0, 4.0), (-1.0, 2.0, 4.0), (-1.0, -2.0, 4.0), (-1.0, -1.0, -2.0), (0.0, 0.0, 3.0), (-1.0, 0.0, 2.0)]
)
def test_volume_of_a_cut_prism(depth):
    mesh = TriMesh(np.array([[0.0, 0, 0], [3, 0, 0], [0, 2, 0]]), np.array([[0, 1, 2]]))
    n = 1200
    i, j = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    u, v = (i.ravel() + 1 / 3) / n, (j.ravel() + 1 / 3) / n
    inside = u + v < 1
    d = depth[0] + (depth[1] - depth[0]) * u[inside] + (depth[2] - depth[0]) * v[inside]
    want = np.maximum(d, 0.0).mean() * 3.0
    assert column_volume(mesh, np.array(depth))[0] == pytest.approx(want, rel=3e-3, abs=1e-9)


def test_closing_time_of_a_crank_in_closed_form():
    run = closing(CRANK, 20.0, 50.0)
    assert run.time == pytest.approx(math.acos(1.0 - 2.0 * 50.0 / 200.0) / (2.0 * math.pi * 20.0 / 60.0), rel=1e-9)
    # speed at touch over the mean: r sin a / (h/a)
    a = math.acos(0.5)
    assert run.peak == pytest.approx(100.0 * math.sin(a) * a / 50.0, rel=1e-3)


def test_closing_time_with_a_rod_is_that_of_the_press():
    run = closing({**CRANK, "rod_mm": 400.0}, 15.0, 80.0)
    assert float(Crank(200.0, 400.0).height(run.time * 2.0 * math.pi * 15.0 / 60.0)) == pytest.approx(80.0, rel=1e-9)


def test_a_hydraulic_slide_runs_evenly():
    run = closing({"kind": "hydraulic", "speed_mm_s": 25.0, "stroke_mm": 400.0, "rod_mm": 0.0}, 4.0, 50.0)
    assert (run.time, run.peak) == (2.0, 1.0)
    assert section(3e6, run, 30_000.0) == pytest.approx(50.0)


def test_what_cannot_close_is_refused():
    with pytest.raises(InputError, match="closes nothing"):
        closing(CRANK, 20.0, 0.0)
    with pytest.raises(InputError, match="less than the punch travel"):
        closing(CRANK, 20.0, 201.0)


def test_drills():
    assert drill(1.0, None) == (DRILLS[0], 1)
    d, n = drill(200.0, None)
    assert d == 5.0
    assert n == math.ceil(200.0 / (math.pi * 6.25)) <= FEW
    assert drill(1000.0, None) == (6.0, 36)
    assert drill(1000.0, 10.0) == (10.0, 13)


def test_pressure_of_air_at_thirty_metres_a_second():
    assert 1e6 * back_pressure(30_000.0) == pytest.approx(0.5 * 1.2 * (30.0 / 0.6) ** 2)


def test_holes_stand_on_level_ground_clear_of_radii_and_of_each_other():
    # a flat floor of half width 30, a radius of 8 up into a slope of 45 degrees
    def f(u, v):
        r = np.maximum(np.abs(u) - 30.0, 0.0)
        s = 8.0 * math.sin(math.pi / 4)
        return np.where(r < s, 8.0 - np.sqrt(np.maximum(64.0 - np.minimum(r, s) ** 2, 0.0)), 8.0 * (1 - math.cos(math.pi / 4)) + r - s)

    mesh = grid(f, count=101)
    z = mesh.points[:, 2]
    holes, clear = places(mesh, z, np.ones(len(z), dtype=bool), int(np.argmin(z)), 1.0, 4.0, 9)
    assert clear
    assert len(holes) == 9
    assert np.abs(holes[:, 0]).max() < 30.0 - 2.0
    apart = np.linalg.norm(holes[:, None] - holes, axis=2) + 1e9 * np.eye(9)
    assert apart.min() >= 8.0


def test_a_round_gutter_has_no_place_for_a_hole():
    mesh = grid(lambda u, v: 60.0 - np.sqrt(60.0**2 - u**2), size=40.0, count=61)
    z = mesh.points[:, 2]
    assert flatness(mesh).max() == pytest.approx(1 / 60.0, rel=0.1)
    holes, clear = places(mesh, z, np.ones(len(z), dtype=bool), int(np.argmin(z)), 4.0, 4.0, 3)
    assert not clear
    assert holes == pytest.approx(mesh.points[[np.argmin(z)]])


def test_the_sheet_is_led_straight_across_the_opening():
    ring = grid(lambda u, v: 0.1 * u + 3.0)
    keep = (np.abs(ring.centroids[:, :2]) > 30.0).any(axis=1)
    holder = TriMesh(ring.points, ring.triangles[keep])
    at = np.array([[0.0, 0.0], [10.0, -5.0], [60.0, 0.0]])
    assert sheet_level(holder, at, 1.0) == pytest.approx([2.0, 3.0, 7.0])

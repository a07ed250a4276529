"""Formulas, flange, margin, places and outlines of the blank, one by one."""

import numpy as np
import pytest
from blank_parts import pan, plate

from diewright.blank import formulas
from diewright.blank.developed import develop, hole_records, match_holes
from diewright.blank.flange import find_flange, handbook_hold
from diewright.errors import InputError, SolveError
from diewright.geometry.averages import to_points
from diewright.geometry.loops import outer_loop
from diewright.job.places import place, side, zones
from diewright.sheet.limit_margin import margin_pct, wrinkle_tendency


def test_cup_formula_meets_its_limits():
    assert formulas.cup(50, 60, 0) == formulas.sharp_cup(50, 60)
    # A radius of half the diameter, as high as it is deep, is the hemisphere.
    assert formulas.cup(50, 25, 25) == pytest.approx(formulas.hemisphere(50), rel=1e-12)
    assert formulas.flanged_cup(50, 60, 50) == formulas.sharp_cup(50, 60)


def test_cup_formula_is_the_area_of_a_turned_profile():
    d, h, r = 50.0, 60.0, 8.0
    a = np.linspace(0, np.pi / 2, 4001)
    torus = 2 * np.pi * np.trapezoid((d / 2 - r) + r * np.sin(a), a) * r
    area = np.pi * (d / 2 - r) ** 2 + torus + np.pi * d * (h - r)
    assert formulas.cup(d, h, r) == pytest.approx(np.sqrt(4 * area / np.pi), rel=1e-7)


@pytest.mark.parametrize(
    "call",
    [
        lambda: formulas.sharp_cup(-1, 2),
        lambda: formulas.cup(50, 10, 20),
        lambda: formulas.flanged_cup(50, 10, 40),
        lambda: formulas.hemisphere(np.nan),
    ],
)
def test_formulas_refuse_nonsense(call):
    with pytest.raises(InputError):
        call()


def test_margin_is_the_distance_in_engineering_strain():
    minor, major = np.array([-0.6, 0.0, 0.6]), np.array([0.95, 0.35, 0.65])
    assert margin_pct(np.array([0.0]), np.array([0.0]), minor, major)[0] == pytest.approx(100 * (np.exp(0.35) - 1))
    assert margin_pct(np.array([0.5]), np.array([0.0]), minor, major)[0] < 0
    assert margin_pct(np.array([0.1]), np.array([-2.0]), minor, major)[0] == pytest.approx(100 * (np.exp(0.95) - np.exp(0.1)))
    for x in (np.array([0.0, 0.0, 1.0]), np.array([0.0, np.nan, 1.0]), np.array([0.0])):
        with pytest.raises(InputError, match="forming limit"):
            margin_pct(np.zeros(1), np.zeros(1), x, np.ones(len(x)))


def test_wrinkle_tendency_knows_its_corner_cases():
    stress = np.array([[0.0, -200.0], [100.0, -100.0], [200.0, 100.0], [-50.0, -200.0], [0.0, -200.0]])
    strain = np.array([0.5, 0.5, 0.5, 0.5, 0.0])
    np.testing.assert_allclose(wrinkle_tendency(stress, strain), [1.0, 0.5, 0.0, 1.0, 0.0], atol=1e-9)


def test_point_averages_keep_constants_and_totals():
    mesh = pan(step=12.0)
    n, t = len(mesh.points), mesh.triangles
    np.testing.assert_allclose(to_points(np.full(len(t), 3.5), t, mesh.areas, n), 3.5)
    field = 500.0 + mesh.centroids[:, 0]
    assert (to_points(field, t, mesh.areas, n) * mesh.point_areas).sum() == pytest.approx((field * mesh.areas).sum(), rel=1e-9)


def test_flange_of_a_pan_and_of_what_has_none():
    mesh = pan()
    found = find_flange(mesh, mesh.boundary_loops[0], 0.8)
    assert found.there
    assert found.opening == pytest.approx(200 * 140 - (4 - np.pi) * 35**2, rel=0.06)
    bare = pan(flange=-1.0)
    assert not find_flange(bare, bare.boundary_loops[outer_loop(bare)], 0.8).there
    flat = plate()
    none = find_flange(flat, flat.boundary_loops[0], 0.8)
    assert not none.there
    assert none.opening == pytest.approx(1e4)


def test_a_cup_without_a_flange_has_none():
    a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    rows = [
        np.column_stack([r * np.cos(a), r * np.sin(a), np.full(60, z)])
        for r, z in [(10, -40), (25, -40), (29, -37), (30, -30), (30, -20), (30, -10), (30, 0)]
    ]
    points = np.concatenate([[[0, 0, -40.0]], *rows])
    t = [np.column_stack([np.zeros(60, dtype=int), 1 + np.arange(60), 1 + (np.arange(60) + 1) % 60])]
    for k in range(6):
        low, high = 1 + 60 * k + np.arange(60), 61 + 60 * k + np.arange(60)
        t += [np.column_stack([low, high, np.roll(high, -1)]), np.column_stack([low, np.roll(high, -1), np.roll(low, -1)])]
    from diewright.geometry.mesh import TriMesh

    cup = TriMesh(points, np.concatenate(t))
    found = find_flange(cup, cup.boundary_loops[0], 1.0)
    assert not found.there
    assert "no flange" in found.why
    assert found.opening == pytest.approx(np.pi * 900, rel=0.01)


def test_handbook_hold_is_the_printed_example():
    hold = handbook_hold(np.pi / 4 * 200.0**2, np.pi / 4 * 100.0**2, 1.0, 310.0)
    assert hold.ratio == pytest.approx(2.0)
    assert hold.diameter == pytest.approx(100.0)
    assert hold.pressure == pytest.approx(1.1625)
    assert hold.force == pytest.approx(1.1625 * np.pi / 4 * (200**2 - 100**2))


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ((0.1, 0.9), "rear left corner"),
        ((0.9, 0.1), "front right corner"),
        ((0.5, 0.5), "centre"),
        ((0.5, 0.9), "rear side"),
        ((0.1, 0.5), "left side"),
    ],
)
def test_places_in_words(at, words):
    assert side(np.array(at), np.zeros(2), np.ones(2)) == words


def test_zones_and_place_of_a_pan():
    mesh = pan()
    flange = find_flange(mesh, mesh.boundary_loops[0], 0.8).cells
    zone = zones(mesh, flange)
    middle = int(np.argmin(np.hypot(*mesh.centroids[:, :2].T)))
    assert zone[middle] == "bottom"
    assert (zone[flange] == "flange").all()
    assert "wall" in zone
    p = place(mesh, np.array([middle]), zone)
    assert p.label == "centre, bottom"
    assert len(p.points) == 1


def test_holes_keep_the_names_of_the_part():
    loops = (np.arange(10, dtype=np.int32), np.array([20, 21, 22], dtype=np.int32), np.array([30, 31, 32], dtype=np.int32))
    named = {"hole_7": np.array([22, 20, 21])}
    assert {k: v.tolist() for k, v in match_holes(loops, 0, named).items()} == {"hole_7": [20, 21, 22], "hole_2": [30, 31, 32]}


def test_a_developed_edge_that_crosses_itself_is_stopped_with_its_place():
    flat = np.array([[0, 0], [100, 100], [100, 0], [0, 120.0]])
    with pytest.raises(SolveError, match="crosses"):
        develop(flat, np.arange(4, dtype=np.int32), {}, 0.0)


def test_holes_in_the_outline_are_measured():
    t = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ring = np.column_stack([np.cos(t), np.sin(t)])
    flat = np.concatenate([100 * ring, 20 * ring[::-1] + [30, 10]])
    found = develop(flat, np.arange(40, dtype=np.int32), {"hole_3": np.arange(40, 80, dtype=np.int32)}, 2.0)
    (hole,) = hole_records(found.holes)
    assert hole["id"] == "3"
    assert hole["diameter"] == pytest.approx(40.0, abs=0.05)
    np.testing.assert_allclose(hole["centre"], [30, 10], atol=0.01)
    assert found.cut.circle[1] == pytest.approx(102.0, abs=0.01)
    assert found.area == pytest.approx(np.pi * (102.0**2 - 20.0**2), rel=1e-3)

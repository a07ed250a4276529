"""Faces made from the part: offsets, gaps, radii and the blankholder plane on shapes that are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from die_parts import circle_line, cup_normals, cup_profile, faces_of, revolved, rounded, tray, turns

from diewright.die.gaps import gap
from diewright.die.made import part_of
from diewright.die.rules import die_radius, trim_land, wall_gap
from diewright.errors import DeskError, InputError, SolveError
from diewright.geometry.mesh import TriMesh
from diewright.job.stage import Result

T = 1.0
CHORD = 0.02 * T  # what the stage promises, on each face


def mesh(result: Result, name: str) -> TriMesh:
    return result.meshes[name].mesh


@pytest.fixture(scope="module")
def flanged() -> Result:
    part = revolved(cup_profile(30.0, 40.0, 8.0, flange=15.0, shoulder=7.0))
    return faces_of(part, circle_line(60.0), normals=cup_normals(part, 30.0, 40.0, 8.0, 7.0))


@pytest.fixture(scope="module")
def open_cup() -> Result:
    part = revolved(cup_profile(30.0, 40.0, 8.0))
    return faces_of(part, circle_line(75.0), normals=cup_normals(part, 30.0, 40.0, 8.0))


@pytest.mark.parametrize("name", ["flanged", "open_cup"])
def test_offsets_and_gap_of_a_cup(name: str, request: pytest.FixtureRequest) -> None:
    """Gap t on the level bottom, u at the vertical wall, never less than t by more than the chords of both faces."""
    r: Result = request.getfixturevalue(name)
    u = wall_gap(T, "steel")
    die, punch = mesh(r, "die"), mesh(r, "punch")
    assert r.values["clearance"] == pytest.approx(u) == pytest.approx(1.2213594)
    assert r.values["gap_min"] >= T - 2 * CHORD
    assert r.values["gap_max"] <= u + 2 * CHORD
    bottom = punch.points[np.hypot(*punch.points[:, :2].T) < 20.0]
    assert gap(bottom, die).value == pytest.approx(T, abs=1e-6)
    wall = punch.points[(punch.points[:, 2] > -28.0) & (punch.points[:, 2] < -10.0)]
    assert np.allclose(np.hypot(*wall[:, :2].T), 29.5, atol=1e-6)
    assert gap(wall, die).value == pytest.approx(u, abs=2 * CHORD)
    assert r.values["punch_radius"] == pytest.approx(7.5, abs=1e-6)
    assert r.values["holder_gap"] == pytest.approx(T, abs=1e-9)
    assert [f for f in r.findings if f.severity == "stop"] == []


@pytest.mark.parametrize("name", ["flanged", "open_cup"])
def test_normals_and_skins(name: str, request: pytest.FixtureRequest) -> None:
    r: Result = request.getfixturevalue(name)
    die, punch, holder = (mesh(r, n) for n in ("die", "punch", "blankholder"))
    assert len(die.boundary_loops) == 1
    assert len(punch.boundary_loops) == 1
    assert len(holder.boundary_loops) == 2
    assert (die.normals[:, 2] > -1e-6).all()
    assert (punch.normals[:, 2] < 1e-6).all()
    assert (holder.normals[:, 2] < -0.9).all()
    for m in (die, punch, holder):
        assert m.areas.min() > 0
    assert turns(die).max() < 14.0
    assert turns(holder).max() < 1e-6


def test_flange_lies_in_the_plane(flanged: Result) -> None:
    assert flanged.values["extended"] is False
    holder = mesh(flanged, "blankholder").points
    assert np.allclose(holder[:, 2], T / 2)
    inner = np.hypot(*holder[:, :2].T).min()
    assert inner == pytest.approx(37.0, abs=0.1)  # where the shoulder of the flange begins
    assert np.hypot(*flanged.arrays["trim_line"][:, :2].T) == pytest.approx(52.0)
    assert flanged.arrays["die_touch"] == pytest.approx(0.0)
    assert flanged.values["stroke"] == pytest.approx(40.0)
    assert flanged.values["die_radius"] == pytest.approx(6.5, abs=1e-6)
    assert np.hypot(*flanged.arrays["opening"].T) == pytest.approx(29.5, abs=0.01)


def test_wall_is_led_over_land_and_radius(open_cup: Result) -> None:
    radius, land = die_radius(T), trim_land(T)
    assert (radius, land) == (8.0, 5.0)
    assert open_cup.values["extended"] is True
    assert open_cup.values["die_radius"] == 8.0
    level = land + radius + T / 2
    die = mesh(open_cup, "die").points
    assert die[:, 2].max() == pytest.approx(level - T / 2)
    assert open_cup.arrays["die_touch"] == pytest.approx(level)
    assert open_cup.values["stroke"] == pytest.approx(40.0 + level)
    r = np.hypot(*die[:, :2].T)
    # the clearance widens the die's wall by c sin^2, so its shoulder is a radius of 8 mm about the point that the middle turns about, less up to c
    about = np.hypot(r - (30.0 + radius + T / 2), die[:, 2] - land)
    shoulder = (die[:, 2] > land + 1e-6) & (r < 38.5 - 1e-6)
    assert about[shoulder].max() <= radius + 1e-6
    assert about[shoulder].min() >= radius - (wall_gap(T, "steel") - T) - 1e-6
    assert np.allclose(open_cup.arrays["trim_line"][:, 2], 0.0)


@pytest.mark.parametrize("name", ["flanged", "open_cup"])
def test_holder_plane_reaches_15_mm_beyond_the_blank(name: str, request: pytest.FixtureRequest) -> None:
    r: Result = request.getfixturevalue(name)
    blank = 60.0 if name == "flanged" else 75.0
    for face in ("die", "blankholder"):
        m = mesh(r, face)
        out = m.points[m.boundary_loops[0]]
        mid = 0.5 * (out + np.roll(out, -1, axis=0))
        assert np.hypot(*mid[:, :2].T).min() >= blank + 15.0


def test_stated_values_are_used() -> None:
    part = revolved(cup_profile(30.0, 40.0, 8.0))
    r = faces_of(part, circle_line(75.0), clearance=1.1, die_radius=5.0, trim_land=2.0)
    assert (r.values["clearance"], r.values["die_radius"]) == (1.1, 5.0)
    assert r.arrays["die_touch"] == pytest.approx(2.0 + 5.5)
    assert r.figure("faces.clearance").formula == "as stated"
    with pytest.raises(InputError, match="does not let a sheet"):
        faces_of(part, circle_line(75.0), clearance=0.9)


def test_leaning_wall_is_led_on_straight() -> None:
    part = revolved(cup_profile(30.0, 40.0, 8.0, lean=20.0))
    r = faces_of(part, circle_line(80.0), normals=cup_normals(part, 30.0, 40.0, 8.0, lean=20.0))
    die = mesh(r, "die")
    a = math.radians(70.0)
    assert r.arrays["die_touch"] == pytest.approx(5.0 * math.sin(a) + 8.5 * (1 - math.cos(a)), abs=0.02)
    assert turns(die).max() < 14.0
    assert r.values["gap_max"] == pytest.approx(T + (wall_gap(T, "steel") - T) * math.sin(a) ** 2, abs=2 * CHORD)


def test_rim_that_is_not_level_gets_one_plane() -> None:
    part = revolved(cup_profile(30.0, 40.0, 8.0))
    points = part.points.copy()
    wall = points[:, 2] > -30.0
    points[wall, 2] = -30.0 + (points[wall, 2] + 30.0) * (1.0 + 0.2 * points[wall, 0] / 30.0)  # the rim slopes from -6 to +6 mm
    r = faces_of(TriMesh(points, part.triangles), circle_line(75.0))
    assert r.arrays["die_touch"] == pytest.approx(6.0 + 5.0 + 8.5, abs=0.01)
    holder = mesh(r, "blankholder").points
    assert np.ptp(holder[np.hypot(*holder[:, :2].T) > 40.0][:, 2]) < 1e-9
    assert [f.key for f in r.findings if f.severity == "stop"] == []


def test_sloping_flange_is_blended_into_one_plane() -> None:
    profile = cup_profile(30.0, 40.0, 8.0, flange=15.0, shoulder=7.0)
    part = revolved(profile)
    points = part.points.copy()
    r = np.hypot(*points[:, :2].T)
    out = r > 37.0 + 1e-6
    points[out, 2] += math.tan(math.radians(8.0)) * (r[out] - 37.0)
    result = faces_of(TriMesh(points, part.triangles), circle_line(62.0))
    assert result.values["extended"] is False
    assert "blended" in result.values["notes"][0]
    holder = mesh(result, "blankholder")
    assert holder.normals[:, 2].max() < -math.cos(math.radians(15.0))
    far = holder.points[np.hypot(*holder.points[:, :2].T) > 70.0]
    assert np.ptp(far[:, 2]) < 1e-9
    assert np.hypot(*holder.points[:, :2].T).min() < 45.0  # the part's own flange is held too
    assert result.values["gap_min"] > 0.95 * T


L_SHAPE = [(0.0, 0.0), (120.0, 0.0), (120.0, 50.0), (50.0, 50.0), (50.0, 120.0), (0.0, 120.0)]


@pytest.mark.parametrize("corner", [3.0, 6.0, 20.0])
def test_inner_corner_tighter_than_the_die_radius(corner: float) -> None:
    """The plan turns inwards on 3 mm where the surface is led out by 6.5 mm: nothing may fold, nor hang over by more than the facets' own degree."""
    part = tray(rounded(L_SHAPE, corner), 20.0, 1.0)
    r = faces_of(part, rounded([(-30, -30), (150, -30), (150, 80), (80, 80), (80, 150), (-30, 150)], 10.0), die_radius=6.0)
    die = mesh(r, "die")
    assert die.normals[:, 2].min() > -math.sin(math.radians(1.2))
    assert die.areas.min() > 0
    above = part_of(die, die.centroids[:, 2] > -18.0)
    assert turns(above).max() < 35.0
    assert [f.key for f in r.findings if f.severity == "stop"] == []
    assert r.values["gap_min"] > 0.99 * T


def test_sharp_bottom_edge_is_mitred() -> None:
    """The offset of a sharp edge keeps the distance of both planes: the punch's bottom edge stands t/2 off floor and wall."""
    part = tray(rounded([(-40, -30), (40, -30), (40, 30), (-40, 30)], 12.0), 20.0)
    r = faces_of(part, rounded([(-60, -50), (60, -50), (60, 50), (-60, 50)], 20.0))
    punch, die = mesh(r, "punch"), mesh(r, "die")
    low = punch.points[punch.points[:, 2] < -20.0 + T / 2 + 1e-6]
    assert low[:, 0].max() == pytest.approx(40.0 - T / 2, abs=0.02)
    assert low[:, 1].max() == pytest.approx(30.0 - T / 2, abs=0.02)
    assert die.points[:, 2].min() == pytest.approx(-20.0 - T / 2, abs=0.25)
    assert r.values["gap_min"] >= 0.95 * T


def test_radius_below_half_the_thickness_folds_and_is_told() -> None:
    part = revolved(cup_profile(30.0, 20.0, 1.2, flange=15.0, shoulder=7.0), 90)
    r = faces_of(part, circle_line(60.0), normals=cup_normals(part, 30.0, 20.0, 1.2, 7.0), thickness=3.0)
    keys = {f.key: f for f in r.findings}
    assert keys["faces.fold.punch"].severity == "stop"
    assert keys["faces.fold.punch"].place is not None
    assert keys["faces.punch_radius"].value == 0.0


def test_what_cannot_be_made_is_refused() -> None:
    disc = revolved(np.array([[0.0, 0.0], [20.0, 0.0], [40.0, 0.0]]))
    with pytest.raises(SolveError, match="level nearly everywhere"):
        faces_of(disc, circle_line(45.0))
    hat = revolved(cup_profile(30.0, 40.0, 8.0))
    turned = TriMesh(hat.points * [1.0, 1.0, -1.0], hat.triangles[:, ::-1])
    with pytest.raises(SolveError, match="points down"):
        faces_of(turned, circle_line(75.0))
    cut = TriMesh(hat.points, hat.triangles[hat.points[hat.triangles].max(axis=1)[:, 1] <= 10.0])  # along a zigzag of its triangles
    with pytest.raises(SolveError, match=r"(would fold|stands too steeply) at \(.*, .*, .*\) mm|crosses itself in plan \(.*\[.*\] mm\)"):
        faces_of(cut, circle_line(75.0))
    with pytest.raises(DeskError, match="does not lie over the part"):
        faces_of(hat, circle_line(75.0) + 1000.0)
    with pytest.raises(InputError, match="but not for punch"):
        faces_of(hat, circle_line(75.0), {"die": None})


def test_a_family_without_a_rule_is_refused() -> None:
    with pytest.raises(InputError, match=r"faces\.clearance"):
        wall_gap(1.0, "tin")
    # Oehler's rule at s = 1 for its three factors, as in the reference page
    assert [wall_gap(1.0, f) for f in ("steel", "aluminium", "brass")] == pytest.approx([1.221, 1.063, 1.126], abs=5e-4)

"""Analytic faces: closed position, radii, normals and chord error as stated."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diewright.die.loft import divisions
from diewright.die.simple import channel_tools, hemisphere_tools, round_cup_tools, square_cup_tools
from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh

ROUND = {"punch_d": 50.0, "punch_r": 5.0, "die_d": 52.5, "die_r": 6.0, "depth": 30.0, "thickness": 1.0, "blank_d": 95.0}
SQUARE = {
    "punch_side": 70.0, "punch_corner": 10.0, "punch_r": 8.0, "die_side": 74.0, "die_corner": 12.0, "die_r": 5.0, "depth": 40.0,
    "thickness": 0.78, "blank_side": 150.0,
}  # fmt: skip
CHANNEL = {
    "punch_width": 50.0, "punch_r": 5.0, "die_width": 52.0, "die_r": 5.0, "depth": 70.0, "thickness": 0.78, "blank_length": 350.0, "blank_width": 35.0,
}  # fmt: skip
ALL = {
    "round": (round_cup_tools(**ROUND), ROUND),
    "dome": (hemisphere_tools(50.0, 52.5, 6.0, 30.0, 1.0, 95.0), ROUND),
    "square": (square_cup_tools(**SQUARE), SQUARE),
    "quarter": (square_cup_tools(**SQUARE, quarter=True), SQUARE),
    "channel": (channel_tools(**CHANNEL), CHANNEL),
    "half": (channel_tools(**CHANNEL, half=True), CHANNEL),
}


def level(mesh: TriMesh, z: float) -> np.ndarray:
    return (np.abs(mesh.points[mesh.triangles][:, :, 2] - z) < 1e-9).all(axis=1)


@pytest.mark.parametrize("name", ALL)
def test_closed_position_and_normals(name: str) -> None:
    tools, d = ALL[name]
    t, depth = d["thickness"], d["depth"]
    die, punch, holder = tools["die"], tools["punch"], tools["blankholder"]
    assert die.points[:, 2].max() == pytest.approx(-t / 2)
    assert punch.points[:, 2].min() == pytest.approx(-depth + t / 2)
    assert np.allclose(holder.points[:, 2], t / 2)
    assert (holder.normals[:, 2] == -1.0).all()
    assert np.allclose(die.normals[level(die, -t / 2), 2], 1.0)
    assert (die.normals[:, 2] > -1e-9).all()
    assert (punch.normals[:, 2] < 1e-9).all()
    assert (np.concatenate([m.areas for m in tools.values()]) > 0).all()
    wall = np.abs(die.normals[:, 2]) < 1e-9
    assert wall.any()
    out = die.centroids[wall, :2] if "channel" not in name and name != "half" else die.centroids[wall, :2] * [1.0, 0.0]
    assert (np.einsum("ij,ij->i", die.normals[wall, :2], out) < 0).all()  # the die's wall faces its opening
    assert die.points[:, 2].min() == pytest.approx(-depth - t / 2 - 1.0)


@pytest.mark.parametrize("chord", [0.01, 0.002])
def test_round_radii_lie_on_their_tori(chord: float) -> None:
    tools = round_cup_tools(**ROUND, chord=chord)
    die = tools["die"]
    r = np.hypot(die.points[:, 0], die.points[:, 1])
    shoulder = (r > 26.25 + 1e-9) & (r < 32.25 - 1e-9)
    assert np.allclose(np.hypot(r[shoulder] - 32.25, die.points[shoulder, 2] + 0.5 + 6.0), 6.0)
    middle = die.centroids
    rm = np.hypot(middle[:, 0], middle[:, 1])
    on = (rm > 26.25) & (rm < 32.2) & (middle[:, 2] > -6.5)
    away = np.abs(np.hypot(rm[on] - 32.25, middle[on, 2] + 6.5) - 6.0)
    assert 0 < away.max() <= 2 * chord  # one chord error along the radius and one round the opening


def test_dome_is_a_sphere() -> None:
    punch = ALL["dome"][0]["punch"]
    low = punch.points[:, 2] <= -30.0 + 0.5 + 25.0 + 1e-9
    assert np.allclose(np.linalg.norm(punch.points[low] - [0, 0, -30.0 + 0.5 + 25.0], axis=1), 25.0)
    assert len(punch.boundary_loops) == 1


def test_areas_against_closed_forms() -> None:
    tools = round_cup_tools(**ROUND, chord=0.001)
    p, r, h = 25.0, 5.0, 35.0 - 5.0  # radius, nose, straight wall: from -30 + 0.5 + 5 up to 0.5 + 5
    nose = 2 * math.pi * ((p - r) * r * math.pi / 2 + r * r)
    assert tools["punch"].area == pytest.approx(math.pi * (p - r) ** 2 + nose + 2 * math.pi * p * h, rel=2e-4)
    assert tools["blankholder"].area == pytest.approx(math.pi * (57.5**2 - 26.25**2), rel=2e-4)


def test_square_corners_and_sides() -> None:
    die = ALL["square"][0]["die"]
    foot = die.points[np.abs(die.points[:, 2] - die.points[:, 2].min()) < 1e-9]
    assert np.abs(foot[:, :2]).max() == pytest.approx(37.0)
    from_centre = np.hypot(np.abs(foot[:, 0]) - 25.0, np.abs(foot[:, 1]) - 25.0)
    assert np.allclose(from_centre, 12.0)
    assert len(die.boundary_loops) == 2
    assert len(ALL["square"][0]["punch"].boundary_loops) == 1


def test_bottom_closes_the_die() -> None:
    die = round_cup_tools(**ROUND, bottom=True)["die"]
    assert len(die.boundary_loops) == 1
    assert die.normals[level(die, -31.5), 2] == pytest.approx(1.0)


def test_channel_profile() -> None:
    die, punch = ALL["channel"][0]["die"], ALL["channel"][0]["punch"]
    assert np.abs(die.points[:, 0]).min() == pytest.approx(26.0)
    assert np.abs(punch.points[:, 0]).max() == pytest.approx(25.0)
    assert np.abs(die.points[:, 0]).max() >= 175.0
    assert np.ptp(die.points[:, 1]) == pytest.approx(45.0)
    assert len(np.unique(die.components)) == 2
    assert ALL["half"][0]["die"].points[:, 0].min() == pytest.approx(26.0)
    assert ALL["half"][0]["punch"].points[:, 0].min() == pytest.approx(-5.0)


def test_divisions_keep_chord_and_angle() -> None:
    for radius in (0.5, 5.0, 50.0, 500.0):
        n = divisions(radius, math.pi / 2, 0.01, 5.0)
        step = math.pi / 2 / n
        assert radius * (1 - math.cos(step / 2)) <= 0.01 * (1 + 1e-9)
        assert step <= math.radians(5.0) + 1e-12


@pytest.mark.parametrize(
    "change", [{"punch_d": 53.0}, {"punch_r": 26.0}, {"depth": 0.0}],
)  # fmt: skip
def test_refusals(change: dict[str, float]) -> None:
    with pytest.raises(InputError):
        round_cup_tools(**{**ROUND, **change})

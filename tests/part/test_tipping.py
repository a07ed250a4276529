"""Press directions, undercut, depth, draft, radii and round parts on shapes whose answers are known."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.part import measure
from diewright.part.holes import find_holes, outer_loop
from diewright.part.tipping import Tipper, across, press_frame


def turned(profile: list[tuple[float, float]], n: int = 48, steps: int = 4) -> TriMesh:
    """A profile ``(r, z)`` from the axis to the rim turned about z; normals up on a flat bottom."""
    fine = [profile[0]]
    for (r0, z0), (r1, z1) in itertools.pairwise(profile):
        fine += [(r0 + (r1 - r0) * k / steps, z0 + (z1 - z0) * k / steps) for k in range(1, steps + 1)]
    points, triangles = [(0.0, 0.0, fine[0][1])], []
    angle = 2 * np.pi * np.arange(n) / n
    for r, z in fine[1:]:
        points += [(r * np.cos(a), r * np.sin(a), z) for a in angle]
    for j in range(n):
        triangles.append((0, 1 + j, 1 + (j + 1) % n))
    for i in range(len(fine) - 2):
        a, b = 1 + i * n, 1 + (i + 1) * n
        for j in range(n):
            k = (j + 1) % n
            triangles += [(a + j, b + j, b + k), (a + j, b + k, a + k)]
    return TriMesh(np.array(points), np.array(triangles))


CUP = [(0.0, 0.0), (30.0, 0.0), (32.0, 25.0), (45.0, 25.0)]
UPRIGHT = [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0)]
JAR = [(0.0, 0.0), (30.0, 0.0), (24.0, 30.0), (40.0, 30.0)]


def tipper(mesh: TriMesh) -> Tipper:
    return Tipper(mesh, find_holes(mesh), 0.05)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_finds_the_axis_of_a_turned_cup_lying_anyhow(seed: int) -> None:
    rotation = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    mesh = turned(CUP).moved(rotation)
    best = tipper(mesh).candidates()[0]
    # the punch travels from the mouth to the bottom
    assert best.direction @ (rotation @ [0, 0, -1]) > math.cos(math.radians(0.3))
    assert best.undercut_share == 0.0
    assert best.depth == pytest.approx(25.0, abs=0.4)
    assert best.balance > 0.97
    assert "no undercut" in best.why


def test_cup_with_its_normals_down_is_tipped_the_same_way() -> None:
    best = tipper(turned(CUP).reversed()).candidates()[0]
    assert best.direction == pytest.approx([0, 0, -1], abs=1e-9)
    assert best.undercut_share == 0.0


def test_upright_wall_is_not_undercut() -> None:
    mesh = turned(UPRIGHT)
    assert not tipper(mesh).view.undercut(np.array([0.0, 0.0, 1.0])).any()
    assert np.abs(measure.draft(mesh.normals)[np.abs(mesh.normals[:, 2]) < 0.5]).max() < 1e-6


def test_narrow_mouth_is_undercut_and_hides_the_bottom_under_it() -> None:
    mesh = turned(JAR, n=96, steps=12)
    undercut = tipper(mesh).view.undercut(np.array([0.0, 0.0, 1.0]))
    wall = math.pi * (30 + 24) * math.hypot(6, 30)
    shadow = math.pi * (30**2 - 24**2)
    # rings of the bottom count as a whole: half a ring of 2.5 mm at r = 24
    assert mesh.areas[undercut].sum() == pytest.approx(wall + shadow, abs=2 * math.pi * 24 * 1.3)
    found = measure.regions(mesh, undercut, measure.draft(mesh.normals))
    assert found[0]["worst_angle"] == pytest.approx(-math.degrees(math.atan2(6, 30)), abs=0.1)


def test_a_roof_hides_what_faces_upwards() -> None:
    """A plate of 60 mm folded back over 40 mm of itself: under the roof all is hidden though its normals point up, beside it nothing."""
    low = [(v, 0.0) for v in np.linspace(-20, 40, 13)]
    high = [(v, 15.0) for v in np.linspace(40, 0, 9)]
    section = [*low, (40.0, 7.5), *high]
    width = len(section)
    points = [(x, y, z) for y in (0.0, 10.0, 20.0) for x, z in section]
    triangles = []
    for r in range(2):
        for i in range(width - 1):
            a, b = r * width + i, r * width + i + 1
            triangles += [(a, b, b + width), (a, b + width, a + width)]
    mesh = TriMesh(np.array(points), np.array(triangles))
    hidden = tipper(mesh).view.undercut(np.array([0.0, 0.0, 1.0]))
    x, z = mesh.centroids[:, 0], mesh.centroids[:, 2]
    flat = np.abs(mesh.normals[:, 2]) > 0.99
    bottom, roof = flat & (z < 0.1), flat & (z > 14.9)
    assert (mesh.normals[bottom, 2] > 0).all()
    assert hidden[bottom & (x > 0)].all()
    assert not hidden[bottom & (x < 0)].any()
    assert hidden[roof].all()  # it looks down


def test_press_frame_is_a_right_handed_rotation_with_the_top_at_zero() -> None:
    direction = np.array([0.3, -0.5, -0.9])
    mesh = turned(CUP)
    rotation, shift = press_frame(mesh, direction)
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(rotation) == pytest.approx(1.0)
    assert rotation @ (direction / np.linalg.norm(direction)) == pytest.approx([0, 0, -1], abs=1e-12)
    points = mesh.points @ rotation.T + shift
    assert points[:, 2].max() == pytest.approx(0.0, abs=1e-12)
    assert points[:, :2].max(axis=0) == pytest.approx(-points[:, :2].min(axis=0), abs=1e-9)
    with pytest.raises(InputError, match="no length"):
        press_frame(mesh, np.zeros(3))


def test_first_axis_of_the_blank_is_the_first_part_axis_across_the_travel() -> None:
    assert across(np.array([0.0, 0.0, 1.0]))[0] == pytest.approx([1, 0, 0])
    assert across(np.array([1.0, 0.0, 0.0]))[0] == pytest.approx([0, 1, 0])
    e1, e2 = across(np.array([0.0, 0.6, 0.8]))
    assert e1 == pytest.approx([1, 0, 0])
    assert e2 == pytest.approx(np.cross([0.0, 0.6, 0.8], e1))


def test_round_part_and_its_wall_diameter() -> None:
    found = measure.round_part(turned(UPRIGHT))
    assert found["is_round"]
    assert found["diameter"] == pytest.approx(60.0, abs=1e-9)
    oval = turned(UPRIGHT)
    assert not measure.round_part(TriMesh(oval.points * [1.2, 1.0, 1.0], oval.triangles))["is_round"]


def test_balance_sees_a_slanting_rim() -> None:
    mesh = turned(UPRIGHT)
    high = mesh.points.copy()
    high[:, 2] *= 1 + 0.3 * high[:, 0] / 30  # the rim rises from 28 to 52
    slanted = Tipper(TriMesh(high, mesh.triangles), (), 0.05).judge(np.array([0.0, 0.0, 1.0]))
    assert slanted.balance == pytest.approx(28 / 52, abs=0.03)


def test_least_radius_and_sharp_edges() -> None:
    mesh = turned(CUP)
    curvature = np.zeros(len(mesh.points))
    curvature[[5, 6, 7, 8]] = [0.5, 0.25, 0.2, 0.1]
    nothing = np.zeros(len(mesh.points), dtype=np.int8)
    assert measure.least_radius(mesh, curvature, nothing, True).value == pytest.approx(5.0)  # the third smallest
    assert measure.least_radius(mesh, curvature, nothing, False) is None
    bottom = np.isclose(np.linalg.norm(mesh.points[:, :2], axis=1), 30.0) & np.isclose(mesh.points[:, 2], 0.0)
    assert measure.least_radius(mesh, curvature, bottom.astype(np.int8), True).value == 0.0
    assert measure.least_radius(mesh, curvature, bottom.astype(np.int8), False) is None
    radius = measure.signed_radius(np.array([0.0, 0.1, -0.5]))
    assert radius == pytest.approx([measure.CLIP, 10.0, -2.0])


def test_holes_are_told_from_the_outer_edge() -> None:
    ring = TriMesh(turned(CUP).points[1:], turned(CUP).triangles[48:] - 1)  # the first fan gone: a hole of 15 mm
    holes = find_holes(ring)
    assert len(holes) == 1
    assert holes[0].diameter == pytest.approx(15.0, abs=1e-6)
    assert np.linalg.norm(ring.points[outer_loop(ring)][:, :2], axis=1) == pytest.approx(np.full(48, 45.0))
    assert holes[0].area == pytest.approx(0.5 * 48 * 7.5**2 * math.sin(2 * math.pi / 48), rel=1e-9)
    squeezed = TriMesh(ring.points * [1.0, 1.3, 1.0], ring.triangles)
    assert find_holes(squeezed)[0].diameter is None

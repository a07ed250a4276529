"""A field of displacements: it takes its values, keeps rigid motions, leaves out short waves, slides where it is held, and comes back from its file."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from diewright.errors import FileError, InputError
from diewright.geometry.fair_shift import Held, Known, both_skins, gathered, smooth_shift, spread_points
from diewright.geometry.mesh import TriMesh
from diewright.geometry.shift_field import ShiftField, csv_bytes, read_shift
from diewright.geometry.short_edges import with_short_edges

RNG = np.random.default_rng(11)
CLOUD = RNG.uniform(-40.0, 40.0, (60, 3))


def sheet(size: float = 100.0, count: int = 21) -> TriMesh:
    """A level square [mm]."""
    x = np.linspace(-0.5 * size, 0.5 * size, count)
    points = np.column_stack([a.ravel() for a in np.meshgrid(x, x)] + [np.zeros(count**2)])
    cells = []
    for j in range(count - 1):
        for i in range(count - 1):
            a = j * count + i
            cells += [(a, a + 1, a + count + 1), (a, a + count + 1, a + count)]
    return TriMesh(points, np.array(cells))


def test_it_takes_its_values_and_carries_a_linear_motion_everywhere() -> None:
    field = ShiftField(CLOUD, RNG.normal(size=CLOUD.shape))
    assert np.abs(field.at(CLOUD) - field.shifts).max() < 1e-9
    b = RNG.normal(size=(3, 3)) * 0.01
    even = ShiftField(CLOUD, CLOUD @ b + [1.0, -2.0, 0.5])
    far = RNG.uniform(-200.0, 200.0, (50, 3))
    assert np.abs(even.at(far) - (far @ b + [1.0, -2.0, 0.5])).max() < 1e-8
    assert field.at(np.zeros((0, 3))).shape == (0, 3)


def test_it_is_smooth_to_the_second_derivative_at_its_own_points() -> None:
    field = ShiftField(CLOUD, RNG.normal(size=CLOUD.shape))
    h, x, e = 1e-2, CLOUD[7], np.array([0.6, 0.0, 0.8])
    along = field.at(x + h * np.arange(-2, 3)[:, None] * e)
    left, right = along[0] - 2 * along[1] + along[2], along[2] - 2 * along[3] + along[4]
    # |x|^3 has a second derivative of 6 |x|: both sides agree but for what a third derivative changes over 2 h
    assert np.abs(left - right).max() / h**2 < 0.02 * np.abs(along).max()


def test_a_moved_place_is_found_again() -> None:
    field = ShiftField(CLOUD, 0.5 * RNG.normal(size=CLOUD.shape))
    x = RNG.uniform(-30.0, 30.0, (40, 3))
    assert np.abs(field.before(x + field.at(x)) - x).max() < 1e-8
    with pytest.raises(InputError, match="too fast"):
        ShiftField(CLOUD, -3.0 * CLOUD + RNG.normal(size=CLOUD.shape)).before(x)


def test_the_file_gives_the_same_field_to_the_last_bit(tmp_path: Path) -> None:
    field = ShiftField(CLOUD, RNG.normal(size=CLOUD.shape))
    path = tmp_path / "compensation.csv"
    path.write_bytes(csv_bytes(field))
    assert path.read_text().splitlines()[0] == "x [mm],y [mm],z [mm],dx [mm],dy [mm],dz [mm]"
    back = read_shift(path)
    assert np.array_equal(back.points, field.points)
    assert np.array_equal(back.shifts, field.shifts)
    path.write_text("# revision B\n\n" + path.read_text())
    assert np.array_equal(read_shift(path).shifts, field.shifts)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "does not begin with the columns"),
        ("x [inch],y [mm],z [mm],dx [mm],dy [mm],dz [mm]\n", "does not begin with the columns"),
        ("x [mm],y [mm],z [mm],dx [mm],dy [mm],dz [mm]\n1,2,3,4,5\n", "line 2 of 'f.csv' is not six numbers"),
        ("x [mm],y [mm],z [mm],dx [mm],dy [mm],dz [mm]\n1,2,3,4,5,nan\n", "line 2 of 'f.csv' is not six numbers"),
        ("x [mm],y [mm],z [mm],dx [mm],dy [mm],dz [mm]\n1,2,3,a,5,6\n", "line 2 of 'f.csv' is not six numbers"),
    ],
)
def test_a_file_that_is_not_one_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "f.csv"
    path.write_text(text)
    with pytest.raises(FileError, match=words):
        read_shift(path)


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_shift(tmp_path / "none.csv")
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x80")
    with pytest.raises(FileError, match="not a text file"):
        read_shift(tmp_path / "bytes.csv")


def test_points_that_make_no_field_are_refused() -> None:
    for points, words in (
        (CLOUD[:3], "3 points"),
        (CLOUD * [1.0, 1.0, 0.0], "one plane"),
        (np.vstack([CLOUD, CLOUD[:1]]), "stated twice"),
        (np.full((5, 3), np.nan), "finite"),
        (CLOUD[:, :2], "shape"),
    ):
        with pytest.raises(InputError, match=words):
            ShiftField(points, np.zeros_like(points))
    with pytest.raises(InputError, match="places asked for"):
        ShiftField(CLOUD, CLOUD).at(np.array([[np.inf, 0.0, 0.0]]))


@pytest.mark.parametrize(("over", "kept"), [(0.5, 1 / 33), (1.0, 0.5), (2.0, 32 / 33)])
def test_waves_are_passed_on_as_stated(over: float, kept: float) -> None:
    flat, wave = sheet(120.0, 31), 24.0
    z = np.zeros_like(flat.points)
    z[:, 2] = np.sin(2.0 * np.pi * flat.points[:, 0] / (over * wave))
    found = smooth_shift(Known(flat.points, z, np.full(len(z), 16.0)), wave, None, np.zeros((0, 3)))
    middle = (np.abs(flat.points[:, :2]) < 36.5).all(axis=1)
    got = found(flat.points)[middle, 2]
    share = got @ z[middle, 2] / (z[middle, 2] @ z[middle, 2])
    assert share == pytest.approx(kept, abs=0.02)


def test_noise_of_the_mesh_is_not_printed_and_a_turn_is_kept() -> None:
    flat = sheet()
    turn = np.column_stack([np.zeros((len(flat.points), 2)), 0.02 * flat.points[:, 0]])
    noisy = turn + RNG.normal(scale=0.02, size=turn.shape)
    found = smooth_shift(Known(flat.points, noisy, flat.point_areas), 40.0, None, np.zeros((0, 3)))(flat.points)
    assert np.sqrt(((found - turn) ** 2).mean()) < 0.25 * 0.02
    exact = smooth_shift(Known(flat.points, turn, flat.point_areas), 40.0, None, np.zeros((0, 3)))(flat.points)
    assert np.abs(exact - turn).max() < 1e-9


def test_what_is_held_slides_and_what_is_still_stays() -> None:
    part, plane = sheet(40.0, 9), sheet(160.0, 17)
    ring = plane.points[np.abs(plane.points[:, :2]).max(axis=1) > 30.0]
    tilt = np.array([math.sin(0.2), 0.0, math.cos(0.2)])
    push = np.tile([1.0, 0.0, 0.3], (len(part.points), 1))
    still = ring[np.abs(ring[:, :2]).max(axis=1) > 75.0]
    found = smooth_shift(Known(part.points, push, part.point_areas), 20.0, Held(ring, np.tile(tilt, (len(ring), 1))), still)
    move = found(ring)
    assert np.abs(move @ tilt).max() < 1e-9
    assert np.abs(move[:, 0]).max() > 0.5  # it slides where the part pushes it
    assert np.abs(found(still)).max() < 1e-9
    assert np.abs(found(part.points) - push).max() < 0.15


def test_a_smooth_shift_wants_sense() -> None:
    flat = sheet(20.0, 5)
    known = Known(flat.points, np.zeros_like(flat.points), flat.point_areas)
    with pytest.raises(InputError, match="above zero"):
        smooth_shift(known, 0.0, None, np.zeros((0, 3)))
    with pytest.raises(InputError, match="above zero"):
        smooth_shift(Known(flat.points, flat.points, np.zeros(len(flat.points))), 10.0, None, np.zeros((0, 3)))


def test_gathered_points_keep_area_and_mean() -> None:
    known = Known(CLOUD, RNG.normal(size=CLOUD.shape), RNG.uniform(1.0, 2.0, len(CLOUD)))
    few = gathered(known, 12)
    assert len(few.points) == 12
    assert few.areas.sum() == pytest.approx(known.areas.sum())
    assert few.areas @ few.values == pytest.approx(known.areas @ known.values)
    assert len(set(spread_points(CLOUD, 20).tolist())) == 20


def test_skins_stay_half_a_thickness_from_a_middle_that_turns() -> None:
    flat, t, a = sheet(), 1.0, 0.15
    turned = flat.points @ np.array([[math.cos(a), 0.0, -math.sin(a)], [0.0, 1.0, 0.0], [math.sin(a), 0.0, math.cos(a)]])
    field = both_skins(flat, turned - flat.points, t, 100, np.zeros((0, 3)), np.zeros((0, 3)))
    up, down = (flat.points + np.array([0.0, 0.0, s]) for s in (0.5 * t, -0.5 * t))
    up, down = up + field.at(up), down + field.at(down)
    gap = up - down
    assert np.abs(np.linalg.norm(gap, axis=1) - t).max() < 1e-6
    # square to the turned middle, not along the press
    across = turned[1] - turned[0]
    assert np.abs(gap @ across).max() < 1e-6 * np.linalg.norm(across)


def test_long_edges_are_split_on_the_same_surface() -> None:
    box = TriMesh(np.array([[0.0, 0, 0], [30, 0, 0], [30, 8, 0], [0, 8, 5]]), np.array([[0, 1, 2], [0, 2, 3]]))
    fine = with_short_edges(box, 3.0)
    ends = fine.points[fine.edges]
    assert np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).max() <= 3.0
    assert fine.area == pytest.approx(box.area, rel=1e-12)
    assert np.array_equal(fine.points[:4], box.points)
    assert len(fine.boundary_loops) == 1  # no hanging points
    assert (fine.normals @ box.normals[0] > -1e-12).all()
    assert fine.areas.min() > 0
    same = with_short_edges(box, 50.0)
    assert np.array_equal(same.triangles, box.triangles)
    for longest in (0.0, 1e-3):
        with pytest.raises(InputError):
            with_short_edges(box, longest)

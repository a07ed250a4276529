"""Skid lines of a strip pulled over a radius; wear on a face."""

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.tryout.surface import SkidTracker, Wear


def strip(length=100.0, width=20.0, edge=2.0):
    x, y = np.meshgrid(np.arange(0, length + edge / 2, edge), np.arange(0, width + edge / 2, edge))
    nx, ny = x.shape[1], x.shape[0]
    i = (np.arange(ny - 1)[:, None] * nx + np.arange(nx - 1)).ravel()
    t = np.concatenate([np.column_stack([i, i + 1, i + nx + 1]), np.column_stack([i, i + nx + 1, i + nx])])
    return TriMesh(np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]), t)


def pulled(draw=30.0, frames=60, radius=6.0, visible=None):
    """A strip pulled along -x over a die radius that stands between x = 40 and x = 48: what was between 48 and 78 - ... has gone over it."""
    mesh = strip()
    tracker = SkidTracker(len(mesh.points), 1.0)
    step = draw / frames
    for k in range(frames + 1):
        x = mesh.points[:, 0] - k * step
        on = (x > 40.0) & (x < 48.0)
        touching = on | (x >= 48.0)
        tracker.add(touching, np.where(on, 1.0 / radius, 0.0), np.full(len(x), step if k else 0.0))
    now = TriMesh(mesh.points - [draw, 0, 0], mesh.triangles)
    return mesh, now, tracker.at_end(now, np.ones(len(mesh.points), bool) if visible is None else visible(mesh)), tracker


def test_the_band_that_went_over_the_radius_is_marked():
    rest, now, skid, tracker = pulled()
    x0 = rest.points[:, 0]
    # on the radius at first: from 40; left it by the end: up to 70. A mark needs 1 mm of way.
    np.testing.assert_array_equal(skid.nodes, (x0 > 41.0) & (x0 <= 70.0))
    assert skid.way == pytest.approx(8.0, abs=1.1)
    assert skid.area == pytest.approx(30.0 * 20.0, rel=0.05)
    ends = skid.segments[:, :, 0] + 30.0
    assert set(np.round(ends.ravel() / 2.0)) <= {20.0, 21.0, 35.0, 36.0}
    length = np.linalg.norm(skid.segments[:, 1] - skid.segments[:, 0], axis=1).sum()
    assert 2 * 20.0 <= length < 2 * 20.0 * 1.6  # two lines across the strip, along mesh lines
    still = (now.points[:, 0] > 40) & (now.points[:, 0] < 48)
    assert tracker.way[still].max() > 1.0  # slid, but still on the radius: no mark yet
    assert not skid.nodes[still].any()


def test_a_generous_radius_marks_nothing():
    _, _, skid, _ = pulled(radius=12.0)
    assert not skid.nodes.any()
    assert skid.segments.shape == (0, 2, 3)
    assert skid.area == 0.0


def test_what_is_hidden_does_not_count():
    _, _, skid, _ = pulled(visible=lambda mesh: mesh.points[:, 0] < 30.0)
    assert not skid.nodes.any()
    assert len(skid.segments) == 0


def test_a_sheet_that_rests_on_the_radius_is_not_marked():
    mesh = strip()
    tracker = SkidTracker(len(mesh.points), 1.0)
    every = np.ones(len(mesh.points), bool)
    for _ in range(5):
        tracker.add(every, np.full(len(every), 0.5), np.full(len(every), 0.1))
    tracker.add(~every, np.zeros(len(every)), np.zeros(len(every)))
    assert not tracker.at_end(mesh, every).nodes.any()


def test_the_way_between_two_frames_counts_if_either_end_is_on_the_radius():
    tracker = SkidTracker(3, 1.0)
    tracker.add(np.array([True, False, False]), np.full(3, 0.5), np.zeros(3))
    tracker.add(np.array([False, True, False]), np.full(3, 0.5), np.full(3, 2.0))
    np.testing.assert_array_equal(tracker.way, [2.0, 2.0, 0.0])


def test_frames_of_another_size_are_refused():
    with pytest.raises(InputError, match="does not fit"):
        SkidTracker(3, 1.0).add(np.ones(2, bool), np.ones(2), np.ones(2))


def test_wear_keeps_the_work_and_finds_its_place():
    face = strip(60.0, 60.0, 3.0)
    rng = np.random.default_rng(4)
    at = np.column_stack([rng.uniform(0, 60, (4000, 2)), rng.normal(0, 0.05, 4000)])
    work = rng.uniform(0, 2.0, 4000)
    wear = Wear(face)
    wear.add(at[:2000], work[:2000])
    wear.add(at[2000:], work[2000:])
    assert wear.total == pytest.approx(work.sum() / 1000.0, rel=1e-12)
    assert (wear.wear * face.point_areas).sum() == pytest.approx(work.sum(), rel=1e-12)
    inner = (np.abs(face.points[:, :2] - 30.0) < 25.0).all(axis=1)
    assert wear.wear[inner].mean() == pytest.approx(work.sum() / 3600.0, rel=0.05)


def test_one_contact_wears_where_it_is_and_its_pressure_is_kept():
    face = strip(60.0, 60.0, 3.0)
    wear = Wear(face)
    wear.add(np.array([[30.0, 30.0, 0.4]]), np.array([5.0]), np.array([80.0]))
    wear.add(np.array([[30.0, 30.0, -0.2]]), np.array([5.0]), np.array([60.0]))
    hit = np.flatnonzero((np.abs(face.points[:, :2] - 30.0) < 0.1).all(axis=1))[0]
    assert wear.wear[hit] == pytest.approx(10.0 / 9.0)
    assert np.count_nonzero(wear.wear > 1e-12) == 1
    assert wear.pressure_max[hit] == 80.0
    wear.add(np.zeros((0, 3)), np.zeros(0))
    assert wear.total == pytest.approx(0.01)


def test_wear_refuses_what_is_not_finite():
    with pytest.raises(InputError, match="all finite"):
        Wear(strip()).add(np.array([[0.0, np.nan, 0]]), np.ones(1))

"""Filling holes: numbering kept, edges matched, crown carried on, collars drawn taut."""

from itertools import pairwise

import numpy as np
import pytest
from skins import disc, quality, ring_of

from diewright.errors import Cancelled, InputError, SolveError
from diewright.geometry.fill import fill_holes
from diewright.geometry.loops import hole_loops, outer_loop
from diewright.geometry.mesh import TriMesh
from diewright.watch import Watch

UP = np.array([0.0, 0.0, 1.0])


def crown(radius):
    return lambda p: np.sqrt(radius**2 - (p**2).sum(axis=1)) - radius


@pytest.mark.parametrize("holes", [((20.0, 10.0, 25.0),), ((-40.0, 0.0, 20.0), (45.0, 20.0, 12.0), (0.0, -55.0, 8.0))])
def test_given_points_and_triangles_keep_their_numbers(holes):
    mesh = disc(holes=holes, height=crown(400.0))
    filled = fill_holes(mesh)
    n, m = len(mesh.points), len(mesh.triangles)
    np.testing.assert_array_equal(filled.mesh.points[:n], mesh.points)
    np.testing.assert_array_equal(filled.mesh.triangles[:m], mesh.triangles)
    assert not filled.new_points[:n].any()
    assert filled.new_points[n:].all()
    assert not filled.new_triangles[:m].any()
    assert filled.new_triangles[m:].all()
    assert len(filled.mesh.boundary_loops) == 1
    np.testing.assert_array_equal(np.sort(filled.mesh.boundary_loops[0]), np.sort(mesh.boundary_loops[outer_loop(mesh)]))
    # Closed manifold inside: every inner edge has two triangles that run it in opposite ways.
    t = filled.mesh.triangles
    directed = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
    assert len(np.unique(directed, axis=0)) == len(directed)
    assert set(filled.hole_of[filled.new_triangles]) == set(hole_loops(mesh))


@pytest.mark.parametrize("radius", [150.0, 300.0, 1000.0])
def test_a_crowned_skin_is_filled_crowned(radius):
    mesh = disc(height=crown(radius))
    filled = fill_holes(mesh)
    new = filled.mesh.points[filled.new_points]
    error = np.abs(new[:, 2] - crown(radius)(new[:, :2])).max()
    sagitta = radius - np.sqrt(radius**2 - 25.0**2)
    assert sagitta > 0.3  # a flat lid would miss by this
    assert error < 0.03 * sagitta
    cap = 2 * np.pi * radius * (radius - np.sqrt(radius**2 - 100.0**2))
    assert filled.mesh.area == pytest.approx(cap, rel=2e-3)


def test_a_saddle_is_carried_on():
    def saddle(p):
        return (p[:, 0] ** 2 - p[:, 1] ** 2) / 600.0

    filled = fill_holes(disc(height=saddle, holes=((0.0, 0.0, 30.0),)))
    new = filled.mesh.points[filled.new_points]
    assert np.abs(new[:, 2] - saddle(new[:, :2])).max() < 0.05 * 30.0**2 / 600.0


def test_a_flat_skin_is_filled_flat_to_its_area():
    mesh = disc(holes=((-40.0, 0.0, 20.0), (45.0, 20.0, 12.0)))
    filled = fill_holes(mesh)
    assert np.ptp(filled.mesh.points[:, 2]) == 0.0
    x, y = mesh.points[mesh.boundary_loops[0], :2].T
    assert filled.mesh.area == pytest.approx(abs(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))), rel=1e-12)


def test_triangles_are_well_shaped_and_of_local_size():
    mesh = disc(holes=((0.0, 0.0, 40.0),), height=crown(400.0))
    filled = fill_holes(mesh)
    q = quality(filled.mesh, filled.new_triangles)
    assert q.min() > 0.5
    assert q.mean() > 0.9
    new = filled.mesh.areas[filled.new_triangles]
    assert 0.4 < np.median(new) / np.median(mesh.areas) < 1.6


def test_a_turned_skin_is_filled_the_same():
    mesh = disc(height=crown(300.0))
    angle = 1.1
    rotation = np.array([[1, 0, 0], [0, np.cos(angle), -np.sin(angle)], [0, np.sin(angle), np.cos(angle)]])
    a, b = fill_holes(mesh), fill_holes(mesh.moved(rotation))
    assert b.mesh.area == pytest.approx(a.mesh.area, rel=1e-4)


def test_a_triangular_hole_takes_one_triangle():
    mesh = disc(holes=())
    cut = TriMesh(mesh.points, np.delete(mesh.triangles, len(mesh.triangles) // 2, axis=0))
    inner = [i for i in hole_loops(cut) if len(cut.boundary_loops[i]) == 3]
    filled = fill_holes(cut, inner)
    assert filled.new_triangles.sum() == 1
    assert filled.mesh.area == pytest.approx(mesh.area, rel=1e-12)


def collar():
    """A plate with a raised collar of radius 20 and height 10."""
    plate = disc(holes=((0.0, 0.0, 20.0),))
    hole = plate.boundary_loops[1][::-1]
    foot, n = plate.points[hole], len(hole)
    rings = [hole]
    points, triangles = [plate.points], [plate.triangles]
    count = len(plate.points)
    for k in range(1, 4):
        points.append(foot + np.array([0, 0, 10.0 * k / 3]))
        rings.append(count + np.arange(n))
        count += n
    for low, high in pairwise(rings):
        a, b, c, d = low, np.roll(low, -1), np.roll(high, -1), high
        triangles += [np.column_stack([b, a, d]), np.column_stack([b, d, c])]
    mesh = TriMesh(np.concatenate(points), np.concatenate(triangles))
    return (
        mesh
        if len(mesh.boundary_loops) == 2
        else TriMesh(mesh.points, np.concatenate([plate.triangles, *[t[:, ::-1] for t in triangles[1:]]]))
    )


def test_a_collar_is_closed_taut_and_does_not_bulge():
    mesh = collar()
    filled = fill_holes(mesh, axis=UP)
    assert list(filled.blend.values()) == ["taut"]
    new = filled.mesh.points[filled.new_points]
    np.testing.assert_allclose(new[:, 2], 10.0, atol=1e-6)


def test_a_hole_in_a_wall_that_cannot_be_laid_flat_is_closed():
    # Half a pipe whose window wraps 140 degrees: its loop laid on a plane would overlap at the sides.
    mesh = disc(holes=((0.0, 0.0, 55.0),), step=5.0)
    x, y = mesh.points[:, :2].T
    pipe = TriMesh(np.column_stack([45 * np.sin(x / 45), y, 45 * np.cos(x / 45)]), mesh.triangles)
    filled = fill_holes(pipe)
    assert len(filled.mesh.boundary_loops) == 1
    assert quality(filled.mesh, filled.new_triangles).min() > 0.05


def test_the_outer_edge_is_the_largest_in_plan():
    mesh = disc(holes=((0.0, 0.0, 70.0), (85.0, 0.0, 6.0)))
    outer = mesh.boundary_loops[outer_loop(mesh, UP)]
    assert np.hypot(*mesh.points[outer, :2].T).min() > 99.0
    # A hole whose edge is crinkled until it is the longest loop is still a hole.
    ring = mesh.boundary_loops[1]
    points = mesh.points.copy()
    points[ring, 2] += 9.0 * (-1.0) ** np.arange(len(ring))
    crinkled = TriMesh(points, mesh.triangles)
    assert crinkled.loop_length(crinkled.boundary_loops[0]) > 2 * np.pi * 100
    for axis in (UP, None):
        outer = crinkled.boundary_loops[outer_loop(crinkled, axis)]
        assert np.hypot(*crinkled.points[outer, :2].T).min() > 99.0


def test_closed_and_torn_skins_are_refused():
    tetra = TriMesh(np.eye(4)[:, :3], np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]))
    with pytest.raises(InputError, match="no edge"):
        outer_loop(tetra)
    mesh = disc(holes=())
    two = TriMesh(
        np.concatenate([mesh.points, mesh.points + np.array([300, 0, 0])]),
        np.concatenate([mesh.triangles, mesh.triangles + len(mesh.points)]),
    )
    with pytest.raises(InputError, match="2 separate pieces"):
        outer_loop(two)


def test_wrong_loops_and_touching_edges_are_refused():
    mesh = disc()
    with pytest.raises(InputError, match="no boundary loop 7"):
        fill_holes(mesh, [7])
    # Two triangles out that share one point: the walk round both passes it twice.
    plain = disc(holes=())
    inside = np.hypot(*plain.centroids[:, :2].T) < 60
    point = plain.triangles[np.flatnonzero(inside)[40], 0]
    around = np.flatnonzero((plain.triangles == point).any(axis=1))
    first = around[0]
    far = next(c for c in around if len(np.intersect1d(plain.triangles[c], plain.triangles[first])) == 1)
    cut = TriMesh(plain.points, np.delete(plain.triangles, [first, far], axis=0))
    touching = [i for i, loop in enumerate(cut.boundary_loops) if len(np.unique(loop)) < len(loop)]
    if touching:
        with pytest.raises(SolveError, match="touches itself"):
            fill_holes(cut, touching)
    else:
        assert fill_holes(cut).mesh.area == pytest.approx(plain.area, rel=1e-9)


def test_filling_can_be_cancelled():
    with pytest.raises(Cancelled):
        fill_holes(disc(), watch=Watch(cancelled=lambda: True))


def test_ring_of_is_a_circle():
    np.testing.assert_allclose(np.hypot(*ring_of(5.0, 1.0).T), 5.0)

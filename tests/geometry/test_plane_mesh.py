"""Flat meshes of a region: exact boundary, followed lines, graded sizes, quarter cuts, and refusals."""

import numpy as np
import pytest
import shapely

from diewright.errors import Cancelled, InputError, SolveError
from diewright.geometry import plane_mesh
from diewright.geometry.plane_mesh import mesh_region, sizes_from
from diewright.geometry.plane_region import quarter_of
from diewright.geometry.resample import resample, track
from diewright.geometry.size_grid import SizeGrid, size_grid, slope_of
from diewright.watch import Watch

SQUARE = np.array([[-50.0, -50.0], [50.0, -50.0], [50.0, 50.0], [-50.0, 50.0]])


def circle(radius, step=0.01, centre=(0.0, 0.0), repeat=False):
    n = round(2 * np.pi * radius / step)
    a = 2 * np.pi * np.arange(n) / n
    p = np.asarray(centre) + radius * np.column_stack([np.cos(a), np.sin(a)])
    return np.vstack([p, p[:1]]) if repeat else p


def rounded(half, radius, step=0.01):
    """A square with round corners, vertices a hundredth of a millimetre apart."""
    n = max(int(np.pi / 2 * radius / step), 2)
    a = np.linspace(0, np.pi / 2, n)
    arc = (half - radius) + radius * np.column_stack([np.cos(a), np.sin(a)])
    turn = np.array([[0.0, -1.0], [1.0, 0.0]])
    parts = []
    for _ in range(4):
        parts.append(arc)
        arc = arc @ turn.T
    corners = np.vstack(parts)
    dense = [
        np.linspace(p, q, max(int(np.linalg.norm(q - p) / step), 1), endpoint=False)
        for p, q in zip(corners, np.roll(corners, -1, 0), strict=True)
    ]
    return np.vstack(dense)


def everywhere(size):
    return SizeGrid(np.array([-200.0, -200.0]), 10.0, np.full((41, 41), float(size)), 0.25)


def edge_keys(triangles, n):
    e = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1).astype(np.int64)
    return e[:, 0] * n + e[:, 1]


def assert_sound(mesh, loops):
    """Counter-clockwise, conforming, no stray node, Euler's number of a plate with holes, loops that are the boundary."""
    assert (mesh.areas > 0).all()
    assert mesh.triangles.dtype == np.int32
    assert mesh.points.dtype == np.float64
    n = len(mesh.points)
    assert len(np.unique(mesh.triangles)) == n
    key, count = np.unique(edge_keys(mesh.triangles, n), return_counts=True)
    assert count.max() == 2
    assert n - len(key) + len(mesh.triangles) == 2 - loops
    boundary = set(key[count == 1].tolist())
    mine = set()
    for ring in (mesh.outline_nodes, *mesh.hole_nodes):
        e = np.sort(np.column_stack([ring, np.roll(ring, -1)]).astype(np.int64), axis=1)
        mine |= set((e[:, 0] * n + e[:, 1]).tolist())
    assert mine == boundary
    for edges in mesh.line_edges:
        e = np.sort(edges.astype(np.int64), axis=1)
        assert np.isin(e[:, 0] * n + e[:, 1], key).all()


def test_a_disc_at_even_size():
    mesh = mesh_region(circle(60.0), size=2.5)
    assert_sound(mesh, loops=1)
    radius = np.linalg.norm(mesh.points[mesh.outline_nodes], axis=1)
    np.testing.assert_allclose(radius, 60.0, atol=1e-6)
    k = len(mesh.outline_nodes)
    assert k == round(2 * np.pi * 60 / 2.5)
    assert mesh.areas.sum() == pytest.approx(0.5 * k * 60**2 * np.sin(2 * np.pi / k), rel=1e-7)  # the outline is a polygon itself
    assert mesh.angle_min_deg >= 25.0
    assert mesh.quality_min > 0.6
    assert 2.4 < mesh.edge_median < 2.6
    assert mesh.edge_min > 1.25
    assert mesh.edge_max < 4.0
    assert mesh.notes == ()
    assert mesh.figures()["triangles"] == len(mesh.triangles)


def test_same_input_same_bytes():
    first, second = (
        mesh_region(rounded(40, 12), holes=[circle(5, centre=(10, 3))], lines=[circle(28, repeat=True)], size=3.0) for _ in range(2)
    )
    assert first.points.tobytes() == second.points.tobytes()
    assert first.triangles.tobytes() == second.triangles.tobytes()
    assert [a.tobytes() for a in first.line_nodes] == [a.tobytes() for a in second.line_nodes]


def test_lines_and_holes_are_followed():
    mesh = mesh_region(
        rounded(50, 15),
        holes=[circle(6, centre=(-15, 10))],
        lines=[circle(36, repeat=True), np.array([[-5.0, -20.0], [5.0, 0.0], [20.0, 3.0]])],
        size=2.5,
    )
    assert_sound(mesh, loops=2)
    closed, bent = mesh.line_nodes
    assert len(closed) == len(mesh.line_edges[0]) == round(2 * np.pi * 36 / 2.5)
    np.testing.assert_allclose(np.linalg.norm(mesh.points[closed], axis=1), 36.0, atol=2e-4)
    assert len(bent) == len(mesh.line_edges[1]) + 1
    np.testing.assert_array_equal(mesh.points[bent[[0, -1]]], [[-5.0, -20.0], [20.0, 3.0]])
    assert (np.linalg.norm(mesh.points[bent] - (5.0, 0.0), axis=1) < 1e-9).sum() == 1  # the corner stays
    np.testing.assert_allclose(np.linalg.norm(mesh.points[mesh.hole_nodes[0]] - (-15, 10), axis=1), 6.0, atol=1e-5)
    assert mesh.angle_min_deg >= 25.0
    assert mesh.notes == ()


@pytest.mark.parametrize("hole", [False, True])
def test_a_quarter_has_its_nodes_on_the_axes(hole):
    holes = [circle(10.0)] if hole else []
    mesh = mesh_region(circle(60.0), holes=holes, lines=[circle(45.0, repeat=True)], size=3.0, quarter=True)
    assert_sound(mesh, loops=1)
    p = mesh.points
    assert p.min() == 0.0
    for axis in (0, 1):
        on = np.sort(p[p[:, axis] == 0.0][:, 1 - axis])
        assert on[0] == pytest.approx(10.0 if hole else 0.0, abs=5e-6)  # chords of 0.01 mm
        assert on[-1] == pytest.approx(60.0, abs=5e-6)  # chords of 0.01 mm
        assert np.diff(on).max() < 1.3 * 3.0
        assert not ((p[:, axis] != 0) & (np.abs(p[:, axis]) < 0.5)).any()
        assert np.abs(on - 45.0).min() < 5e-6  # the line ends on the axis
    line = p[mesh.line_nodes[0]]
    np.testing.assert_allclose(np.linalg.norm(line, axis=1), 45.0, atol=1e-3)
    assert {tuple(np.flatnonzero(q == 0.0)) for q in line[[0, -1]]} == {(0,), (1,)}
    whole = mesh_region(circle(60.0), holes=holes, size=3.0)
    assert 4 * mesh.areas.sum() == pytest.approx(whole.areas.sum(), rel=2e-3)
    assert mesh.angle_min_deg >= 25.0


def test_a_quarter_of_an_outline_that_has_no_vertex_on_the_axes():
    a = 0.123 + 2 * np.pi * np.arange(4001) / 4001
    turn = np.array([[np.cos(0.7), -np.sin(0.7)], [np.sin(0.7), np.cos(0.7)]])
    wavy = np.column_stack([(52 + 5 * np.cos(4 * a)) * np.cos(a), (47 + 5 * np.cos(4 * a)) * np.sin(a)])
    slanting = np.vstack([wavy, wavy[:1]]) * 0.8 @ turn.T * (0.9, 1.0) + (0.3, -0.2)
    mesh = mesh_region(wavy, lines=[slanting], size=3.0, quarter=True)
    assert_sound(mesh, loops=1)
    ends = mesh.points[mesh.line_nodes[0][[0, -1]]]
    assert (ends == 0.0).any(axis=1).all()
    assert mesh.points.min() == 0.0
    assert not ((mesh.points != 0) & (np.abs(mesh.points) < 0.5)).any()
    assert mesh.angle_min_deg >= 25.0


def test_exact_axes_when_the_cut_rounds():
    """Slanting edges meet the axes at places that rounding moves off them by less than a millionth of a micron."""
    kite = np.array([[31.7, -11.3], [27.1, 23.9], [-13.7, 37.3], [-29.9, -17.1]])
    cut, lines = quarter_of(shapely.Polygon(kite + 1e-13), [shapely.LineString([(20.0, -1.0), (21.0, 13.0), (-3.0, 17.0)])])
    p = np.array(cut.exterior.coords)
    assert ((p == 0) | (p > 1.0)).all()
    assert len(lines[0]) == 1
    skewed = shapely.transform(shapely.box(0, 0, 10, 10), lambda x: x + 3e-9 * (x == 0))
    p = np.array(quarter_of(skewed, [])[0].exterior.coords)
    assert p.min() == 0.0


def test_small_holes_and_odd_pieces_grade_their_surroundings():
    mesh = mesh_region(
        SQUARE,
        holes=[circle(1.0, centre=(10, 10))],
        size=6.0,
        lines=[np.array([[-20.0, -20.0], [0.0, -20.0], [0.0, -11.3], [20.0, -11.3]])],
    )
    assert_sound(mesh, loops=2)
    assert len(mesh.hole_nodes[0]) == 8
    assert mesh.angle_min_deg >= 25.0
    middle = mesh.points[mesh.triangles].mean(axis=1)
    size = np.sqrt(mesh.areas / 0.433)
    away = np.linalg.norm(middle - (10, 10), axis=1)
    ring = (away > 1) & (away < 4)
    assert size[ring].max() < 0.77 + 0.27 * 4 + 0.5
    # 8.7 mm between two corners at 6 mm wanted: two edges, not one of 8.7
    line = mesh.points[mesh.line_nodes[0]]
    upright = np.sort(line[np.abs(line[:, 0]) < 1e-9][:, 1])
    assert np.diff(upright).max() < 1.25 * 6.0
    step = np.linalg.norm(np.diff(line, axis=0), axis=1)
    assert np.maximum(step[1:] / step[:-1], step[:-1] / step[1:]).max() <= 1.35


def test_the_size_follows_a_field_and_grows_slowly():
    def wanted(x, y):
        return np.where(np.hypot(x - 10, y) < 8, 0.8, 6.0)

    mesh = mesh_region(SQUARE, lines=[np.array([[-50.0, 0.0], [50.0, 0.0]])], size=wanted)
    assert_sound(mesh, loops=1)
    along = np.sort(mesh.points[mesh.line_nodes[0]][:, 0])
    step = np.diff(along)
    ratio = np.maximum(step[1:] / step[:-1], step[:-1] / step[1:])
    assert ratio.max() <= 1.3
    assert step.max() > 4.5
    inner = np.abs(along[:-1] - 10) < 6
    assert 0.6 < step[inner].min() <= step[inner].max() < 0.9
    assert along[0] == -50.0
    assert along[-1] == 50.0
    assert mesh.angle_min_deg >= 25.0
    side = mesh.points[mesh.outline_nodes]
    step = np.linalg.norm(side - np.roll(side, -1, axis=0), axis=1)
    assert np.maximum(step / np.roll(step, 1), np.roll(step, 1) / step).max() <= 1.3


def test_a_line_too_near_the_edge_is_left_out_there_and_said_so():
    mesh = mesh_region(SQUARE, lines=[circle(49.5, repeat=True), 0.999 * np.vstack([SQUARE, SQUARE[:1]])], size=2.5)
    assert_sound(mesh, loops=1)
    assert len(mesh.notes) == 2
    assert "Line 0" in mesh.notes[0]
    line = mesh.points[mesh.line_nodes[0]]
    assert len(line) > 40
    assert np.abs(line).max() < 50 - 1.25
    assert len(mesh.line_nodes[1]) == 0  # all of it within half an edge
    assert mesh.angle_min_deg > 20.0


def test_tiny_segments_noise_and_corners():
    rng = np.random.default_rng(3)
    outline = rounded(40, 1.0) + rng.normal(0, 1e-4, (len(rounded(40, 1.0)), 2))
    nodes = resample(track(outline, True), everywhere(4.0))
    step = np.linalg.norm(nodes - np.roll(nodes, -1, axis=0), axis=1)
    assert step.min() > 3.0
    assert step.max() < 5.0
    corner = 39.0 + np.sqrt(0.5)  # the middle of a round of 1 mm, small against the edge: one node each
    for sign in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        assert np.linalg.norm(nodes - np.array(sign) * corner, axis=1).min() < 0.05
    # a true corner is met exactly, with vertices crowded on one side of it
    edge = np.vstack([np.linspace((-30, 0), (0, 0), 3001), [[0, 20], [-30, 20]]])
    nodes = resample(track(edge, True), everywhere(3.0))
    assert (np.linalg.norm(nodes, axis=1) == 0).any()


def test_a_smoothed_line_is_nearer_to_the_truth_than_its_vertices():
    rng = np.random.default_rng(5)
    rough = circle(30.0, 0.25)
    rough += rng.normal(0, 0.02, rough.shape)
    nodes = resample(track(rough, True), everywhere(2.5), smooth=True)
    off = np.abs(np.linalg.norm(nodes, axis=1) - 30.0)
    assert np.sqrt((off**2).mean()) < 0.012
    exact = resample(track(circle(30.0), True), everywhere(2.5), smooth=True)
    np.testing.assert_allclose(np.linalg.norm(exact, axis=1), 30.0, atol=1e-4)


def test_the_grid_limits_its_growth_like_a_cone():
    grid = size_grid(lambda x, y: np.where(np.hypot(x, y) < 1.0, 1.0, 50.0), np.array([-50.0, -50.0]), np.array([50.0, 50.0]), slope=0.2)
    a = np.linspace(0, 2 * np.pi, 73)
    for r in (10.0, 25.0, 45.0):
        found = grid.at(r * np.column_stack([np.cos(a), np.sin(a)]))
        np.testing.assert_allclose(found, 1.0 + 0.2 * (r - 0.8), rtol=0.05)
    assert slope_of(1.3) == pytest.approx(0.6 / 2.3)


def test_sizes_from_a_coarse_mesh():
    coarse = mesh_region(SQUARE, size=8.0)
    middle = coarse.points[coarse.triangles].mean(axis=1)
    wanted = np.where(np.linalg.norm(middle - (20, 20), axis=1) < 12, 1.5, 12.0)
    field = sizes_from(coarse.points, coarse.triangles, wanted)
    at = field(middle[:, 0], middle[:, 1])
    assert (at <= wanted + 1e-9).all()
    assert at.max() > 9.0
    p = coarse.points
    gap = np.abs(field.sizes[:, None] - field.sizes[None, :])
    away = np.linalg.norm(p[:, None] - p[None, :], axis=2)
    e = np.concatenate([coarse.triangles[:, [0, 1]], coarse.triangles[:, [1, 2]]])
    assert (gap[e[:, 0], e[:, 1]] <= 0.25 * away[e[:, 0], e[:, 1]] + 1e-9).all()
    assert field(np.array([90.0]), np.array([90.0]))[0] == pytest.approx(field(np.array([50.0]), np.array([50.0]))[0])
    fine = mesh_region(SQUARE, size=field)
    assert_sound(fine, loops=1)
    near = np.linalg.norm(fine.points[fine.triangles].mean(axis=1) - (20, 20), axis=1) < 8
    assert np.sqrt(fine.areas[near] / 0.433).mean() == pytest.approx(1.5, rel=0.1)
    for bad in (wanted[:-1], -wanted, wanted * np.nan):
        with pytest.raises(InputError):
            sizes_from(coarse.points, coarse.triangles, bad)


BOW = np.array([[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"outline": BOW}, "crosses or touches itself"),
        ({"outline": SQUARE[:2]}, "3 different points"),
        ({"outline": np.zeros((5, 3))}, "must be points"),
        ({"outline": np.array([[0, 0], [1, np.nan], [1, 1]])}, "finite numbers"),
        ({"outline": "square"}, "not a list of points"),
        ({"holes": [circle(5, centre=(49, 0))]}, "Hole 0 is not inside"),
        ({"holes": [circle(5), circle(5, centre=(8, 0))]}, "touches hole 0"),
        ({"holes": [BOW]}, "hole 0 crosses"),
        ({"lines": [np.array([[0, 0], [70.0, 10.0]])]}, "Line 0 leaves the region near x 50.00, y 7.14"),
        ({"lines": [circle(10, repeat=True)], "holes": [circle(12)]}, "Line 0 leaves the region"),
        ({"lines": [np.array([[0, 0], [20, 20], [20, 0], [0, 20.0]])]}, "Line 0 crosses itself"),
        ({"lines": [circle(10, repeat=True), np.array([[0, 0], [20.0, 1.0]])]}, "Line 1 touches line 0"),
        ({"size": 0.0}, "positive number"),
        ({"size": -1.0}, "positive number"),
        ({"size": float("nan")}, "positive number"),
        ({"size": lambda x, y: 0 * x}, "positive number"),
        ({"size": lambda x, y: x[:3]}, "shape"),
        ({"size": 0.1}, "the limit is 400000"),
        ({"size": 1e-6}, "far more than 400000"),
        ({"size": lambda x, y: np.full_like(x, 1e-3)}, "the limit is 400000"),
        ({"growth": 1.0}, "growth"),
        ({"outline": SQUARE - 200.0, "quarter": True}, "Nothing of the region"),
        ({"outline": circle(10.0), "size": 30.0}, "State a smaller size"),
    ],
)  # fmt: skip
def test_a_bad_request_is_refused_in_one_sentence(changes, words):
    asked = {"outline": SQUARE, "size": 5.0, **changes}
    with pytest.raises(InputError, match=words) as told:
        mesh_region(asked.pop("outline"), **asked)
    assert "\n" not in told.value.sentence


def test_a_quarter_in_two_pieces_is_refused():
    u = np.array([[1, 1], [-3, 1], [-3, 9], [1, 9], [9, 9], [9, 12], [-6, 12], [-6, -3], [9, -3], [9, 1.0]]) * 5.0
    mesh_region(u, size=5.0)
    with pytest.raises(InputError, match="2 pieces"):
        mesh_region(u, size=5.0, quarter=True)


def test_time_limit_cancel_and_a_dead_child(monkeypatch):
    with pytest.raises(SolveError, match="took longer than 0.01 s"):
        mesh_region(SQUARE, size=5.0, seconds=0.01)
    with pytest.raises(Cancelled):
        mesh_region(SQUARE, size=5.0, watch=Watch(cancelled=lambda: True))
    monkeypatch.setattr(plane_mesh, "_CHILD", "diewright.geometry.no_such_module")
    with pytest.raises(SolveError, match="without an answer"):
        mesh_region(SQUARE, size=5.0)


def test_a_wrong_filling_is_noticed(monkeypatch):
    true = plane_mesh._filled

    def one_less(*args):
        points, triangles = true(*args)
        return points, triangles[:-1]

    monkeypatch.setattr(plane_mesh, "_filled", one_less)
    with pytest.raises(SolveError, match="does not fill the region"):
        mesh_region(SQUARE, size=10.0)

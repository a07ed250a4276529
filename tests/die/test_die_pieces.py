"""The small steps behind the faces: finer triangles, flat rings, sections, gaps, bends."""

from __future__ import annotations

import math

import numpy as np
import pytest
from die_parts import circle_line, cup_normals, cup_profile, revolved, rounded, turns

from diewright.die.edge import find_edge
from diewright.die.finer import refined
from diewright.die.fit import plain, settle
from diewright.die.flat import even_line, flat_ring
from diewright.die.gaps import gap
from diewright.die.holder import Holder
from diewright.die.loft import loft
from diewright.die.parallel import parallel, smooth_normals
from diewright.die.profile import shoulder
from diewright.die.radii import tightest
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh


def quarter_pipe(radius: float, chords: int) -> TriMesh:
    at = np.linspace(0, math.pi / 2, chords + 1)
    rings = [np.column_stack([np.full(9, radius * np.sin(a)), np.linspace(0, 20, 9), np.full(9, -radius * np.cos(a))]) for a in at]
    return loft(rings, closed=False, up=False)


@pytest.mark.parametrize("chord", [0.05, 0.01])
def test_refined_pipe_is_round(chord: float) -> None:
    """26-degree chords on R = 10 (0.26 mm off) come within the chord error, points to 1e-9, and no crack opens."""
    pipe = quarter_pipe(10.0, 4)
    normals = np.column_stack([pipe.points[:, 0], np.zeros(len(pipe.points)), pipe.points[:, 2]]) / -10.0
    fine = refined(pipe, normals, chord, 30.0)
    r = np.hypot(fine.mesh.points[:, 0], fine.mesh.points[:, 2])
    assert np.abs(r - 10.0).max() < 1e-9
    middle = 0.5 * (fine.mesh.points[fine.mesh.edges[:, 0]] + fine.mesh.points[fine.mesh.edges[:, 1]])
    assert (10.0 - np.hypot(middle[:, 0], middle[:, 2])).max() <= chord + 1e-9
    assert fine.sagitta <= chord
    assert len(fine.mesh.boundary_loops) == 1
    assert np.allclose(fine.normals, np.column_stack([fine.mesh.points[:, 0], 0 * r, fine.mesh.points[:, 2]]) / -10.0, atol=1e-9)
    assert np.array_equal(fine.mesh.points[: len(pipe.points)], pipe.points)
    area = np.bincount(fine.parent, weights=fine.mesh.areas, minlength=len(pipe.triangles))
    assert (area >= pipe.areas - 1e-9).all()  # every given triangle is covered by its own children


def test_flat_stays_flat_and_sharp_stays_put() -> None:
    pipe = quarter_pipe(10.0, 4)
    assert len(refined(pipe, np.tile([0.0, 0.0, 0.0], (len(pipe.points), 1)), 0.01, 5.0).mesh.triangles) == len(pipe.triangles)
    points, cells = flat_ring(circle_line(10.0), circle_line(30.0), 4.0)
    plate = TriMesh(np.column_stack([points, np.zeros(len(points))]), cells)
    assert len(refined(plate, smooth_normals(plate), 0.001, 1.0).mesh.triangles) == len(cells)


def test_too_fine_is_refused() -> None:
    pipe = quarter_pipe(10.0, 4)
    normals = np.column_stack([pipe.points[:, 0], np.zeros(len(pipe.points)), pipe.points[:, 2]]) / -10.0
    with pytest.raises(SolveError, match="more than"):
        refined(pipe, normals, 1e-9, 1.0, rounds=30)


@pytest.mark.parametrize("spacing", [2.0, 5.0])
def test_flat_ring_keeps_both_lines(spacing: float) -> None:
    inner, outer = circle_line(20.0, 40), even_line(rounded([(-50, -40), (50, -40), (50, 40), (-50, 40)], 15.0), spacing)
    points, cells = flat_ring(inner, outer, spacing)
    ring = TriMesh(np.column_stack([points, np.zeros(len(points))]), cells)
    assert (ring.normals[:, 2] == 1.0).all()
    assert [len(loop) for loop in ring.boundary_loops] == [len(outer), 40]
    x, y = outer.T
    a, b = inner.T
    area = 0.5 * (np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) - np.sum(a * np.roll(b, -1) - b * np.roll(a, -1)))
    assert ring.area == pytest.approx(area, rel=1e-9)


def test_flat_ring_with_uneven_lines_and_with_crossing_ones() -> None:
    inner = np.array([[-20.0, -1.0], [20.0, -1.0], [20.0, 1.0], [0.0, 1.0], [-20.0, 1.0]])
    points, cells = flat_ring(inner, even_line(circle_line(22.0), 3.0), 3.0)
    ring = TriMesh(np.column_stack([points, np.zeros(len(points))]), cells)
    assert len(ring.boundary_loops) == 2
    with pytest.raises(SolveError, match="cannot be laid out"):
        flat_ring(circle_line(20.0), circle_line(10.0) + np.array([15.0, 0.0]), 2.0)


@pytest.mark.parametrize("lean", [0.0, 15.0, 45.0])
def test_section_is_tangent_at_both_ends(lean: float) -> None:
    part = revolved(cup_profile(30.0, 40.0, 8.0, lean=lean))
    edge = find_edge(part, part.boundary_loops[0])
    assert np.degrees(edge.elevation) == pytest.approx(90.0 - lean, abs=0.3)
    lead = plain(edge, 5.0, 8.5)
    holder = settle(edge, lead, Holder(0.0))
    strip = shoulder(edge.points, edge.outward, edge.elevation, lead.land, lead.radius, holder, 0.01)
    section, elevation = strip.points, strip.elevation
    assert np.allclose(section[:, -1, 1], holder.level - edge.points[:, 2])
    assert np.allclose(elevation[:, 0], edge.elevation)
    assert np.allclose(elevation[:, -1], 0.0)
    step = np.diff(section, axis=1)
    assert np.allclose(np.arctan2(step[:, 0, 1], step[:, 0, 0]), edge.elevation)
    end = section[:, -1] - section[:, -2]
    assert (np.degrees(np.arctan2(end[:, 1], end[:, 0])) < 3.1).all()


def test_parallel_of_a_sphere_and_of_a_box_corner() -> None:
    cap = revolved(np.column_stack([20 * np.sin(np.linspace(0, 1.2, 30)), -20 * np.cos(np.linspace(0, 1.2, 30))]))
    normals = smooth_normals(cap)
    moved = parallel(cap, normals, np.full(len(cap.points), 2.0))
    inside = np.hypot(*cap.points[:, :2].T) < 18.0
    assert np.linalg.norm(moved.mesh.points[inside], axis=1) == pytest.approx(18.0, abs=0.01)
    assert not moved.folded.any()
    assert parallel(cap, normals, np.full(len(cap.points), 25.0)).folded.all()
    corner = TriMesh(
        np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float), np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1]], dtype=np.int32)
    )
    step = parallel(corner, smooth_normals(corner), np.full(4, 0.1)).mesh.points[0]
    assert step == pytest.approx([0.1, 0.1, 0.1], abs=1e-4)


def test_gap_has_a_sign() -> None:
    points, cells = flat_ring(circle_line(5.0), circle_line(30.0), 4.0)
    plate = TriMesh(np.column_stack([points, np.zeros(len(points))]), cells)
    found = gap(np.array([[10.0, 3.0, 0.7], [10.0, 3.0, -0.2], [20.0, 0.0, 1.5]]), plate)
    assert found.value == pytest.approx([0.7, -0.2, 1.5])
    assert (found.least, found.most) == pytest.approx((-0.2, 1.5))


def test_tightest_bends_of_a_cup() -> None:
    part = revolved(cup_profile(30.0, 40.0, 8.0, flange=15.0, shoulder=7.0))
    normals = cup_normals(part, 30.0, 40.0, 8.0, 7.0)
    every, all_points = np.ones(len(part.triangles), dtype=bool), np.ones(len(part.points), dtype=bool)
    hollow, ridge = (tightest(part, normals, every, all_points, h) for h in (True, False))
    assert hollow is not None
    assert ridge is not None
    assert hollow.radius == pytest.approx(8.0, abs=1e-9)
    assert ridge.radius == pytest.approx(7.0, abs=1e-9)
    assert ridge.at[2] > -7.0
    flat = part.centroids[:, 2] < -39.99
    assert tightest(part, normals, flat, all_points, False) is None
    assert turns(part).max() > 10.0

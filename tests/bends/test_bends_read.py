"""Flanges read off the draw shape: lengths of the mesh against the lengths it was made with."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shape_parts import prismatic, round_about, section, shaped, swept, tipping_of

from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.trim.bends.curve import chains, triples
from diewright.trim.bends.read import read_lines

CHANNEL = [("line", 60.0), ("arc", 5.0, 80.0), ("line", 40.0), ("arc", 4.0, -80.0), ("line", 25.0), ("arc", 3.0, 90.0), ("line", 20.0)]


def lines(tip, *flange, **shape):
    stated = parse({"shape": {"flange": list(flange), **shape}}).shape.flange
    return read_lines(shaped(tip, flange=list(flange), **shape), tip, stated, 1.0)


def test_a_straight_flange_is_as_long_and_as_high_as_it_was_made():
    mesh, normal, face = prismatic(CHANNEL)
    (a,) = lines(tipping_of(mesh, normal, face), {"face": 6})
    assert a.length == pytest.approx(80.0, rel=1e-9)
    assert a.leg == pytest.approx((20.0, 20.0), rel=1e-9)
    assert len(a.curves) == 0
    assert a.off(90.0) == pytest.approx(0.0, abs=1e-9)
    assert a.off(-60.0) == pytest.approx(30.0)
    assert a.hole == math.inf


def test_a_point_and_a_second_copy_find_the_same():
    mesh, normal, face = prismatic(CHANNEL)
    tip = tipping_of(mesh, normal, face)
    p = mesh.centroids[np.flatnonzero(face == 6)[7]]
    (a,) = lines(tip, dict(zip("xyz", p.tolist(), strict=True)))
    (b,) = lines(tip, {"face": 6}, copies="turned", side=0.0, spacing=60.0)
    assert a.length == pytest.approx(b.length)
    assert a.leg == pytest.approx(b.leg)


def test_a_draw_shape_that_was_laid_elsewhere_is_laid_back():
    mesh, normal, face = prismatic(CHANNEL)
    tip = tipping_of(mesh, normal, face)
    stated = parse({"shape": {"flange": [{"face": 6}]}}).shape.flange
    shape = shaped(tip, flange=[{"face": 6}])
    place = np.array([[0.0, -1.0, 0.0, 30.0], [1.0, 0.0, 0.0, -5.0], [0.0, 0.0, 1.0, 2.0], [0.0, 0.0, 0.0, 1.0]])
    part = shape.meshes["part"]
    moved = FieldMesh(TriMesh(part.mesh.points @ place[:3, :3].T + place[:3, 3], part.mesh.triangles), part.point, part.cell)
    (a,) = read_lines(Result(shape.values, meshes={"part": moved}, arrays={**shape.arrays, "copies": place[None]}), tip, stated, 1.0)
    assert a.length == pytest.approx(80.0, rel=1e-9)
    assert a.leg == pytest.approx((20.0, 20.0), rel=1e-9)


def test_a_flange_that_hangs_on_another_is_kept_apart():
    mesh, normal, face = prismatic(CHANNEL)
    inner, outer = lines(tipping_of(mesh, normal, face), {"face": 4}, {"face": 6})
    assert outer.leg == pytest.approx((20.0, 20.0), rel=1e-9)
    assert inner.length == pytest.approx(80.0, rel=1e-9)
    assert inner.at[:, 0].max() < outer.at[:, 0].min()


def test_a_mesh_without_cad_faces_is_read_by_its_turn():
    mesh, normal, face = prismatic([("line", 60.0), ("arc", 3.0, 90.0), ("line", 20.0)], chord=1.5)
    tip = tipping_of(mesh, normal, face)
    stated = parse({"shape": {"flange": [{"face": 2}]}}).shape.flange
    shape = shaped(tip, flange=[{"face": 2}])
    point = parse({"shape": {"flange": [dict(zip("xyz", mesh.centroids[face == 2][3].tolist(), strict=True))]}}).shape.flange
    tip.meshes["part"].cell["face"] = np.zeros_like(face)
    (a,) = read_lines(shape, tip, point, 1.0)
    assert a.leg[0] == pytest.approx(20.0, abs=3.0 * math.radians(3.0))
    with pytest.raises(InputError, match="not found"):
        read_lines(shape, tip, stated, 1.0)


@pytest.mark.parametrize(("way", "kind", "start", "radius"), [(1.0, "shrink", 60.0, 100.0), (-1.0, "stretch", 140.0, 100.0)])
def test_a_curved_line_has_its_radius_and_its_sense(way, kind, start, radius):
    mesh, normal, face = round_about(
        [("line", 40.0), ("arc", 3.0, 90.0 * way), ("line", 8.0)], start=(start, 0.0), heading=0.0 if way > 0 else 180.0
    )
    (a,) = lines(tipping_of(mesh, normal, face), {"face": 2})
    assert a.curves[:, 0] == pytest.approx(radius, rel=1e-6)
    assert a.curves[:, 1] == pytest.approx(1.0 if kind == "stretch" else -1.0)
    assert a.curves[:, 2] == pytest.approx(0.0, abs=1e-6)
    assert a.off(0.0) < 5.0  # a quarter of a circle lies along every direction somewhere
    assert a.leg[1] == pytest.approx(8.0, rel=1e-6)


@pytest.mark.parametrize(("way", "kind"), [(1.0, "shrink"), (-1.0, "stretch")])
def test_a_line_with_a_corner_is_as_curved_as_its_corner(way, kind):
    """Two straight stretches of 60 mm and a corner of 30 mm between them, the flange outside of it or inside."""
    turn = np.linspace(0.0, np.pi / 2, 25)
    bent = [(30.0 * np.array([-np.sin(a), np.cos(a)]), -a) for a in turn]
    path = (
        [(np.array([60.0 - 4.0 * i, 30.0]), 0.0) for i in range(15)]
        + bent
        + [(np.array([-30.0, -4.0 * i]), -np.pi / 2) for i in range(1, 16)]
    )

    def place(k):
        p, a = path[k]
        return np.array([*p, 0.0]), way * np.array([np.sin(a), np.cos(a), 0.0]), np.array([0.0, 0.0, 1.0])

    section_of = section([("line", 10.0), ("arc", 3.0, 90.0), ("line", 8.0)], start=(-10.0, 0.0))
    (a,) = lines(tipping_of(*swept(*section_of, place, len(path))), {"face": 2})
    assert a.curves[:, 0].min() == pytest.approx(30.0, rel=1e-6)
    assert a.curves[np.argmin(a.curves[:, 0]), 1] == pytest.approx(1.0 if kind == "stretch" else -1.0)
    assert a.length == pytest.approx(120.0 + 15.0 * math.pi, rel=0.03)


@pytest.mark.parametrize(("turn", "over"), [(-80.0, -1.0), (80.0, 1.0)])
def test_the_end_of_a_tube_is_turned_out_or_in(turn, over):
    """The flange hangs on an upright wall: its bend line turns about an axis along that wall."""
    mesh, normal, face = round_about([("line", 30.0), ("arc", 3.0, turn), ("line", 8.0)], start=(50.0, 0.0), heading=90.0)
    (a,) = lines(tipping_of(mesh, normal, face), {"face": 2})
    assert a.curves[:, 0] == pytest.approx(50.0, rel=1e-6)
    assert a.curves[:, 1] == pytest.approx(0.0, abs=1e-6)
    assert a.curves[:, 2] == pytest.approx(over, abs=1e-3)


def test_lines_are_walked_whether_they_close_or_not():
    edges = np.array([[0, 1], [2, 1], [2, 3], [3, 0], [7, 8], [9, 8]])
    found = {(frozenset(line.tolist()), closed) for line, closed in chains(edges)}
    assert found == {(frozenset({0, 1, 2, 3}), True), (frozenset({7, 8, 9}), False)}
    ring = np.array([[np.cos(a), np.sin(a), 0.0] for a in np.arange(12) * np.pi / 6])
    assert len(triples(ring, True, 0.5)) == 12
    assert triples(ring, True, 0.5)[0] == (11, 0, 1)
    assert triples(ring[:5], False, 0.6) == [(0, 2, 4)]
    assert triples(ring[:3], False, 5.0) == []


def test_the_nearest_hole_is_found():
    mesh, normal, face = prismatic([("line", 60.0), ("arc", 3.0, 90.0), ("line", 20.0)])
    loop = np.flatnonzero(np.linalg.norm(mesh.points - np.array([40.0, 40.0, 0.0]), axis=1) < 6.0)
    (a,) = lines(tipping_of(mesh, normal, face, {1: loop}), {"face": 2})
    assert a.hole == pytest.approx(60.0 - mesh.points[loop, 0].max(), abs=1e-9)

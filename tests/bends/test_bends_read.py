"""Flanges read off the draw shape: lengths of the mesh against the lengths it was made with."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shape_parts import prismatic, round_about, shaped, tipping_of

from diewright.errors import InputError
from diewright.job.schema import parse
from diewright.trim.bends_read import read_lines

CHANNEL = [("line", 60.0), ("arc", 5.0, 80.0), ("line", 40.0), ("arc", 4.0, -80.0), ("line", 25.0), ("arc", 3.0, 90.0), ("line", 20.0)]


def lines(tip, *flange, **shape):
    stated = parse({"shape": {"flange": list(flange), **shape}}).shape.flange
    return read_lines(shaped(tip, flange=list(flange), **shape), tip, stated)


def test_a_straight_flange_is_as_long_and_as_high_as_it_was_made():
    mesh, normal, face = prismatic(CHANNEL)
    (a,) = lines(tipping_of(mesh, normal, face), {"face": 6})
    assert a.length == pytest.approx(80.0, rel=1e-9)
    assert a.leg == pytest.approx((20.0, 20.0), rel=1e-9)
    assert a.kind == "straight"
    assert abs(a.bearing) % 180.0 == pytest.approx(90.0)
    assert a.hole == math.inf


def test_a_point_and_a_second_copy_find_the_same():
    mesh, normal, face = prismatic(CHANNEL)
    tip = tipping_of(mesh, normal, face)
    p = mesh.centroids[np.flatnonzero(face == 6)[7]]
    (a,) = lines(tip, dict(zip("xyz", p.tolist(), strict=True)))
    (b,) = lines(tip, {"face": 6}, copies="turned", side=0.0, spacing=60.0)
    assert a.length == pytest.approx(b.length)
    assert a.leg == pytest.approx(b.leg)


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
    (a,) = read_lines(shape, tip, point)
    assert a.leg[0] == pytest.approx(20.0, abs=3.0 * math.radians(3.0))
    with pytest.raises(InputError, match="not found"):
        read_lines(shape, tip, stated)


@pytest.mark.parametrize(("way", "kind", "start", "radius"), [(1.0, "shrink", 60.0, 100.0), (-1.0, "stretch", 140.0, 100.0)])
def test_a_curved_line_has_its_radius_and_its_sense(way, kind, start, radius):
    mesh, normal, face = round_about(
        [("line", 40.0), ("arc", 3.0, 90.0 * way), ("line", 8.0)], start=(start, 0.0), heading=0.0 if way > 0 else 180.0
    )
    (a,) = lines(tipping_of(mesh, normal, face), {"face": 2})
    assert a.kind == kind
    assert a.radius == pytest.approx(radius, rel=1e-3)
    assert a.leg[1] == pytest.approx(8.0, rel=1e-6)


def test_the_nearest_hole_is_found():
    mesh, normal, face = prismatic([("line", 60.0), ("arc", 3.0, 90.0), ("line", 20.0)])
    loop = np.flatnonzero(np.linalg.norm(mesh.points - np.array([40.0, 40.0, 0.0]), axis=1) < 6.0)
    (a,) = lines(tipping_of(mesh, normal, face, {1: loop}), {"face": 2})
    assert a.hole == pytest.approx(60.0 - mesh.points[loop, 0].max(), abs=1e-9)

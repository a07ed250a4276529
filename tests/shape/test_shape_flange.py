"""Flanges drawn open: lengths against closed forms, what moves and what does not, and every refusal."""

import math

import numpy as np
import pytest
from shape_parts import prismatic, round_about, section, shaped, tipping_of

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.shape.unroll import stretch

CHANNEL = [("line", 60.0), ("arc", 5.0, 80.0), ("line", 40.0), ("arc", 4.0, -80.0), ("line", 25.0), ("arc", 3.0, 90.0), ("line", 20.0)]
LIP = 6


def channel(**more):
    mesh, normal, face = prismatic(CHANNEL, **more)
    return mesh, tipping_of(mesh, normal, face)


def test_a_right_angle_return_flange_opens_to_its_developed_length():
    mesh, tip = channel()
    r = shaped(tip, flange=[{"face": LIP}])
    points = r.meshes["part"].mesh.points
    end = section(CHANNEL[:5])[0][-1]
    length = points[:, 0].max() - end[0]
    assert length == pytest.approx(3.0 * math.pi / 2 + 20.0, abs=1e-9)
    moved = np.linalg.norm(points - mesh.points, axis=1) > 1e-12
    assert not moved[np.unique(mesh.triangles[tip.meshes["part"].cell["face"] < 5])].any()
    assert np.ptp(points[moved, 2]) < 1e-9  # level, as the surface it hangs on
    found = r.values["flanges"][0]
    assert found["how"] == "straight"
    assert found["strain_max_pct"] < 1e-9
    assert found["bend_radius"] == pytest.approx(3.0, abs=1e-9)
    assert found["developed"] == pytest.approx(3.0 * math.pi / 2, abs=1e-9)
    assert found["chord_error"] == pytest.approx(3.0 * (1 - math.cos(math.radians(3.75))), rel=1e-6)
    # every length on the flat and on what is not bent stays, by the mesh alone
    flat = tip.meshes["part"].cell["face"] != 5
    assert stretch(mesh.points, points, mesh.triangles[flat]).max() < 1e-9
    assert stretch(mesh.points, points, mesh.triangles).max() == pytest.approx(math.log(0.5 * math.radians(7.5) / math.sin(0.5 * math.radians(7.5))), rel=1e-6)  # fmt: skip


@pytest.mark.parametrize("angle", [45.0, -30.0, 89.999999999, 120.0])
def test_a_stated_angle_is_kept_and_the_arc_with_it(angle):
    mesh, tip = channel()
    r = shaped(tip, flange=[{"face": LIP, "angle": angle}])
    shape, bend, lip = r.meshes["part"], tip.meshes["part"].cell["face"] == 5, tip.meshes["part"].cell["face"] == LIP
    normal = TriMesh(shape.mesh.points, shape.mesh.triangles[lip]).normals
    turned = np.degrees(np.arctan2(-normal[:, 0], normal[:, 2]))
    assert turned == pytest.approx(np.full(len(turned), angle), abs=1e-6)
    assert r.values["flanges"][0]["strain_max_pct"] < 1e-9
    # points of the opened bend lie on a circle of R beta / angle, and its exact normals are square to it
    p = shape.mesh.points[np.unique(mesh.triangles[bend])]
    radius = 3.0 * 90.0 / abs(angle)
    end = section(CHANNEL[:5])[0][-1]
    centre = end + np.array([0.0, math.copysign(radius, angle)])
    assert np.hypot(*(p[:, [0, 2]] - centre).T) == pytest.approx(np.full(len(p), radius), abs=1e-7)
    n = shape.point["normal"][np.unique(mesh.triangles[bend])]
    out = (centre - p[:, [0, 2]]) / radius * math.copysign(1.0, angle)
    assert n[:, [0, 2]] == pytest.approx(out, abs=1e-7)


def test_a_point_on_the_flange_finds_the_same_as_its_face():
    mesh, tip = channel()
    at = mesh.points[np.argmax(mesh.points[:, 2])] - np.array([0.0, 0.0, 6.0])
    by_point = shaped(tip, flange=[{"x": at[0] + 0.4, "y": 33.0, "z": at[2]}])
    by_face = shaped(tip, flange=[{"face": LIP}])
    assert np.array_equal(by_point.meshes["part"].mesh.points, by_face.meshes["part"].mesh.points)


def test_a_flange_that_hangs_on_another_opens_first():
    """Lip and brim both opened: one plane, as long as all their arcs and lines; in whichever order they are named."""
    _mesh, tip = channel()
    end = section(CHANNEL[:3])[0][-1]
    for order in ([LIP, 4], [4, LIP]):
        r = shaped(tip, flange=[{"face": f} for f in order])
        points = r.meshes["part"].mesh.points
        along = np.array([math.cos(math.radians(80.0)), math.sin(math.radians(80.0))])
        most = ((points[:, [0, 2]] - end) @ along).max()
        assert most == pytest.approx(4.0 * math.radians(80.0) + 25.0 + 3.0 * math.pi / 2 + 20.0, abs=1e-9)


def test_the_fields_follow():
    mesh, tip = channel()
    loop = np.flatnonzero(mesh.points[:, 2] > 58.0)[:12]
    tip = tipping_of(mesh, tip.meshes["part"].point["normal"], tip.meshes["part"].cell["face"], {3: loop})
    r = shaped(tip, flange=[{"face": LIP}])
    shape = r.meshes["part"]
    assert set(shape.point) == set(tip.meshes["part"].point)
    assert set(shape.cell) == {*tip.meshes["part"].cell, "copy", "of"}
    z = shape.mesh.points[:, 2]
    assert np.array_equal(shape.point["depth"], z.max() - z)
    assert r.values["depth"] == pytest.approx(np.ptp(z))
    lip = tip.meshes["part"].cell["face"] == LIP
    assert tip.meshes["part"].cell["draft_deg"][lip] == pytest.approx(np.zeros(lip.sum()), abs=1e-9)
    assert shape.cell["draft_deg"][lip] == pytest.approx(np.full(lip.sum(), 90.0), abs=1e-5)
    assert (shape.cell["of"] == np.arange(len(lip))).all()
    assert (shape.cell["copy"] == 0).all()
    hole = r.values["holes"][0]
    ring = shape.mesh.points[r.arrays["hole_3"]]
    assert hole["centre"] == pytest.approx(ring.mean(axis=0).tolist(), abs=1e-9)
    assert abs(hole["axis"][2]) < 1e-9
    edges = r.arrays["feature_edges"]
    assert edges == pytest.approx(shape.mesh.points[mesh.boundary_edges])


def test_a_straight_bend_of_two_radii_opens_without_strain_short_by_its_chords():
    steps = [("line", 30.0), ("arc", 3.0, 50.0), ("arc", 6.0, 40.0), ("line", 20.0)]
    mesh, normal, face = prismatic(steps)
    r = shaped(tipping_of(mesh, normal, face), flange=[{"face": 3}])
    points, found = r.meshes["part"].mesh.points, r.values["flanges"][0]
    assert found["how"] == "curved"
    assert found["strain_max_pct"] < 1e-6
    whole = 30.0 + 3.0 * math.radians(50.0) + 6.0 * math.radians(40.0) + 20.0
    section_points = section(steps)[0]
    chords = np.linalg.norm(np.diff(section_points, axis=0), axis=1).sum()
    assert points[:, 0].max() == pytest.approx(chords, abs=1e-9)
    assert 0 < whole - chords < 5e-3
    assert np.abs(points[:, 2]).max() < 1e-9


@pytest.mark.parametrize("height", [2.0, 8.0])
def test_a_shrink_flange_on_a_curved_line_stretches_by_about_its_hoop(height):
    """Opened about a root of 100 mm the rim of radius 103 mm becomes one of about 103 + r pi/2 - r + h: the middle of the sector is far from its free ends."""
    mesh, normal, face = round_about([("line", 40.0), ("arc", 3.0, 90.0), ("line", height)], start=(60.0, 0.0))
    r = shaped(tipping_of(mesh, normal, face), flange=[{"face": 2}])
    points = r.meshes["part"].mesh.points
    assert np.abs(points[:, 2]).max() < 1e-9
    at = np.degrees(np.arctan2(mesh.points[:, 1], mesh.points[:, 0]))
    rim = (np.abs(at - 45.0) < 1e-6) & (mesh.points[:, 2] > 3.0 + height - 1e-6)
    out = float(np.hypot(*points[rim, :2].T)[0])
    hoop = math.log(out / 103.0)
    cells = np.abs(np.degrees(np.arctan2(*mesh.centroids[:, 1::-1].T)) - 45.0) < 6.0
    worst = stretch(mesh.points, points, mesh.triangles[cells & (mesh.centroids[:, 2] > 3.0 + 0.6 * height)]).max()
    assert worst == pytest.approx(hoop, abs=0.012)
    assert out == pytest.approx(100.0 + 3.0 * math.pi / 2 + height, abs=0.06 * height + 0.35)
    f = r.findings[0]
    assert f.key == "shape.flange.1"
    assert f.severity == "attend"
    assert f.value == pytest.approx(r.values["flanges"][0]["strain_max_pct"])
    assert f.value > 100.0 * hoop - 0.5
    assert f.limit == 1.0


def test_what_is_no_flange_is_refused_in_one_sentence():
    _mesh, tip = channel()
    with pytest.raises(InputError, match="off the part") as e:
        shaped(tip, flange=[{"x": 0.0, "y": 40.0, "z": 30.0}])
    assert "nearest one" in e.value.help
    assert e.value.where == "shape.flange.0"
    with pytest.raises(InputError, match="on the body of the part"):
        shaped(tip, flange=[{"x": 20.0, "y": 40.0, "z": 0.0}])
    with pytest.raises(InputError, match="no CAD face 77: it has faces 0 to 6"):
        shaped(tip, flange=[{"face": 77}])
    with pytest.raises(InputError, match="needs a point"):
        shaped(tip, flange=[{"x": 1.0, "y": 2.0}])
    with pytest.raises(InputError, match="flanges 1 and 2 are the same one"):
        shaped(tip, flange=[{"face": LIP}, {"face": LIP}])


def test_a_flange_without_a_bend_is_refused():
    mesh, normal, face = prismatic([("line", 60.0), ("arc", 200.0, 20.0), ("line", 20.0)])
    with pytest.raises(InputError, match="no bend line"):
        shaped(tipping_of(mesh, normal, face), flange=[{"face": 2}])


def corner_part(notch):
    """An L of plate with a flange up on each of the two edges of its inner corner; each flange begins ``notch`` mm from the corner."""
    parts = []
    for turn in (0, 1):
        mesh, normal, face = prismatic([("line", 30.0), ("arc", 2.0, 90.0), ("line", 18.0)], length=60.0, count=13)
        # the first one's flange runs along y at x = 30; the second is its mirror image in the diagonal
        shift = np.array([-30.0, notch, 0.0])
        p, n = mesh.points + shift, normal
        t = mesh.triangles
        if turn:
            p, n, t = p[:, [1, 0, 2]], n[:, [1, 0, 2]], t[:, ::-1]
        parts.append((p, n, t, face + 10 * turn))
    # the plate that joins them: a square at the corner's far side, its edge points shared with both floors
    (p0, n0, t0, f0), (p1, n1, t1, f1) = parts
    offset = len(p0)
    base = offset + len(p1)
    x = np.linspace(-30.0, 0.0, 7)
    ring = np.concatenate([np.column_stack([x, 0 * x + notch]), np.column_stack([0 * x + notch, x[::-1]])])
    corner = np.array([[-30.0, -30.0, 0.0], *np.column_stack([ring, np.zeros(len(ring))])])
    fan = base + np.array([[0, k + 1, k] for k in range(1, len(ring))])
    points = np.concatenate([p0, p1, corner])
    cells = np.concatenate([t0, t1 + offset, fan])
    _, first, number = np.unique(np.round(points, 6), axis=0, return_index=True, return_inverse=True)
    mesh = TriMesh(points[first], number.ravel()[cells])
    normal = np.concatenate([n0, n1, np.tile([0.0, 0.0, 1.0], (len(corner), 1))])[first]
    return tipping_of(mesh, normal, np.concatenate([f0, f1, np.full(len(fan), 30)]))


def test_two_flanges_at_an_inner_corner_that_collide_are_named_with_the_place():
    tip = corner_part(5.0)
    with pytest.raises(InputError, match="flanges 1 and 2 share a corner") as e:
        shaped(tip, flange=[{"face": 2}, {"face": 12}])
    assert e.value.where == "shape.flange.1"
    room = shaped(corner_part(40.0), flange=[{"face": 2}, {"face": 12}])
    assert [f["how"] for f in room.values["flanges"]] == ["straight", "straight"]


def test_nothing_stated_passes_on_bit_for_bit():
    _mesh, tip = channel()
    r = shaped(tip)
    given, got = tip.meshes["part"], r.meshes["part"]
    assert got.mesh is given.mesh
    assert not r.values["changed"]
    assert r.values["parts"] == 1
    assert not r.findings
    assert not r.figures
    assert all(got.point[k] is given.point[k] for k in given.point)
    assert all(got.cell[k] is given.cell[k] for k in given.cell)
    assert all(r.arrays[k] is tip.arrays[k] for k in tip.arrays)
    assert all(r.values[k] == tip.values[k] for k in ("depth", "rotation", "shift", "holes", "plan_bbox"))

"""Cut lines on parts of known shape: where they lie, how they lean, where they lie on the flat."""

from __future__ import annotations

import math

import numpy as np
import pytest
from trim_parts import bent, channel, finding, grid, keys, trim, upstream

from diewright.geometry.mesh import TriMesh
from diewright.trim.lines.angle import DOWN, lean_deg, middle_axis, pieces
from diewright.trim.lines.mapping import to_flat, to_part
from diewright.trim.lines.project import axes, lay
from diewright.trim.lines.split import split_at
from diewright.trim.lines.walk import Walker

ANGLE, RADIUS, HALF = math.radians(60.0), 12.0, 30.0


@pytest.fixture(scope="module")
def parts() -> tuple[TriMesh, TriMesh]:
    return channel()


@pytest.fixture(scope="module")
def tilted() -> tuple[TriMesh, TriMesh]:
    """A flat plate that rises by 20 degrees towards +x."""
    flat = grid(np.linspace(-50, 50, 21), np.linspace(-40, 40, 17))
    c, s = math.cos(math.radians(20)), math.sin(math.radians(20))
    p = flat.points
    return TriMesh(np.column_stack([c * p[:, 0], p[:, 1], s * p[:, 0]]), flat.triangles), flat


def test_a_circle_in_plan_lies_on_a_slope_as_the_ellipse_it_is(tilted):
    r = trim(upstream(*tilted), [{"x": 5.0, "y": -3.0, "diameter": 20.0}])
    line, flat = r.arrays["cut_line_1"], r.arrays["flat_line_1"]
    c = math.cos(math.radians(20))
    assert np.hypot(line[:, 0] - 5.0, line[:, 1] + 3.0) == pytest.approx(10.0, abs=0.0021)
    assert line[:, 2] == pytest.approx(line[:, 0] * math.tan(math.radians(20)), abs=1e-9)
    assert flat[:, 0] == pytest.approx(line[:, 0] / c, abs=1e-9)
    assert flat[:, 1] == pytest.approx(line[:, 1], abs=1e-9)
    cut = r.values["cuts"][1]
    assert cut["lean_max_deg"] == pytest.approx(20.0, abs=1e-6)
    assert cut["area_mm2"] == pytest.approx(100 * math.pi, rel=1e-3)
    a, b = 10 / c, 10.0
    h = ((a - b) / (a + b)) ** 2
    assert cut["length_mm"] == pytest.approx(math.pi * (a + b) * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h))), rel=1e-3)  # Ramanujan 1914
    assert (cut["operation"], cut["cam_deg"], cut["diameter"], cut["kind"]) == ("first trim", 0.0, 20.0, "pierce")
    assert r.arrays["thickness_line_1"] == pytest.approx(0.9)
    assert finding(r, "trim.care.line_1").value == pytest.approx(20.0, abs=1e-6)


def test_a_line_on_the_wall_gets_the_cam_that_meets_it_squarely(parts):
    x, _ = bent(np.array([HALF + RADIUS * ANGLE + 12.0]), ANGLE, RADIUS, HALF)
    r = trim(upstream(*parts), [{"x": x[0], "y": 0.0, "diameter": 6.0}])
    cut = r.values["cuts"][1]
    assert cut["lean_straight_deg"] == pytest.approx(60.0, abs=1e-4)
    assert cut["lean_max_deg"] == pytest.approx(0.0, abs=1e-3)
    assert cut["operation"] == "cam"
    assert cut["cam_deg"] == pytest.approx(60.0, abs=1e-3)
    assert cut["direction"] == pytest.approx([math.sin(ANGLE), 0.0, -math.cos(ANGLE)], abs=1e-4)
    assert {"trim.cam.line_1"} <= keys(r)


def test_a_stated_cam_makes_a_round_hole_in_the_wall(parts):
    x, z = (float(v[0]) for v in bent(np.array([HALF + RADIUS * ANGLE + 12.0]), ANGLE, RADIUS, HALF))
    way = [math.sin(ANGLE), 0.0, -math.cos(ANGLE)]
    r = trim(upstream(*parts), [{"x": x, "y": 2.0, "z": z, "diameter": 8.0, "direction": way}])
    line = r.arrays["cut_line_1"]
    assert np.linalg.norm(line - [x, 2.0, z], axis=1) == pytest.approx(4.0, abs=0.0021)
    flat = r.arrays["flat_line_1"]
    assert np.hypot(*(flat - [HALF + RADIUS * ANGLE + 12.0, 2.0]).T) == pytest.approx(4.0, abs=0.003)
    assert r.values["cuts"][1]["lean_max_deg"] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("name", ["channel", "cylinder"])
def test_round_trip_on_developable_parts_is_within_two_hundredths(name):
    """Flat -> part by the closed form, part -> flat by the mapping, back to the part by the mapping."""
    angle, radius, half = (math.radians(90.0), 8.0, 25.0) if name == "channel" else (math.radians(150.0), 40.0, 0.0)
    formed, flat = channel(math.degrees(angle), radius, half, 20.0, fine=4.0)
    at = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    edge = half + radius * angle
    line = np.column_stack([0.97 * edge * np.cos(at), 30.0 * np.sin(at)])
    x, z = bent(line[:, 0], angle, radius, half)
    true = np.column_stack([x, line[:, 1], z])
    back = to_flat(formed, flat, true, 0.5)
    assert np.linalg.norm(back - line, axis=1).max() < 0.02
    again = to_part(formed, flat, back)
    sagitta = radius * (1 - math.cos(math.radians(2.0)))  # the triangles' chords
    assert np.linalg.norm(again - true, axis=1).max() < sagitta + 1e-3
    assert np.linalg.norm(to_flat(formed, flat, again, 0.5) - back, axis=1).max() < 1e-9


def test_what_is_not_the_part_is_not_mapped(parts):
    formed, flat = parts
    edge = formed.points[max(formed.boundary_loops, key=formed.loop_length)]
    assert np.isfinite(to_flat(formed, flat, edge, 0.5)).all()
    assert np.isnan(to_flat(formed, flat, edge + np.array([0.0, 0.0, 5.0]), 0.5)).all()
    beyond = np.array([[0.0, 40.3, 0.0]])  # past the open edge, in the sheet's own plane
    assert np.isnan(to_flat(formed, flat, beyond, 0.5)).all()
    assert np.isnan(to_part(formed, flat, np.array([[0.0, 41.0]]))).all()


def test_the_narrowest_cone_is_found():
    rng = np.random.default_rng(3)
    tilt = np.radians(35.0)
    at = rng.uniform(0, 2 * np.pi, 50)
    cone = np.column_stack([math.sin(tilt) * np.cos(at), math.sin(tilt) * np.sin(at), np.full(50, math.cos(tilt))])
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    found = middle_axis(np.vstack([cone, [0, 0, 1.0]]) @ turn.T)
    assert found is not None
    assert found.worst == pytest.approx(35.0, abs=0.3)  # 50 places at random do not quite go all round
    # no other direction does better, tried by brute force
    tried = rng.normal(size=(4000, 3))
    tried /= np.linalg.norm(tried, axis=1)[:, None]
    normals = np.vstack([cone, [0, 0, 1.0]]) @ turn.T
    assert min(lean_deg(normals, d).max() for d in tried if (normals @ d).min() > 0) >= found.worst - 1e-6
    assert middle_axis(np.array([[1.0, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])) is None


def test_an_upright_wall_all_round_takes_six_cams():
    at = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    normals = np.column_stack([-np.cos(at), -np.sin(at), np.zeros(360)])
    assert middle_axis(normals) is None
    found = pieces(normals, 30.5, np.array([0.0, 0, 0]))
    assert len(found) == 6
    assert all(p.worst <= 30.5 for p in found)
    assert sorted(p.first for p in found) == sorted(p.last for p in found)


def test_the_lines_of_an_outline_stay_on_the_triangles(parts):
    formed, _ = parts
    outline = np.array([[-40.0, -20.0], [35.0, -25.0], [40.0, 22.0], [-30.0, 30.0]])
    laid = lay(formed, outline, axes(DOWN))
    from diewright.trim.lines.mapping import spots

    after = np.roll(laid.points, -1, axis=0)
    for share in (0.0, 0.25, 0.5, 0.75):  # not only at the corners: every straight piece lies in one triangle
        assert spots(formed, laid.points + share * (after - laid.points)).off.max() < 1e-9
    assert len(laid.missed) == len(laid.double) == len(laid.jumps) == 0


def test_a_sheet_over_itself_is_met_twice():
    flat = grid(np.linspace(-20, 20, 11), np.linspace(-20, 20, 11))
    lower = flat.points - [0, 0, 10.0]
    both = TriMesh(np.vstack([flat.points, lower]), np.vstack([flat.triangles, flat.triangles + len(lower)]))
    square = np.array([[-5.0, -5], [5, -5], [5, 5], [-5, 5]])
    first = lay(both, square, axes(DOWN))
    assert first.points[:, 2] == pytest.approx(0.0)
    assert len(first.double) > 0
    assert lay(both, square, axes(DOWN), height=10.0).points[:, 2] == pytest.approx(-10.0)


def test_a_walk_over_a_cylinder_is_the_straight_line_of_its_flat():
    formed, flat = channel(170.0, 30.0, 0.0, 0.0, fine=3.0)
    start, end = np.array([-40.0, -25.0]), np.array([45.0, 28.0])
    begin = to_part(formed, flat, start[None])
    x, z = bent(np.array([start[0], start[0] + 1e-4]), math.radians(170.0), 30.0, 0.0)
    along = np.array([x[1] - x[0], 0.0, z[1] - z[0]]) / 1e-4
    way = (end - start) / np.linalg.norm(end - start)
    direction = way[0] * along + way[1] * np.array([0.0, 1.0, 0.0])
    got, left = Walker(formed).go(begin, direction[None], np.array([np.linalg.norm(end - start)]))
    assert left[0] == 0.0
    assert np.linalg.norm(to_flat(formed, flat, got, 0.5)[0] - end) < 0.1
    _, left = Walker(formed).go(begin, direction[None], np.array([500.0]))
    assert left[0] > 300.0


def test_a_mesh_cut_along_a_level_keeps_its_area_and_lies_on_the_right_side():
    mesh = grid(np.linspace(-10, 10, 9), np.linspace(-10, 10, 9))
    level = 6.3 - np.hypot(*mesh.points[:, :2].T)
    cut = split_at(mesh, level)
    assert cut.mesh.area == pytest.approx(mesh.area, rel=1e-12)
    assert cut.mesh.areas.min() > 0
    fine = cut.of_points(level)
    side = fine[cut.mesh.triangles]
    snap = 0.06 * 2.5 * 1.5
    assert (side[cut.side > 0].min(axis=1) > -snap).all()
    assert (side[cut.side < 0].max(axis=1) < snap).all()
    assert cut.mesh.areas[cut.side > 0].sum() == pytest.approx(math.pi * 6.3**2, rel=0.06)


def test_the_rim_lies_out_by_the_allowance_and_the_sheet_ends_there():
    wide = grid(np.linspace(-60, 60, 61), np.linspace(-50, 50, 51))
    part = grid(np.linspace(-30, 30, 21), np.linspace(-20, 20, 15))
    before = upstream(part, part, beyond=8.0)
    faces = upstream(wide, wide)["faces"]
    faces.arrays["trim_line"] = before["faces"].arrays["trim_line"]
    r = trim({**before, "faces": faces})
    assert np.abs(r.arrays["rim"][:, :2] - r.arrays["rim_flat"]).max() < 1e-6
    drawn = r.meshes["drawn"]
    assert drawn.mesh.area == pytest.approx(76.0 * 56.0, rel=1e-9)
    assert drawn.mesh.areas[drawn.cell["scrap"] == 0].sum() == pytest.approx(60.0 * 40.0, rel=1e-9)
    assert set(np.unique(drawn.cell["zone"])) == {0, 1}
    assert r.values["cuts"][0]["length_mm"] == pytest.approx(200.0)


def test_holes_filled_for_the_draw_are_pierced_and_kept_ones_are_not(parts):
    formed, flat = parts
    n = len(formed.points)
    at = 2 * np.pi * np.arange(24) / 24
    ring = np.column_stack([5 * np.cos(at), 5 * np.sin(at), np.zeros(24)])
    formed = TriMesh(np.vstack([formed.points, ring]), formed.triangles)
    flat = TriMesh(np.vstack([flat.points, ring]), flat.triangles)
    before = upstream(formed, flat, holes={"hole_1": np.arange(n, n + 24, dtype=np.int32)})
    r = trim(before)
    cut = r.values["cuts"][1]
    assert (cut["id"], cut["kind"]) == ("hole_1", "pierce")
    assert cut["diameter"] == pytest.approx(10.0, rel=1e-6)
    assert cut["lean_max_deg"] == pytest.approx(0.0, abs=1e-9)
    from diewright.job.schema import parse
    from diewright.trim.lines import stage
    from diewright.watch import Watch

    kept = stage.work(stage._inputs(parse({"blank": {"holes": "keep"}})), before, {}, Watch())
    assert [c["id"] for c in kept.values["cuts"]] == ["edge"]

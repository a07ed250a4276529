"""The stage ``details`` on a cup with a flange, in closed form, and on a shipped example."""

from __future__ import annotations

import io
import math
from functools import cache

import ezdxf
import numpy as np
import pytest
import shapely
from die_parts import circle_line, cup_normals, cup_profile, faces_of, revolved, upstream

from diewright.die.detail_zones import BEARS, EASED, POLISHED, RELIEVED, STRUCK, sheet_thickness
from diewright.die.details import AFTER, STAGE, plan_region
from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.watch import Watch

RADIUS, DEPTH, NOSE, SHOULDER, FLANGE, T = 40.0, 30.0, 8.0, 7.0, 60.0, 1.0
PRESS = {"kind": "crank single", "stroke_mm": 200.0, "rod_mm": 0.0, "speed_mm_s": 0.0}


def blank(radius: float = 115.0) -> np.ndarray:
    """A square blank with rounded corners, so that pins have sides to touch."""
    r = radius
    return np.asarray(shapely.box(-r, -r, r, r).buffer(-20).buffer(20).exterior.coords)[:-1][::-1]


@cache
def cup() -> tuple[TriMesh, Result]:
    mesh = revolved(cup_profile(RADIUS, DEPTH, NOSE, FLANGE, SHOULDER, step=12.0), 90)
    normals = cup_normals(mesh, RADIUS, DEPTH, NOSE, SHOULDER)
    return mesh, faces_of(mesh, blank(), normals=normals)


def before(thickness: np.ndarray | None = None, outline: np.ndarray | None = None, **press: object) -> dict[str, Result]:
    mesh, faces = cup()
    strain = np.linspace(0, 2, 300)
    up = upstream(mesh, blank() if outline is None else outline)
    cell = {} if thickness is None else {"thickness": thickness}
    return up | {
        "sheet": Result(values={"family": "steel"}, tables={"hardening": {"strain": strain, "stress": 200 + 300 * strain**0.3}}),
        "solution": Result(values={"ironing_pressure_max": 0.0, "wall_gap": 1.22}, meshes={"part": FieldMesh(mesh, {}, cell)}, arrays=up["solution"].arrays),
        "faces": faces, "press": Result(values={"press": {**PRESS, **press}, "strokes_per_minute": 20.0}),
    }  # fmt: skip


def work(up: dict[str, Result] | None = None, tryout: dict[str, object] | None = None, **details: object) -> Result:
    job = parse({"sheet": {"thickness": T}, "tryout": tryout or {}, "details": details})
    return STAGE.work(STAGE.inputs(job), before() if up is None else up, {}, Watch())


def keys(r: Result) -> set[str]:
    return {f.key for f in r.findings}


def test_zones_of_a_cup_have_the_areas_of_the_closed_form():
    r = work()
    die, punch, holder = (r.meshes[name] for name in ("die", "punch", "blankholder"))
    # the die's shoulder: a quarter turn of radius R = SHOULDER - t/2 about a ring at RADIUS + SHOULDER, the clearance left aside
    own = SHOULDER - 0.5 * T
    torus = 2 * math.pi * (0.5 * math.pi * own * (RADIUS + SHOULDER) - own**2)
    assert r.values["zones"]["die"]["polished"] == pytest.approx(torus, rel=0.04)
    # the flat bottom and as much of the nose as is no steeper than 15 degrees
    tilt = math.radians(15.0)
    inner = NOSE - 0.5 * T
    bottom = math.pi * (RADIUS - NOSE) ** 2 + 2 * math.pi * (inner * (RADIUS - NOSE) * tilt + inner**2 * (1 - math.cos(tilt)))
    assert r.values["zones"]["punch"]["struck"] == pytest.approx(bottom, rel=0.03)
    assert (holder.cell["zone"] == BEARS).all()
    assert r.values["zones"]["die"]["bears"] == pytest.approx(holder.mesh.area, rel=0.02)
    for name in ("die", "punch", "blankholder"):
        assert sum(r.values["zones"][name].values()) == pytest.approx(r.meshes[name].mesh.area)
    steep = np.abs(punch.mesh.normals[:, 2]) < 0.5
    assert (punch.cell["zone"][steep] == RELIEVED).all()
    assert (np.hypot(*die.mesh.centroids[die.cell["zone"] == STRUCK][:, :2].T) < RADIUS).all()


def test_the_draw_runs_inwards_and_down_over_the_die_radius():
    die = work().meshes["die"]
    on = die.cell["zone"] == POLISHED
    along, at = die.cell["draw_direction"], die.mesh.centroids
    assert np.linalg.norm(along[on], axis=1) == pytest.approx(1.0)
    assert not along[~on].any()
    assert (along[on, 2] < 0).all()
    assert (np.einsum("ij,ij->i", along[on, :2], at[on, :2]) < 1e-6 * RADIUS).all()
    assert np.abs(np.einsum("ij,ij->i", along, die.mesh.normals)).max() < 1e-9


def test_a_wall_thicker_than_the_gap_asks_for_the_difference():
    mesh, faces = cup()
    slope = np.abs(mesh.normals[:, 2])
    at = mesh.centroids
    thickness = np.full(len(slope), T)
    thickness[(slope < 0.1) & (at[:, 0] > 0)] = 1.5
    r = work(before(thickness))
    gap = faces.values["clearance"]
    assert r.values["allowance_max"] == pytest.approx(1.5 - gap, abs=0.03)
    (finding,) = [f for f in r.findings if f.key == "details.corner"]
    assert finding.severity == "attend"
    assert finding.value == pytest.approx(1.5, abs=0.03)
    assert finding.place is not None
    die = r.meshes["die"]
    wide = die.cell["allowance_mm"] > 0.1
    assert (die.mesh.centroids[wide, 0] > -5.0).all()
    assert wide.any()
    assert not r.meshes["die"].cell["relief_mm"].any(), "a thick wall is no thick flange"
    assert r.values["allowance_places"][0]["mm"] == r.values["allowance_max"]
    assert "details.corner" not in keys(work())
    assert work().values["allowance_max"] == 0.0


def test_a_flange_that_thickens_is_eased():
    mesh, _ = cup()
    r0 = np.hypot(*mesh.centroids[:, :2].T)
    thickness = np.where((mesh.centroids[:, 1] > 0) & (r0 > RADIUS + SHOULDER), 1.1, T)
    r = work(before(thickness))
    holder = r.meshes["blankholder"]
    eased = holder.cell["zone"] == EASED
    at = holder.mesh.centroids
    assert r.values["relief_max"] == pytest.approx(0.1, abs=1e-6)
    assert eased[(at[:, 1] > 8.0) & (np.hypot(*at[:, :2].T) < RADIUS + SHOULDER + FLANGE - 3)].all()
    assert not eased[at[:, 1] < -5.0].any()
    assert (r.meshes["die"].cell["zone"] == EASED).any()
    assert "details.relief" in keys(r)


def test_beyond_the_part_the_thickness_is_nominal_and_told_as_unknown():
    mesh, _ = cup()
    sheet = sheet_thickness(FieldMesh(mesh, {}, {"thickness": np.full(len(mesh.triangles), 1.3)}), T)
    value, known = sheet.at(np.array([[RADIUS + SHOULDER + 30.0, 0.0, 0.5], [RADIUS + SHOULDER + FLANGE + 20.0, 0.0, 0.5]]), 1.0)
    assert value == pytest.approx([1.3, T])
    assert known.tolist() == [True, False]


def test_air_under_the_cup_in_closed_form():
    r = work()
    # the die's inner face: a cylinder, its bottom radius and shoulder; clearance c at the wall, t/2 below the middle elsewhere
    c = cup()[1].values["clearance"] - 0.5 * T
    wall, nose, shoulder = RADIUS + c, NOSE + 0.5 * T, SHOULDER - 0.5 * T
    inside = math.pi * wall**2 * DEPTH
    foot = math.pi * (2 * (wall - nose) * nose**2 * (1 - math.pi / 4) + nose**3 / 3)  # what the bottom radius fills: both about 1 %
    lip = 2 * math.pi * (1 - math.pi / 4) * shoulder**2 * (wall + 0.22 * shoulder)
    assert r.values["vents"]["volume"] == pytest.approx(inside - foot + lip, rel=0.02)
    assert r.values["vents"]["pockets_die"] == 1
    assert r.tables["pockets"]["displaced_mm3"].sum() == pytest.approx(r.values["vents"]["volume"])
    assert r.values["vents"]["pockets_punch"] == 0
    v = r.values["vents"]
    assert v["section"] == pytest.approx(v["peak"] * v["volume"] / v["time"] / 30_000.0)
    holes = r.arrays["vents"]
    assert len(holes) == v["count"] == v["wanted"]
    assert holes.shape[1] == 6
    assert np.hypot(holes[:, 0], holes[:, 1]).max() < RADIUS - NOSE
    assert holes[:, 2] == pytest.approx(-DEPTH - 0.5 * T, abs=1e-6)


def floored(radii: np.ndarray) -> Result:
    """Faces of the cup with rings of points on its floor."""
    line = cup_profile(RADIUS, DEPTH, NOSE, FLANGE, SHOULDER, step=12.0)
    mesh = revolved(np.vstack([line[:1], np.column_stack([radii, np.full(len(radii), -DEPTH)]), line[1:]]), 90)
    return faces_of(mesh, blank(), normals=cup_normals(mesh, RADIUS, DEPTH, NOSE, SHOULDER))


@pytest.mark.parametrize(("width", "count"), [(0.5, 1), (3.0, 2)])
def test_a_pit_narrower_than_the_smallest_drill_is_no_pocket(width: float, count: int):
    up, faces = before(), floored(np.array([width, 10.0, 20.0, 24.0]))
    die = faces.meshes["die"].mesh
    points = die.points.copy()
    # a pit in the floor's middle, and a shallower one outside it, so that the first is not simply the lowest place of all
    r0 = np.hypot(*points[:, :2].T)
    points[(r0 > 19.0) & (r0 < 21.0), 2] -= 4.0
    points[r0 < 0.1, 2] -= 2.0
    up["faces"] = Result(
        values=faces.values, arrays=faces.arrays, meshes={**faces.meshes, "die": FieldMesh(TriMesh(points, die.triangles))}
    )
    r = work(up)
    assert len(r.tables["pockets"]["face"]) == count
    assert r.tables["pockets"]["displaced_mm3"].sum() == pytest.approx(r.values["vents"]["volume"])


def test_a_ridge_across_the_floor_makes_two_pockets_that_share_the_air():
    up = before()
    faces = floored(np.arange(2.0, 32.0, 2.0))
    die = faces.meshes["die"].mesh
    # the wall is squeezed up with the ridge, so that no way leads round its ends
    rise = 8.0 * np.exp(-((die.points[:, 0] / 8.0) ** 2)) * np.clip((-SHOULDER - die.points[:, 2]) / (DEPTH - SHOULDER), 0.0, 1.0)
    points = die.points + np.column_stack([0 * rise, 0 * rise, rise])
    up["faces"] = Result(
        values=faces.values, arrays=faces.arrays, meshes={**faces.meshes, "die": FieldMesh(TriMesh(points, die.triangles))}
    )
    r = work(up)
    table = r.tables["pockets"]
    assert len(table["face"]) == 2
    assert np.sort(np.sign(table["x_mm"])).tolist() == [-1.0, 1.0]
    assert table["displaced_mm3"].sum() == pytest.approx(r.values["vents"]["volume"])
    assert table["displaced_mm3"] == pytest.approx(0.5 * r.values["vents"]["volume"], rel=0.15)
    # the second runs over at the ridge, the deepest holds all up to the sheet
    assert table["depth_mm"][0] == pytest.approx(DEPTH, abs=0.6)
    assert 5.0 < table["depth_mm"][1] < 8.5
    for k, x in enumerate(table["x_mm"]):
        assert (np.sign(r.arrays["vents"][r.arrays["vents"][:, 4] == k, 0]) == np.sign(x)).all()


def test_slow_air_wants_more_holes_than_one_drills():
    r = work(air_speed=0.5)
    assert "details.vents" in keys(r)
    assert r.values["vents"]["wanted"] > 40


def test_a_press_too_short_is_refused():
    with pytest.raises(InputError, match="less than the punch travel"):
        work(before(stroke_mm=20.0))


# -- bead and pins on the faces


def test_a_bead_outside_the_die_radius_within_blank_and_blankholder():
    r = work(tryout={"bead_kind": "round", "bead_height": 3.0}, bead_least_radius=30.0)
    b = r.values["bead"]
    # the opening is the punch's own wall: half a thickness inside the middle
    assert b["offset"] == pytest.approx(6.5 + 2 * 4.0 + 1.1 + 1.0, abs=0.02)
    assert b["length"] == pytest.approx(2 * math.pi * (RADIUS - 0.5 * T + b["offset"]), rel=2e-3)
    assert b["cut_length"] == pytest.approx(b["length"])
    assert b["pieces"] == 1
    assert b["inside_blank"] == 1.0
    assert b["after_draw_in"] == AFTER
    assert b["room_blank"] == pytest.approx(115.0 - (RADIUS - 0.5 * T + b["offset"]) - b["half_width"], abs=0.1)
    assert b["room_holder"] == pytest.approx(0.0, abs=0.1)
    assert b["room_die"] == pytest.approx(0.0, abs=0.02)
    assert b["uplift_kN"] == pytest.approx(1e-3 * b["uplift"] * b["cut_length"])
    assert not {"details.bead_blank", "details.bead_holder", "details.bead_die", "details.bead_none", "details.locator_bead"} & keys(r)
    assert r.arrays["bead_line"].shape == (len(r.arrays["bead_cut"]), 2)
    assert r.arrays["bead_cut"].all()
    assert len(r.tables["bead_segments"]["begin_mm"]) == 1


def test_friction_and_restraint_come_from_the_tryout_or_the_blank_page():
    rough = work(tryout={"bead_kind": "round", "friction_die": 0.2}).values["bead"]["restraint"]
    assert rough > work(tryout={"bead_kind": "round"}).values["bead"]["restraint"]
    job = parse({"sheet": {"thickness": T}, "blank": {"bead_restraint": 80.0}})
    r = STAGE.work(STAGE.inputs(job), before(), {}, Watch())
    assert r.values["bead"]["restraint"] == 80.0
    assert r.values["bead"]["groove"] is None
    assert r.arrays["bead_cut"].all()
    assert work().values["bead"] is None
    assert work().arrays["bead_line"].shape == (0, 2)


def test_a_tight_bead_is_left_out_and_told():
    r = work(tryout={"bead_kind": "round"}, bead_least_radius=100.0)
    assert "details.bead_none" in keys(r)
    assert r.values["bead"]["cut_length"] == 0.0
    assert r.values["bead"]["room_blank"] is None


def test_a_bead_over_the_blanks_edge_meets_the_pins():
    r = work(before(outline=blank(62.0)), tryout={"bead_kind": "round"}, bead_least_radius=0.0)
    assert {"details.bead_blank", "details.locator_bead"} <= keys(r)
    assert r.values["bead"]["inside_blank"] < 1.0


def test_a_bead_in_the_die_radius_is_told_with_the_offset_that_clears_it():
    r = work(tryout={"bead_kind": "square", "bead_offset": 10.0}, bead_flat=4.0)
    (finding,) = [f for f in r.findings if f.key == "details.bead_die"]
    need = float(finding.help.split("=")[1].split()[0])
    assert need == pytest.approx(6.5 + T + 2.0 + 1.1 + 8.0, abs=0.02)
    assert "details.bead_die" not in keys(work(tryout={"bead_kind": "square", "bead_offset": need}, bead_flat=4.0))
    assert "details.bead_holder" in keys(r)


def locator_finding(outline: np.ndarray):
    return next(f for f in work(before(outline=outline)).findings if f.key == "details.locators")


def test_a_round_blank_is_a_note_and_a_nearly_round_one_is_not():
    disc = circle_line(115.0, 720)
    r = work(before(outline=disc))
    assert r.values["locators"]["rank"] == 2
    assert r.values["locators"]["round"]
    assert not r.values["locators"]["fixes"]
    assert locator_finding(disc).severity == "note"
    oval = locator_finding(disc * [1.02, 1.0])
    assert oval.severity == "attend"
    assert oval.value > 10.0


def test_pins_in_the_opening_stop():
    r = work(before(outline=blank(30.0)))
    (finding,) = [f for f in r.findings if f.key == "details.locator_opening"]
    assert finding.severity == "stop"


def test_given_faces_without_a_die_radius_have_their_details_too():
    up = before()
    faces = up["faces"]
    up["faces"] = Result(values=faces.values | {"kind": "given", "die_radius": None}, arrays=faces.arrays, meshes=faces.meshes)
    r = work(up, tryout={"bead_kind": "round", "bead_offset": 25.0})
    assert r.values["bead"]["offset"] == 25.0
    assert r.values["zones"] == work().values["zones"]


def test_an_ironed_wall_is_told():
    up = before()
    up["solution"] = Result(
        values={"ironing_pressure_max": 12.0, "wall_gap": 1.22}, meshes=up["solution"].meshes, arrays=up["solution"].arrays
    )
    assert "details.ironed" in keys(work(up))


def test_a_punch_with_a_hollow_is_vented_through_the_punch():
    up = before()
    punch = up["faces"].meshes["punch"].mesh
    r0 = np.hypot(*punch.points[:, :2].T)
    points = punch.points.copy()
    points[:, 2] += np.where(points[:, 2] < -DEPTH + 2.0, 4.0 * np.clip(1.0 - (r0 / 25.0) ** 2, 0.0, None), 0.0)
    faces = up["faces"]
    up["faces"] = Result(
        values=faces.values, arrays=faces.arrays, meshes={**faces.meshes, "punch": FieldMesh(TriMesh(points, punch.triangles))}
    )
    r = work(up)
    assert "details.punch_pockets" in keys(r)
    assert r.values["vents"]["pockets_punch"] == 1
    row = r.tables["pockets"]["face"] == 1.0
    assert r.tables["pockets"]["depth_mm"][row] == pytest.approx(4.0, abs=0.3)
    assert (r.meshes["punch"].cell["pocket"] >= 0).any()
    assert r.arrays["vents"][-1, 5] == 1.0


def test_the_drawing_holds_what_the_arrays_hold():
    r = work(tryout={"bead_kind": "round"})
    doc = ezdxf.read(io.StringIO(r.files["details.dxf"].decode()))
    assert doc.units == ezdxf.units.MM
    space = doc.modelspace()
    count = {name: len(space.query(f'*[layer=="{name}"]')) for name in ("opening", "bead", "bead_groove", "locators", "vents", "blank")}
    assert count == {
        "opening": 1,
        "bead": 1,
        "bead_groove": 2,
        "locators": len(r.arrays["locators"]),
        "vents": len(r.arrays["vents"]),
        "blank": 1,
    }
    assert all(e.closed for e in space.query("LWPOLYLINE"))
    assert r.files["details.dxf"] == work(tryout={"bead_kind": "round"}).files["details.dxf"]


def test_plan_region_has_the_hole_of_a_ring_and_falls_back_on_the_union():
    ring = cup()[1].meshes["blankholder"].mesh
    region = plan_region(ring)
    assert region.area == pytest.approx(ring.area, rel=1e-6)
    assert not region.contains(shapely.Point(0, 0))
    twice = TriMesh(
        np.concatenate([ring.points, ring.points + np.array([5.0, 0, 0])]),
        np.concatenate([ring.triangles, ring.triangles + len(ring.points)]),
    )
    both = plan_region(twice)
    assert both.area == pytest.approx(shapely.union(region, shapely.affinity.translate(region, 5.0)).area, rel=1e-3)


def test_given_fields_out_of_range_are_refused():
    for field, value in (("air_speed", 0.0), ("locator_diameter", -1.0), ("bead_flat", -1.0)):
        with pytest.raises(InputError, match=field):
            parse({"details": {field: value}})

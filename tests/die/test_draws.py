"""The draws of a round cup as numbers and tools: areas, clearances and levels in closed form, and what is refused."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from diewright.die import draw_rules as rules
from diewright.die.draw_faces import faces
from diewright.die.draw_plan import Draw, Sheet, cup_meridian, mean_height, plan
from diewright.die.draw_profile import rounded, turned, turned_area
from diewright.die.draws import STAGE, not_a_cup, off_cup
from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.prove.draws import TABLE
from diewright.watch import Watch

T = 1.0
STEEL = Sheet(T, 295.0, "steel", 1.8625)
BLANK = 164.8


@pytest.fixture(scope="module")
def draws() -> list[Draw]:
    return plan(TABLE, BLANK, STEEL, 5.5)


def part(height: float = 94.5, radius: float = 6.0, flange: float = 0.0) -> TriMesh:
    line = cup_meridian(TABLE[-1]["diameter"], 0.0, radius, height)
    if flange:
        line = np.vstack([line, line[-1:] + np.array([[flange, 0.0]])])
    return turned(line - [0.0, height], True, 0.05, 6.0)


def upstream(mesh: TriMesh, **more: object) -> dict[str, Result]:
    tip = {
        "depth": float(np.ptp(mesh.points[:, 2])),
        "radius_concave_min": 6.0,
        "round": {"is_round": True, "diameter": 60.0, "axis": [0.0, 0.0]},
    }
    press = {"operation": "drawing", "draw_sequence": [dict(row) for row in TABLE], "draw_table_inside": True}
    return {
        "shape": Result(values=tip | {k: v for k, v in more.items() if k in tip}, meshes={"part": FieldMesh(mesh)}),
        "sheet": Result(values={"Rm": 295.0, "family": "steel", "anisotropy": {"rbar": 1.8625}}), "blank": Result(),
        "press": Result(values=press | {k: v for k, v in more.items() if k in press}),
    }  # fmt: skip


def work(up: dict[str, Result], **stated: object) -> Result:
    job = parse({"job": {"title": "cup"}, "sheet": {"thickness": T}, "draws": stated})
    return STAGE.work(STAGE.inputs(job), up, {}, Watch())


# -- meridians


def test_a_rounded_corner_keeps_its_radius_and_touches_both_sides():
    line = rounded([(0.0, 0.0), (20.0, 0.0), (20.0, 30.0)], [6.0], 0.001, 2.0)
    off = np.hypot(line[:, 0] - 14.0, line[:, 1] - 6.0)
    arc = (line[:, 0] >= 14.0 - 1e-9) & (line[:, 1] <= 6.0 + 1e-9)
    assert np.abs(off[arc] - 6.0).max() < 1e-9
    assert arc.sum() > 30
    with pytest.raises(InputError, match=r"need 11 mm, it is 10 mm long"):
        rounded([(0.0, 0.0), (10.0, 0.0), (10.0, 30.0)], [11.0])


def test_the_area_of_a_turned_cup_is_that_of_disc_torus_and_wall():
    d, r, h = 60.0, 6.0, 40.0
    flat, wall = math.pi * (d / 2 - r) ** 2, math.pi * d * (h - r)
    torus = 2 * math.pi * r * (math.pi / 2 * (d / 2 - r) + r)
    assert turned_area(cup_meridian(d, 0.0, r, h)) == pytest.approx(flat + torus + wall, rel=1e-4)
    assert turned(cup_meridian(d, 0.0, r, h), True).area == pytest.approx(flat + torus + wall, rel=1e-3)


@pytest.mark.parametrize("foot", [0.0, 73.0])
def test_a_blank_keeps_its_area(foot):
    height = mean_height(BLANK, 93.7, foot, 4.5)
    assert turned_area(cup_meridian(93.7, foot, 4.5, height)) == pytest.approx(math.pi / 4 * BLANK**2, rel=1e-9)


def test_the_height_without_a_cone_is_the_handbooks():
    assert mean_height(BLANK, 60.0, 0.0, 6.0) == pytest.approx(rules.cup_height(BLANK, 60.0, 6.0), abs=0.01)


# -- the plan


def test_the_plan_follows_the_table(draws):
    assert [d.kind for d in draws] == ["draw", "redraw", "redraw"]
    assert [d.diameter for d in draws] == [row["diameter"] for row in TABLE]
    assert [d.die_radius for d in draws] == [row["die_radius"] for row in TABLE]
    assert [d.before for d in draws] == [BLANK, TABLE[0]["diameter"], TABLE[1]["diameter"]]
    assert math.prod(d.ratio for d in draws) == pytest.approx(BLANK / TABLE[-1]["diameter"])
    assert [round(d.punch_radius, 6) for d in draws] == [4.0, 4.0, 5.5]
    assert draws[-1].foot == 0.0
    assert all(a.foot == pytest.approx(b.diameter - T) for a, b in pairwise(draws))


def test_clearances_let_the_rim_through(draws):
    """Oehler's 1.2214 for one draw; then the thickness that the r-value gives the rim."""
    assert draws[0].clearance == pytest.approx(1.0 + 0.07 * math.sqrt(10.0))
    assert draws[2].clearance == pytest.approx((BLANK / draws[2].diameter) ** (1 / 2.8625))
    for d in draws:
        assert 0.5 * (d.die_diameter - d.punch_diameter) == pytest.approx(d.clearance)
        assert d.punch_diameter == pytest.approx(d.diameter - T)
    stated = plan(TABLE, BLANK, STEEL, 5.5, gap=1.1)
    assert {d.clearance for d in stated} == {1.1}


def test_a_sharp_bottom_is_struck():
    draws = plan(TABLE, BLANK, STEEL, 2.0)
    assert [d.kind for d in draws] == ["draw", "redraw", "redraw", "restrike"]
    assert draws[2].punch_radius == 4.0
    assert draws[3].punch_radius == 2.0
    assert draws[3].height > draws[2].height - 1.0


def test_other_diameters_and_forces_are_taken_as_stated():
    draws = plan(TABLE, BLANK, STEEL, None, [100.0], [5000.0, 2000.0])
    assert [d.diameter for d in draws] == [100.0, TABLE[-1]["diameter"]]
    assert [d.holder_force for d in draws] == [5000.0, 2000.0]
    assert draws[0].die_radius == pytest.approx(5.0)
    assert draws[1].die_radius == pytest.approx(3.5)
    with pytest.raises(InputError, match="do not fall"):
        plan(TABLE, BLANK, STEEL, None, [50.0])
    short = plan(TABLE, BLANK, STEEL, None, [TABLE[-1]["diameter"] + 4.05])
    assert 1.5 < short[0].punch_radius < 4.0
    faces(short[1], short[0], T, 0.05, 6.0)
    with pytest.raises(InputError, match="1 blankholder forces are stated for 2 draws"):
        plan(TABLE, BLANK, STEEL, None, [100.0], [5000.0])
    assert [d.die_radius for d in plan(TABLE, BLANK, STEEL, None, die_radii=[8.0, 6.0, 5.0])] == [8.0, 6.0, 5.0]
    with pytest.raises(InputError, match="2 die radii are stated for 3 draws"):
        plan(TABLE, BLANK, STEEL, None, die_radii=[8.0, 6.0])
    with pytest.raises(InputError, match="no sleeve pressure"):
        plan(TABLE, BLANK, Sheet(T, 500.0, "titanium", 1.0), None, gap=1.3)


# -- the tools


def distance(points: np.ndarray, mesh: TriMesh) -> np.ndarray:
    import igl

    square, _, _ = igl.point_mesh_squared_distance(
        np.ascontiguousarray(points), np.array(mesh.points), np.array(mesh.triangles, dtype=np.int64)
    )
    return np.sqrt(square)


def test_faces_look_at_the_sheet_and_keep_their_distance(draws):
    """The drawn cup's middle lies half a thickness off its punch; the cup before lies half a thickness off the cone of the next die and of its sleeve."""
    before = None
    for d in draws:
        got = faces(d, before, T, 0.01, 4.0)
        assert set(got) == {"die", "punch", "blankholder"}
        normal = {n: m.normals for n, m in got.items()}
        level = {n: np.abs(normal[n][:, 2]) > 0.99 for n in got}
        assert (normal["punch"][level["punch"], 2] < 0).all()
        cup = d.meridian(T) - [0.0, d.stroke]
        inside = cup[cup[:, 1] < -d.stroke + 20.0]
        off = distance(np.column_stack([inside[:, 0], 0 * inside[:, 0], inside[:, 1]]), got["punch"])
        assert np.abs(off - 0.5 * T).max() < 0.02
        if before is not None:
            a, b = 0.5 * d.die_diameter + d.die_radius, 0.5 * before.diameter - before.punch_radius
            r = np.linspace(a, b, 20)
            cone = np.column_stack([r, 0 * r, r - 0.5 * before.foot])
            assert np.abs(distance(cone, got["die"]) - 0.5 * T).max() < 0.02
            assert np.abs(distance(cone, got["blankholder"]) - 0.5 * T).max() < 0.02
            assert (normal["die"][:, 2] > -0.71).all()
        before = d


def test_the_rim_passes_the_land(draws):
    for d in draws:
        rim = -d.stroke + d.height * (1.0 + rules.RIM)
        assert rim < -rules.die_land(T) - 0.5 * d.die_radius * 0.4


# -- the stage


def test_the_stage_gives_tools_meridians_and_a_table():
    r = work(upstream(part()))
    assert [d["draw"] for d in r.values["draws"]] == [1, 2, 3]
    assert set(r.meshes) == {f"{n}_{k}" for n in ("die", "punch", "blankholder") for k in (1, 2, 3)}
    assert r.values["blank_diameter"] == pytest.approx(TABLE[0]["diameter"] * TABLE[0]["ratio"])
    assert len(r.tables["draws"]["height_mm"]) == 3
    assert np.hypot(*r.arrays["blank"].T).max() == pytest.approx(0.5 * r.values["blank_diameter"])
    assert r.values["part_off_mm"] < 0.1
    assert not [f for f in r.findings if f.severity == "stop"]


def test_a_single_draw_says_so():
    row = {"draw": 1, "diameter": TABLE[-1]["diameter"], "height": 20.0, "ratio": 1.6, "punch_radius": 4.0, "die_radius": 5.0}
    r = work(upstream(part(20.0), draw_sequence=[row]))
    assert r.values["single"] is True
    assert "draws.single" in {f.key for f in r.findings}


def test_what_gets_no_sequence_says_why():
    flat = upstream(part(), operation="cutting")
    assert "flat" in not_a_cup(flat["shape"], flat["press"], T)
    assert "not round" in work(upstream(part(), round={"is_round": False})).values["why_none"]
    assert "flange" in work(upstream(part(flange=8.0))).findings[0].sentence
    assert "no sequence" in work(upstream(part(), draw_sequence=[])).values["why_none"]
    assert work(upstream(part(flange=8.0))).values["draws"] == []


def test_findings_say_what_is_left_to_do():
    keys = {f.key for f in work(upstream(part(), radius_concave_min=2.5)).findings}
    assert "draws.restrike" in keys
    assert "draws.shape" in {f.key for f in work(upstream(part(radius=20.0))).findings}
    assert "draws.height" in {f.key for f in work(upstream(part()), blank_diameter=155.0).findings}
    assert "draws.table" in {f.key for f in work(upstream(part(), draw_table_inside=False)).findings}
    job = parse({"job": {"title": "cup"}, "sheet": {"thickness": T}, "faces": {"clearance": 0.8}})
    with pytest.raises(InputError, match=r"does not let a sheet of 1 mm through"):
        STAGE.work(STAGE.inputs(job), upstream(part()), {}, Watch())


def test_the_distance_to_a_cup_is_exact():
    line = cup_meridian(60.0, 0.0, 6.0, 40.0)
    points = np.array([[0.0, 0.0, 0.0], [31.5, 0.0, 20.0], [0.0, 30.0, 60.0]])
    off, at = off_cup(points, (0.0, 0.0), line)
    assert off == pytest.approx(1.5, abs=1e-9)
    assert at == (31.5, 0.0, 20.0)

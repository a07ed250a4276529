"""The stage ``bends`` on a real draw shape: what it takes over, what it finds, what it refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bends_jobs import PLAIN, keys, press, sheet, work
from shape_parts import prismatic, round_about, tipping_of

from diewright.errors import InputError
from diewright.job.schema import parse
from diewright.job.stage import Result, canonical
from diewright.trim.bends import law

LIP = {"face": 6}
OWN = {"angle": 90, "radius": 2, "length": 100, "leg": 20}


def finding(r: Result, key: str):
    return next(f for f in r.findings if f.key == key)


def test_a_flange_that_is_drawn_open_gets_its_bend_without_a_word():
    r = work(flange=[LIP])
    (b,) = r.values["bends"]
    assert b["flange"] == 1
    assert b["angle_deg"] == pytest.approx(90.0)
    assert b["radius_mm"] == pytest.approx(2.5)  # the mesh is the middle surface
    assert b["length_mm"] == pytest.approx(80.0)
    assert b["leg_mm"] == pytest.approx(20.0 + 3.5)
    assert b["force_kN"] == pytest.approx(0.33 * 300 * 80 / 6.5 / 1000)
    assert b["flat_leg_mm"] == pytest.approx(20.0 + math.pi / 2 * (2.5 + 0.5 * law.neutral_k(2.5, 1.0)))
    assert b["rolling_deg"] == pytest.approx(90.0)
    assert r.arrays["line_1"].shape[1] == 3
    canonical(r.values)


def test_a_flange_that_is_drawn_half_open_is_bent_by_the_rest():
    (b,) = work(flange=[LIP | {"angle": 30}]).values["bends"]
    assert b["angle_deg"] == pytest.approx(60.0)


def test_the_rolling_direction_asks_for_a_larger_radius():
    across, along = (work(flange=[LIP], rolling=d).values["bends"][0] for d in (0.0, 90.0))
    assert (across["least_radius_mm"], along["least_radius_mm"]) == (1.0, 1.2)


def test_what_is_stated_of_a_flange_goes_before_what_is_read():
    r = work(flange=[LIP], bend=[{"flange": 1, "name": "lip", "radius": 4, "method": "v", "other_leg": 30}])
    (b,) = r.values["bends"]
    assert (b["name"], b["method"], b["radius_mm"], b["opening_mm"]) == ("lip", "v", 4.0, 24.0)
    assert b["developed_mm"] == pytest.approx(b["leg_mm"] + 30 - law.deduction(b["angle_deg"], 4, 1))
    assert r.figure("bends_1_developed").value == b["developed_mm"]


def test_flanges_may_be_left_out_and_that_is_said():
    r = work(flange=[LIP], from_shape=False)
    assert keys(r) == {"bends.none", "bends.left_out"}
    assert r.values["left_out"] == ["flange 1"]
    assert keys(work()) == {"bends.none"}


def test_forces_of_one_stroke_add_and_tables_are_whole():
    r = work(bend=[OWN, OWN | {"length": 300}])
    (o,) = r.values["operations"]
    assert o["force_kN"] == pytest.approx(sum(b["force_kN"] for b in r.values["bends"]))
    t = r.tables["force_operation_1"]
    assert t["height_above_bottom_mm"][-1] == 0.0
    assert (np.diff(t["stroke_mm"]) > 0).all()
    assert t["force_kN"].max() == pytest.approx(o["force_kN"])
    assert len({len(c) for c in r.tables["bends"].values()}) == 1
    assert r.tables["bends"]["hem_kN"] == pytest.approx([math.nan] * 2, nan_ok=True)


def test_a_wiped_bend_takes_its_force_while_it_bends_and_rubs_on():
    t = work(bend=[OWN]).tables["force_1"]
    full, bent = t["force_kN"].max(), 2 + 1 + 3  # both radii and the sheet
    assert t["force_kN"][t["stroke_mm"] <= bent] == pytest.approx(full)
    assert t["force_kN"][t["stroke_mm"] > bent + 1e-6] == pytest.approx(0.2 * full)
    assert t["stroke_mm"][-1] == pytest.approx(20.0)


def test_a_hem_takes_three_steps():
    r = work(bend=[{"kind": "hem", "length": 100, "leg": 8, "other_leg": 40}], hem_force=5.0)
    (b,) = r.values["bends"]
    assert [(s["operation"], s["angle_deg"]) for s in b["steps"]] == [("flange", 90.0), ("pre-hem", 135.0), ("hem", 180.0)]
    assert b["hem_kN"] == pytest.approx(5.0 * 1.33 * 300 * 100 / 8 / 1000)
    assert b["developed_mm"] == pytest.approx(48 - 0.43)
    assert [o["name"] for o in r.values["operations"]] == ["flange", "pre-hem", "hem"]
    hem = r.tables["force_operation_3"]
    assert hem["force_kN"][-1] == pytest.approx(b["hem_kN"])
    assert hem["force_kN"][0] == 0.0


def test_findings_name_what_is_wrong():
    assert finding(work(bend=[OWN | {"radius": 0}]), "bends.radius.1").severity == "attend"
    assert "bends.radius.1" not in keys(work(bend=[OWN]))
    short = work(bend=[OWN | {"leg": 8, "method": "v"}])
    assert finding(short, "bends.flange.1").severity == "stop"  # shorter than half the die's opening
    assert finding(work(bend=[OWN | {"leg": 4}]), "bends.flange.1").severity == "attend"
    assert "bends.hole.1" in keys(work(bend=[OWN | {"hole_distance": 3.9}]))
    assert "bends.hole.1" not in keys(work(bend=[OWN | {"hole_distance": 4.1}]))
    assert finding(work(bend=[OWN | {"angle": 120}]), "bends.cam.1").value > 120
    assert "bends.hem.1" in keys(work(bend=[{"kind": "hem", "length": 9, "leg": 9}], up={"sheet": sheet(A80=12.0)}))
    assert (
        finding(
            work(bend=[OWN | {"length": 20_000, "leg": 200}], thickness=6.0, up={"press": press("Crank 250 kN")}), "bends.force"
        ).severity
        == "stop"
    )
    assert "bends.stroke.flange" in keys(work(bend=[OWN | {"leg": 90}]))


def test_curved_edges_stretch_and_shrink():
    stretch = OWN | {"line": "stretch", "line_radius": 60}
    r = work(bend=[stretch])
    x0, x1 = law.reach(0, math.pi / 2 * 2.5, 17), law.reach(90, math.pi / 2 * 2.5, 17)
    assert r.values["bends"][0]["edge_strain_pct"] == pytest.approx(100 * ((60 - x1) / (60 - x0) - 1))
    assert finding(r, "bends.stretch.1").severity == "stop"
    assert finding(work(bend=[stretch | {"line_radius": 15}]), "bends.stretch.1").severity == "stop"  # past the centre
    assert finding(work(bend=[stretch | {"line_radius": 80}]), "bends.stretch.1").severity == "attend"
    assert "bends.stretch.1" not in keys(work(bend=[stretch | {"line_radius": 400}]))
    assert "bends.stretch.1" in keys(work(bend=[stretch | {"line_radius": 400}], edge_limit=2.0))
    shrunk = finding(work(bend=[OWN | {"line": "shrink", "line_radius": 200}]), "bends.stretch.1")
    assert shrunk.value < -3.0


def test_the_closed_form_is_near_what_the_unfolding_of_the_mesh_strains():
    mesh, normal, face = round_about([("line", 40.0), ("arc", 3.0, 90.0), ("line", 8.0)], start=(60.0, 0.0))
    r = work(tip=tipping_of(mesh, normal, face), flange=[{"face": 2}])
    (b,) = r.values["bends"]
    assert b["line"] == "shrink"
    assert b["line_radius_mm"] == pytest.approx(100.0, rel=1e-3)
    # the rim of 103 mm lies on a radius of 100 + 3 pi/2 + 8 when it is flat
    assert b["edge_strain_pct"] == pytest.approx(100 * (103 / (100 + 1.5 * math.pi + 8) - 1), abs=0.05)


def test_a_collar_turned_out_of_a_tube_stretches_to_its_rim():
    mesh, normal, face = round_about([("line", 30.0), ("arc", 3.0, -90.0), ("line", 8.0)], start=(50.0, 0.0), heading=90.0)
    r = work(tip=tipping_of(mesh, normal, face), flange=[{"face": 2}])
    (b,) = r.values["bends"]
    assert b["line"] == "stretch"
    assert b["line_radius_mm"] == pytest.approx(50.0)
    assert b["edge_strain_pct"] == pytest.approx(100 * ((50 + 3 + 8) / 50 - 1), abs=0.1)


def test_a_flange_of_no_inner_radius_is_told():
    mesh, normal, face = prismatic([("line", 60.0), ("arc", 0.4, 90.0), ("line", 20.0)])
    r = work(tip=tipping_of(mesh, normal, face), flange=[{"face": 2}])
    assert r.values["bends"][0]["radius_mm"] == 0.0
    assert "bends.radius.1" in keys(r)


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"bend": [{"flange": 2}]}, "no flange 2"),
        ({"bend": [{"flange": 1}, {"flange": 1}], "flange": [LIP]}, "bent twice"),
        ({"bend": [OWN | {"angle": 180}]}, "lies back"),
        ({"bend": [{"angle": 90, "radius": 2, "leg": 20}]}, "length is not stated"),
        ({"bend": [{"kind": "hem", "length": 20}]}, "leg is not stated"),
        ({"bend": [OWN | {"line": "stretch"}]}, "no radius of it"),
        ({"bend": [OWN | {"line": "shrink", "line_radius": 50, "method": "v"}]}, "straight lines only"),
        ({"bend": [OWN | {"angle": 170, "method": "v"}]}, "V-die does not bend"),
        ({"bend": [{"flange": 1, "line": "shrink"}], "flange": [LIP]}, "no radius of it"),
        ({"up": {"press": Result()}}, "no press"),
        ({"up": {"sheet": sheet(Rm=math.nan)}}, "finite"),
        ({"up": {"sheet": sheet(E=0.0)}}, "more than 0"),
        ({"up": {"sheet": Result(values=sheet().values)}}, "hardening table"),
        ({"up": {"press": Result(values=press().values)}}, "no force curve"),
    ],
)
def test_what_cannot_be_worked_is_refused_in_one_sentence(stated, said):
    with pytest.raises(InputError, match=said):
        work(**stated)


@pytest.mark.parametrize(
    "bend",
    [
        {"angle": 181},
        {"angle": 0},
        {"radius": -1},
        {"leg": float("nan")},
        {"length": 0},
        {"rolling": 91},
        {"kind": "fold"},
        {"flange": 0},
        {"legs": 3},
    ],
)
def test_the_job_refuses_numbers_out_of_range(bend):
    with pytest.raises(InputError):
        parse({"bends": {"bend": [OWN | bend]}})


def test_a_draw_shape_of_another_part_is_refused():
    other = tipping_of(*prismatic([("line", 60.0), ("arc", 3.0, 90.0), ("line", 20.0)]))
    with pytest.raises(InputError, match="triangles"):
        work(flange=[LIP], up={"tipping": other})
    assert PLAIN.meshes["part"].mesh.area > 0

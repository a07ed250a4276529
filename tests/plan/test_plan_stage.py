"""The stage ``plan``: which operations share a die, forces of each stroke, presses, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from plan_jobs import bends, cutting, finding, keys, names, upstream, work

from diewright.errors import Cancelled, FileError, InputError
from diewright.job.schema import parse
from diewright.job.stage import InputFile, Result, canonical
from diewright.trim.plan.stage import STAGE
from diewright.watch import Watch

MANY = {
    "first trim": [("edge", "trim", 200.0), ("h1", "pierce", 20.0)],
    "second trim": [("line_1", "pierce", 10.0)],
    "cam": [("c1", "trim", 40.0), ("c2", "pierce", 8.0)],
}
BENT = bends(("flange", 5.0, 20.0), ("pre-hem", 5.0, 6.0), ("hem", 40.0, 8.0))


def test_operations_stand_in_their_order_and_share_dies_where_they_can():
    r = work({"cutting": cutting(MANY), "bends": BENT})
    assert names(r) == [
        ["blank"],
        ["draw 1"],
        ["trim", "pierce"],
        ["second pierce"],
        ["cam trim", "cam pierce"],
        ["flange"],
        ["pre-hem"],
        ["hem"],
    ]
    assert r.values["cycle_of"] == 2
    canonical(r.values)
    assert not {k for k in keys(r) if k.startswith(("plan.order", "plan.unclaimed", "plan.share"))}


def test_a_web_that_is_too_narrow_parts_piercing_from_the_trim():
    r = work({"cutting": cutting(webs=[(("edge", "h1"), 1.5), (("h1", "h2"), 0.5)])})
    assert names(r) == [["blank"], ["draw 1"], ["trim"], ["pierce"]]
    assert "1.5 mm" in finding(r, "plan.web.1").sentence
    assert names(work({"cutting": cutting(webs=[(("edge", "h1"), 2.5)])}))[2] == ["trim", "pierce"]
    assert names(work({"cutting": cutting(webs=[(("edge", "h1"), 2.5)])}, job={"trim": {"web_least": 3.0}}))[2] == ["trim"]


def test_a_flat_part_is_cut_and_not_drawn():
    r = work(upstream(operation="cutting", depth=0.5))
    assert names(r) == [["blank"], ["trim", "pierce"]]
    assert r.values["compound"] is None


def test_forces_are_the_sum_of_what_meets_the_sheet_at_each_height():
    r = work({"cutting": cutting(pad=7.0)}, stagger_steps=0, station=[{"operations": ["trim", "pierce"]}])
    s = r.values["stations"][2]
    assert s["force_flat_kN"] == pytest.approx(247.0)
    assert s["force_kN"] == pytest.approx(247.0)
    assert s["touch_height_mm"] == pytest.approx(2.0)  # through 1 mm, entry 1 mm
    load = r.tables["load_3"]
    assert load["height_above_bottom_mm"][-1] == 0.0
    assert (np.diff(load["height_above_bottom_mm"]) < 0).all()
    touched = (load["height_above_bottom_mm"] <= 2.0) & (load["height_above_bottom_mm"] > 1.51)
    assert load["force_kN"][touched] == pytest.approx(247.0)
    assert load["force_kN"][load["height_above_bottom_mm"] < 1.4] == pytest.approx(7.0)
    parted = work({"cutting": cutting(pad=7.0)}, stagger_steps=0, station=[{"operations": ["trim"]}, {"operations": ["pierce"]}])
    assert sum(x["force_flat_kN"] for x in parted.values["stations"][2:]) == pytest.approx(247.0)


def test_steps_lower_the_peak_to_the_largest_steel():
    r = work()
    s = r.values["stations"][2]
    assert (s["force_flat_kN"], s["force_kN"]) == (pytest.approx(240.0), pytest.approx(200.0))
    assert {x["piece"] for x in s["steps"]} == {"h1", "h2"}
    assert s["touch_height_mm"] == pytest.approx(3.0)  # the punches that follow must go through too
    assert finding(r, "plan.steps.3").value == pytest.approx(200.0)
    load = r.tables["load_3"]
    work_flat, work_stepped = (float(np.trapezoid(load[c], -load["height_above_bottom_mm"])) for c in ("flat_kN", "force_kN"))
    assert work_stepped == pytest.approx(work_flat, rel=1e-3)
    assert work(stagger_steps=0).values["stations"][2]["steps"] == []


def test_cams_cost_a_quarter_more_and_are_not_stepped():
    s = work({"cutting": cutting(MANY)}).values["stations"][4]
    assert s["force_flat_kN"] == pytest.approx(1.25 * 48.0)
    assert s["steps"] == []


def test_the_stagger_of_the_stage_cutting_is_taken_out_first():
    c = cutting()
    late = c.tables["force_h1"]
    c.tables["force_h1"] = {
        "stroke_mm": np.concatenate([[0.0, 1.0 - 1e-9], late["stroke_mm"] + 1.0]),
        **{n: np.concatenate([[0.0, 0.0], late[n]]) for n in ("flat_kN", "sheared_kN")},
    }
    assert work({"cutting": c}, stagger_steps=0).values["stations"][2]["force_kN"] == pytest.approx(240.0)


def test_stated_stations_come_first_and_the_rest_is_put_where_it_belongs():
    r = work({"bends": BENT}, station=[{"name": "cut", "operations": ["trim", "pierce", "flange"], "press": "Crank 1600 kN"}])
    assert names(r) == [["blank"], ["draw 1"], ["trim", "pierce", "flange"], ["pre-hem"], ["hem"]]
    assert r.values["unclaimed"] == ["blank", "draw 1", "pre-hem", "hem"]
    assert finding(r, "plan.unclaimed").severity == "attend"
    s = r.values["stations"][2]
    assert (s["name"], s["press"], s["stated"]) == ("cut", "Crank 1600 kN", True)
    assert s["force_kN"] == pytest.approx(205.0)


def test_a_part_of_an_automatic_station_may_be_claimed():
    r = work(station=[{"operations": ["pierce"]}])
    assert names(r) == [["blank"], ["draw 1"], ["trim"], ["pierce"]]
    assert r.values["stations"][2]["why"] == ""


def test_what_is_done_in_the_wrong_order_or_cannot_share_a_die_is_a_stop():
    order = [{"operations": ["trim"]}, {"operations": ["blank"]}, {"operations": ["draw 1"]}, {"operations": ["pierce"]}]
    assert finding(work(station=order), "plan.order").severity == "stop"
    either = [{"operations": ["blank"]}, {"operations": ["draw 1"]}, {"operations": ["pierce"]}, {"operations": ["trim"]}]
    assert "plan.order" not in keys(work(station=either))
    assert "plan.order" in keys(work({"bends": BENT}, station=[{"operations": ["hem"]}, {"operations": ["pre-hem"]}]))
    assert "plan.share.1" in keys(work(station=[{"operations": ["blank", "trim"]}]))
    assert "plan.share.3" in keys(work({"bends": BENT, "cutting": cutting({})}, station=[{"operations": ["flange", "hem"]}]))


def test_blank_and_draw_in_one_die_need_a_wall_between_them():
    r = work(compound=True)
    assert names(r)[0] == ["blank", "draw 1"]
    c = r.values["compound"]
    assert c["possible"]
    assert c["wall_mm"] == pytest.approx(50.0, abs=0.05)
    assert c["height_mm"] == pytest.approx(20.0 + 3.0 + 1.0)  # over draw, holder lead and the sheet itself
    load = r.tables["load_1"]
    assert load["force_kN"][load["height_above_bottom_mm"] > 23.6].max() == pytest.approx(240 * np.pi * 200 / 1000, rel=0.01)
    assert load["force_kN"][load["height_above_bottom_mm"] < 20.0].max() == pytest.approx(100.0, rel=0.01)
    thin = work(upstream(opening_d=190.0), compound=True)
    assert finding(thin, "plan.compound").severity == "stop"
    assert "plan.compound" not in keys(work(upstream(opening_d=190.0)))
    assert finding(work(), "plan.compound").severity == "note"
    weak = work(upstream(press="Crank 250 kN", depth=30.0, blank_d=300.0), compound=True, job={"press": {"name": "Crank 250 kN"}})
    assert finding(weak, "plan.compound").severity == "stop"
    assert "gives" in finding(weak, "plan.compound").sentence
    assert not work(upstream(faces=Result(values={"stroke": 20.0}))).values["compound"]["possible"]


def test_redraws_follow_with_what_the_wall_bears():
    rows = [
        {"diameter": 110.0, "stroke": 40.0, "height": 38.0, "holder_force": 3e4},
        {"diameter": 80.0, "stroke": 60.0, "height": 55.0, "holder_force": 1e4},
    ]
    r = work(upstream(draws=rows))
    assert names(r)[:3] == [["blank"], ["draw 1"], ["draw 2"]]
    assert r.values["stations"][2]["force_kN"] == pytest.approx(np.pi * 80 * 300 / 1000)
    assert r.values["stations"][1]["touch_height_mm"] == pytest.approx(43.0)


def test_presses_are_the_smallest_that_serve_or_the_one_stated():
    r = work()
    assert all(s["presses_that_serve"] > 0 for s in r.values["stations"])
    assert all(s["share_pct"] <= 80.0 for s in r.values["stations"])
    small = work(station=[{"operations": ["trim", "pierce"], "press": "Crank 250 kN"}], stagger_steps=0, job={"cutting": {"entry": 10.0}})
    assert finding(small, "plan.force.3").severity == "stop"
    assert work(upstream(press="Crank 2500 kN"), job={"press": {"name": "Crank 2500 kN"}}).values["stations"][1]["press"] == "Crank 2500 kN"
    huge = work({"cutting": cutting({"first trim": [("edge", "trim", 1e6)]})})
    assert finding(huge, "plan.press.3").severity == "stop"


def test_a_draw_that_touches_too_fast_is_told():
    r = work(upstream(press="Crank 1000 kN"), job={"press": {"name": "Crank 1000 kN", "strokes_per_minute": 60.0}})
    f = finding(r, "plan.speed.2")
    assert f.value > f.limit == 280.0


def test_the_press_that_does_not_open_wide_enough_is_a_stop():
    r = work(upstream(depth=90.0), station=[{"operations": ["trim", "pierce"], "press": "Crank 250 kN"}])
    assert finding(r, "plan.feed.3").severity == "stop"
    assert r.values["stations"][2]["window_s"] == 0.0


def test_a_press_that_does_not_open_wide_enough_is_not_chosen():
    low, high = work(upstream(depth=10.0)), work(upstream(depth=60.0))
    for r in (low, high):
        assert all(s["window_deg"] > 0.0 for s in r.values["stations"])
    assert low.values["stations"][2]["press_kN"] < high.values["stations"][2]["press_kN"]  # the same cut asks for the longer stroke


def test_a_transfer_adds_all_stations_at_each_height():
    r = work(feed="transfer")
    t = r.values["transfer"]
    load = r.tables["load_transfer"]
    at = load["height_above_bottom_mm"]
    each = [
        np.interp(at, r.tables[f"load_{k}"]["height_above_bottom_mm"][::-1], r.tables[f"load_{k}"]["force_kN"][::-1], right=0.0)
        for k in (1, 2, 3)
    ]
    assert load["force_kN"] == pytest.approx(sum(each), abs=1e-6)
    assert t["operations"] == ["blank", "draw 1", "trim", "pierce"]
    assert r.values["parts_per_hour"] == pytest.approx(t["parts_per_hour"])
    assert "plan.guard" not in keys(r)
    assert work(job={"job": {"quantity": 200_000}}).values["feed"] == "transfer"
    assert work(job={"job": {"quantity": 99_999}}).values["feed"] == "hand"
    slow = work(feed="transfer", transfer_time_s=40.0)
    assert finding(slow, "plan.feed.transfer").limit == 40.0
    assert slow.values["parts_per_hour"] < r.values["parts_per_hour"]


def test_a_person_who_loads_sets_the_pace():
    fast, slow = work(hand_time_s=4.0), work(hand_time_s=16.0)
    s = fast.values["stations"][1]
    assert s["parts_per_hour"] == pytest.approx(0.8 * 3600 / (60.0 / s["rate_per_min"] + 4.0))
    assert slow.values["parts_per_hour"] < fast.values["parts_per_hour"]
    assert "plan.guard" in keys(fast)


def test_safety_distances_are_told_where_the_stopping_time_is():
    assert work().values["safety"]["curtain_mm"] is None
    r = work(stop_time_s=0.32, engaging_points=1)
    assert r.figure("plan_curtain").value == pytest.approx(512.0)
    assert r.figure("plan_us_distance").value == pytest.approx(63 * 25.4 * 0.32)
    assert r.figure("plan_trip").value == pytest.approx(63 * 25.4 * 1.5 * 60 / r.values["stations"][1]["rate_per_min"])


def test_the_blanks_of_a_shape_with_two_parts_count_twice():
    two = upstream()
    two["blank"].values["parts"] = 2
    assert work(two).values["stations"][1]["parts_per_hour"] == pytest.approx(2 * work().values["stations"][1]["parts_per_hour"])


@pytest.mark.parametrize(
    ("up", "stated", "said"),
    [
        ({}, {"station": [{"operations": ["polish"]}]}, "no operation 'polish'"),
        ({}, {"station": [{"operations": ["trim"]}, {"operations": ["trim"]}]}, "claimed twice, by stations 1 and 2"),
        ({}, {"station": [{"operations": ["trim", "trim"]}]}, "claimed twice"),
        ({}, {"station": [{"operations": ["draw 2"]}]}, "no operation 'draw 2'"),
        ({}, {"station": [{"operations": ["trim"], "press": "Steam hammer"}]}, "no press called"),
        ({"press": Result()}, {}, "no press is chosen"),
        ({"press": Result(values=upstream()["press"].values)}, {}, "no force curve"),
        ({"shape": Result(values={"depth": float("nan")})}, {}, "finite"),
        ({"shape": Result()}, {}, "finite"),
        ({"blank": Result(values={"perimeter": -1.0, "bbox": [9, 9]})}, {}, "more than 0"),
        ({"blank": Result(values={"perimeter": 10.0})}, {}, "two lengths"),
        ({"cutting": Result()}, {}, "finite"),
        ({"cutting": cutting({"laser": [("a", "trim", 1.0)]})}, {}, "not known here"),
        ({"cutting": Result(values=cutting().values)}, {}, "no force curve"),
        ({"bends": Result(values=bends(("flange", 1, 1)).values)}, {}, "no force curve"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_one_sentence(up, stated, said):
    with pytest.raises(InputError, match=said):
        work(up, **stated)


def test_a_force_that_is_no_number_is_refused():
    c = cutting()
    c.tables["force_h1"]["sheared_kN"][3] = np.nan
    with pytest.raises(InputError, match="'h1' is no number"):
        work({"cutting": c})


@pytest.mark.parametrize(
    "stated",
    [
        {"feed": "robot"},
        {"stagger_steps": 6},
        {"hand_time_s": float("nan")},
        {"efficiency": 0},
        {"station": [{"operations": []}]},
        {"curtain_mm": 10},
        {"engaging_points": 0},
        {"stop_time_s": -1},
    ],
)
def test_the_job_refuses_what_is_out_of_range(stated):
    with pytest.raises(InputError):
        parse({"plan": stated})


def test_own_presses_of_the_job_serve_and_a_bad_table_is_refused(tmp_path):
    text = '[[press]]\nname = "Old one"\nkind = "hydraulic"\nforce_kn = 900\nstroke_mm = 500\nspeed_mm_s = 20\nstrokes_per_minute = [5, 10]\nbed_mm = [1500, 1200]\nshut_height_mm = 400\ncushion_kn = 200\ncushion_stroke_mm = 200\n'
    (tmp_path / "presses.toml").write_text(text)
    job = parse({"press": {"name": "own:Old one"}})
    assert STAGE.files(job) == {"press.name": "presses.toml"}
    file = InputFile.of(tmp_path, "presses.toml", "press.name")
    up = upstream()
    up["press"].values["press"]["name"] = "Old one"
    r = STAGE.work(STAGE.inputs(job), up, {"press.name": file}, Watch())
    assert {s["press"] for s in r.values["stations"]} == {"Old one"}
    (tmp_path / "presses.toml").write_text("[[press]]\nname = 3")
    with pytest.raises(FileError):
        STAGE.work(STAGE.inputs(job), up, {"press.name": file}, Watch())


def test_it_can_be_stopped():
    class Stop(Watch):
        def step(self, *args, **more):
            raise Cancelled

    with pytest.raises(Cancelled):
        STAGE.work(STAGE.inputs(parse({})), upstream(), {}, Stop())

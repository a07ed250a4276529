"""The stage ``cutting`` on hand-made trims: what it hands over, what it finds, what it refuses."""

from __future__ import annotations

import numpy as np
import pytest
from cutting_jobs import circle, cut, keys, rectangle, upstream, work

from diewright.errors import Cancelled, InputError
from diewright.job.schema import parse
from diewright.job.stage import Result, canonical
from diewright.trim.loads.stage import STAGE
from diewright.watch import Watch

RIM = cut("rim", rectangle(300, 200), kind="trim")
HOLE = cut("h1", circle(8, (40, 20, 0)), diameter=8.0)


def finding(r: Result, key: str):
    return next(f for f in r.findings if f.key == key)


def test_a_plain_trim_is_the_handbook_force_and_all_columns_are_there():
    r = work(RIM, HOLE, wear=1.0)
    o = r.values["operations"][0]
    length = 1000.0 + 8 * 720 * np.sin(np.pi / 720)
    assert o["flat_kN"] == pytest.approx(240 * length / 1000, rel=1e-9)
    assert o["sheared_kN"] == pytest.approx(o["flat_kN"])
    assert o["touch_height_mm"] == pytest.approx(2.0)
    force = r.tables["force"]
    assert set(force) >= {"stroke_mm", "height_above_bottom_mm", "flat_kN", "sheared_kN", "pad_kN", "slide_kN", "capacity_kN"}
    assert (np.diff(force["stroke_mm"]) > 0).all()
    assert force["height_above_bottom_mm"][-1] == pytest.approx(0.0)
    assert force["slide_kN"] == pytest.approx(force["sheared_kN"] + force["pad_kN"])
    parts = [
        np.interp(force["stroke_mm"], r.tables[f"force_{c}"]["stroke_mm"], r.tables[f"force_{c}"]["sheared_kN"], right=0.0)
        for c in ("rim", "h1")
    ]
    assert np.abs(sum(parts) - force["sheared_kN"]).max() < 0.01 * o["flat_kN"]
    for name in ("cuts", "punches", "springs"):
        assert len({len(c) for c in r.tables[name].values()}) == 1, name
    canonical(r.values)  # JSON without nan


def test_the_stage_says_the_same_twice():
    a, b = work(RIM, HOLE, shear="scallop", shear_depth=2.0), work(RIM, HOLE, shear="scallop", shear_depth=2.0)
    assert canonical(a.values) == canonical(b.values)
    assert a.findings == b.findings


def test_the_clearance_lies_outside_punch_and_post():
    r = work(RIM, HOLE, clearance=10.0)
    inner, outer = r.arrays["inner_rim"], r.arrays["outer_rim"]
    assert np.ptp(outer, axis=0) - np.ptp(inner, axis=0) == pytest.approx([0.2, 0.2])
    h = next(c for c in r.values["cuts"] if c["id"] == "h1")
    assert h["die_mm"] - h["punch_mm"] == pytest.approx(0.2)
    assert h["punch_mm"] == pytest.approx(8 + 0.75 * 0.09)


def test_shear_lowers_the_force_but_not_the_work_and_the_handbook_lies_below():
    plain, waves = work(RIM), work(RIM, shear="scallop", shear_depth=2.0, shear_pitch=50.0)
    a, b = plain.values["operations"][0], waves.values["operations"][0]
    assert b["flat_kN"] == pytest.approx(a["flat_kN"])
    assert b["sheared_kN"] < 0.3 * a["flat_kN"]
    assert b["work_J"] == pytest.approx(a["work_J"])
    assert b["released_kN"] < 0.2 * a["released_kN"]
    handbook = waves.figure("cutting_force_handbook").value
    assert handbook == pytest.approx(288_000 * 0.5 / 2.5)
    assert handbook < 1000 * b["sheared_kN"]
    assert plain.figure("cutting_work_handbook").value == pytest.approx(1000 * a["flat_kN"] * 0.5 / 1000)
    assert "cutting_force_handbook" not in {f.key for f in plain.figures}


def test_staggered_punches_take_their_turn_the_largest_first():
    holes = [cut(f"h{i}", circle(d, (20.0 * i, 0, 0), n=120), diameter=d) for i, d in enumerate((10.0, 12.0, 12.0, 10.0))]
    together, apart = work(*holes), work(*holes, stagger=1.0)
    assert [c["group"] for c in apart.values["cuts"]] == [1, 0, 0, 1]
    first = sum(c["flat_kN"] for c in apart.values["cuts"] if c["group"] == 0)
    o = apart.values["operations"][0]
    assert together.values["operations"][0]["sheared_kN"] == pytest.approx(o["flat_kN"])
    assert first * (1 - 1e-9) <= o["sheared_kN"] < 1.1 * first
    assert o["touch_height_mm"] == pytest.approx(together.values["operations"][0]["touch_height_mm"] + 1.0)


def test_a_level_trim_steel_meets_a_rim_bit_by_bit():
    points = rectangle(300, 200)
    points[:, 2] = 0.05 * points[:, 0]
    line = cut("rim", points, kind="trim", lean=np.degrees(np.arctan(0.05)))
    follow, level = work(line), work(line, trim_steel="level")
    assert level.values["operations"][0]["flat_kN"] < 0.6 * follow.values["operations"][0]["flat_kN"]
    assert level.values["operations"][0]["touch_height_mm"] == pytest.approx(15 + 1.00125 + 1.0, abs=1e-3)
    assert finding(level, "cutting.level.rim").severity == "note"
    assert "cutting.level.rim" not in keys(follow)
    assert level.values["operations"][0]["work_J"] == pytest.approx(follow.values["operations"][0]["work_J"])


def test_operations_are_apart_and_cams_load_the_slide_more():
    cam = cut("slot", circle(8, (0, 0, 0))[:, [2, 0, 1]] + [150, 0, -20], operation="cam", direction=(-1, 0, 0), diameter=8.0)
    r = work(RIM, HOLE, cam)
    assert [o["name"] for o in r.values["operations"]] == ["first trim", "cam"]
    slot = next(c for c in r.values["cuts"] if c["id"] == "slot")
    assert r.values["operations"][1]["sheared_kN"] == pytest.approx(1.25 * slot["sheared_kN"])
    assert slot["burr_side"] == "upper"
    assert r.values["operations"][1]["strippers"][0]["of"] == "slot"
    assert {"force_operation_1", "force_operation_2", "force_slot"} <= set(r.tables)


def test_a_line_with_stretches_of_cams_is_cut_by_pieces():
    entry, points, lean, thickness = cut("edge", circle(60, n=240), kind="trim", operation="cam", lean=90.0)
    a = 2 * np.pi * (np.arange(4) * 60 + 30) / 240
    entry |= {
        "cams": [
            {"from": 60 * i, "to": (60 * i + 60) % 240, "direction": [-np.cos(a[i]), -np.sin(a[i]), 0.0], "lean_max_deg": 30.0}
            for i in range(4)
        ]
    }
    points = points + np.array([0.0, 0.0, 5.0])
    r = work((entry, points, lean, thickness))
    assert [c["id"] for c in r.values["cuts"]] == [f"edge_cam_{i}" for i in (1, 2, 3, 4)]
    across = 60 * np.sin(np.pi / 4)  # each quarter as its steel sees it
    assert [c["length_mm"] for c in r.values["cuts"]] == pytest.approx([across] * 4, rel=1e-3)
    assert "cutting.lean" not in keys(r)


def test_springs_hold_the_stripping_force_and_the_pad_shows_in_the_curve():
    r = work(RIM, HOLE)
    s = r.values["operations"][0]["strippers"][0]
    sharp = sum(c["sharp_kN"] for c in r.values["cuts"])
    assert s["force_kN"] == pytest.approx(0.15 * sharp)
    assert s["preload_kN"] >= s["force_kN"] * (1 - 1e-9)
    assert s["work_mm"] == pytest.approx(3 + 1 + 1)
    assert r.tables["force"]["pad_kN"][-1] == pytest.approx(s["end_kN"])
    assert r.tables["force"]["pad_kN"][0] > s["preload_kN"]
    assert s["off_mm"] < 5


def test_the_burr_is_told_only_on_the_face_that_is_seen():
    assert finding(work(RIM), "cutting.burr_side").severity == "attend"
    assert "cutting.burr_side" not in keys(work(RIM, visible="upper"))
    assert finding(work(cut("rim", rectangle(300, 200), kind="trim", direction=(0, 0, 1)), visible="upper"), "cutting.burr_side").value > 0


@pytest.mark.parametrize(
    ("cuts", "stated", "up", "key", "severity"),
    [
        ([RIM], {}, {"press": "Crank 250 kN"}, "cutting.overload.first_trim", "stop"),
        ([RIM], {}, {"press": "Crank 400 kN"}, "cutting.overload.first_trim", "attend"),
        ([RIM], {}, {"press": "Crank 630 kN"}, "cutting.snap.first_trim", "stop"),
        ([RIM], {}, {}, "cutting.snap.first_trim", "attend"),
        ([RIM], {"shear": "slope", "shear_depth": 40.0}, {"press": "Crank 250 kN", "energy_continuous_kj": 0.05}, "cutting.energy.first_trim", "stop"),
        ([RIM], {"shear": "roof", "shear_depth": 3.0}, {}, "cutting.shear_depth", "attend"),
        ([RIM], {"shear": "slope", "shear_depth": 200.0}, {}, "cutting.stroke.first_trim", "stop"),
        ([RIM], {"entry": 45.0, "springs": "gas"}, {"press": "Crank 400 kN"}, "cutting.height.first_trim", "stop"),
        ([RIM], {"press_centre": (150.0, 0.0)}, {}, "cutting.centre.first_trim.x", "attend"),
        ([RIM], {"clearance": 40.0}, {}, "cutting.clearance", "attend"),
        ([RIM], {"clearance": 0.0}, {}, "cutting.clearance", "attend"),
        ([RIM], {"shear_strength": 250.0, "clearance": 8.0}, {"family": "titanium"}, "cutting.material", "attend"),
        ([RIM], {"pad_lead": 100.0, "entry": 100.0}, {}, "cutting.springs.first_trim", "attend"),
        ([cut("h", circle(0.45), diameter=0.45)], {}, {}, "cutting.hole_small", "attend"),
        ([cut("h", circle(0.9), diameter=0.9)], {"punch_guide": "free"}, {}, "cutting.hole_small", "attend"),
        ([cut("h", rectangle(20, 0.4))], {}, {}, "cutting.hole_small", "attend"),
        ([cut("h", circle(0.45), diameter=0.45)], {}, {}, "cutting.punch_stress", "stop"),
        ([cut("h", circle(0.85), diameter=0.85)], {}, {}, "cutting.punch_stress", "attend"),
        ([cut("h", circle(2.0), diameter=2.0)], {"punch_guide": "free"}, {}, "cutting.buckling", "stop"),
        ([cut("h", circle(5.0), diameter=5.0)], {"punch_guide": "free"}, {}, "cutting.buckling", "attend"),
        ([cut("a", circle(10), diameter=10.0), cut("b", circle(10, (10.6, 0, 0)), diameter=10.0)], {}, {}, "cutting.web", "stop"),
        ([cut("a", circle(10), diameter=10.0), cut("b", circle(10, (10.6, 0, 0)), diameter=10.0, operation="second trim")], {}, {}, "cutting.web", "attend"),
        ([RIM, cut("a", circle(10, (144.5, 0, 0)), diameter=10.0)], {}, {}, "cutting.edge", "stop"),
        ([cut("h", circle(8), diameter=8.0, lean=85.0)], {}, {}, "cutting.lean", "stop"),
        ([cut("h", circle(30), diameter=30.0, thickness=np.where(np.arange(720) < 9, np.nan, 1.0))], {}, {}, "cutting.thickness", "note"),
        ([cut("h", circle(30), diameter=30.0)], {"clearance": 1.0}, {}, "cutting.paired", "note"),
        ([], {}, {}, "cutting.none", "note"),
    ],
)  # fmt: skip
def test_what_is_found(cuts, stated, up, key, severity):
    r = work(*cuts, up=up, **stated)
    f = finding(r, key)
    assert f.severity == severity, f
    assert f.sentence.endswith(".")
    assert f.source
    assert f.help or key == "cutting.thickness"
    if key in ("cutting.web", "cutting.edge", "cutting.hole_small", "cutting.buckling", "cutting.lean") or "overload" in key:
        assert f.place is not None
        assert len(f.place.points) >= 1
    canonical(r.values)


def test_a_sound_job_has_nothing_to_stop_it():
    r = work(RIM, HOLE, shear="scallop", shear_depth=1.5, shear_pitch=60.0, visible="upper")
    assert [f for f in r.findings if f.severity != "note"] == []


def test_a_level_punch_on_a_slope_is_told():
    points = circle(20, n=90)
    points[:, 2] = 0.4 * points[:, 0]
    r = work(cut("H 1/ä", points, lean=21.8))
    assert finding(r, "cutting.level.h_1__").severity == "attend"


@pytest.mark.parametrize(
    ("before", "says"),
    [
        (lambda u: u["sheet"].values.update(family="wood"), "no shear strength for a metal of the family 'wood'"),
        (lambda u: u["sheet"].values.update(Rm=float("nan")), "Rm is nan"),
        (lambda u: u["sheet"].values.pop("Rm"), "Rm is nan"),
        (lambda u: u["press"].values.update(press=None), "no press is chosen"),
        (lambda u: u["press"].tables.pop("force_stroke"), "gives no force curve"),
        (lambda u: u["trim"].arrays.pop("cut_rim"), "no array 'cut_rim'"),
        (lambda u: u["trim"].values["cuts"][0].update(kind="saw"), "its kind is 'saw'"),
        (lambda u: u["trim"].values["cuts"].append(dict(u["trim"].values["cuts"][0])), "same name"),
        (lambda u: u["trim"].arrays.update(cut_rim=np.array([[0, 0, 0], [10, 10, 0], [10, 0, 0], [0, 10.0, 0]])), None),
    ],
)  # fmt: skip
def test_what_is_refused(before, says):
    up = upstream(cut("rim", rectangle(300, 200), kind="trim"))
    before(up)
    if says is None:  # a trim line that crosses itself is still cut, its sizes are those of what is enclosed
        assert work(before=up).values["operations"][0]["flat_kN"] > 0
        return
    with pytest.raises(InputError, match=says) as error:
        work(before=up)
    assert error.value.help


def test_a_hole_that_crosses_itself_is_refused():
    with pytest.raises(InputError, match="crosses itself"):
        work(cut("h", np.array([[0, 0, 0], [10, 10, 0], [10, 0, 0], [0, 10.0, 0]])))


@pytest.mark.parametrize(
    "stated",
    [
        {"clearance": -5.0}, {"wear": 0.5}, {"penetration": 0.0}, {"shear": "waves"}, {"shear_pitch": 0.0}, {"stagger_groups": 0}, {"punch_length": 5.0}, {"press_centre": "left"}, {"shear_strength": float("inf")},
        {"visible": "front"}, {"entry": -1.0}, {"hole_tolerance": -0.1}, {"springs": "rubber"},
    ],
)  # fmt: skip
def test_a_field_that_makes_no_sense_is_one_sentence(stated):
    with pytest.raises(InputError, match=f"cutting.{next(iter(stated))}: .*cannot be used"):
        parse({"cutting": stated})


def test_the_person_can_stop_it():
    job = parse({})
    with pytest.raises(Cancelled):
        STAGE.work(STAGE.inputs(job), upstream(RIM, HOLE), {}, Watch(cancelled=lambda: True))

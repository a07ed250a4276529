"""The stage on a channel, a flat sheet and copies; what is stated decides, and what is wrong is one sentence."""

from __future__ import annotations

import numpy as np
import pytest
from finish_parts import channel, faces_of, finished, upstream

from diewright.errors import Cancelled, DeskError, InputError
from diewright.finish.rack.layout import fit_count
from diewright.finish.stage import STAGE
from diewright.finish.surface import STAGE as SURFACE
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.prove.finish import profile
from diewright.watch import Watch


@pytest.fixture(scope="module")
def usual() -> Result:
    return finished()


def keys(r: Result) -> dict[str, str]:
    return {f.key: f.severity for f in r.findings}


def flat(width: float = 200.0, length: float = 100.0) -> TriMesh:
    return profile(np.column_stack([np.linspace(0, width, 41), np.zeros(41)]), length, 20)


def test_ball_and_corner_strips_on_a_channel(usual: Result) -> None:
    m = usual.meshes["part"]
    mesh, side = m.mesh, usual.values["side"]
    assert side == "lower"  # the bottom hangs below the flanges: the outside
    flange = faces_of(mesh) == 3
    x = np.abs(mesh.centroids[:, 0])
    # below, a ball of 20 mm and half the sheet keep 10.5 mm off the wall's middle
    assert m.cell["ball_lower"][flange & (x > 30 + 13)].min() == 1.0
    assert m.cell["ball_lower"][flange & (x < 30 + 8)].max() == 0.0
    assert m.cell["ball_upper"][flange].min() == 1.0
    assert m.cell["significant"].tolist() == (m.cell["ball_lower"] >= 0.5).astype(float).tolist()
    assert m.cell["significant_upper"].max() == 0.0
    strip = 120.0 * 2 * 10.5
    assert usual.values["ball_share"]["lower"] == pytest.approx(1.0 - 2 * strip / mesh.area, abs=0.02)  # beside flange and wall
    assert usual.figure("finish.significant").value == pytest.approx(1e-2 * (mesh.areas * m.cell["significant"]).sum())


def test_nothing_of_it_is_a_recess_for_the_wheel_but_a_narrow_channel_is(usual: Result) -> None:
    assert [k for k in keys(usual) if k.startswith("finish.recess")] == []
    narrow = finished(channel(width=35.0, depth=25.0, flange=60.0), side="upper")
    assert narrow.values["recesses"][0]["area"] == pytest.approx((35.0 + 2 * 25.0) * 120.0)  # the far wall is in the way of both walls too
    assert keys(narrow)["finish.recess.1"] == "attend"
    slim = finished(channel(width=35.0, depth=25.0, flange=60.0), side="upper", wheel_width=30.0)
    assert [r["area"] for r in slim.values["recesses"]] == pytest.approx([3000.0, 3000.0])  # it goes along the bottom
    regions = narrow.tables["regions"]
    assert regions["kind"][0] == 0.0
    assert regions["side"][0] == 1.0
    assert narrow.tables["points"]["recess"].sum() == 1.0


def test_micrometres_and_classes(usual: Result) -> None:
    v = usual.values
    assert (v["class"], v["nickel_um"], v["chromium_um"], v["serves"]) == ("Fe/Ni20b Cr r", 20.0, 0.3, 2)
    assert keys(usual)["finish.class"] == "attend"
    stated = finished(service=4)
    assert stated.values["class"] == "Fe/Ni40d Cr r"
    assert "finish.class" not in keys(stated)
    assert [t["hours"] for t in stated.values["tests"] if t["test"] == "corrosion"] == [24.0]
    assert finished(service=5).values["class"] == "Fe/Ni35d Cr mp"  # no regular chromium there
    own = finished(service=4, nickel_um=26.0, chromium_um=0.3)
    assert own.values["serves"] == 3
    assert keys(own)["finish.class_short"] == "attend"
    assert "finish.class_short" not in keys(finished(service=3, nickel_um=26.0, chromium_um=0.3, chromium="mc"))
    assert keys(finished(base="zinc", service=3))["finish.class_source"] == "attend"
    assert finished(base="zinc", service=3).values["copper_um"] == 5.0
    brass = finished(before=upstream(channel(), family="brass"), service=1)
    assert brass.values["base"] == "copper"


def test_faces_and_points_pick_what_counts() -> None:
    mesh = channel()
    flange = finished(mesh, significant=[3])
    assert flange.values["picked_mm2"] == pytest.approx(2 * 40 * 120)
    by_point = finished(mesh, significant=[], significant_points=[(0.0, 10.0, -30.0)])
    assert by_point.values["faces"] == [1]
    assert by_point.values["picked_mm2"] == pytest.approx(60 * 120)
    assert by_point.meshes["part"].cell["removed_um"][faces_of(mesh) != 1].max() == 0.0
    both = finished(mesh, significant="all")
    assert both.values["picked_mm2"] == pytest.approx(2 * mesh.area)
    assert {"finish.ball.upper", "finish.ball.lower"} <= set(keys(both))
    spots = both.tables["points"]
    assert set(spots["side"]) == {1.0, -1.0}
    # what is polished on both sides loses both
    assert 1.0 - both.values["thickness_left_min"] == pytest.approx(2e-3 * both.values["removed_max_um"])


def test_strain_roughens_and_a_slid_wall_is_scratched_on_the_die_side() -> None:
    mesh = channel()
    strain = np.where(faces_of(mesh) == 1, 0.3, 0.0)
    r = finished(mesh, upstream(mesh, strain=strain), grain_um=30.0, peel_factor=0.2, start_ra_um=0.5)
    ra = r.meshes["part"].cell["start_ra_um"]
    assert ra[faces_of(mesh) == 1] == pytest.approx(0.5 + 0.2 * 30 * 0.3)
    assert ra[faces_of(mesh) != 1] == pytest.approx(0.5)
    slid = finished(mesh, upstream(mesh, slide=5.0), scratch_um=40.0)
    assert (slid.meshes["part"].cell["scratched"] == (faces_of(mesh) == 2)).all()
    assert slid.values["removed_max_um"] > finished(mesh, upstream(mesh, slide=2.0), scratch_um=40.0).values["removed_max_um"] + 30
    assert finished(mesh, upstream(mesh, slide=5.0), side="upper").meshes["part"].cell["scratched"].max() == 0.0


def test_thickness_left_is_the_drawn_one_less_what_all_steps_take(usual: Result) -> None:
    mesh = channel()
    drawn = np.where(np.arange(len(mesh.triangles)) == 77, 0.8, 0.95)
    r = finished(mesh, upstream(mesh, thickness=drawn))
    removed = r.meshes["part"].cell["removed_um"]
    assert r.meshes["part"].cell["thickness_left"] == pytest.approx(drawn - 1e-3 * removed)
    steps = r.tables["steps"]
    assert removed.max() == pytest.approx(steps["stock_to_um"].sum())
    assert (np.diff(steps["ra_to_um"]) < 0).all()
    assert steps["stock_to_um"][1:] == pytest.approx(1.5 * 6.0 * steps["ra_to_um"][:-1])
    thin = finished(mesh, upstream(mesh, thickness=drawn), least_thickness=0.8 - 1e-3 * removed[77] + 1e-6)
    assert keys(thin)["finish.thin"] == "attend"
    at = next(f for f in thin.findings if f.key == "finish.thin")
    assert at.place.points[0] == pytest.approx(tuple(mesh.centroids[77]))
    assert "finish.thin" not in keys(finished(mesh, upstream(mesh, thickness=drawn), least_thickness=0.8 - 1e-3 * removed[77] - 1e-6))
    assert keys(finished(mesh, upstream(mesh, thickness=0.03), least_thickness=0.5))["finish.thin"] == "stop"


def test_grits_wheel_and_rough_ends() -> None:
    r = finished(grits=[80, 320], buff="none", polish_ra_um=0.4, wheel_mm=200.0)
    assert r.tables["steps"]["grit"].tolist() == [80.0, 320.0]
    assert keys(r)["finish.rough"] == "attend"
    assert keys(r)["finish.jump.320"] == "attend"
    assert keys(r)["finish.wheel"] == "stop"  # 3638 turns a minute for 38 m/s
    assert r.tables["steps"]["rpm"][0] == pytest.approx(60_000 * 38.1 / (np.pi * 200.0))
    calm = keys(finished(grits=[180, 240, 320], buff="bright"))
    assert not {"finish.rough", "finish.wheel"} & set(calm)
    area, minutes = r.values["effort"]["area_cm2"], r.values["effort"]["minutes"]
    assert minutes == pytest.approx([2 * area / 400.0, 2 * area / 100.0])


def test_the_rack_is_as_full_as_its_tightest_limit_lets_it_be() -> None:
    r = finished(flat(), service=2, rack_width=1000.0, rack_height=500.0, spine_mm2=5000.0, current_density=4.0)
    rack = r.values["rack"]
    # 201 x 101 mm with 40 mm between: 4 across and 3 down
    assert (rack["columns"], rack["rows"], rack["binding"]) == (4, 3, "room")
    area = 1e-4 * (2 * 200 * 100 + 1.0 * 600)
    assert rack["area_dm2"] == pytest.approx(area)
    assert rack["current_A"] == pytest.approx(4.0 * area)
    assert rack["load_kg"] == pytest.approx(8.0 + 12 * 200 * 100 * 1e-9 * 7850)
    assert rack["immersed_mm"] == pytest.approx(80 + 3 * 101 + 2 * 40)
    assert r.tables["rack"]["across_mm"].sum() == pytest.approx(0.0)
    assert r.values["take_over"]["fields"]["plating.columns"] == 4
    assert r.values["take_over"]["fields"]["line.parts_per_rack"] == 12
    weak = finished(flat(), rack_width=1000.0, rack_height=500.0, spine_mm2=60.0, current_density=4.0).values["rack"]
    assert weak["binding"] == "spine"
    assert weak["parts"] * weak["current_A"] <= 60.0 * 1.5
    turned = finished(flat(), rack_width=1000.0, rack_height=500.0, spine_mm2=5000.0, current_density=4.0, up=(1, 0, 0)).values["rack"]
    assert turned["size"] == pytest.approx([101.0, 1.0, 201.0])


def test_the_last_part_needs_no_gap_behind_it() -> None:
    assert [fit_count(room, 200.0, 40.0) for room in (199.0, 200.0, 439.0, 440.0, 680.0)] == [0, 1, 1, 2, 3]


def test_take_over_can_be_stated_in_the_job() -> None:
    fields = finished(flat()).values["take_over"]["fields"]
    data: dict = {}
    for path, value in fields.items():
        table, name = path.split(".")
        data.setdefault(table, {})[name] = value
    assert parse(data).plating.columns == fields["plating.columns"]


def test_contacts_are_high_at_an_edge_and_off_what_counts_where_that_can_be() -> None:
    mesh = channel()
    r = finished(mesh, before=upstream(mesh), significant=[1], hook_a=5.0)
    c = r.tables["contacts"]
    rim = {tuple(np.round(p, 6)) for p in mesh.points[mesh.boundary_loops[0]]}
    assert all(tuple(np.round(p, 6)) in rim for p in np.column_stack([c["x_mm"], c["y_mm"], c["z_mm"]]))
    assert len(c["x_mm"]) == r.values["rack"]["contacts"] == max(2, int(np.ceil(r.values["rack"]["current_A"] / 5.0)))
    assert c["marks_mm2"].max() == 0.0
    assert c["below_top_mm"].max() <= 0.35 * r.values["rack"]["size"][2]
    across = np.column_stack([c["x_mm"], c["y_mm"], c["z_mm"]]) @ np.cross(r.values["rack"]["facing"], r.values["rack"]["up"])
    at = np.column_stack([c["x_mm"], c["y_mm"], c["z_mm"]])
    assert min(np.linalg.norm(a - b) for i, a in enumerate(at) for b in at[:i]) >= 20.0  # each has room for its hook
    assert across[0] * across[1] < 0  # both sides of the centre of gravity
    assert keys(finished(mesh))["finish.marks"] == "note"


def test_copies_in_one_draw_give_the_thickness_of_the_first() -> None:
    mesh = channel()
    m = len(mesh.triangles)
    twice = np.concatenate([np.arange(m), np.arange(m), [-1]])
    thickness = np.concatenate([np.full(m, 0.9), np.full(m, 0.7), [0.1]])
    r = finished(mesh, upstream(mesh, of=twice, thickness=thickness))
    assert r.values["thickness_left_min"] == pytest.approx(0.9 - 1e-3 * r.values["removed_max_um"])
    half = finished(mesh, upstream(mesh, of=np.arange(m // 2), thickness=0.6))
    assert keys(half)["finish.unknown"] == "note"
    assert half.meshes["part"].cell["known"].sum() == m // 2
    assert half.meshes["part"].cell["thickness_left"][m // 2 :].max() > 0.8


def test_choices_and_rates() -> None:
    v = finished().values["alternatives"]
    assert [a["key"] for a in v] == ["chromium_vi", "chromium_iii", "zinc_nickel", "powder", "stainless"]
    assert v[0]["relative_cost"] == [1.0, 1.0]
    assert all("estimate of ours" in a["source"] for a in v)
    own = finished(cost_chromium_vi=50.0, cost_powder=20.0, service=4).values["alternatives"]
    powder = own[3]
    assert powder["relative_cost"] == pytest.approx([0.4, 0.4])
    assert powder["part_cost"] == pytest.approx(20.0 * 2e-6 * channel().area)
    assert powder["serves"] is False  # service condition 4
    assert finished(cost_powder=20.0).values["alternatives"][3]["relative_cost"] is None


def test_every_number_can_be_opened_and_cautions_are_there(usual: Result) -> None:
    assert all(f.formula and f.source for f in usual.figures if f.key != "finish.chromium")
    text = " ".join(usual.values["cautions"])
    assert all(
        word in text
        for word in ("5 µg/m3", "0.005 mg/m3", "17 January 2025", "21 September 2017", "Nickel salts", "wheel", "codes of your country")
    )


@pytest.mark.parametrize(
    ("stated", "where", "words"),
    [
        ({"significant": [9]}, "finish.significant", "the part has no face 9"),
        ({"significant": []}, "finish.significant", "no face and no point is picked"),
        ({"significant_points": [(0, 0, 0)]}, "finish.significant_points", "significant is 'visible' already"),
        ({"significant": [], "significant_points": [(0, 0, 500)]}, "finish.significant_points", "lies 501 mm off"),
        ({"significant": [1], "ball_mm": 200.0, "side": "upper"}, "finish.significant", "a ball of 200 mm touches nothing"),
        ({"least_thickness": 1.5}, "finish.least_thickness", "1.5 mm are to be left of a sheet of 1 mm"),
        ({"service": 1, "chromium": "mc"}, "finish.chromium", "no class with chromium 'mc'"),
        ({"grits": [40, 80]}, "finish.grits", "no chart tells what grit 40 leaves"),
        ({"rack_width": 30.0}, "finish.rack_width", "does not go into"),
        ({"rack_kg": 40.0}, "finish.rack_load_kg", "not one part"),
        ({"rectifier_a": 1.0}, "finish.rectifier_a", "not one part"),
        ({"spine_mm2": 0.5}, "finish.spine_mm2", "not one part"),
        ({"up": (0, 0, 1.0)}, "finish.up", "nearly the same"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_one_sentence(stated: dict, where: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        finished(**stated)
    assert caught.value.where == where
    assert caught.value.help


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ({"wheel_mm": 0}, "finish.wheel_mm"), ({"service": 6}, "finish.service"), ({"service": "hard"}, "finish.service"), ({"base": "lead"}, "finish.base"), ({"nickel_um": -3}, "finish.nickel_um"),
        ({"ball_mm": float("nan")}, "finish.ball_mm"), ({"grits": [320, 180]}, "from coarse to fine"), ({"grits": []}, "from coarse to fine"), ({"rate_cm2_min": (400, 100)}, "may not be more than the second"),
        ({"readings_file": "../up.csv"}, "inside the job folder"), ({"up": (0, 0, 0)}, "length above zero"), ({"significant": "seen"}, "finish.significant"), ({"plan_points": 0}, "finish.plan_points"),
    ],
)  # fmt: skip
def test_what_cannot_be_stated_is_refused_by_the_job(stated: dict, words: str) -> None:
    with pytest.raises(DeskError, match=words):
        parse({"finish": stated})


def test_a_sheet_without_a_base_metal_asks_for_one() -> None:
    with pytest.raises(InputError, match="know no base metal for a sheet of the family 'titanium'"):
        finished(before=upstream(channel(), family="titanium"))


def test_it_can_be_stopped() -> None:
    class Stop(Watch):
        def step(self, phase: str, done: float, total: float) -> None:
            if phase == "preparation":
                raise Cancelled()

    with pytest.raises(Cancelled):
        finished(watch=Stop())


def test_only_what_is_stated_for_it_is_its_key() -> None:
    a, b = (STAGE.inputs(parse({"finish": {}, "dip": d})) for d in ({}, {"drip_time": 44.0}))
    assert a == b
    assert STAGE.inputs(parse({"dip": {"out_speed": 44.0}})) != a
    assert STAGE.files(parse({"finish": {"readings_file": "r.csv"}})) == {"finish.readings_file": "r.csv"}


def test_the_surface_has_a_key_of_its_own() -> None:
    key = SURFACE.inputs(parse({}))
    assert SURFACE.inputs(parse({"finish": {"service": 4, "nickel_um": 30.0, "rack_kg": 3.0}})) == key
    assert SURFACE.inputs(parse({"finish": {"ball_mm": 10.0}})) != key
    mesh = channel()
    before = upstream(mesh)
    r = SURFACE.work(SURFACE.inputs(parse({"sheet": {"thickness": 1.0}})), before, {}, Watch())
    assert (
        r.values["significant_mm2"]
        == finished(mesh).values["significant_mm2"]
        == pytest.approx((mesh.areas * r.meshes["part"].cell["significant"]).sum())
    )

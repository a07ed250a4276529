"""A small cup drawn, redrawn and struck on a coarse quarter; its rings, forces, findings, and a first draw that asks too much."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from diewright.die.draw_plan import cup_meridian
from diewright.die.draw_profile import turned
from diewright.die.draws import STAGE as DRAWS
from diewright.errors import Cancelled
from diewright.geometry.mesh import FieldMesh
from diewright.job.findings import Finding
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.press.sequence import cup_sequence
from diewright.sheet.stage import STAGE as SHEET
from diewright.tryout.draws import STAGE
from diewright.tryout.draws_findings import Judged, findings_of, limiting, proposal
from diewright.tryout.draws_handbook import draw_force, evened, height_at_volume
from diewright.tryout.draws_mesh import edge_for, quarter
from diewright.tryout.draws_read import PLANE, led_on, smooth_max
from diewright.tryout.draws_wrinkle import RingMeter, ring_means
from diewright.tryout.loads import Reserve
from diewright.watch import Watch

BLANK, CUP, HEIGHT = 69.0, 31.0, 27.0


def upstream(radius: float = 2.5, table: list[dict[str, Any]] | None = None, **stated: Any) -> tuple[Any, dict[str, Result]]:
    job = parse(
        {"job": {"title": "cup"}, "sheet": {"material": "DC05", "thickness": 1.0, "rolling_direction": 30.0}, "tryout": {"stations": 3}, "draws": {"quality": "coarse", **stated}}
    )  # fmt: skip
    watch = Watch()
    part = turned(cup_meridian(CUP, 0.0, radius, HEIGHT) - [0.0, HEIGHT], True, 0.05, 6.0)
    tip = Result(
        values={"depth": HEIGHT, "radius_concave_min": radius, "round": {"is_round": True, "diameter": CUP, "axis": [0.0, 0.0]}},
        meshes={"part": FieldMesh(part)},
    )
    sheet = SHEET.work(SHEET.inputs(job), {}, {}, watch)
    table = table or [d.as_dict() for d in cup_sequence(BLANK, CUP, 1.0)[0]]
    force = {"height_above_bottom_mm": np.array([40.0, 0.0]), "capacity_kN": np.array([630.0, 630.0])}
    press = Result(
        values={"operation": "drawing", "draw_sequence": table, "draw_table_inside": True, "press": {"name": "Press A", "kind": "single"}},
        tables={"force_stroke": force},
    )
    up = {"shape": tip, "sheet": sheet, "blank": Result(), "press": press}
    up["draws"] = DRAWS.work(DRAWS.inputs(job), up, {}, watch)
    return STAGE.inputs(job), up


@pytest.fixture(scope="module")
def cup() -> tuple[Result, Result, list[Any]]:
    inputs, up = upstream()
    frames: list[Any] = []
    return STAGE.work(inputs, up, {}, Watch(look=frames.append)), up["draws"], frames


def test_all_hits_run_through_and_reach_their_diameter(cup):
    run, plan, _ = cup
    rows = run.values["draws"]
    assert [r["kind"] for r in rows] == ["draw", "redraw", "restrike"]
    assert [r["stopped"] for r in rows] == [None, None, None]
    for row, planned in zip(rows, plan.values["draws"], strict=True):
        # the wall stands between punch and die
        assert planned["punch_diameter"] + 0.9 < row["diameter_mm"] < planned["die_diameter"] - 0.9
        assert row["kinetic_pct"] < 10.0 or row["kind"] == "restrike"
    assert not [f for f in run.findings if f.severity == "stop"]
    assert 0 < rows[0]["punch_kN"] < rows[0]["tear_kN"]


def test_each_draw_makes_the_cup_higher_and_keeps_its_volume(cup):
    """Tolerance 3 % of the height, with the measured thickness on the ideal meridian; the sheet's own volume within 1 %."""
    run, plan, _ = cup
    rows = run.values["draws"]
    assert rows[1]["height_mm"] > rows[0]["height_mm"] + 5.0
    for row in rows[:2]:
        assert row["height_mm"] == pytest.approx(row["height_volume_mm"], rel=0.03)
    series = run.series["sheet"]
    last = series.frame(-1)
    assert (last.mesh.areas * last.cell["thickness"]).sum() == pytest.approx(math.pi / 4 * BLANK**2, rel=0.02)
    assert plan.values["blank_diameter"] == pytest.approx(BLANK)


def test_strain_and_margin_pass_on_from_draw_to_draw(cup):
    run, _, _ = cup
    draw, ep = run.arrays["frame_draw"], run.series["sheet"].cell["plastic_strain"]
    for k in (2, 3):
        first = int(np.flatnonzero(draw == k)[0])
        assert np.array_equal(ep[first], ep[first - 1])
    assert (np.diff(ep, axis=0) > -1e-6).all()
    margins = [r["margin_pct"] for r in run.values["draws"]]
    assert margins == sorted(margins, reverse=True)
    assert np.isfinite(run.series["sheet"].cell["margin_pct"]).all()


def test_the_restrike_sharpens_the_bottom(cup):
    """The middle surface at 45 degrees over the foot comes nearer to the corner of wall and bottom: (R - r)(sqrt 2 - 1) for a radius from R to r."""
    run, plan, _ = cup

    def corner(k: int) -> float:
        p = run.tables[f"profile_{k}"]
        r, z = p["radius_mm"], p["height_mm"] - p["height_mm"].min()
        return float(np.min(np.hypot(0.5 * CUP - r, z)))

    assert plan.values["draws"][2]["punch_radius"] == pytest.approx(2.0)
    assert corner(3) < corner(2) - 0.2


def test_series_tables_and_tools_belong_together(cup):
    run, plan, frames = cup
    series = run.series["sheet"]
    count = len(series)
    assert run.arrays["frame_draw"].shape == run.arrays["frame_stroke"].shape == (count,)
    assert run.arrays["tools"].shape == (count, 3)
    assert len(series.triangles) == 4 * run.values["mesh"]["triangles"]
    assert series.frame(0).mesh.area == pytest.approx(math.pi / 4 * BLANK**2, rel=0.01)
    curve = run.tables["press_curve"]
    assert set(np.unique(curve["draw"])) == {1.0, 2.0, 3.0}
    for k, planned in enumerate(plan.values["draws"], 1):
        own = curve["draw"] == k
        assert curve["stroke_mm"][own][-1] == pytest.approx(planned["stroke"], abs=0.01)
    assert {"thickness_mm", "height_mm"} <= set(run.tables["profile_1"])
    assert len(run.tables["draws"]["height_mm"]) == 3
    assert frames
    assert {f.values["operation"] for f in frames} == {"draw 1", "redraw 2", "restrike 3"}


def test_ears_lie_where_the_rolling_direction_puts_them(cup):
    """r is largest at 90 and 0 degrees, least at 45: the rim stands higher along and across rolling (here 30 degrees) than between."""
    run, _, _ = cup
    series = run.series["sheet"]
    last = int(np.flatnonzero(run.arrays["frame_draw"] == 1)[-1])
    p, flat = series.points[last], series.points[0]
    rim = np.hypot(*flat[:, :2].T) > 0.5 * BLANK - 1e-3
    angle = np.degrees(np.arctan2(flat[rim, 1], flat[rim, 0])) - 30.0
    along = np.abs((angle + 45.0) % 90.0 - 45.0) < 12.0
    between = np.abs(angle % 90.0 - 45.0) < 12.0
    assert p[rim, 2][along].mean() > p[rim, 2][between].mean() + 0.3


def test_a_first_draw_that_asks_too_much_tears_at_the_foot():
    """One draw of ratio 2.3 with ten times the holder's force and much friction at the die: beyond the forming limit, and the finding says where."""
    inputs, up = upstream(
        5.5, [{"draw": 1, "diameter": 30.0, "height": HEIGHT, "ratio": 2.3, "punch_radius": 4.0, "die_radius": 5.0}], forces_kn=(60.0,)
    )
    run = STAGE.work(inputs.model_copy(update={"friction_die": 0.25}), up, {}, Watch())
    row = run.values["draws"][0]
    tear = next(f for f in run.findings if f.key == "draws_tryout.tear")
    assert tear.severity == "stop"
    assert row["margin_pct"] < 0
    assert row["margin_height_mm"] < 8.0
    assert 5.0 < row["tear_at_stroke_mm"] < 20.0
    assert row["punch_kN"] == pytest.approx(row["tear_kN"], rel=0.1)
    assert "draw 1" in tear.sentence
    assert run.values["limiting"] == 1
    assert "its rim is still" in next(f for f in run.findings if f.key == "draws_tryout.reached.1").sentence


def test_the_run_can_be_stopped():
    inputs, up = upstream()
    with pytest.raises(Cancelled):
        STAGE.work(inputs, up, {}, Watch(cancelled=lambda: True))


def test_a_part_without_a_sequence_is_told():
    inputs, up = upstream()
    up["draws"] = Result(values={"draws": [], "why_none": "not round."})
    run = STAGE.work(inputs, up, {}, Watch())
    assert run.values["draws"] == []
    assert run.findings[0].key == "draws_tryout.none"


# -- parts


@pytest.mark.parametrize("edge", [2.0, 5.0])
def test_the_quarter_is_a_quarter(edge):
    q = quarter(160.0, 60.0, edge)
    p = q.points[q.triangles]
    area = 0.5 * np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])[:, 2]
    assert area.min() > 0
    assert area.sum() == pytest.approx(math.pi * 80.0**2 / 4, rel=0.006)
    assert np.hypot(*q.points[:, :2].T) == pytest.approx(q.radii[q.ring], abs=1e-9)
    assert (q.points[:, :2] >= 0).all()
    for axis in (0, 1):
        assert (q.points[:, axis] == 0.0).sum() == len(q.radii)
    sides = np.linalg.norm(p - np.roll(p, 1, axis=1), axis=2)
    assert (sides.max(axis=1) / sides.min(axis=1)).max() < 4.0
    assert edge_for(160.0, 1.0, 2.5, "fine") < edge_for(160.0, 1.0, 2.5, "normal") < edge_for(160.0, 1.0, 2.5, "coarse")


def test_rings_tell_waves_from_ears():
    """A wave of eight round the cup, 0.4 mm from crest to valley, is found; ears and the mean cup are not."""
    q = quarter(160.0, 60.0, 2.0)
    angle = np.arctan2(q.points[:, 1], q.points[:, 0])
    s = np.hypot(*q.points[:, :2].T)
    z = np.maximum(s - 40.0, 0.0) * (1.0 + 0.05 * np.cos(4 * angle))
    r = np.minimum(s, 40.0)
    unit = q.points[:, :2] / np.maximum(s, 1e-9)[:, None]

    def cup_of(wave: float) -> np.ndarray:
        return np.column_stack([unit * (r + wave * np.cos(8 * angle) * (s > 50.0))[:, None], z])

    meter = RingMeter(q.points[:, :2], q.ring)
    assert meter.heights(cup_of(0.0)).max() < 1e-9
    found = meter.heights(cup_of(0.2))
    assert found.max() == pytest.approx(0.4, rel=0.1)
    assert found[s < 45.0].max() < 0.05
    means = ring_means(1.0 + np.cos(2 * angle), q.ring, angle)
    assert means[5:] == pytest.approx(np.ones(len(means) - 5), abs=0.01)


def test_handbook_forms_and_volumes():
    assert draw_force(1, 60.0, 100.0, 1.0, 300.0) == pytest.approx(math.pi * 60 * 300 * 0.86)
    assert draw_force(2, 48.0, 60.0, 1.0, 300.0) == pytest.approx(math.pi * 48 * 300 * 0.80)
    line = cup_meridian(60.0, 0.0, 6.0, 40.0)
    share = np.linspace(0, 1, 30)
    thin = height_at_volume(math.pi / 4 * 120.0**2, line, np.ones(30), share)
    thick = height_at_volume(math.pi / 4 * 120.0**2, line, np.full(30, 1.25), share)
    base = 15.0 - 0.43 * 6.0  # level of a wall whose area is that of the bottom and its radius
    assert thin == pytest.approx((120.0**2 - 60.0**2) / 240.0 + 0.43 * 6.0 + 0.57 * 36 / 240, abs=0.05)
    assert (thick + base) / (thin + base) == pytest.approx(0.8, abs=0.002)
    assert evened(np.array([0.8, 0.8]), np.array([1.5, 1.5])) == pytest.approx([1.5, 1.5])
    better = evened(np.array([0.9, 0.5]), np.array([1.8, 1.3]))
    assert better[0] < 1.8
    assert better.prod() == pytest.approx(1.8 * 1.3)


def test_no_stretching_path_bears_more_than_the_foot_passes_on():
    """The rule that keeps the path margin off hardened walls never takes it off a place that is being pulled: thickness times flow stress stays below 2/sqrt(3) Rm."""
    K, e0, n = 523.67, 0.0038324, 0.23665
    e = np.linspace(0, 1.0, 20001)
    flow = K * (e0 + e) ** n
    rm = (flow * np.exp(-e)).max()
    for thinning in (
        0.5,
        1.0 / (1.0 + 1.0),
        math.sqrt(3) / 2,
        1.0,
    ):  # uniaxial, isotropic thickness share; plane strain; balanced biaxial, over the equivalent strain
        assert (flow * np.exp(-thinning * e)).max() < PLANE * rm * (1.0 if thinning > 0.8 else 10.0)
    minor, major = led_on(np.array([-0.6, -0.5, 0.0]), np.array([0.9, 0.8, 0.3]))
    assert (minor[0], major[0]) == (-2.0, pytest.approx(2.3))


def test_forces_are_smoothed_over_a_hundredth_of_the_stroke():
    s = np.linspace(0, 50.0, 2001)
    force = np.sin(np.pi * s / 50.0)
    force[777] = 9.0
    assert smooth_max(s, force) == pytest.approx(1.4, abs=0.1)
    assert smooth_max(np.zeros(0), np.zeros(0)) == 0.0


def row(k: int, **more: Any) -> dict[str, Any]:
    base = {
        "draw": k, "kind": "draw" if k == 1 else "redraw", "stopped": None, "margin_pct": 20.0, "margin_height_mm": 4.0, "margin_at": [1.0, 2.0, 3.0], "punch_kN": 60.0,
        "draw_kN": 60.0, "tear_kN": 80.0, "ratio_wanted": 1.5, "diameter_mm": 60.0, "diameter_wanted_mm": 60.0, "rim_radius_mm": 30.4, "wrinkle_mm": 0.0, "ironed_pct": -5.0,
        "thickening_pct": 20.0, "height_min_mm": 50.0, "height_max_mm": 52.0, "kinetic_pct": 1.0,
    }  # fmt: skip
    return base | more


def judged(*rows: dict[str, Any], **more: Any) -> dict[str, Finding]:
    base = {
        "planned": len(rows),
        "margin_wanted": 10.0,
        "thickness": 1.0,
        "part_height": 45.0,
        "blank": 120.0,
        "press": "Press A",
        "reserves": {},
    }
    return {f.key: f for f in findings_of(Judged(rows=rows, **(base | more)))}


def test_findings_name_the_draw():
    assert set(judged(row(1), row(2))) == {"draws_tryout.limits", "draws_tryout.ears"}
    tear = judged(row(1), row(2, margin_pct=-3.0))["draws_tryout.tear"]
    assert (tear.severity, tear.value) == ("stop", -3.0)
    assert "draw 2" in tear.sentence
    assert "all draws would carry alike" in tear.sentence
    assert judged(row(1, margin_pct=6.0), row(2, margin_pct=6.0))["draws_tryout.neck"].severity == "attend"
    assert limiting([row(1, margin_pct=6.0), row(2, margin_pct=6.0)], 10.0)[0] == 1
    assert limiting([row(1), row(2, punch_kN=70.0)], 10.0)[0] == 2
    stopped = judged(row(1, stopped="contact is lost."), planned=2)
    assert "Draw 1 of 2 broke off" in stopped["draws_tryout.stopped"].sentence
    assert "draws_tryout.height" not in stopped
    assert judged(row(1, diameter_mm=math.nan))["draws_tryout.reached.1"].severity == "stop"
    assert judged(row(1, diameter_mm=63.0))["draws_tryout.reached.1"].value == 63.0
    assert judged(row(1), row(2, punch_kN=76.0))["draws_tryout.load"].value == pytest.approx(95.0)
    assert judged(row(1, wrinkle_mm=0.5))["draws_tryout.wrinkle"].value == 0.5
    assert judged(row(1, ironed_pct=12.0))["draws_tryout.ironing"].value == 12.0
    assert judged(row(1, kinetic_pct=12.0))["draws_tryout.kinetic"].value == 12.0
    low = judged(row(1, height_min_mm=40.0))["draws_tryout.height"]
    assert f"{math.sqrt(120.0**2 + 4 * 60.0 * 5.0):.1f} mm instead" in low.sentence


def test_the_press_is_judged_draw_by_draw():
    weak = Reserve(share=1.2, stroke=10.0, height=30.0, need_kN=60.0, have_kN=50.0, from_stroke=8.0)
    tight = SimpleNamespace(**{**weak.__dict__, "share": 0.9})
    got = judged(row(1), row(2), reserves={1: weak, 2: tight})
    assert got["draws_tryout.press.1"].severity == "stop"
    assert got["draws_tryout.press.2"].severity == "attend"
    assert "draw 2" in got["draws_tryout.press.2"].sentence


def test_a_weak_press_is_found_in_the_run(cup):
    run, _, _ = cup
    assert 0 < run.values["draws"][0]["press_share_pct"] < 20.0
    assert proposal(run.values["draws"], BLANK)["diameters"][0] == pytest.approx(BLANK / proposal(run.values["draws"], BLANK)["ratios"][0])
    assert proposal([row(1)], 120.0) is None

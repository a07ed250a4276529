"""The stages from a CAD file to the sprung-back part and the blankholder window, on a coarse mesh of a shipped example."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from diewright.desk import Desk
from diewright.errors import Cancelled, InputError
from diewright.tryout.window import Tried, WindowInputs, bound, recommend, report, run_forces

EXAMPLE = Path(__file__).resolve().parents[2] / "src" / "diewright" / "examples" / "fascia"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    folder = tmp_path_factory.mktemp("tryout") / "fascia"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("results", "history"))
    desk = Desk(folder)
    desk.edit(
        {
            "part.target_edge": 12.0,
            "part.chord_error": 0.3,
            "tryout.quality": "coarse",
            "tryout.stations": 3,
            "window.runs": 3,
            "window.widen": 0,
        }
    )
    return desk


@pytest.fixture(scope="module")
def tryout(desk: Desk):
    frames = []
    result = desk.work("tryout", look=lambda stage, frame: frames.append((stage, frame)))
    return result, frames


def test_the_draw_goes_to_the_bottom_and_closes_its_energies(tryout):
    result, _ = tryout
    v, curve = result.values, result.tables["press_curve"]
    assert v["stopped"] is None
    assert [o["name"] for o in v["operations"]] == ["hold", "draw", "dwell"]
    assert v["travel_end"][1] == pytest.approx(0.0, abs=1e-3)
    assert v["balance_worst_pct"] < 2.0
    assert v["penetration_max_share"] < 0.05
    assert np.all(np.diff(curve["time"]) > 0)
    # the work of the punch is what went into sheet and friction, less the sheet's motion
    work = np.trapezoid(curve["punch_kN"], curve["stroke_mm"])
    assert work == pytest.approx(v["press_work_J"], rel=1e-6)
    assert 0.7 * work < curve["internal_J"][-1] + v["friction_heat_J"] < 1.3 * work


def test_the_blankholder_presses_with_what_was_set(tryout, desk):
    result, _ = tryout
    curve = result.tables["press_curve"]
    drawing = (curve["operation"] == 1) & (curve["stroke_mm"] > 5.0)
    wanted = 1e-3 * desk.work("blank").values["blankholder_force"]
    assert np.median(curve["blankholder_kN"][drawing]) == pytest.approx(wanted, rel=0.03)


def test_the_sheet_ends_between_the_faces(tryout, desk):
    import igl

    result, _ = tryout
    faces = desk.work("faces")
    drawn, t = result.meshes["drawn"], desk.job.sheet.thickness
    for name in ("die", "punch"):
        face = faces.meshes[name].mesh
        square, _, _ = igl.point_mesh_squared_distance(
            np.array(drawn.mesh.points), np.array(face.points), np.array(face.triangles, dtype=np.int64)
        )
        assert np.sqrt(square).min() > 0.40 * t
    assert np.ptp(drawn.mesh.points[:, 2]) == pytest.approx(desk.work("tipping").values["depth"], abs=1.0)


def test_no_metal_is_lost(tryout, desk):
    result, _ = tryout
    drawn, t = result.meshes["drawn"], desk.job.sheet.thickness
    blank = float(desk.work("blank").values["area"]) * t
    now = float((drawn.mesh.areas * drawn.cell["thickness"]).sum())
    assert now == pytest.approx(blank, rel=0.02)  # triangles cut the radii: the coarse mesh is a little small


def test_series_frames_and_tools_fit_together(tryout):
    result, frames = tryout
    series = result.series["sheet"]
    assert len(series) == len(result.arrays["frame_stroke"]) == len(result.arrays["tools"]) >= 20
    assert np.all(np.diff(result.arrays["frame_stroke"]) > -0.05)
    assert {"thinning_pct", "margin_pct", "major", "minor", "stress", "wrinkle"} <= set(series.cell)
    assert {"pressure", "sliding", "wrinkle_height"} <= set(series.point)
    assert frames
    assert all(stage == "tryout" and f.kind == "sheet" for stage, f in frames)
    stroke = [f.values["stroke_mm"] for _, f in frames]
    assert max(stroke) == pytest.approx(result.values["stroke"], abs=0.1)


def test_it_is_pierced_released_and_read_at_places(tryout):
    result, _ = tryout
    drawn, part = result.meshes["drawn"].mesh, result.meshes["trimmed"].mesh
    assert len(part.boundary_loops) == 4  # the rim and three holes
    assert part.area < drawn.area
    read = result.values["springback"]
    assert len(read) == 9
    assert 0.0 < result.values["springback_max_mm"] < 20.0
    supports = np.array(result.values["supports"])
    assert supports.shape == (3, 3)


def test_working_again_gives_the_same_bits(tryout, desk):
    first = tryout[0].series["sheet"].points
    again = desk.work("tryout", again=True).series["sheet"].points
    assert np.array_equal(first, again)


def test_stop_is_heard_in_the_press(desk):
    heard = []

    def cancelled() -> bool:
        return len(heard) > 3

    with pytest.raises(Cancelled):
        desk.work(
            "tryout",
            again=True,
            listen=lambda p: heard.append(p) if p.stage == "tryout" and "draw" in p.progress.phase else None,
            cancelled=cancelled,
        )


def test_the_window_gives_its_runs(desk, tryout):
    window = desk.work("window")
    runs = window.tables["runs"]
    assert len(runs["blankholder_kN"]) == 3
    assert np.all(np.diff(runs["blankholder_kN"]) > 0)
    # more force stretches more; the least margin of so mild a draw lies where the sheet bends and moves by half a point either way on this mesh
    assert np.all(np.diff(runs["thinning_pct"]) > 0)
    assert window.values["why"]
    # taking the recommendation over leaves the window as it is
    key = desk.state("window").key
    desk.edit({"tryout.blankholder_force_kn": 50.0})
    assert desk.state("window").key == key
    assert desk.state("tryout").state == "out of date"
    desk.edit({"tryout.blankholder_force_kn": "auto"})


def test_a_back_stress_that_leaves_no_hardening_is_refused(desk):
    desk.edit({"tryout.back_modulus": 90_000.0})
    with pytest.raises(InputError, match="back modulus"):
        desk.work("tryout")
    desk.edit({"tryout.back_modulus": 0.0})


def test_bounds_are_found_where_the_quantity_crosses():
    forces = np.array([10.0, 20.0, 40.0, 80.0])
    assert bound(forces, np.array([1.0, 0.5, -0.5, -1.0]), falling=True) == pytest.approx(np.sqrt(800.0))
    assert bound(forces, np.array([-3.0, -2.0, -1.0, 1.0]), falling=False) == pytest.approx(np.sqrt(3200.0))
    assert bound(forces, np.array([-1.0, -1.0, -1.0, -1.0]), falling=True) is None


def test_the_setting_lies_between_the_bounds_or_says_why_not():
    forces = np.array([10e3, 20e3, 40e3, 80e3])
    setting, why = recommend(15e3, 60e3, forces, False, False)
    assert setting == pytest.approx(30e3)
    assert "Half way" in why
    assert recommend(50e3, 40e3, forces, False, False)[0] is None
    assert "no window" in recommend(50e3, 40e3, forces, False, False)[1]
    assert recommend(None, None, forces, True, False)[0] is None
    assert recommend(None, None, forces, False, True)[0] is None
    assert recommend(15e3, None, forces, False, False)[0] == pytest.approx(18.75e3)
    assert recommend(None, 60e3, forces, False, False)[0] == pytest.approx(48e3)


def _drawn_at(force: float) -> Tried:
    """A run that wrinkles below 2 kN and tears above 1000 kN."""
    stroke = np.linspace(0.0, 10.0, 5)
    height, margin = np.full(5, 0.5 if force < 2e3 else 0.0), np.full(5, -1.0 if force > 1e6 else 10.0)
    return Tried(force, 0.1, stroke, height, margin, 5.0, 10.0, 50.0, None)


def test_the_range_widens_until_the_sheet_wrinkles_and_tears():
    done = []

    def run(force, begin, part):
        done.append((begin, part))
        return _drawn_at(force)

    got = run_forces(run, [10e3, 40e3, 160e3], 2, 0.24, 0.0, 1.0)
    assert [round(t.force) for t in got] == [625, 2500, 10000, 40000, 160000, 640000, 2560000]
    assert got[0].wrinkles(0.24)
    assert got[-1].tears
    assert sum(part for _, part in done) == pytest.approx(1.0)
    assert [t.force for t in run_forces(run, [1e3, 2e6], 2, 0.24, 0.0, 1.0)] == [1e3, 2e6]
    assert len(run_forces(run, [10e3, 40e3], 0, 0.24, 0.0, 1.0)) == 2


def test_a_setting_serves_all_frictions():
    inputs = WindowInputs.model_construct(wrinkle_limit=0.3, thickness=0.8)

    def tried(force, friction, height, margin):
        return Tried(force, friction, np.array([0.0, 1.0]), np.array([0.0, height]), np.array([10.0, margin]), 5.0, 10.0, 50.0, None)

    runs = [tried(1e3, 0.1, 0.5, 9.0), tried(10e3, 0.1, 0.0, 8.0), tried(100e3, 0.1, 0.0, -2.0)]
    runs += [tried(1e3, 0.2, 0.0, 9.0), tried(10e3, 0.2, 0.0, 2.0), tried(100e3, 0.2, 0.0, -9.0)]
    result = report(inputs, runs, 10e3, 1000, 0.1)
    bounds = result.tables["bounds"]
    assert bounds["friction"].tolist() == [0.1, 0.2]
    assert np.isnan(bounds["wrinkles_below_kN"][1])
    assert bounds["tears_above_kN"][1] < bounds["tears_above_kN"][0]
    assert result.values["wrinkles_below_kN"] == pytest.approx(bounds["wrinkles_below_kN"][0])
    assert result.values["tears_above_kN"] == pytest.approx(bounds["tears_above_kN"][1])
    assert bounds["wrinkles_below_kN"][0] < result.values["recommended_kN"] < bounds["tears_above_kN"][1]

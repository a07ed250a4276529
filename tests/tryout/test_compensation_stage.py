"""The stage ``compensation`` on a coarse mesh of a shipped example: one move of the faces, and a fresh run in them."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from diewright.desk import Desk
from diewright.geometry.shift_field import read_shift

EXAMPLE = Path(__file__).resolve().parents[2] / "src" / "diewright" / "examples" / "fascia"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    folder = tmp_path_factory.mktemp("compensation") / "fascia"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("results", "history"))
    desk = Desk(folder)
    desk.edit(
        {
            "part.target_edge": 12.0,
            "part.chord_error": 0.3,
            "tryout.stations": 3,
            "compensation.iterations": 1,
            "compensation.quality": "coarse",
        }
    )
    return desk


@pytest.fixture(scope="module")
def done(desk: Desk):
    phases: list[str] = []
    return desk.work("compensation", listen=lambda p: phases.append(p.progress.phase) if p.stage == "compensation" else None), phases


def test_one_move_takes_most_of_the_deviation_away(done) -> None:
    result, phases = done
    table, v = result.tables["iterations"], result.values
    assert table["run"].tolist() == [0.0, 1.0]
    assert v["best"] == 1
    assert table["rms_mm"][1] < 0.5 * table["rms_mm"][0]
    assert table["fit_rms_mm"][1] < 0.5 * table["fit_rms_mm"][0]
    assert table["supports_rms_mm"][1] < 0.5 * table["supports_rms_mm"][0]
    assert table["left_rms_pct"] == pytest.approx(100.0 * table["rms_mm"] / table["rms_mm"][0])
    assert result.figure("left").value == pytest.approx(v["left_max_pct"])
    assert any("nominal faces" in p for p in phases)
    assert any("moved faces 1 of 1" in p for p in phases)


def test_the_file_moves_the_faces_to_where_the_run_was(done, desk: Desk, tmp_path: Path) -> None:
    result, _ = done
    path = tmp_path / "compensation.csv"
    path.write_bytes(result.files["compensation.csv"])
    field = read_shift(path)
    assert len(field.points) == result.values["points"]
    faces = desk.work("faces")
    for name in ("die", "punch"):
        nominal, moved = faces.meshes[name].mesh, result.meshes[name]
        n = len(nominal.points)  # the old points come first
        assert np.abs(nominal.points + field.at(nominal.points) - moved.mesh.points[:n]).max() < 1e-9
        assert np.linalg.norm(moved.point["shift"], axis=1) == pytest.approx(moved.point["shift_mm"])
    assert np.abs(faces.arrays["trim_line"] + field.at(faces.arrays["trim_line"]) - result.arrays["trim_line"]).max() < 1e-9
    assert 0.0 < np.abs(result.arrays["opening"] - faces.arrays["opening"]).max() < 2.0


def test_gap_and_draft_are_kept_and_said(done) -> None:
    result, _ = done
    v = result.values
    assert v["gap_change_mm"] < 0.02
    assert v["undercut_mm2"] == 0.0
    assert 0.0 < v["draft_min_deg"] < v["draft_min_before_deg"] + 5.0
    assert v["blankholder"] == "follow"  # the example's flange lies under it
    keys = {f.key: f.severity for f in result.findings}
    assert "stop" not in keys.values()
    assert keys["compensation.kept"] == "note"
    assert keys["compensation.left"] == "attend"  # the tolerance of 0.05 mm wants more than one move


def test_sprung_and_wanted_shape_fit_together(done) -> None:
    result, _ = done
    for name, column in (("before", 0), ("sprung", 1)):
        mesh = result.meshes[name]
        assert np.abs(mesh.point["deviation_mm"]).max() == pytest.approx(result.tables["iterations"]["max_mm"][column])
    assert len(result.meshes["before"].mesh.points) == len(result.meshes["sprung"].mesh.points)


def test_where_springback_is_read_does_not_move_the_faces(done, desk: Desk) -> None:
    key = desk.state("compensation").key
    desk.edit({"tryout.reference_points": [[0.0, 0.0, -40.0]], "tryout.quality": "fine"})
    assert desk.state("compensation").key == key
    desk.edit({"tryout.reference_points": [], "tryout.quality": "normal", "compensation.factor": 0.8})
    assert desk.state("compensation").key != key

"""Faces moved by the shift file of a compensation, from the job to tryout-ready triangles and to CAD files."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

import diewright
from diewright.desk import Desk
from diewright.die.shifted import EDGE
from diewright.errors import FileError, InputError
from diewright.geometry.shift_field import ShiftField, csv_bytes
from diewright.tryout.compensation_runs import nominal_of

EXAMPLE = Path(diewright.__file__).parent / "examples" / "fascia"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    folder = tmp_path_factory.mktemp("shift") / "fascia"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("results", "history"))
    desk = Desk(folder)
    desk.edit({"part.target_edge": 12.0, "part.chord_error": 0.3})
    desk.work("faces")
    return desk


@pytest.fixture(scope="module")
def field(desk: Desk) -> ShiftField:
    """A rise of the middle by half a millimetre that fades outwards, the same on both skins."""
    die = desk.work("faces").meshes["die"].mesh.points
    x, y = (np.linspace(die[:, k].min(), die[:, k].max(), 7) for k in (0, 1))
    plan = np.array([(a, b) for a in x for b in y])
    centre, half = 0.5 * (x[0] + x[-1]), 0.5 * (x[-1] - x[0])
    rise = 0.5 * np.cos(np.clip((plan[:, 0] - centre) / half, -1, 1) * np.pi / 2) ** 2
    points = np.concatenate([np.column_stack([plan, np.full(len(plan), z)]) for z in (die[:, 2].min(), die[:, 2].max() + 20.0)])
    return ShiftField(points, np.column_stack([np.zeros((len(points), 2)), np.tile(rise, 2)]))


@pytest.fixture(scope="module")
def shifted(desk: Desk, field: ShiftField) -> Desk:
    (desk.folder / "move.csv").write_bytes(csv_bytes(field))
    return desk


def test_the_faces_move_by_the_field_and_keep_their_gap(shifted: Desk, field: ShiftField) -> None:
    before = shifted.work("faces")
    shifted.edit({"faces.shift_file": "move.csv"})
    after = shifted.work("faces")
    t = shifted.job.sheet.thickness
    for name in ("die", "punch", "blankholder"):
        old, new = before.meshes[name].mesh, after.meshes[name].mesh
        n = len(old.points)
        assert np.abs(new.points[:n] - old.points - field.at(old.points)).max() < 1e-12  # the points of the nominal face come first
        sides = np.linalg.norm(new.points[new.triangles] - np.roll(new.points[new.triangles], 1, axis=1), axis=2)
        assert sides.max() <= EDGE * t * 1.05
    assert after.values["gap_min"] == pytest.approx(before.values["gap_min"], abs=0.01)
    assert np.abs(after.arrays["trim_line"] - before.arrays["trim_line"] - field.at(before.arrays["trim_line"])).max() < 1e-12
    assert after.values["shift_file"] == "move.csv"
    assert 0.3 < after.values["shift_max_mm"] < 0.52  # the spline swings over its points a little
    assert "move.csv" in " ".join(after.values["notes"])


def test_a_compensation_begins_with_the_faces_before_they_were_moved(shifted: Desk) -> None:
    after = shifted.work("faces")
    shifted.edit({"faces.shift_file": ""})
    before = shifted.work("faces")
    back = nominal_of(after)
    for name in ("die", "punch", "blankholder"):
        assert np.array_equal(back.meshes[name].mesh.points, before.meshes[name].mesh.points)
        assert np.array_equal(back.meshes[name].mesh.triangles, before.meshes[name].mesh.triangles)
    assert back.values["stroke"] == before.values["stroke"]
    for name in ("trim_line", "opening", "die_touch"):
        assert np.array_equal(back.arrays[name], before.arrays[name])
    assert nominal_of(before) is before


def test_moved_faces_are_written_as_moved_surfaces(shifted: Desk, field: ShiftField) -> None:
    shifted.edit({"faces.shift_file": "move.csv"})
    cad = shifted.work("cad")
    assert cad.values["moved"]
    assert {"die.step", "punch.step", "blankholder.step", "die.stl", "sections.dxf"} <= set(cad.files)
    for tool in ("die", "punch", "blankholder"):
        assert cad.values["tools"][tool]["valid"]
        assert cad.values["tools"][tool]["gap"] < 0.01
    # the surfaces against the triangles of the tryout, which were moved by the same file
    assert cad.values["tools"]["die"]["deviation"]["max"] < 0.02 * shifted.job.sheet.thickness
    shifted.edit({"faces.shift_file": ""})


def test_a_file_that_is_no_shift_file_is_one_sentence(shifted: Desk) -> None:
    (shifted.folder / "wrong.csv").write_text("a,b\n1,2\n")
    shifted.edit({"faces.shift_file": "wrong.csv"})
    with pytest.raises(FileError, match="does not begin with the columns"):
        shifted.work("faces")
    shifted.edit({"faces.shift_file": "gone.csv"})
    with pytest.raises(FileError, match="not in the job folder"):
        shifted.work("faces")
    shifted.edit({"faces.shift_file": ""})


def test_given_faces_are_not_written_again(shifted: Desk) -> None:
    from diewright.die import cad
    from diewright.job.stage import Result
    from diewright.watch import Watch

    with pytest.raises(InputError, match="given as files"):
        cad.work(cad.STAGE.inputs(shifted.job), {"faces": Result(values={"kind": "given"})}, {}, Watch())

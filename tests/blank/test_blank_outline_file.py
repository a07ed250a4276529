"""A stated outline in place of the developed one."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from diewright.blank.developed import develop
from diewright.blank.stage import STAGE, _stated
from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import parse
from diewright.job.stage import InputFile

FLAT = TriMesh(np.array([[-50.0, -40, 0], [50, -40, 0], [50, 40, 0], [-50, 40, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))
OUTER = np.array([0, 1, 2, 3], dtype=np.int32)


def stated(tmp_path: Path, text: str, name: str = "blank.csv") -> np.ndarray | None:
    path = tmp_path / name
    path.write_text(text)
    return _stated({"outline": InputFile(path, name, hashlib.sha256(path.read_bytes()).hexdigest())}, FLAT)


def test_the_stated_outline_takes_the_place_of_the_developed_one_and_the_allowance_is_added(tmp_path):
    line = stated(tmp_path, "-52,-41\n52,-41\n52,41\n-52,41\n")
    assert line is not None
    got = develop(FLAT.points[:, :2], OUTER, {}, 0.0, line)
    assert got.net.area == pytest.approx(104 * 82)
    assert got.cut.area == pytest.approx(104 * 82)
    assert develop(FLAT.points[:, :2], OUTER, {}, 5.0, line).cut.area == pytest.approx(104 * 82 + 2 * 5 * 186 + np.pi * 25, rel=1e-4)
    assert develop(FLAT.points[:, :2], OUTER, {}, 0.0).net.area == pytest.approx(8000)


def test_nothing_stated_changes_nothing():
    assert _stated({}, FLAT) is None
    assert STAGE.files(parse({})) == {}
    assert STAGE.files(parse({"blank": {"outline_file": "developed-1.dxf"}})) == {"outline": "developed-1.dxf"}


def test_outlines_that_are_none_are_refused(tmp_path):
    with pytest.raises(InputError, match="developed blank is 100"):
        stated(tmp_path, "-1300,-1000\n1300,-1000\n1300,1000\n-1300,1000\n")
    with pytest.raises(InputError, match="about \\(500, 0\\)"):
        stated(tmp_path, "450,-40\n550,-40\n550,40\n450,40\n")
    with pytest.raises(SolveError, match="crosses or touches itself"):
        stated(tmp_path, "-50,-40\n50,40\n50,-45\n-50,40\n")
    with pytest.raises(InputError, match="one flat outline"):
        stated(tmp_path, "-50,-40,0\n50,-40,1\n50,40,3\n-50,40,2\n")
    with pytest.raises(InputError):
        parse({"blank": {"outline_file": "../outside.dxf"}})

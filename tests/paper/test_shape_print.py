"""The sheet of a draw shape that is another than the part: the example fascia, left and right hand in one draw."""

import shutil
from pathlib import Path

from printed import STAMP, text_of

import diewright
from diewright import open_job
from diewright.book.paper import make

FASCIA = Path(diewright.__file__).parent / "examples" / "fascia"
COARSE = {"part.target_edge": 14.0, "part.chord_error": 0.4, "part.min_edge": 2.0}


def test_two_parts_in_one_draw_get_a_sheet_of_their_own(tmp_path):
    shutil.copytree(FASCIA, tmp_path / "job", ignore=shutil.ignore_patterns("results", "history"))
    desk = open_job(tmp_path / "job")
    desk.edit(COARSE)
    desk.work("shape")
    assert "Parts a stroke" not in text_of(make(desk, timestamp=STAMP))
    desk.edit({"shape.copies": "mirrored"})
    desk.work("shape")
    words = text_of(make(desk, timestamp=STAMP))
    for line in ("Draw shape", "Parts a stroke", "Area of the bridge", "joined by a bridge"):
        assert line in words, line

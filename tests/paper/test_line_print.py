"""The hoist line on paper: the diagram, the windows and the moves; no sheet for a job that has no line."""

from __future__ import annotations

import numpy as np
import pytest
from printed import read, text_of

from diewright import open_job
from diewright.book.paper import printing
from diewright.book.paper.page_line import ways

LINE = """
[line]
what_if_s = 0
cycle_most_s = 150
[[line.tank]]
name = "load"
position_m = 0
role = "load"
[[line.tank]]
name = "clean #1 <b>"
position_m = 3
least_s = 120
most_s = 200
[[line.tank]]
name = "out"
position_m = 6
role = "unload"
"""


@pytest.fixture
def desk(tmp_path):
    (tmp_path / "job.toml").write_text(LINE, encoding="utf-8")
    desk = open_job(tmp_path)
    desk.work("line")
    return desk


def test_the_sheet_says_what_the_stage_found(desk) -> None:
    pages = [p.extract_text() for p in read(printing.make(desk, timestamp=0)).pages]
    text = " ".join(" ".join(p for p in pages if "Hoist line" in p).split())
    cycle = desk.result("line").values["cycle"]
    assert f"{cycle:g}" in text
    assert "clean #1 <b>" in text
    assert "cannot all be kept" in text
    assert "crushes" in text


def test_a_job_without_a_line_has_no_sheet_of_it(tmp_path) -> None:
    (tmp_path / "job.toml").write_text("[job]\ntitle = 'Cup'\n", encoding="utf-8")
    pdf = printing.make(open_job(tmp_path), timestamp=0)
    assert "Ways of the hoists" not in text_of(pdf)
    assert "Tanks and windows" not in text_of(pdf)


def test_the_diagram_draws_every_piece_of_every_way(desk) -> None:
    found = desk.result("line")
    svg = ways(found, 180.0)
    way = found.tables["way_1"]
    assert svg.text_of().count("<path") + svg.text_of().count("<polyline") >= len(way["time_s"]) - 1
    assert np.isfinite(way["position_m"]).all()
    assert "nan" not in svg.text_of()

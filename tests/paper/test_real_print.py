"""The print of a real job: the fascia of the examples, worked by the real stages on a coarse mesh."""

import shutil
from pathlib import Path

import pytest
from printed import STAMP, read, text_of

from diewright.book.paper import make
from diewright.book.paper.blocks import in_press_units
from diewright.desk import open_job

EXAMPLE = Path(__file__).resolve().parents[2] / "src" / "diewright" / "examples" / "fascia"


def bare(text: str) -> str:
    """Without spaces: a line may end anywhere on paper."""
    return "".join(text.split())


@pytest.mark.slow
def test_the_fascia_prints_with_its_own_numbers(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job", ignore=shutil.ignore_patterns("results", "history"))
    desk = open_job(tmp_path / "job")
    desk.edit({"part.target_edge": 9.0, "part.chord_error": 0.3})
    desk.work("nest", "press")  # the tryout takes minutes; its sheets are tested in test_tryout_print.py
    pdf = make(desk, timestamp=STAMP)
    said = text_of(pdf)
    assert "Side fascia of a lever espresso machine" in said
    assert len(read(pdf).pages) <= 22
    for excuse in ("could not be made", "could not be drawn", "could not be laid out", "out of date"):
        assert excuse not in said
    close = bare(said)
    for judged in desk.findings():
        assert bare(judged.finding.sentence) in close
    for name in desk.graph.upstream(("nest", "press")):
        for figure in desk.result(name).figures:
            assert bare(figure.label) in close
            if figure.value is not None:
                assert in_press_units(figure.value, figure.unit, figure.digits).replace("\u202f", " ") in said
    blank = desk.result("blank")
    assert f"{desk.job.sheet.thickness:g} mm thick" in said
    assert "Check bar: 100 mm on this paper." in said
    assert in_press_units(blank.values["area"], "mm2", 4, trim=True).replace("\u202f", " ") in said

"""The sheets of faces, draws, proposal and compensation, on tools by formula; the section against what the tools are made from."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest
from printed import STAMP, text_of

sys.path.insert(0, str(Path(__file__).parents[1] / "book"))
from cup_server import cup_job
from drawn_cup import DEPTH, OPENING, PUNCH, T0, tools
from faces_pages import GRAPH, graph

from diewright.book.paper import make, printing
from diewright.book.paper.faces_section import chains, crossed, section, sheet_on, under_punch
from diewright.book.paper.page_compensation import left
from diewright.book.paper.page_draws import cups
from diewright.book.paper.page_proposal import best_row, says, tried
from diewright.book.paper.studio import Studio
from diewright.desk import Desk
from diewright.job.stage import Result


@pytest.fixture(scope="module")
def desk(tmp_path_factory) -> Desk:
    return Desk(cup_job(tmp_path_factory.mktemp("print"), graph=GRAPH), GRAPH)


@pytest.fixture(scope="module")
def said(desk) -> str:
    return text_of(make(desk, timestamp=STAMP))


def test_the_sheets_say_what_the_screen_says(said):
    for words in (
        "Section at y 0 mm in the closed press", "punch opening 55.7", "Largest gap, mm", "1 of 2", "die: bears", "Blankholder surface and section", "land, radius, wall, radius", "8°", "5 to 6 mm",
        "Blank and cups, cut through the axis", "What each draw did in the tryout", "Draw 2 limits.", "least margin 19", "What was tried, in this order", "Coarse tryout 3, best", "Faces, cylindrical", "the wall folds at the corner.",
        "most, out of the metal 0.600", "Deviation of the trimmed part by run, mm", "moved 2, given", "keeps its surface", "compensation.csv",
    ):  # fmt: skip
        assert words in said, words
    for excuse in ("could not be made", "could not be drawn", "could not be laid out", "out of date"):
        assert excuse not in said


def test_what_is_not_worked_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(printing, "Studio", lambda folder: Studio(folder, program=("true",)))
    square = graph(round_part=False)
    job = cup_job(tmp_path, worked=False, graph=square)
    Desk(job, square).work("draws")
    words = text_of(make(Desk(job, square), timestamp=STAMP))
    for sentence in (
        "There is no proposal to show yet.",
        "There is no compensation to show yet.",
        "Only round parts get a sequence of draws.",
    ):
        assert sentence in words


def test_the_sheet_lies_on_the_die_with_its_thickness():
    """Every place of the upper side is a thickness off the lower, over the die's radius too, where nothing holds it."""
    faces = tools()
    others = [c for name in ("punch", "blankholder") for c in chains(faces[name], 1, 0.4)]
    found = [s for s in (sheet_on(c, others, T0) for c in chains(faces["die"], 1, 0.4)) if s is not None]
    assert len(found) == 2  # left and right: the die is open below
    for one in found:
        off = np.hypot(*(one.upper - one.lower).T)
        assert off == pytest.approx(np.full(len(off), T0), rel=0.01)
        assert one.upper[:, 1].max() == pytest.approx(T0 / 2, abs=1e-4)
    (under,) = [s for c in chains(faces["punch"], 1, 0.4) for s in under_punch(c, chains(faces["die"], 1, 0.4), T0)]
    assert under.upper[:, 1].min() == pytest.approx(-DEPTH - T0 / 2, abs=1e-4)
    assert sheet_on(chains(faces["die"], 1, 0.4)[0], [], T0) is None


def test_the_section_is_true_to_scale_and_dimensioned():
    faces = tools()
    angle = np.linspace(0, 2 * np.pi, 721)[:-1]
    opening = OPENING * np.column_stack([np.cos(angle), np.sin(angle)])
    assert crossed(opening, 1, 0.4) == pytest.approx(np.array([-1, 1]) * np.sqrt(OPENING**2 - 0.4**2), abs=0.01)
    assert len(crossed(opening, 1, 2 * OPENING)) == 0
    made = section(faces, T0, opening, 1, 0.4, 180.0, 120.0)
    assert made.scale == 1.0
    text = made.svg.text_of()
    words = re.findall(r">([^<>]+)</text>", text)
    assert any("punch opening" in w and "55.75" in w for w in words)
    assert any(w.startswith("26.00") for w in words)
    lines = [
        np.array([[float(v) for v in p.split()] for p in re.findall(r"-?[\d.]+ -?[\d.]+", d)])
        for d in re.findall(r'<path d="([^"]*)"', text)
    ]
    assert max(float(np.ptp(q[:, 0])) for q in lines) == pytest.approx(2 * PUNCH, abs=0.1)  # the punch, at 1:1
    with pytest.raises(ValueError, match="beside the die"):
        section(faces, T0, opening, 1, 500.0, 180.0, 120.0)


def test_the_plots_mark_what_is_proposed_and_given(desk):
    found = desk.result("proposal")
    assert best_row(found) == 6
    text = tried(found, 180.0, 10.0).text_of()
    for words in ("R 8.00, bead 2.00", "R 6.00, no bead", "wanted"):
        assert words in text or words.replace(".00", "") in text, words
    nothing = {**found.tables["tried"], "margin_pct": np.full(7, np.nan)}
    with pytest.raises(ValueError, match="no force was tried"):
        tried(Result(values=found.values, tables={"tried": nothing}), 180.0, 10.0)
    elsewhere = Result(values={**found.values, "force_kN": 99.0}, tables=found.tables)
    assert best_row(elsewhere) == -1
    runs = left(desk.result("compensation"), 180.0).text_of()
    for words in ("nominal", "0.800", "0.100", "tolerance", "largest", "mean square"):
        assert words in runs


def test_findings_are_said_in_words():
    assert says("") == "–"
    assert says("tryout.neck, tryout.something_else") == "necks, something else"
    assert says("the wall folds at the corner.") == "the wall folds at the corner."


def test_the_cups_stand_to_one_scale(desk):
    made = cups(desk.result("draws"), 180.0, 92.0)
    assert made.scale in (1.0, 0.5)
    words = re.findall(r">([^<>]+)</text>", made.svg.text_of())
    for name in ("blank", "draw 1", "redraw 2"):
        assert name in words
    assert any(w.startswith("Ø56") for w in words)

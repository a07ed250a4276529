"""The sheets of faces, tryout and blankholder, on the cup drawn by formula; the section drawing against what it must measure."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest
from printed import STAMP, text_of
from synthetic import desk_in

sys.path.insert(0, str(Path(__file__).parents[1] / "book"))
from cup_server import cup_job
from drawn_cup import DEPTH, GRAPH, OPENING, R0, T0, disc, drawn, tools

from diewright.book.paper import make, printing
from diewright.book.paper.page_blankholder import window
from diewright.book.paper.page_tryout import force
from diewright.book.paper.press_section import cut, section
from diewright.book.paper.studio import Studio
from diewright.desk import Desk
from diewright.geometry import TriMesh
from diewright.job.stage import Result


@pytest.fixture(scope="module")
def desk(tmp_path_factory) -> Desk:
    return Desk(cup_job(tmp_path_factory.mktemp("print")), GRAPH)


@pytest.fixture(scope="module")
def said(desk) -> str:
    return text_of(make(desk, timestamp=STAMP))


def test_the_sheets_say_what_the_screen_says(said):
    for sheet in ("Faces", "Tryout", "Tryout, section", "Blankholder"):
        assert f"Sheet {sheet}" in said or sheet in said
    for words in (
        "The sheet at the last instant in the tools, after 26 mm of stroke from first touch.", "At 13 mm of 26 mm of stroke.", "height above bottom, mm", "Section at y 0 mm in the closed press",
        "Springback at the reference points, mm", "rim, front", "Highest share of kinetic energy", "1160 J", "The wall was led out of the part's edge by 8 mm.", "set 25.1 kN", "wrinkles", "tears",
        "never", "Distance to tearing", "The slide carries punch and blankholder together.",
    ):  # fmt: skip
        assert words in said, words
    for excuse in ("could not be made", "could not be drawn", "could not be laid out", "out of date"):
        assert excuse not in said


def test_the_same_print_twice_is_the_same_bytes(desk):
    assert make(desk, timestamp=STAMP) == make(desk, timestamp=STAMP)


def test_stages_that_are_not_there_have_no_sheet(tmp_path, monkeypatch):
    monkeypatch.setattr(printing, "Studio", lambda folder: Studio(folder, program=("true",)))
    words = text_of(make(desk_in(tmp_path / "job", worked=False), timestamp=STAMP))
    assert "Tryout" not in words
    assert "Blankholder force" in words  # of the blank
    assert "Readiness" in words


def test_stages_that_are_not_worked_say_so(tmp_path, monkeypatch):
    monkeypatch.setattr(printing, "Studio", lambda folder: Studio(folder, program=("true",)))
    words = text_of(make(Desk(cup_job(tmp_path, worked=False), GRAPH), timestamp=STAMP))
    assert "There is no tryout to show yet." in words
    assert "There is no window to show yet." in words


def sheet_of(h: float) -> TriMesh:
    flat, triangles = disc()
    return TriMesh(drawn(flat, h), triangles)


def test_a_cut_is_one_chain_with_its_values_and_the_side_of_the_normals():
    mesh = sheet_of(DEPTH)
    (one,) = cut(mesh, 1, 0.3, np.full(len(mesh.triangles), 0.7))
    assert np.allclose(one.value, 0.7)
    assert np.abs(one.line[:, 0]).max() == pytest.approx(np.hypot(*mesh.points[:, :2].T).max(), rel=0.01)
    # the cup's normals point up: at its left of the way when the way runs to +x
    assert one.normal_left == (one.line[-1, 0] > one.line[0, 0])
    (flipped,) = cut(mesh.reversed(), 1, 0.3)
    assert flipped.normal_left != one.normal_left or np.allclose(flipped.line, one.line[::-1])


def test_a_cut_through_points_and_edges_of_the_mesh_stays_whole():
    square = TriMesh(
        np.array([[0.0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0], [1, 1, 0]]), np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    )
    (one,) = cut(square, 1, 1.0)  # through the middle point
    length = float(np.hypot(*np.diff(one.line, axis=0).T).sum())
    assert length == pytest.approx(2.0)
    assert cut(square, 1, 5.0) == []


def sheet_paths(drawing) -> list[np.ndarray]:
    found = re.findall(r'<path d="([^"]*)"[^>]* id="sheet-cut"', drawing.svg.text_of())
    return [np.array([[float(v) for v in p.split()] for p in re.findall(r"-?[\d.]+ -?[\d.]+", d)]) for d in found]


def test_the_section_is_true_to_scale():
    flat, triangles = disc()
    mesh = TriMesh(np.column_stack([flat, 0 * flat[:, 0]]), triangles)
    made = section(mesh, np.full(len(triangles), 3.0), [], 1, 1e-6, 180.0, 120.0)
    assert made.scale == 1.0
    (ring,) = sheet_paths(made)
    assert np.ptp(ring[:, 0]) == pytest.approx(2 * R0, abs=0.05)
    assert np.ptp(ring[:, 1]) == pytest.approx(3.0, abs=0.01)
    assert re.search(r">100\.0\Wmm<", made.svg.text_of())  # the dimension


def test_a_wall_that_is_cut_obliquely_is_drawn_thicker():
    """A sheet that rises away at 60 degrees is met by an upright plane twice as thick as it is."""
    grid = np.array([[x, y, 0.0] for y in (-5.0, 5.0) for x in (-5.0, 0.0, 5.0)])
    turned = np.array([[1, 0, 0], [0, 0.5, 0], [0, np.sqrt(0.75), 0]])  # the sheet rises along y at 60 degrees
    mesh = TriMesh(grid @ turned.T, np.array([[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]]))
    made = section(mesh, np.full(4, 1.0), [], 1, 0.01, 180.0, 120.0)
    (ring,) = sheet_paths(made)
    assert np.ptp(ring[:, 1]) == pytest.approx(made.scale / 0.5, rel=0.01)


def test_tools_touch_the_sheet_in_the_closed_press():
    """The sheet's cut and the tools' lines lie half a thickness apart: nothing is drawn through anything else."""
    mesh = sheet_of(DEPTH)
    (middle,) = cut(mesh, 1, 0.2)
    faces = tools()
    bottom = max(c.line[:, 1].min() for c in cut(faces["punch"], 1, 0.2))
    assert bottom == pytest.approx(middle.line[:, 1].min() + T0 / 2, abs=1e-6)
    assert len(cut(faces["die"], 1, 0.2)) == 2
    assert all(np.abs(c.line[:, 0]).min() >= OPENING * 0.99 for c in cut(faces["die"], 1, 0.2))


def test_the_force_curve_falls_to_bottom_at_the_right(desk):
    plot = force(desk.result("tryout"), desk.result("press"), 180.0)
    text = plot.text_of()
    assert plot.x == (-DEPTH, 0.0)
    assert "−" not in "".join(re.findall(r'text-anchor="middle"[^>]*>([^<]*)<', text))
    assert "together" in text
    assert "the press gives 526" in text
    without = force(desk.result("tryout"), None, 180.0).text_of()
    assert "the press gives" not in without


@pytest.mark.parametrize(
    ("values", "words", "absent"),
    [
        ({}, ["wrinkles", "tears", "set 25.1 kN", "32"], []),
        ({"tears_above_kN": None, "distance_high_pct": None, "tear_at_stroke_mm": np.nan}, ["wrinkles", "set 25.1 kN"], ["tears"]),
        ({"recommended_kN": None}, ["wrinkles", "tears"], ["set "]),
    ],
)
def test_the_window_says_only_what_was_found(desk, values, words, absent):
    found = desk.result("window")
    runs = dict(found.tables["runs"])
    if "tear_at_stroke_mm" in values:
        runs["tear_at_stroke_mm"] = np.full(7, np.nan)
    changed = Result(
        values={**found.values, **{k: v for k, v in values.items() if k != "tear_at_stroke_mm"}}, tables={**found.tables, "runs": runs}
    )
    texts = re.findall(r">([^<>]+)</text>", window(changed, 180.0).text_of())
    for word in words:
        assert any(word in t for t in texts), word
    for word in absent:
        assert not any(word in t for t in texts), word

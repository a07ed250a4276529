"""The sheets of Cutting and Press plan: what the screen says, drawings to scale, the bands of the cycle against its events."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest
from printed import STAMP, text_of

sys.path.insert(0, str(Path(__file__).parents[1] / "book"))
from cup_server import cup_job
from cutting_pages import EDGE, EVENTS, GRAPH, RIM, ring

from diewright.book.paper import make, printing
from diewright.book.paper.cutting_drawing import Area, edge, plan
from diewright.book.paper.cycle_drawing import bands, cycle
from diewright.book.paper.page_cutting import force
from diewright.book.paper.studio import Studio
from diewright.desk import Desk


@pytest.fixture(scope="module")
def desk(tmp_path_factory) -> Desk:
    return Desk(cup_job(tmp_path_factory.mktemp("print"), graph=GRAPH), GRAPH)


@pytest.fixture(scope="module")
def said(desk) -> str:
    return text_of(make(desk, timestamp=STAMP))


def path_of(svg: str, name: str) -> np.ndarray:
    d = re.search(rf'<path d="([^"]+)"[^>]*id="{name}"', svg)
    assert d is not None
    return np.array([[float(v) for v in p.split()] for p in re.split("[MLZ]", d[1]) if p.strip()])


def test_the_sheets_say_what_the_screen_says(said):
    for words in (
        "largest lean 30", "Hole 1 second trim cam 30.0°, towards back", "12.043 −0.011", "coil spring, heavy, 25 x 51", "burr up to 0.047 mm", "lower face, which is seen", "Edge and Hole 1", "1.9 hooked on the post", "to the back right, 45°",
        "through the die", "cutting.dxf, steels.csv", "Piece 3 is hooked on the post.", "Cuts on the flat", "cut line", "as it stands", "1.2842 90MnCrV8", "Cycle of station 1, trim", "crank angle from the top", "open for feeding", "280° to 80°",
        "hole 1 by 2", "set by pierce", "Two-hand control, ISO 13855 570 mm", "cannot share a die", "rear flange", "Guard the point of operation.", "Punches are sharp.",
    ):  # fmt: skip
        assert words in said, words
    for excuse in ("could not be made", "could not be drawn", "could not be laid out", "out of date", "nan"):
        assert excuse not in said


def test_what_is_not_worked_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(printing, "Studio", lambda folder: Studio(folder, program=("true",)))
    job = cup_job(tmp_path, worked=False, graph=GRAPH)
    words = text_of(make(Desk(job, GRAPH), timestamp=STAMP))
    for sentence in ("There are no cut lines to show yet.", "There is no scrap to show yet.", "There is no press plan to show yet."):
        assert sentence in words


def test_the_plan_is_to_scale_and_arrows_point_the_way():
    half = np.concatenate([ring(RIM, 0.0, 60)[:31, :2], ring(EDGE, 0.0, 60)[:31, :2][::-1]])
    made = plan([ring(EDGE, 0.0)], [Area(half, 1, np.array([0.0, 1.0])), Area(-half, 2, None, hatched=True)], [], 180.0, 120.0)
    svg = made.svg.text_of()
    drawn = path_of(svg, "area-1")
    assert np.ptp(drawn[:, 0]) == pytest.approx(2 * RIM * made.scale, abs=0.02)
    assert np.ptp(drawn[:, 1]) == pytest.approx(RIM * made.scale, abs=0.02)
    assert "check-bar" in svg
    assert "check-bar" not in plan([ring(EDGE, 0.0)], [], [], 80.0, 80.0, bar=False).svg.text_of()
    shaft = next(tuple(float(v) for v in m) for m in re.findall(r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)"', svg))
    assert shaft[0] == pytest.approx(shaft[2], abs=0.01)  # straight to the back
    assert shaft[3] < shaft[1]


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_the_edge_is_drawn_to_one_scale_with_the_burr_on_its_side(side):
    cut = {"thickness": 0.8, "burr_mm": 0.08, "burr_side": side, "burr_seen": True, "clearance_mm": 0.05, "rollover_pct": [4.0, 8.0], "burnish_pct": [30.0, 50.0], "fracture_pct": [44.0, 64.0]}  # fmt: skip
    svg = edge(cut, 87.0, tall=40.0).text_of()
    ring_ = max((path_of_any(d) for d in re.findall(r'<path d="([^"]+)"', svg)), key=lambda p: np.ptp(p[:, 1]) if len(p) == 15 else 0)
    assert np.ptp(ring_[:, 1]) == pytest.approx(40.0 * (1 + 0.08 / 0.8), abs=0.01)
    tip = ring_[-3]
    assert tip[1] == (ring_[:, 1].max() if side == "lower" else ring_[:, 1].min())
    assert f"{side} face, which is seen" in svg
    assert "drawn 50:1" in svg


def path_of_any(d: str) -> np.ndarray:
    return np.array([[float(v) for v in p.split()] for p in re.split("[MLZ]", d) if p.strip() and "h" not in p] or [[0.0, 0.0]])


def test_the_bands_are_those_of_the_events():
    found = {b.name: b for b in bands([{"event": e, "angle_deg": a} for e, a, *_ in EVENTS])}
    assert (found["trim"].begin, found["trim"].end) == (155.0, 170.0)
    assert (found["pad holds, trim"].begin, found["pad holds, trim"].end) == (150.0, 210.0)
    assert (found["stripped off, trim"].begin, found["stripped off, trim"].end) == (180.0, 205.0)
    assert (found["upper ejector"].begin, found["upper ejector"].end) == (330.0, 360.0)
    assert (found["open for feeding"].begin, found["open for feeding"].end) == (280.0, 80.0)
    assert len(found) == 5


def test_a_hydraulic_press_tells_time(desk):
    v = desk.result("plan")
    svg = cycle(dict(v.tables["cycle_2"]), v.values["stations"][1]["events"], 180.0, crank=False).text_of()
    assert "time in the cycle of 2 s" in svg
    assert "°" not in svg


def test_the_peak_is_marked_where_it_is(desk):
    found = desk.result("cutting")
    plot = force(found, 87.0)
    t = found.tables["force"]
    i = int(np.argmax(t["slide_kN"]))
    x, y = plot.at(float(t["stroke_mm"][i]), float(t["slide_kN"][i]))
    assert f'<circle cx="{x:.3f}"'.rstrip('0"').rstrip("0") in plot.svg.text_of()
    assert plot.top < y < plot.bottom

"""Faces, Draws, Proposal and Compensation in a real Chromium, on tools by formula: what a toolmaker does with them."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "paper"))
from browser import colours_of, drawn, go, opened
from cup_server import cup_job, cup_served
from drawn_cup import DEPTH, DIE, NOSE, OPENING, T0
from faces_pages import GRAPH, graph

from diewright.desk import Desk

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return cup_job(tmp_path_factory.mktemp("book"), graph=GRAPH)


@pytest.fixture(scope="module")
def address(job):
    with cup_served(job, GRAPH, "faces_pages") as found:
        yield found


def measured(page) -> dict[str, float]:
    """What the section says of itself, as numbers, once it is drawn where it is wanted."""
    page.wait_for_function("() => ((d) => d.wanted && d.wanted === d.drawn)(document.querySelector('.faces-cut').dataset)")
    text = page.locator(".section-said").inner_text()
    wanted = {
        "depth": r"Depth ([\d.]+)", "least": r"die ([\d.]+) to", "most": r"to ([\d.]+) mm", "die": r"of the die ([\d.]+)", "punch": r"of the punch ([\d.]+)", "opening": r"opening ([\d.]+)",
    }  # fmt: skip
    return {name: float(found.group(1)) for name, pattern in wanted.items() if (found := re.search(pattern, text))}


def typed(page, label, value):
    field = page.locator(".faces-cut").get_by_label(label, exact=True)
    field.fill(value)
    field.press("Enter")


def test_the_section_measures_what_the_tools_are_made_from(page):
    go(page, "faces")
    drawn(page)
    page.wait_for_selector(".faces-section .radius-arc")
    page.get_by_label("How the section runs").select_option("x")
    typed(page, "x", "0.5")  # beside the hole in the middle of the turned punch
    got = measured(page)
    assert got["depth"] == pytest.approx(DEPTH, abs=0.01)
    assert got["die"] == pytest.approx(DIE, rel=0.02)
    assert got["punch"] == pytest.approx(NOSE, rel=0.02)
    assert got["least"] == pytest.approx(1.1 * T0, abs=0.011)
    assert got["most"] == pytest.approx(1.1 * T0, abs=0.011)
    assert got["opening"] == pytest.approx(2 * OPENING, abs=0.1)
    assert page.locator(".faces-section .sheet-solid, .faces-section .sheet-paper").count() == 3  # over both die radii, and under the punch
    assert page.locator(".faces-section .radius-arc").count() == 4
    typed(page, "x", "20,5")  # a decimal comma is understood
    assert measured(page)["opening"] == pytest.approx(2 * np.sqrt(OPENING**2 - 20.5**2), abs=0.15)
    typed(page, "x", "nowhere")  # what is no number changes nothing
    assert page.locator(".faces-cut").get_by_label("x", exact=True).input_value() == "20.5"


def test_the_line_is_dragged_turned_and_moved_by_keys(page):
    go(page, "faces")
    drawn(page)
    page.get_by_label("How the section runs").select_option("y")
    typed(page, "y", "0")
    page.locator(".faces-plan").scroll_into_view_if_needed()
    handle = page.locator(".plan-handle.move")
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 20, steps=4)
    page.mouse.up()
    place = float(page.locator(".faces-cut").get_by_label("y", exact=True).input_value())
    assert place > 4
    assert measured(page)["opening"] == pytest.approx(2 * np.sqrt(OPENING**2 - place**2), abs=0.2)
    handle.press("Shift+ArrowDown")
    handle.press("ArrowUp")
    assert float(page.locator(".faces-cut").get_by_label("y", exact=True).input_value()) == pytest.approx(place - 9, abs=0.051)
    page.locator(".plan-handle.turn").press("Shift+ArrowLeft")
    assert page.get_by_label("How the section runs").input_value() == "line"
    assert page.locator(".faces-cut").get_by_label("turned", exact=True).input_value() == "5"
    page.wait_for_function("() => document.querySelector('.faces-paper').textContent.includes('turned 5° from x')")
    section = page.locator(".faces-section")
    whole = section.locator(".tool-metal").first.get_attribute("d")
    page.get_by_role("button", name="Tightest radius of the die").click()
    page.wait_for_function("d => document.querySelector('.faces-section .tool-metal').getAttribute('d') !== d", arg=whole)
    section.press("0")
    page.wait_for_function("d => document.querySelector('.faces-section .tool-metal').getAttribute('d') === d", arg=whole)


def test_faces_show_draft_gap_and_double_curvature(page):
    go(page, "faces")
    drawn(page)
    named = "w => document.querySelector('.page-faces .rule-name')?.textContent === w"
    show = page.locator(".page-faces .show-field select")
    page.get_by_label("Face that is coloured").select_option("punch")
    show.select_option("gap_mm")
    page.wait_for_function(named, arg="Gap to the die, mm")
    assert colours_of(page, page.locator(".page-faces .stage")) > 60
    show.select_option("draft_deg")
    page.wait_for_function(named, arg="Draft angle, °")
    page.get_by_label("Face that is coloured").select_option("blankholder")
    show.select_option("gauss")
    page.wait_for_function(named, arg="Double curvature, 1/m²")  # level: nothing but the least range of the scale
    assert page.locator(".page-faces .rule-figure").last.text_content() == "0.100"
    before = page.locator(".page-faces .stage").screenshot()
    page.get_by_label("cut the picture here as well").check()
    page.wait_for_timeout(300)
    assert page.locator(".page-faces .stage").screenshot() != before
    assert page.get_by_role("link", name="Take die.step").get_attribute("href").startswith("/api/file/cad/")
    assert "The die lies 0.001 mm off the tryout's." in page.locator(".page-faces .findings").inner_text()


def test_pins_vents_and_spotting_stand_on_plan_and_faces(page):
    go(page, "faces")
    drawn(page)
    assert page.locator(".faces-plan .plan-mark.pin").count() == 3
    assert page.locator(".faces-plan .plan-mark.vent").count() == 1
    assert page.locator(".faces-plan .plan-bead").count() == 1
    said = page.locator(".page-faces").inner_text()
    for words in ("but for its turning", "Die: bears", "Vents wanted"):
        assert words in said
    page.locator(".page-faces .show-field select").select_option("zone")
    page.wait_for_function("() => document.querySelector('.page-faces .rule-name')?.textContent === 'How the face is spotted'")
    assert page.get_by_role("link", name="Take details.dxf").is_visible()


def test_a_proposal_is_seen_and_taken_over(page, job):
    go(page, "proposal")
    drawn(page)
    assert (
        page.locator(".verdict").inner_text()
        == "14 kN on a flat blankholder, die radius 8 mm, a round draw bead 2 mm high: margin to necking 12.5 %, wanted 10\u00a0%."
    )
    assert page.locator(".tried.tryout").count() == 3
    assert page.locator(".tried.one-step").count() == 2
    assert page.locator(".tried-stop").count() == 1
    assert page.locator(".tried.best circle.tried-best").count() == 1
    rows = page.locator(".tried-table tbody tr")
    assert rows.count() == 7
    assert page.locator(".tried-table tr.chosen").inner_text().startswith("Coarse tryout 3, the best")
    assert "the wall folds at the corner." in rows.nth(1).inner_text()
    page.get_by_role("button", name="Take over", exact=True).click()
    page.wait_for_selector(".page-proposal .taken")
    stated = Desk(job, GRAPH).job
    assert (stated.tryout.blankholder_force_kn, stated.tryout.bead_kind, stated.faces.die_radius) == (14.0, "round", 8.0)
    go(page, "faces")
    page.wait_for_function("() => document.querySelector('.page-faces').innerText.includes('Round bead, along the punch opening')")
    page.wait_for_selector("text=The blank's edge stays on it.")
    page.click("#undo")
    go(page, "proposal")
    page.wait_for_selector(".page-proposal .take-offer")
    assert Desk(job, GRAPH).job.tryout.bead_kind == "none"


def test_a_compensation_is_seen_and_its_faces_are_taken_over(page, job):
    go(page, "compensation")
    drawn(page)
    assert page.locator(".verdict").inner_text().startswith("Deviation of the part 0.100 mm at most, 0.800 mm in the nominal faces")
    assert page.locator(".page-compensation .rule-name").text_content() == "Move along the face, mm"
    assert page.locator(".left-figure").all_text_contents() == ["0.800", "0.300", "0.100", "0.120"]
    assert page.locator(".left-best").count() == 1
    assert page.locator(".page-compensation tr.chosen").inner_text().startswith("faces moved twice")
    figures = []
    for body in ("before", "sprung"):
        page.get_by_label("Look at").select_option(body)
        page.wait_for_function(
            "() => document.querySelector('.page-compensation .rule-name').textContent === 'Deviation along the normal, mm'"
        )
        page.wait_for_timeout(150)
        figures.append(page.locator(".page-compensation .rule-figure").all_text_contents())
    assert figures[0] == figures[1]  # one scale before and after
    with page.expect_download() as kept:
        page.get_by_role("link", name="Take compensation.csv").click()
    assert kept.value.suggested_filename == "compensation.csv"
    page.get_by_role("button", name="Take over", exact=True).click()
    page.wait_for_function("() => document.querySelector('#undo').disabled === false")
    assert Desk(job, GRAPH).job.faces.shift_file == "compensation-1.csv"
    assert (job / "compensation-1.csv").read_bytes().startswith(b"x [mm]")
    go(page, "faces")
    page.wait_for_function("() => document.querySelector('.revision')?.textContent.includes('compensation-1.csv')")
    page.click("#undo")
    page.wait_for_function("() => document.querySelector('.revision')?.textContent.startsWith('Nominal faces')")


def test_draws_are_seen_one_by_one(page, job):
    go(page, "draws")
    drawn(page)
    assert page.locator(".cups-svg .cup-name").all_text_contents() == ["blank", "draw 1", "redraw 2"]
    assert "least margin 8.1 % in draw 2" in page.locator(".verdict").inner_text()
    look = page.get_by_label("Look at")
    options = look.locator("option").all_text_contents()
    assert options == ["the tools of draw 1", "the tools of redraw 2", "the sheet after draw 1", "the sheet after redraw 2"]
    first = page.locator(".page-draws .stage").screenshot()
    look.select_option("tools/2")
    page.wait_for_timeout(300)
    assert page.locator(".page-draws .stage").screenshot() != first
    look.select_option("sheet/1")
    page.wait_for_function("() => document.querySelector('.page-draws .rule-name')?.textContent === 'Thinning, %'")
    assert not page.locator(".page-draws .stroke-range").is_visible()
    page.get_by_role("button", name="Take over these diameters").click()
    page.wait_for_selector(".page-draws .taken")
    assert Desk(job, GRAPH).job.draws.diameters == (58.8,)


def test_a_part_without_a_sequence_says_why(tmp_path, chromium):
    square = graph(round_part=False)
    with cup_served(cup_job(tmp_path, graph=square), square, "faces_pages") as address:
        context, book, watcher = opened(chromium, address)
        go(book, "draws")
        book.wait_for_function("() => document.querySelector('.verdict').textContent === 'Only round parts get a sequence of draws.'")
        assert not book.locator(".cups-svg").is_visible()
        context.close()
        assert watcher.wrong == []


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768), (420, 800)])
def test_the_pages_of_the_faces_fit(address, chromium, width, height):
    context, book, watcher = opened(chromium, address, width, height)
    for name in ("faces", "draws", "proposal", "compensation"):
        go(book, name)
        book.wait_for_timeout(500)
        assert book.evaluate("document.documentElement.scrollWidth") <= width, name
    context.close()
    assert watcher.wrong == []

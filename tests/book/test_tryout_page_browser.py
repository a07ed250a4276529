"""Tryout, blankholder and faces in a real Chromium, on the cup drawn by formula: what a toolmaker does with them."""

from __future__ import annotations

import re

import pytest
from browser import colours_of, drawn, go, opened
from cup_server import cup_job, cup_served
from drawn_cup import DEPTH, GRAPH

from diewright.desk import Desk

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return cup_job(tmp_path_factory.mktemp("book"))


@pytest.fixture(scope="module")
def address(job):
    with cup_served(job) as found:
        yield found


def stroke(page):
    slider = page.locator(".page-tryout .stroke-range")
    slider.wait_for()
    page.wait_for_function("() => document.querySelector('.stroke-range').max > 1")
    return slider


def test_the_stroke_runs_from_hold_to_springback(page):
    go(page, "tryout")
    drawn(page)
    slider = stroke(page)
    text = page.locator(".stroke-text")
    assert text.inner_text() == f"Dwell: {DEPTH:.2f} mm from first touch, 0.00 mm above bottom"
    assert colours_of(page, page.locator(".stage")) > 100
    assert [t.text_content() for t in page.locator(".stroke-marks text").all()] == ["hold", "draw", "dwell", "released", "trimmed"]
    slider.press("Home")
    assert text.inner_text() == f"Hold: 0.00 mm from first touch, {DEPTH:.2f} mm above bottom"
    flat = page.locator(".stage").screenshot()
    slider.press("PageUp")
    assert text.inner_text().startswith("Draw: 1.08 mm")
    slider.press("ArrowRight")
    assert text.inner_text().startswith("Draw: 2.17 mm")
    page.wait_for_timeout(300)
    assert page.locator(".stage").screenshot() != flat
    slider.press("End")
    assert text.inner_text() == "Trimmed and sprung back"
    page.wait_for_function(
        "() => [...document.querySelectorAll('.page-tryout .show-field option')].some((e) => e.textContent === 'springback')"
    )
    slider.press("PageDown")
    page.wait_for_function("() => document.querySelector('.stroke-text').textContent.startsWith('Released')")


def test_the_scale_of_a_field_is_that_of_the_whole_stroke(page):
    go(page, "tryout")
    drawn(page)
    slider = stroke(page)
    for field, words in (
        ("stress", "Stress, equivalent, MPa"),
        ("pressure", "Contact pressure, MPa"),
        ("wrinkle_height", "Wrinkle height, mm"),
        ("thinning_pct", "Thinning, %"),
    ):
        page.select_option(".page-tryout .show-field select", field)
        page.wait_for_function("w => document.querySelector('.rule-name').textContent === w", arg=words)
        same = "f => JSON.stringify([...document.querySelectorAll('.rule-figure')].map((e) => e.textContent)) === f"
        figures = page.evaluate("() => JSON.stringify([...document.querySelectorAll('.rule-figure')].map((e) => e.textContent))")
        slider.press("Home")
        page.wait_for_timeout(60)
        assert page.evaluate(same, figures), field
        slider.press("End")  # the trimmed part is another mesh, with a range of its own
        slider.press("ArrowLeft")
        slider.press("ArrowLeft")
        page.wait_for_function(same, arg=figures)


def test_it_plays_and_pauses(page):
    go(page, "tryout")
    drawn(page)
    slider = stroke(page)
    slider.press("Home")
    slider.press(" ")
    assert page.locator(".stroke-play").inner_text() == "Pause"
    page.wait_for_function("() => Number(document.querySelector('.stroke-range').value) > 5")
    page.click(".stroke-play")
    at = slider.input_value()
    page.wait_for_timeout(300)
    assert slider.input_value() == at
    assert page.locator(".stroke-play").inner_text() == "Play"


def test_a_section_shows_sheet_and_tools(page):
    go(page, "tryout")
    drawn(page)
    slider = stroke(page)
    page.get_by_label("Cut", exact=True).select_option("y")
    page.wait_for_selector(".press-section")
    assert page.locator(".press-section .sheet-paper, .press-section .sheet-solid").count() == 1  # one unbroken sheet
    assert page.locator(".press-section .tool-metal").count() == 4  # die left and right, and one punch
    before = page.locator(".press-section .sheet-paper, .press-section .sheet-solid").get_attribute("d")
    page.get_by_label("blankholder", exact=True).check()
    assert page.locator(".press-section .tool-metal").count() == 6
    slider.press("ArrowLeft")
    for _ in range(4):
        slider.press("ArrowLeft")
    page.wait_for_timeout(200)
    assert page.locator(".press-section .sheet-paper, .press-section .sheet-solid").get_attribute("d") != before
    page.get_by_text("Closer", exact=True).click()
    assert page.get_by_text("Whole section").is_enabled()


def test_forces_stand_under_the_press_and_follow_the_stroke(page):
    go(page, "tryout")
    drawn(page)
    slider = stroke(page)
    slider.press("Home")
    line = page.locator(".page-tryout .now-line")
    assert line.count() == 1
    first = line.get_attribute("d")
    for _ in range(8):
        slider.press("ArrowRight")
    assert line.get_attribute("d") != first
    figures = page.locator(".now-figure").all_text_contents()
    assert len(figures) == 3
    assert all(f.endswith("kN") for f in figures)
    assert figures[-1] == "18 kN"  # on the blankholder
    slider.press("End")  # no force once the part is out
    page.wait_for_function("() => !document.querySelector('.page-tryout .now-line')")
    page.get_by_text("Energies over the stroke").click()
    page.wait_for_selector(".page-tryout details[open] svg")


def test_a_strain_and_its_place_are_linked_both_ways(page):
    go(page, "tryout")
    drawn(page)
    page.wait_for_function("() => document.querySelector('.page-tryout .strain-points')?.width > 200")
    page.get_by_role("button", name="From above").click()
    page.wait_for_timeout(500)
    page.locator(".page-tryout .pane").scroll_into_view_if_needed()
    box = page.locator(".page-tryout .pane").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_selector(".probe dl")
    said = page.locator(".probe").inner_text()
    for quantity in ("Thinning", "Margin to necking", "Stress, equivalent", "Contact pressure", "Wrinkle height"):
        assert quantity in said
    assert page.locator(".page-tryout .strain-ring circle").count() > 0
    assert page.locator(".page-tryout .strain-word").inner_text().startswith("Major ")
    page.locator(".page-tryout .strain-axes").focus()
    page.keyboard.press("ArrowRight")  # the triangle of least margin
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelectorAll('.page-tryout .pane .ring').length === 1")
    margin = re.search(r"margin ([\d.]+) %", page.locator(".page-tryout .strain-word").inner_text())
    assert float(margin.group(1)) == pytest.approx(18.98, abs=0.05)


def test_wear_is_shown_on_the_tools_and_the_sheet_comes_back(page):
    go(page, "tryout")
    drawn(page)
    page.get_by_label("Body that is coloured").select_option("die")
    page.wait_for_function("() => document.querySelector('.rule-name').textContent === 'Friction work an area, mJ/mm²'")
    page.get_by_label("Body that is coloured").select_option("sheet")
    page.wait_for_function("() => document.querySelector('.rule-name').textContent === 'Thinning, %'")


def test_draw_in_springback_and_cautions_are_said(page):
    go(page, "tryout")
    drawn(page)
    assert page.locator(".drawin .dimension text").count() == 8
    assert page.locator(".drawin .edge-before").count() == 1
    said = page.locator(".page-tryout").inner_text()
    assert "rim, front" in said
    assert "0.34" in said
    assert "Highest share of kinetic energy" in said


def test_the_setting_is_taken_over_and_taken_back(page, job):
    go(page, "blankholder")
    page.wait_for_selector(".window-svg")
    assert page.locator(".verdict").inner_text() == "Between 17 kN, where it wrinkles, and 37 kN, where it tears: set 25.1 kN."
    names = page.locator(".window-svg .window-name").all_text_contents()
    assert names == ["wrinkles", "tears"]
    assert page.locator(".window-svg .run-wrinkle").count() == 3
    assert page.locator(".window-svg .run-tear").count() == 2
    assert page.locator(".window-svg .run-clean").count() == 2
    assert page.locator(".page-blankholder .grid-table tbody tr").count() == 7
    page.get_by_role("button", name="Take over 25.1 kN").click()
    page.wait_for_selector(".taken")
    assert "25.1 kN is stated in the job." in page.locator(".taken").inner_text()
    table = Desk(job, GRAPH).job.model_dump()
    field = page.locator(".page-blankholder .decision input").first.get_attribute("data-path")
    head, _, tail = field.partition(".")
    assert table[head][tail] == 25.1
    page.click("#undo")
    page.wait_for_selector("text=Take over 25.1 kN")


def test_the_faces_come_apart_and_close(page):
    go(page, "faces")
    drawn(page)
    assert colours_of(page, page.locator(".page-faces .stage")) > 30
    slider = page.locator(".page-faces .stroke-range")
    assert page.locator(".page-faces .stroke-text").inner_text() == "Punch 18.7 mm above its lowest place"
    apart = page.locator(".page-faces .stage").screenshot()
    slider.press("Home")
    assert page.locator(".page-faces .stroke-text").inner_text() == "Closed"
    page.wait_for_timeout(200)
    assert page.locator(".page-faces .stage").screenshot() != apart
    assert "The wall was led out of the part's edge by 8 mm." in page.locator(".page-faces").inner_text()


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768), (420, 800)])
def test_the_pages_fit(address, chromium, width, height):
    context, book, watcher = opened(chromium, address, width, height)
    for name in ("faces", "tryout", "blankholder"):
        go(book, name)
        book.wait_for_timeout(400)
        assert book.evaluate("document.documentElement.scrollWidth") <= width, name
    if width == 1440:  # the picture and the whole slider are seen at once
        go(book, "tryout")
        stroke(book)
        slider = book.locator(".page-tryout .stroke-range").bounding_box()
        assert slider["y"] + slider["height"] < book.locator(".bench").bounding_box()["y"]
    context.close()
    assert watcher.wrong == []


def test_dragging_fills_buffers_only(page):
    """A step of the slider makes no new geometry: the same buffers are filled again."""
    go(page, "tryout")
    drawn(page)
    slider = stroke(page)
    slider.press("Home")
    made = page.evaluate(
        """async () => {
            const THREE = await import('three');
            const before = THREE.BufferGeometry.prototype.setAttribute;
            let count = 0;
            THREE.BufferGeometry.prototype.setAttribute = function (...a) { count += 1; return before.apply(this, a); };
            const range = document.querySelector('.stroke-range');
            const spent = [];
            for (let i = 1; i < 28; i++) {
                const t = performance.now();
                range.value = i;
                range.dispatchEvent(new Event('input'));
                await new Promise((done) => setTimeout(done, 0));
                spent.push(performance.now() - t);
            }
            THREE.BufferGeometry.prototype.setAttribute = before;
            return [count, spent.sort((a, b) => a - b)[14]];
        }"""
    )
    assert made[0] == 0


def test_a_run_is_followed_as_it_goes_and_can_be_stopped(tmp_path, chromium):
    job = cup_job(tmp_path, worked=False)
    Desk(job, GRAPH).edit({"press.strokes_per_minute": 6.0})  # the made-up stage takes this as its seconds
    with cup_served(job) as address:
        context, book, watcher = opened(chromium, address)
        go(book, "tryout")
        assert "appears when the tryout has been worked" in book.locator(".stage-word").inner_text()
        book.click("#work")
        book.wait_for_selector(".page-tryout.live")
        text = book.locator(".stroke-text")
        book.wait_for_function("() => /^At work: Draw, [\\d.]+ of 26.00 mm/.test(document.querySelector('.stroke-text').textContent)")
        first = float(re.search(r"([\d.]+) of", text.inner_text()).group(1))
        assert colours_of(book, book.locator(".page-tryout .stage")) > 100
        book.wait_for_function("() => document.querySelectorAll('.page-tryout .plot-place svg .curve').length >= 3")  # the forces so far
        book.wait_for_function("f => Number(/([\\d.]+) of/.exec(document.querySelector('.stroke-text').textContent)[1]) > f + 2", arg=first)
        book.wait_for_function("() => document.querySelector('.stroke-text').textContent.endsWith(' s left.')")
        book.click("#stop")
        book.wait_for_selector("#stop", state="hidden")
        book.wait_for_selector(".page-tryout:not(.live)")
        assert not (job / "results" / "live" / "tryout.frame").exists()
        book.click("#work")
        book.wait_for_function("() => document.querySelector('.stroke-range').max > 1", timeout=30_000)
        assert text.inner_text().startswith("Dwell")
        context.close()
        assert watcher.wrong == []


def test_a_slow_page_is_worked_only_when_asked(tmp_path, chromium):
    job = cup_job(tmp_path, worked=False)
    with cup_served(job) as address:
        context, book, watcher = opened(chromium, address)
        book.check("#auto")
        go(book, "tryout")
        book.wait_for_timeout(1200)
        assert not book.locator("#stop").is_visible()
        assert book.locator("#work").is_visible()
        assert Desk(job, GRAPH).states()["tryout"].state == "not worked"
        context.close()
        assert watcher.wrong == []

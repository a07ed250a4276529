"""Cutting and Press plan in a real Chromium, on a cup cut by formula: what a toolmaker looks for."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "paper"))
from browser import colours_of, drawn, go, opened
from cup_server import cup_job, cup_served
from cutting_pages import EVENTS, GRAPH, LEAN, PIECES

from diewright.desk import Desk

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return cup_job(tmp_path_factory.mktemp("book"), graph=GRAPH)


@pytest.fixture(scope="module")
def address(job):
    with cup_served(job, GRAPH, "cutting_pages") as found:
        yield found


def look(page, name, selector, words):
    """Choose what the picture shows and wait until ``selector`` says ``words``."""
    page.get_by_label("Look at").select_option(name)
    page.wait_for_function(
        "([where, words]) => [...document.querySelectorAll(where)].some((e) => e.textContent.includes(words))", arg=[selector, words]
    )
    page.wait_for_timeout(350)


def cells(page, caption):
    rows = page.get_by_role("group", name=caption, exact=True).locator("tbody tr")
    return [[t.strip() for t in r.locator("td").all_inner_texts()] for r in rows.all()]


def test_every_look_shows_what_it_says(page):
    go(page, "cutting")
    drawn(page)
    assert page.locator(".cut-key .cut-style").all_inner_texts()[:2] == ["first trim", "second trim"]
    assert set(page.locator(".cut-label.name").all_text_contents()) == {"Edge", "Hole 1"}
    plain = colours_of(page, page.locator(".stage"))
    look(page, "lean", ".rule", "largest lean 30")
    assert page.locator(".flag .flag-text").text_content() == f"{LEAN}°"
    assert colours_of(page, page.locator(".stage")) > plain
    look(page, "thickness", ".rule", "sheet as bought 0.8")
    look(page, "scrap", ".cut-label.piece", "1")
    assert page.locator(".picture.no-field").count() == 1
    assert {*page.locator(".cut-label.piece").all_text_contents()} <= {str(k) for k in range(1, PIECES + 2)}
    assert page.locator(".cut-label.piece").count() >= PIECES
    look(page, "upper", ".cut-key", "lifted off the sheet")
    assert page.locator(".cut-label.piece").count() == 4
    look(page, "post", ".cut-key", "No bodies of steels")


def test_a_click_reads_the_drawn_sheet_and_a_place_is_shown(page):
    go(page, "cutting")
    drawn(page)
    box = page.locator(".pane").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_selector(".probe dl")
    assert "Thickness" in page.locator(".probe").inner_text()
    page.get_by_role("button", name="Show the edge").click()
    page.wait_for_selector(".flag.mark")
    page.locator("button.word", has_text="Hole 1").first.click()
    page.wait_for_function("() => document.querySelector('.flag.mark')?.textContent.includes('Hole 1, leans most')")
    page.get_by_role("group", name="Scrap", exact=True).get_by_role("button", name="3").click()
    page.wait_for_function("() => document.querySelector('.flag.mark')?.textContent.includes('piece of Edge')")
    assert page.get_by_label("Look at").input_value() == "scrap"


def test_forces_with_and_without_shear(page, job):
    go(page, "cutting")
    drawn(page)
    plot = page.locator(".section", has_text="Force over the way").first
    t = Desk(job, GRAPH).result("cutting").tables["force"]
    assert f"peak {t['slide_kN'].max():.3g} kN" in plot.inner_text()
    assert "break: 25 kN let go" in plot.inner_text()
    assert "from 60 to 30 kN" in plot.inner_text()
    page.get_by_label("Force of").select_option("hole_1")
    assert "from 7 to 3.5 kN" in plot.inner_text()
    assert "let go" not in plot.inner_text()


def test_the_tables_say_what_the_stages_found(page):
    go(page, "cutting")
    drawn(page)
    cuts = cells(page, "Cuts")
    assert cuts[0][:4] == ["Edge", "first trim", "straight down", "0"]
    assert cuts[1][2:4] == ["towards back", "30.0"]
    assert cells(page, "Piercing punches")[0][1:3] == ["12.043 −0.011", "12.139 +0.018"]
    assert cells(page, "Shanks and die buttons")[0][-1] == "–"  # beyond the tables
    assert cells(page, "Springs of the strippers")[0][-2] == "87"
    falls = [row[5] for row in cells(page, "Scrap")]
    assert falls == [
        "to the back right, 45°",
        "to the back left, 135°",
        "hooked on the post",
        "to the front right, 315°",
        "through the die",
    ]
    assert page.get_by_role("link", name="cutting.dxf").count() == 1
    assert [row[1] for row in cells(page, "Tryouts of the developed blank")] == ["as it stands", "developed"]
    assert "Piece 3 is hooked" in page.locator(".findings").inner_text()
    assert page.get_by_text("Before anyone works at the tool: 2 cautions").count() == 1
    edge = page.locator(".edge-section")
    assert "burr up to 0.047 mm" in edge.text_content()
    assert "lower face, which is seen" in edge.text_content()


def test_the_timing_diagram_follows_the_events(page):
    go(page, "plan")
    page.wait_for_selector(".cycle-band")
    assert "2 stations, fed by hand: 144 parts an hour, set by pierce" in page.locator(".verdict").inner_text()
    at = {e: a for e, a, *_ in EVENTS}
    box = page.evaluate(
        "() => [...document.querySelectorAll('.press-cycle .grid')].slice(0, 9).map((p) => Number(/M([\\d.]+)/.exec(p.getAttribute('d'))[1]))"
    )
    per = (box[8] - box[0]) / 360.0
    for name, begin, end in (
        ("trim", "trim begins", "trim is through"),
        ("pad holds, trim", "pad touches, trim", "pad leaves the sheet, trim"),
        ("stripped off, trim", "bottom", "steels leave the sheet, trim"),
    ):
        band = page.locator(".cycle-band", has=page.get_by_text(name, exact=True)).first
        x, w = (float(band.locator("rect").first.get_attribute(k)) for k in ("x", "width"))
        assert x == pytest.approx(box[0] + per * at[begin], abs=0.6)
        assert w == pytest.approx(per * (at[end] - at[begin]), abs=0.6)
    feed = page.locator(".cycle-band.feed rect")
    assert feed.count() == 2  # over the top
    assert sum(float(feed.nth(k).get_attribute("width")) for k in (0, 1)) == pytest.approx(per * 160.0, abs=1.0)
    page.locator(".press-cycle svg").focus()
    page.keyboard.press("ArrowRight")
    assert "91°" in page.locator(".press-cycle .reading").text_content()


def test_another_station_is_shown(page):
    go(page, "plan")
    page.wait_for_selector(".cycle-band")
    assert "all at once" in page.locator(".section", has_text="Force of the station").first.inner_text()
    assert "Ground shorter: Hole 1 by 2 thicknesses" in page.locator(".page-plan").inner_text()
    page.get_by_label("Cycle of station").select_option("2")
    page.wait_for_function("() => document.querySelector('.cycle-picture').textContent.includes('Hydraulic 630 kN')")
    page.wait_for_function("() => document.querySelector('.press-cycle').textContent.includes('time of the cycle')")
    assert page.locator(".stations-table tr.chosen td").first.inner_text() == "2"
    assert cells(page, "Bends and hems")[0][1] == "rear flange"
    assert "400 mm" in page.locator(".section", has_text="Safety distances").first.inner_text().replace("\t", " ").replace("\n", " ")


def test_what_is_not_worked_says_so(chromium, tmp_path):
    job = cup_job(tmp_path, worked=False, graph=GRAPH)
    with cup_served(job, GRAPH, "cutting_pages") as address:
        context, page, watcher = opened(chromium, address)
        for name in ("cutting", "plan"):
            go(page, name)
            page.wait_for_selector(".notice p")
        assert "appears when the press plan has been worked" in page.locator(".cycle-picture").inner_text()
        Desk(job, GRAPH).work("trim")
        page.reload()
        go(page, "cutting")
        drawn(page)
        assert cells(page, "Cuts")[0][-1] == "–"  # no forces yet
        look(page, "scrap", ".cut-key", "have not been worked")
        context.close()
        assert watcher.wrong == []


def test_holes_and_stations_are_stated_in_the_page(chromium, tmp_path):
    job = cup_job(tmp_path, graph=GRAPH)
    with cup_served(job, GRAPH, "cutting_pages") as address:
        context, page, watcher = opened(chromium, address)
        go(page, "cutting")
        page.get_by_role("button", name="Add a round hole").click()
        field = page.get_by_label("line 1: diameter")
        field.fill("7,5")
        field.press("Enter")
        page.wait_for_function("() => document.getElementById('said').textContent.includes('diameter')")
        page.get_by_label("line 1: x", exact=True).fill("here")
        page.get_by_label("line 1: x", exact=True).press("Enter")
        page.wait_for_function("() => [...document.querySelectorAll('.stated-list .field-error')].some((e) => e.textContent)")
        line = Desk(job, GRAPH).job.trim.line[0]
        assert (line.kind, line.diameter, line.x, line.z) == ("pierce", 7.5, 0.0, None)
        page.get_by_role("button", name="take line 1 away").click()
        page.wait_for_function("() => !document.querySelector('.stated-list')")
        go(page, "plan")
        page.get_by_role("button", name="State these stations").click()
        page.get_by_role("button", name="join station 2 with 1").click()
        page.wait_for_function("() => document.querySelectorAll('.stated-list tbody tr').length === 1")
        assert Desk(job, GRAPH).job.plan.station[0].operations == ("trim", "pierce")
        page.get_by_role("button", name="part station 1").click()
        page.wait_for_function("() => document.querySelectorAll('.stated-list tbody tr').length === 2")
        with page.expect_response("**/api/edit"):
            page.get_by_label("station 2: press").select_option("Crank 400 kN")
        assert [s.press for s in Desk(job, GRAPH).job.plan.station] == ["auto", "Crank 400 kN"]
        page.get_by_role("button", name="Let the desk divide them").click()
        page.wait_for_selector("text=State these stations")
        assert Desk(job, GRAPH).job.plan.station == ()
        context.close()
        assert watcher.wrong == []


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768)])
def test_the_pages_fit(address, chromium, width, height):
    context, page, watcher = opened(chromium, address, width, height)
    for name in ("cutting", "plan"):
        go(page, name)
        page.wait_for_timeout(400)
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    context.close()
    assert watcher.wrong == []

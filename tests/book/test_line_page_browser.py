"""Hoist line in a real Chromium: the cycle is played, the diagram follows, a window is changed as a plater would."""

from __future__ import annotations

import numpy as np
import pytest
from browser import go, opened, served, settled

from diewright import open_job

pytestmark = pytest.mark.browser

JOB = """
[job]
title = "Trim ring"
[line]
what_if_s = 5
[[line.tank]]
name = "load"
position_m = 0
role = "load"
least_s = 30
[[line.tank]]
name = "clean"
position_m = 2
least_s = 120
most_s = 200
drip_s = 5
[[line.tank]]
name = "plate"
position_m = 6
cells = 2
least_s = 400
most_s = 480
drip_s = 8
[[line.tank]]
name = "out"
position_m = 8
role = "unload"
least_s = 30
[[line.hoist]]
name = "north"
[[line.hoist]]
name = "south"
"""


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("line") / "ring"
    folder.mkdir()
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    open_job(folder).work("line")
    return folder


@pytest.fixture(scope="module")
def address(job):
    with served(job) as found:
        yield found


def seek(page, t):
    page.get_by_label("Time in the cycle").evaluate("(e, t) => { e.value = t; e.dispatchEvent(new Event('input')); }", t)


def test_the_cycle_is_told_and_played(page, job):
    go(page, "line")
    page.wait_for_selector(".hoist-ways .way")
    result = open_job(job).result("line")
    cycle = result.values["cycle"]
    assert f"A cycle of {cycle:g} s, the shortest there is" in page.locator(".verdict").inner_text()
    assert page.locator(".hoist-line .line-hoist").count() == 2
    assert page.locator(".hoist-ways .soak-bar").count() >= 2
    before = page.locator(".line-controls output").inner_text()
    page.get_by_role("button", name="Play").click()
    page.wait_for_function("(b) => document.querySelector('.line-controls output').textContent !== b", arg=before)
    page.get_by_role("button", name="Pause").click()
    held = page.locator(".line-controls output").inner_text()
    page.wait_for_timeout(300)
    assert page.locator(".line-controls output").inner_text() == held


def test_hoists_stand_where_the_schedule_says(page, job):
    """The middle of each hoist's box against the way of the result, at several instants; racks are counted in the tanks."""
    go(page, "line")
    page.wait_for_selector(".hoist-line .line-hoist")
    r = open_job(job).result("line")
    ways, cycle, soaks = [r.tables[f"way_{k}"] for k in (1, 2)], r.values["cycle"], r.tables["soaks"]
    for t in (0.0, 0.25 * cycle, 0.6 * cycle):
        seek(page, t)
        shown = page.evaluate(
            "() => [...document.querySelectorAll('.line-hoist rect')].map((e) => Number(e.getAttribute('x')) + Number(e.getAttribute('width')) / 2)"
        )
        at = float(page.get_by_label("Time in the cycle").input_value())
        place = [float(np.interp(at, w["time_s"], w["position_m"])) for w in ways]
        names = page.locator(".line-tank .tank-name").evaluate_all("(all) => all.map((e) => e.getAttribute('transform'))")
        walls = [float(t.split("(")[1].split(" ")[0]) - 4.0 for t in names]
        scale = (walls[-1] - walls[0]) / 8.0
        for x, p in zip(shown, place, strict=True):
            assert x == pytest.approx(walls[0] + scale * p, abs=0.6)
        plated = np.flatnonzero(soaks["tank"] == 2)
        inside = sum(soaks["enter_s"][k] + n * cycle <= at < soaks["leave_s"][k] + n * cycle for k in plated for n in range(-9, 9))
        assert page.locator(".tank-count").all_text_contents() == ([f"{inside}/2"] if inside else [])


def test_a_click_into_the_diagram_sets_the_time(page):
    go(page, "line")
    page.wait_for_selector(".hoist-ways")
    box = page.locator(".hoist-ways").bounding_box()
    page.locator(".hoist-ways").click(position={"x": 0.7 * box["width"], "y": 0.4 * box["height"]})
    assert float(page.get_by_label("Time in the cycle").input_value()) > 0.0


def test_a_wider_window_is_stated_and_worked(chromium, tmp_path):
    folder = tmp_path / "ring"
    folder.mkdir()
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    open_job(folder).work("line")
    before = open_job(folder).result("line").values["cycle"]
    with served(folder) as address:
        context, page, watcher = opened(chromium, address)
        go(page, "line")
        page.wait_for_function("() => document.querySelector('.page-line .verdict').textContent.includes('cycle')")
        page.wait_for_timeout(300)  # what comes with the result is written once more
        field = page.get_by_label("plate: cells")
        field.fill("none")
        field.press("Enter")
        page.wait_for_function(
            "() => [...document.querySelectorAll('.line-tanks .field-error')].some((e) => e.textContent.includes('whole number'))"
        )
        field.fill("3")
        field.press("Enter")
        page.wait_for_function("() => document.querySelector('.page-line').classList.contains('stale')")
        assert open_job(folder).job.line.tank[2].cells == 3
        assert open_job(folder).job.line.tank[1].most_s == 200.0
        page.click("#work")
        settled(page, "line")
        assert open_job(folder).result("line").values["cycle"] < before
        page.get_by_role("button", name="Take the last hoist away").click()
        page.wait_for_function("() => document.querySelector('.page-line').classList.contains('stale')")
        assert len(open_job(folder).job.line.hoist) == 1
        context.close()
        assert watcher.wrong == []


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768)])
def test_the_page_fits(address, chromium, width, height):
    context, page, watcher = opened(chromium, address, width, height)
    go(page, "line")
    page.wait_for_selector(".hoist-ways .way")
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    context.close()
    assert watcher.wrong == []


def test_with_reduced_motion_it_steps(address, chromium):
    context = chromium.new_context(reduced_motion="reduce")
    page = context.new_page()
    page.goto(address)
    go(page, "line")
    page.wait_for_selector(".hoist-ways .way")
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout(400)
    assert page.locator(".line-controls output").inner_text().startswith("0.0 of")
    page.wait_for_timeout(900)
    assert not page.locator(".line-controls output").inner_text().startswith("0.0 of")
    context.close()

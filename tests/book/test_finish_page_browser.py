"""The page Finish in a real Chromium: faces picked in the picture, drawings against their figures, readings judged, the rack taken over."""

from __future__ import annotations

import io
import shutil
from contextlib import contextmanager

import numpy as np
import pytest
from browser import colours_of, drawn, go, opened
from cup_server import cup_served
from finish_job import BOTTOM, FLANGES, GRAPH, LENGTH, MESH, WALLS, WIDTH, faces_of, finish_job
from PIL import Image

from diewright.desk import Desk

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return finish_job(tmp_path_factory.mktemp("finish-page"), records=True)


@pytest.fixture(scope="module")
def address(job):
    with cup_served(job, GRAPH, "finish_job") as found:
        yield found


@contextmanager
def own(chromium, job, tmp_path, **changes):
    """The page on a copy of the job that the test may change."""
    copy = tmp_path / "channel"
    shutil.copytree(job, copy)
    if changes:
        Desk(copy, GRAPH).edit({f"finish.{k}": v for k, v in changes.items()})
        Desk(copy, GRAPH).work("finish")
    with cup_served(copy, GRAPH, "finish_job") as address:
        context, page, watcher = opened(chromium, address)
        finish(page)
        yield page, lambda: Desk(copy, GRAPH).job
        context.close()
        assert watcher.wrong == []


def finish(page):
    go(page, "finish")
    drawn(page)
    page.wait_for_selector(".overlay .spot-mark")


def click_at(page, x, y):
    """Look from above and click at a place of the part [mm]: its middle lies in the middle of the picture."""
    page.get_by_role("button", name="From above").click()
    page.locator(".pane").evaluate("(e) => e.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(450)
    box = page.locator(".pane").bounding_box()
    bar = page.locator(".scale-bar path").get_attribute("d")
    px = (float(bar.split("H")[1].split("V")[0]) - 14.0) / float(page.locator(".scale-bar text").inner_html().split("&")[0].split()[0])
    page.mouse.click(box["x"] + box["width"] / 2 + x * px, box["y"] + box["height"] / 2 - y * px)
    page.wait_for_timeout(250)


def picked(page, job, wanted):
    """Wait until the job states these faces."""
    for _ in range(40):
        if job().finish.significant == wanted:
            return
        page.wait_for_timeout(100)
    assert job().finish.significant == wanted


def test_the_page_says_what_the_stage_found(page, job):
    finish(page)
    v = Desk(job, GRAPH).result("finish").values
    assert v["class"] in page.locator(".verdict").inner_text()
    assert "nickel does not conform" in page.locator(".verdict").inner_text()
    assert page.locator(".spot-mark.measure").count() == len(v["spots"])
    assert page.locator(".spot-mark.contact").count() == v["rack"]["contacts"]
    assert {"does not count", "counts"} <= set(page.locator(".rule .rule-figure").all_text_contents())
    assert colours_of(page, page.locator(".stage")) > 40
    spec = page.locator(".section", has_text="Hardest condition").first.inner_text()
    assert v["class_source"] in spec
    assert "from memory" in spec
    assert "Corrosion" in spec
    assert page.locator(".steps-drawing .step").count() == len(v["steps"]) + 1
    assert page.locator(".cautions li").count() == len(v["cautions"])
    page.locator(".figure-fold summary", has_text="Thinnest sheet after polishing").click()
    assert "drawn thickness - removed" in page.locator(".figure-fold[open]").inner_text()


def test_a_click_on_a_face_takes_it_away_and_undo_brings_it_back(chromium, job, tmp_path):
    with own(chromium, job, tmp_path) as (page, now):
        assert "All 3 faces count" in page.locator(".counts-field").inner_text()
        click_at(page, 0.0, 0.0)
        picked(page, now, (WALLS, FLANGES))
        page.wait_for_function("() => document.querySelector('.counts-field').textContent.includes('2 of 3 faces count')")
        page.wait_for_function("() => document.querySelector('.page-finish').classList.contains('stale')")
        click_at(page, WIDTH, 0.0)
        picked(page, now, (WALLS,))
        click_at(page, 0.0, 0.0)
        picked(page, now, (BOTTOM, WALLS))
        for wanted in ((WALLS,), (WALLS, FLANGES), "visible"):
            page.click("#undo")
            picked(page, now, wanted)
        page.wait_for_function("() => document.querySelector('.counts-field').textContent.includes('All 3 faces count')")


def test_with_another_field_a_click_reads_and_the_button_changes(chromium, job, tmp_path):
    with own(chromium, job, tmp_path) as (page, now):
        page.get_by_label("Show", exact=True).select_option("thickness_left")
        page.wait_for_function("() => document.querySelector('.rule').textContent.includes('least wanted 0.75 mm')")
        click_at(page, 0.0, 20.0)
        assert now().finish.significant == "visible"
        left = Desk(tmp_path / "channel", GRAPH).result("finish").meshes["part"].cell["thickness_left"]
        value = float(left[faces_of(MESH) == BOTTOM][0])
        page.wait_for_function(
            "(text) => document.querySelector('.probe').textContent.replaceAll('\u00a0', ' ').includes(text)", arg=f"{value:.3f} mm"
        )
        page.get_by_role("button", name=f"Take face {BOTTOM} away").click()
        picked(page, now, (WALLS, FLANGES))
        page.get_by_role("button", name=f"Let face {BOTTOM} count").click()
        picked(page, now, (BOTTOM, WALLS, FLANGES))


def test_points_become_faces_and_one_face_stays(chromium, job, tmp_path):
    with own(chromium, job, tmp_path, significant=(), significant_points=((1.0, 2.0, -30.0),)) as (page, now):
        assert "1 of 3 faces count; 1 point of the job names one of them" in page.locator(".counts-field").inner_text()
        click_at(page, 0.0, 20.0)
        page.wait_for_function("() => document.getElementById('said').textContent.includes('At least one face')")
        assert now().finish.significant_points == ((1.0, 2.0, -30.0),)
        click_at(page, WIDTH, 20.0)
        picked(page, now, (BOTTOM, FLANGES))
        assert now().finish.significant_points == ()


def test_lists_are_typed_and_refused_on_the_spot(chromium, job, tmp_path):
    with own(chromium, job, tmp_path) as (page, now):
        page.get_by_label("Significant surface").select_option("list")
        picked(page, now, (BOTTOM, WALLS, FLANGES))
        field = page.get_by_label("Faces that count")
        field.fill("1 x")
        field.press("Enter")
        page.wait_for_function("() => document.querySelector('.counts-field').textContent.includes('numbers with spaces between them')")
        field.fill("2 1")
        field.press("Enter")
        picked(page, now, (2, 1))
        page.get_by_text("More", exact=True).nth(1).click()
        grits = page.get_by_label("Grits in their order")
        grits.fill("240 120")
        grits.press("Enter")
        page.wait_for_function("() => document.querySelector('.page-finish').textContent.includes('from coarse to fine')")
        assert now().finish.grits == "auto"
        grits.fill("120 240")
        grits.press("Enter")
        page.get_by_label("Service condition").select_option(index=3)
        page.wait_for_timeout(500)
        assert now().finish.grits == (120, 240)
        assert now().finish.service == 3
        page.click("#work")
        page.wait_for_function("() => document.querySelector('.verdict').textContent.includes('Ni30d')", timeout=30_000)
        assert page.locator(".steps-drawing .step-name").all_text_contents()[1:3] == ["grit 120", "grit 240"]


def test_a_face_that_is_not_there_is_refused_by_the_surface_and_said(chromium, job, tmp_path):
    with own(chromium, job, tmp_path, significant=(BOTTOM,)) as (page, _):
        field = page.get_by_label("Faces that count")
        field.fill("99")
        field.press("Enter")
        page.wait_for_function("() => document.querySelector('.page-finish').classList.contains('stale')")
        page.click("#work")
        page.wait_for_function("() => document.querySelector('.notice').textContent.includes('the part has no face 99')", timeout=30_000)


def test_the_rack_is_taken_over_and_drawn_as_seen_from_the_anodes(chromium, job, tmp_path):
    with own(chromium, job, tmp_path, up=(0.0, 1.0, 0.0)) as (page, now):
        r = Desk(tmp_path / "channel", GRAPH).result("finish")
        rack = r.values["rack"]
        assert page.locator(".rack-one").count() == rack["parts"]
        # who looks from +z with y up has x to the right
        x, y = (r.tables["contacts"][k] for k in ("x_mm", "y_mm"))
        dots = page.locator(".rack-one").first.locator(".rack-contact")
        seen = np.array([[float(dots.nth(i).get_attribute(k)) for k in ("cx", "cy")] for i in range(len(x))])
        part = page.locator(".rack-part-box").first
        scale = float(part.get_attribute("width")) / rack["size"][0]
        assert seen[:, 0] == pytest.approx(x * scale, abs=0.1)
        assert seen[:, 1] == pytest.approx(-y * scale, abs=0.1)
        assert "Parts on a rack (line)" in page.locator(".offer").inner_text()
        page.locator(".take-offer").click()
        page.wait_for_function("() => document.querySelector('.take-over').textContent.includes('This is what the job states')")
        assert (now().plating.columns, now().line.parts_per_rack) == (rack["columns"], rack["parts"])
        assert now().plating.up == (0.0, 1.0, 0.0)


def test_readings_stand_against_the_class_with_their_uncertainty(page, job):
    finish(page)
    rows = page.locator(".readings-drawing").first.locator(".reading-row")
    assert rows.locator(".reading-verdict").all_text_contents() == ["conforms", "not proven", "does not conform"]
    limit = float(page.locator(".readings-drawing .step-wanted").first.get_attribute("d")[1:].split()[0])
    for i, (low, high) in enumerate(((True, True), (False, True), (False, False))):
        d = rows.nth(i).locator(".reading-whisker").get_attribute("d")
        a, b = float(d[1:].split()[0]), float(d.split("H")[1].split("M")[0])
        assert (a >= limit, b >= limit) == (low, high)
    book = page.locator(".section", has_text="Substance").last.inner_text()
    assert "of nickel anodes were dissolved" in book
    wanted = {b["what"]: b["to_add"] for b in Desk(job, GRAPH).result("finish").values["book"]}
    row = page.locator("tr", has_text="An analysis decides").inner_text().split("\t")
    assert wanted["chromic acid"] < 0
    assert row[5] == "none"
    assert float(row[6].replace("\u202f", "")) == pytest.approx(-wanted["chromic acid"], rel=5e-3)


def test_bands_lie_where_their_logarithms_say(page, job):
    finish(page)
    v = Desk(job, GRAPH).result("finish").values
    ends = page.evaluate("async () => (await import('/static/plots/finish_steps.js')).decades([0.01, 0.05, 0.2, 2.4])")
    assert ends == pytest.approx([0.01, 10.0])
    bars = page.locator(".step-bar.ra")
    boxes = [[float(bars.nth(i).get_attribute(k)) for k in ("x", "width")] for i in range(len(v["steps"]))]
    bands = np.log10([s["ra_um"] for s in v["steps"]])
    per = np.array([w for _, w in boxes]) / np.ptp(bands, axis=1)
    assert per == pytest.approx(np.full(len(per), per[0]), rel=1e-6)
    assert [x - boxes[0][0] for x, _ in boxes] == pytest.approx((bands[:, 0] - bands[0, 0]) * per[0], abs=1e-6)


def test_a_plateau_on_a_level_is_painted_in_its_colour(page):
    """Where the ball touches all of a triangle the share is 1, a level of the contour lines: the surface is not one broad line."""
    finish(page)
    page.get_by_role("button", name="From above").click()
    page.get_by_label("Show", exact=True).select_option("ball")
    page.locator(".pane").evaluate("(e) => e.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(600)
    colour = "async () => (await import('/static/view3d/lut.js')).table('lapaz')"
    top = np.array(page.evaluate(colour)[-1], dtype=float)
    shot = page.locator(".stage canvas").screenshot()
    image = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"), dtype=float)
    h, w = image.shape[:2]
    near = np.abs(image[h // 3 : 2 * h // 3, w // 3 : 2 * w // 3] - top).max(axis=2) < 60
    assert near.mean() > 0.25


def test_the_border_of_a_face_is_as_long_as_by_hand(page):
    finish(page)
    length = page.evaluate(
        """async ([points, triangles, faces, wanted]) => {
            const { borderOf } = await import('/static/view3d/picked.js');
            const { Mesh } = await import('/static/view3d/geometry.js');
            const mesh = new Mesh(Float32Array.from(points), Uint32Array.from(triangles));
            return wanted.map((w) => borderOf(mesh, faces, new Set(w)).reduce((n, [a, b]) => n + Math.hypot(...a.map((v, k) => v - b[k])), 0));
        }""",
        [MESH.points.ravel().tolist(), MESH.triangles.ravel().tolist(), faces_of(MESH).tolist(), [[BOTTOM], [FLANGES], [BOTTOM, WALLS, FLANGES]]],
    )  # fmt: skip
    line = WIDTH + 2 * 30.0 + 2 * 40.0
    assert length == pytest.approx([2 * (LENGTH + WIDTH), 4 * (LENGTH + 40.0), 2 * (LENGTH + line)], rel=1e-5)


def test_the_plating_is_told_to_count_this_surface(chromium, job, tmp_path):
    with own(chromium, job, tmp_path) as (page, now):
        page.get_by_role("button", name="Let it count this surface").click()
        page.wait_for_function("() => document.querySelector('.counts-field').textContent.includes('The plating counts this surface too')")
        assert now().plating.significant == "finish"
        go(page, "plating")
        chosen = page.locator("select[data-path='plating.significant']")
        assert chosen.evaluate("(e) => e.selectedOptions[0].textContent") == "what the page Finish picks"


def test_the_eye_stands_on_the_side_that_is_painted(page, job):
    finish(page)
    places = np.array([s["at"] for s in Desk(job, GRAPH).result("finish").values["spots"]])
    for side, lean in (("upper", 32.0), ("lower", -32.0)):
        page.get_by_label("Side", exact=True).select_option(side)
        page.wait_for_timeout(600)
        assert f"The {side} side of the sheet is painted" in page.locator(".under").inner_text()
        feet = page.locator(".spot-mark.measure .spot-foot").evaluate_all(
            "(all) => all.map((e) => [+e.getAttribute('cx'), +e.getAttribute('cy')])"
        )
        az, el = np.radians((-60.0, lean))
        right = np.array([-np.sin(az), np.cos(az), 0.0])
        up = np.array([-np.sin(el) * np.cos(az), -np.sin(el) * np.sin(az), np.cos(el)])
        seen = (places - places[0]) @ np.stack([right, -up]).T
        shown = np.array(feet) - feet[0]
        scale = np.abs(shown).max() / np.abs(seen).max()
        assert shown == pytest.approx(seen * scale, abs=0.5)


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768)])
def test_the_page_fits(address, chromium, width, height):
    context, page, watcher = opened(chromium, address, width, height)
    finish(page)
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    context.close()
    assert watcher.wrong == []

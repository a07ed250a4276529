"""Dip and Plating in a real Chromium: a cup turned in the bath against closed forms, a rack looked at and changed."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
from browser import colours_of, drawn, go, opened
from cup_server import cup_served
from finish_pages import FULL_ML, GRAPH, finished_job, leaning_ml, plate, thickness

from diewright.book.baths import Baths
from diewright.desk import Desk
from diewright.errors import DeskError
from diewright.finish.dip import live
from diewright.job.live import unpack

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return finished_job(tmp_path_factory.mktemp("finish"))


@pytest.fixture(scope="module")
def address(job):
    with cup_served(job, GRAPH, "finish_pages") as found:
        yield found


def dip(page):
    go(page, "dip")
    drawn(page)
    page.wait_for_selector(".overlay .flag.pocket")


def lean(page, degrees, towards=0):
    page.get_by_label("towards, from the part’s x, degrees").fill(str(towards))
    field = page.get_by_label("Up leans from the part’s z, degrees")
    field.fill(str(degrees))
    field.press("Enter")
    page.wait_for_function(
        "(d) => Math.abs(parseFloat(document.querySelector('.take-over .facts td').textContent) - d) < 0.06", arg=degrees
    )


def told(page) -> dict[str, float]:
    """Air and bath that stay [mL], as the side of the page says."""
    rows = page.locator(".take-over .facts tr").evaluate_all("(all) => all.map((e) => [e.cells[0].textContent, e.cells[1].textContent])")
    return {"air": float(rows[2][1]), "pool": float(rows[3][1])}


def test_the_cup_mouth_down_holds_its_volume_of_air(page):
    dip(page)
    assert f"{FULL_ML:.0f} mL in 1 air pocket" in page.locator(".verdict").inner_text()
    assert told(page) == {"air": pytest.approx(FULL_ML, rel=5e-3), "pool": 0.0}
    assert "air pocket 1" in page.locator(".overlay").inner_html()
    assert colours_of(page, page.locator(".stage")) > 60
    assert page.locator(".dip-pockets tbody tr").count() == 1


def test_turned_by_typed_angles_the_volumes_are_those_of_closed_forms(page):
    dip(page)
    for degrees in (160, 165):
        lean(page, degrees, 30)
        assert told(page) == {"air": pytest.approx(leaning_ml(180 - degrees), rel=0.01), "pool": 0.0}
    lean(page, 20, 200)
    assert told(page) == {"air": 0.0, "pool": pytest.approx(leaning_ml(20), rel=0.01)}
    lean(page, 90)
    assert told(page) == {"air": 0.0, "pool": 0.0}
    assert "Nothing stays" in page.locator(".section", has_text="Pockets in the attitude").inner_text()
    page.get_by_label("Up leans from the part’s z, degrees").fill("190")
    page.keyboard.press("Enter")
    assert "0 to 180°" in page.locator(".dip-controls .field-error").inner_text()


def test_arrow_keys_tip_the_part_and_spin_it_without_a_change(page):
    dip(page)
    page.locator(".pane").focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(200)
    assert told(page)["air"] == pytest.approx(FULL_ML, rel=5e-3)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.wait_for_function("() => Math.abs(parseFloat(document.querySelector('.take-over .facts td').textContent) - 170) < 0.06")
    assert told(page)["air"] == pytest.approx(leaning_ml(10), rel=0.01)


def test_the_map_is_equal_area_and_a_click_takes_the_part_there(page, job):
    dip(page)
    off = page.evaluate(
        """async () => {
            const { placeOf, upAt, nearest } = await import('/static/plots/dip_map.js');
            const ups = Array.from({length: 300}, (_, i) => { const z = 1 - (2 * i + 1) / 300, t = i * 2.399963, r = Math.sqrt(1 - z * z); return [r * Math.cos(t), r * Math.sin(t), z]; });
            const find = nearest(Float32Array.from(ups.flat()));
            let [there, wrong, inside] = [0, 0, 0];
            for (let k = 0; k < 500; k++) {
                const v = [Math.sin(k * 1.7), Math.cos(k * 2.3), Math.sin(k * 0.9 + 1)], l = Math.hypot(...v), u = v.map((x) => x / l);
                const back = upAt(...placeOf(u));
                there = Math.max(there, ...back.map((x, i) => Math.abs(x - u[i])));
                const dots = ups.map((w) => w[0] * u[0] + w[1] * u[1] + w[2] * u[2]);
                if (dots[find(u)] < Math.max(...dots) - 1e-6) wrong += 1;
            }
            for (const u of ups) { const [d, x, y] = placeOf(u); if (d === 0 && Math.hypot(x, y) < Math.SQRT1_2) inside += 1; }
            return { there, wrong, inside };
        }"""
    )
    assert off["there"] < 1e-12
    assert off["wrong"] == 0
    assert off["inside"] == 75  # half of the disc's area, a quarter of the sphere's
    page.locator(".dip-map").evaluate("(e) => e.scrollIntoView({block: 'center'})")
    middle = page.locator(".dip-rim").first.evaluate(
        "(e) => { const b = e.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; }"
    )
    page.mouse.click(*middle)
    page.wait_for_function("() => parseFloat(document.querySelector('.take-over .facts td').textContent) < 1")
    page.wait_for_function(
        "(v) => Math.abs(parseFloat(document.querySelectorAll('.take-over .facts td.figure')[3].textContent) - v) < 8", arg=FULL_ML
    )
    page.keyboard.press("Tab")
    page.locator(".dip-map").focus()
    page.keyboard.press("ArrowDown")
    page.wait_for_function("() => Math.abs(parseFloat(document.querySelector('.take-over .facts td').textContent) - 5) < 1")
    assert "leaning" in page.locator(".dip-map").get_attribute("aria-valuetext")
    assert page.locator(".dip-best").count() == len(Desk(job, GRAPH).result("dip").values["attitudes"])


def test_lowering_shuts_the_air_off_when_the_bath_has_passed_the_rim(page):
    dip(page)
    page.locator(".dip-controls select").select_option("in")
    level = page.get_by_label("Level of the bath")
    for value, count in ((10, 0), (500, 1), (1000, 1)):
        level.evaluate("(e, v) => { e.value = v; e.dispatchEvent(new Event('input')); }", value)
        assert f"{count} of 1 air pockets shut off" in page.locator(".dip-row output").inner_text()
        page.wait_for_function("(n) => document.querySelectorAll('.overlay .flag.pocket').length === n", arg=count)


def test_with_the_proposed_hole_the_air_is_gone(page):
    dip(page)
    assert page.locator(".section", has_text="Holes that let air out").locator("tbody tr").count() == 1
    page.get_by_label("with the proposed holes").check()
    page.wait_for_function("() => !(parseFloat(document.querySelectorAll('.take-over .facts td.figure')[2].textContent) > 10)")
    assert told(page)["air"] < 0.03 * FULL_ML


def test_an_answer_that_was_overtaken_is_dropped_and_waiting_is_said(page):
    dip(page)
    waits = [900, 0, 0]

    def late(route):
        if waits:
            page.wait_for_timeout(waits.pop(0))
        route.continue_()

    page.route("**/api/dip/**", late)
    field = page.get_by_label("Up leans from the part’s z, degrees")
    seen = page.evaluate(
        """() => { window.said = []; new MutationObserver(() => window.said.push(document.querySelector('.dip-said').textContent)).observe(document.querySelector('.dip-said'), {childList: true, characterData: true, subtree: true}); return true; }"""
    )
    assert seen
    field.fill("160")
    field.press("Enter")
    field.fill("20")
    field.press("Enter")
    page.wait_for_function("() => Math.abs(parseFloat(document.querySelector('.take-over .facts td').textContent) - 20) < 0.06")
    assert told(page) == {"air": 0.0, "pool": pytest.approx(leaning_ml(20), rel=0.01)}
    said = page.evaluate("() => window.said.map((t) => t.replaceAll('\\u00a0', ' '))")
    assert any("Filling the bath" in text for text in said)
    air_at_160 = f"{leaning_ml(20):.0f} mL in 1 air pocket"
    assert not any(text.startswith(air_at_160) for text in said)  # the answer that was overtaken never stood there


def test_take_this_attitude_is_written_and_undone(chromium, job, tmp_path):
    copy = tmp_path / "cup"
    shutil.copytree(job, copy)
    with cup_served(copy, GRAPH, "finish_pages") as address:
        context, page, watcher = opened(chromium, address)
        dip(page)
        page.wait_for_function(
            "() => document.querySelector('.take-over').textContent.includes('This is the attitude that the job states')"
        )
        lean(page, 90)
        page.get_by_role("button", name="Take this attitude").click()
        page.wait_for_function("() => document.querySelector('.page-dip').classList.contains('stale')")
        assert np.asarray(Desk(copy, GRAPH).job.dip.attitude) == pytest.approx([1.0, 0.0, 0.0], abs=1e-4)
        page.wait_for_function("() => document.querySelector('.take-over').textContent.includes('that the job states')")
        page.click("#undo")
        page.wait_for_function("() => !document.querySelector('.page-dip').classList.contains('stale')")
        assert Desk(copy, GRAPH).job.dip.attitude == (0.0, 0.0, -1.0)
        page.get_by_role("button", name="Let the desk search").click()
        page.wait_for_function("() => document.querySelector('.page-dip').classList.contains('stale')")
        assert Desk(copy, GRAPH).job.dip.attitude == "auto"
        context.close()
        assert watcher.wrong == []


def test_the_answer_is_that_of_the_stage_and_refusals_are_sentences(job):
    desk = Desk(job, GRAPH)
    result, key = desk.result("dip"), desk.state("dip").entry.key
    baths = Baths(desk)
    up = np.array([0.3, -0.2, -0.9])
    frame = unpack(baths.answer(key, up, False))
    direct = live.pockets(live.space_of(result.arrays), [], up, desk.job.dip.pocket_least)
    assert frame.values["air_mm3"] == pytest.approx(direct["air_mm3"], rel=1e-12)
    assert (frame.arrays["air_back"] == direct["air_on_faces"][1] + 1).all()
    assert frame.values["air"][0]["width_mm"] > 90.0
    assert frame.values["high"] - frame.values["low"] == pytest.approx(np.ptp(result.meshes["part"].mesh.points @ up) / np.linalg.norm(up))
    for wrong in ((key, (0.0, 0.0, 0.0)), ("gone", up), (key, (float("nan"), 0.0, 1.0))):
        with pytest.raises(DeskError):
            baths.answer(*wrong, False)


def plating(page):
    go(page, "plating")
    drawn(page)
    page.wait_for_selector(".overlay .flag.extreme")


def test_the_rack_is_looked_at_part_by_part_and_side_by_side(page):
    plating(page)
    um = {side: thickness(plate(0.0), 0.0, "nickel", side) for side in ("upper", "lower")}
    shown = "([name, value]) => [...document.querySelectorAll('.overlay .flag')].some((e) => e.textContent.includes(name) && Math.abs(parseFloat(e.querySelector('.flag-text').textContent) - value) < 0.06)"
    page.wait_for_function(shown, arg=["most nickel", float(um["upper"].max())])
    page.wait_for_function(shown, arg=["least nickel", float(um["upper"].min())])
    page.get_by_label("Side", exact=True).select_option("lower")
    page.wait_for_function(shown, arg=["most nickel", float(um["lower"].max())])
    page.get_by_label("Look at").select_option("part_2")
    page.wait_for_function("() => document.querySelector('.rule').textContent.includes('Nickel thickness')")
    assert "least wanted 12 µm" in page.locator(".rule").text_content()
    page.get_by_label("Show", exact=True).select_option("nickel_current_density")
    page.wait_for_function("() => document.querySelector('.rule').textContent.includes('may burn above 6 A/dm²')")
    page.get_by_label("Look at").select_option("tank")
    page.wait_for_timeout(300)
    assert colours_of(page, page.locator(".stage")) > 60
    assert page.locator(".rack-drawing .rack-part").count() == 4
    assert "440" in page.locator(".rack-drawing").text_content()


def test_tables_and_cautions_of_the_rack(page):
    plating(page)
    assert page.locator(".section", has_text="Thickness by part and side").locator("tbody tr").count() == 8
    assert "chromium(VI) among them" in page.locator(".cautions summary").inner_text()
    assert page.locator(".section", has_text="A better place of the anodes").get_by_text("does not fit").count() == 1
    assert page.locator(".offer").get_by_text("160 mm").count() == 1


def test_deposits_and_bodies_are_changed_and_worked(chromium, job, tmp_path):
    copy = tmp_path / "cup"
    shutil.copytree(job, copy)
    with cup_served(copy, GRAPH, "finish_pages") as address:
        context, page, watcher = opened(chromium, address)
        plating(page)
        field = page.get_by_label("deposit 1: least wanted")
        field.fill("-3")
        field.press("Enter")
        page.wait_for_function("() => [...document.querySelectorAll('.plating-list .field-error')].some((e) => e.textContent)")
        page.get_by_role("button", name="Take the last deposit away").click()
        page.wait_for_function("() => document.querySelectorAll('[aria-label=\"deposit 2: bath\"]').length === 0")
        assert len(Desk(copy, GRAPH).job.plating.layers) == 1
        page.get_by_role("button", name="Add a shield").click()
        where = page.get_by_label("body 1: middle x y z")
        where.fill("0 90")
        where.press("Enter")
        page.wait_for_function(
            "() => [...document.querySelectorAll('.plating-list .field-error')].some((e) => e.textContent.includes('three numbers'))"
        )
        where.fill("0 90 10,5")
        where.press("Enter")
        page.wait_for_function("() => [...document.querySelectorAll('input.triple')].some((e) => e.value === '0 90 10.5')")
        assert Desk(copy, GRAPH).job.plating.bodies[0].at == (0.0, 90.0, 10.5)
        page.click("#work")
        page.wait_for_function("() => !document.querySelector('.page-plating').classList.contains('stale')", timeout=30_000)
        page.wait_for_function("() => document.body.textContent.includes('nickel, without')")
        page.wait_for_function("() => document.querySelectorAll('.rack-body').length === 2")
        assert "chromium(VI)" not in page.locator(".cautions summary").inner_text()
        page.locator(".take-offer").click()
        page.wait_for_function("() => document.querySelector('.take-over').textContent.includes('This is what the job states')")
        assert Desk(copy, GRAPH).job.plating.anode_distance == 160.0
        context.close()
        assert watcher.wrong == []


@pytest.mark.parametrize("name", ["dip", "plating"])
@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768)])
def test_the_pages_fit(address, chromium, name, width, height):
    context, page, watcher = opened(chromium, address, width, height)
    go(page, name)
    drawn(page)
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    context.close()
    assert watcher.wrong == []

"""The sheets Finish and Rack and records: what they say, bands on their logarithms, verdicts by their whiskers, the rack as seen from the anodes."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest
from printed import text_of

sys.path.insert(0, str(Path(__file__).parents[1] / "book"))
from finish_job import GRAPH, MESH, finish_job

from diewright.book.paper import finish_drawing, finish_names, page_finish, printing
from diewright.book.paper.pictures import segments_of
from diewright.desk import Desk
from diewright.geometry.mesh import FieldMesh
from diewright.job.schema import FinishStated


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    return Desk(finish_job(tmp_path_factory.mktemp("finish-print"), records=True), GRAPH)


@pytest.fixture(scope="module")
def found(desk):
    return desk.result("finish")


@pytest.fixture(scope="module")
def words(desk):
    return text_of(printing.make(desk, timestamp=0))


def texts(svg) -> list[str]:
    return re.findall(r">([^<>]+)</text>", svg.text_of())


def test_the_sheets_say_what_the_page_says(words, found) -> None:
    v = found.values
    for told in (
        v["class"], v["service_text"], v["class_source"], "does not conform", "not proven", "An analysis decides", "Rack and records", "Thickness plan", "level of the bath", "least wanted 20 µm",
        "Zinc-nickel and paint", "29 CFR 1910.1026", "All of this defers to the law", "Thinnest sheet after polishing", "drawn thickness - removed", "counts: picked, and touched by the ball",
    ):  # fmt: skip
        assert told in words, told
    for step in v["steps"]:
        assert step["name"] in words
    for spot in v["spots"]:
        assert len(re.findall(rf"\b{spot['name']}\b", words)) >= 2  # on the picture and in the plan


def test_every_stated_field_stands_on_one_of_the_sheets_once() -> None:
    assert sorted([*finish_names.SURFACE, *finish_names.RACK]) == sorted(FinishStated.model_fields)
    every = [*finish_names.SURFACE.values(), *finish_names.RACK.values()]
    assert len(set(every)) == len(every)


def test_paper_and_screen_call_the_fields_alike() -> None:
    script = (Path(page_finish.__file__).parents[1] / "static" / "words.js").read_text(encoding="utf-8")
    screen = dict(re.findall(r'"finish\.(\w+)": "([^"]+)"', script))
    assert {k: v.replace("’", "'") for k, v in screen.items()} == finish_names.SURFACE | finish_names.RACK


def test_bands_lie_where_their_logarithms_say(found) -> None:
    v = found.values
    svg = finish_drawing.steps(v, 0.2, 180.0)
    bars = np.array(re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)" height="3.2" fill="#6b7480"', svg.text_of()), dtype=float)
    bands = np.log10([s["ra_um"] for s in v["steps"]])
    assert len(bars) == len(bands)
    per = bars[:, 1] / np.ptp(bands, axis=1)
    assert per == pytest.approx(np.full(len(per), per[0]), rel=1e-3)
    assert bars[:, 0] - bars[0, 0] == pytest.approx((bands[:, 0] - bands[0, 0]) * per[0], abs=5e-3)
    taken = np.array(re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)" height="3.2" fill="#c9ccd0"', svg.text_of()), dtype=float)
    stock = np.array([s["stock_um"] for s in v["steps"]])
    assert taken[:, 1] / np.ptp(stock, axis=1) == pytest.approx(np.full(len(stock), taken[0, 1] / np.ptp(stock[0])), rel=1e-2)
    assert "wanted 0.2 µm" in texts(svg)


def test_whiskers_and_verdicts_agree(found) -> None:
    places = found.values["readings"]["places"]
    svg = finish_drawing.readings([p for p in places if p["layer"] == "nickel"], 180.0)
    said = [t for t in texts(svg) if t in finish_drawing.SAID.values()]
    assert said == ["conforms", "not proven", "does not conform"]
    lines = np.array(
        re.findall(r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)" stroke="(?:#1c2430|#a33d12)" stroke-width="(0\.3|0\.5)"', svg.text_of()),
        dtype=float,
    )  # fmt: skip
    (limit,) = lines[lines[:, 4] == 0.5][:, 0]
    whiskers = lines[(lines[:, 4] == 0.3) & (lines[:, 1] == lines[:, 3])]
    assert [(a >= limit, b >= limit) for a, _, b, _, _ in whiskers] == [(True, True), (False, True), (False, False)]


def test_the_rack_is_seen_from_the_anodes() -> None:
    """The eye stands where the part's facing points: right is up x facing, so that right, up and towards the eye are right-handed."""
    rng = np.random.default_rng(5)
    for _ in range(10):
        q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
        facing, up = q[0], q[1]
        right, top = finish_drawing.seen({"facing": facing, "up": up})
        assert np.linalg.det(np.stack([right, top, facing])) == pytest.approx(1.0)
        assert top == pytest.approx(up)


def test_every_part_of_the_rack_hangs_with_its_contacts(found, desk) -> None:
    t, c = found.tables["rack"], found.tables["contacts"]
    contacts = np.column_stack([c["x_mm"], c["y_mm"], c["z_mm"]])
    svg = finish_drawing.rack(
        found.values, np.column_stack([t["across_mm"], t["down_mm"]]), segments_of(FieldMesh(MESH), None), contacts, desk.job.finish, 180.0
    )
    text = svg.text_of()
    assert "nan" not in text
    dots = np.array(re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', text), dtype=float)
    rack = found.values["rack"]
    assert len(dots) == rack["parts"] * rack["contacts"]
    # parts stand as far apart as they are wide and the gap, all drawn to one scale
    first = dots.reshape(rack["parts"], rack["contacts"], 2)[:, 0]
    scale = abs(first[1, 0] - first[0, 0]) / (rack["size"][0] + desk.job.finish.spacing)
    assert np.ptp(dots.reshape(rack["parts"], -1, 2)[0, :, 0]) == pytest.approx(
        np.ptp(contacts @ finish_drawing.seen(rack)[0]) * scale, abs=0.02
    )
    assert (dots >= 0).all()
    assert (dots <= [svg.width, svg.height]).all()


def test_a_part_whose_shown_side_looks_down_is_turned_over(desk, tmp_path) -> None:
    lower = Desk(finish_job(tmp_path, side="lower"), GRAPH)
    words = text_of(printing.make(lower, timestamp=0))
    assert "turned over so that the shown side is seen" in words
    fields, signs, over = page_finish._turned(lower.result("finish"))
    assert over
    assert np.linalg.det(np.diag(signs)) == 1.0  # a turn, no mirror
    assert float((fields.mesh.areas * fields.mesh.normals[:, 2]).sum()) == pytest.approx(-float((MESH.areas * MESH.normals[:, 2]).sum()))
    assert not page_finish._turned(desk.result("finish"))[2]


def test_what_was_not_worked_has_no_sheet(tmp_path) -> None:
    text = text_of(printing.make(Desk(finish_job(tmp_path, worked=False), GRAPH), timestamp=0))
    assert "Rack and records" not in text
    assert "Thickness plan" not in text

"""Dip and Plating on paper: what the sheets say, the map, the attitude of the picture, and no sheet for what was not worked."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest
from printed import text_of

sys.path.insert(0, str(Path(__file__).parents[1] / "book"))
from finish_pages import FULL_ML, GRAPH, finished_job, thickness

from diewright.book.paper import page_dip, page_plating, printing
from diewright.book.paper.digits import number
from diewright.desk import Desk
from diewright.job import file as job_file


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    return Desk(finished_job(tmp_path_factory.mktemp("print")), GRAPH)


@pytest.fixture(scope="module")
def words(desk):
    return text_of(printing.make(desk, timestamp=0))


def test_the_sheets_say_what_the_stages_found(words, desk) -> None:
    assert "up leans 180.0° from the part's z" in words
    assert number(FULL_ML) in words
    assert "Air pocket 1" in words
    assert "Holes that let air out and bath off" in words
    assert "hydrogen cyanide" in words
    drag = desk.result("dip").values["drag_out"]["part_mL"]
    assert f"{number(drag)} mL" in words
    for told in (
        "Nickel bath",
        "least wanted",
        "from above, front anodes at the top",
        "does not fit",
        "try 2, best",
        "chromium(VI)",
        "may burn at the rim",
    ):
        assert told in words


def test_chromium_vi_is_warned_of_only_where_it_is() -> None:
    with_it, without = page_plating.cautions(["watts-nickel", "chromium-vi"]), page_plating.cautions(["watts-nickel", "chromium-iii"])
    assert set(without) < set(with_it)
    assert not any("chromium" in c.lower() for c in without)
    assert any("authorisation" in c for c in set(with_it) - set(without))


def test_the_picture_stands_as_the_part_hangs() -> None:
    for up in np.random.default_rng(3).normal(size=(20, 3)):
        turn = page_dip.standing(up)
        assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(turn) == pytest.approx(1.0)
        assert turn @ (up / np.linalg.norm(up)) == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)
        lean, towards = np.radians(page_dip.angles(up))
        assert np.array([np.sin(lean) * np.cos(towards), np.sin(lean) * np.sin(towards), np.cos(lean)]) == pytest.approx(
            up / np.linalg.norm(up)
        )


def test_the_map_paints_both_discs_whole(desk) -> None:
    """The areas of all strips of one drawing add up to two discs; a uniform field gives one colour."""
    found = desk.result("dip")
    text = page_dip.attitude_map(found, 180.0).text_of()
    strips = re.findall(r'<rect x="[\d.]+" y="[\d.]+" width="([\d.]+)" height="([\d.]+)" fill="#', text)
    area = sum((float(w) - 0.03) * (float(h) - 0.03) for w, h in strips)
    assert area == pytest.approx(2 * np.pi * 30.0**2, rel=0.01)
    assert len({c for c in re.findall(r'fill="(#[0-9a-f]{6})"', text)}) > 20
    assert "nan" not in text


def test_the_colours_of_the_rack_leave_out_the_stated_share(desk) -> None:
    mesh = desk.result("plating").meshes["part_1"].mesh
    values = thickness(mesh, -70.0, "nickel", "upper")
    areas = np.asarray(mesh.areas)
    top = page_plating.within(values, areas)
    assert areas[values > top].sum() / areas.sum() <= 1.0 - page_plating.PAINTED + 1e-9
    assert areas[values >= top].sum() / areas.sum() >= 1.0 - page_plating.PAINTED - 1e-9


def test_what_was_not_worked_has_no_sheet(tmp_path) -> None:
    (tmp_path / "job.toml").write_text(job_file.text_of({"job": {"title": "Bare"}}), encoding="utf-8")
    text = text_of(printing.make(Desk(tmp_path, GRAPH), timestamp=0))
    assert "Drag-out" not in text
    assert "The rack in its tank" not in text


def test_a_result_without_pockets_says_so(tmp_path) -> None:
    bench_words = text_of(printing.make(Desk(finished_job(tmp_path, attitude=[1.0, 0.0, 0.0]), GRAPH), timestamp=0))
    assert "Nothing stays in this attitude, so nothing is coloured" in bench_words
    assert "Holes that let air out" not in bench_words

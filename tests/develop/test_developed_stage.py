"""The stage around the outline's search: what it hands on, holes, findings and the drawing; the draw itself is replaced by the cup of closed form."""

from __future__ import annotations

import io
import math

import ezdxf
import numpy as np
import pytest
from test_developed_core import WANTED, circle, cup, radii, rate

from diewright.develop import stage
from diewright.develop.stage import STAGE
from diewright.errors import InputError, SolveError
from diewright.geometry.outline_read import read_outlines
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.watch import Watch


class Draw:
    """Stands for the draw of the job."""

    sprung_why = ""

    def __init__(self, inputs, upstream, holes, watch, count):
        self.holes = holes

    def __call__(self, outline):
        return cup(outline)

    def sprung(self, run, drawn):
        if self.sprung_why:
            raise SolveError(self.sprung_why)
        return drawn.points + np.array([0.0, 0.0, 0.2])


def ring(r: float, at0: float, size: float, count: int = 24) -> np.ndarray:
    """A hole of 4 mm in the flat at radius r, as the wall of the blank of that size has it."""
    at = 2 * np.pi * np.arange(count) / count
    flat = r * np.array([math.cos(at0), math.sin(at0)]) + 2.0 * np.column_stack([np.cos(at), np.sin(at)])
    return formed(flat, size), flat


def formed(flat: np.ndarray, size: float) -> np.ndarray:
    r, way = np.hypot(*flat.T), np.arctan2(flat[:, 1], flat[:, 0])
    z = np.maximum(r**2 - 900.0, 0.0) / 60.0 * rate(way, size)
    return np.column_stack([np.minimum(r, 30.0) * np.cos(way), np.minimum(r, 30.0) * np.sin(way), z])


def work(monkeypatch, outline, net, cuts=(), **trim):
    monkeypatch.setattr(stage, "JobForm", Draw)
    job = parse({"trim": {"edge_tolerance": 0.1, **trim}, "sheet": {"rolling_direction": 30.0}})
    rows = [{"id": "edge", "kind": "trim"}, *({"id": name, "kind": "pierce"} for name, _, _ in cuts)]
    arrays = {"cut_edge": WANTED, "flat_edge": net}
    for name, line, flat in cuts:
        arrays |= {f"cut_{name}": line, f"flat_{name}": flat}
    up = {
        "blank": Result(arrays={"outline": outline, "outline_net": net}),
        "shape": Result(values={"parts": 1}),
        "trim": Result(values={"cuts": rows}, arrays=arrays),
        "solution": Result(),
    }
    return STAGE.work(STAGE.inputs(job), up, {}, Watch())


def test_it_hands_on_the_outline_and_says_how_good_it_is(monkeypatch, tmp_path):
    r = work(monkeypatch, circle(49.0), circle(49.0))
    assert r.values["reached"] is True
    assert {f.key for f in r.findings} == {"developed.reached"}
    table = r.tables["iterations"]
    assert len(table["run"]) == r.values["runs"] >= 3
    assert table["max_mm"][r.values["best"]] == r.values["after_max_mm"] <= 0.1 < 2.0 < r.values["before_max_mm"]
    assert list(table["blank"][:2]) == ["as it stands", "developed"]
    assert np.abs(radii(r.arrays["outline"])).max() < 0.1
    path = tmp_path / "developed.dxf"
    path.write_bytes(r.files["developed.dxf"])
    (line,) = read_outlines(path, "test", prefer="BLANK_OUTLINE")
    assert np.abs(radii(line)).max() < 0.12
    assert r.values["take_over"]["files"] == {"blank.outline_file": "developed.dxf"}


def test_a_blank_with_allowance_maps_what_lies_in_the_addendum(monkeypatch):
    inner, inner_flat = ring(20.0, 0.3, 49.0)
    size = float(np.hypot(*circle(58.0).T).mean())
    outer, outer_flat = ring(54.5, 0.8, size)
    unmapped = np.full((24, 2), np.nan)
    r = work(monkeypatch, circle(58.0), circle(49.0), [("hole_1", inner, inner_flat), ("line_1", outer, unmapped)])
    assert list(r.tables["iterations"]["blank"][:2]) == ["with allowance", "developed"]
    assert r.values["before_max_mm"] < 8.0  # of the first developed blank, not of the one with allowance
    assert np.linalg.norm(r.arrays["flat_line_1"] - outer_flat, axis=1).max() < 0.05
    assert np.linalg.norm(r.arrays["flat_hole_1"] - inner_flat, axis=1).max() < 0.02
    assert "HOLES" in {e.dxf.layer for e in ezdxf.read(io.StringIO(r.files["developed.dxf"].decode())).modelspace()}


def test_a_hole_that_the_one_step_solution_puts_wrongly_is_told_with_its_place(monkeypatch):
    at_end = 48.4917  # the blank's size whose rim is level
    line, flat = ring(40.0, 0.3, at_end)
    r = work(monkeypatch, circle(49.0), circle(49.0), [("hole_1", line, flat), ("hole_2", line, flat * (38.5 / 40.0))])
    one, two = r.values["holes"]
    assert one["one_step_off_mm"] < 0.1
    assert np.linalg.norm(r.arrays["flat_hole_2"] - flat, axis=1).max() < 0.15
    want = formed(flat * (38.5 / 40.0), at_end)
    assert two["one_step_off_mm"] == pytest.approx(np.linalg.norm(want.mean(axis=0) - line.mean(axis=0)), abs=0.15)
    assert {f.key for f in r.findings} == {"developed.reached", "developed.hole.hole_2"}
    assert two["springback_mm"] == pytest.approx(0.2, abs=1e-9)


def test_what_is_not_reached_and_what_breaks_off_is_told(monkeypatch):
    r = work(monkeypatch, circle(45.0), circle(45.0), edge_runs=1)
    left = next(f for f in r.findings if f.key == "developed.left")
    assert left.value == pytest.approx(r.values["after_max_mm"])
    assert left.place.points
    monkeypatch.setattr(Draw, "sprung_why", "it does not close.")
    r = work(monkeypatch, circle(45.0), circle(45.0), edge_runs=1)
    assert "developed.springback" in {f.key for f in r.findings}
    calls = []

    def breaks(self, outline):
        calls.append(1)
        if len(calls) == 2:
            raise SolveError("the sheet tears.")
        return cup(outline)

    monkeypatch.setattr(Draw, "__call__", breaks)
    r = work(monkeypatch, circle(45.0), circle(45.0))
    assert {"developed.broke", "developed.left"} <= {f.key for f in r.findings}
    assert r.values["runs"] == 1


def test_one_run_is_too_few_for_a_blank_with_allowance(monkeypatch):
    with pytest.raises(InputError, match="two runs"):
        work(monkeypatch, circle(58.0), circle(49.0), edge_runs=1)


def test_the_mesh_and_springback_come_from_its_own_fields():
    job = parse({"trim": {"edge_quality": "fine", "edge_runs": 3}, "tryout": {"quality": "normal", "springback": False}})
    got = STAGE.inputs(job)
    assert (got.quality, got.runs, got.springback) == ("fine", 3, False)
    assert STAGE.slow

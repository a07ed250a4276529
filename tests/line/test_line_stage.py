"""The stage: its contract, conflicts in words, what changes bring, and refusals."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from diewright.errors import Cancelled, InputError, SolveError
from diewright.finish.line import stage as line_stage
from diewright.finish.line.conflict import conflict_of
from diewright.finish.line.instances import four_stages, phillips_unger
from diewright.finish.line.plant import Plant, TimeTables
from diewright.finish.line.problem import problem_of
from diewright.finish.line.solve import solve
from diewright.finish.line.stage import STAGE
from diewright.finish.line.stated import plant_of, validate
from diewright.finish.line.what_if import what_if
from diewright.job.schema import LineStated, parse
from diewright.watch import Watch

SHORT = {
    "tank": [
        {"name": "load", "position_m": 0, "role": "load", "least_s": 30}, {"name": "clean", "position_m": 2, "least_s": 120, "most_s": 200, "drip_s": 5},
        {"name": "acid", "position_m": 4, "least_s": 40, "most_s": 90, "drip_s": 5}, {"name": "plate", "position_m": 6, "cells": 2, "least_s": 400, "most_s": 480, "drip_s": 8},
        {"name": "out", "position_m": 8, "role": "unload", "least_s": 30},
    ],
    "what_if_s": 10,
}  # fmt: skip


def work(line: dict, **job: dict):
    stated = parse({"line": line, **job})
    return STAGE.work(STAGE.inputs(stated), {}, {}, Watch())


@pytest.fixture(scope="module")
def short():
    return work(SHORT, job={"quantity": 5000})


def test_values_figures_and_tables_are_those_of_the_contract(short) -> None:
    v = short.values
    assert v["status"] == "proved"
    assert v["cycle"] == v["bound"]
    assert json.loads(json.dumps(v, allow_nan=False)) == v
    assert v["cycle"] >= v["station_bound"]["cycle"] >= 200.0
    assert v["station_bound"]["name"] == "plate"
    assert short.figure("racks_per_hour").value == pytest.approx(3600.0 / v["cycle"])
    assert short.figure("parts_per_hour").value == pytest.approx(24 * 3600.0 / v["cycle"])
    assert short.figure("hours_a_year").value == pytest.approx(5000 * v["cycle"] / 3600.0 / 24)
    assert set(short.tables) == {"tanks", "moves", "soaks", "way_1", "what_if"}
    soaks = short.tables["soaks"]
    assert (soaks["soak_s"] >= soaks["least_s"]).all()
    assert (soaks["soak_s"] <= soaks["most_s"]).all()
    way = short.tables["way_1"]
    assert way["time_s"][-1] == pytest.approx(v["cycle"])
    assert set(np.unique(way["loaded"])) == {0.0, 1.0}
    assert way["height_m"].max() == pytest.approx(1.8)
    moves = short.tables["moves"]
    assert (moves["start_s"] < v["cycle"]).all()
    assert list(moves["start_s"]) == sorted(moves["start_s"])
    assert not short.findings
    assert "'plate'" in v["bottleneck"]


def test_the_list_for_the_shop_names_each_carry(short) -> None:
    rows = list(csv.DictReader(io.StringIO(short.files["line.csv"].decode())))
    assert {(r["from"], r["to"]) for r in rows} == {("load", "clean"), ("clean", "acid"), ("acid", "plate"), ("plate", "out")}
    assert all(float(r["end [s]"]) > float(r["start [s]"]) >= 0.0 for r in rows)


def test_what_a_change_brings_is_solved_anew(short) -> None:
    rows = {r["change"]: r for r in short.values["what_if"]}
    best = rows["one more cell of 'plate'"]
    assert best["gain_pct"] > 5.0
    tanks = [{**t, "cells": 3} if t["name"] == "plate" else t for t in SHORT["tank"]]
    assert work({**SHORT, "tank": tanks, "what_if_s": 0}).values["cycle"] == best["cycle"]
    assert all(r["cycle"] <= short.values["cycle"] and r["bound"] <= r["cycle"] for r in rows.values())
    wider = [{**t, "least_s": 360} if t["name"] == "plate" else t for t in SHORT["tank"]]
    assert work({**SHORT, "tank": wider, "what_if_s": 0}).values["cycle"] == rows["'plate' needs 10 % less time"]["cycle"]
    assert "what_if" not in work({**SHORT, "what_if_s": 0}).tables


def test_what_if_of_the_published_line() -> None:
    plant = phillips_unger()
    now = solve(problem_of(plant, 1.0), 10.0, Watch()).schedule
    rows = what_if(plant, 1.0, now, True, 20.0, Watch())
    assert all(r["proved"] and r["cycle"] <= 521.0 for r in rows)
    assert max(r["gain_pct"] for r in rows) > 0.0
    assert {r["kind"] for r in rows} == {"cells", "most", "least"}


def test_a_cycle_that_cannot_be_kept_says_which_windows_conflict() -> None:
    r = work({**SHORT, "cycle_most_s": 190, "what_if_s": 0})
    (finding,) = [f for f in r.findings if f.key == "line.infeasible"]
    assert finding.severity == "stop"
    assert "at least 400 s in 'plate'" in finding.sentence
    assert "'plate' has 2 cells" in finding.sentence
    assert "'clean'" not in finding.sentence.split("cannot all be kept")[1]
    assert finding.limit == 190.0
    assert r.values["conflict"]["minimal"]


@pytest.mark.parametrize(("plant", "limit"), [(four_stages(), 195.0), (phillips_unger(), 520.0)])
def test_conflicts_are_minimal(plant: Plant, limit: float) -> None:
    p = problem_of(plant, 1.0)
    found = conflict_of(p, limit, 10.0, Watch())
    assert found is not None
    assert found.minimal
    assert ("hoist", 0) in found.members
    relaxed = plant
    kind, k = next(m for m in found.members if m[0] in ("least", "most"))
    station = p.soaks[k].station
    change = {"least": 0.0} if kind == "least" else {"most": math.inf}
    visits = tuple(replace(v, **change) if v.station == station else v for v in plant.recipes[0].visits)
    relaxed = replace(plant, recipes=(replace(plant.recipes[0], visits=visits),))
    others = [m for m in found.members if m != (kind, k)]
    loose = tuple(
        replace(
            v,
            least=v.least if any(p.soaks[n].station == v.station for what, n in others if what == "least") else 0.0,
            most=v.most if any(p.soaks[n].station == v.station for what, n in others if what == "most") else math.inf,
        )
        for v in relaxed.recipes[0].visits
    )
    cells = tuple(s if any(n == j for what, n in others if what == "cells") else replace(s, cells=20) for j, s in enumerate(plant.stations))
    free = replace(plant, stations=cells, recipes=(replace(plant.recipes[0], visits=loose),))
    assert solve(problem_of(free, 1.0), 10.0, Watch(), most_cycle=limit).schedule is not None, (
        "without one of its members the rest can be kept"
    )
    assert conflict_of(p, solve(p, 10.0, Watch()).schedule.cycle, 10.0, Watch()) is None


def test_hoists_that_must_hand_over_in_no_time_have_no_schedule() -> None:
    line = {**SHORT, "what_if_s": 0, "hoist": [{"name": "a", "to_m": 4}, {"name": "b", "from_m": 4}]}
    tanks = [{**t, "most_s": 40} if t["name"] == "acid" else t for t in SHORT["tank"]]
    assert work(line).values["status"] == "proved"
    tight = [{**t, "least_s": 1, "most_s": 1} if t["name"] == "acid" else t for t in tanks]
    r = work({**line, "tank": tight})
    assert r.values["status"] == "none"
    assert r.values["cycle"] is None
    (finding,) = r.findings
    assert "'acid'" in finding.sentence
    assert "2 hoists" in finding.sentence
    assert r.figures == ()


def test_a_short_search_tells_its_gap() -> None:
    tanks = [
        {"name": f"t{k}", "position_m": 1.2 * k, "least_s": 40 + 13 * (k % 7), "most_s": 90 + 13 * (k % 7), "drip_s": 5}
        for k in range(1, 20)
    ]
    line = {
        "tank": [{"name": "in", "position_m": 0, "role": "load"}, *tanks, {"name": "out", "position_m": 25, "role": "unload"}],
        "hoist": [{"name": "a"}, {"name": "b"}], "tick_s": 0.1, "time_limit_s": 3, "what_if_s": 0,
    }  # fmt: skip
    r = work(line)
    if r.values["status"] == "found":
        assert any(f.key == "line.gap" and f.value > 0.0 for f in r.findings)
        assert r.values["bound"] < r.values["cycle"]
    else:
        assert r.values["status"] in ("proved", "open")
        assert (r.values["cycle"] is None) == any(f.key == "line.open" for f in r.findings)


def test_a_busy_hoist_is_pointed_out() -> None:
    tanks = [{**t, "cells": 6, "most_s": "none"} if t["role"] == "bath" else t for t in ({"role": "bath", **t} for t in SHORT["tank"])]
    keys = [f.key for f in work({**SHORT, "tank": tanks, "what_if_s": 0}).findings]
    assert "line.hoist" in keys


def test_the_typical_line_is_told_as_typical() -> None:
    plant = plant_of(LineStated())
    assert len(plant.stations) == 16
    assert len(plant.hoists) == 2
    r = work({"what_if_s": 0})
    assert r.values["status"] == "proved"
    assert [f.key for f in r.findings] == ["line.typical"]
    assert all(t["source"] for t in r.values["tanks"])
    assert set(r.tables) >= {"way_1", "way_2"}
    gap = [
        np.interp(np.linspace(0, r.values["cycle"], 5000), r.tables[f"way_{k}"]["time_s"], r.tables[f"way_{k}"]["position_m"])
        for k in (1, 2)
    ]
    assert (gap[1] - gap[0]).min() >= r.values["gap_m"] - 1e-6
    assert len(r.values["cautions"]) >= 3


def test_a_schedule_that_the_check_refuses_is_never_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(line_stage, "faults", lambda *a: ["hoist 1 floats."])
    with pytest.raises(SolveError, match="hoist 1 floats"):
        work({**SHORT, "what_if_s": 0})


def test_the_work_can_be_stopped() -> None:
    with pytest.raises(Cancelled):
        STAGE.work(STAGE.inputs(parse({"line": SHORT})), {}, {}, Watch(cancelled=lambda: True))


def changed(k: int, **fields) -> dict:
    return {**SHORT, "tank": [{**t, **fields} if n == k else t for n, t in enumerate(SHORT["tank"])]}


BAD = [
    (changed(2, least_s=100, most_s=90), "asks for at least 100 s and at most 90 s"),
    (changed(2, cells=0), "expected 1 or more"),
    (changed(2, name="clean"), "stated twice"),
    (changed(2, position_m=float("nan")), "a finite number"),
    (changed(2, least_s=float("nan")), "a finite number"),
    (changed(2, most_s=90_000), "86400 or less"),
    (changed(2, least_s=-1), "0 or more"),
    (changed(0, role="bath"), "where racks are not loaded"),
    (changed(4, role="bath"), "where racks are not unloaded"),
    (changed(2, role="load"), "a place for loading"),
    (changed(2, role="oven"), "one of"),
    (changed(2, least_s=50.1, most_s=50.2), "holds no whole step"),
    ({**SHORT, "hoist": [{"name": "a", "travel_m_per_min": 0}]}, "more than 0"),
    ({**SHORT, "hoist": [{"name": "a", "lift_m_per_min": 0}]}, "more than 0"),
    ({**SHORT, "hoist": [{"name": "a"}, {"name": "a"}]}, "stated twice"),
    ({**SHORT, "hoist": [{"name": f"h{k}"} for k in range(8)], "track_from_m": 0, "track_to_m": 8}, "has no room"),
    ({**SHORT, "hoist": [{"name": "a", "to_m": 3}]}, "no hoist reaches"),
    ({**SHORT, "hoist": [{"name": "a", "travel_m_per_min": 20}, {"name": "b"}, {"name": "c"}]}, "must travel at one speed"),
    ({**SHORT, "recipe": [{"name": "A", "tanks": ["load", "gold", "out"]}]}, "no tank called 'gold'"),
    ({**SHORT, "recipe": [{"name": "A", "tanks": ["clean", "acid", "out"]}]}, "it begins at 'clean'"),
    ({**SHORT, "recipe": [{"name": "A", "tanks": ["load", "clean"]}]}, "it ends at 'clean'"),
    ({**SHORT, "recipe": [{"name": "A", "tanks": ["load"]}]}, "at least where racks are loaded"),
    ({**SHORT, "recipe": [{"name": "A", "tanks": ["load", "clean", "clean", "out"]}]}, "two steps in a row"),
    ({**SHORT, "recipe": [{"name": "A", "tanks": ["load", "clean", "out"], "least_s": [1, 2]}]}, "2 times for 3 steps"),
    ({**SHORT, "recipe": [{"name": "A", "tanks": ["load", "out"]}] * 2}, "stated twice"),
    ({**SHORT, "mix": ["A"]}, "no recipe called 'A'"),
    ({"recipe": [{"name": "A", "tanks": ["load", "out"]}]}, "no tank"),
    ({**SHORT, "gap_m": 0}, "more than 0"),
    ({**SHORT, "tick_s": 0}, "0.05 or more"),
    ({**SHORT, "racks_per_cycle": 5}, "4 or less"),
    ({**SHORT, "mix": ["all tanks"] * 31}, "is more than the 120"),
]


@pytest.mark.parametrize(("line", "says"), BAD, ids=[b[1][:30] for b in BAD])
def test_refusals_are_one_sentence_with_a_place(line: dict, says: str) -> None:
    with pytest.raises(InputError) as refused:
        work({**line, "what_if_s": 0})
    assert says in refused.value.sentence
    assert refused.value.where.startswith("line")
    assert "\n" not in refused.value.sentence


def test_lines_that_are_made_in_code_are_refused_too() -> None:
    plant = plant_of(LineStated(**SHORT))
    bad = [
        (replace(plant, stations=()), "at least one tank"), (replace(plant, hoists=()), "at least one hoist"), (replace(plant, mix=()), "no rack"),
        (replace(plant, gap=0.0), "more than 0 m"), (replace(plant, height=math.nan), "more than 0 m"),
        (replace(plant, hoists=(replace(plant.hoists[0], travel=0.0),)), "would never arrive"),
        (replace(plant, stations=(replace(plant.stations[0], position=math.inf), *plant.stations[1:])), "no finite position"),
        (replace(plant, stations=(replace(plant.stations[0], cells=0), *plant.stations[1:])), "at least one rack"),
        (replace(plant, stations=(replace(plant.stations[0], work=1e6), *plant.stations[1:])), "to a day"),
        (replace(phillips_unger(), hoists=phillips_unger().hoists * 2), "are for one hoist"),
        (replace(phillips_unger(), tables=TimeTables(((1.0,) * 13,), ((0.0,),))), "not 13 by 13"),
    ]  # fmt: skip
    for made, says in bad:
        with pytest.raises(InputError, match=says):
            validate(made)
    visits = plant.recipes[0].visits
    for change, says in (({"least": math.nan}, "not a number"), ({"drip": -1.0}, "below zero"), ({"drip": 1e6}, "longer than a day")):
        wrong = (visits[0], replace(visits[1], **change), *visits[2:])
        with pytest.raises(InputError, match=says):
            validate(replace(plant, recipes=(replace(plant.recipes[0], visits=wrong),)))

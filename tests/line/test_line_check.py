"""The check apart from the solver: changed schedules are caught, and what it lets pass the model takes too."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st
from line_tools import handed, holds, random_plant, shifted, told

from diewright.finish.line import instances
from diewright.finish.line.check import faults
from diewright.finish.line.crossing import forbidden
from diewright.finish.line.plant import Hoist, Plant, Recipe, Station, Visit
from diewright.finish.line.problem import problem_of
from diewright.finish.line.schedule import Carry, Schedule
from diewright.finish.line.solve import solve
from diewright.finish.line.ways import ways_of
from diewright.prove.line import published_schedule
from diewright.watch import Watch

LINES = [(k, random_plant(k, tanks=3 + k % 2, hoists=1 + k % 3, racks=1 + k % 2, twice=k % 4 == 1)) for k in range(9)]
SOLVED = [(plant, problem_of(plant, 1.0), solve(problem_of(plant, 1.0), 5.0, Watch()).schedule) for _, plant in LINES]


@seed(20)
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow], database=None)
@given(which=st.integers(0, len(LINES) - 1), carry=st.integers(0, 1000), by=st.integers(-40, 40), other=st.booleans())
def test_a_moved_carry_is_caught_or_truly_holds(which: int, carry: int, by: int, other: bool) -> None:
    plant, p, s = SOLVED[which]
    later = [k for k, c in enumerate(s.carries) if c.step]
    k = later[carry % len(later)]
    changed = shifted(s, k, float(by))
    if other:
        hoist = carry % len(plant.hoists)
        i = next(i for i, m in enumerate(p.moves) if (m.item, m.step) == (s.carries[k].item, s.carries[k].step))
        if p.carry[i, hoist] < 0:
            return
        changed = handed(changed, k, hoist, float(p.carry[i, hoist]))
    assert (told(plant, changed) == []) == holds(p, changed), told(plant, changed)


def test_both_verdicts_occur_in_these_changes() -> None:
    verdicts = set()
    r = random.Random(3)
    for plant, _, s in SOLVED:
        for _ in range(12):
            k = r.choice([k for k, c in enumerate(s.carries) if c.step])
            verdicts.add(told(plant, shifted(s, k, float(r.choice([-9, -1, 1, 9])))) == [])
    assert verdicts == {True, False}


def test_the_published_schedule_of_1976_holds_and_no_shorter_cycle_does() -> None:
    assert published_schedule() == {"faults": 0.0}
    s = solve(problem_of(instances.phillips_unger(), 1.0), 10.0, Watch()).schedule
    assert faults(instances.phillips_unger(), s) == []
    shorter = faults(instances.phillips_unger(), replace(s, cycle=520.0))
    assert shorter


def two_hoists():
    plant = random_plant(1, tanks=4, hoists=2)
    s = solve(problem_of(plant, 1.0), 5.0, Watch()).schedule
    return plant, s, list(ways_of(plant, s))


def test_ways_that_are_changed_are_caught() -> None:
    plant, s, ways = two_hoists()
    assert faults(plant, s, ways) == []

    def said(way, k: int = 1) -> str:
        return " ".join(faults(plant, s, [way if j == k else w for j, w in enumerate(ways)]))

    w = ways[1]
    assert "come within" in said(replace(w, position=ways[0].position[0] + 0.0 * w.position + plant.gap / 2))
    near = replace(ways[0], position=ways[0].position + 0.9 * plant.gap)
    assert f"come within {0.9 * plant.gap:.3g} m" in said(near)
    assert "come within" not in said(replace(ways[0], position=ways[0].position + 1.0 * plant.gap))
    assert "faster than" in said(replace(w, position=w.position + np.where(np.arange(len(w.time)) == 2, 30.0, 0.0)))
    assert "does not close" in said(replace(w, position=w.position + np.linspace(0.0, 0.5, len(w.time))))
    assert "not where its rack is" in said(replace(w, position=w.position + 0.5))
    assert "not lifted out" in said(replace(w, height=0.0 * w.height))
    assert "for as long as" in said(replace(w, item=np.full(len(w.time), -1)))
    assert "leaves its part" in said(replace(w, position=w.position + 1000.0))
    assert faults(plant, s, ways[:1]) == ["There is not one way for each hoist."]


def test_windows_are_kept_to_the_second() -> None:
    """One tank, one hoist with time to spare: the last second of the window holds, the next one does not."""
    stations = (Station("in", 0.0, 1, "load"), Station("bath", 2.0), Station("out", 4.0, 1, "unload"))
    plant = Plant(stations, (Hoist("hoist", 1.0, 0.5, 0.5),), (Recipe("A", (Visit(0), Visit(1, 50.0, 60.0), Visit(2))),), (0,))

    def soaked(s: float) -> list[str]:
        first = Carry(0, 0, 0, 0.0, 8.0)
        return told(plant, Schedule(100.0, (first, Carry(0, 1, 0, 8.0 + s, 16.0 + s))))

    assert soaked(50.0) == soaked(60.0) == []
    assert soaked(49.0) == ["The rack stays 49 s in 'bath', less than its 50 s."]
    assert soaked(61.0) == ["The rack stays 61 s in 'bath', more than its 60 s."]


def test_each_kind_of_fault_has_its_sentence() -> None:
    plant, s, _ = two_hoists()
    k = next(k for k, c in enumerate(s.carries) if c.step == 1)
    assert any("less than its" in f for f in told(plant, shifted(s, k, -500.0)))
    assert any(
        "needs" in f and "is given" in f for f in faults(plant, replace(s, carries=tuple(replace(c, end=c.start + 1.0) for c in s.carries)))
    )
    assert any("would have to hold" in f for f in faults(plant, replace(s, cycle=s.cycle / 3)))
    assert any("from putting down" in f for f in faults(plant, replace(s, cycle=s.cycle / 3)))
    assert "not one for each step" in faults(plant, replace(s, carries=s.carries[1:]))[0]
    assert "above zero" in faults(plant, replace(s, cycle=float("nan")))[0]
    assert "does not exist" in faults(plant, replace(s, carries=(replace(s.carries[0], hoist=7), *s.carries[1:])))[0]
    assert "has no time" in faults(plant, replace(s, carries=(replace(s.carries[0], start=float("nan")), *s.carries[1:])))[0]


@seed(21)
@settings(max_examples=60, deadline=None, database=None)
@given(
    a=st.integers(0, 8), b=st.integers(0, 8), c=st.integers(0, 8), d=st.integers(0, 8), fast=st.sampled_from([0.5, 1.0, 2.0]), gap=st.integers(1, 3)
)  # fmt: skip
def test_forbidden_offsets_are_those_at_which_hoists_meet(a: int, b: int, c: int, d: int, fast: float, gap: int) -> None:
    """Against a dense sampling of both ways continued outwards."""
    left = np.array([[0.0, a], [4.0, a], [4.0 + abs(b - a), b], [8.0 + abs(b - a), b]])
    right = np.array([[0.0, c], [4.0, c], [4.0 + abs(d - c) / fast, d], [8.0 + abs(d - c) / fast, d]])
    span = forbidden(left, 1.0, right, fast, float(gap))

    def continued(way: np.ndarray, t: np.ndarray, speed: float) -> np.ndarray:
        return np.interp(t, way[:, 0], way[:, 1]) + speed * (np.maximum(way[0, 0] - t, 0.0) + np.maximum(t - way[-1, 0], 0.0))

    t = np.arange(-80.0, 80.0, 0.125)
    for offset in np.arange(-40.0, 40.0, 1.0) + 0.3:
        low = 2.0 * np.interp(t, left[:, 0], left[:, 1]) - continued(left, t, 1.0)
        room = continued(right, t - offset, fast) - low - gap
        meet = room.min() < -1e-9
        inside = span is not None and span[0] < offset < span[1]
        near = span is not None and min(abs(offset - span[0]), abs(offset - span[1])) < 0.3
        assert meet == inside or near, (offset, span, room.min())


def test_hoists_of_different_speeds_keep_their_own() -> None:
    tried = 0
    for k in range(40, 60):
        plant = random_plant(k, tanks=3, hoists=2)
        if plant.hoists[0].travel == plant.hoists[1].travel:
            continue
        tried += 1
        s = solve(problem_of(plant, 1.0), 5.0, Watch()).schedule
        assert told(plant, s) == []
    assert tried >= 4


@pytest.mark.parametrize("hoists", [1, 2, 3])
def test_a_way_is_drawn_for_the_whole_cycle(hoists: int) -> None:
    plant = random_plant(4, tanks=4, hoists=hoists)
    s = solve(problem_of(plant, 1.0), 5.0, Watch()).schedule
    for w in ways_of(plant, s):
        assert w.time[0] == 0.0
        assert w.time[-1] == pytest.approx(s.cycle)
        assert (np.diff(w.time) > 0).all()
        assert np.isfinite(w.position).all()
    assert sum(float(np.diff(w.time)[w.item[:-1] >= 0].sum()) for w in ways_of(plant, s)) == pytest.approx(
        sum(c.end - c.start for c in s.carries)
    )

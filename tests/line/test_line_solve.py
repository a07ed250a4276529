"""The solver: published cycles, several hoists, mixes, tanks visited twice, big lines, and stopping."""

from __future__ import annotations

import math
import time
from itertools import pairwise

import numpy as np
import pytest
from line_tools import random_plant, told

from diewright.errors import Cancelled
from diewright.finish.line import instances
from diewright.finish.line.bounds import bounds_of
from diewright.finish.line.critical import critical_loop
from diewright.finish.line.plant import Hoist, Plant, Recipe, Station, Visit
from diewright.finish.line.problem import problem_of
from diewright.finish.line.solve import solve
from diewright.finish.line.stated import plant_of
from diewright.job.schema import HoistStated, LineStated
from diewright.prove.line import by_milp
from diewright.watch import Watch


def best(plant: Plant, tick: float = 1.0, seconds: float = 20.0):
    out = solve(problem_of(plant, tick), seconds, Watch())
    assert out.schedule is not None, out.status
    assert told(plant, out.schedule) == []
    assert out.bound <= out.schedule.cycle
    return out


@pytest.mark.parametrize(
    ("plant", "cycle"), [(instances.phillips_unger(), 521.0), (instances.four_stages(), 200.0), (instances.three_stages(), 10.0)]
)
def test_published_lines_are_solved_to_proof(plant: Plant, cycle: float) -> None:
    begin = time.monotonic()
    out = best(plant)
    assert (out.status, out.schedule.cycle, out.bound) == ("proved", cycle, cycle)
    assert time.monotonic() - begin < 10.0
    assert bounds_of(problem_of(plant, 1.0)).cycle <= cycle


@pytest.mark.parametrize("plant", [instances.four_stages(), instances.three_stages()])
def test_another_solver_with_another_model_gives_the_same(plant: Plant) -> None:
    assert by_milp(plant) == pytest.approx(best(plant).schedule.cycle, abs=1e-3)


def test_two_racks_a_cycle_are_no_slower_a_rack() -> None:
    out = best(instances.phillips_unger(2))
    assert out.schedule.cycle <= 2 * 521.0
    assert out.schedule.cycle >= 2 * 337.0


def test_a_second_hoist_is_never_worse_and_never_collides() -> None:
    cycles = []
    for n in (1, 2, 3):
        plant = plant_of(LineStated(hoist=tuple(HoistStated(name=f"hoist {k + 1}") for k in range(n))))
        out = best(plant, 0.5)
        assert out.status == "proved"
        cycles.append(out.schedule.cycle)
    assert cycles[0] >= cycles[1] >= cycles[2] >= 308.0  # 1540 s of nickel in five cells
    assert cycles[1] < 0.6 * cycles[0]


@pytest.mark.parametrize("seed", range(12))
def test_random_lines_hold_when_they_are_played(seed: int) -> None:
    plant = random_plant(seed, tanks=3 + seed % 2, hoists=1 + seed % 3, racks=1 + seed % 2, twice=seed % 4 == 0)
    out = best(plant)
    p = problem_of(plant, 1.0)
    assert out.schedule.cycle >= bounds_of(p).cycle
    shared = any(len(p.stays(k)) > 1 and st.cells > 1 for k, st in enumerate(plant.stations))
    assert out.status == "proved"
    loop = critical_loop(p, out.schedule)
    assert loop or shared or out.schedule.cycle == bounds_of(p).cycle
    if loop:  # a tick less cannot be run, and the loop asks for no more than the cycle
        need = sum(e.time for e in loop) / sum(e.cycles for e in loop)
        assert out.schedule.cycle - 1 < need <= out.schedule.cycle


def test_a_mix_of_two_recipes_and_a_rinse_that_is_visited_twice() -> None:
    stations = (
        Station("in", 0.0, 1, "load", 30.0),
        Station("clean", 2.0, 2),
        Station("rinse", 4.0),
        Station("plate", 6.0),
        Station("out", 8.0, 1, "unload", 30.0),
    )
    a = Recipe("A", (Visit(0), Visit(1, 100.0, 140.0), Visit(2, 10.0, 40.0), Visit(3, 60.0, 80.0), Visit(2, 10.0, 40.0), Visit(4)))
    b = Recipe("B", (Visit(0), Visit(1, 60.0, 90.0), Visit(2, 10.0, 60.0), Visit(4)))
    plant = Plant(stations, (Hoist("hoist", 0.5, 0.25, 0.25),), (a, b), (0, 1, 0))
    out = best(plant)
    first = [out.schedule.of_item(k)[0].start for k in range(3)]
    assert first == sorted(first), "racks are loaded in the order of the mix"
    assert out.status == "proved"
    alone = best(Plant(stations, plant.hoists, (a, b), (0,)))
    assert out.schedule.cycle >= alone.schedule.cycle  # it holds A twice
    rinse = [(c.start, c.end) for c in out.schedule.carries]
    assert len(rinse) == 5 + 3 + 5  # fmt: skip


def test_more_cells_hold_more_racks_at_a_time() -> None:
    def line(cells: int) -> Plant:
        stations = (Station("in", 0.0, 1, "load", 0.0), Station("plate", 3.0, cells), Station("out", 6.0, 1, "unload", 0.0))
        return Plant(stations, (Hoist("hoist", 1.0, 0.5, 0.5),), (Recipe("A", (Visit(0), Visit(1, 600.0, 650.0), Visit(2))),), (0,))

    cycles = [best(line(c)).schedule.cycle for c in (1, 2, 3, 26)]
    assert cycles[0] > cycles[1] > cycles[2] > cycles[3]
    assert cycles[1] >= 300.0
    assert cycles[2] >= 200.0
    assert cycles[3] == 2 * (3.0 + 3.0 + 3.0) + 6.0  # two carries of 9 s and the empty way back: the hoist alone sets it


def big(seed: int, tanks: int) -> Plant:
    r = np.random.default_rng(seed)
    stations = [Station("in", 0.0, 1, "load", 60.0)]
    visits = [Visit(0)]
    for k in range(tanks):
        least = float(r.integers(20, 300))
        cells = 1 + int(least > 200)
        stations.append(Station(f"tank {k}", 1.2 * (k + 1), cells))
        visits.append(Visit(k + 1, least, float(math.ceil(least * 1.3)), 5.0))
    stations.append(Station("out", 1.2 * (tanks + 1), 1, "unload", 60.0))
    hoists = tuple(Hoist(f"hoist {h + 1}", 0.6, 0.2, 0.2, -2.0, 1.2 * (tanks + 1) + 2.0) for h in range(2))
    return Plant(tuple(stations), hoists, (Recipe("A", (*visits, Visit(tanks + 1))),), (0,), 1.8, 2.0)


@pytest.mark.parametrize("tanks", [12, 20])
def test_big_lines_are_solved_or_say_how_far_they_are(tanks: int) -> None:
    begin = time.monotonic()
    out = solve(problem_of(big(tanks, tanks), 0.5), 6.0, Watch())
    assert time.monotonic() - begin < 12.0
    assert out.status in ("proved", "found")
    assert out.schedule is not None
    assert told(big(tanks, tanks), out.schedule) == []
    assert bounds_of(problem_of(big(tanks, tanks), 0.5)).cycle * 0.5 <= out.bound <= out.schedule.cycle
    assert (out.gap == 0.0) == (out.status == "proved")


def test_what_sets_the_cycle_is_a_loop_that_asks_for_it() -> None:
    p = problem_of(instances.phillips_unger(), 1.0)
    loop = critical_loop(p, best(instances.phillips_unger()).schedule)
    assert loop
    assert all(a.end == b.begin for a, b in zip(loop, loop[1:] + loop[:1], strict=True))
    assert sum(e.time for e in loop) / sum(e.cycles for e in loop) > 520.0  # one tick less cannot be run


def test_the_person_can_stop_the_search() -> None:
    calls = [0]

    def stop() -> bool:
        calls[0] += 1
        return calls[0] > 3

    begin = time.monotonic()
    with pytest.raises(Cancelled):
        solve(problem_of(big(1, 20), 0.1), 60.0, Watch(cancelled=stop))
    assert time.monotonic() - begin < 10.0


def test_progress_is_told() -> None:
    said = []
    solve(problem_of(instances.phillips_unger(2), 1.0), 1.0, Watch(lambda p: said.append((p.phase, p.share))))
    assert said[0] == ("shortest cycle", 0.0)
    assert all(a[1] <= b[1] for a, b in pairwise(said))


def test_a_limit_below_the_shortest_has_no_schedule() -> None:
    p = problem_of(instances.phillips_unger(), 1.0)
    assert solve(p, 10.0, Watch(), most_cycle=520.0).status == "none"
    assert solve(p, 10.0, Watch(), most_cycle=100.0).bound == bounds_of(p).cycle
    kept = solve(p, 10.0, Watch(), most_cycle=521.0)
    assert kept.status == "proved"

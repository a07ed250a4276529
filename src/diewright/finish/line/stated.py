"""From what a person states to a :class:`Plant`; every line that cannot be is refused in one sentence."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from diewright.errors import InputError
from diewright.finish.line.plant import Hoist, Plant, Recipe, Station, Visit
from diewright.job.schema import HoistStated, LineStated, RecipeStated, TankStated

DAY = 86_400.0
MOST_STEPS = 120
"""Carries of one cycle that are still searched."""


@lru_cache(maxsize=1)
def typical() -> tuple[tuple[TankStated, ...], tuple[HoistStated, ...]]:
    """Tanks and hoists of the typical bright nickel and chromium line."""
    data = tomllib.loads((Path(__file__).parent / "bright_nickel.toml").read_text(encoding="utf-8"))
    return tuple(TankStated(**t) for t in data["tank"]), tuple(HoistStated(**h) for h in data["hoist"])


def plant_of(line: LineStated) -> Plant:
    """The line as stated, or the typical one where no tank is stated. Raises :class:`InputError`."""
    tanks, hoists = line.tank, stated_hoists(line)
    if not tanks:
        if line.recipe or line.mix:
            raise InputError("recipes are stated, but no tank.", where="line.tank", help="State the tanks that they pass through.")
        tanks = typical()[0]
    _distinct([t.name for t in tanks], "line.tank", "tank")
    _distinct([h.name for h in hoists], "line.hoist", "hoist")
    stations = tuple(Station(t.name, t.position_m, t.cells, t.role, t.least_s if t.role != "bath" else 0.0) for t in tanks)
    ends = [s.position for s in stations]
    spare = line.gap_m * (len(hoists) - 1)
    low = min(ends) - spare if isinstance(line.track_from_m, str) else line.track_from_m
    high = max(ends) + spare if isinstance(line.track_to_m, str) else line.track_to_m
    recipes = tuple(_recipe(r, tanks) for r in line.recipe) or (_straight(tanks),)
    names = [r.name for r in recipes]
    _distinct(names, "line.recipe", "recipe")
    for name in line.mix:
        if name not in names:
            raise InputError(f"there is no recipe called '{name}'.", where="line.mix", help=f"Recipes: {', '.join(names)}.")
    mix = tuple(names.index(n) for n in line.mix) or tuple(range(len(recipes)))
    plant = Plant(
        stations, tuple(_hoist(h, low, high) for h in hoists), recipes, mix * line.racks_per_cycle, line.lift_m, line.gap_m
    )  # fmt: skip
    validate(plant)
    return plant


def stated_hoists(line: LineStated) -> tuple[HoistStated, ...]:
    """The hoists as stated; those of the typical line, or one for a line of one's own, where none is."""
    return line.hoist or (typical()[1] if not line.tank else (HoistStated(),))


def _distinct(names: Sequence[str], where: str, what: str) -> None:
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{what} '{name}' is stated twice.", where=where, help="Give each its own name.")


def _hoist(h: HoistStated, low: float, high: float) -> Hoist:
    return Hoist(
        h.name, h.travel_m_per_min / 60.0, h.lift_m_per_min / 60.0, h.lower_m_per_min / 60.0,
        low if isinstance(h.from_m, str) else max(low, h.from_m), high if isinstance(h.to_m, str) else min(high, h.to_m),
    )  # fmt: skip


def _most(value: str | float) -> float:
    return math.inf if isinstance(value, str) else float(value)


def _straight(tanks: tuple[TankStated, ...]) -> Recipe:
    """Through all tanks in the order stated, back to the first where it loads and unloads."""
    names = tuple(t.name for t in tanks)
    back = names[:1] if tanks[0].role == "load-unload" else ()
    return _recipe(RecipeStated(name="all tanks", tanks=names + back), tanks)


def _recipe(r: RecipeStated, tanks: tuple[TankStated, ...]) -> Recipe:
    where, by = f"line.recipe '{r.name}'", {t.name: k for k, t in enumerate(tanks)}
    for name in r.tanks:
        if name not in by:
            raise InputError(f"there is no tank called '{name}'.", where=where, help=f"Tanks: {', '.join(by)}.")
    for label, given in (("least_s", r.least_s), ("most_s", r.most_s)):
        if given and len(given) != len(r.tanks):
            raise InputError(f"{label} has {len(given)} times for {len(r.tanks)} steps.", where=where, help="State one a step, or none.")
    visits = []
    for k, name in enumerate(r.tanks):
        t = tanks[by[name]]
        least = r.least_s[k] if r.least_s else t.least_s
        most = _most(r.most_s[k] if r.most_s else t.most_s)
        visits.append(Visit(by[name], 0.0 if t.role != "bath" else least, math.inf if t.role != "bath" else most, t.drip_s))
    return Recipe(r.name, tuple(visits))


def validate(plant: Plant) -> None:
    """Refuse a line that cannot be, in one sentence. Raises :class:`InputError`."""
    if not plant.stations:
        raise InputError("a line needs at least one tank.", where="line.tank", help="State its tanks.")
    if not plant.hoists:
        raise InputError("a line needs at least one hoist.", where="line.hoist", help="State a hoist.")
    if not plant.mix:
        raise InputError("the cycle holds no rack.", where="line.mix", help="Name at least one recipe.")
    for s in plant.stations:
        if plant.tables is None and not math.isfinite(s.position):
            raise InputError(f"tank '{s.name}' has no finite position.", where="line.tank", help="State position_m in metres.")
        if s.cells < 1:
            raise InputError(
                f"tank '{s.name}' has {s.cells} cells; a tank holds at least one rack.", where="line.tank", help="State cells = 1 or more."
            )
        if not 0.0 <= s.work <= DAY:
            raise InputError(
                f"tank '{s.name}' loads or unloads in {s.work:g} s; expected 0 s to a day.",
                where="line.tank",
                help="State the time in seconds.",
            )
    for value, name in ((plant.height, "lift_m"), (plant.gap, "gap_m")):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(f"{value:g} cannot be used: expected more than 0 m.", where=f"line.{name}")
    for h in plant.hoists:
        for speed, name in ((h.travel, "travels"), (h.lift, "lifts"), (h.lower, "lowers")):
            if not (math.isfinite(speed) and speed > 0.0):
                raise InputError(
                    f"{h.name} {name} at {speed:g} m/s and would never arrive.", where="line.hoist", help="State a speed above zero."
                )
    for r in plant.recipes:
        _validate_recipe(plant, r)
    if len(plant.moves) > MOST_STEPS:
        raise InputError(
            f"a cycle of {len(plant.moves)} carries is more than the {MOST_STEPS} that are searched.", where="line.mix", help="Take fewer racks a cycle."
        )  # fmt: skip
    _validate_track(plant)


def _validate_recipe(plant: Plant, r: Recipe) -> None:
    where = f"line.recipe '{r.name}'"
    roles = [plant.stations[v.station].role for v in r.visits]
    if len(roles) < 2:
        raise InputError("a recipe needs at least where racks are loaded and where they are unloaded.", where=where, help="List its tanks.")
    if roles[0] not in ("load", "load-unload"):
        raise InputError(
            f"it begins at '{plant.stations[r.visits[0].station].name}', where racks are not loaded.", where=where, help="Begin at a tank with role load or load-unload."
        )  # fmt: skip
    if roles[-1] not in ("unload", "load-unload"):
        raise InputError(
            f"it ends at '{plant.stations[r.visits[-1].station].name}', where racks are not unloaded.", where=where, help="End at a tank with role unload or load-unload."
        )  # fmt: skip
    for v, role in zip(r.visits[1:-1], roles[1:-1], strict=True):
        if role != "bath":
            raise InputError(
                f"it passes '{plant.stations[v.station].name}' on its way, which is a place for loading.", where=where, help="Only its first and last step are there."
            )  # fmt: skip
    for a, b in zip(r.visits, r.visits[1:], strict=False):
        if a.station == b.station:
            raise InputError(f"two steps in a row are in '{plant.stations[a.station].name}'.", where=where, help="Make them one soak.")
    for v in r.visits:
        name = plant.stations[v.station].name
        if math.isnan(v.least) or math.isnan(v.most) or math.isnan(v.drip):
            raise InputError(f"a time of '{name}' is not a number.", where=where, help="State seconds.")
        if v.least > v.most:
            raise InputError(
                f"'{name}' asks for at least {v.least:g} s and at most {v.most:g} s.", where=where, help="Turn the window round."
            )
        if v.least < 0.0 or v.drip < 0.0:
            raise InputError(f"'{name}' has a time below zero.", where=where, help="State seconds from zero on.")
        if v.least > DAY or (math.isfinite(v.most) and v.most > DAY) or v.drip > DAY:
            raise InputError(f"'{name}' holds a rack for longer than a day; times are seconds.", where=where, help="State seconds.")


def _validate_track(plant: Plant) -> None:
    if plant.tables is not None:
        if len(plant.hoists) > 1:
            raise InputError("tables of times are for one hoist; more need positions.", where="line.hoist")
        n = len(plant.stations)
        if len(plant.tables.empty) != n or any(len(row) != n for row in plant.tables.empty):
            raise InputError(f"the table of empty moves is not {n} by {n}.", where="line.hoist")
        if any(not (math.isfinite(t) and 0.0 <= t <= DAY) for row in (*plant.tables.empty, *plant.tables.carry) for t in row):
            raise InputError("a time of the tables is not between 0 s and a day.", where="line.hoist")
        return
    if len(plant.hoists) > 2 and len({h.travel for h in plant.hoists}) > 1:
        raise InputError(
            "three or more hoists on one track must travel at one speed.", where="line.hoist", help="State the slowest for all."
        )
    for h, hoist in enumerate(plant.hoists):
        low, high = plant.reach(h)
        if low > high:
            raise InputError(
                f"the track has no room for {hoist.name}: {len(plant.hoists)} hoists {plant.gap:g} m apart need more than it gives.",
                where="line.hoist", help="Take fewer hoists, a longer track or a smaller gap.",
            )  # fmt: skip

"""The hoist line."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from diewright.job.stated.record import Record, q


class TankStated(Record):
    """A station of the hoist line: a tank, a group of tanks alike, or where racks are loaded and unloaded."""

    name: str = q("", "what the tank is called", min_length=1, max_length=60)
    position_m: float = q("m", "place of its middle along the track", ge=-1000, le=1000)
    role: Literal["bath", "load", "unload", "load-unload"] = q("", "bath, or where racks are loaded, unloaded, or both", default="bath")
    cells: int = q("", "racks that it holds at a time", default=1, ge=1, le=50)
    least_s: float = q("s", "shortest soak; for a loading place the time that loading and unloading take", default=0.0, ge=0, le=86_400)
    most_s: Literal["none"] | Annotated[float, Field(ge=0, le=86_400)] = q("s", "longest soak, or none", default="none")
    drip_s: float = q("s", "time a rack hangs above it when it leaves", default=0.0, ge=0, le=3600)
    source: str = q("", "where the times are from", default="", max_length=200)


class HoistStated(Record):
    """A hoist on the track; they stand in the order in which they are stated, from low positions to high."""

    name: str = q("", "what the hoist is called", default="hoist", min_length=1, max_length=60)
    travel_m_per_min: float = q("m/min", "speed along the track", default=36.0, gt=0, le=300)
    lift_m_per_min: float = q("m/min", "speed of lifting", default=12.0, gt=0, le=120)
    lower_m_per_min: float = q("m/min", "speed of lowering", default=12.0, gt=0, le=120)
    from_m: Literal["track"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m", "lowest place it may go to, or the track's end", default="track"
    )
    to_m: Literal["track"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m", "highest place it may go to, or the track's end", default="track"
    )


class RecipeStated(Record):
    """The way of one kind of rack through the tanks."""

    name: str = q("", "what the recipe is called", min_length=1, max_length=60)
    tanks: tuple[str, ...] = q("", "names of the tanks in their order, from where racks are loaded to where they are unloaded")
    least_s: tuple[Annotated[float, Field(ge=0, le=86_400)], ...] = q(
        "s", "shortest soak of each step; empty takes the tanks' own", default=()
    )
    most_s: tuple[Literal["none"] | Annotated[float, Field(ge=0, le=86_400)], ...] = q(
        "s", "longest soak of each step; empty takes the tanks' own", default=()
    )


class LineStated(Record):
    """The hoist line of the finishing shop."""

    tank: tuple[TankStated, ...] = q(
        "", "the stations, one table [[line.tank]] each; none takes a typical bright nickel and chromium line", default=()
    )
    hoist: tuple[HoistStated, ...] = q(
        "", "the hoists, one table [[line.hoist]] each, from low positions to high; none takes those of the typical line", default=()
    )
    recipe: tuple[RecipeStated, ...] = q(
        "", "the recipes, one table [[line.recipe]] each; none takes all tanks in the order stated", default=()
    )
    mix: tuple[str, ...] = q("", "recipes of the racks of one cycle in the order of loading, as A, B, A; empty takes each once", default=())
    racks_per_cycle: int = q("", "how often the mix is repeated within one cycle", default=1, ge=1, le=4)
    parts_per_rack: int = q("", "parts that hang on a rack", default=24, ge=1, le=100_000)
    lift_m: float = q("m", "height by which a rack is lifted out", default=1.8, gt=0, le=10)
    gap_m: float = q("m", "distance kept between the middles of two hoists", default=2.0, gt=0, le=50)
    track_from_m: Literal["auto"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m",
        "low end of the track for a hoist's middle; auto lets the hoists that are not needed stand beyond the first tank",
        default="auto",
    )
    track_to_m: Literal["auto"] | Annotated[float, Field(ge=-1000, le=1000)] = q(
        "m",
        "high end of the track for a hoist's middle; auto lets the hoists that are not needed stand beyond the last tank",
        default="auto",
    )
    cycle_most_s: Literal["none"] | Annotated[float, Field(gt=0, le=86_400)] = q(
        "s", "longest cycle that will do; none asks for the shortest only", default="none"
    )
    tick_s: float = q("s", "step of time of the schedule", default=0.5, ge=0.05, le=10)
    time_limit_s: float = q("s", "longest search for the shortest cycle", default=30.0, ge=1, le=3600)
    what_if_s: float = q("s", "time for all searches of what a change would bring; 0 leaves them out", default=20.0, ge=0, le=3600)

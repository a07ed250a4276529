"""Values, tables, figures and findings of the stage ``plan``."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Figure, Finding
from diewright.press.fit import RESERVE
from diewright.trim.plan.found import Found, Load, Station
from diewright.trim.plan.press import fastest
from diewright.trim.plan.safety import curtain_distance, trip_distance, two_hand_distance, us_distance
from diewright.trim.plan.stations import must_part, wrong_order

Floats = NDArray[np.float64]
CAUTIONS = (
    "A press that is fed by hand needs its point of operation guarded, or a device at the safety distance that its measured stopping time asks for. Power-press law and standards of your country come first (ISO 16092, ISO 13855; 29 CFR 1910.217 where it applies).",
    "A transfer moves by itself: fence it in, interlock the gates, and take hands off tools only with the drive locked out and the slide blocked.",
    "The time left for feeding is when the press stands open, not when it is safe to reach in: the slide is moving.",
    "These figures are for planning. A qualified die engineer and the press maker's diagrams decide.",
)


def _station(s: Station) -> dict[str, Any]:
    use, i = s.use
    return {
        "station": s.number, "name": s.group.name, "operations": [o.name for o in s.group.operations], "why": s.group.why, "stated": s.group.stated, "how": {o.name: o.how for o in s.group.operations},
        "force_flat_kN": float(s.load.flat.max()) / 1000, "force_kN": float(s.load.force.max()) / 1000, "slide_kN": float(s.slide.max()) / 1000, "lowered_pct": 100 * s.load.lowered,
        "steps": [{"piece": k, "steps": v} for k, v in s.load.steps.items()], "touch_height_mm": s.load.touch, "press": s.press.name, "press_kind": s.press.kind, "press_kN": s.press.force_kn, "presses_that_serve": s.serves,
        "share_pct": 100 * use, "share_height_mm": float(s.load.height[i]), "work_J": _work(s.load), "rate_per_min": s.rate, "feed_height_mm": s.feed, "window_deg": s.window, "window_s": s.window_s, "period_s": s.period,
        "parts_per_hour": s.parts_per_hour, "checks": [{"key": c.key, "level": c.level, "sentence": c.sentence} for c in s.checks],
        "events": [{"event": e.name, "angle_deg": s.cycle.place(e)[0] if e.name != "slide at the top" else 0.0, "time_s": s.cycle.place(e)[1] if e.name != "slide at the top" else 0.0, "slide_mm": e.height} for e in s.events],
    }  # fmt: skip


def _work(load: Load) -> float:
    return float(np.trapezoid(load.force, -load.height)) / 1000


def values_of(f: Found) -> dict[str, Any]:
    """The stage's values; null where a number does not apply."""
    c = f.compound
    slowest = min([f.transfer] if f.transfer else f.stations, key=lambda s: s.parts_per_hour)
    return {
        "feed": f.feed, "operations": [{"name": o.name, "kind": o.kind, "force_kN": o.flat / 1000, "how": o.how} for o in f.operations],
        "stations": [_station(s) for s in f.stations], "transfer": None if f.transfer is None else _station(f.transfer), "cycle_of": f.main, "unclaimed": f.unclaimed, "parts": f.parts,
        "compound": None if c is None else {"possible": c.possible, "why": c.why, "wall_mm": c.wall, "wanted_mm": c.wanted, "force_kN": c.force / 1000, "height_mm": c.height, "capacity_kN": c.capacity / 1000},
        "parts_per_hour": slowest.parts_per_hour, "slowest": slowest.group.name, "safety": _safety(f), "cautions": list(CAUTIONS),
    }  # fmt: skip


def _safety(f: Found) -> dict[str, float | None]:
    stop, points = f.inputs.stated.stop_time_s, f.inputs.stated.engaging_points
    main = f.transfer or f.stations[f.main - 1]
    known = None if isinstance(stop, str) else stop
    return {
        "stop_time_s": known, "curtain_mm": None if known is None else curtain_distance(known, f.inputs.stated.curtain_mm), "two_hand_mm": None if known is None else two_hand_distance(known),
        "us_mm": None if known is None else us_distance(known), "trip_mm": None if isinstance(points, str) else trip_distance(points, main.rate),
    }  # fmt: skip


def tables_of(f: Found) -> dict[str, dict[str, Floats]]:
    """``stations``, and of each station ``load_<n>``, ``cycle_<n>``, ``events_<n>``; ``cycle`` and ``events`` of the one that draws; of a transfer ``load_transfer``, ``cycle_transfer``, ``events_transfer``."""
    rows = [_station(s) for s in f.stations]
    names = ("station", "force_flat_kN", "force_kN", "slide_kN", "press_kN", "share_pct", "share_height_mm", "touch_height_mm", "work_J", "rate_per_min", "feed_height_mm", "window_deg", "window_s", "period_s", "parts_per_hour")  # fmt: skip
    out = {"stations": {n: np.array([float(r[n]) for r in rows]) for n in names}}
    for key, s in [(str(s.number), s) for s in f.stations] + ([("transfer", f.transfer)] if f.transfer else []):
        out[f"load_{key}"] = _load(s)
        out[f"cycle_{key}"], out[f"events_{key}"] = _cycle(s)
    out["cycle"], out["events"] = (out[f"{n}_{'transfer' if f.transfer else f.main}"] for n in ("cycle", "events"))
    return out


def _load(s: Station) -> dict[str, Floats]:
    h = s.load.height
    return {
        "stroke_mm": h[0] - h,
        "height_above_bottom_mm": h,
        "flat_kN": s.load.flat / 1000,
        "force_kN": s.load.force / 1000,
        "slide_kN": s.slide / 1000,
        "capacity_kN": s.press.capacity(h) / 1000,
    }


def _cycle(s: Station) -> tuple[dict[str, Floats], dict[str, Floats]]:
    events = _station(s)["events"]
    c = s.cycle
    return (
        {"angle_deg": c.angle, "time_s": c.time, "slide_mm": c.height, "speed_mm_s": c.speed},
        {
            "event": np.arange(len(events), dtype=np.float64),
            **{n: np.array([float(e[n]) for e in events]) for n in ("angle_deg", "time_s", "slide_mm")},
        },
    )


def figures_of(f: Found) -> Iterator[Figure]:
    """Force, use and feeding time of each station, and the safety distances."""
    for s in f.stations + ([f.transfer] if f.transfer else []):
        key = "transfer" if s is f.transfer else str(s.number)
        use, i = s.use
        yield Figure(
            key=f"plan_force_{key}", label=f"Largest force, {s.group.name}", value=float(s.load.force.max()), unit="N", formula="max over S of sum f_i(S - o_i)", inputs={"all together": (float(s.load.flat.max()), "N"), "steels that follow": (float(len(s.load.steps)), ""), "step": (f.inputs.thickness, "mm")},
            source="force curves of the stages press, cutting and bends", confidence="as good as these curves; grinding tolerance of the steps is left out",
        )  # fmt: skip
        yield Figure(
            key=f"plan_use_{key}", label=f"Largest use of {s.press.name}", value=100 * use, unit="%", formula="F_slide/F_press(height)", inputs={"F_slide": (float(s.slide[i]), "N"), "F_press": (float(s.press.capacity(s.load.height)[i]), "N"), "height": (float(s.load.height[i]), "mm")},
            source="crank kinematics at constant torque; press table", confidence=f"press data: {s.press.source}",
        )  # fmt: skip
        yield Figure(
            key=f"plan_window_{key}", label=f"Time that the open press leaves, {s.group.name}", value=s.window_s, unit="s", formula="(360 - 2 a(h)) / (6 n)" if s.press.crank is not None else "share of the cycle above h", inputs={"h": (s.feed, "mm"), "n": (s.rate, "1/min"), "angle": (s.window, "deg")},
            source="slide kinematics", confidence="flywheel speed constant",
        )  # fmt: skip
    safety = _safety(f)
    stop = safety["stop_time_s"]
    if stop is not None:
        d = f.inputs.stated.curtain_mm
        yield Figure(
            key="plan_curtain",
            label="Safety distance of a light curtain",
            value=safety["curtain_mm"],
            unit="mm",
            formula="2000 T + 8 (d - 14) up to 500 mm; beyond 1600 T + 8 (d - 14), 500 at least",
            inputs={"T": (stop, "s"), "d": (d, "mm")},
            source="ISO 13855",
            confidence="T measured on this press; local law comes first",
        )
        yield Figure(
            key="plan_two_hand",
            label="Safety distance of a two-hand control",
            value=safety["two_hand_mm"],
            unit="mm",
            formula="1600 T + 250",
            inputs={"T": (stop, "s")},
            source="ISO 13855 (from memory)",
            confidence="look it up before use",
        )
        yield Figure(
            key="plan_us_distance",
            label="Safety distance by US rule",
            value=safety["us_mm"],
            unit="mm",
            formula="63 in/s Ts",
            inputs={"Ts": (stop, "s")},
            source="29 CFR 1910.217(c)(3)",
            confidence="stopping time near 90 degrees of the crank",
        )
    if safety["trip_mm"] is not None:
        yield Figure(
            key="plan_trip",
            label="Safety distance of a two-hand trip",
            value=safety["trip_mm"],
            unit="mm",
            formula="63 in/s (1/2 + 1/N) 60/n",
            inputs={"N": (float(f.inputs.stated.engaging_points), ""), "n": ((f.transfer or f.stations[f.main - 1]).rate, "1/min")},
            source="29 CFR 1910.217(c)(3)(viii)",
            confidence="full-revolution clutch",
        )


def findings_of(f: Found) -> Iterator[Finding]:
    """All findings of the stage."""
    for a, b in wrong_order([s.group for s in f.stations], f.operations)[:1]:
        yield Finding(
            key="plan.order",
            severity="stop",
            source="order of the operations",
            sentence=f"'{b}' stands before '{a}', which must be done first.",
            help="Order the stations of [[plan.station]].",
        )
    if f.unclaimed:
        yield Finding(
            key="plan.unclaimed",
            severity="attend",
            value=float(len(f.unclaimed)),
            source="plan.station",
            sentence=f"No stated station names {', '.join(f.unclaimed)}: stations of their own were added.",
            help="Name them in a station.",
        )
    for k, text in enumerate(f.webs):
        yield Finding(
            key=f"plan.web.{k + 1}",
            severity="note",
            source="least web, common practice",
            sentence=f"Piercing gets a die of its own: {text}.",
            help="Move the hole, or state the station.",
        )
    c = f.compound
    if c is not None and (c.possible or f.inputs.stated.compound):
        wrong = not c.possible
        yield Finding(
            key="plan.compound",
            severity="stop" if wrong else "note",
            value=c.wall,
            limit=c.wanted,
            unit="mm",
            source="four thicknesses and 8 mm at least (ours); press table",
            sentence=f"Blank and first draw {'cannot' if wrong else 'can'} share a die: {c.why}.",
            help="Cut the blank in a die of its own." if wrong else "Set plan.compound to plan it so.",
        )
    for s in f.stations if f.transfer is None else [*f.stations, f.transfer]:
        yield from _of_station(s, f, "transfer" if s is f.transfer else str(s.number))
    if f.feed == "hand":
        yield Finding(
            key="plan.guard",
            severity="note",
            source="ISO 16092, ISO 13855; 29 CFR 1910.217 where it applies",
            sentence="Stations are fed by hand: each press needs its point of operation guarded, single strokes, and a device at its safety distance.",
            help="Have the stopping time measured and state plan.stop_time_s: the distances are then told.",
        )


def _of_station(s: Station, f: Found, key: str) -> Iterator[Finding]:
    name, whole = s.group.name, s is f.transfer
    apart = None if whole else must_part(s.group)
    if apart is not None:
        yield Finding(
            key=f"plan.share.{key}",
            severity="stop",
            source="way of the tools",
            sentence=f"{name} cannot share a die: {apart}.",
            help="Give them stations of their own.",
        )
    if s.press.stroke_mm < s.feed:
        yield Finding(
            key=f"plan.feed.{key}", severity="stop", value=s.press.stroke_mm, limit=s.feed, unit="mm", source="height of the part over the tool, and plan.clearance", sentence=f"{name}: {s.press.name} opens by {s.press.stroke_mm:g} mm, {s.feed:.0f} mm are needed to take the part out.",
            help="A longer stroke, or a die that lets the part out at its side.",
        )  # fmt: skip
    elif f.feed == "transfer" and (whole or f.transfer is None) and s.window_s < f.inputs.stated.transfer_time_s:
        best = fastest(s, f.inputs.stated.transfer_time_s)
        yield Finding(
            key=f"plan.feed.{key}", severity="attend", value=s.window_s, limit=f.inputs.stated.transfer_time_s, unit="s", source="slide kinematics", sentence=f"{name}: at {s.rate:.3g} strokes a minute the press stands open for {s.window_s:.2g} s, the transfer takes {f.inputs.stated.transfer_time_s:.2g} s.",
            help=f"Stroke at {best:g} a minute or less, or take a faster transfer or a longer stroke.",
        )  # fmt: skip
    if f.transfer is not None and not whole:
        return  # the stations' presses are not used
    for check in s.checks:
        if check.level in ("attend", "stop"):
            yield Finding(
                key=f"plan.{check.key}.{key}",
                severity=check.level,
                value=check.value,
                limit=check.limit,
                unit=check.unit,
                source=check.source,
                sentence=f"{name}: {check.sentence}",
                help=check.help,
            )
    if any(check.level == "stop" for check in s.checks) and s.serves == 0:
        yield Finding(
            key=f"plan.press.{key}",
            severity="stop",
            value=float(s.slide.max()) / 1000,
            unit="kN",
            source="press table",
            sentence=f"{name}: no press of the table serves.",
            help="State your own presses, divide the station, or step its steels.",
        )
    if s.load.lowered > 0.0:
        before = 100 * float(np.max(s.load.flat / np.maximum(s.press.capacity(s.load.height), 1e-9)))
        yield Finding(
            key=f"plan.steps.{key}", severity="note", value=float(s.load.force.max()) / 1000, limit=float(s.load.flat.max()) / 1000, unit="kN", source="steps of one thickness, searched",
            sentence=f"{name}: {len(s.load.steps)} steels that follow the others by steps of {f.inputs.thickness:g} mm lower the largest force by {100 * s.load.lowered:.0f} %{', and the press needs it' if math.isfinite(before) and before > 100 * RESERVE else ''}.",
            help="Grind the steels as the station lists them; long punches first, so that slim ones are not pushed aside.",
        )  # fmt: skip

"""Does a press serve: force at every height, energy, bed, stroke, cushion, speed; and the choice among many."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.press.drawing import DRAW_WORK_SHARE, draw_work
from diewright.press.stroke import curve_work
from diewright.press.table import Press

Floats = NDArray[np.float64]
Level = Literal["ok", "note", "attend", "stop"]

RESERVE = 0.8
"""Share of the available force that a first estimate should use at most (common practice)."""
BED_MARGIN = 75.0
"""Die and clamping room beside the blank on each side [mm] (common practice)."""
STROKE_DEPTHS = 2.2
"""Stroke over draw depth so that the part can be lifted out (common practice; below 2 it cannot)."""
DRAW_SPEED = {"aluminium": 880.0, "brass": 1020.0, "copper": 760.0, "steel": 280.0, "stainless": 150.0}
"""Largest speed of touching down for drawing, single action [mm/s]: 53, 61, 46, 17 and 9 m/min (die design handbooks, from memory)."""
PRACTICE = "common practice"


@dataclass(frozen=True)
class Demand:
    """What the operation asks of a press.

    ``height`` above bottom and ``draw`` force ``(n,)`` [mm, N], heights falling from first touch to 0; ``holder`` force [N] (0: none needed);
    ``depth`` of the deepest operation [mm]; ``bed`` box of the blank [mm]; ``family`` of the metal; ``cutting``: no draw, only a cut.
    """

    height: Floats
    draw: Floats
    holder: float
    depth: float
    bed: tuple[float, float]
    family: str
    cutting: bool = False

    def slide_force(self, press: Press) -> Floats:
        """Force on the slide at each height [N]: the draw, and the cushion where the slide pushes it."""
        return self.draw + (self.holder if press.slide_pushes_cushion else 0.0)

    def slide_work(self, press: Press) -> float:
        """Work the slide does a stroke [J]: the larger of ``x F h`` and the area under the curve, and the cushion's share."""
        area = curve_work(-self.height, self.draw)
        rule = 0.0
        if not self.cutting:
            share = DRAW_WORK_SHARE["single" if press.slide_pushes_cushion else "double"]
            rule = draw_work(float(self.draw.max()), float(self.height.max()), share)
        return max(area, rule) + (self.holder * float(self.height.max()) / 1000.0 if press.slide_pushes_cushion else 0.0)


@dataclass(frozen=True)
class Check:
    """One question put to a press, with its answer."""

    key: str
    level: Level
    sentence: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    source: str = PRACTICE
    help: str = ""


def rate_of(press: Press, stated: float) -> float:
    """Strokes a minute: the stated one, or the press's slowest if none is stated."""
    return stated if stated > 0 else press.strokes_per_minute[0]


def checks(press: Press, demand: Demand, stated_rate: float = 0.0) -> list[Check]:
    """All checks of a press against a demand, in the order people ask."""
    found = [_force(press, demand), _energy(press, demand), _bed(press, demand), *_stroke(press, demand), *_cushion(press, demand)]
    return found + _speed(press, demand, stated_rate)


def utilisation(press: Press, demand: Demand) -> tuple[float, int]:
    """Largest share of the available slide force that is used, and at which point of the curve; infinite where the press gives none."""
    capacity = press.capacity(demand.height)
    share = np.divide(demand.slide_force(press), capacity, out=np.full_like(capacity, np.inf), where=capacity > 0.0)
    worst = int(np.argmax(share))
    return float(share[worst]), worst


def _force(press: Press, demand: Demand) -> Check:
    share, i = utilisation(press, demand)
    height = float(demand.height[i])
    need = float(demand.slide_force(press)[i]) / 1000.0
    have = float(press.capacity(demand.height)[i]) / 1000.0
    source = "force diagram of the press (crank kinematics, constant torque)" if press.crank is not None else "nominal force of the press"
    if share > 1.0:
        text = f"{press.name} gives {have:.0f} kN at {height:.1f} mm above bottom, {need:.0f} kN are needed there."
        return Check("force", "stop", text, need, have, "kN", source, "Take a larger press, a longer stroke, or a hydraulic press.")
    if share > RESERVE:
        text = f"{press.name} would be used to {100 * share:.0f} % at {height:.1f} mm above bottom; a first estimate should leave a fifth."
        return Check(
            "force", "attend", text, 100 * share, 100 * RESERVE, "%", PRACTICE, "Take the next size, or confirm the force at tryout."
        )
    text = f"{press.name} is used to {100 * share:.0f} % at most, at {height:.1f} mm above bottom."
    return Check("force", "ok", text, 100 * share, 100 * RESERVE, "%")


def _energy(press: Press, demand: Demand) -> Check:
    need = demand.slide_work(press) / 1000.0
    if press.crank is None:
        return Check("energy", "ok", f"A hydraulic press follows with its pump; a stroke takes {need:.2f} kJ.", need, None, "kJ")
    if need > press.energy_kj:
        text = f"A stroke takes {need:.2f} kJ, the flywheel of {press.name} gives {press.energy_kj:g} kJ: it would stall."
        return Check("energy", "stop", text, need, press.energy_kj, "kJ", press.source, "Take a larger or a hydraulic press.")
    if need > press.energy_continuous_kj:
        text = f"A stroke takes {need:.2f} kJ, {press.name} gives {press.energy_continuous_kj:g} kJ when it strokes without pause."
        return Check(
            "energy",
            "attend",
            text,
            need,
            press.energy_continuous_kj,
            "kJ",
            press.source,
            "Run it in single strokes, or take the next size.",
        )
    text = f"A stroke takes {need:.2f} of {press.energy_continuous_kj:g} kJ."
    return Check("energy", "ok", text, need, press.energy_continuous_kj, "kJ", press.source)


def _bed(press: Press, demand: Demand) -> Check:
    need = sorted(side + 2.0 * BED_MARGIN for side in demand.bed)
    bed = sorted(press.bed_mm)
    worst = max(range(2), key=lambda i: need[i] / bed[i])
    text = f"Blank and die ask for {need[1]:.0f} x {need[0]:.0f} mm, the bed of {press.name} is {bed[1]:.0f} x {bed[0]:.0f} mm."
    level: Level = "ok" if need[0] <= bed[0] and need[1] <= bed[1] else "stop"
    return Check(
        "bed",
        level,
        text,
        need[worst],
        bed[worst],
        "mm",
        f"blank + {BED_MARGIN:g} mm a side, {PRACTICE}",
        "Take a press with a larger bed.",
    )


def _stroke(press: Press, demand: Demand) -> list[Check]:
    wanted = STROKE_DEPTHS * demand.depth
    if demand.cutting:
        return [_shut(press, demand)]
    level: Level = "ok" if press.stroke_mm >= wanted else ("attend" if press.stroke_mm >= 2.0 * demand.depth else "stop")
    text = f"A draw of {demand.depth:.1f} mm asks for a stroke of {wanted:.0f} mm so that the part can be lifted out; {press.name} has {press.stroke_mm:g} mm."
    source = f"{STROKE_DEPTHS:g} times the depth, {PRACTICE}; below twice the depth the part stays in the tool"
    return [Check("stroke", level, text, press.stroke_mm, wanted, "mm", source, "Take a press with a longer stroke."), _shut(press, demand)]


def _shut(press: Press, demand: Demand) -> Check:
    low = press.shut_height_mm - press.shut_height_adjust_mm
    text = f"The closed tool has to be between {low:g} and {press.shut_height_mm:g} mm high for {press.name} (without packing plates)."
    if press.crank is None:
        high = press.shut_height_mm + max(0.0, press.stroke_mm - STROKE_DEPTHS * demand.depth)
        text = (
            f"The closed tool has to be between {press.shut_height_mm:g} and {high:.0f} mm high for {press.name} (without packing plates)."
        )
    return Check("shut_height", "note", text, press.shut_height_mm, None, "mm", press.source, "Design the tool to it.")


def _cushion(press: Press, demand: Demand) -> list[Check]:
    if demand.holder <= 0.0:
        return []
    need = demand.holder / 1000.0
    what = "outer slide" if press.kind == "crank double" else "cushion"
    help_ = "Put gas springs in the tool, or take a press with a stronger cushion."
    if press.cushion_kn < need:
        text = f"The holder needs {need:.1f} kN, the {what} of {press.name} gives {press.cushion_kn:g} kN."
        return [Check("cushion", "attend", text, need, press.cushion_kn, "kN", press.source, help_)]
    found = [Check("cushion", "ok", f"The holder needs {need:.1f} of {press.cushion_kn:g} kN.", need, press.cushion_kn, "kN", press.source)]
    if press.cushion_stroke_mm < demand.depth:
        text = f"The draw is {demand.depth:.1f} mm deep, the {what} of {press.name} travels {press.cushion_stroke_mm:g} mm."
        found.append(Check("cushion_stroke", "attend", text, demand.depth, press.cushion_stroke_mm, "mm", press.source, help_))
    return found


def _speed(press: Press, demand: Demand, stated_rate: float) -> list[Check]:
    found: list[Check] = []
    low, high = press.strokes_per_minute
    if stated_rate > 0 and not low <= stated_rate <= high:
        text = f"{press.name} makes {low:g} to {high:g} strokes a minute, {stated_rate:g} are stated."
        found.append(
            Check(
                "rate",
                "attend",
                text,
                stated_rate,
                high if stated_rate > high else low,
                "1/min",
                press.source,
                "State a rate that the press has.",
            )
        )
    limit = DRAW_SPEED.get(demand.family)
    speed = press.speed(float(demand.height.max()), rate_of(press, stated_rate))
    if limit is not None and not demand.cutting and speed > limit:
        text = f"{press.name} touches down at {speed:.0f} mm/s; {demand.family} is drawn at {limit:.0f} mm/s at most."
        found.append(
            Check(
                "speed",
                "attend",
                text,
                speed,
                limit,
                "mm/s",
                "die design handbooks, from memory",
                "Stroke slower, or take a press with a shorter stroke.",
            )
        )
    return found


_ORDER = {"crank single": 0, "crank double": 1, "hydraulic": 2}


def choose(presses: tuple[Press, ...], demand: Demand, stated_rate: float = 0.0) -> tuple[Press, list[dict[str, object]]]:
    """The smallest press that serves with reserve, and the list of candidates with the reason why not.

    If none serves with reserve: the smallest without a ``stop``; if there is none either: the one with the fewest stops, the strongest of those.
    """
    ranked = sorted(presses, key=lambda p: (p.force_kn, _ORDER[p.kind], p.name))
    answers = [(p, checks(p, demand, stated_rate)) for p in ranked]

    def bad(found: list[Check], *levels: str) -> list[Check]:
        return [c for c in found if c.level in levels]

    rows: list[dict[str, object]] = []
    for press, found in answers:
        why = bad(found, "stop", "attend")
        text = " ".join(c.sentence for c in why) if why else f"serves; {found[0].sentence}"
        rows.append({"name": press.name, "kind": press.kind, "force_kn": press.force_kn, "fits": not why, "why": text})
    for levels in (("stop", "attend"), ("stop",)):
        for press, found in answers:
            if not bad(found, *levels):
                return press, rows
    press, _ = min(answers, key=lambda pair: (len(bad(pair[1], "stop")), -pair[0].force_kn))
    return press, rows

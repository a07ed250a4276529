"""Our values for ``reference/plan.csv``."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from diewright.press.table import generic_presses
from diewright.trim.plan.cycle import cycle
from diewright.trim.plan.ops import Piece
from diewright.trim.plan.safety import HAND, INCH, curtain_distance, trip_distance, us_distance
from diewright.trim.plan.stagger import best_steps

STOPS = (0.055, 0.079, 0.095, 0.126, 0.158, 0.19, 0.238, 0.317, 0.396, 0.476, 0.571, 0.5)


def us_safety_distance() -> dict[str, float]:
    """The chart of stopping times."""
    return {f"stop {t:g} s": us_distance(t) / INCH for t in STOPS}


def light_curtain() -> dict[str, float]:
    """Two worked examples."""
    return {f"T {t:g} s d 14 mm": curtain_distance(t, 14.0) for t in (0.32, 0.165)}


def two_hand_trip() -> dict[str, float]:
    """One engaging point."""
    return {"revolutions with one engaging point": trip_distance(1, 60.0) / HAND}


def feeding_time() -> dict[str, float]:
    """Time that the press stands open, of a generic crank press whose rod is taken as endless."""
    press = next(p for p in generic_presses() if p.crank is not None and p.rod_mm == 0.0)
    turn = cycle(press, 30.0, 0.0, 0.0)
    return {"open above half the stroke": turn.open(press.stroke_mm / 2.0)[1], "open above a quarter": turn.open(press.stroke_mm / 4.0)[1]}


def stepped_punches() -> dict[str, float]:
    """Equal punches with full force up to half of a sheet of 1 mm."""
    s = np.linspace(0.0, 1.0, 101)
    one = Piece("", s, np.where(s <= 0.5, 1.0, 0.0), 0.0, True)
    at = np.linspace(0.0, 4.0, 1601)

    def peak(count: int) -> float:
        steps = best_steps([one] * count, 2, 1.0)
        return float(np.sum([one.at(at - k) for k in steps], axis=0).max())

    return {"peak of two equal punches over one": peak(2), "peak of six equal punches over one": peak(6)}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "us-safety-distance": us_safety_distance,
    "light-curtain": light_curtain,
    "two-hand-trip": two_hand_trip,
    "feeding-time": feeding_time,
    "stepped-punches": stepped_punches,
}

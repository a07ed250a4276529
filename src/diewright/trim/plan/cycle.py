"""The cycle of a press: where the slide is, what happens when, and how long the tool stands open.

Angles are degrees of the crank from the top, 180 at the bottom. A hydraulic press has no crank; its angle is the share of the cycle. It presses at its pressing speed from first touch down, dwells, and
shares what is left of the cycle between approach and return at one speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.need import not_negative, positive
from diewright.press.table import Press

Floats = NDArray[np.float64]
DEGREES = 361


@dataclass(frozen=True)
class Event:
    """Something that happens: ``down`` tells the downward stroke from the upward one; ``height`` of the slide above bottom [mm]."""

    name: str
    height: float
    down: bool


@dataclass(frozen=True, eq=False)
class Cycle:
    """The slide over one cycle: ``time`` (n,) [s], ``height`` (n,) [mm] above bottom, ``speed`` (n,) [mm/s], positive downwards, over ``angle`` (n,) [deg]; ``period`` [s], ``stroke`` [mm]."""

    angle: Floats
    time: Floats
    height: Floats
    speed: Floats
    period: float
    stroke: float
    press: Press
    work: float
    dwell: float

    def angle_at(self, height: float, *, down: bool) -> float:
        """Angle [deg] at which the slide passes the height [mm] on its way down or up; nan above the stroke."""
        if not 0.0 <= height <= self.stroke * (1.0 + 1e-12):
            return math.nan
        crank = self.press.crank
        if crank is not None:
            before = math.degrees(float(crank.angle(min(height, self.stroke))))
            return 180.0 - before if down else 180.0 + before
        t, h = _hydraulic(self.press, self.period, self.work, self.dwell)
        when = np.interp(-height, -h[:3], t[:3]) if down else np.interp(height, h[3:], t[3:])
        return float(360.0 * when / self.period)

    def open(self, height: float) -> tuple[float, float]:
        """Angle [deg] and time [s] within which the slide stands at or above the height; 0 where it never does."""
        begin, end = self.angle_at(height, down=False), self.angle_at(height, down=True)
        if math.isnan(begin):
            return 0.0, 0.0
        angle = 360.0 - begin + end
        return angle, angle / 360.0 * self.period

    def place(self, event: Event) -> tuple[float, float]:
        """Angle [deg] and time [s] of an event."""
        angle = self.angle_at(event.height, down=event.down)
        return angle, angle / 360.0 * self.period


def _hydraulic(press: Press, period: float, work: float, dwell: float) -> tuple[Floats, Floats]:
    """Corners of the way of a hydraulic slide: top, touch, bottom, end of dwell, top again."""
    pressing = work / press.speed_mm_s
    fast = (2.0 * press.stroke_mm - work) / max(period - pressing - dwell, 1e-9)
    t = np.cumsum([0.0, (press.stroke_mm - work) / fast, pressing, dwell, press.stroke_mm / fast])
    return t, np.array([press.stroke_mm, work, 0.0, 0.0, press.stroke_mm])


def least_period(press: Press, work: float, dwell: float) -> float:
    """Shortest cycle of a hydraulic press [s]: pressing, dwell, and the rest at twice the pressing speed (ours; a press that approaches faster does better); 0 for a crank press."""
    return 0.0 if press.crank is not None else work / press.speed_mm_s + dwell + (2.0 * press.stroke_mm - work) / (2.0 * press.speed_mm_s)


def cycle(press: Press, rate: float, work: float, dwell: float) -> Cycle:
    """The cycle at ``rate`` strokes a minute; ``work`` [mm] is the height at which the tool touches, ``dwell`` [s] that of a hydraulic press."""
    period = max(60.0 / positive(rate, "the stroking rate", "1/min"), least_period(press, work, dwell))
    way = min(not_negative(work, "the working stroke", "mm"), press.stroke_mm)
    angle = np.linspace(0.0, 360.0, DEGREES)
    time = angle / 360.0 * period
    crank = press.crank
    if crank is not None:
        a = np.radians(180.0 - angle)
        height = np.asarray(crank.height(a))
        speed = np.asarray(crank.lever(a)) * 2.0 * math.pi / period
    else:
        t, h = _hydraulic(press, period, way, dwell)
        height = np.interp(time, t, h)
        speed = -(np.diff(h) / np.maximum(np.diff(t), 1e-12))[np.clip(np.searchsorted(t, time, side="right") - 1, 0, 3)]
    return Cycle(angle, time, height, speed, period, press.stroke_mm, press, way, dwell)

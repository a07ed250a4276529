"""What the press does, as a list of operations; and the speeds and forces over time that make them smooth."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.mechanics.forming.pins import Pin

Floats = NDArray[np.float64]
RAMP = 0.15  # share of an operation's time in which a stroke gets going, and again stops
POINTS = 24


@dataclass(frozen=True)
class Move:
    """What one tool does in an operation.

    Attributes
    ----------
    kind: ``stroke`` to the travel ``to`` [mm]; ``force`` up to ``to`` [N]; ``pins``, each with its own; ``rest`` where it is; ``away``: touches nothing.
    curve: ``(share of the operation, value)`` pairs: travel for a stroke, force for a force; replaces the smooth ramp to ``to``.
    profile: for a stroke, ``(share of the stroke, speed [mm/s])`` pairs instead of the smooth ramp; the operation's time is then :func:`profile_time`.
    pins: of a tool that may tilt. stop: for a force or pins, farthest travel [mm] (a distance block, or the closed gap).
    """

    tool: str
    kind: Literal["stroke", "force", "pins", "rest", "away"] = "rest"
    to: float = 0.0
    curve: tuple[tuple[float, float], ...] = ()
    profile: tuple[tuple[float, float], ...] = ()
    stop: float = math.inf
    pins: tuple[Pin, ...] = ()


@dataclass(frozen=True)
class Operation:
    """One operation: what each tool does during ``time`` [s] of computing time.

    Attributes
    ----------
    damping: rate on the sheet [1/s], for dwelling. frames: how many pictures are kept. smooth: a stroke starts and ends at rest.
    """

    name: str
    moves: tuple[Move, ...]
    time: float
    damping: float = 0.0
    frames: int = 10
    smooth: bool = field(default=True)

    def __post_init__(self) -> None:
        if not (math.isfinite(self.time) and self.time > 0):
            raise InputError(f"{self.time!r} s cannot be used: expected more than 0.", where=f"operation {self.name}")
        if self.frames < 1:
            raise InputError(f"{self.frames!r} frames cannot be used: expected at least 1.", where=f"operation {self.name}")


def stroke_speed(start: float, move: Move, time: float, *, smooth: bool = True) -> tuple[Floats, Floats]:
    """Times from 0 [s] and speeds [mm/s] that take a tool from travel ``start`` to ``move.to`` in ``time``.

    Smooth: ``v = v0 sin^2(pi t/(2 ramp))`` up, level, and the same down; the distance is exact for the piecewise linear history.
    """
    if move.profile:
        t, v = _by_profile(move.to - start, move.profile)
        return t * (time / t[-1]), v * (t[-1] / time)
    if move.curve:
        share, value = _curve(move)
        if abs(value[0] - start) > 1e-6 * (1.0 + abs(start)):
            raise InputError(f"the travel starts at {value[0]:g} mm but the tool stands at {start:g} mm.", where=f"move of {move.tool}")
        # a history of speeds that is piecewise linear: steps of travel become steps of speed, blunted over 2 % of the time
        t = np.repeat(share * time, 2)
        blunt = 0.01 * time
        t[0::2] -= blunt
        t[1::2] += blunt
        v = np.diff(value) / np.diff(share * time)
        speeds = np.repeat(np.concatenate([[0.0], v, [0.0]]), 2)[1:-1]
        t[0], t[1] = 0.0, 2 * blunt
        t[-2], t[-1] = time - 2 * blunt, time
        if (np.diff(t) <= 0).any():
            raise InputError("the points of the curve are too close together (2 % of the time at least).", where=f"move of {move.tool}")
        area = float(((speeds[1:] + speeds[:-1]) * np.diff(t)).sum() / 2)
        wanted = value[-1] - value[0]
        return t, speeds * (wanted / area if abs(area) > 1e-12 else 1.0)
    ramp = RAMP if smooth else 0.02
    s = np.linspace(0.0, 1.0, POINTS)
    up = np.sin(0.5 * np.pi * s) ** 2
    t = np.concatenate([ramp * s, 1.0 - ramp * s[::-1]]) * time
    v = np.concatenate([up, up[::-1]])
    area = float(((v[1:] + v[:-1]) * np.diff(t)).sum() / 2)
    return t, v * ((move.to - start) / area)


def _by_profile(way: float, profile: tuple[tuple[float, float], ...]) -> tuple[Floats, Floats]:
    """Times and signed speeds along a way [mm] whose speed is piecewise linear over the share of the way."""
    a = np.array(profile, dtype=np.float64)
    if (
        a.ndim != 2
        or a.shape[1] != 2
        or len(a) < 2
        or not np.isfinite(a).all()
        or (np.diff(a[:, 0]) <= 0).any()
        or (a[:, 1] <= 0).any()
        or a[0, 0] != 0
        or a[-1, 0] != 1
    ):
        raise InputError("expected pairs whose shares rise from 0 to 1, with speeds above zero.", where="speed profile")
    s = np.unique(np.concatenate([np.linspace(0.0, 1.0, 4 * POINTS + 1), a[:, 0]]))
    v = np.interp(s, a[:, 0], a[:, 1])
    # trapezoids in time: the mean speed of two neighbours carries the tool over the way between them, exactly for a history that is linear in time
    t = np.concatenate([[0.0], np.cumsum(abs(way) * np.diff(s) / (0.5 * (v[1:] + v[:-1])))])
    return t, math.copysign(1.0, way) * v


def profile_time(way: float, profile: tuple[tuple[float, float], ...]) -> float:
    """Time [s] that a way [mm] takes at a speed profile."""
    return float(_by_profile(way, profile)[0][-1])


def careful_profile(
    mass: float, work: float | tuple[tuple[float, float], ...], speed: float, *, share: float = 0.03
) -> tuple[tuple[float, float], ...]:
    """Speeds that keep the motion's energy below ``share`` of the work ``W(s)`` done so far: ``v = sqrt(2 share W(s)/m)``.

    ``mass`` [t] of the sheet, ``speed`` [mm/s] at most. ``work`` [N mm]: pairs of (share of the stroke, work so far), from an earlier run; or one number expected
    in all, which is taken to grow as the square of the stroke. A seventh of the speed is the least; it comes to rest at the end.
    """
    s = np.linspace(0.0, 1.0, 41)
    if isinstance(work, tuple):
        known = np.array(work, dtype=np.float64)
        done = np.interp(s, known[:, 0], known[:, 1])
    else:
        done = work * s * s
    v = np.clip(np.sqrt(2.0 * share * np.maximum(done, 0.0) / mass), speed / 8.0, speed)
    v *= np.clip(s / 0.02, 0.1, 1.0) * np.sqrt(np.clip((1.0 - s) / 0.06, 0.02, 1.0))
    return tuple((float(a), float(b)) for a, b in zip(s, v, strict=True))


def force_ramp(start: float, move: Move, time: float) -> tuple[Floats, Floats]:
    """Times from 0 [s] and forces [N]: from ``start`` smoothly to ``move.to`` within the ramp, or the move's curve."""
    if move.curve:
        share, value = _curve(move)
        return share * time, value
    s = np.linspace(0.0, 1.0, POINTS)
    return np.append(RAMP * s, 1.0) * time, np.append(start + (move.to - start) * np.sin(0.5 * np.pi * s) ** 2, move.to)


def _curve(move: Move) -> tuple[Floats, Floats]:
    a = np.array(move.curve, dtype=np.float64)
    if (
        a.ndim != 2
        or a.shape[1] != 2
        or len(a) < 2
        or not np.isfinite(a).all()
        or a[0, 0] != 0.0
        or a[-1, 0] != 1.0
        or (np.diff(a[:, 0]) <= 0).any()
    ):
        raise InputError("expected at least two pairs whose shares rise from 0 to 1, with finite values.", where=f"curve of {move.tool}")
    return a[:, 0], a[:, 1]


def crank_travel(stroke: float, rod: float, height: float, points: int = 25) -> tuple[tuple[float, float], ...]:
    """``(share of time, travel [mm])`` of a crank press over its last ``height`` [mm] before bottom.

    ``s(a) = r (1 - cos a) + l - sqrt(l^2 - r^2 sin^2 a)`` above bottom, crank radius ``r = stroke/2``, rod ``l`` [mm]. Raises :class:`InputError` for a rod
    that is too short or a height above the stroke.
    """
    r = 0.5 * stroke
    if not (0 < height <= stroke) or not rod > r:
        raise InputError(f"stroke {stroke:g}, rod {rod:g}, height {height:g} mm do not make a crank press.", where="crank")

    def above(a: Floats) -> Floats:
        return r * (1.0 - np.cos(a)) + rod - np.sqrt(rod**2 - (r * np.sin(a)) ** 2)

    dense = np.linspace(0.0, np.pi, 20001)
    begin = float(np.interp(height, above(dense), dense))
    angles = np.linspace(begin, 0.0, points)
    travel = height - above(angles)
    return tuple((float(s), float(z)) for s, z in zip(np.linspace(0.0, 1.0, points), travel, strict=True))

"""The slide of a crank press: where it is, how fast, and what force the crank's torque leaves it at each height.

Angles are measured before bottom dead centre; ``h`` is the height of the slide above it.

    h(a)     = r (1 - cos a) + l - sqrt(l^2 - r^2 sin^2 a)          r = S/2, l rod length (infinite: h = S/2 (1 - cos a))
    dh/da    = r sin a + r^2 sin a cos a / sqrt(l^2 - r^2 sin^2 a)
    M        = F dh/da                                             constant torque M
    F(h)     = F_N min(1, (dh/da)_N / (dh/da))                     = F_N min(1, sin a_N / sin a) for an infinite rod

The frame carries F_N at most; from the rated position down to the bottom the whole of it is there. European practice rates at
30 degrees before bottom (h = 0.067 S), US and UK practice at a distance above it (12.7 mm is common). Source: exact kinematics; rating positions common
practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.need import between, positive

Floats = NDArray[np.float64]
EUROPEAN_ANGLE = 30.0
US_DISTANCE = 12.7


@dataclass(frozen=True)
class Crank:
    """A crank drive: ``stroke`` S [mm], ``rod`` length l [mm] (infinite by default). Raises :class:`InputError` if the rod is no longer than the crank."""

    stroke: float
    rod: float = math.inf

    def __post_init__(self) -> None:
        positive(self.stroke, "the stroke of the press", "mm")
        if math.isnan(self.rod) or self.rod <= self.stroke / 2.0:
            raise InputError(
                f"the connecting rod is {self.rod:g} mm: expected more than half the stroke, {self.stroke / 2:g} mm.",
                help="Correct the press's data.",
            )

    @property
    def radius(self) -> float:
        """Crank radius [mm]."""
        return self.stroke / 2.0

    def height(self, angle: float | Floats) -> Floats:
        """Height of the slide above bottom [mm] at the angle before bottom [rad]."""
        a = np.asarray(angle, dtype=float)
        r = self.radius
        rise = r * (1.0 - np.cos(a))
        if math.isfinite(self.rod):
            # l - sqrt(l^2 - q^2) written without the loss of digits near the bottom
            q2 = (r * np.sin(a)) ** 2
            rise = rise + q2 / (self.rod + np.sqrt(self.rod**2 - q2))
        return rise

    def angle(self, height: float | Floats) -> Floats:
        """Angle before bottom [rad], 0 to pi, at the height [mm]; raises :class:`InputError` outside 0 to S."""
        h = np.asarray(height, dtype=float)
        if not np.isfinite(h).all() or (h < -1e-9 * self.stroke).any() or (h > self.stroke * (1.0 + 1e-9)).any():
            raise InputError(
                f"a height of {float(np.max(np.abs(h))):g} mm above bottom is outside the stroke of {self.stroke:g} mm.",
                help="Choose a press with a longer stroke.",
            )
        h = np.clip(h, 0.0, self.stroke)
        r = self.radius
        if math.isinf(self.rod):
            versine = h / r
        else:
            # law of cosines in the triangle crank, rod, slide: 1 - cos a = h (2 l - h) / (2 r (r + l - h))
            versine = h * (2.0 * self.rod - h) / (2.0 * r * (r + self.rod - h))
        return 2.0 * np.arcsin(np.sqrt(np.clip(versine / 2.0, 0.0, 1.0)))

    def lever(self, angle: float | Floats) -> Floats:
        """``dh/da`` [mm/rad]: the slide's way a radian, and the lever arm of the torque."""
        a = np.asarray(angle, dtype=float)
        r = self.radius
        arm = r * np.sin(a)
        if math.isfinite(self.rod):
            arm = arm + r**2 * np.sin(a) * np.cos(a) / np.sqrt(self.rod**2 - (r * np.sin(a)) ** 2)
        return arm

    def speed(self, height: float | Floats, strokes_per_minute: float) -> Floats:
        """Slide speed [mm/s] at the height [mm] (``omega sqrt(h (S - h))`` for an infinite rod), flywheel speed constant."""
        rate = positive(strokes_per_minute, "the stroking rate", "1/min")
        return self.lever(self.angle(height)) * (2.0 * math.pi * rate / 60.0)

    def rated_angle(self, *, angle_deg: float = 0.0, distance: float = 0.0) -> float:
        """Rated position as an angle before bottom [rad], from the angle [deg] or the distance above bottom [mm]; one of them must be given."""
        if (angle_deg > 0.0) == (distance > 0.0):
            raise InputError(
                "the rating of a crank press needs either an angle or a distance above bottom.",
                help="European presses are usually rated at 30 degrees, others at 12.7 mm or so.",
            )
        if angle_deg > 0.0:
            return math.radians(between(angle_deg, 1.0, 90.0, "the rated angle", "deg"))
        return float(self.angle(between(distance, 0.0, self.stroke / 2.0, "the rated distance", "mm")))

    def torque_ratio(self, height: float | Floats, rated: float) -> Floats:
        """``F/F_N`` that the torque alone would give at the height [mm], before the frame limits it to 1 (infinite at bottom)."""
        arm = self.lever(self.angle(height))
        top = float(self.lever(rated))
        return np.divide(top, arm, out=np.full_like(arm, np.inf), where=arm > 1e-12 * self.stroke)

    def force(self, height: float | Floats, nominal: float, rated: float) -> Floats:
        """Available slide force [N] at the height [mm]: nominal force [N] down from the rated angle [rad], constant torque above it."""
        return positive(nominal, "the nominal force", "N") * np.minimum(1.0, self.torque_ratio(height, rated))


def flywheel_energy(inertia: float, speed: float, slow_down: float) -> float:
    """Energy [J] a flywheel gives in one stroke, ``E = I/2 (w0^2 - w1^2)``, from ``I`` [kg m2], ``w0`` [rad/s] and the slow-down ``1 - w1/w0`` [-].

    10 to 15 % for continuous, 20 to 25 % for single strokes (common practice).
    """
    share = between(slow_down, 0.0, 0.9, "the slow-down of the flywheel")
    w0 = positive(speed, "the flywheel speed", "rad/s")
    return 0.5 * positive(inertia, "the inertia of the flywheel", "kg m2") * w0**2 * (1.0 - (1.0 - share) ** 2)

"""How the draw force of a round cup develops over the stroke: exact bookkeeping of the area, slab method for the flange.

The flat flange keeps its thickness, so what lies at radius ``r`` now lay at ``R``, ``R^2 = r^2 + (D0^2 - D^2)/4``, and is strained by ``ln(R/r)``.
At stroke ``h`` the wall makes the angle ``theta`` with the flange (90 degrees once both radii are wrapped) and (Siebel & Beisswaenger 1955, from memory)

    sigma_flange = 1.1 int_{dm/2}^{D/2} kf(ln R/r) dr/r
    sigma        = e^(mu theta) [sigma_flange + 2 mu F_BH / (pi D s)] + kf s / (2 r_M)
    F            = pi dm s sigma sin(theta)

1.1 stands for the change from the Tresca to the Mises condition at mean r = 1. Not in it: thickening of the rim, anisotropy, thinning at the
punch radius, ironing, and the rim's ride over the die radius, where the terms fade with the flange that is left. Against measured cups such slab
forms lie within about 20 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.need import between, not_negative, positive

Floats = NDArray[np.float64]
FlowCurve = Callable[[Floats], Floats]
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)


@dataclass(frozen=True)
class Cup:
    """A round cup in its tool; lengths mm.

    ``blank`` diameter, ``diameter`` of the wall's middle, ``thickness``, ``punch_radius`` and ``die_radius`` on the tools.
    """

    blank: float
    diameter: float
    thickness: float
    punch_radius: float
    die_radius: float

    def __post_init__(self) -> None:
        positive(self.thickness, "the thickness", "mm")
        positive(self.diameter, "the cup diameter", "mm")
        not_negative(self.punch_radius, "the punch radius", "mm")
        not_negative(self.die_radius, "the die radius", "mm")
        if positive(self.blank, "the blank diameter", "mm") <= self.diameter:
            raise InputError(
                f"the blank diameter {self.blank:g} mm is not above the cup diameter {self.diameter:g} mm.",
                help="A cup needs a larger blank.",
            )

    @property
    def arcs(self) -> tuple[float, float]:
        """Radii of the middle surface at punch and die [mm]; the punch arc fits into the cup's bottom."""
        return min(self.punch_radius + self.thickness / 2.0, self.diameter / 2.0), self.die_radius + self.thickness / 2.0

    def wall_angle(self, stroke: float | Floats) -> Floats:
        """Angle between wall and flange [rad] at the stroke [mm]: ``sec - tan = 1 - h/(r_p + r_d)`` until both radii are wrapped."""
        h = np.asarray(stroke, dtype=float)
        left = np.clip(1.0 - h / sum(self.arcs), 0.0, 1.0)
        return math.pi / 2.0 - 2.0 * np.arctan(left)

    def rim(self, stroke: float | Floats) -> Floats:
        """Diameter of the flange's rim [mm] from constant area; below ``d + 2 r_d`` the rim rides over the die radius and the value has no meaning
        but to say so (0 once all area is used up)."""
        h = np.asarray(stroke, dtype=float)
        punch, die = self.arcs
        theta = self.wall_angle(h)
        inner, outer = self.diameter / 2.0 - punch, self.diameter / 2.0 + die
        straight = np.abs(h - punch - die)
        used = inner**2 + 2.0 * punch * (inner * theta + punch * (1.0 - np.cos(theta)))
        used = used + (inner + punch * np.sin(theta) + outer - die * np.sin(theta)) * straight
        used = used + 2.0 * die * (outer * theta - die * (1.0 - np.cos(theta)))
        return 2.0 * np.sqrt(np.maximum(outer**2 + (self.blank / 2.0) ** 2 - used, 0.0))

    @property
    def flange_end(self) -> float:
        """Stroke at which the rim reaches the die radius [mm], by bisection; zero if the blank does not reach past the radius."""
        edge = self.diameter + 2.0 * self.arcs[1]
        if self.blank <= edge:
            return 0.0
        low, high = 0.0, sum(self.arcs) + self.blank**2 / (4.0 * self.diameter)
        for _ in range(80):
            mid = (low + high) / 2.0
            low, high = (mid, high) if float(self.rim(mid)) > edge else (low, mid)
        return low

    def stroke_at_rim(self, rim: float) -> float:
        """Stroke at which the rim has come in to the diameter ``rim`` [mm], by bisection; zero if the blank is no larger, the full draw if the rim
        would lie on the die radius or inside it."""
        if rim <= self.diameter + 2.0 * self.arcs[1]:
            return self.full_draw
        low, high = 0.0, max(self.flange_end, 0.0)
        for _ in range(80):
            mid = (low + high) / 2.0
            low, high = (mid, high) if float(self.rim(mid)) > rim else (low, mid)
        return low

    @property
    def full_draw(self) -> float:
        """Stroke at which the rim leaves the die radius and the whole blank is cup [mm]."""
        punch, _ = self.arcs
        d = self.diameter
        height = (self.blank**2 - d**2 + (8.0 - 2.0 * math.pi) * d * punch + (4.0 * math.pi - 12.0) * punch**2) / (4.0 * d)
        return height + self.arcs[1]


def flange_stress(cup: Cup, rim: float, flow: FlowCurve) -> float:
    """Radial stress ``1.1 int kf dr/r`` [MPa] that draws the flange in, from the rim's diameter to the wall [mm]; zero if nothing is left."""
    if rim <= cup.diameter:
        return 0.0
    shift = (cup.blank**2 - rim**2) / 4.0
    low, high = math.log(cup.diameter / 2.0), math.log(rim / 2.0)
    x = low + (high - low) * (_NODES + 1.0) / 2.0
    strain = 0.5 * np.log1p(shift / np.exp(2.0 * x))
    return 1.1 * float(np.sum(_WEIGHTS * flow(strain))) * (high - low) / 2.0


def mean_flow_stress(cup: Cup, rim: float, flow: FlowCurve) -> float:
    """Mean flow stress of the flange ``kfm`` [MPa] when its rim stands at the diameter [mm] (mean over ln r)."""
    if rim <= cup.diameter:
        raise InputError(
            "the rim is at the wall: no flange is left to take a mean flow stress of.", help="Use a rim diameter above the cup's."
        )
    return flange_stress(cup, rim, flow) / 1.1 / math.log(rim / cup.diameter)


def draw_curve(cup: Cup, flow: FlowCurve, strokes: Floats, holder: float, friction: float) -> Floats:
    """Punch force [N] at each of the ``strokes`` ``(n,) [mm]``, blankholder force ``holder`` [N], coefficient of friction ``friction`` [-].

    ``flow`` gives the flow stress [MPa] of plastic strains. After the rim has reached the die radius (:attr:`Cup.flange_end`) the force fades in
    proportion to the way left to :attr:`Cup.full_draw`. Raises :class:`SolveError` if a force is not finite.
    """
    mu = between(friction, 0.0, 1.0, "the coefficient of friction")
    hold = not_negative(holder, "the blankholder force", "N")
    h = np.asarray(strokes, dtype=float)
    end, full = cup.flange_end, cup.full_draw
    at = np.minimum(h, end)
    theta, rim = cup.wall_angle(at), cup.rim(at)
    force = np.zeros_like(h)
    for i in range(len(h)):
        shift = (cup.blank**2 - rim[i] ** 2) / cup.diameter**2
        entry = float(flow(np.array([0.5 * math.log1p(max(shift, 0.0))]))[0])
        flange = flange_stress(cup, float(rim[i]), flow) + 2.0 * mu * hold / (math.pi * rim[i] * cup.thickness)
        bend = entry * cup.thickness / (2.0 * cup.arcs[1])
        stress = math.exp(mu * theta[i]) * flange + bend
        force[i] = math.pi * cup.diameter * cup.thickness * stress * math.sin(theta[i])
    fade = np.clip((full - h) / max(full - end, 1e-9), 0.0, 1.0)
    force = np.where(h > end, force * fade, force)
    if not np.isfinite(force).all():
        raise SolveError("The force over the stroke came out as no number.", help="Check thickness, radii and the hardening of the sheet.")
    return force


def curve_work(strokes: Floats, force: Floats) -> float:
    """Work under a force-stroke curve [J], trapezoids, strokes in mm and forces in N."""
    return float(np.trapezoid(np.asarray(force, dtype=float), np.asarray(strokes, dtype=float))) / 1000.0

"""The conical blankholder: all straight lines run through one apex, which lies outside the sheet in plan.

With ``xi`` the distance in plan from the apex along a fixed axis and ``eta`` across it,

    f(x, y) = xi phi(eta / xi),   f_xx f_yy - f_xy^2 = 0,

which is ``r g(theta)`` with ``g(theta) = cos(theta) phi(tan(theta))``: the general cone over a free profile, the circular and the oblique one among them. ``phi`` is a natural cubic
spline led on straight, and where it is straight the surface is a plane through the apex. With the apex far away it passes into the cylinder.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from diewright.die.holder_shape import Floats, Local, Profile


@dataclass(frozen=True, eq=False)
class Cone:
    """``apex (2,)`` in plan [mm], ``axis (2,)`` unit direction in plan from it towards the sheet, ``knots (m,)`` (tangents of the angle from the axis) and ``rise (m,)`` of the profile."""

    apex: tuple[float, float]
    axis: tuple[float, float]
    knots: tuple[float, ...]
    rise: tuple[float, ...]
    kind: ClassVar[str] = "conical"

    @cached_property
    def _profile(self) -> Profile:
        return Profile(self.knots, self.rise)

    def at(self, xy: Floats) -> Local:
        """The shape at plan points ``(..., 2)`` on the sheet's side of the apex; on its other side the two planes that the profile ends with."""
        axis = np.asarray(self.axis)
        side = np.array([-axis[1], axis[0]])
        away = xy - np.asarray(self.apex)
        along, off = away @ axis, away @ side
        ahead = np.maximum(along, 1e-9)
        w = np.clip(off / ahead, self.knots[0], self.knots[-1])
        p, slope, second = self._profile.at(w)
        # beyond the knots the straight profile, written so that no division is left
        height = along * p + slope * (off - w * along)
        bend = np.where(off / ahead == w, second * (1.0 + w * w) / ahead, 0.0)
        across = (side - w[..., None] * axis) / np.sqrt(1.0 + w * w)[..., None]
        return Local(height, (p - w * slope)[..., None] * axis + slope[..., None] * side, bend, across)

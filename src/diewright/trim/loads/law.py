"""How the force on a piece of cut grows and falls while the steel goes through the sheet.

Over ``u``, penetration over the thickness along the travel, the shear stress on the cut wall is ``tau f(u)``:

    0 <= u < e        f = (1 - cos(pi u/e))/2                                    the steel bites
    e <= u < p        f = 1                                                      the handbook's force
    p <= u < p + b    f = phi + (1 - phi)(1 + cos(pi (u - p)/b))/2               the sheet breaks
    p + b <= u < 1    f = phi                                                    the slug rubs

``p`` is the handbook's penetration at break (material), ``e``, ``b`` and ``phi`` are ours. The largest force is tau times the area of the cut, and the work of a
unit of area is ``tau t Phi(1)``, ``Phi`` the integral of f: the handbook's ``k F p t`` with ``k = Phi(1)/p``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.need import between

Floats = NDArray[np.float64]
RISE = 0.10
"""Share of the thickness over which the force rises (ours; half the penetration at most)."""
FALL = 0.05
"""Share of the thickness within which the crack runs through (ours)."""
FRICTION = 0.05
"""What is left of the force after the break, until the steel is through (ours)."""


@dataclass(frozen=True)
class ShearLaw:
    """Force law over penetration: break at ``penetration`` of the thickness, ``rise``, ``fall`` and ``friction`` as in the module's text; ``rise`` and ``fall`` may be 0."""

    penetration: float
    rise: float = RISE
    fall: float = FALL
    friction: float = FRICTION

    def __post_init__(self) -> None:
        p = between(self.penetration, 0.05, 1.0, "the penetration")
        between(self.rise, 0.0, p, "the rise of the cutting force")
        between(self.fall, 0.0, 1.0, "the fall of the cutting force")
        between(self.friction, 0.0, 1.0, "the friction after the break")

    @classmethod
    def of(cls, penetration: float) -> ShearLaw:
        """The law with our rise and fall, both shortened where the break leaves them no room."""
        p = between(penetration, 0.05, 1.0, "the penetration")
        return cls(p, min(RISE, p / 2.0), min(FALL, 1.0 - p))

    def share(self, u: Floats) -> Floats:
        """``f(u)`` [-], zero outside 0 to 1."""
        p, e, b, phi = self.penetration, self.rise, self.fall, self.friction
        x = np.asarray(u, dtype=np.float64)
        grow = 0.5 * (1.0 - np.cos(np.pi * np.clip(x / e, 0.0, 1.0))) if e > 0 else np.ones_like(x)
        fade = 0.5 * (1.0 + np.cos(np.pi * np.clip((x - p) / b, 0.0, 1.0))) if b > 0 else (x < p).astype(np.float64)
        return np.where((x >= 0.0) & (x < 1.0), grow * (phi + (1.0 - phi) * fade), 0.0)

    def work(self, u: Floats) -> Floats:
        """``Phi(u) = int_0^u f`` [-], constant beyond 1."""
        p, e, b, phi = self.penetration, self.rise, self.fall, self.friction
        x = np.clip(np.asarray(u, dtype=np.float64), 0.0, 1.0)
        out = np.minimum(x, p)
        if e > 0:
            y = np.minimum(x, e)
            out = out - y + 0.5 * (y - e / np.pi * np.sin(np.pi * y / e))
        out = out + phi * np.maximum(x - p, 0.0)
        if b > 0:
            w = np.clip(x - p, 0.0, b)
            out = out + (1.0 - phi) * 0.5 * (w + b / np.pi * np.sin(np.pi * w / b))
        return out

    @property
    def fullness(self) -> float:
        """``k`` of the handbook's energy ``k F p t``."""
        return float(self.work(np.array(1.0))) / self.penetration

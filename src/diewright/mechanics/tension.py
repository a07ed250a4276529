"""Drawing tension of an open rim: what the one-step solution of a cup without flange has to be told.

When the last of the flange has gone over the die radius the wall carries no tension, but each ring of it was drawn in under tension, and thickened less for it.
The one-step solution sees only the end. The history is estimated here for a round cup and given to the solution as a drag along the wall.

Slab method of the flange (E. Siebel and H. Beisswaenger, Tiefziehen, 1955; the 1.1 stands between Tresca's 1 and plane strain's 1.155): while the rim is at
``R`` the ring that passes the die radius ``r`` is pulled by::

    T = 1.1 k_fm ln(R / r) t0 / eta

``eta`` = 0.65 covers the losses over the die radius (friction, bending and unbending; handbook value, from memory). The ring that started at ``rho`` passes
when ``R^2 = R0^2 - rho^2 + r^2`` and then lies ``s = (R0^2 - rho^2) / (2 r)`` below the rim of the finished wall (both by constant area); ``k_fm`` is the mean of the flow
stresses at the die, strain ``ln(rho / r)``, and at the rim, strain ``ln(R0 / R)``. What already is wall carries the pull of what follows, so the tension that counts at ``s`` is the
largest from the rim down to it. It is 0 at the rim, rises to the peak of the draw force and stays there down to the bottom. Not more than 0.9 of the tearing tension ``Rm t0``: a wall that
was drawn has not torn (common practice: a tenth in hand).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]

SLAB = 1.1
"""Factor on the flow stress in the flange."""

EFFICIENCY = 0.65
"""Of the draw force over the die radius (handbook value, from memory)."""

TEARING_SHARE = 0.9
"""Largest share of the tearing tension."""

RINGS = 400


def wall_tension(ratio: float, thickness: float, hardening: tuple[ArrayLike, ArrayLike], tensile_strength: float) -> tuple[Floats, Floats]:
    """Depth below the rim over the wall's radius ``s/r (k,)`` and tension there ``(k,)`` [N/mm], rising, for the draw ratio ``beta = R0/r``.

    ``thickness`` [mm]; ``hardening``: plastic strain and stress [MPa]; ``tensile_strength`` ``Rm`` [MPa]. For other than round parts
    ``beta = sqrt(blank area / punch area)``. Raises :class:`InputError` for a ratio below 1 or numbers that are not above 0.
    """
    for name, value in (("thickness", thickness), ("tensile_strength", tensile_strength)):
        if not np.isfinite(value) or value <= 0:
            raise InputError(f"{name} is {value}; expected a number above 0.", where=name)
    if not np.isfinite(ratio) or ratio < 1.0:
        raise InputError(f"The draw ratio is {ratio}; expected 1 or more.", where="ratio")
    e, s = (np.asarray(v, dtype=float).ravel() for v in hardening)
    rho = np.linspace(ratio, 1.0, RINGS)  # from the rim down, in units of the wall's radius
    rim = np.sqrt(np.maximum(ratio**2 - rho**2 + 1.0, 1.0))
    flow = 0.5 * (np.interp(np.log(rho), e, s) + np.interp(np.log(ratio / rim), e, s))
    tension = np.minimum(SLAB * flow * np.log(rim) / EFFICIENCY, TEARING_SHARE * tensile_strength) * thickness
    return 0.5 * (ratio**2 - rho**2), np.maximum.accumulate(tension)


def wall_drag(below_rim: Floats, areas: Floats, radius: float, depth: Floats, tension: Floats) -> Floats:
    """Drag of wall triangles ``(m,)`` [N] that builds the tension up: ``dT/ds`` at the depth ``below_rim (m,)`` [mm] times the triangle's area [mm2].

    ``depth`` and ``tension`` as :func:`wall_tension` gives them; ``radius`` [mm] of the wall (of equal plan area for other than round parts).
    """
    s = radius * np.asarray(depth)
    if s[-1] <= 0:
        return np.zeros_like(areas)
    slope = np.append(np.diff(tension) / np.diff(s), 0.0)  # below the last ring the tension stays
    return np.asarray(slope[np.clip(np.searchsorted(s, below_rim, side="right") - 1, 0, len(slope) - 1)] * areas)

"""Our values for ``reference/bends.csv``."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from diewright.trim.bends.law import Bending, allowance, bend_force, deduction, gardiner, neutral_k, springback

DIN_SIZES = ((1.0, 1.0), (1.6, 1.0), (2.5, 1.0), (4.0, 1.0), (6.0, 1.0), (10.0, 1.0), (4.0, 2.0), (6.0, 2.0))


def groover_bend() -> dict[str, float]:
    """V-bend by 60 degrees."""
    arc = allowance(60.0, 4.75, 3.2, 0.33)
    return {"force": bend_force("v", 450.0, 44.5, 3.2, 25.0), "allowance": arc, "blank": 38.0 + arc + 25.0}


def din_table() -> dict[str, float]:
    """Right angles by DIN 6935."""
    return {f"r {r:g} s {s:g}": deduction(90.0, r, s) for r, s in DIN_SIZES}


def din_form() -> dict[str, float]:
    """The same to more digits, and the neutral fibre."""
    return din_table() | {"k at r/s 1": neutral_k(1.0, 1.0), "k at r/s 5": neutral_k(5.0, 1.0)}


def springback_ratio() -> dict[str, float]:
    """Gardiner's closed form."""
    return {"ratio": gardiner(10.0, 10.0, 205.0, 190_000.0)}


def springback_moment() -> dict[str, float]:
    """The same ratio by the moment of a strip without hardening."""
    strip = Bending.of(np.array([0.0, 2.0]), np.array([200.0, 200.0]), 200_000.0, 1.0, None)
    return {f"ratio at X {x:g}": strip.released(1.0 / (1000.0 * x)) * 1000.0 * x for x in (0.2, 0.05)}


def ghosh_mallik_bend() -> dict[str, float]:
    """Strip with linear hardening; the outer strain 0.2 is an inner radius of 2 t."""
    strip = Bending.of(np.array([0.0, 1.0]), np.array([345.0, 862.0]), 207_000.0, 5.0, None)
    return {"springback": 90.0 * (1.0 - springback(strip, 90.0, 10.0).left)}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "groover-bend": groover_bend,
    "din-6935-table": din_table,
    "din-6935-form": din_form,
    "springback-ratio": springback_ratio,
    "springback-moment": springback_moment,
    "ghosh-mallik-bend": ghosh_mallik_bend,
}

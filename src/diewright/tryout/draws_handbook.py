"""The handbook's forces of draw and redraw, to lie beside those of the run, and heights at constant volume."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
FIRST_M, FIRST_K = (
    (0.55, 0.57, 0.60, 0.62, 0.65, 0.67, 0.70, 0.72, 0.75, 0.77, 0.80),
    (1.0, 0.93, 0.86, 0.79, 0.72, 0.66, 0.60, 0.55, 0.50, 0.45, 0.40),
)
NEXT_M, NEXT_K = (0.70, 0.72, 0.75, 0.77, 0.80, 0.85, 0.90, 0.95), (1.0, 0.95, 0.90, 0.85, 0.80, 0.70, 0.60, 0.50)
"""Factors of the draw force over ``m = d_n/d_(n-1)``, first draw and redraws (Romanovskii, cold stamping handbook, from memory)."""
SOURCE = "F = pi d s Rm k, k over d_n/d_(n-1) (Romanovskii, from memory)"


def draw_force(number: int, diameter: float, before: float, thickness: float, rm: float) -> float:
    """Largest punch force ``F = pi d s Rm k(m)`` [N] of draw ``number``; lengths mm, ``rm`` MPa. ``k`` is held at the ends of its table."""
    m = diameter / before
    k = np.interp(m, FIRST_M, FIRST_K) if number == 1 else np.interp(m, NEXT_M, NEXT_K)
    return float(math.pi * diameter * thickness * rm * k)


def tear_force(diameter: float, thickness: float, rm: float) -> float:
    """Force that tears the bottom off, ``pi d s Rm`` [N] (Oehler and Kaiser; common practice)."""
    return math.pi * diameter * thickness * rm


def height_at_volume(volume: float, meridian: Floats, thickness: Floats, share: Floats) -> float:
    """Height [mm] of a cup of the ideal ``meridian (k, 2)`` of r, z [mm] that holds ``volume`` [mm3] where the thickness goes as measured.

    ``thickness (j,)`` [mm] over ``share (j,)`` of the volume from the middle outwards: the sheet is laid along the meridian, and its wall led on, until the volume is used up.
    """
    line = np.vstack([meridian[:-1], [[meridian[-1, 0], 1e4]]])
    # finely divided: short steps of the meridian take the thickness of the metal that lies there
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    base = float(s[-2])
    at = np.concatenate([np.linspace(0.0, base, 400)[:-1], np.linspace(base, base + 20.0 * meridian[-1, 0], 8000)])
    r, z = np.interp(at, s, line[:, 0]), np.interp(at, s, line[:, 1])
    area = np.pi * (r[1:] + r[:-1]) * np.diff(at)
    used = 0.0
    for i in range(len(area)):
        t = float(np.interp(used / volume, share, thickness))
        if used + area[i] * t >= volume:
            part = (volume - used) / (area[i] * t)
            return float(z[i] + part * (z[i + 1] - z[i]))
        used += float(area[i]) * t
    return math.nan


def evened(loads: Floats, ratios: Floats) -> Floats:
    """Draw ratios of equal load: with a load that grows as ``u = c ln beta`` in each draw, those whose ``u`` are alike and whose product is that of ``ratios``.

    ``loads (k,)``: largest punch force over the tear-off force; ``ratios (k,)``: with which they were measured, above 1.
    """
    give = np.log(ratios) / np.maximum(loads, 1e-9)
    return np.asarray(np.exp(give / give.sum() * np.log(ratios).sum()))

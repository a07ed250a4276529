"""A quarter of a round blank as rings of points: coarse in the middle, finer where it goes over the radii.

Rings let the sheet be read round the cup (mean, ears, waves) without interpolation. What is pressed together round the cup and drawn out along its wall starts with edges that
are longer round the blank: by ``(r/R)^SHARE`` outside the last cup's radius R, so that triangles of the drawn wall keep some breadth. Two rings are stitched by taking the shorter
diagonal. Points on the planes x = 0 and y = 0 lie on them to the bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
SHARE = 0.6
COARSER = 1.6
"""Edge in the middle of the blank over that of its outer part."""
LIMITS = {"coarse": (4.0, 1.6), "normal": (2.0, 1.0), "fine": (1.5, 0.65)}
"""Finest edge in thicknesses, at least, and factor on the rule by the tightest radius."""
RINGS = {"coarse": 24, "normal": 44, "fine": 72}
"""Most rings."""


@dataclass(frozen=True, eq=False)
class Quarter:
    """``points (n, 3)`` [mm] at z = 0, ``triangles (m, 3)``, ``ring (n,)`` number of each point's ring from the middle, ``radii (rings,)`` [mm], ``edge`` of the outer part [mm]."""

    points: Floats
    triangles: Ints
    ring: Ints
    radii: Floats
    edge: float


def edge_for(blank: float, thickness: float, tightest: float, quality: str) -> float:
    """Edge of the outer part [mm]: a turn of a quarter circle in four edges over the ``tightest`` radius (of the tools), within the quality's limits; ``blank``: diameter [mm]."""
    least, factor = LIMITS[quality]
    wanted = factor * math.pi / 8.0 * (tightest + 0.5 * thickness) * 1.5
    return float(max(wanted, least * thickness, 0.5 * blank / RINGS[quality]))


def quarter(blank: float, cup: float, edge: float) -> Quarter:
    """A quarter of a round blank of diameter ``blank``: ``edge`` long along the radius outside the last cup's diameter ``cup``, ``COARSER`` times it in the middle [mm]."""
    radii = _radii(0.5 * blank, 0.5 * cup, edge)
    points, rows = [np.zeros((1, 2))], [np.array([0])]
    start = 1
    for k in range(1, len(radii)):
        step = radii[k] - radii[k - 1]
        broad = max(1.0, 2.0 * radii[k] / cup) ** SHARE
        n = max(2 if k == 1 else 3, round(0.5 * math.pi * radii[k] / (broad * step * 2.0 / math.sqrt(3.0))))
        at = np.linspace(0.0, 0.5 * math.pi, n + 1)
        xy = radii[k] * np.column_stack([np.cos(at), np.sin(at)])
        xy[0, 1], xy[-1, 0] = 0.0, 0.0
        points.append(xy)
        rows.append(np.arange(start, start + n + 1))
        start += n + 1
    xy = np.concatenate(points)
    triangles = np.concatenate([_stitch(rows[k], rows[k + 1], xy) for k in range(len(rows) - 1)])
    ring = np.concatenate([np.full(len(r), k) for k, r in enumerate(rows)])
    return Quarter(np.column_stack([xy, np.zeros(len(xy))]), triangles, ring, radii, edge)


def _radii(outer: float, flat: float, edge: float) -> Floats:
    """Radii of the rings: steps of ``COARSER`` edges inside, shrinking to one outside ``flat`` (rows of equilateral triangles are 0.87 edges apart)."""
    row = 0.5 * math.sqrt(3.0) * edge
    out, r = [outer], outer
    while r > 0:
        inside = max(0.0, flat - r) / max(flat, 1e-9)
        r -= row * (1.0 + (COARSER - 1.0) * min(1.0, 3.0 * inside))
        out.append(r)
    # the innermost step is left over: spread it
    got = np.array(out[:-1] if out[-1] < -0.5 * row else [*out[:-1], 0.0])
    got = got[::-1]
    if got[0] > 0:
        got = np.concatenate([[0.0], got])
    if len(got) > 2 and got[1] < 0.6 * row:
        got = np.delete(got, 1)
    return np.asarray(got)


def _stitch(inner: Ints, outer: Ints, xy: Floats) -> Ints:
    """Triangles between two rows of points, counter-clockwise."""
    i = j = 0
    out = []
    while i < len(inner) - 1 or j < len(outer) - 1:
        if j == len(outer) - 1:
            go_outer = False
        elif i == len(inner) - 1:
            go_outer = True
        else:
            go_outer = bool(np.hypot(*(xy[outer[j + 1]] - xy[inner[i]])) <= np.hypot(*(xy[inner[i + 1]] - xy[outer[j]])))
        if go_outer:
            out.append((inner[i], outer[j], outer[j + 1]))
            j += 1
        else:
            out.append((inner[i], outer[j], inner[i + 1]))
            i += 1
    return np.array(out, dtype=np.int64)

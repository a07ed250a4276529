"""How much sheet is left between two cuts, and between a cut and the part's edge: the shortest way between their lines in space."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.trim.loads.line import Cut

Floats = NDArray[np.float64]
LEAST_WEB = 1.0
"""Web over thickness below which the sheet between two cuts bulges or tears (common practice)."""


@dataclass(frozen=True)
class Web:
    """Between cuts ``a`` and ``b``: ``distance`` [mm] between the points ``at`` (2, 3). The straight way is never longer than the one along the sheet."""

    a: str
    b: str
    distance: float
    at: Floats


def _segments(cut: Cut) -> tuple[Floats, Floats]:
    p = cut.points
    if cut.closed:
        return p, np.roll(p, -1, axis=0)
    return p[:-1], p[1:]


def web_between(one: Cut, two: Cut) -> Web:
    """The shortest way between two cut lines, exact between their segments."""
    (p, q), (r, s) = _segments(one), _segments(two)
    tree = cKDTree(0.5 * (r + s))
    reach_a, reach_b = 0.5 * np.linalg.norm(q - p, axis=1), 0.5 * float(np.linalg.norm(s - r, axis=1).max())
    near = tree.query(0.5 * (p + q))[0]
    bound = float((near + reach_a + reach_b).min())
    pairs = tree.query_ball_point(0.5 * (p + q), bound + reach_a + reach_b)
    i = np.repeat(np.arange(len(p)), [len(x) for x in pairs])
    j = np.concatenate([np.asarray(x, dtype=np.int64) for x in pairs])
    a, b = _closest(p[i], q[i] - p[i], r[j], s[j] - r[j])
    gap = np.linalg.norm(a - b, axis=1)
    k = int(gap.argmin())
    return Web(one.id, two.id, float(gap[k]), np.array([a[k], b[k]]))


def _closest(p: Floats, u: Floats, r: Floats, v: Floats) -> tuple[Floats, Floats]:
    """Nearest points of segments p + s u and r + t v, s and t in 0..1 (Ericson, Real-Time Collision Detection, 5.1.9)."""
    w = p - r
    a, e, f, c, b = (np.einsum("ij,ij->i", x, y) for x, y in ((u, u), (v, v), (v, w), (u, w), (u, v)))
    a, e = np.maximum(a, 1e-30), np.maximum(e, 1e-30)
    denominator = a * e - b * b
    skew = denominator > 1e-12 * a * e
    s = np.where(skew, np.clip((b * f - c * e) / np.where(skew, denominator, 1.0), 0.0, 1.0), 0.0)
    t = (b * s + f) / e
    s = np.where(t < 0, np.clip(-c / a, 0.0, 1.0), np.where(t > 1, np.clip((b - c) / a, 0.0, 1.0), s))
    t = np.clip(t, 0.0, 1.0)
    return p + s[:, None] * u, r + t[:, None] * v


def webs(cuts: list[Cut], within: float) -> list[Web]:
    """Webs of up to ``within`` [mm] between cuts that are not both trims, narrowest first. Two trims may meet: where one ends the other goes on."""
    middle = [0.5 * (c.points.min(axis=0) + c.points.max(axis=0)) for c in cuts]
    radius = [float(np.linalg.norm(c.points - m, axis=1).max()) for c, m in zip(cuts, middle, strict=True)]
    out = []
    for i, a in enumerate(cuts):
        for j in range(i + 1, len(cuts)):
            apart = float(np.linalg.norm(middle[i] - middle[j])) - radius[i] - radius[j]
            if apart <= within and not (a.kind == "trim" and cuts[j].kind == "trim"):
                out.append(web_between(a, cuts[j]))
    return sorted((w for w in out if w.distance <= within), key=lambda w: w.distance)

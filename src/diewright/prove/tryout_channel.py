"""The tryout on straight walls: the U channel of 1993 with its springback, and a bar of 1.5 m as a fact of the trade."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from diewright.die.loft import arc, loft
from diewright.die.simple import channel_tools
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.shell.material import hill_from_r, plastic
from diewright.prove.tryout_cups import Drawn, draw

Floats = NDArray[np.float64]


def opening(got: Drawn, time: float = 0.04) -> tuple[float, float]:
    """``(angle of the wall to the vertical [deg] from 10 to 35 mm above the bottom, motion left as a share of the stored energy)`` after springback.

    By relaxation: the tools go away and the sheet swings out, damped near the critical rate of its arms.
    """
    m = got.model
    for name in m.tools.names:
        m.tools.away(name)
    m.damping = 350.0
    end = m.time + time
    while m.time < end:
        m.advance(200)
    pts = m.patches.points[: m.patches.n]
    row = np.flatnonzero(np.abs(pts[:, 1]) < 1e-7)
    row = row[np.argsort(pts[row, 0])]
    x, z = m.x[row, 0], m.x[row, 2] - m.x[row[0], 2]
    low, high = int(np.argmax(z > 10.0)), int(np.argmax(z > 35.0))
    return math.degrees(math.atan2(x[high] - x[low], z[high] - z[low])), m.energies().kinetic / m.recovered().elastic_energy


def channel() -> dict[str, float]:
    """The strip of 350 x 35 mm, mild steel 0.78 mm, punch 50, stroke 70, blankholder 2.45 and 19.6 kN: opening of the wall after springback."""
    t, depth = 0.78, 70.0
    faces = channel_tools(50.0, 5.0, 52.0, 5.0, depth, t, 350.0, 35.0)
    steel = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.79, 1.51, 2.27), {"K": 565.32, "e0": 0.007117, "n": 0.2589})
    mu = dict.fromkeys(("die", "punch", "blankholder"), 0.144)
    outline = np.array([[-175.0, -17.5], [175.0, -17.5], [175.0, 17.5], [-175.0, 17.5]])
    out = {}
    for name, force in (("2.45 kN", 2450.0), ("19.6 kN", 19600.0)):
        got = draw(faces, outline, t, steel, depth, edge=2.5, force=force, friction=mu, flow=450.0)
        angle, motion = opening(got)
        out[f"opening at {name}"], out[f"motion left at {name}"] = angle, motion
    out["opening falls with blankholder"] = float(out["opening at 19.6 kN"] < out["opening at 2.45 kN"])
    return out


BAR = {
    "length": 1500.0, "width": 150.0, "corner": 74.0, "depth": 50.0, "thickness": 2.5, "punch radius": 12.0, "die radius": 14.0, "play": 3.0,
    "flange": 30.0,
}  # fmt: skip
"""A long bar with round ends, wall all round [mm]; mild steel. A first one, 80 deep with corners of 60 in stronger steel, tore."""
BAR_STEEL = {"K": 600.0, "e0": 0.01, "n": 0.2}
PRESS = 475.0 * 9.80665e3
"""475 metric tons [N]."""


def _ring(half_x: float, half_y: float, corner: float, count: int = 12) -> Floats:
    """A quarter of a rounded rectangle from (half_x, -5) to (-5, half_y)."""
    at = np.linspace(0.0, 0.5 * math.pi, count + 1)
    bow = np.column_stack([half_x - corner + corner * np.cos(at), half_y - corner + corner * np.sin(at)])
    return np.vstack([[half_x, -5.0], bow, [-5.0, half_y]])


def bar_tools() -> dict[str, TriMesh]:
    """A closed bar: quarter faces of punch, die and blankholder, wall all round."""
    b = BAR
    t, depth = b["thickness"], b["depth"]

    def swept(profile: Floats, play: float, up: bool, pole: bool) -> TriMesh:
        rings = []
        for offset, z in profile:
            ring = _ring(0.5 * b["length"] + play + offset, 0.5 * b["width"] + play + offset, b["corner"] + play + offset)
            rings.append(np.column_stack([ring, np.full(len(ring), z)]))
        if pole:
            rings.insert(0, np.array([[-5.0, -5.0, profile[0, 1]]]))
        return loft(rings, closed=False, up=up)

    low = -depth + 0.5 * t
    nose = arc((-b["punch radius"], low + b["punch radius"]), b["punch radius"], -0.5 * math.pi, 0.0, 0.05, 6.0)
    shoulder = arc((b["die radius"], -0.5 * t - b["die radius"]), b["die radius"], math.pi, 0.5 * math.pi, 0.05, 6.0)
    out = b["die radius"] + b["flange"] + b["depth"] + 20.0
    return {
        "die": swept(np.vstack([[[0.0, -depth - 0.5 * t - 1.0]], shoulder, [[out, -0.5 * t]]]), b["play"], True, False),
        "punch": swept(np.vstack([nose, [[0.0, 0.5 * t + 5.0]]]), 0.0, False, True),
        "blankholder": swept(np.array([[0.0, 0.5 * t], [out, 0.5 * t]]), b["play"], False, False),
    }


def bar_estimate(holder: float) -> float:
    """Punch and blankholder force by the straight-wall form [N], wall length ``L`` round the punch.

    ``F = L (s t^2/(2 r_m) + 2 mu q) e^(mu pi/2) + corners + holder`` with ``q`` the blankholder's force a length, two bends over the die radius
    (Marciniak, Duncan, Hu), and the four corners as a quarter cup each (Siebel).
    """
    b, mu = BAR, 0.12
    rm = BAR_STEEL["K"] * BAR_STEEL["n"] ** BAR_STEEL["n"] * math.exp(BAR_STEEL["e0"] - BAR_STEEL["n"])
    straight = 2.0 * (b["length"] + b["width"] - 4.0 * b["corner"])
    around = straight + 2.0 * math.pi * b["corner"]
    t, r = b["thickness"], b["die radius"] + 0.5 * b["thickness"]
    wall = (2.0 * rm * t * t / (4.0 * r) + 2.0 * mu * holder / around) * math.exp(0.5 * math.pi * mu)
    cup = b["corner"] + b["play"]
    ratio = (cup + b["die radius"] + b["flange"] + b["depth"] * 0.6) / cup
    corners = 2.0 * math.pi * cup * t * (1.1 * rm / 0.65) * (math.log(ratio) - 0.25)
    return straight * wall + corners + holder


def bar() -> dict[str, float]:
    """Total of punch and blankholder for the bar by the form above and by the tryout, against a press of 475 metric tons."""
    b, holder = BAR, 0.95e6
    half_x, half_y = 0.5 * b["length"] + b["play"], 0.5 * b["width"] + b["play"]
    # the wall's length and the flange that is left, less what the two radii save
    grow = b["die radius"] + b["flange"] + b["depth"] - 0.43 * (b["punch radius"] + b["die radius"]) - b["die radius"]
    ring = _ring(half_x + grow, half_y + grow, b["corner"] + grow, 16)[1:-1]
    outline = np.vstack([ring, ring[::-1] * [-1, 1], -ring, ring[::-1] * [1, -1]])
    steel = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.2, 1.2, 1.2), BAR_STEEL)
    mu = dict.fromkeys(("die", "punch", "blankholder"), 0.12)
    got = draw(
        bar_tools(), outline, b["thickness"], steel, b["depth"], edge=8.0, force=holder, friction=mu, flow=600.0, speed=5000.0, work=5e7
    )
    total = float((got.force() + got.force("blankholder")).max())
    estimate = bar_estimate(holder)
    return {
        "estimate over tryout": estimate / total,
        "tryout over press": total / PRESS,
        "estimate over press": estimate / PRESS,
        **got.figures(),
    }

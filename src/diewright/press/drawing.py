"""Largest punch force of a first draw, after four handbook forms, for round cups and for other outlines.

A round cup of mean wall diameter ``d`` has the wall length ``L = pi d``. Other outlines take the length of their own
punch outline for ``L`` and an equivalent draw ratio (:func:`equivalent_ratio`). That is a stand-in: corners draw, straight
sides mostly bend, so for a rectangular part these forms err on the high side, by some 20 to 60 %.

Handbook forms lie within about 20 % of a measured force for round cups of ductile sheet with good lubrication.
"""

from __future__ import annotations

import math

from diewright.errors import InputError
from diewright.geometry.need import between, finite, not_negative, positive

DRAW_WORK_SHARE = {"single": 0.80, "double": 0.63}
"""Mean over largest draw force, x: 0.63 double action, 0.8 single action with cushion (Tschaetsch; common practice)."""


def draw_ratio(blank_diameter: float, cup_diameter: float) -> float:
    """Draw ratio ``beta = D / d`` [-] from the diameters of blank and cup [mm].

    Raises :class:`InputError` if the blank is smaller than the cup.
    """
    d = positive(cup_diameter, "the cup diameter", "mm")
    big = positive(blank_diameter, "the blank diameter", "mm")
    if big < d:
        raise InputError(
            f"the blank diameter {big:g} mm is below the cup diameter {d:g} mm.", help="A cup needs a blank larger than itself."
        )
    return big / d


def equivalent_diameter(area: float) -> float:
    """Diameter of the circle of equal area, ``sqrt(4 A / pi)`` [mm] from ``A`` [mm2]."""
    return math.sqrt(4.0 * positive(area, "the area", "mm2") / math.pi)


def equivalent_ratio(blank_area: float, punch_area: float) -> float:
    """Equivalent draw ratio of an outline that is not round, ``sqrt(A_blank / A_punch)`` [-] (areas in mm2; common practice)."""
    return draw_ratio(equivalent_diameter(blank_area), equivalent_diameter(punch_area))


def draw_force_perimeter(wall_length: float, thickness: float, rm: float, ratio: float) -> float:
    """Largest draw force ``F = L s Rm (beta - 0.7)`` [N].

    ``L`` wall length round the punch [mm], ``s`` thickness [mm], ``Rm`` tensile strength [MPa], ``beta`` draw ratio [-].
    The bracket stands for the hoop work, 0.7 for friction left out and put back. Valid for about 1.2 <= beta <= 2.2; above
    beta = 1.7 it exceeds the bottom tear-off force and is an upper estimate. Source: Groover, Fundamentals of Modern
    Manufacturing, deep drawing; Kalpakjian & Schmid, Manufacturing Processes for Engineering Materials, ch. 7 (from memory).
    """
    length = positive(wall_length, "the wall length", "mm")
    s = positive(thickness, "the thickness", "mm")
    strength = positive(rm, "Rm", "MPa")
    beta = between(ratio, 1.0, 10.0, "the draw ratio")
    return length * s * strength * (beta - 0.7)


def draw_force_groover(punch_diameter: float, thickness: float, rm: float, blank_diameter: float) -> float:
    """Largest draw force of a round cup ``F = pi Dp t Rm (D/Dp - 0.7)`` [N]; see :func:`draw_force_perimeter`."""
    d = positive(punch_diameter, "the punch diameter", "mm")
    return draw_force_perimeter(math.pi * d, thickness, rm, draw_ratio(blank_diameter, d))


def draw_factor_oehler(ratio: float, ratio_max: float) -> float:
    """Draw factor ``n = 1.2 (beta - 1) / (beta_max - 1)`` [-].

    At the limiting ratio the force is 1.2 times the tear-off force of the wall. Source: Oehler & Kaiser, Schnitt-, Stanz- und
    Ziehwerkzeuge (from memory). Valid for 1 <= beta <= beta_max.
    """
    beta = between(ratio, 1.0, 10.0, "the draw ratio")
    limit = finite(ratio_max, "the limiting draw ratio")
    if limit <= 1.0:
        raise InputError(f"the limiting draw ratio is {limit:g}: expected more than 1.", help="Correct the value it comes from.")
    return 1.2 * (beta - 1.0) / (limit - 1.0)


def draw_force_oehler(wall_length: float, thickness: float, rm: float, ratio: float, ratio_max: float) -> float:
    """Largest draw force ``F = n L s Rm`` [N] with the factor of :func:`draw_factor_oehler` (``L = pi d`` for a cup)."""
    return draw_factor_oehler(ratio, ratio_max) * bottom_tear_force(wall_length, thickness, rm)


def draw_force_siebel(mean_diameter: float, thickness: float, flow_stress: float, ratio: float, efficiency: float = 0.65) -> float:
    """Largest draw force ``F = pi dm s 1.1 kfm / eta (ln beta - 0.25)`` [N].

    ``dm`` mean wall diameter [mm], ``s`` thickness [mm], ``kfm`` mean flow stress of the flange at the largest force [MPa],
    ``eta`` deformation efficiency [-] (0.5 to 0.8; 0.65 usual). 0.25 stands for the rim having come in to 0.78 of the blank diameter when the
    force is largest. Valid for beta > 1.4; below that the bracket runs to zero. Source: Siebel & Panknin 1956 (from memory).
    """
    d = positive(mean_diameter, "the mean diameter", "mm")
    s = positive(thickness, "the thickness", "mm")
    kfm = positive(flow_stress, "the mean flow stress", "MPa")
    beta = between(ratio, 1.3, 10.0, "the draw ratio")
    eta = between(efficiency, 0.3, 1.0, "the deformation efficiency")
    return math.pi * d * s * 1.1 * kfm / eta * (math.log(beta) - 0.25)


def bottom_tear_force(wall_length: float, thickness: float, rm: float) -> float:
    """Force at which the wall tears off the bottom, ``F = L s Rm`` [N] (``L = pi d`` for a cup).

    Upper bound of what the wall can pass on to the flange; plane strain at the punch radius can raise it by some 10 to 20 %.
    Source: Oehler & Kaiser; common practice.
    """
    return positive(wall_length, "the wall length", "mm") * positive(thickness, "the thickness", "mm") * positive(rm, "Rm", "MPa")


def draw_work(force: float, depth: float, share: float) -> float:
    """Draw work ``W = x F h`` [J] from ``F`` [N], depth ``h`` [mm] and ``x`` (:data:`DRAW_WORK_SHARE`).

    A single-action press also pushes the cushion down: add :func:`cushion_work`. Source: Tschaetsch, Metal Forming Practise
    (from memory).
    """
    x = between(share, 0.0, 1.0, "the share x of the draw work")
    return x * not_negative(force, "the draw force", "N") * not_negative(depth, "the draw depth", "mm") / 1000.0


def cushion_work(force: float, depth: float) -> float:
    """Work taken by the cushion, ``W = F_BH h`` [J], from the holder force [N] and the depth [mm]."""
    return not_negative(force, "the blankholder force", "N") * not_negative(depth, "the draw depth", "mm") / 1000.0

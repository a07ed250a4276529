"""Cups that need more than one draw: how many, and the diameter, height and radii of each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from diewright.errors import InputError
from diewright.geometry.need import not_negative, positive
from diewright.press.radii import die_radius, die_radius_range, punch_radius_least, redraw_radius
from diewright.press.ratios import romanovskii_factors

MOST_DRAWS = 8


@dataclass(frozen=True)
class Draw:
    """One draw of a cup; lengths mm (diameters on the middle of the wall), ``ratio`` over the draw before."""

    draw: int
    diameter: float
    height: float
    ratio: float
    punch_radius: float
    die_radius: float

    def as_dict(self) -> dict[str, float]:
        """The draw as a plain record."""
        return asdict(self)


def blank_diameter(diameter: float, height: float, bottom_radius: float = 0.0) -> float:
    """Blank of a cup without flange ``D^2 = d^2 + 4 d h - (8 - 2 pi) d r + (4 pi - 12)(-1) r^2`` [mm].

    ``d`` mean wall diameter, ``h`` height from the middle of the bottom, ``r`` bottom radius on the middle surface. Exact for constant
    thickness: the handbook prints 1.72 d r and 0.56 r^2.
    """
    d, h = positive(diameter, "the cup diameter", "mm"), positive(height, "the cup height", "mm")
    r = not_negative(bottom_radius, "the bottom radius", "mm")
    if r > d / 2.0 or r > h:
        raise InputError(f"the bottom radius {r:g} mm does not fit into a cup {d:g} mm wide and {h:g} mm high.", help="Make it smaller.")
    return math.sqrt(d**2 + 4.0 * d * h - (8.0 - 2.0 * math.pi) * d * r - (4.0 * math.pi - 12.0) * r**2)


def cup_height(blank: float, diameter: float, bottom_radius: float = 0.0) -> float:
    """Height of the cup that a blank gives, the inverse of :func:`blank_diameter` [mm]."""
    big, d = positive(blank, "the blank diameter", "mm"), positive(diameter, "the cup diameter", "mm")
    r = not_negative(bottom_radius, "the bottom radius", "mm")
    return (big**2 - d**2 + (8.0 - 2.0 * math.pi) * d * r + (4.0 * math.pi - 12.0) * r**2) / (4.0 * d)


def number_of_draws(blank: float, diameter: float, ratios: Sequence[float]) -> int:
    """Least number of draws from blank to cup diameter [mm] with the largest ``ratios`` of draw 1, 2, ... (the last one repeats).

    Raises :class:`InputError` if eight draws are not enough.
    """
    big, d = positive(blank, "the blank diameter", "mm"), positive(diameter, "the cup diameter", "mm")
    if not ratios or any(not math.isfinite(r) or r <= 1.0 for r in ratios):
        raise InputError("the draw ratios of the sequence must each be more than 1.", help="Correct them.")
    for k in range(MOST_DRAWS):
        big /= ratios[min(k, len(ratios) - 1)]
        if big <= d * (1.0 + 1e-12):
            return k + 1
    raise InputError(
        f"{MOST_DRAWS} draws do not bring the blank down to a cup of {d:g} mm.", help="Anneal between draws, or choose thicker sheet."
    )


def cup_sequence(
    blank: float, diameter: float, thickness: float, bottom_radius: float = 0.0, one_draw_limit: float = 0.0
) -> tuple[tuple[Draw, ...], bool]:
    """The draws of a cup without flange after Romanovskii's table, and whether the relative thickness lies inside the table.

    ``blank`` and ``diameter`` (middle of the wall) and the part's own inside ``bottom_radius`` (0: not known) in mm. The least number of draws that the table
    allows is taken, and what is left over is spread over all draws alike: every ``m_i`` becomes ``m_i^k`` with one ``k <= 1``, so that the last draw
    gives the cup. A ``one_draw_limit`` above zero decides by itself whether one draw is enough (``D/d`` up to it), the table counts the rest.
    Heights follow from constant area; radii from 4 s (punch) and ``r_M``, 0.7 of it a redraw.
    """
    big, d, s = (
        positive(blank, "the blank diameter", "mm"),
        positive(diameter, "the cup diameter", "mm"),
        positive(thickness, "the thickness", "mm"),
    )
    if big <= d:
        raise InputError(
            f"the blank diameter {big:g} mm is not above the cup diameter {d:g} mm.", help="A cup needs a blank larger than itself."
        )
    factors, inside = romanovskii_factors(s, big)
    count = number_of_draws(big, d, [1.0 / m for m in factors])
    if one_draw_limit > 0.0:
        count = 1 if big / d <= one_draw_limit else max(count, 2)
    used = [factors[min(i, len(factors) - 1)] for i in range(count)]
    k = math.log(d / big) / sum(math.log(m) for m in used)
    draws: list[Draw] = []
    before = big
    low, high = die_radius_range(s)
    radius = 0.0
    for i, m in enumerate(used):
        at = before * m**k if i < count - 1 else d
        radius = min(max(die_radius(big, at, s), low), high) if i == 0 else max(redraw_radius(radius), 2.0 * s)
        last = i == count - 1
        punch = bottom_radius if last and bottom_radius > 0 else max(punch_radius_least(s), bottom_radius)
        punch = min(punch, at / 2.0)
        draws.append(Draw(i + 1, at, cup_height(big, at, min(punch + s / 2.0, at / 2.0)), before / at, punch, radius))
        before = at
    return tuple(draws), inside

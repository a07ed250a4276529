"""The draws of a round cup as numbers: what each one makes of the blank, from the press stage's sequence and what is stated.

Every draw but the last leaves a cone of 45 degrees at the cup's foot, which lies on the die of the next one: the sheet then turns twice by 45 degrees instead of twice by a
right angle. The last draw has the part's bottom radius, or the least one that a draw takes; a sharper one is struck afterwards.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from diewright.die import draw_rules as rules
from diewright.die.draw_profile import Floats, rounded, turned_area
from diewright.errors import InputError

Kind = Literal["draw", "redraw", "restrike"]
SOURCE = "Romanovskii's table of draw ratios (from memory), spread evenly; die radius Oehler, 0.7 of it a redraw; punch radius 4 s"


STEP = 4.0
"""Least step from one diameter to the next, over the thickness: room for the sleeve's wall (ours)."""
BEND = 2.0 * math.tan(math.pi / 8.0)
"""Length of a cone of 45 degrees that a radius at each of its ends takes, over that radius."""


@dataclass(frozen=True)
class Draw:
    """One draw; lengths mm, force N. Diameters, ``foot`` and ``height`` belong to the middle surface.

    Attributes
    ----------
    draw: its number from 1. kind: draw, redraw, restrike. diameter, before: of the cup after and before (the blank, for the first). ratio: before over after.
    height: from the middle of the bottom to the mean rim, at constant thickness and with this bottom. height_table: of the press stage's table (flat bottom, small radius).
    punch_radius: inside, at the bottom, and at both ends of the cone. foot: diameter where the cone meets the bottom, 0 without one. die_radius; clearance: punch to die.
    punch_diameter, die_diameter. stroke: punch travel from touching the sheet, through the land. holder_force: blankholder or sleeve. source.
    """

    draw: int
    kind: Kind
    diameter: float
    before: float
    ratio: float
    height: float
    height_table: float | None
    punch_radius: float
    die_radius: float
    clearance: float
    foot: float
    punch_diameter: float
    die_diameter: float
    stroke: float
    holder_force: float
    source: str

    def as_dict(self) -> dict[str, Any]:
        """The draw as a plain record."""
        return asdict(self)

    def meridian(self, thickness: float) -> Floats:
        """Middle surface ``(k, 2)`` of r, z [mm] of the cup it makes, bottom at z = 0, up to the mean rim."""
        return cup_meridian(self.diameter, self.foot, self.punch_radius + 0.5 * thickness, self.height)


def cup_meridian(diameter: float, foot: float, radius: float, height: float) -> Floats:
    """Meridian of a cup's middle surface: bottom, cone from ``foot`` diameter (0: none), wall; ``radius`` at each bend [mm]."""
    wall = 0.5 * diameter
    if foot <= 0:
        return rounded([(0.0, 0.0), (wall, 0.0), (wall, height)], [radius])
    inner = 0.5 * foot
    return rounded([(0.0, 0.0), (inner, 0.0), (wall, wall - inner), (wall, height)], [radius, radius])


def mean_height(blank: float, diameter: float, foot: float, radius: float) -> float:
    """Height [mm] of the cup that a round blank gives at constant area, its bottom as :func:`cup_meridian`."""
    probe = blank
    short = turned_area(cup_meridian(diameter, foot, radius, probe))
    return probe - (short - 0.25 * math.pi * blank**2) / (math.pi * diameter)


@dataclass(frozen=True)
class Sheet:
    """Thickness [mm], tensile strength [MPa], family of the metal, mean r-value."""

    thickness: float
    rm: float
    family: str
    rbar: float


def plan(
    table: Sequence[Mapping[str, Any]], blank: float, sheet: Sheet, bottom_radius: float | None, diameters: Sequence[float] = (),
    forces: Sequence[float] = (), gap: float | None = None,
    die_radii: Sequence[float] = (),
) -> list[Draw]:  # fmt: skip
    """All draws of the cup.

    ``table``: the press stage's ``draw_sequence``. ``blank``: diameter of the round blank [mm]. ``bottom_radius``: the part's own inside radius [mm], None where it is not known.
    ``diameters``: stated mean diameters of all draws but the last, instead of the table's. ``forces``: stated blankholder forces [N], one a draw. ``gap``: stated clearance [mm]. ``die_radii``: stated [mm], one a draw.
    Raises :class:`InputError` for diameters that do not fall, or stated forces or radii that are not one a draw.
    """
    t = sheet.thickness
    last = float(table[-1]["diameter"])
    own = [float(d) for d in diameters] + [last] if diameters else [float(row["diameter"]) for row in table]
    steps = [blank, *own]
    if any(b < a + STEP * t for a, b in zip(steps[1:], steps[:-1], strict=True)):
        raise InputError(
            f"the diameters {', '.join(f'{d:.4g}' for d in steps)} mm do not fall by {STEP:g} thicknesses at least from blank to cup: a sleeve needs that room.",
            where="draws.diameters", help="State the mean diameters of all draws but the last, largest first.",
        )  # fmt: skip
    for what, stated, where in (("blankholder forces", forces, "forces_kn"), ("die radii", die_radii, "die_radii")):
        if stated and len(stated) != len(own):
            raise InputError(
                f"{len(stated)} {what} are stated for {len(own)} draws.", where=f"draws.{where}", help="State one a draw, or none."
            )
    least = rules.least_punch_radius(t)
    sharp = bottom_radius is not None and bottom_radius < least - 1e-6
    die_radius = 0.0
    draws: list[Draw] = []
    for i, d in enumerate(own):
        row = table[i] if not diameters and i < len(table) else None
        if die_radii:
            die_radius = float(die_radii[i])
        else:
            die_radius = float(row["die_radius"]) if row is not None else _die_radius(blank, d, t, die_radius)
        ends = i == len(own) - 1
        foot = 0.0 if ends else own[i + 1] - t
        radius = max(bottom_radius, least) if ends and bottom_radius is not None else least
        # a short cone has room for smaller radii only; they turn the sheet by 45 degrees each
        room = 0.5 * d if ends else math.sqrt(0.5) * (d - foot) / BEND
        radius = min(radius, 0.98 * room - 0.5 * t)
        height = mean_height(blank, d, foot, radius + 0.5 * t)
        u = rules.draw_gap(t, sheet.family, rules.rim_thickness(t, blank, d, sheet.rbar)) if gap is None else gap
        punch, die = d - t, d - t + 2.0 * u
        before = steps[i]
        shoulder = before if i == 0 else 2.0 * (0.5 * before - rules.sleeve_play(t))
        area = rules.ring_area(shoulder, die + 2.0 * die_radius if i == 0 else die + die_radius)
        force = (
            float(forces[i])
            if forces
            else area * (rules.holder_pressure(before / d, d, t, sheet.rm) if i == 0 else rules.sleeve_pressure(sheet.family))
        )
        draws.append(
            Draw(
                i + 1, "draw" if i == 0 else "redraw", d, before, before / d, height, None if row is None else float(row["height"]), radius, die_radius, u, foot,
                punch, die, _stroke(i, height, d, die, die_radius, draws[-1].foot if draws else 0.0, t), force,
                SOURCE if not diameters else "stated: draws.diameters; radii by the same rules",
            )
        )  # fmt: skip
    if sharp and bottom_radius is not None:
        draws.append(_restrike(draws[-1], blank, bottom_radius, t))
    return draws


def _die_radius(blank: float, d: float, t: float, before: float) -> float:
    """Oehler's ``0.035 [50 + (D - d)] sqrt(s)`` within 5 to 10 s for the first draw, 0.7 of the one before but 2 s at least for a redraw (as the press stage)."""
    if before <= 0:
        return min(max(0.035 * (50.0 + blank - d) * math.sqrt(t), 5.0 * t), 10.0 * t)
    return max(0.7 * before, 2.0 * t)


def cone_level(die: float, foot: float, thickness: float) -> float:
    """Level [mm] of the sharp corner of die wall and cone over the middle of the cup's bottom, 0 for a level die of a first draw (see :mod:`draw_faces`)."""
    return 0.5 * die - 0.5 * foot - thickness / math.sqrt(2.0)


def _stroke(i: int, height: float, d: float, die: float, radius: float, foot: float, t: float) -> float:
    """The rim passes the land, ears and all, with two thicknesses to spare."""
    low = -0.5 * t - radius if i == 0 else cone_level(die, foot, t) - radius * math.tan(math.pi / 8.0)
    return height * (1.0 + rules.RIM) - low + rules.die_land(t) + 2.0 * t


def _restrike(last: Draw, blank: float, radius: float, t: float) -> Draw:
    height = mean_height(blank, last.diameter, 0.0, radius + 0.5 * t)
    return Draw(
        last.draw + 1, "restrike", last.diameter, last.diameter, 1.0, height, None, radius, radius + t, last.clearance, 0.0, last.punch_diameter, last.die_diameter,
        last.punch_radius, 0.0, "the part's own bottom radius, sharper than 4 s: struck after the last draw (common practice)",
    )  # fmt: skip

"""The grits in their order, what each takes off, and what the work asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diewright.errors import InputError
from diewright.finish.prepare.grits import WHEEL_SPEED, Grit, grit_called, library
from diewright.finish.prepare.start import PEAKS
from diewright.finish.prepare.wheel import turns_for
from diewright.job.schema import FinishStated

Band = tuple[float, float]
SAFETY = 1.5
"""Stock taken beyond the deepest scratch of the step before, at the high end of the band (ours)."""
JUMP, FINE_JUMP = 60, 100
"""Most numbers between two grits, below and from 300 on (ours; published are 30 to 40 numbers for stainless, ASM Handbook vol 5, but also 80-150 straight to 320, guidebook 2011-12)."""


@dataclass(frozen=True)
class Step:
    """One step: grit number (0: a buff) and name, Ra band left [µm], stock taken off [µm] (band), rim speed [m/s], turns a minute, source."""

    name: str
    number: int
    ra: Band
    stock: Band
    speed: float
    rpm: float
    source: str


def sequence(worst_ra: float, deepest: float, stated: FinishStated) -> list[Step]:
    """From a start surface to the wanted Ra: ``worst_ra`` of the start and ``deepest`` scratch in it [µm].

    The first step takes off the roughness of the start, each following one the scratches of the step before: ``PEAKS`` times the Ra, from the fine end of its band up to ``SAFETY``
    times the coarse one. Raises :class:`InputError` for grits of which no chart tells.
    """
    grits = _chosen(worst_ra, deepest, stated) if isinstance(stated.grits, str) else [grit_called(n) for n in stated.grits]
    out: list[Step] = []
    take: Band = (PEAKS * worst_ra, SAFETY * max(PEAKS * worst_ra, deepest))
    work = [(f"grit {g.number}", g.number, g.ra_um, WHEEL_SPEED, g.source) for g in grits]
    buffs = library()[1]
    work += [(f"{name} buff", 0, buffs[name].ra_um, buffs[name].speed_m_s, buffs[name].source) for name in _buffs(stated.buff)]
    for name, number, ra, speed, source in work:
        out.append(Step(name, number, ra, take, speed, turns_for(speed, stated.wheel_mm), source))
        take = (PEAKS * ra[0], SAFETY * PEAKS * ra[1])
    if not out:
        raise InputError("neither a grit nor a buff is stated.", where="finish.buff", help="State a buff, or grits.")
    return out


def _buffs(last: str) -> tuple[str, ...]:
    return {"none": (), "cut": ("cut",), "bright": ("cut", "bright")}[last]


def _chosen(worst_ra: float, deepest: float, stated: FinishStated) -> list[Grit]:
    """The finest grit that is still about as coarse as the start, and from there on in steps of ``JUMP`` or ``FINE_JUMP``, until a buff can follow or the wanted Ra is reached."""
    grits = library()[0]
    # a grit must cut as deep as what it removes: its scratches at the coarse end of the band
    need = max(worst_ra, deepest / (SAFETY * PEAKS))
    first = max((i for i, g in enumerate(grits) if g.ra_um[1] >= need), default=0)
    chosen = [grits[first]]
    enough = stated.polish_ra_um if stated.buff == "none" else max(stated.polish_ra_um, 4.0 * library()[1]["cut"].ra_um[1])
    while chosen[-1].ra_um[1] > enough and chosen[-1] is not grits[-1]:
        jump = FINE_JUMP if chosen[-1].number >= 300 else JUMP
        finer = [g for g in grits if chosen[-1].number < g.number <= chosen[-1].number + jump]
        chosen.append(finer[-1])
    return chosen


def leaves(steps: Sequence[Step]) -> Band:
    """Ra band after the last step [µm]."""
    return steps[-1].ra


def rest_stock(steps: Sequence[Step]) -> Band:
    """What all steps after the first take off [µm]."""
    return sum(s.stock[0] for s in steps[1:]), sum(s.stock[1] for s in steps[1:])


@dataclass(frozen=True)
class Effort:
    """Minutes a part and wheels (dressings) a thousand parts, both as bands; ``area`` [cm2] that is polished."""

    area: float
    minutes: Band
    wheels: Band


def effort(area: float, steps: int, rate: Band, life: Band) -> Effort:
    """``area`` [cm2] through all ``steps`` at ``rate`` [cm2/min] a step, with wheels that last ``life`` [m2]; an estimate of ours until the shop states its own rates."""
    total = area * steps
    return Effort(area, (total / rate[1], total / rate[0]), (0.1 * total / life[1], 0.1 * total / life[0]))

"""The road to the flat: an always solvable problem first, then ever less gentle ones.

Three things are brought in one after the other, each from the flat of the problem before:

1. the sum of work alone with a straight, steeply growing curve (a minimum, always found by descent);
2. the edge terms, in parts;
3. the bend of the curve: its straight start is shortened;
4. the real growth of the curve. A sheet pulled beyond uniform strain (``d sigma/d eps < sigma``) has no load left to give: where the real curve
   finds no balance, the least steepened curve that does is kept, and said so.

From 2 on Newton has the exact tangent. The edge terms soften the rim's short waves (the surface instability of a compressed edge: M. A. Biot,
Mechanics of Incremental Deformations, 1965, ch. 3): near the load where one of them turns soft Newton stumbles, beyond it every part of
the tangent is firm again, so a stumbled step is repeated in halves and otherwise steps are long.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.mechanics.newton import Clock, Outcome, Problem, Step, newton
from diewright.mechanics.plasticity import Curve
from diewright.watch import Watch

Floats = NDArray[np.float64]

FIRST_STRAIN = 0.3
"""The first curve is straight up to this strain."""

EASING = 2.5
"""Each gentle curve stays straight up to this much less strain than the one before."""

GROWTH = 1.2
"""Least ``(d sigma/d eps)/sigma`` of the first curves: above 1 no strip can neck."""

EDGE_STEP = 0.5
"""Share of the edge terms that is tried to be brought in at once."""

HALVINGS = 3
"""How often a stumbled step is halved."""

GROWTHS = (0.3, 0.6, 0.9, 1.2)
"""Steepened curves for a sheet that has no balance with its own."""

LOOSE = 3e-2
"""Relative residual at which the next, less gentle problem is started."""


class Mark(NamedTuple):
    """One problem on the road: share of the edge terms, straight start (0: the elastic line) and least growth of the curve."""

    edge: float
    straight: float
    growth: float

    def between(self, other: Mark) -> Mark:
        """The mark half way (the straight start by its logarithm)."""
        straight = float(np.sqrt(self.straight * other.straight))
        return Mark(0.5 * (self.edge + other.edge), straight, 0.5 * (self.growth + other.growth))


@dataclass
class Road:
    """Where Newton goes; ``steps`` are kept for the record."""

    problem: Problem
    tolerance: float
    most: int
    watch: Watch
    clock: Clock
    steps: list[Step]

    def law(self, mark: Mark) -> Curve:
        """The curve at a mark; the straight start 0 and growth 0 is the sheet's own."""
        curve = self.problem.curve
        own = mark.straight <= 1.5 * curve.yield_strain
        return curve if own and mark.growth == 0.0 else curve.gentler(0.0 if own else mark.straight, mark.growth)

    def go(self, flat: Floats, mark: Mark, to: float, limit: int, exact_below: float = np.inf) -> Outcome:
        """Newton at one mark."""
        room = max(min(limit, self.most - len(self.steps)), 0)
        return newton(
            replace(self.problem, curve=self.law(mark), edge=mark.edge),
            flat,
            tolerance=to,
            most=room,
            watch=self.watch,
            clock=self.clock,
            steps=self.steps,
            exact_below=exact_below,
        )

    def walk(self, flat: Floats, start: Mark, end: Mark, limit: int = 8) -> tuple[Floats, Mark]:
        """From a solved mark towards another, loosely; returns how far it came."""
        here, ahead, halved = start, end, 0
        while here != end and len(self.steps) < self.most:
            now = self.go(flat, ahead, LOOSE, limit)
            if now.residual < LOOSE:
                flat, here, ahead = now.flat, ahead, end
                continue
            halved += 1
            if halved > HALVINGS:
                break
            ahead = here.between(ahead)
        return flat, here


def follow(problem: Problem, flat: Floats, tolerance: float, most: int, watch: Watch, clock: Clock) -> tuple[Outcome, list[Step], float, list[str]]:  # fmt: skip
    """The solution, all iterations, how much the curve had to be steepened (0: not at all) and what to say about it.

    Raises :class:`SolveError` where even the steepest curve finds no balance.
    """
    road = Road(problem, tolerance, most, watch, clock, [])
    elastic = problem.curve.yield_strain
    here = Mark(0.0, FIRST_STRAIN, GROWTH)
    flat = road.go(flat, here, LOOSE, 30, 1e-3).flat
    marks = [Mark(edge, FIRST_STRAIN, GROWTH) for edge in np.arange(EDGE_STEP, 1.0 + 1e-9, EDGE_STEP).tolist()]
    straight = FIRST_STRAIN / EASING
    while straight > 1.5 * elastic:
        marks.append(Mark(1.0, straight, GROWTH))
        straight /= EASING
    marks.append(Mark(1.0, elastic, GROWTH))
    for mark in marks:
        flat, here = road.walk(flat, here, mark)
    now = road.go(flat, Mark(1.0, elastic, 0.0), tolerance, 25)
    if now.converged:
        return now, road.steps, 0.0, []
    best: tuple[Outcome, float] | None = None
    for growth in GROWTHS[::-1]:
        tried = road.go(flat, Mark(1.0, elastic, growth), tolerance, 25)
        if not tried.converged:
            break
        flat, best = tried.flat, (tried, growth)
    if best is None:
        raise SolveError(
            f"The inverse solution did not settle: the residual stays at {tried.residual:.1e} (wanted {tolerance:.0e}) after {len(road.steps)} iterations.",
            help="Refine the mesh at small radii, or allow more iterations.",
        )
    text = (
        "No balance was found with the stated hardening: somewhere the sheet is pulled beyond its uniform strain. The result stands for a sheet whose "
        f"stress rises by at least {best[1]:.1f} of itself per unit strain; take the largest strains as an extrapolation and look there for tearing."
    )
    return best[0], road.steps, best[1], [text]

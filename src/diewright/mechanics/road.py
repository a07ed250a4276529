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
from diewright.mechanics.gap import thickening
from diewright.mechanics.newton import Clock, Outcome, Problem, Step, newton
from diewright.mechanics.plasticity import Curve
from diewright.watch import Watch

Floats = NDArray[np.float64]

FIRST_STRAIN = 0.3
"""The first curve is straight up to this strain."""

EASING = 5.0
"""Each gentle curve stays straight up to this much less strain than the one before."""

STEEP = 2.0
"""Least ``(d sigma/d eps)/sigma`` while the edge terms come in: keeps compressed rims firm up to hoop strains beyond 1."""

GROWTH = 1.2
"""Least growth while the bend of the curve comes in: above 1 no strip can neck."""

EDGE_STEP = 0.5
"""Share of the edge terms that is tried to be brought in at once."""

HALVINGS = 3
"""How often a stumbled step is halved."""

GROWTHS = (0.9, 0.6, 0.3, 0.0)
"""Steepened curves for a sheet that has no balance with its own."""

PRESSINGS = 8
"""Most rounds in which the wall's pressure is built up."""

FIRM, FIRMER = 2, 2.5
"""The round after which the gap becomes firmer, and how many times."""

NEAR = 1e-2
"""Relative residual at which the pressure is looked at, and a less steepened curve counts as solvable."""

CLOSE = 0.005
"""Thickness strain beyond the gap, averaged around a point, that is left."""

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

    def walk(self, flat: Floats, start: Mark, end: Mark, limit: int = 14) -> tuple[Floats, Mark]:
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

    def settle(self, flat: Floats, mark: Mark) -> Outcome:
        """The exact solution at a mark, the wall's pressure built up to its full value on the way (:mod:`gap`)."""
        kept = self.problem
        gap = kept.gap
        for k in range(PRESSINGS if gap.there else 0):
            now = self.go(flat, mark, NEAR, 12)
            if now.residual >= NEAR:
                self.problem = kept
                return now
            flat = now.flat
            if k > FIRM and self.problem.gap.excess(flat, kept.triangles, kept.loads.areas) < CLOSE:
                break
            firmer = FIRMER if k == FIRM else 1.0
            self.problem = replace(kept, gap=self.problem.gap.pressed(flat, kept.triangles, kept.loads.areas, firmer))
        now = self.go(flat, mark, self.tolerance, 25)
        if not now.converged:
            self.problem = kept
        return now


def follow(problem: Problem, flat: Floats, tolerance: float, most: int, watch: Watch, clock: Clock) -> tuple[Outcome, list[Step], float, list[str]]:  # fmt: skip
    """The solution, all iterations, how much the curve had to be steepened (0: not at all) and what to say about it.

    Raises :class:`SolveError` where even the steepest curve finds no balance.
    """
    road = Road(problem, tolerance, most, watch, clock, [])
    elastic = problem.curve.yield_strain
    here = Mark(0.0, FIRST_STRAIN, STEEP)
    flat = road.go(flat, here, LOOSE, 30, 0.1).flat
    marks = [Mark(edge, FIRST_STRAIN, STEEP) for edge in np.arange(EDGE_STEP, 1.0 + 1e-9, EDGE_STEP).tolist()]
    marks.append(Mark(1.0, FIRST_STRAIN, GROWTH))
    straight = FIRST_STRAIN / EASING
    while straight > 1.5 * elastic:
        marks.append(Mark(1.0, straight, GROWTH))
        straight /= EASING
    marks.append(Mark(1.0, elastic, GROWTH))
    for mark in marks:
        flat, here = road.walk(flat, here, mark)
    reached = _least_growth(road, flat, elastic)
    for growth, flat in reached[::-1]:
        now = road.settle(flat, Mark(1.0, elastic, growth))
        if now.converged:
            break
    else:
        raise SolveError(
            f"The inverse solution did not settle: the residual stays at {now.residual:.1e} (wanted {tolerance:.0e}) after {len(road.steps)} iterations.",
            help="Refine the mesh at small radii, or allow more iterations.",
        )
    if growth == 0.0:
        return now, road.steps, 0.0, []
    return now, road.steps, growth, [_said(problem, now, growth)]


PULLED = "somewhere the sheet is pulled beyond its uniform strain"
"""These words in a warning mean a sheet near tearing; without them only a rim is over-compressed."""


def _said(problem: Problem, now: Outcome, growth: float) -> str:
    """What a steepened curve means here: a pulled sheet near tearing, or only the compressed rim that no one-step balance holds."""
    thinnest = float(thickening(now.flat, problem.triangles, problem.loads.areas).min())
    strain = problem.curve.table[:, 0]
    uniform = float(strain[np.argmax(problem.curve.slope(strain) < problem.curve.stress(strain))])
    stands = f"The result stands for a sheet whose stress rises by at least {growth:.1f} of itself per unit strain"
    if -thinnest > 0.5 * uniform:
        return (
            f"No balance was found with the stated hardening: {PULLED}. "
            f"{stands}; take the largest strains as an extrapolation and look there for tearing."
        )
    return (
        "No balance was found with the stated hardening: the rim is compressed so far that the one-step theory, which knows no path, loses its hold on it. "
        f"{stands}; nothing is pulled beyond its uniform strain."
    )


def _least_growth(road: Road, flat: Floats, elastic: float) -> list[tuple[float, Floats]]:
    """The growths that have a balance, the largest first, each with its flat: straight to the real curve, or down to it step by step."""
    now = road.go(flat, Mark(1.0, elastic, 0.0), NEAR, 10)
    reached = [(GROWTH, flat)]
    if now.residual < NEAR:
        return [*reached, (0.0, now.flat)]
    for growth in GROWTHS:
        now = road.go(flat, Mark(1.0, elastic, growth), NEAR, 10)
        if now.residual >= NEAR:
            break
        flat = now.flat
        reached.append((growth, flat))
    return reached

"""A search over few settings without derivatives, led by what the last run said.

The best setting so far is left by one step at a time (compass search, Hooke and Jeeves 1961); which step comes first is told by its run: one that tears asks for
less restraint, one that wrinkles or stays loose for more. When no step helps, steps are halved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

GOOD = 10.0
"""A score below this is good enough: no stop, no wrinkle above its limit, the wanted margin kept; what is left are points to decide."""
SMALLEST = 0.25
"""Smallest step: a quarter of a doubling of the force."""
BEADS = (0.0, 2.0, 4.0)
"""Heights of the draw bead that are tried [mm]."""


@dataclass(frozen=True)
class Setting:
    """What is varied: blankholder force [N], die radius [mm], height of the draw bead [mm, 0: none]."""

    force: float
    die_radius: float
    bead: float = 0.0


@dataclass(frozen=True)
class Trial:
    """A setting with what its run showed. ``says``: keys of its findings but the notes; ``score``: 0 is best, see :func:`score`; ``refused``: why there was no run."""

    setting: Setting
    score: float
    stops: int = 0
    margin: float = 0.0
    thinning: float = 0.0
    wrinkle: float = 0.0
    says: tuple[str, ...] = ()
    refused: str = ""

    @property
    def torn(self) -> bool:
        """True where it asks for less restraint."""
        return any(key in ("tryout.tear", "tryout.neck", "tryout.stopped") for key in self.says)

    @property
    def slack(self) -> bool:
        """True where it asks for more restraint."""
        return any(key in ("tryout.wrinkle", "tryout.loose") for key in self.says)


@dataclass(frozen=True)
class Range:
    """What may be varied: force [N] and die radius [mm] between two values (the same value: fixed), and whether beads may be tried."""

    force: tuple[float, float]
    die_radius: tuple[float, float]
    beads: bool = True

    def __contains__(self, s: Setting) -> bool:
        slack = 1e-9
        return (
            self.force[0] * (1 - slack) <= s.force <= self.force[1] * (1 + slack)
            and self.die_radius[0] - slack <= s.die_radius <= self.die_radius[1] + slack
            and (self.beads or s.bead == 0.0)
        )


def score(stops: int, margin: float, wanted: float, wrinkles: bool, attends: int) -> float:
    """2000 a stop, 100 for wrinkles above their limit, 10 a percent point of margin missing (100 points at most), 1 for each other finding that asks for a decision."""
    return 2000.0 * stops + 100.0 * wrinkles + 10.0 * min(max(0.0, wanted - margin), 100.0) + float(attends)


def best_of(tried: Sequence[Trial]) -> Trial:
    """The trial with the least score; of equals the last, so that a plateau is walked over."""
    return min(reversed(tried), key=lambda t: t.score)


def search(run: Callable[[Setting], Trial], start: Setting, allowed: Range, most: int) -> list[Trial]:
    """At most ``most`` runs in their order; see :func:`best_of`."""
    tried = [run(start)]
    seen = {start}
    step = 1.0
    while len(tried) < most:
        best = best_of(tried)
        if best.score < GOOD:
            break
        new = next((s for s in steps(best, step, allowed) if s not in seen), None)
        if new is None:
            step *= 0.5
            if step < SMALLEST:
                break
            continue
        seen.add(new)
        tried.append(run(new))
    return tried


def steps(best: Trial, step: float, allowed: Range) -> Iterator[Setting]:
    """Settings one step away that are allowed, in the order in which they promise most."""
    s = best.setting
    low, high = allowed.die_radius
    wide = replace(s, die_radius=min(s.die_radius + 0.5 * step * (high - low), high))
    tight = replace(s, die_radius=max(s.die_radius - 0.5 * step * (high - low), low))
    less, more = replace(s, force=s.force / 4.0**step), replace(s, force=s.force * 4.0**step)
    taller = [replace(s, bead=b) for b in BEADS if b > s.bead][:1]
    lower = [replace(s, bead=b) for b in reversed(BEADS) if b < s.bead][:1]
    if best.torn:
        order = [*lower, less, wide, more, tight]
    elif best.slack:
        order = [more, *taller, tight, less, wide]
    else:
        order = [less, more, wide, tight, *taller, *lower]
    for new in order:
        if new != s and new in allowed:
            yield new

"""Newton's method for the flat: descent on the work first, the exact tangent at the end."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags

from diewright.errors import SolveError
from diewright.mechanics.gap import Gap
from diewright.mechanics.linear import Factor, NotPositiveDefinite, Pattern
from diewright.mechanics.loads import Hold, Loads
from diewright.mechanics.membrane import assemble, total_work
from diewright.mechanics.plasticity import Curve
from diewright.watch import Watch

Floats = NDArray[np.float64]

SHORT = 0.05
"""A step shorter than this share of Newton's is a short one."""

GIVE_UP = 4
"""So many short steps in a row: this problem is given up."""


JAGGED = 10.0
"""An exact step never raises the residual more than this."""


@dataclass(frozen=True)
class Problem:
    """All that stays fixed while the flat is sought; the flat is in the rolling frame."""

    triangles: NDArray[np.int32]
    metric: Floats
    thickness: float
    form: Floats
    curve: Curve
    loads: Loads
    hold: Hold | None
    pattern: Pattern
    pins: NDArray[np.int64]
    force_scale: float
    gap: Gap
    edge: float = 1.0

    def material(self) -> tuple:
        """The arguments the membrane kernels share."""
        return (
            self.triangles,
            self.metric,
            self.thickness,
            self.form,
            self.curve.table,
            self.curve.log_step,
            self.curve.modulus,
            self.gap.reached,
            self.gap.stiffness,
        )

    def free_mask(self) -> Floats:
        """1 for free unknowns, 0 for held ones ``(2n,)``."""
        mask = np.zeros(self.pattern.total)
        mask[self.pattern.free] = 1.0
        return mask


@dataclass
class Clock:
    """Wall seconds by phase."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def phase(self, name: str) -> Iterator[None]:
        """Add the time of the block to ``name``."""
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start


@dataclass(frozen=True)
class Step:
    """One iteration: relative residual before it, the step factor and the kind of tangent."""

    iteration: int
    residual: float
    step: float
    tangent: str


@dataclass
class Outcome:
    """Where Newton ended."""

    flat: Floats
    converged: bool
    residual: float
    steps: list[Step]
    reaction: Floats
    state: Floats
    pressure: Floats


class _State:
    """Work, residual and Hessian at one flat."""

    def __init__(self, problem: Problem, flat: Floats, project: bool, values: Floats) -> None:
        self.flat = flat
        force = np.zeros_like(flat)
        self.state = np.zeros((len(problem.triangles), 6))
        self.work = assemble(flat, *problem.material(), project, problem.pattern.slot, values, force, self.state)  # type: ignore[call-arg]
        self.load = problem.loads.force(flat, self.state, edge=problem.edge).ravel()
        residual = force.ravel() + self.load
        self.rigid = None
        self.reaction = np.zeros(3)
        if problem.hold is not None:
            self.rigid = problem.hold.rigid(flat)
            balanced, self.reaction = problem.hold.balanced(residual, self.rigid)
            self.load = self.load + balanced - residual
            residual = balanced
        self.residual = residual * problem.free_mask()
        self.size = float(np.linalg.norm(self.residual)) / problem.force_scale


def newton(
    problem: Problem, flat: Floats, *, tolerance: float, most: int, watch: Watch, clock: Clock, steps: list[Step], exact_below: float
) -> Outcome:
    """Drive the residual below ``tolerance``; ``exact_below``: relative residual from which the exact tangent is tried.

    The descent steps use the positive part of every element's Hessian and a line search on the work with the loads frozen; no step may turn a
    triangle over. The exact steps solve the full, slightly unsymmetric system; they stand where they lower the residual.
    """
    values = problem.pattern.zeros()
    with clock.phase("assembly"):
        now = _State(problem, flat, True, values)
    projected = True
    stalled = 0
    short: list[float] = []
    for _ in range(most):
        watch.step("solving the blank", -np.log10(max(now.size, tolerance)) + 1, -np.log10(tolerance) + 1)
        if not np.isfinite(now.size):
            raise SolveError("The inverse solution met a value that is not a finite number.", help="Check the sheet data and the mesh.")
        if now.size < tolerance:
            break
        number = len(steps) + 1
        if len(short) >= GIVE_UP and max(short[-GIVE_UP:]) < SHORT:
            break
        if now.size < exact_below:
            trial = _exact_step(problem, now, values, projected, clock)
            if trial is not None:
                step, nxt = trial
                steps.append(Step(number, now.size, step, "exact"))
                short.append(step)
                now, projected = nxt, False
                continue
            stalled += 1
            projected = False
            if stalled == 3:
                break
        if not projected:
            with clock.phase("assembly"):
                now = _State(problem, now.flat, True, values)
            projected = True
        factor = _factor(problem, values, problem.loads.stiffness(now.flat), clock)
        with clock.phase("solve"):
            direction = _apply(problem, factor, -now.residual, now.rigid)
        with clock.phase("line search"):
            step = _descent_length(problem, now, direction)
        steps.append(Step(number, now.size, step, "descent"))
        short.append(step)
        if step == 0.0:
            break
        with clock.phase("assembly"):
            now = _State(problem, now.flat + step * direction.reshape(-1, 2), True, values)
    pressure = problem.gap.pressure(now.flat, problem.triangles, problem.loads.areas)
    return Outcome(now.flat, now.size < tolerance, now.size, steps, now.reaction, now.state, pressure)


def _factor(problem: Problem, values: Floats, stiffness: Floats, clock: Clock) -> Factor:
    pattern = problem.pattern
    with clock.phase("solve"):
        total = values.copy()
        total[pattern.diagonal] += np.repeat(stiffness, 2)[pattern.free]
        shift = 0.0
        mean = float(np.abs(total[pattern.diagonal]).mean())
        total[pattern.diagonal[problem.pins]] += mean
        while True:
            try:
                return pattern.factor(total)
            except NotPositiveDefinite:
                more = 10 * shift if shift else 1e-6 * mean
                if more > 10 * mean:
                    raise SolveError(
                        "The equations of the inverse solution cannot be solved.", help="Check the mesh for needles."
                    ) from None
                total[pattern.diagonal] += more - shift
                shift = more


def _apply(problem: Problem, factor: Factor, right: Floats, rigid: Floats | None) -> Floats:
    out = np.zeros(problem.pattern.total)
    out[problem.pattern.free] = factor.solve(right[problem.pattern.free])
    return problem.hold.kept(out, rigid) if problem.hold is not None and rigid is not None else out


def longest_step(flat: Floats, direction: Floats, triangles: NDArray[np.int32]) -> float:
    """Largest factor (at most 1) that keeps every flat triangle from losing more than nine tenths on its way to turning over."""
    a, b = flat[triangles[:, 1]] - flat[triangles[:, 0]], flat[triangles[:, 2]] - flat[triangles[:, 0]]
    da, db = direction[triangles[:, 1]] - direction[triangles[:, 0]], direction[triangles[:, 2]] - direction[triangles[:, 0]]
    c0 = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    c1 = a[:, 0] * db[:, 1] - a[:, 1] * db[:, 0] + da[:, 0] * b[:, 1] - da[:, 1] * b[:, 0]
    c2 = da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]
    disc = c1 * c1 - 4 * c0 * c2
    root = np.sqrt(np.maximum(disc, 0.0))
    # smallest positive root of c0 + c1 s + c2 s^2, in the form that does not cancel
    with np.errstate(divide="ignore", invalid="ignore"):
        first = np.where(c1 < 0, 2 * c0 / (-c1 + root), np.where(c2 < 0, (-c1 - root) / (2 * c2), np.inf))
    first = np.where((disc < 0) | ~np.isfinite(first) | (first <= 0), np.inf, first)
    return float(min(1.0, 0.9 * first.min()))


def _descent_length(problem: Problem, now: _State, direction: Floats) -> float:
    d = direction.reshape(-1, 2)
    slope = float(now.residual @ direction)
    step = longest_step(now.flat, d, problem.triangles)
    pull = float(now.load @ direction)
    noise = 1e-12 * abs(now.work)
    for _ in range(30):
        work = total_work(now.flat + step * d, *problem.material())
        if work + step * pull - now.work <= 1e-4 * step * slope + noise:
            return step
        step *= 0.5
    return 0.0


def _exact_step(problem: Problem, now: _State, values: Floats, projected: bool, clock: Clock) -> tuple[float, _State] | None:
    """One step with the exact tangent ``J``, or None where it does not lead on.

    A step stands where it lowers the residual, or the flat distance still to go as this tangent sees it, ``|J^-1 r|`` (natural monotonicity:
    P. Deuflhard, Newton Methods for Nonlinear Problems, 2004, ch. 3): triangles that start to yield make the residual jagged, not the flat.
    """
    pattern = problem.pattern
    with clock.phase("assembly"):
        if projected:
            now = _State(problem, now.flat, False, values)
        extra = problem.loads.tangent(now.flat, now.state, edge=problem.edge)[pattern.free][:, pattern.free]
    with clock.phase("solve"):
        try:
            tangent = _Tangent(problem, (pattern.full(values) + extra).tocsr())
            direction = tangent.solve(-now.residual)
        except (NotPositiveDefinite, np.linalg.LinAlgError):
            return None
    if not np.isfinite(direction).all():
        return None
    far = float(np.linalg.norm(direction))
    with clock.phase("line search"):
        step = longest_step(now.flat, direction.reshape(-1, 2), problem.triangles)
    for _ in range(4):
        with clock.phase("assembly"):
            nxt = _State(problem, now.flat + step * direction.reshape(-1, 2), False, values)
        if nxt.size < (1 - 0.1 * step) * now.size:
            return step, nxt
        if nxt.size < JAGGED * now.size:
            with clock.phase("solve"):
                left = float(np.linalg.norm(tangent.solve(-nxt.residual)))
            if left < (1 - 0.5 * step) * far:
                return step, nxt
        step *= 0.4
    return None


class _Tangent:
    """The factorised exact tangent under the hold's conditions: ``J d + C^T l = r``, ``C d = 0``.

    ``J`` alone is singular (rigid motions), so springs ``k P P^T`` on three unknowns are added to factorise and taken off again through
    ``mu = k P^T d``: six small unknowns, exact, no pinned point.
    """

    def __init__(self, problem: Problem, tangent: csr_matrix) -> None:
        pattern, self.hold = problem.pattern, problem.hold
        self.free, self.total = pattern.free, pattern.total
        if self.hold is None:
            self.factor = pattern.general_factor(tangent)
            return
        k = float(np.abs(tangent.diagonal()).mean())
        spring = np.zeros(pattern.size)
        spring[problem.pins] = k
        self.picks = np.zeros((pattern.size, 3))
        self.picks[problem.pins, np.arange(3)] = 1.0
        self.factor = pattern.general_factor(tangent + diags(spring))
        self.columns = self.factor.solve(np.column_stack([-self.hold.rows.T, self.picks]))
        self.small = np.vstack([self.hold.rows @ self.columns, self.picks.T @ self.columns])
        self.small[3:, 3:] -= np.eye(3) / k

    def solve(self, right: Floats) -> Floats:
        """``d (2n,)`` for a right side ``(2n,)``."""
        out = np.zeros(self.total)
        if self.hold is None:
            out[self.free] = self.factor.solve(right[self.free])
            return out
        x = self.factor.solve(right)
        unknown = np.linalg.solve(self.small, -np.concatenate([self.hold.rows @ x, self.picks.T @ x]))
        return np.asarray(x + self.columns @ unknown)

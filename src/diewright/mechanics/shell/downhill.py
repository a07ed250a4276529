"""Steps towards a stable equilibrium of a sheet that has been let go.

A sheet fresh from the press may be about to buckle: its tangent is not positive definite, or barely. Then its nodes are held back by springs to where they are,
``(K + a I) du = -r`` (a backward Euler step of a sheet that creeps), and the springs are let go as it settles. What was tried is in ``docs/design/shell.md``.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix

from diewright.errors import SolveError
from diewright.mechanics.linear import Definite, NotPositiveDefinite
from diewright.mechanics.shell.form import ShellForm, place
from diewright.mechanics.shell.patch import Patches

Floats = NDArray[np.float64]
Residual = Callable[
    [ShellForm], tuple[Floats, Floats, ShellForm, float]
]  # force out of balance, internal force, new state, what elements carry
LEAST = 1e-9  # softest spring that counts, over Young's modulus times thickness
STIFFER, SOFTER = 10.0, 0.2
RISE = 3.0  # the residual may grow by this on the way: bending stretches to second order


Stepped = tuple[ShellForm, Floats, Floats, ShellForm, float, float]  # form, then as Residual, then the size of the residual


class Downhill:
    """The springs of one load increment; ``free``: numbers of the unknowns solved for, ``weight``: what makes moments count as forces."""

    def __init__(self, patches: Patches, free: NDArray[np.intp], weight: Floats, plate: float, span: float, definite: Definite) -> None:
        self._patches, self._free, self._weight, self._span, self._definite = patches, free, weight, span, definite
        self._least = LEAST * plate
        self._held = 0.0
        self._on_nodes = (free < 3 * patches.n).astype(np.float64)

    def step(self, now: ShellForm, res: Floats, size: float, lower: csc_matrix, residual: Residual) -> Stepped | None:
        """``(form, residual, internal force, new state, carried, size)`` after one step; None where no spring is stiff enough for one.

        The springs are raised until the matrix is positive definite and some share of the step both brings the residual's component along it down (the sign of
        a potential that falls) and leaves the residual's size below :data:`RISE` times what it was; they are lowered after every whole step.
        """
        for _ in range(20):
            du = np.zeros(len(res))
            try:
                du[self._free] = -self._definite.solve(lower, res[self._free], self._held * self._on_nodes)
            except NotPositiveDefinite:
                self._raise()
                continue
            found = self._along(now, res, size, du, residual)
            if found is not None:
                share, stepped = found
                if share == 1.0:
                    self._held *= SOFTER
                if self._held < SOFTER * self._least:
                    self._held = 0.0
                return stepped
            self._raise()
        return None

    def _raise(self) -> None:
        self._held = max(STIFFER * self._held, self._least)

    def _along(self, now: ShellForm, res: Floats, size: float, du: Floats, residual: Residual) -> tuple[float, Stepped] | None:
        """A share of the step that goes down, by regula falsi on the residual's component along it; None if five do not."""
        n, n3 = self._patches.n, 3 * self._patches.n
        begin = float(du @ res)
        longest = float(np.abs(du[:n3]).max())
        if not np.isfinite(longest) or begin == 0.0:
            return None
        share = min(1.0, 4.0 * self._span / max(longest, 1e-300))
        for _ in range(5):
            trial = now.copy()
            trial.x[:n] += share * du[:n3].reshape(-1, 3)
            trial.slope += share * du[n3:]
            trial.x = place(self._patches, trial.x)
            slope = np.nan
            try:
                res_new, f, new, carried = residual(trial)
                size_new = float(np.linalg.norm(self._weight * res_new))
                slope = float(du @ res_new) / begin
                if size_new < RISE * size and abs(slope) < 0.9:
                    return share, (trial, res_new, f, new, carried, size_new)
            except SolveError:
                pass
            share *= max(0.1, 1.0 / (1.0 - slope)) if -20.0 < slope < 0.0 else 0.5
        return None

"""Conjugate gradients for the symmetric systems of the tank, preconditioned by algebraic multigrid where it is installed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import LinearOperator, cg

from diewright.errors import SolveError

Floats = NDArray[np.float64]
MOST = 2000
TIRED = 40
"""Iterations after which the multigrid of an earlier matrix is made anew."""


def multigrid_here() -> bool:
    """Whether the multigrid library can be loaded; it has no wheel for every processor."""
    try:
        import pyamg  # noqa: F401
    except ImportError:
        return False
    return True


@dataclass
class Solver:
    """Solves ``A x = b`` for a row of matrices that differ little: the preconditioner of the first is kept until it tires.

    ``multigrid`` False takes the diagonal as preconditioner. ``iterations`` counts all so far.
    """

    multigrid: bool = field(default_factory=multigrid_here)
    iterations: int = 0
    _kept: Any = None
    _tired: bool = True

    def solve(self, matrix: csr_matrix, right: Floats, start: Floats | None = None, tolerance: float = 1e-9) -> Floats:
        """x with ``|b - A x| <= tolerance |b|``; raises :class:`SolveError` with the residual reached."""
        size = float(np.linalg.norm(right))
        if size == 0.0:
            return np.zeros_like(right)
        count = 0

        def counted(_: Floats) -> None:
            nonlocal count
            count += 1

        x, failed = cg(matrix, right, x0=start, rtol=tolerance, atol=0.0, maxiter=MOST, M=self._preconditioner(matrix), callback=counted)
        self.iterations += count
        self._tired = count > TIRED
        left = float(np.linalg.norm(right - matrix @ x)) / size
        if failed or not np.isfinite(left):
            raise SolveError(
                f"The linear system of the tank was not solved: {left:.2g} of the load is left after {count} iterations (wanted {tolerance:.2g}).",
                help="State another mesh quality.",
            )
        return x

    def _preconditioner(self, matrix: csr_matrix) -> LinearOperator:
        if not self.multigrid:
            diagonal = 1.0 / matrix.diagonal()
            return LinearOperator(matrix.shape, matvec=lambda x: diagonal * x)
        if self._tired or self._kept is None or self._kept.shape != matrix.shape:
            from pyamg import smoothed_aggregation_solver

            self._kept = smoothed_aggregation_solver(matrix, max_coarse=300).aspreconditioner(cycle="V")
        return self._kept

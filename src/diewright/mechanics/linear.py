"""Sparse symmetric systems on a triangle mesh: one pattern, one ordering, many factorisations.

The lower triangle of the matrix is kept in compressed columns. CHOLMOD (through cvxopt) factorises it with the ordering
analysed once; where cvxopt is missing, scipy's SuperLU takes over (about four times slower on the matrices of
the inverse solver; the figures are in ``docs/design/inverse.md``).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix, csr_matrix, tril
from scipy.sparse.linalg import splu

try:
    import cvxopt
    from cvxopt import cholmod
except ImportError:  # the fallback is slower, not worse
    cvxopt = cholmod = None

Floats = NDArray[np.float64]


class NotPositiveDefinite(ArithmeticError):
    """The matrix has no Cholesky factor."""


class Pattern:
    """Lower-triangle pattern for ``width`` unknowns per node of a triangle mesh.

    Unknown ``c`` of node ``i`` has number ``width i + c``; ``fixed`` marks the ones taken out. ``slot (m, 6·7/2 or 3·4/2)``
    says where each entry of an element's lower triangle goes in ``values (nnz + 1,)``; the last value is a sink.
    """

    def __init__(self, triangles: NDArray[np.int32], nodes: int, width: int, fixed: NDArray[np.bool_]) -> None:
        self.width = width
        self.total = width * nodes
        self.free = np.flatnonzero(~fixed)
        number = np.full(self.total, -1, dtype=np.int64)
        number[self.free] = np.arange(len(self.free))
        self.size = len(self.free)
        dof = (width * triangles[:, :, None].astype(np.int64) + np.arange(width)).reshape(len(triangles), -1)
        local = number[dof]
        k = local.shape[1]
        rows, cols = np.tril_indices(k)
        a, b = local[:, rows], local[:, cols]
        low, high = np.minimum(a, b), np.maximum(a, b)
        key = np.where(low < 0, -1, low * self.size + high)
        unique, inverse = np.unique(key, return_inverse=True)
        shift = 1 if unique[0] == -1 else 0
        self.nnz = len(unique) - shift
        slot = inverse.reshape(key.shape) - shift
        self.slot = np.ascontiguousarray(np.where(slot < 0, self.nnz, slot)).astype(np.int32)
        unique = unique[shift:]
        self.column, self.row = (unique // self.size).astype(np.int32), (unique % self.size).astype(np.int32)
        self.start = np.searchsorted(self.column, np.arange(self.size + 1)).astype(np.int32)
        self.diagonal = np.flatnonzero(self.row == self.column)
        self._symbolic: Any = None
        self._matrix: Any = None
        self._order: NDArray[np.int64] | None = None

    def zeros(self) -> Floats:
        """Room for the values, with the sink at the end."""
        return np.zeros(self.nnz + 1)

    def full(self, values: Floats) -> csr_matrix:
        """The whole symmetric matrix on the free unknowns."""
        lower = csc_matrix((values[: self.nnz], self.row, self.start), shape=(self.size, self.size))
        upper = lower.T.tocsr(copy=True)
        upper.setdiag(0.0)
        return (lower.tocsr() + upper).tocsr()

    def general_factor(self, matrix: csr_matrix) -> GeneralFactor:
        """Factorise an unsymmetric matrix with this pattern; the ordering of the first call serves the later ones."""
        factor = GeneralFactor(matrix, order=self._order)
        self._order = factor.ordering()
        return factor

    def factor(self, values: Floats) -> Factor:
        """Factorise; raises :class:`NotPositiveDefinite`."""
        if cholmod is None:
            return _LuFactor(self.full(values).tocsc())
        if self._matrix is None:
            v, i, j = (
                cvxopt.matrix(np.ascontiguousarray(x))
                for x in (values[: self.nnz], self.row.astype(np.int64), self.column.astype(np.int64))
            )
            self._matrix = cvxopt.spmatrix(v, i, j, (self.size, self.size))
            self._symbolic = cholmod.symbolic(self._matrix)
        else:
            self._matrix.V = cvxopt.matrix(np.ascontiguousarray(values[: self.nnz]))
        try:
            cholmod.numeric(self._matrix, self._symbolic)
        except ArithmeticError as error:
            raise NotPositiveDefinite from error
        return _CholeskyFactor(self._symbolic)


class Definite:
    """Positive definite systems given by their lower triangles; the ordering is kept as long as the pattern stays the same."""

    def __init__(self) -> None:
        self._lower: csc_matrix | None = None
        self._matrix: Any = None
        self._symbolic: Any = None

    def solve(self, lower: csc_matrix, right: Floats, springs: Floats | float = 0.0) -> Floats:
        """Solve with the matrix of ``lower`` plus ``springs`` on its diagonal; raises :class:`NotPositiveDefinite`.

        ``lower`` must have sorted indices.
        """
        first = lower.indptr[:-1]
        if not np.array_equal(lower.indices[np.minimum(first, lower.nnz - 1)], np.arange(lower.shape[0])):
            raise NotPositiveDefinite  # a diagonal entry is missing
        values = lower.data.copy()
        values[first] += springs
        if cholmod is None:
            sprung = csc_matrix((values, lower.indices, lower.indptr), shape=lower.shape)
            return _LuFactor((sprung + tril(sprung, -1).T).tocsc()).solve(right)
        if self._lower is None or not _same_pattern(self._lower, lower):
            t = lower.tocoo()
            i, j = (cvxopt.matrix(np.ascontiguousarray(x, dtype=np.int64)) for x in (t.row, t.col))
            self._matrix = cvxopt.spmatrix(cvxopt.matrix(values), i, j, lower.shape)
            self._symbolic = cholmod.symbolic(self._matrix)
            self._lower = lower
        else:
            self._matrix.V = cvxopt.matrix(values)
        x = cvxopt.matrix(np.ascontiguousarray(right, dtype=float))
        try:
            cholmod.numeric(self._matrix, self._symbolic)
        except ArithmeticError:
            raise NotPositiveDefinite from None
        cholmod.solve(self._symbolic, x)
        return np.asarray(x).ravel()


def _same_pattern(a: csc_matrix, b: csc_matrix) -> bool:
    return a.nnz == b.nnz and np.array_equal(a.indptr, b.indptr) and np.array_equal(a.indices, b.indices)


def solve_symmetric(lower: csc_matrix, right: Floats, definite: Definite) -> Floats:
    """Solve with the symmetric matrix of a lower triangle: by ``definite`` where it is positive definite, SuperLU with little pivoting where it is not (or CHOLMOD is missing).

    Raises ``RuntimeError`` for a singular matrix.
    """
    if cholmod is not None:
        try:
            return definite.solve(lower, right)
        except NotPositiveDefinite:
            pass
    matrix = (lower + tril(lower, -1).T).tocsc()
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.01, options={"SymmetricMode": True}).solve(right)


class Factor:
    """A factorised matrix."""

    def solve(self, right: Floats) -> Floats:
        """Solution for one right side ``(size,)`` or several ``(size, k)``."""
        raise NotImplementedError


class _CholeskyFactor(Factor):
    def __init__(self, symbolic: Any) -> None:
        self._symbolic = symbolic

    def solve(self, right: Floats) -> Floats:
        x = cvxopt.matrix(np.asfortranarray(right, dtype=float))
        cholmod.solve(self._symbolic, x)
        return np.asarray(x).reshape(right.shape)


class GeneralFactor(Factor):
    """SuperLU factor of a matrix with symmetric pattern that need not be symmetric or definite; ``order`` reuses an earlier ordering."""

    def __init__(self, matrix: csr_matrix, pivoting: float = 0.01, order: NDArray[np.int64] | None = None) -> None:
        self.order = order
        if order is not None:
            matrix = matrix[order][:, order]
        matrix = csc_matrix(matrix)
        matrix.sort_indices()
        try:
            self._lu = splu(
                matrix,
                permc_spec="MMD_AT_PLUS_A" if order is None else "NATURAL",
                diag_pivot_thresh=pivoting,
                options={"SymmetricMode": True},
            )
        except RuntimeError as error:
            raise NotPositiveDefinite from error

    def ordering(self) -> NDArray[np.int64]:
        """The elimination order that was found or given."""
        return np.argsort(self._lu.perm_c) if self.order is None else self.order

    def solve(self, right: Floats) -> Floats:
        if self.order is None:
            return self._lu.solve(np.ascontiguousarray(right, dtype=float))
        out = np.zeros_like(right, dtype=float)
        out[self.order] = self._lu.solve(np.ascontiguousarray(right[self.order], dtype=float))
        return out


class _LuFactor(GeneralFactor):
    """SuperLU in the place of CHOLMOD: refuses what is not positive definite."""

    def __init__(self, matrix: csc_matrix) -> None:
        super().__init__(matrix, pivoting=0.0)
        if not (self._lu.U.diagonal() > 0).all():
            raise NotPositiveDefinite

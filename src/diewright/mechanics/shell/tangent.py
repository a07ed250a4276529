"""Element stiffness by central differences of the element's own forces.

The kernel is the law: what it answers is differentiated with the state of the start of the increment held, so that plasticity,
prestress and the turning of normals are all in the tangent, and a change in the kernel needs no second derivation.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numba import njit, prange
from numpy.typing import NDArray

from diewright.mechanics.shell.element import element_force
from diewright.mechanics.shell.layout import C_AREA, KERNEL
from diewright.mechanics.shell.patch import Patches

Floats = NDArray[np.float64]
ALLOCATING = {**KERNEL, "_nrt": True}


@njit(**ALLOCATING)
def _one(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, out):
    ny = state.shape[1]
    local = np.zeros((6, 3))
    own = np.zeros((1, 9), dtype=np.int32)
    turn = np.zeros(3)
    row = np.zeros((1, coef.shape[1]))
    s = np.zeros((1, ny))
    t = np.zeros(1)
    force = np.zeros((1, 21))
    row[0] = coef[e]
    for a in range(6):
        own[0, a] = a
        for d in range(3):
            local[a, d] = x[conn[e, a], d]
    # A far node that is a corner (open side) must move with that corner.
    for a in range(3, 6):
        for c in range(3):
            if conn[e, a] == conn[e, c]:
                own[0, a] = c
    for a in range(3):
        own[0, 6 + a] = a
        turn[a] = slope[conn[e, 6 + a]]
    size = 1e-5 * np.sqrt(coef[e, C_AREA])
    # One place where the kernel is called: each further one would be compiled again.
    for k in range(42):
        a, back = k // 2, k % 2
        width = size if a < 18 else 1e-5
        moved = -width if back else width
        if a < 18:
            old = local[a // 3, a % 3]
            local[a // 3, a % 3] = old + moved
        else:
            old = turn[a - 18]
            turn[a - 18] = old + moved
        s[0] = state[e]
        t[0] = stretch[e]
        element_force(0, local, turn, own, row, s, t, stations, mat, table, kinematic, force)
        if a < 18:
            local[a // 3, a % 3] = old
        else:
            turn[a - 18] = old
        for j in range(21):
            if back:
                out[e, j, a] = (out[e, j, a] - force[0, j]) / (2.0 * width)
            else:
                out[e, j, a] = force[0, j]


@njit(**{**ALLOCATING, "parallel": True})
def element_stiffness(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, out):  # noqa: ANN201
    """``out (ne, 21, 21)``: derivative of force (moment) slot by displacement (slope) slot, N and mm."""
    for e in prange(conn.shape[0]):
        _one(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, out)


class Assembler:
    """Sums element stiffnesses over the free unknowns: ``3 n`` directions of the real nodes, then the sides."""

    def __init__(self, patches: Patches, free: NDArray[np.bool_]) -> None:
        self.patches = patches
        self.free = np.flatnonzero(free)
        conn = patches.conn
        everyone = 3 * len(patches.points)
        dof = np.hstack([(3 * conn[:, :6, None] + np.arange(3)).reshape(len(conn), 18), everyone + conn[:, 6:]])
        self._size = everyone + len(patches.side_free)
        self._rows = np.repeat(dof, 21, axis=1).ravel()
        self._cols = np.tile(dof, (1, 21)).ravel()
        self._spread = self._spreading()[:, self.free]
        self._pattern: tuple[NDArray[np.intp], NDArray[np.int32], NDArray[np.int32], NDArray[np.intp]] | None = None

    def _spreading(self) -> sp.csc_matrix:
        """Unknowns of all nodes (mirror images too) and sides from those of the real ones, (3 (n + g) + sides, 3 n + sides)."""
        n, g, sides = self.patches.n, len(self.patches.ghost), len(self.patches.side_free)
        if not g:
            return sp.identity(3 * n + sides, format="csc")
        rows, cols, vals = [], [], []
        for k in range(g):
            p = self.patches.ghost_normal[k]
            turn = 2.0 * np.outer(p, p)
            for node, block in ((self.patches.ghost[k, 0], np.eye(3) - turn), (self.patches.ghost[k, 1], turn)):
                rows.append(np.repeat(3 * k + np.arange(3), 3))
                cols.append(np.tile(3 * node + np.arange(3), 3))
                vals.append(block.ravel())
        tail = sp.csr_matrix((np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols))), shape=(3 * g, 3 * n))
        return sp.block_diag([sp.vstack([sp.identity(3 * n), tail]), sp.identity(sides)], format="csc")

    def lower(self, blocks: Floats) -> sp.csc_matrix:
        """Lower triangle of :meth:`matrix`; where each number goes is found once (without mirror images)."""
        if len(self.patches.ghost):
            return sp.tril(self.matrix(blocks), format="csc")
        size = len(self.free)
        if self._pattern is None:
            number = np.full(self._size, -1, dtype=np.int64)
            number[self.free] = np.arange(size)
            a, b = number[self._rows], number[self._cols]
            taken = np.flatnonzero((a >= b) & (b >= 0))
            key, place = np.unique(b[taken] * size + a[taken], return_inverse=True)
            start = np.searchsorted(key, size * np.arange(size + 1)).astype(np.int32)
            self._pattern = (taken, (key % size).astype(np.int32), start, place.ravel())
        taken, row, start, place = self._pattern
        even = 0.5 * (blocks + blocks.transpose(0, 2, 1))
        return sp.csc_matrix((np.bincount(place, weights=even.ravel()[taken], minlength=len(row)), row, start), shape=(size, size))

    def matrix(self, blocks: Floats) -> sp.csc_matrix:
        """Stiffness over the free directions; made symmetric, which a tangent with a stiff return is not quite."""
        full = sp.csc_matrix((blocks.ravel(), (self._rows, self._cols)), shape=(self._size, self._size))
        k = self._spread.T @ full @ self._spread
        return (0.5 * (k + k.T)).tocsc()

"""What acts on the sheet besides its own stress, seen from the flat: edge terms, bead restraint, blankholder friction, the punch's hold.

Why the edge has a term of its own. With the part fixed and the flat varied, ``delta x = -F delta X`` turns the equilibrium of the part
into the balance of the configurational stress ``w 1 - M``, ``M = F^T P`` (Eshelby 1951), inside the sheet; at a free edge the work sum
alone would ask for ``M N = w N`` (it pays to leave material out), while the real edge carries nothing, ``M N = 0``. So each free edge gets
the pressure ``-t0 w`` of its own triangle, which restores the real edge. A bead's pull ``q`` [N/mm of part edge] along the
outward tangent of the part is, pulled back, the pressure ``+q J`` with ``J = a / A0`` (Nanson). Together::

    r_edge = p L N / 2 on both ends,   p = q J - t0 w

Blankholder friction on a flange triangle of plan area ``a_e`` pulls each node against its draw-in, ``u = X - x``::

    r_a += 2 mu F_bh a_e / (3 sum a) * M_e^T u / sqrt(|u|^2 + d^2),   M_e = plan part of F

(``d`` = :data:`STICK`: below that slip the friction is not fully mobilised).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

STICK = 0.05
"""Slip at which blankholder friction is mobilised to 70 % [mm]."""


@dataclass(frozen=True)
class Drag:
    """What holds the drawn wall back: force ``(k,)`` [N] per node of the triangles ``cells (k,)``, along a fixed direction ``e`` on the part.

    ``along (k, 2)`` are the part's edge vectors (1 to 2, 1 to 3) times ``e``, so that ``F^T e = A^-T along`` with the flat's edges ``A``.
    """

    cells: NDArray[np.int64]
    force: Floats
    along: Floats


@dataclass(frozen=True)
class Loads:
    """Edge and flange loads; ``plan (n, 2)`` are the part's points in plan, in the same (rolling) frame as the flat.

    ``bead (b,)`` [N/mm] per boundary edge; ``friction (k,)`` [N] per node of each flange triangle ``flange (k,)``.
    """

    triangles: Ints
    boundary: Ints
    owner: NDArray[np.int64]
    bead: Floats
    areas: Floats
    thickness: float
    flange: NDArray[np.int64]
    friction: Floats
    plan: Floats
    wall: Drag | None = None

    def edge_pressure(self, flat: Floats, state: Floats, edge: float = 1.0) -> Floats:
        """``p = q J - t0 w`` of each boundary edge [N/mm]; ``state`` as kept by :func:`membrane.assemble`."""
        return (
            self.bead * self.areas[self.owner] / _flat_areas(flat, self.triangles[self.owner])
            - edge * self.thickness * state[self.owner, 0]
        )

    def force(self, flat: Floats, state: Floats, edge: float = 1.0) -> Floats:
        """The loads' share of the residual ``(n, 2)`` [N]."""
        out = np.zeros_like(flat)
        along = flat[self.boundary[:, 1]] - flat[self.boundary[:, 0]]
        half = 0.5 * self.edge_pressure(flat, state, edge)[:, None] * np.column_stack([along[:, 1], -along[:, 0]])
        for k in range(2):
            np.add.at(out, self.boundary[:, k], half)
        if len(self.flange):
            pulled, _, _ = self._pulled(flat)
            for k in range(3):
                np.add.at(out, self.triangles[self.flange, k], pulled[:, k])
        if self.wall is not None:
            dragged, _ = self._dragged(flat, self.wall)
            for k in range(3):
                np.add.at(out, self.triangles[self.wall.cells, k], dragged)
        return out

    def _dragged(self, flat: Floats, wall: Drag) -> tuple[Floats, Floats]:
        """Per wall triangle: force on each of its nodes ``(k, 2)`` and ``A^-1``."""
        t = self.triangles[wall.cells]
        inverse = np.linalg.inv(np.stack([flat[t[:, 1]] - flat[t[:, 0]], flat[t[:, 2]] - flat[t[:, 0]]], axis=2))
        return wall.force[:, None] * np.einsum("kji,kj->ki", inverse, wall.along), inverse

    def _pulled(self, flat: Floats) -> tuple[Floats, Floats, Floats]:
        """Per flange triangle and node: friction pulled back ``(k, 3, 2)``, ``A^-1`` and ``M`` ``(k, 2, 2)``."""
        t = self.triangles[self.flange]
        inverse = np.linalg.inv(np.stack([flat[t[:, 1]] - flat[t[:, 0]], flat[t[:, 2]] - flat[t[:, 0]]], axis=2))
        plan = np.stack([self.plan[t[:, 1]] - self.plan[t[:, 0]], self.plan[t[:, 2]] - self.plan[t[:, 0]]], axis=2)
        m = plan @ inverse
        u = flat[t] - self.plan[t]
        direction = u / np.sqrt((u * u).sum(axis=2, keepdims=True) + STICK**2)
        return self.friction[:, None, None] * np.einsum("kji,kaj->kai", m, direction), inverse, m

    def tangent(self, flat: Floats, state: Floats, edge: float = 1.0) -> csr_matrix:
        """Exact derivative of :meth:`force`, ``(2n, 2n)``, not symmetric."""
        n = len(flat)
        rows, cols, values = [], [], []
        own = self.triangles[self.owner]
        along = flat[self.boundary[:, 1]] - flat[self.boundary[:, 0]]
        normal = np.column_stack([along[:, 1], -along[:, 0]])
        area = _flat_areas(flat, own)
        pressure = self.edge_pressure(flat, state, edge)
        # dp/d(edge vectors ax, bx, ay, by), then to the nodes
        ax, ay = (flat[own[:, 1]] - flat[own[:, 0]]).T
        bx, by = (flat[own[:, 2]] - flat[own[:, 0]]).T
        darea = 0.5 * np.column_stack([by, -ay, -bx, ax])
        dp = -(self.bead * self.areas[self.owner] / area**2)[:, None] * darea - edge * self.thickness * state[self.owner, 2:6]
        dnode = np.stack([np.column_stack([-dp[:, 0] - dp[:, 1], -dp[:, 2] - dp[:, 3]]), dp[:, [0, 2]], dp[:, [1, 3]]], axis=1)
        for end in range(2):
            for c in range(2):
                for k in range(3):
                    for d in range(2):
                        rows.append(2 * self.boundary[:, end] + c)
                        cols.append(2 * own[:, k] + d)
                        values.append(0.5 * normal[:, c] * dnode[:, k, d])
                for other, sign in ((1, 1.0), (0, -1.0)):
                    rows.append(2 * self.boundary[:, end] + c)
                    cols.append(2 * self.boundary[:, other] + 1 - c)
                    values.append(0.5 * pressure * sign * (1.0 if c == 0 else -1.0))
        if len(self.flange):
            t = self.triangles[self.flange]
            pulled, inverse, m = self._pulled(flat)
            u = flat[t] - self.plan[t]
            length = np.sqrt((u * u).sum(axis=2) + STICK**2)
            slope = (np.eye(2) - np.einsum("kai,kaj->kaij", u, u) / length[..., None, None] ** 2) / length[..., None, None]
            direct = self.friction[:, None, None, None] * np.einsum("kji,kajl->kail", m, slope)
            # delta(M^T u) = -A^-T dA^T (M^T u)
            gradient = np.stack([-inverse[:, 0] - inverse[:, 1], inverse[:, 0], inverse[:, 1]], axis=1)  # (k, node, 2): dN/dX
            for a in range(3):
                for c in range(2):
                    for d in range(2):
                        rows.append(2 * t[:, a] + c)
                        cols.append(2 * t[:, a] + d)
                        values.append(direct[:, a, c, d])
                        for b in range(3):
                            rows.append(2 * t[:, a] + c)
                            cols.append(2 * t[:, b] + d)
                            values.append(-gradient[:, b, c] * pulled[:, a, d])
        if self.wall is not None:
            t = self.triangles[self.wall.cells]
            dragged, inverse = self._dragged(flat, self.wall)
            # delta(A^-T along) = -A^-T dA^T (A^-T along)
            gradient = np.stack([-inverse[:, 0] - inverse[:, 1], inverse[:, 0], inverse[:, 1]], axis=1)
            for a in range(3):
                for b in range(3):
                    for c in range(2):
                        for d in range(2):
                            rows.append(2 * t[:, a] + c)
                            cols.append(2 * t[:, b] + d)
                            values.append(-gradient[:, b, c] * dragged[:, d])
        return coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))), shape=(2 * n, 2 * n)).tocsr()

    def stiffness(self, flat: Floats) -> Floats:
        """Positive part of the friction's own stiffness per node ``(n,)`` [N/mm], for the descent steps."""
        out = np.zeros(len(flat))
        if len(self.flange):
            t = self.triangles[self.flange]
            u = flat[t] - self.plan[t]
            np.add.at(out, t, self.friction[:, None] / np.sqrt((u * u).sum(axis=2) + STICK**2))
        return out


def _flat_areas(flat: Floats, triangles: Ints) -> Floats:
    u, v = flat[triangles[:, 1]] - flat[triangles[:, 0]], flat[triangles[:, 2]] - flat[triangles[:, 0]]
    return 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


class Hold:
    """The punch face holds the blank's place: weighted mean position and mean turn of the flat are those of the part in plan.

    These three conditions take out the rigid motions. Their reactions are spread over the whole face with the same weights (no pinned point);
    they vanish for balanced loads and are, otherwise, what friction on the punch must carry.
    """

    def __init__(self, weight: Floats, plan: Floats) -> None:
        n = len(weight)
        centred = plan - weight @ plan
        self.rows = np.zeros((3, 2 * n))
        self.rows[0, 0::2] = weight
        self.rows[1, 1::2] = weight
        self.rows[2, 0::2] = -weight * centred[:, 1]
        self.rows[2, 1::2] = weight * centred[:, 0]

    def rigid(self, flat: Floats) -> Floats:
        """Rigid motions ``(2n, 3)`` at a flat."""
        z = np.zeros((flat.size, 3))
        z[0::2, 0] = 1.0
        z[1::2, 1] = 1.0
        centred = flat - flat.mean(axis=0)
        z[0::2, 2] = -centred[:, 1]
        z[1::2, 2] = centred[:, 0]
        return z

    def balanced(self, residual: Floats, rigid: Floats) -> tuple[Floats, Floats]:
        """The residual ``(2n,)`` without its rigid part, and the reactions ``(3,)`` [N, N, N mm]."""
        reaction = np.linalg.solve((self.rows @ rigid).T, rigid.T @ residual)
        return residual - self.rows.T @ reaction, np.asarray(reaction, dtype=np.float64)

    def kept(self, step: Floats, rigid: Floats) -> Floats:
        """The step ``(2n,)`` moved rigidly so that the three conditions stay true."""
        return step - rigid @ np.linalg.solve(self.rows @ rigid, self.rows @ step)

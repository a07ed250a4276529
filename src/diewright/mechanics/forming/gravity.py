"""How a blank sags on its die under its own weight, before anything closes.

Static: bending, stretching and frictionless contact with the faces as penalties, by Newton. A blank that does not touch yet, or lies so that it can slide, has no
stiffness of its own; it is located at two of its nodes in plan, and each solution is therefore tied to the one before by springs in proportion to the weight of every node (implicit steps of a motion in honey),
which fade as it comes to rest and carry nothing in the end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.mechanics.contact.reach import distances
from diewright.mechanics.contact.tools import ToolSet
from diewright.mechanics.linear import Definite, solve_symmetric
from diewright.mechanics.shell.form import ShellForm, place
from diewright.mechanics.shell.layout import C_AREA, C_THICKNESS
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.patch import Patches
from diewright.mechanics.shell.static import StaticShell

Floats = NDArray[np.float64]
G = 9810.0  # mm/s2
WHERE = "gravity"
SINK = 0.01  # of the thickness: how deep one node would sink into the die if it carried the whole blank
TOLERANCE = 1e-5  # of the weight: what may be left out of balance


@dataclass(frozen=True)
class Sagged:
    """A blank at rest on its faces.

    Attributes
    ----------
    form: as it lies. weight (n,) of the nodes [N]. support: (n, 3) of the faces on the nodes [N]. sag: how far its lowest node lies below where it began [mm].
    deepest: penetration over the thickness. left: out of balance over the weight. steps, iterations: of the solution.
    """

    form: ShellForm
    weight: Floats
    support: Floats
    sag: float
    deepest: float
    left: float
    steps: int
    iterations: int


def node_weight(patches: Patches, material: ShellMaterial) -> Floats:
    """Weight of the real nodes (n,) [N]."""
    own = material.density * G * patches.coef[:, C_AREA] * patches.coef[:, C_THICKNESS]
    node = np.bincount(patches.conn[:, :3].ravel(), weights=np.repeat(own / 3.0, 3), minlength=len(patches.points))
    return np.asarray(node[: patches.n], dtype=np.float64)


def sag(
    patches: Patches, material: ShellMaterial, stations: Floats, form: ShellForm, tools: ToolSet, names: tuple[str, ...] = ("die",), symmetry: str = "", most: int = 400
) -> Sagged:  # fmt: skip
    """Let a blank down onto the faces ``names`` as they stand; gravity acts along -z.

    ``symmetry``: planes of symmetry, of "xy". ``most``: Newton iterations in all. Raises :class:`SolveError` where it falls past the faces or finds no rest.
    """
    if any(a not in "xy" for a in symmetry):
        raise InputError(f"planes of symmetry {symmetry!r}: expected of 'xy'.", where=WHERE)
    return _Rest(patches, material, stations, tools, names, symmetry).work(form, most)


class _Rest:
    def __init__(
        self, patches: Patches, material: ShellMaterial, stations: Floats, tools: ToolSet, names: tuple[str, ...], symmetry: str
    ) -> None:
        self.p, self.tools, self.names = patches, tools, names
        self.static = StaticShell(patches, material, stations)
        self.definite = Definite()
        self.weight = node_weight(patches, material)
        self.total = float(self.weight.sum())
        self.thick = float(patches.coef[:, C_THICKNESS].mean())
        self.stiff = self.total / (SINK * self.thick)
        self.span = float(np.sqrt(patches.coef[:, C_AREA].mean()))
        n = patches.n
        free = np.ones((n, 3), dtype=np.bool_)
        loose = np.setdiff1d(np.arange(n), patches.conn[:, :6])
        free[loose] = False
        for axis in symmetry:
            free[np.abs(patches.points[:n, "xy".index(axis)]) < 1e-7, "xy".index(axis)] = False
        for node, d in self._located(symmetry):
            free[node, d] = False
        self.free = np.concatenate([free.ravel(), patches.side_free])
        self.unit = np.concatenate([np.ones(3 * n), np.full(len(patches.side_free), 1.0 / self.span)])
        used = self.weight > 0
        # a node of no weight is not tied either
        self.tie = np.concatenate([np.repeat(np.where(used, self.weight, 0.0), 3), np.zeros(len(patches.side_free))])

    def _located(self, symmetry: str) -> list[tuple[int, int]]:
        """Nodes and directions by which the blank is kept from sliding or turning in plan, as by its locators."""
        ids = np.unique(self.p.conn[:, :3])
        x = self.p.points[ids, :2]
        if len(symmetry) == 2:
            return []
        a = int(np.argmin(((x - x.mean(axis=0)) ** 2).sum(1)))
        if symmetry:
            return [(int(ids[a]), 1 - "xy".index(symmetry))]
        b = int(np.argmax(((x - x[a]) ** 2).sum(1)))
        across = 1 if abs(x[b, 0] - x[a, 0]) > abs(x[b, 1] - x[a, 1]) else 0
        return [(int(ids[a]), 0), (int(ids[a]), 1), (int(ids[b]), across)]

    def contact(self, x: Floats) -> tuple[Floats, Floats, list[tuple[NDArray[np.bool_], Floats]]]:
        """Force of the faces (n, 3), depth (n,) and for each face which nodes it touches with which normals."""
        force, deep, touched = np.zeros((self.p.n, 3)), np.zeros(self.p.n), []
        for name in self.names:
            d = distances(self.tools, name, x[: self.p.n])
            depth = np.where(np.isfinite(d[:, 0]), np.maximum(0.5 * self.thick - d[:, 0], 0.0), 0.0)
            force += (self.stiff * depth)[:, None] * d[:, 1:]
            deep = np.maximum(deep, depth)
            touched.append((depth > 0, d[:, 1:]))
        return force, deep, touched

    def out_of_balance(self, form: ShellForm) -> tuple[Floats, ShellForm, Floats, list[tuple[NDArray[np.bool_], Floats]]]:
        """What is left over the unknowns, the form with its new state, depth, contacts."""
        f, moment, new = self.static.internal(form)
        push, deep, touched = self.contact(form.x)
        f = f - push
        f[:, 2] += self.weight
        return np.where(self.free, np.concatenate([f.ravel(), moment]), 0.0), new, deep, touched

    def work(self, form: ShellForm, most: int) -> Sagged:
        start = form.x[: self.p.n, 2].copy()
        now, count, steps = form.copy(), 0, 0
        now.x = place(self.p, now.x)
        tie = 0.5 / self.thick  # 1/mm: a node in the air goes down by two thicknesses a step
        while count < most:
            try:
                new, n_it = self._step(now, tie, most - count)
            except SolveError:
                count += 8
                tie *= 4.0
                if tie > 1e6 / self.thick:
                    raise
                continue
            count += n_it
            steps += 1
            moved = float(np.abs(new.x[: self.p.n] - now.x[: self.p.n]).max())
            fallen = float((start - new.x[: self.p.n, 2]).min())
            now = new
            left, _, deep, _ = self.out_of_balance(now)
            share = float(np.linalg.norm(self.unit * left)) / self.total
            if fallen > 2.0 * float(np.ptp(self.p.points[:, :2])):
                raise SolveError(
                    "the blank falls past the faces it should lie on.",
                    where=WHERE,
                    help="Look at where it is laid, or at the faces' edges.",
                )
            if share < TOLERANCE and moved < 1e-4 * self.thick:
                push = self.contact(now.x)[0]
                return Sagged(
                    now, self.weight, push, float((start - now.x[: self.p.n, 2]).max()), float(deep.max()) / self.thick, share, steps, count
                )
            if n_it <= 10:
                tie *= 0.3
        raise SolveError(
            f"the blank finds no rest on its faces in {most} iterations.", where=WHERE, help="Lay it so that it cannot slide off or tip."
        )

    def _step(self, begin: ShellForm, tie: float, most: int) -> tuple[ShellForm, int]:
        """One implicit step from rest; raises :class:`SolveError` where Newton does not close."""
        p, n3 = self.p, 3 * self.p.n
        origin = np.concatenate([begin.x[: p.n].ravel(), np.zeros(len(begin.slope))])
        ties = tie * self.tie

        def residual(form: ShellForm) -> tuple[Floats, ShellForm, list[tuple[NDArray[np.bool_], Floats]]]:
            left, new, _, touched = self.out_of_balance(form)
            here = np.concatenate([form.x[: p.n].ravel(), np.zeros(len(form.slope))])
            return np.where(self.free, left + ties * (here - origin), 0.0), new, touched

        now = begin
        left, new, touched = residual(now)
        size = float(np.linalg.norm(self.unit * left))
        for it in range(min(25, most)):
            if size <= 0.3 * TOLERANCE * self.total:
                return new, it
            k = self.static.stiffness(now, self.free) + self._added(ties, touched)
            du = np.zeros(len(self.free))
            du[self.free] = -solve_symmetric(sp.tril(k, format="csc"), left[self.free], self.definite)
            if not np.isfinite(du).all():
                break
            cut = self._reach(now.x, du[:n3].reshape(-1, 3))
            allowed = 1e3 * max(size, 1e-3 * self.total) if it < 6 else size
            for _ in range(8):
                trial = now.copy()
                trial.x[: p.n] += cut * du[:n3].reshape(-1, 3)
                trial.slope = trial.slope + cut * du[n3:]
                trial.x = place(p, trial.x)
                try:
                    left, new, touched = residual(trial)
                    size_new = float(np.linalg.norm(self.unit * left))
                    if np.isfinite(size_new) and size_new < allowed:
                        break
                except SolveError:
                    pass
                cut *= 0.5
            else:
                break
            now, size = trial, size_new
        raise SolveError("Newton did not close.", where=WHERE)

    def _added(self, ties: Floats, touched: list[tuple[NDArray[np.bool_], Floats]]) -> sp.csc_matrix:
        """Stiffness of the ties and of the faces, over the free unknowns."""
        out = sp.diags(ties, format="csc")
        for on, normal in touched:
            ids = np.flatnonzero(on)
            if len(ids):
                block = self.stiff * normal[ids][:, :, None] * normal[ids][:, None, :]
                dof = 3 * ids[:, None] + np.arange(3)
                rows, cols = np.repeat(dof, 3, axis=1).ravel(), np.tile(dof, (1, 3)).ravel()
                out = out + sp.csc_matrix((block.ravel(), (rows, cols)), shape=out.shape)
        keep = np.flatnonzero(self.free)
        return out[keep][:, keep]

    def _reach(self, x: Floats, move: Floats) -> float:
        """Share of a move that takes no node through a face: looked at every half thickness."""
        most = float(np.abs(move).max())
        parts = min(200, math.ceil(most / (0.5 * self.thick)))
        if parts <= 1:
            return 1.0
        limit = max(0.3 * self.thick, float(self.contact(x)[1].max()))
        for k in range(1, parts + 1):
            if float(self.contact(x[: self.p.n] + k / parts * move)[1].max()) > limit:
                return max(k - 1, 0.25) / parts
        return 1.0

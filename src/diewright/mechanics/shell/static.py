"""Equilibrium by Newton: load steps, and springback of a free body.

The load (or, after release, the unbalanced force) is brought in by increments that halve when Newton does not close and grow
when it does. A body free to move is held by six springs at three nodes, so that its six rigid motions, and nothing else, are
held: as its loads balance, the springs carry nothing in the end, whatever nodes are taken (checked on every answer).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from diewright.errors import SolveError
from diewright.mechanics.linear import Definite, solve_symmetric
from diewright.mechanics.shell.downhill import Downhill
from diewright.mechanics.shell.form import ShellForm, collect, place
from diewright.mechanics.shell.layout import C_AREA, C_THICKNESS, FINE
from diewright.mechanics.shell.loops import forces
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.patch import Patches
from diewright.mechanics.shell.tangent import Assembler, element_stiffness

Floats = NDArray[np.float64]
WHERE = "shell equilibrium"


@dataclass
class Equilibrium:
    """A solved form, the internal force (n, 3) [N] (where held: what the support brings) and how it was reached."""

    form: ShellForm
    internal: Floats
    iterations: int
    increments: int
    residual: float
    spring_force: float


class StaticShell:
    """The static problem of a mesh, a sheet and its stations."""

    def __init__(self, patches: Patches, material: ShellMaterial, stations: Floats) -> None:
        self.patches, self.material, self.stations = patches, material, stations
        self._force = np.zeros((len(patches.conn), 21))
        self._blocks = np.zeros((len(patches.conn), 21, 21))
        self._span = float(np.sqrt(patches.coef[:, C_AREA].mean()))
        self._plate = material.young * float(patches.coef[:, C_THICKNESS].mean())
        self._definite = Definite()

    def internal(self, form: ShellForm) -> tuple[Floats, Floats, ShellForm]:
        """``(force (n, 3), moment (sides,), form with the new state)`` at ``form.x``, from the state in ``form`` (left as it is).

        Raises :class:`SolveError` if an element is turned inside out.
        """
        p, m = self.patches, self.material
        new = form.copy()
        answer, e = forces(
            new.x, new.slope, p.conn, p.coef, new.state, new.stretch, self.stations, m.mat, m.table, m.kinematic, self._force
        )
        if answer != FINE:
            raise SolveError(
                f"element {e} near {np.round(form.x[p.conn[e, 0]], 2).tolist()} is turned inside out or has no stress (code {answer}).",
                where=WHERE,
                help="Take smaller increments or a finer mesh there.",
            )
        f, moment = collect(p, self._force)
        return f, moment, new

    def stiffness(self, form: ShellForm, free: NDArray[np.bool_]) -> sp.csc_matrix:
        """Tangent over the free unknowns (``free``: 3 n directions, then the sides)."""
        p, m = self.patches, self.material
        element_stiffness(
            form.x, form.slope, p.conn, p.coef, form.state, form.stretch, self.stations, m.mat, m.table, m.kinematic, self._blocks
        )
        return Assembler(p, free).matrix(self._blocks)

    def solve(
        self,
        form: ShellForm,
        *,
        free: NDArray[np.bool_],
        load: Floats,
        load_before: Floats | None = None,
        move: Floats | None = None,
        turn: Floats | None = None,
        first: float = 1.0,
        smallest: float = 1e-4,
        tolerance: float = 1e-8,
        rigid: bool = False,
        settle: bool = False,
    ) -> Equilibrium:
        """Bring ``load`` (n, 3) [N] and the prescribed displacement ``move`` (n, 3) [mm] of held directions onto the body.

        Parameters
        ----------
        free: (n, 3) bool, the directions that find their own place.
        load_before: (n, 3) the load that ``form`` is in balance with; without it the force out of balance at the start fades evenly.
        turn: (ghosts, 3) mirror normals at the end (they turn evenly from the present ones; the mesh keeps them).
        first, smallest: shares of the whole for the first and the least increment.
        tolerance: residual over the larger of what the elements carry and the load.
        settle: go downhill to a stable equilibrium (springback): where the tangent is not positive definite or a step is wild, the nodes are held back
            by springs to where they are, which are let go as the residual falls.
        rigid: hold the six rigid motions of a free body by springs that end without force.

        Raises :class:`SolveError` where no increment closes, or where a free body's loads do not balance.
        """
        p = self.patches
        all_free = np.concatenate([free.ravel(), p.side_free])
        assembler = Assembler(p, all_free)
        form = form.copy()
        form.x = place(p, form.x)
        f0, m0, _ = self.internal(form)
        before = np.where(free, f0, 0.0) if load_before is None else load_before
        moment_before = m0 * p.side_free if load_before is None else 0.0 * m0
        springs = self._springs(form.x) if rigid else None
        origin = form.x[: p.n].copy()
        begin_normal = p.ghost_normal.copy()
        done, step, iterations, increments, easy = 0.0, min(first, 1.0), 0, 0, 0
        residual, scale = 0.0, 1.0
        internal = f0
        while done < 1.0:
            step = min(step, 1.0 - done)
            share = done + step
            target = np.concatenate([(before + share * (load - before)).ravel(), (1.0 - share) * moment_before])
            # on the way down a springback only has to stay near its path
            near = tolerance if share == 1.0 or not settle else max(tolerance, 1e-4)
            guess = form.copy()
            if move is not None:
                guess.x[: p.n] += step * move
            if turn is not None:
                p.ghost_normal[:] = _between(begin_normal, turn, share)
            guess.x = place(p, guess.x)
            try:
                form, internal, n_it, residual, scale = self._close(guess, target, assembler, all_free, springs, origin, near, settle)
            except (SolveError, RuntimeError, FloatingPointError):
                step, easy = 0.5 * step, 0
                if step < smallest:
                    raise SolveError(
                        f"no equilibrium past {done:.1%} of the load: the smallest increment ({smallest:g}) did not close.",
                        where=WHERE,
                        help="The sheet may snap or buckle there: use relaxation, or hold it better.",
                    ) from None
                continue
            iterations += n_it
            increments += 1
            done = share
            easy = easy + 1 if n_it <= 8 else 0
            if easy >= 2:
                step *= 1.5
        pull = 0.0 if springs is None else float(np.abs(springs @ (form.x[: p.n] - origin).ravel()).max())
        if pull > 1e4 * tolerance * scale:
            raise SolveError(
                f"a free body leaves {pull:.3g} N on its springs: its loads do not balance.",
                where=WHERE,
                help="Hold it, or check the loads.",
            )
        return Equilibrium(form, internal, iterations, increments, residual, pull)

    def springback(self, form: ShellForm, *, first: float = 0.25, tolerance: float = 1e-8) -> Equilibrium:
        """The shape the sheet takes when everything lets go of it.

        Its place in space is where six springs at three nodes leave it; shape and stress do not depend on them.
        """
        p = self.patches
        free = np.ones((p.n, 3), dtype=np.bool_)
        free[np.setdiff1d(np.arange(p.n), p.conn[:, :6])] = False
        return self.solve(form, free=free, load=np.zeros((p.n, 3)), first=first, tolerance=tolerance, rigid=True, settle=True)

    def _springs(self, x: Floats) -> sp.csr_matrix:
        """Six springs that stop the rigid motions: three directions at a node, two at the farthest, one at the third."""
        ids = np.unique(self.patches.conn[:, :3])
        pts = x[ids]
        a = int(np.argmin(((pts - pts.mean(0)) ** 2).sum(1)))
        b = int(np.argmax(((pts - pts[a]) ** 2).sum(1)))
        u = (pts[b] - pts[a]) / np.linalg.norm(pts[b] - pts[a])
        off = pts - pts[a] - ((pts - pts[a]) @ u)[:, None] * u
        c = int(np.argmax((off**2).sum(1)))
        w = off[c] / np.linalg.norm(off[c])
        n = np.cross(u, w)
        d = np.zeros((6, 3 * self.patches.n))
        for k, (node, direction) in enumerate(((a, u), (a, w), (a, n), (b, w), (b, n), (c, n))):
            d[k, 3 * ids[node] : 3 * ids[node] + 3] = direction
        d = sp.csr_matrix(d)
        return (1e-3 * self._plate * (d.T @ d)).tocsr()

    def _close(
        self,
        guess: ShellForm,
        target: Floats,
        assembler: Assembler,
        free: NDArray[np.bool_],
        springs: sp.csr_matrix | None,
        origin: Floats,
        tolerance: float,
        settle: bool,
    ):
        """Newton from ``guess``; moments count as force over the mean edge."""
        p, m = self.patches, self.material
        n3 = 3 * p.n
        weight = np.ones(len(free))
        weight[n3:] = 1.0 / self._span
        # what rounding of metric and places alone leaves: no load smaller than that can be balanced better
        floor = self._plate * float(np.sqrt(len(p.conn)) * (2e-15 * self._span + 5e-16 * np.abs(guess.x).max()))

        def residual(form: ShellForm):
            f, moment, new = self.internal(form)
            out = np.concatenate([f.ravel(), moment]) - target
            if springs is not None:
                out[:n3] += springs @ (form.x[: p.n] - origin).ravel()
            carried = float(np.linalg.norm(self._force[:, :18])) + float(np.linalg.norm(self._force[:, 18:])) / self._span
            return np.where(free, out, 0.0), f, new, carried

        now = guess
        res, f, new, carried = residual(now)
        size = float(np.linalg.norm(weight * res))
        downhill = Downhill(p, assembler.free, weight, self._plate, self._span, self._definite)
        for it in range(60 if settle else 40):
            # what the elements carry, not what is left of it: in pure bending the nodes carry nothing
            scale = max(carried, float(np.linalg.norm(target[:n3])), floor)
            if size <= tolerance * scale + floor:
                # the new state belongs to the places just found
                return new, f, it, size / scale, scale
            element_stiffness(
                now.x, now.slope, p.conn, p.coef, now.state, now.stretch, self.stations, m.mat, m.table, m.kinematic, self._blocks
            )
            k = assembler.lower(self._blocks)
            if springs is not None:
                pad = sp.block_diag([springs, sp.csr_matrix((len(free) - n3, len(free) - n3))], format="csr")
                k = (k + sp.tril(pad[assembler.free][:, assembler.free], format="csc")).tocsc()
            if settle:
                stepped = downhill.step(now, res, size, k, residual)
                if stepped is None:
                    break
                now, res, f, new, carried, size = stepped
                continue
            du = np.zeros(len(free))
            du[assembler.free] = -solve_symmetric(k, res[assembler.free], self._definite)
            longest = float(np.abs(du[:n3]).max())
            if not np.isfinite(longest):
                break
            cut = min(1.0, 8.0 * self._span / max(longest, 1e-300))
            # A bending step stretches to second order, so the residual may rise on the way: at first only a wild rise
            # is cut. Where stations change between elastic and plastic Newton would circle: later it has to fall.
            allowed = 1e4 * max(size, 1e-3 * scale) if it < 8 else size
            for _ in range(10):
                trial = now.copy()
                trial.x[: p.n] += cut * du[:n3].reshape(-1, 3)
                trial.slope += cut * du[n3:]
                trial.x = place(p, trial.x)
                try:
                    res_new, f, new, carried = residual(trial)
                    size_new = float(np.linalg.norm(weight * res_new))
                    if np.isfinite(size_new) and (it == 0 or size_new < allowed):
                        break
                except SolveError:
                    pass
                cut *= 0.5
            else:
                break
            now, res, size = trial, res_new, size_new
        raise SolveError("Newton did not close.", where=WHERE)


def _between(a: Floats, b: Floats, share: float) -> Floats:
    """Unit vectors turned from ``a`` towards ``b`` by ``share`` of the angle between them."""
    angle = np.arccos(np.clip((a * b).sum(1, keepdims=True), -1.0, 1.0))
    sine = np.sin(angle)
    straight = sine < 1e-9
    safe = np.where(straight, 1.0, sine)
    out = np.where(straight, a, (np.sin((1 - share) * angle) * a + np.sin(share * angle) * b) / safe)
    return out / np.linalg.norm(out, axis=1, keepdims=True)

"""Potential and current in a cell: Laplace's equation with the kinetics of the electrodes.

    div(kappa grad phi) = 0,   -kappa d(phi)/dn = 0 on walls,   -kappa d(phi)/dn = i(phi - V - E) on electrodes (n out of the electrolyte).

With linear tetrahedra and the kinetics taken at the nodes this is the least of the convex energy ``phi K phi / 2 + sum of w G(phi - V - E) + sum of I V`` over
the potentials and the unknown metal potentials V of electrodes whose current I is stated. Newton's method finds it: each step solves the bordered
system by its Schur complement, and the energy decides about the length of the step. Because exponentials spoil a plain step, the
potential beside an electrode follows the *current* the step foresees, ``u = i^-1(i_k + i'_k du)``, wherever it grows: then current, not
voltage, changes evenly. The start is the linear cell whose polarisation resistance is the chord of the law at the mean current density.

Currents are taken from the nodal balance (the reaction), not from gradients: they add up exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.sparse import csr_matrix, diags

from diewright.errors import SolveError
from diewright.finish.current.cell import Carried, Electrode, Face, Solution, apart, checked, face_of
from diewright.finish.current.krylov import Solver
from diewright.finish.current.laws import Law, Linear
from diewright.finish.current.tetra import conductance

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEPS = 60
ENOUGH = 1e-7
"""Current left over in the nodal balance, over the current that flows."""
SHORTEST = 1e-4
STIFF = 1e-4
"""Potential drop at the electrodes of the primary start, over that in the electrolyte."""


@dataclass
class _System:
    """The cell as arrays: free nodes ``free``, unknown metal potentials in the order ``floating``."""

    k: csr_matrix
    electrodes: Sequence[Electrode]
    faces: list[Face]
    free: Ints
    solver: Solver
    quiet: Callable[[], None]

    def __post_init__(self) -> None:
        self.floating = [j for j, e in enumerate(self.electrodes) if e.potential is None]
        self.kinetic = [j for j, e in enumerate(self.electrodes) if e.law is not None]
        self.tied = [j for j, e in enumerate(self.electrodes) if e.law is None]
        self.k_free = self.k[self.free][:, self.free]
        self.place = np.full(self.k.shape[0], -1)
        self.place[self.free] = np.arange(len(self.free))

    def law(self, j: int) -> Law:
        """The kinetics of electrode ``j``, which has some."""
        law = self.electrodes[j].law
        assert law is not None
        return law

    def tie(self, phi: Floats, v: Floats) -> Floats:
        """Set the nodes of electrodes without kinetics to the potential of the metal."""
        for j in self.tied:
            phi[self.faces[j].nodes] = v[j] + self.electrodes[j].equilibrium
        return phi

    def over(self, phi: Floats, v: Floats, j: int) -> Floats:
        """``u`` at the nodes of electrode ``j``."""
        return phi[self.faces[j].nodes] - v[j] - self.electrodes[j].equilibrium

    def energy(self, phi: Floats, v: Floats) -> float:
        """The energy that is least at the solution [W]; infinite where an exponential overflows."""
        with np.errstate(over="ignore", invalid="ignore"):
            total = 0.5 * float(phi @ (self.k @ phi))
            total += sum(float(self.faces[j].weights @ self.law(j).energy(self.over(phi, v, j))) for j in self.kinetic)
            total += sum(float(self.electrodes[j].current or 0.0) * v[j] for j in self.floating)
        return total if np.isfinite(total) else np.inf

    def balance(self, phi: Floats, v: Floats) -> tuple[Floats, Floats, Floats]:
        """Current left over at the nodes ``(n,)`` (zero off the free ones), at the floating metals, and into each electrode [A]."""
        r = self.k @ phi
        into = np.zeros(len(self.electrodes))
        for j in self.tied:
            into[j] = -float(r[self.faces[j].nodes].sum())
        for j in self.kinetic:
            flow = self.faces[j].weights * self.law(j).current(self.over(phi, v, j))
            into[j] = float(flow.sum())
            r[self.faces[j].nodes] += flow
        left = np.zeros_like(r)
        left[self.free] = r[self.free]
        stated = np.array([float(self.electrodes[j].current or 0.0) for j in self.floating])
        return left, stated - into[self.floating], into

    def newton_step(self, phi: Floats, v: Floats, left: Floats, metal: Floats, tolerance: float) -> tuple[Floats, Floats]:
        """Changes of potential ``(n,)`` and metal potentials, by the Schur complement of the bordered system."""
        n = len(phi)
        diagonal, border = np.zeros(n), np.zeros((n, len(self.floating)))
        corner = np.zeros((len(self.floating), len(self.floating)))
        for j in self.kinetic:
            stiffness = self.faces[j].weights * self.law(j).slope(self.over(phi, v, j))
            diagonal[self.faces[j].nodes] += stiffness
            if j in self.floating:
                c = self.floating.index(j)
                border[self.faces[j].nodes, c] -= stiffness
                corner[c, c] += stiffness.sum()
        lift = np.zeros((n, len(self.floating)))
        for c, j in enumerate(self.floating):
            if j in self.tied:
                lift[self.faces[j].nodes, c] = 1.0
        moved = self.k @ lift
        border += moved
        corner += lift.T @ moved
        a = (self.k_free + diags(diagonal[self.free])).tocsr()
        self.quiet()
        first = self.solver.solve(a, -left[self.free], tolerance=tolerance)
        columns = np.zeros((len(self.free), len(self.floating)))
        for c in range(len(self.floating)):
            self.quiet()
            columns[:, c] = self.solver.solve(a, border[self.free, c], tolerance=tolerance)
        dv = np.zeros(len(self.electrodes))
        if self.floating:
            schur = corner - border[self.free].T @ columns
            dv[self.floating] = np.linalg.solve(schur, -metal - border[self.free].T @ first)
            first = first - columns @ dv[self.floating]
        dphi = np.zeros(n)
        dphi[self.free] = first
        for c, j in enumerate(self.floating):
            if j in self.tied:
                dphi += lift[:, c] * dv[j]
        return dphi, dv

    def tempered(self, phi: Floats, v: Floats, dphi: Floats, dv: Floats) -> Floats:
        """The potential after the step, with nodes beside electrodes following the foreseen current where the overpotential grows."""
        out = phi + dphi
        for j in self.kinetic:
            u = self.over(phi, v, j)
            du = dphi[self.faces[j].nodes] - dv[j]
            law = self.law(j)
            with np.errstate(all="ignore"):
                wanted = law.potential(law.current(u) + law.slope(u) * du)
            grows = np.isfinite(wanted) & (u * du > 0) & (np.abs(wanted) < np.abs(u + du))
            nodes = self.faces[j].nodes[grows]
            out[nodes] = v[j] + dv[j] + self.electrodes[j].equilibrium + wanted[grows]
        return out


def solve(
    points: Floats,
    tetrahedra: Ints,
    conductivity: float,
    electrodes: Sequence[Electrode],
    *,
    solver: Solver | None = None,
    quiet: Callable[[], None] = lambda: None,
) -> Solution:
    """Potential and currents of a cell.

    ``points (n, 3) [mm]``, ``tetrahedra (m, 4)``, ``conductivity`` kappa [S/mm]. ``quiet`` is called between the linear solves, to stop the work.
    Raises :class:`InputError` for electrodes that do not state enough, :class:`SolveError` with the numbers where no solution was reached.
    """
    checked(electrodes)
    k = conductance(points, tetrahedra, conductivity)
    faces = [face_of(points, e) for e in electrodes]
    apart(electrodes, faces)
    solver = solver or Solver()
    start = _start(k, electrodes, faces, solver, quiet)
    return _newton(_system(k, electrodes, faces, solver, quiet), *start)


def _system(k: csr_matrix, electrodes: Sequence[Electrode], faces: list[Face], solver: Solver, quiet: Callable[[], None]) -> _System:
    tied = np.zeros(k.shape[0], dtype=bool)
    for e, f in zip(electrodes, faces, strict=True):
        if e.law is None:
            tied[f.nodes] = True
    tied |= k.diagonal() == 0.0  # a point that no tetrahedron uses
    return _System(k, electrodes, faces, np.flatnonzero(~tied), solver, quiet)


def _newton(s: _System, phi: Floats, v: Floats) -> Solution:
    phi = s.tie(phi.copy(), v)
    energy = s.energy(phi, v)
    history: list[float] = []
    for step in range(STEPS):
        left, metal, into = s.balance(phi, v)
        flowing = 0.5 * float(np.abs(into).sum()) or 1.0
        residual = float(np.abs(left).sum() + np.abs(metal).sum()) / flowing
        history.append(residual)
        if residual < ENOUGH:
            return _solution(s, phi, v, left, into, residual, step)
        dphi, dv = s.newton_step(phi, v, left, metal, min(1e-3, max(1e-2 * ENOUGH / residual, 1e-11)))
        bent = s.tempered(phi, v, dphi, dv)
        tried, after = bent, s.energy(bent, v + dv)
        length = 1.0
        while not after < energy + 1e-11 * abs(energy):
            # the straight step goes downhill in a convex energy, the bent one need not
            tried, after = phi + length * dphi, s.energy(phi + length * dphi, v + length * dv)
            if after < energy + 1e-11 * abs(energy):
                break
            length *= 0.5
            if length < SHORTEST:
                raise _failed(history, "no step lowers the energy")
        phi, v, energy = tried, v + length * dv, after
    raise _failed(history, f"{STEPS} steps were not enough")


def _failed(history: list[float], why: str) -> SolveError:
    return SolveError(
        f"The current distribution did not converge: {why}; {history[-1]:.2g} of the current is unbalanced after {len(history)} steps (least {min(history):.2g}, wanted {ENOUGH:.0e}).",
        where="plating", help="Check conductivity, Tafel slopes and the stated current, or state another mesh quality.",
    )  # fmt: skip


def _solution(s: _System, phi: Floats, v: Floats, left: Floats, into: Floats, residual: float, steps: int) -> Solution:
    carried = {}
    reaction = s.k @ phi
    for j, (e, f) in enumerate(zip(s.electrodes, s.faces, strict=True)):
        density = -reaction[f.nodes] / f.weights if e.law is None else e.law.current(s.over(phi, v, j))
        carried[e.name] = Carried(float(v[j]), float(into[j]), density, f)
    half = 0.5 * float(np.abs(into).sum())
    return Solution(phi, carried, abs(float(into.sum())) / half if half else 0.0, residual, steps, s.solver.iterations)


def _start(
    k: csr_matrix, electrodes: Sequence[Electrode], faces: list[Face], solver: Solver, quiet: Callable[[], None]
) -> tuple[Floats, Floats]:
    """Start of Newton's method: the cell with linear kinetics of the slope that the laws have, as a chord, at the mean current density."""
    v = np.array([0.0 if e.potential is None else e.potential for e in electrodes])
    if not any(e.law is not None for e in electrodes):
        return np.zeros(k.shape[0]), v
    density = _mean_density(k, electrodes, faces, solver, quiet)
    linear = []
    for e, i in zip(electrodes, density, strict=True):
        if e.law is None:
            linear.append(e)
            continue
        u = float(e.law.potential(np.array([i]))[0])
        linear.append(replace(e, law=Linear(max(abs(u), 1e-6) / max(abs(i), 1e-30))))
    system = _system(k, linear, faces, solver, quiet)
    begin = _newton(system, np.zeros(k.shape[0]), v)
    phi = begin.phi.copy()
    v = np.array([begin.carried[e.name].potential for e in electrodes])
    for j, e in enumerate(electrodes):
        if e.law is None:
            continue
        with np.errstate(all="ignore"):
            over = e.law.potential(begin.carried[e.name].density)
        good = np.isfinite(over)
        phi[faces[j].nodes[good]] = v[j] + e.equilibrium + over[good]
    return phi, v


def _mean_density(
    k: csr_matrix, electrodes: Sequence[Electrode], faces: list[Face], solver: Solver, quiet: Callable[[], None]
) -> list[float]:
    """A mean current density for each electrode [A/mm2], signed: the stated current over its area, or what the primary cell and the laws in series would carry."""
    stated = [e.current for e in electrodes if e.current]
    if stated:
        most = max(abs(i) for i in stated)
        sign = -np.sign(sum(stated)) or 1.0
        return [(e.current or sign * most) / f.area for e, f in zip(electrodes, faces, strict=True)]
    # all potentials stated: resistance of the electrolyte from a nearly primary cell, then one equation for the current
    v = np.array([0.0 if e.potential is None else e.potential + e.equilibrium for e in electrodes])
    extent = max(float(np.sqrt(sum(f.area for f in faces))), 1e-30)
    kappa = float(k.diagonal().max()) / extent
    stiff = [replace(e, law=Linear(STIFF * extent / max(kappa, 1e-30))) if e.law is not None else e for e in electrodes]
    first = _newton(_system(k, stiff, faces, solver, quiet), np.zeros(k.shape[0]), np.array([e.potential or 0.0 for e in electrodes]))
    into = [first.carried[e.name].total for e in electrodes]
    flow = 0.5 * sum(abs(i) for i in into)
    drop = float(np.ptp(v))
    if flow <= 0 or drop <= 0:
        return [1e-9 for _ in electrodes]

    def miss(share: float) -> float:
        kinetic = 0.0
        for e, f, i in zip(electrodes, faces, into, strict=True):
            if e.law is not None and i:
                kinetic += abs(float(np.nan_to_num(e.law.potential(np.array([share * i / f.area]))[0]))) * abs(i) / (2 * flow) * 2
        return share * drop + kinetic - drop

    share = brentq(miss, 1e-12, 1.0) if miss(1e-12) < 0 < miss(1.0) else 1e-3
    return [share * i / f.area if i else 1e-9 for f, i in zip(faces, into, strict=True)]

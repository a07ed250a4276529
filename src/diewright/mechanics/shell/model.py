"""The explicit tryout of a sheet: central differences, prescribed motion, pressure, energies, stops with place and cause."""

from __future__ import annotations

import time as clock
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

from diewright.errors import InputError, SolveError
from diewright.mechanics.contact.tools import Tool, ToolSet
from diewright.mechanics.shell.form import ShellForm, at_rest, place
from diewright.mechanics.shell.layout import FINE, M_TOL, NOT_A_NUMBER, NOT_RETURNED, S_COUNT, S_COUNT_KINEMATIC, TURNED
from diewright.mechanics.shell.loops import BLOCKS, advance
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.patch import Patches
from diewright.mechanics.shell.recover import Recovered, recover
from diewright.mechanics.shell.step import Masses, element_steps, lump, side_inertia

Floats = NDArray[np.float64]
WHERE = "shell tryout"
SLOW = 100.0  # mm/s: a sheet that moves no faster on average does not run away
CAUSE = {
    TURNED: "is turned inside out: the step is too long, or a tool pushes the mesh together",
    NOT_RETURNED: "finds no stress on its yield surface: the strain of one step is beyond reason",
    NOT_A_NUMBER: "has a strain that is not a number: a force or motion from outside is wrong, or the step is too long",
}


@dataclass(frozen=True)
class Energies:
    """Work since the start [N mm = mJ].

    Attributes
    ----------
    kinetic: of the nodes. slopes: in the scaled inertia of the sides' slopes (not physical, has to stay small). internal: done on the sheet. external: by forces and pressure. support: by prescribed motion.
    damping: taken by damping. balance: what is missing, ``start + external + support - internal - kinetic - slopes - damping``.
    """

    kinetic: float
    slopes: float
    internal: float
    external: float
    support: float
    damping: float
    balance: float

    @property
    def balance_share(self) -> float:
        """What is missing over the largest of the energies."""
        top = max(abs(self.kinetic), abs(self.internal), abs(self.external), abs(self.support), 1e-300)
        return abs(self.balance) / top


class Pace:
    """Whether many threads or one are faster just now.

    Threads wait for each other several times a step: where another program keeps a core busy that costs ten times what it brings. The answer is the
    same to the bit, so the faster way is taken, and the other one tried again now and then.
    """

    AGAIN = 40

    def __init__(self) -> None:
        self._seconds = {True: 0.0, False: 0.0}
        self._calls = 0

    def choose(self) -> bool:
        """True for many threads."""
        self._calls += 1
        best = self._seconds[True] <= self._seconds[False]
        return not best if self._calls % self.AGAIN == 0 else best

    def heard(self, threads: bool, seconds: float) -> None:
        """What a step took; the first call, which may compile, counts like the rest and is soon forgotten."""
        old = self._seconds[threads]
        self._seconds[threads] = seconds if old == 0.0 or seconds < old else 0.5 * (old + seconds)


class ShellModel:
    """A sheet under explicit steps.

    Parameters
    ----------
    real: ``float64`` (verification) or ``float32`` (fast): state, forces, velocities. Positions are always float64.
    safety: share of the stable step that is taken.
    step: a wanted step [s]; elements that cannot keep it are made heavier (reported in ``masses``).
    damping: rate [1/s] on the velocities of free nodes. side_damping: share of critical on the sides' slopes.
    tools: rigid tools that the sheet touches, all of them away until the model's ``tools`` says otherwise.
    threads: use all cores for large meshes. The result is the same with and without.
    """

    def __init__(
        self,
        patches: Patches,
        material: ShellMaterial,
        stations: Floats,
        *,
        form: ShellForm | None = None,
        real: DTypeLike = np.float64,
        safety: float = 0.9,
        step: float | None = None,
        damping: float = 0.0,
        side_damping: float = 0.1,
        tools: tuple[Tool, ...] = (),
        threads: bool | None = None,
    ) -> None:
        self.patches, self.material, self.stations = patches, material, stations
        self.real = np.dtype(real)
        if self.real not in (np.dtype(np.float32), np.dtype(np.float64)):
            raise InputError(f"{self.real} cannot be used: expected float32 or float64.", where=f"{WHERE} real")
        if not 0.0 < safety <= 1.0:
            raise InputError(f"{safety!r} cannot be used: expected a share above 0, at most 1.", where=f"{WHERE} safety")
        self.safety, self.damping, self.side_damping = safety, damping, side_damping
        self._pace = Pace()
        self.threads = len(patches.conn) >= 500 if threads is None else threads
        start = at_rest(patches, stations, kinematic=material.kinematic) if form is None else form.copy()
        width = (S_COUNT_KINEMATIC if material.kinematic else S_COUNT) * len(stations)
        if start.state.shape != (len(patches.conn), width):
            raise InputError(f"a state of {start.state.shape}: this law needs {(len(patches.conn), width)}.", where=f"{WHERE} form")
        n_all = len(patches.points)
        self.time = 0.0
        self.x = place(patches, start.x)
        self.slope, self.state, self.stretch = self._cast(start.slope), self._cast(start.state), self._cast(start.stretch)
        self.velocity = np.zeros((n_all, 3), dtype=self.real)
        self.slope_velocity = np.zeros(len(start.slope), dtype=self.real)
        self.support = np.zeros((n_all, 3), dtype=self.real)
        self.external = np.zeros((n_all, 3), dtype=self.real)
        self._wanted = step
        natural = element_steps(patches, material, self.x, start.stretch)
        self.masses: Masses = lump(patches, material, natural, None if step is None else step / safety)
        self._mass = self._cast(np.where(self.masses.node > 0, self.masses.node, 1.0))
        self.dt = self.stable_step()
        self._coef, self._mat, self._table, self._stations = (self._cast(a) for a in (patches.coef, material.mat, material.table, stations))
        if self.real == np.float32:
            self._mat[M_TOL] = 2e-6
        self._force = np.zeros((len(patches.conn), 21), dtype=self.real)
        self._extra = np.zeros((n_all, 3), dtype=self.real)
        self._push = np.zeros((n_all, 3), dtype=self.real)
        self._inertia: NDArray[np.floating] | None = None
        self._bad = np.zeros((BLOCKS, 2), dtype=np.int64)
        self.work = np.zeros((BLOCKS, 5))
        self.bc = np.full((n_all, 3), -1, dtype=np.int32)
        self.bc[np.setdiff1d(np.arange(patches.n), patches.conn[:, :6])] = 0
        self.bc_scale = np.zeros((n_all, 3), dtype=self.real)
        self._times = np.array([[0.0, 1.0]])
        self._values = np.zeros((1, 2))
        self._pressure_row = -1
        self.tools = ToolSet(tools, self.masses.area[: patches.n], BLOCKS)
        self._start_energy = 0.0
        self._stored = 0.0 if form is None else float(self.recovered().elastic_energy)

    def _cast(self, a: NDArray[np.floating]) -> NDArray[np.floating]:
        return np.ascontiguousarray(a, dtype=self.real)

    # -- what acts on the sheet

    def history(self, times: ArrayLike, values: ArrayLike) -> int:
        """Add a piecewise linear history, held at its ends; returns its number. Values are velocities [mm/s] or pressures [MPa]."""
        t, v = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
        if t.ndim != 1 or t.shape != v.shape or len(t) < 2 or not (np.diff(t) > 0).all() or not np.isfinite(v).all():
            raise InputError("expected at least two rising times and as many finite values.", where=f"{WHERE} history")
        width = max(self._times.shape[1], len(t))

        def pad(a: Floats, rising: bool) -> Floats:
            more = width - a.shape[1]
            tail = a[:, -1:] + (np.arange(1, more + 1) if rising else np.zeros(more))
            return np.hstack([a, tail])

        self._times = np.vstack([pad(self._times, True), pad(t[None], True)])
        self._values = np.vstack([pad(self._values, False), pad(v[None], False)])
        return len(self._times) - 1

    def prescribe(self, nodes: ArrayLike, directions: str, history: int = 0, scale: float = 1.0) -> None:
        """Prescribe the velocity of ``nodes`` along each of ``directions`` ("xyz"): history times scale; history 0 is rest."""
        for d in directions:
            self.bc[np.asarray(nodes), "xyz".index(d)] = history
            self.bc_scale[np.asarray(nodes), "xyz".index(d)] = scale

    def release(self, nodes: ArrayLike, directions: str = "xyz") -> None:
        """Let directions go again."""
        for d in directions:
            self.bc[np.asarray(nodes), "xyz".index(d)] = -1
        self.support[np.asarray(nodes)] = 0

    def set_pressure(self, history: int) -> None:
        """A pressure that follows the sheet and pushes along the triangles' normals; -1 takes it away."""
        self._pressure_row = history

    def set_velocity(self, velocity: ArrayLike) -> None:
        """Velocity of the real nodes (n, 3) [mm/s] from here on; its energy counts as the start."""
        self.velocity[: self.patches.n] = velocity
        w = self.work.sum(axis=0)
        self._start_energy = float(self._kinetic() + self._slope_kinetic() + w[0] + w[3] + w[4] - w[1] - w[2])

    # -- going on

    def stable_step(self) -> float:
        """Safety times the least stable step at the present shape, with the scaled masses [s]."""
        steps = element_steps(self.patches, self.material, self.x, np.asarray(self.stretch, dtype=np.float64)) * np.sqrt(self.masses.scaled)
        return self.safety * float(steps.min())

    def side_inertia(self) -> NDArray[np.floating]:
        """Inertia of the sides' slopes for the present step."""
        now = ShellForm(self.x, self.slope, self.state, self.stretch)
        return self._cast(side_inertia(self.patches, self.material, now, self.dt))

    def side_drag(self) -> float:
        """Damping rate of the sides' slopes [1/s]: a share of critical at ``omega dt = 1/sqrt(1.5)``."""
        return self.side_damping * 2.0 * 0.8 / self.dt

    def speeds_now(self) -> NDArray[np.floating]:
        """Value of each history now."""
        return self._cast(np.array([np.interp(self.time, t, v) for t, v in zip(self._times, self._values, strict=True)]))

    def advance(self, steps: int, *, external: NDArray[np.floating] | None = None, adapt: bool = True) -> None:
        """Go on by ``steps`` steps.

        ``external`` (n, 3) [N] acts on the nodes during the whole call (contact). With ``adapt`` the step follows the present shape.
        Everything is done on a copy that replaces the model's arrays on success: on :class:`SolveError` the model is as it was before.
        """
        if external is not None:
            self.external[: self.patches.n] = external
        if adapt:
            self.dt = self.stable_step()
        if adapt or self._inertia is None:
            before = self._slope_kinetic()
            self._inertia = self.side_inertia()
            # the inertia of the slopes is not physical: what its change takes or gives is counted with their damping
            self.work[0, 4] += before - self._slope_kinetic()
        form = ShellForm(self.x, self.slope, self.state, self.stretch).copy()
        felt = self.tools.memory()
        v, sv, support, work = self.velocity.copy(), self.slope_velocity.copy(), self.support.copy(), self.work.copy()
        p = self.patches
        threads = self._pace.choose() if self.threads else False
        began = clock.perf_counter()
        before_threads = numba.get_num_threads()
        numba.set_num_threads(before_threads if threads else 1)
        done, answer, element = advance(
            steps,
            self.time,
            self.dt,
            p.n,
            (p.conn, self._coef, self._stations, self._mat, self._table, p.side_slots, p.start, p.slots, p.ghost, p.ghost_normal),
            (form.x, v, form.slope, sv, form.state, form.stretch, self._force, self._extra, support, self._push),
            (self._mass, self._inertia, self.external, self.bc, self.bc_scale),
            (self._times, self._values, np.zeros(len(self._times), dtype=self.real)),
            self.tools.bundle(),
            self.material.kinematic,
            self._pressure_row,
            self.side_drag(),
            self.damping,
            work,
            self._bad,
        )
        numba.set_num_threads(before_threads)
        self._pace.heard(threads, (clock.perf_counter() - began) / max(steps, 1))
        at = self.time + done * self.dt
        self.tools.count(done)
        if answer != FINE:
            self.tools.put_back(felt)
            centre = np.round(self.x[p.conn[element, :3]].mean(0), 2).tolist()
            raise SolveError(
                f"element {element} near {centre} {CAUSE[int(answer)]} (time {at:.4g} s, step {self.dt:.3g} s).",
                where=WHERE,
                help="The last good state is kept.",
            )
        try:
            self._check_runaway(form.x, v, work, at)
        except SolveError:
            self.tools.put_back(felt)
            raise
        self.x, self.slope, self.state, self.stretch = form.x, form.slope, form.state, form.stretch
        self.velocity, self.slope_velocity, self.support, self.work, self.time = v, sv, support, work, at

    def _check_runaway(self, x: Floats, v: NDArray[np.floating], work: Floats, at: float) -> None:
        """More energy in motion than was ever brought in, or a number that is none: the run is worth nothing."""
        speed2 = (np.asarray(v[: self.patches.n], dtype=np.float64) ** 2).sum(1)
        kinetic = 0.5 * float((self._mass[: self.patches.n] * speed2).sum())
        brought = self._start_energy + float(np.abs(work[:, 1:3].sum(0)).sum())
        worst = int(np.argmax(np.where(np.isfinite(speed2), speed2, np.inf)))
        place_of = np.round(self.x[worst], 2).tolist()
        if not np.isfinite(kinetic) or not np.isfinite(x).all():
            raise SolveError(
                f"the motion of node {worst} near {place_of} is not a number (time {at:.4g} s).",
                where=WHERE,
                help="Check the forces from outside; the last good state is kept.",
            )
        stored = self._stored + max(0.0, float(self.work[:, 0].sum()))
        slow = 0.5 * (self.masses.true + self.masses.added) * SLOW**2
        if kinetic > 2.0 * (brought + stored) + slow and kinetic > 1e3 * self._kinetic():
            now = self.stable_step()
            cause = (
                "the step is longer than the shape allows"
                if self.dt > 1.02 * now
                else "the sheet let go in a snap, or a contact feeds energy"
            )
            raise SolveError(
                f"energy runs away: {kinetic:.3g} mJ in motion against {brought:.3g} mJ brought in, fastest at node {worst} near {place_of} "
                f"(time {at:.4g} s); likely {cause}.",
                where=WHERE,
                help="The last good state is kept.",
            )

    # -- what can be asked

    def _kinetic(self) -> float:
        v = np.asarray(self.velocity[: self.patches.n], dtype=np.float64)
        return 0.5 * float((np.asarray(self._mass[: self.patches.n], dtype=np.float64)[:, None] * v * v).sum())

    def _slope_kinetic(self) -> float:
        if self._inertia is None:
            return 0.0
        return 0.5 * float((self._inertia.astype(np.float64) * self.slope_velocity.astype(np.float64) ** 2).sum())

    def energies(self) -> Energies:
        """Energies now; the balance closes by the central differences' own identity, see :meth:`recovered` for the independent one."""
        w = self.work.sum(axis=0)
        kinetic, slopes = self._kinetic(), self._slope_kinetic()
        damping = float(w[3] + w[4])
        balance = float(self._start_energy + w[1] + w[2] - w[0] - kinetic - slopes - damping)
        return Energies(kinetic, slopes, float(w[0]), float(w[1]), float(w[2]), damping, balance)

    def form(self) -> ShellForm:
        """The sheet as it is now, for the next operation."""
        return ShellForm(
            self.x.copy(),
            self.slope.astype(np.float64),
            np.ascontiguousarray(self.state, dtype=np.float64),
            self.stretch.astype(np.float64),
        )

    def recovered(self) -> Recovered:
        """Stresses, strains, and the stored and dissipated energy computed from the state of every station."""
        return recover(self.patches, self.material, self.stations, self.form())

"""Working through operations: chunks of steps, the press curve, frames, early stops with their last good frame, checkpoints."""

from __future__ import annotations

import math
import time as clock
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.mechanics.contact import layout as at
from diewright.mechanics.forming import checkpoint
from diewright.mechanics.forming.frames import Frame, take
from diewright.mechanics.forming.operations import Move, Operation, force_ramp, stroke_speed
from diewright.mechanics.forming.pins import press_by_pins
from diewright.mechanics.shell.model import ShellModel
from diewright.watch import Watch

Floats = NDArray[np.float64]
CHUNK = 100  # steps between looks at the clock, the step length and the dangers
LOST = 0.5  # share of the thickness: deeper than that the middle surface is in the tool and the contact means nothing
CREEP = 0.005  # of the punch speed: how fast a blankholder moves as the flange thickens
DRAG = 0.01  # of its force that the drag may take from it then
SAVE_EVERY = 20.0  # s of wall time between checkpoints


@dataclass
class Curve:
    """One row a chunk: means over the chunk for forces, values at its end for the rest.

    Attributes
    ----------
    time [s], operation, travel (K) [mm], force (K, 3) on the sheet [N], moment (K, 2) ``sum y fz``, ``sum x fz`` [N mm], energies [N mm]: kinetic, slopes, internal, external, damping, heat (friction), balance (share),
    deepest (K) share of the thickness, work (K) of the tools [N mm], dt [s].
    """

    rows: list[list[float]] = field(default_factory=list)
    tools: int = 0

    def table(self) -> dict[str, Floats]:
        """Columns by name."""
        k = self.tools
        a = np.array(self.rows, dtype=np.float64).reshape(len(self.rows), 10 + 8 * k)
        parts = np.split(a, np.cumsum([1, 1, 1, 7, k, 3 * k, 2 * k, k]), axis=1) if k else [a[:, :1], a[:, 1:2], a[:, 2:3], a[:, 3:10]]
        out = {"time": parts[0][:, 0], "operation": parts[1][:, 0], "dt": parts[2][:, 0]}
        for j, name in enumerate(("kinetic", "slopes", "internal", "external", "damping", "heat", "balance")):
            out[name] = parts[3][:, j]
        if k:
            out["travel"], out["force"], out["moment"] = parts[4], parts[5].reshape(-1, k, 3), parts[6].reshape(-1, k, 2)
            out["deepest"] = parts[7]
            out["work"] = parts[8]
        return out


@dataclass
class Outcome:
    """What a run gave: frames, curve, and the sentence of an early stop with its help (None: it went through)."""

    frames: list[Frame]
    curve: dict[str, Floats]
    stopped: str | None
    help: str
    marks: list[tuple[str, float, float, int]]


class Run:
    """A sheet, its tools, and what the press does with them.

    Parameters
    ----------
    operations: worked in order; the state passes on exactly. on_frame: hears every frame as it is taken.
    saved: a file for checkpoints; if it holds one of the same run, the work goes on from there and gives the same answer.
    """

    def __init__(
        self,
        model: ShellModel,
        operations: tuple[Operation, ...],
        *,
        watch: Watch | None = None,
        on_frame: Callable[[Frame, Curve], None] | None = None,
        saved: Path | None = None,
    ) -> None:
        if not operations:
            raise InputError("there is no operation to work.", where="tryout")
        self.model, self.operations = model, operations
        self.watch, self.on_frame, self.saved = watch or Watch(), on_frame, saved
        self.curve = Curve(tools=len(model.tools))
        self.frames: list[Frame] = []
        self.marks: list[tuple[str, float, float, int]] = []
        self._from: dict[str, float] = {}
        self.steps = 0
        self.digest = ""
        self.forces = {name: 0.0 for name in model.tools.names}
        self.total = sum(op.time for op in operations)

    def work(self) -> Outcome:
        """Work through all operations. A :class:`SolveError` of the sheet ends the run early; what was reached is returned with its sentence."""
        first, began, shown = 0, -1.0, 0
        if self.saved is not None:
            self.digest = checkpoint.digest(self)
            found = checkpoint.load(self.saved, self)
            if found is not None:
                first, began, shown = found
        if not self.frames:
            self._frame(0)
        stopped: SolveError | None = None
        for number in range(first, len(self.operations)):
            try:
                self._operation(number, began if number == first else -1.0, shown if number == first else 0)
            except SolveError as error:
                stopped = error
                self._frame(number)
                break
        return Outcome(
            self.frames, self.curve.table(), None if stopped is None else stopped.what, "" if stopped is None else stopped.help, self.marks
        )  # fmt: skip

    def _operation(self, number: int, began: float, shown: int) -> None:
        op, model = self.operations[number], self.model
        if began < 0.0:
            began = model.time
            self._set(op)
            self.steps = 0
            model.dt = model.stable_step()
        end = began + op.time
        model.damping = op.damping
        last_save = clock.monotonic()
        model.tools.start_sums()
        while model.time < end - 1e-6 * model.dt:
            n = min(CHUNK, max(1, math.ceil((end - model.time) / model.dt - 1e-9)))
            model.advance(n)
            self.steps += n
            self._row(number)
            self._dangers(op)
            share = (model.time - began) / op.time
            way = self._way(op, share)
            if way * op.frames >= shown + 1 - 1e-6:
                shown = int(way * op.frames + 1e-6)
                self._frame(number)
            done = sum(o.time for o in self.operations[:number]) + min(share, 1.0) * op.time
            self.watch.step(op.name, done, self.total)
            if self.saved is not None and clock.monotonic() - last_save > SAVE_EVERY:
                checkpoint.save(self.saved, self, number, began, shown)
                last_save = clock.monotonic()
        self.marks.append((op.name, began, model.time, self.steps))

    def _way(self, op: Operation, share: float) -> float:
        """Share of the stroke that is done; of the time in an operation without one."""
        for m in op.moves:
            if m.kind == "stroke" and m.tool in self._from and abs(m.to - self._from[m.tool]) > 1e-9 and share < 1.0 - 1e-9:
                return (self.model.tools.travel(m.tool) - self._from[m.tool]) / (m.to - self._from[m.tool])
        return share

    def _set(self, op: Operation) -> None:
        model, now = self.model, self.model.time
        self._from = {m.tool: model.tools.travel(m.tool) for m in op.moves if m.kind == "stroke"}
        strokes = [abs(m.to - model.tools.travel(m.tool)) for m in op.moves if m.kind == "stroke"]
        fastest = max(strokes, default=0.0) / op.time
        moved = set()
        for m in op.moves:
            if m.tool in moved:
                raise InputError(f"the tool '{m.tool}' is moved twice.", where=f"operation {op.name}")
            moved.add(m.tool)
            self._set_tool(op, m, now, fastest)
        for name in model.tools.names:
            k = model.tools.number(name)
            if name not in moved and model.tools.sizes[k, at.Z_MODE] == at.BY_SPEED:
                model.tools.by_speed(name, 0)

    def _set_tool(self, op: Operation, m: Move, now: float, fastest: float) -> None:
        model, tools = self.model, self.model.tools
        if m.kind == "away":
            tools.away(m.tool)
            self.forces[m.tool] = 0.0
        elif m.kind == "rest":
            tools.by_speed(m.tool, 0)
        elif m.kind == "stroke":
            t, v = stroke_speed(tools.travel(m.tool), m, op.time, smooth=op.smooth)
            tools.by_speed(m.tool, model.history(now + t, v))
        else:
            mass = model.masses.true + model.masses.added
            if m.kind == "pins":
                top = sum(float(p.force) if isinstance(p.force, (int, float)) else max(f for _, f in p.force) for p in m.pins)
                drag = DRAG * top / (CREEP * max(fastest, 1000.0) * mass)
                self.forces[m.tool] = press_by_pins(
                    model, m.tool, m.pins, op.time, start=self.forces[m.tool], mass=mass, drag=drag, stop=m.stop
                )
                return
            t, f = force_ramp(self.forces[m.tool], m, op.time)
            top = float(np.abs(f).max())
            drag = DRAG * top / (CREEP * max(fastest, 1000.0) * mass)
            tools.by_force(m.tool, model.history(now + t, f), mass=mass, drag=drag, stop=m.stop)
            self.forces[m.tool] = float(f[-1])

    def _row(self, number: int) -> None:
        m, tools = self.model, self.model.tools
        e = m.energies()
        k = len(tools)
        force = np.array([tools.mean_force(n) for n in tools.names]).reshape(k, 5)
        self.curve.rows.append(
            [
                m.time, number, m.dt, e.kinetic, e.slopes, e.internal, e.external, e.damping, float(tools.state[:, at.T_HEAT].sum()), e.balance_share,
                *tools.state[:, at.T_TRAVEL], *force[:, :3].ravel(), *force[:, 3:].ravel(), *tools.state[:, at.T_DEEPEST], *tools.state[:, at.T_WORK],
            ]
        )  # fmt: skip
        tools.start_sums()

    def _dangers(self, op: Operation) -> None:
        m, tools = self.model, self.model.tools
        row = self.curve.rows[-1]
        k = len(tools)
        deepest = np.array(row[10 + 6 * k : 10 + 7 * k])
        if k and deepest.max() > LOST:
            tool = int(np.argmax(deepest))
            node = int(np.argmax(tools.push[:, tool]))
            raise SolveError(
                f"contact is lost at the {tools.names[tool]}: the sheet is {deepest[tool]:.0%} of its thickness deep in it, hardest pressed near "
                f"{np.round(m.x[node], 1).tolist()} (operation {op.name}, time {m.time:.4g} s, travel {tools.state[tool, at.T_TRAVEL]:.2f} mm); "
                "likely the gap between the faces is narrower than the sheet, or a face has an edge sharper than the mesh.",
                where="tryout",
                help="Open the clearance or round the edge; the last good frame is kept.",
            )

    def _frame(self, number: int) -> None:
        frame = take(self.model, number)
        self.frames.append(frame)
        if self.on_frame is not None:
            self.on_frame(frame, self.curve)

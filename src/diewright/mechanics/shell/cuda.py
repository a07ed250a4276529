"""The same shell on a CUDA GPU: thin kernels around the very functions that the CPU loops call.

Imported only when asked for; needs ``numba-cuda`` and a GPU (or ``NUMBA_ENABLE_CUDASIM=1``, which runs the kernels in Python).
Arrays whose row is an element are stored column by column (Fortran order), so that neighbouring threads read neighbouring numbers. Forces
are gathered by the same lists as on the CPU, so that a run repeats to the bit. Element kernel, node kernel: two launches a step;
with CuPy present the launches of many steps are recorded once as a CUDA graph.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import config
from numba import cuda as _cuda
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.mechanics.shell.element import element_force
from diewright.mechanics.shell.form import ShellForm
from diewright.mechanics.shell.layout import FINE
from diewright.mechanics.shell.model import CAUSE, ShellModel
from diewright.mechanics.shell.node import node_gather, node_step, side_step

cuda: Any = _cuda  # its own annotations do not know kernels
THREADS = 128
WHERE = "shell on the GPU"


def _element_kernel(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force, bad):
    e = cuda.grid(1)
    if e < conn.shape[0]:
        a = element_force(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force)
        if a != FINE:
            # the first element to fail is kept: 4 bits of answer, the rest its number
            cuda.atomic.compare_and_swap(bad, 0, 16 * e + a)


def _node_kernel(
    n,
    x,
    v,
    support,
    mass,
    start,
    slots,
    force,
    outer,
    bc,
    bc_scale,
    speed,
    damping,
    dt,
    slope,
    slope_v,
    inertia,
    side_slots,
    side_drag,
    work,
):
    i = cuda.grid(1)
    if i < n:
        fx, fy, fz = node_gather(i, start, slots, force)
        node_step(i, fx, fy, fz, outer[i, 0], outer[i, 1], outer[i, 2], x, v, support, mass, bc, bc_scale, speed, damping, dt, work, i)
    if i < slope.shape[0]:
        side_step(i, slope, slope_v, inertia, side_slots, side_drag, force, dt, work, i)


# 128 registers keep twice as many threads in flight: 2.4e9 against 2.3e9 element-steps/s at a million triangles (H100); double precision would spill
element_kernel = cuda.jit(fastmath=False, **({} if config.ENABLE_CUDASIM else {"max_registers": 128}))(_element_kernel)  # type: ignore[attr-defined]
element_kernel_double = cuda.jit(fastmath=False)(_element_kernel)
node_kernel = cuda.jit(fastmath=False)(_node_kernel)


def _columns(a: NDArray[Any]) -> Any:
    return cuda.to_device(np.asfortranarray(a))


class CudaShell:
    """A :class:`ShellModel` moved to the GPU; :meth:`back` brings it home.

    The model's own limits here: no mirrors, no pressure, histories held at their value at the start of each call (contact and these come
    with the fused kernels). Raises :class:`InputError` for a model that needs them.
    """

    def __init__(self, model: ShellModel) -> None:
        if len(model.patches.ghost) or model._pressure_row >= 0:
            raise InputError("a sheet with mirrors or pressure cannot run here yet.", where=WHERE, help="Run it on the CPU.")
        self.model = model
        p = model.patches
        self.n, self.ne, self.sides = p.n, len(p.conn), len(p.side_free)
        model.dt = model.stable_step()
        inertia = model.side_inertia()
        self.x, self.v, self.support = _columns(model.x), _columns(model.velocity), _columns(model.support)
        self.slope, self.slope_v = cuda.to_device(model.slope), cuda.to_device(model.slope_velocity)
        self.conn, self.coef, self.state = _columns(p.conn), _columns(model._coef), _columns(model.state)
        self.stretch = cuda.to_device(model.stretch)
        self.stations, self.mat, self.table = cuda.to_device(model._stations), cuda.to_device(model._mat), cuda.to_device(model._table)
        self.force = _columns(np.zeros((self.ne, 21), dtype=model.real))
        self.mass, self.inertia = cuda.to_device(model._mass), cuda.to_device(inertia)
        self.start, self.slots, self.side_slots = cuda.to_device(p.start), cuda.to_device(p.slots), _columns(p.side_slots)
        self.outer, self.bc, self.bc_scale = _columns(model.external), _columns(model.bc), _columns(model.bc_scale)
        # energies are summed where they arise and added up at home
        self.work = _columns(np.zeros((max(self.n, self.sides), 5), dtype=model.real))
        self.bad = cuda.to_device(np.full(1, -1, dtype=np.int32))

    def step(self, speed: Any, stream: Any = 0) -> None:
        """One step: two launches."""
        m = self.model
        drag = m.side_drag()
        kernel = element_kernel if m.real == np.float32 else element_kernel_double
        kernel[(self.ne + THREADS - 1) // THREADS, THREADS, stream](
            self.x, self.slope, self.conn, self.coef, self.state, self.stretch, self.stations, self.mat, self.table, m.material.kinematic, self.force, self.bad
        )  # fmt: skip
        most = max(self.n, self.sides)
        node_kernel[(most + THREADS - 1) // THREADS, THREADS, stream](
            self.n, self.x, self.v, self.support, self.mass, self.start, self.slots, self.force, self.outer, self.bc, self.bc_scale, speed,
            m.damping, m.dt, self.slope, self.slope_v, self.inertia, self.side_slots, drag, self.work,
        )  # fmt: skip

    def advance(self, steps: int, *, graph: int = 0) -> None:
        """``steps`` steps with the speeds of now; ``graph`` > 0 records that many steps as one CUDA graph (needs CuPy) and replays it.

        Raises :class:`SolveError` with element and cause where one fails; the model at home is left as it was.
        """
        speed = cuda.to_device(self.model.speeds_now())
        if graph > 0:
            self._replay(steps, graph, speed)
        else:
            for _ in range(steps):
                self.step(speed)
        found = int(self.bad.copy_to_host()[0])
        if found >= 0:
            element, answer = found // 16, found % 16
            at = np.round(self.model.x[self.model.patches.conn[element, 0]], 2).tolist()
            raise SolveError(
                f"element {element}, last seen near {at}, {CAUSE[answer]}.",
                where=WHERE,
                help="The state before the run is kept on the CPU.",
            )
        self.model_time = self.model.time + steps * self.model.dt

    def _replay(self, steps: int, graph: int, speed: Any) -> None:
        import cupy

        self.step(speed)  # compiled before the recording
        cuda.synchronize()
        stream = cupy.cuda.Stream(non_blocking=True)
        with stream:
            stream.begin_capture()
            outside = cuda.external_stream(stream.ptr)
            for _ in range(graph):
                self.step(speed, outside)
            recorded = stream.end_capture()
            for _ in range((steps - 1) // graph):
                recorded.launch(stream)
        stream.synchronize()
        for _ in range((steps - 1) % graph):
            self.step(speed)
        cuda.synchronize()

    def back(self) -> ShellForm:
        """The form as it is on the GPU."""
        return ShellForm(
            np.ascontiguousarray(self.x.copy_to_host()),
            self.slope.copy_to_host().astype(np.float64),
            np.ascontiguousarray(self.state.copy_to_host(), dtype=np.float64),
            self.stretch.copy_to_host().astype(np.float64),
        )

    def work_done(self) -> NDArray[np.float64]:
        """Internal, external, support, damping, side-damping work on the GPU [N mm]."""
        return self.work.copy_to_host().astype(np.float64).sum(axis=0)

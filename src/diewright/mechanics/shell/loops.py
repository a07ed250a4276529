"""The loops on the CPU: elements, sides, nodes, mirrored nodes; hundreds of steps a call.

Each loop walks a fixed number of blocks, so that sums have one order whatever the number of threads: same input, same output.
Arrays travel in four bundles:

- ``mesh``: conn, coef, stations, mat, table, side_slots, start, slots, ghost, ghost_normal
- ``body``: x, v, slope, slope_v, state, stretch, force, extra, support, push
- ``rules``: mass, inertia, external, bc, bc_scale
- ``clock``: times, values (histories), speed (room for one value a history)
- ``tools``: see :func:`diewright.mechanics.contact.node.touch`
"""

from __future__ import annotations

from numba import njit, prange

from diewright.mechanics.contact.node import bead_drag, clear_tally, move_tools, touch
from diewright.mechanics.shell.block import block_forces
from diewright.mechanics.shell.element import element_force
from diewright.mechanics.shell.lanes import LANES
from diewright.mechanics.shell.layout import C_SQUEEZE, FINE, KERNEL
from diewright.mechanics.shell.node import ghost_fold, ghost_place, node_gather, node_step, pressure_gather, side_step

BLOCKS = 64
PARALLEL = {**KERNEL, "_nrt": True, "parallel": True}


@njit(**KERNEL)
def forces(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force):  # noqa: ANN201
    """Element forces in one thread; returns ``(worst answer, element)``."""
    worst, where = FINE, -1
    for e in range(conn.shape[0]):
        a = element_force(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force)
        if a > worst:
            worst, where = a, e
    return worst, where


@njit(**KERNEL)
def element_block(b, mesh, body, tools, kinematic, bad):  # noqa: ANN201
    """Elements of block ``b``; the worst answer and its element into ``bad[b]``. What squeezes their nodes squeezes them."""
    conn, coef, stations, mat, table = mesh[0], mesh[1], mesh[2], mesh[3], mesh[4]
    x, slope, state, stretch, force = body[0], body[2], body[4], body[5], body[6]
    ne = conn.shape[0]
    bad[b, 0] = FINE
    end = (b + 1) * ne // BLOCKS
    if tools[1].shape[0] > 0:
        squeeze = tools[12]
        third = type(coef[0, 0])(1.0 / 3.0)
        for e in range(b * ne // BLOCKS, end):
            coef[e, C_SQUEEZE] = third * (squeeze[conn[e, 0]] + squeeze[conn[e, 1]] + squeeze[conn[e, 2]])
    for start in range(b * ne // BLOCKS, end, LANES):
        a, e = block_forces(start, min(LANES, end - start), x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force)
        if a > bad[b, 0]:
            bad[b, 0] = a
            bad[b, 1] = e


@njit(**KERNEL)
def push_block(b, n, mesh, body, pressure):  # noqa: ANN201
    """Pressure on the nodes of block ``b``, all of it before any node moves."""
    x, push = body[0], body[9]
    for i in range(b * n // BLOCKS, (b + 1) * n // BLOCKS):
        push[i, 0], push[i, 1], push[i, 2] = pressure_gather(i, x, mesh[0], mesh[6], mesh[7], pressure)


@njit(**KERNEL)
def node_block(b, n, mesh, body, rules, clock, tools, pressure, side_drag, damping, dt, work):  # noqa: ANN201
    """Sides and nodes of block ``b``, one step on."""
    side_slots, start, slots = mesh[5], mesh[6], mesh[7]
    x, v, slope, slope_v, force, extra, support, push = body[0], body[1], body[2], body[3], body[6], body[7], body[8], body[9]
    mass, inertia, outer, bc, bc_scale = rules
    coef, stretch = mesh[1], body[5]
    speed = clock[2]
    touched = tools[1].shape[0] > 0 or tools[10][5] > 0
    if touched:
        clear_tally(b, tools)
    ns = slope.shape[0]
    for i in range(b * ns // BLOCKS, (b + 1) * ns // BLOCKS):
        side_step(i, slope, slope_v, inertia, side_slots, side_drag, force, dt, work, b)
    for i in range(b * n // BLOCKS, (b + 1) * n // BLOCKS):
        fx, fy, fz = node_gather(i, start, slots, force)
        fx, fy, fz = fx + extra[i, 0], fy + extra[i, 1], fz + extra[i, 2]
        gx, gy, gz = outer[i, 0], outer[i, 1], outer[i, 2]
        if pressure != 0:
            gx, gy, gz = gx + push[i, 0], gy + push[i, 1], gz + push[i, 2]
        if touched:
            r = type(gx)
            cx, cy, cz = touch(i, b, x, v, mass, dt, start, slots, coef, stretch, tools)
            gx, gy, gz = gx + r(cx), gy + r(cy), gz + r(cz)
            if tools[10][5] > 0:
                cx, cy, cz = bead_drag(i, x, v, gx - fx, gy - fy, gz - fz, mass, bc, bc_scale, speed, dt, start, slots, stretch, tools)
                gx, gy, gz = gx + r(cx), gy + r(cy), gz + r(cz)
        node_step(i, fx, fy, fz, gx, gy, gz, x, v, support, mass, bc, bc_scale, speed, damping, dt, work, b)


@njit(**KERNEL)
def history_value(times, values, k, t):  # noqa: ANN201
    """Row ``k`` of a piecewise linear history at time ``t``; held at its ends."""
    last = times.shape[1] - 1
    if t <= times[k, 0]:
        return values[k, 0]
    if t >= times[k, last]:
        return values[k, last]
    j = 0
    while times[k, j + 1] < t:
        j += 1
    return values[k, j] + (values[k, j + 1] - values[k, j]) * (t - times[k, j]) / (times[k, j + 1] - times[k, j])


@njit(**KERNEL)
def tick(step, time, dt, clock, pressure_row):  # noqa: ANN201
    """Fill ``speed`` for the middle of the step; returns the pressure [MPa] at its start."""
    times, values, speed = clock
    for k in range(times.shape[0]):
        speed[k] = history_value(times, values, k, time + (step + 0.5) * dt)
    zero = type(speed[0])(0.0)
    if pressure_row < 0:
        return zero
    return type(zero)(history_value(times, values, pressure_row, time + step * dt))


@njit(**KERNEL)
def worst(bad):  # noqa: ANN201
    """First block with an answer that is not fine: ``(answer, element)``."""
    for b in range(BLOCKS):
        if bad[b, 0] != FINE:
            return bad[b, 0], bad[b, 1]
    return FINE, -1


@njit(**PARALLEL)
def _elements(mesh, body, tools, kinematic, bad):
    for b in prange(BLOCKS):
        element_block(b, mesh, body, tools, kinematic, bad)


@njit(**PARALLEL)
def _pushes(n, mesh, body, pressure):
    for b in prange(BLOCKS):
        push_block(b, n, mesh, body, pressure)


@njit(**PARALLEL)
def _nodes(n, mesh, body, rules, clock, tools, pressure, side_drag, damping, dt, work):
    for b in prange(BLOCKS):
        node_block(b, n, mesh, body, rules, clock, tools, pressure, side_drag, damping, dt, work)


@njit(**KERNEL)
def advance(steps, time, dt, n, mesh, body, rules, clock, tools, kinematic, pressure_row, side_drag, damping, work, bad):  # noqa: ANN201
    """Central differences, ``steps`` times, the blocks shared out over the threads; returns ``(steps done, answer, element)``.

    ``work`` (BLOCKS, 5) sums internal, external, support, damping and side-damping work [N mm]; ``pressure_row`` is a history of
    pressure [MPa], or -1; ``bad`` (BLOCKS, 2) int64 is room for answers.
    """
    for step in range(steps):
        pressure = tick(step, time, dt, clock, pressure_row)
        _elements(mesh, body, tools, kinematic, bad)
        answer, element = worst(bad)
        if answer != FINE:
            return step, answer, element
        ghost_fold(mesh[8], mesh[9], n, mesh[6], mesh[7], body[6], body[7])
        if pressure != 0:
            _pushes(n, mesh, body, pressure)
        _nodes(n, mesh, body, rules, clock, tools, pressure, side_drag, damping, dt, work)
        ghost_place(mesh[8], mesh[9], n, body[0])
        move_tools(BLOCKS, tools, clock[2], dt)
    return steps, FINE, -1

"""The loops on the CPU: elements, nodes, mirrored nodes; hundreds of steps a call.

Each loop walks blocks of a fixed number, so that sums have one order whatever the number of threads: same input, same output.
"""

from __future__ import annotations

from numba import njit, prange

from diewright.mechanics.shell.element import element_force
from diewright.mechanics.shell.layout import FINE, KERNEL
from diewright.mechanics.shell.node import ghost_fold, ghost_place, node_gather, node_step, pressure_gather, side_step

BLOCKS = 64
PARALLEL = {**KERNEL, "parallel": True}


@njit(**KERNEL)
def forces(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force):  # noqa: ANN001, ANN201
    """Element forces in one thread; returns ``(worst answer, element)``."""
    worst, where = FINE, -1
    for e in range(conn.shape[0]):
        a = element_force(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force)
        if a > worst:
            worst, where = a, e
    return worst, where


@njit(**KERNEL)
def _element_block(b, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force, bad):  # noqa: ANN001, ANN202
    ne = conn.shape[0]
    for e in range(b * ne // BLOCKS, (b + 1) * ne // BLOCKS):
        a = element_force(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force)
        if a > bad[b, 0]:
            bad[b, 0] = a
            bad[b, 1] = e


@njit(**KERNEL)
def _node_block(  # noqa: ANN202
    b,  # noqa: ANN001
    n,  # noqa: ANN001
    x,  # noqa: ANN001
    v,  # noqa: ANN001
    acting,  # noqa: ANN001
    mass,  # noqa: ANN001
    start,  # noqa: ANN001
    slots,  # noqa: ANN001
    force,  # noqa: ANN001
    extra,  # noqa: ANN001
    outer,  # noqa: ANN001
    pressure,  # noqa: ANN001
    conn,  # noqa: ANN001
    bc,  # noqa: ANN001
    bc_scale,  # noqa: ANN001
    speed,  # noqa: ANN001
    damping,  # noqa: ANN001
    dt,  # noqa: ANN001
    work,  # noqa: ANN001
):
    for i in range(b * n // BLOCKS, (b + 1) * n // BLOCKS):
        fx, fy, fz = node_gather(i, start, slots, force)
        fx, fy, fz = fx + extra[i, 0], fy + extra[i, 1], fz + extra[i, 2]
        gx, gy, gz = outer[i, 0], outer[i, 1], outer[i, 2]
        if pressure != 0:
            hx, hy, hz = pressure_gather(i, x, conn, start, slots, pressure)
            gx, gy, gz = gx + hx, gy + hy, gz + hz
        node_step(i, fx, fy, fz, gx, gy, gz, x, v, acting, mass, bc, bc_scale, speed, damping, dt, work, b)


@njit(**KERNEL)
def _side_block(b, slope, slope_v, inertia, side_slots, side_drag, force, dt, work):  # noqa: ANN001, ANN202
    ns = slope.shape[0]
    for i in range(b * ns // BLOCKS, (b + 1) * ns // BLOCKS):
        side_step(i, slope, slope_v, inertia, side_slots, side_drag, force, dt, work, b)


@njit(**PARALLEL)
def _elements(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force, bad):  # noqa: ANN001, ANN202
    for b in prange(BLOCKS):
        _element_block(b, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force, bad)


@njit(**PARALLEL)
def _nodes(  # noqa: ANN202
    n,  # noqa: ANN001
    x,  # noqa: ANN001
    v,  # noqa: ANN001
    acting,  # noqa: ANN001
    mass,  # noqa: ANN001
    start,  # noqa: ANN001
    slots,  # noqa: ANN001
    force,  # noqa: ANN001
    extra,  # noqa: ANN001
    outer,  # noqa: ANN001
    pressure,  # noqa: ANN001
    conn,  # noqa: ANN001
    bc,  # noqa: ANN001
    bc_scale,  # noqa: ANN001
    speed,  # noqa: ANN001
    damping,  # noqa: ANN001
    dt,  # noqa: ANN001
    work,  # noqa: ANN001
    slope,  # noqa: ANN001
    slope_v,  # noqa: ANN001
    inertia,  # noqa: ANN001
    side_slots,  # noqa: ANN001
    side_drag,  # noqa: ANN001
):
    for b in prange(BLOCKS):
        _side_block(b, slope, slope_v, inertia, side_slots, side_drag, force, dt, work)
        _node_block(b, n, x, v, acting, mass, start, slots, force, extra, outer, pressure, conn, bc, bc_scale, speed, damping, dt, work)


@njit(**KERNEL)
def history_value(times, values, k, t):  # noqa: ANN001, ANN201
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
def advance(  # noqa: ANN201
    steps,  # noqa: ANN001
    time,  # noqa: ANN001
    dt,  # noqa: ANN001
    n,  # noqa: ANN001
    x,  # noqa: ANN001
    v,  # noqa: ANN001
    slope,  # noqa: ANN001
    slope_v,  # noqa: ANN001
    inertia,  # noqa: ANN001
    side_slots,  # noqa: ANN001
    side_drag,  # noqa: ANN001
    acting,  # noqa: ANN001
    mass,  # noqa: ANN001
    conn,  # noqa: ANN001
    coef,  # noqa: ANN001
    state,  # noqa: ANN001
    stretch,  # noqa: ANN001
    stations,  # noqa: ANN001
    mat,  # noqa: ANN001
    table,  # noqa: ANN001
    kinematic,  # noqa: ANN001
    force,  # noqa: ANN001
    start,  # noqa: ANN001
    slots,  # noqa: ANN001
    extra,  # noqa: ANN001
    outer,  # noqa: ANN001
    ghost,  # noqa: ANN001
    ghost_normal,  # noqa: ANN001
    bc,  # noqa: ANN001
    bc_scale,  # noqa: ANN001
    times,  # noqa: ANN001
    values,  # noqa: ANN001
    speed,  # noqa: ANN001
    pressure_row,  # noqa: ANN001
    damping,  # noqa: ANN001
    work,  # noqa: ANN001
    threads,  # noqa: ANN001
    bad,  # noqa: ANN001
):
    """Central differences, ``steps`` times; returns ``(steps done, answer, element)``.

    ``speed`` is room for one value a history; ``work`` (BLOCKS, 5) sums internal, external, support, damping and side-damping work [N mm];
    ``pressure_row`` is a history of pressure [MPa], or -1; ``bad`` (BLOCKS, 2) int64 is room for answers.
    """
    pressure = speed[0] * 0
    for step in range(steps):
        t_half = time + (step + 0.5) * dt
        for k in range(times.shape[0]):
            speed[k] = history_value(times, values, k, t_half)
        if pressure_row >= 0:
            pressure = type(pressure)(history_value(times, values, pressure_row, time + step * dt))
        for b in range(BLOCKS):
            bad[b, 0] = FINE
        if threads:
            _elements(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force, bad)
        else:
            for b in range(BLOCKS):
                _element_block(b, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force, bad)
        for b in range(BLOCKS):
            if bad[b, 0] != FINE:
                return step, bad[b, 0], bad[b, 1]
        ghost_fold(ghost, ghost_normal, n, start, slots, force, extra)
        if threads:
            _nodes(
                n,
                x,
                v,
                acting,
                mass,
                start,
                slots,
                force,
                extra,
                outer,
                pressure,
                conn,
                bc,
                bc_scale,
                speed,
                damping,
                dt,
                work,
                slope,
                slope_v,
                inertia,
                side_slots,
                side_drag,
            )
        else:
            for b in range(BLOCKS):
                _side_block(b, slope, slope_v, inertia, side_slots, side_drag, force, dt, work)
                _node_block(b, n, x, v, acting, mass, start, slots, force, extra, outer, pressure, conn, bc, bc_scale, speed, damping, dt, work)
        ghost_place(ghost, ghost_normal, n, x)
    return steps, FINE, -1

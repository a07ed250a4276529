"""What happens at a node in a step: gather, move, count the work. Mirror images stand at the end of the node list."""

from __future__ import annotations

from numba import njit

from diewright.mechanics.shell.layout import KERNEL


@njit(**KERNEL)
def node_gather(i, start, slots, force):  # noqa: ANN201
    """Internal force of node ``i``: the sum of its elements' slots, always in the same order."""
    zero = type(force[0, 0])(0.0)
    fx, fy, fz = zero, zero, zero
    for k in range(start[i], start[i + 1]):
        e = slots[k] // 6
        s = 3 * (slots[k] - 6 * e)
        fx += force[e, s]
        fy += force[e, s + 1]
        fz += force[e, s + 2]
    return fx, fy, fz


@njit(**KERNEL)
def pressure_gather(i, x, conn, start, slots, pressure):  # noqa: ANN201
    """Force of a pressure on the lower side (it pushes along the normals): a third of ``p A n`` of each triangle at the node."""
    r = type(pressure)
    sixth = pressure * r(1.0 / 6.0)
    gx, gy, gz = r(0.0), r(0.0), r(0.0)
    for k in range(start[i], start[i + 1]):
        e = slots[k] // 6
        if slots[k] - 6 * e < 3:
            a, b, c = conn[e, 0], conn[e, 1], conn[e, 2]
            ux, uy, uz = r(x[b, 0] - x[a, 0]), r(x[b, 1] - x[a, 1]), r(x[b, 2] - x[a, 2])
            wx, wy, wz = r(x[c, 0] - x[a, 0]), r(x[c, 1] - x[a, 1]), r(x[c, 2] - x[a, 2])
            gx += sixth * (uy * wz - uz * wy)
            gy += sixth * (uz * wx - ux * wz)
            gz += sixth * (ux * wy - uy * wx)
    return gx, gy, gz


@njit(**KERNEL)
def _direction(i, d, f, g, x, v, acting, mass, bc, bc_scale, speed, damping, dt):
    """One direction of a node: returns the work of internal, external, support and damping forces over the two half steps.

    With ``c`` the damping rate [1/s]: ``v+ = ((1 - c dt/2) v- + dt (g - f)/m) / (1 + c dt/2)``.
    """
    r = type(f)
    half = r(0.5)
    h = r(dt)
    rate = r(damping)
    old = v[i, d]
    m = mass[i]
    k = bc[i, d]
    if k < 0:
        ct = half * rate * h
        new = r(((r(1.0) - ct) * old + h * (g - f) / m) / (r(1.0) + ct))
        mean = half * h * (old + new)
        drag = m * rate * half * (old + new)
        v[i, d] = new
        x[i, d] += h * new
        acting[i, d] = 0
        return f * mean, g * mean, r(0.0), drag * mean
    new = r(speed[k] * bc_scale[i, d])
    mean = half * h * (old + new)
    support = m * (new - old) / h - g + f
    v[i, d] = new
    x[i, d] += h * new
    acting[i, d] = support
    return f * mean, g * mean, support * mean, r(0.0)


@njit(**KERNEL)
def node_step(i, fx, fy, fz, gx, gy, gz, x, v, acting, mass, bc, bc_scale, speed, damping, dt, work, b):  # noqa: ANN201
    """Move node ``i`` on by one step under internal force ``f`` and external force ``g`` [N]; add its work to ``work[b]``.

    ``acting`` keeps the force of the supports [N]; ``bc (n, 3)``: history of the direction, or -1 where it is free.
    """
    a0, a1, a2, a3 = _direction(i, 0, fx, gx, x, v, acting, mass, bc, bc_scale, speed, damping, dt)
    b0, b1, b2, b3 = _direction(i, 1, fy, gy, x, v, acting, mass, bc, bc_scale, speed, damping, dt)
    c0, c1, c2, c3 = _direction(i, 2, fz, gz, x, v, acting, mass, bc, bc_scale, speed, damping, dt)
    work[b, 0] += a0 + b0 + c0
    work[b, 1] += a1 + b1 + c1
    work[b, 2] += a2 + b2 + c2
    work[b, 3] += a3 + b3 + c3


@njit(**KERNEL)
def ghost_fold(ghost, ghost_normal, n, start, slots, force, extra):  # noqa: ANN201
    """Forces of the mirror images back to the nodes they follow, into ``extra (n, 3)``.

    ``x_g = x_i - 2 ((x_i - x_j) . p) p``, so by virtual work ``F_i += F - 2 (F . p) p`` and ``F_j += 2 (F . p) p``.
    """
    for g in range(ghost.shape[0]):
        i, j = ghost[g, 0], ghost[g, 1]
        for d in range(3):
            extra[i, d] = 0
            extra[j, d] = 0
    for g in range(ghost.shape[0]):
        fx, fy, fz = node_gather(n + g, start, slots, force)
        i, j = ghost[g, 0], ghost[g, 1]
        px, py, pz = ghost_normal[g, 0], ghost_normal[g, 1], ghost_normal[g, 2]
        w = 2.0 * (fx * px + fy * py + fz * pz)
        extra[i, 0] += fx - w * px
        extra[i, 1] += fy - w * py
        extra[i, 2] += fz - w * pz
        extra[j, 0] += w * px
        extra[j, 1] += w * py
        extra[j, 2] += w * pz


@njit(**KERNEL)
def ghost_place(ghost, ghost_normal, n, x):  # noqa: ANN201
    """Put the mirror images where they belong."""
    for g in range(ghost.shape[0]):
        i, j = ghost[g, 0], ghost[g, 1]
        px, py, pz = ghost_normal[g, 0], ghost_normal[g, 1], ghost_normal[g, 2]
        w = 2.0 * ((x[i, 0] - x[j, 0]) * px + (x[i, 1] - x[j, 1]) * py + (x[i, 2] - x[j, 2]) * pz)
        x[n + g, 0] = x[i, 0] - w * px
        x[n + g, 1] = x[i, 1] - w * py
        x[n + g, 2] = x[i, 2] - w * pz


@njit(**KERNEL)
def side_step(i, slope, slope_v, inertia, side_slots, side_drag, force, dt, work, b):  # noqa: ANN201
    """Move the slope of side ``i`` on under the moments of its one or two triangles.

    ``inertia [N mm s2]`` is chosen by the driver as light as the step allows (0: the slope is held), so that the slope follows its
    balance of moments within a few steps; ``side_drag`` [1/s] damps what is left.
    """
    m = inertia[i]
    r = type(m)
    if m > r(0.0):
        a, c = side_slots[i, 0], side_slots[i, 1]
        f = force[a // 3, 18 + a % 3]
        if c >= 0:
            f += force[c // 3, 18 + c % 3]
        h = r(dt)
        half = r(0.5)
        old = slope_v[i]
        ct = half * r(side_drag) * h
        new = r(((r(1.0) - ct) * old - h * f / m) / (r(1.0) + ct))
        mean = half * h * (old + new)
        slope_v[i] = new
        slope[i] += h * new
        work[b, 0] += f * mean
        work[b, 4] += m * r(side_drag) * half * (old + new) * mean

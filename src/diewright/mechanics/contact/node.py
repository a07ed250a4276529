"""Contact at a node of the sheet in a step: both skins with the present thickness, Coulomb friction, bead restraint.

Normal force ``F = k g - c v_n`` of the depth ``g = h/2 - d`` below the skin, never pulling; ``k`` is a share of ``m/dt^2``, so the step stays stable and
the depth follows from the force. Friction ``min(mu F, STICK m |v_t|/dt)`` against the sliding: where it could stop the node in
a step it does not pass that, so a node that sticks creeps by ``F_t dt/(STICK m)``. A sheet squeezed between
two tools (ironing, a blankholder) yields through its thickness: the pressure that acts on both skins goes to the triangles around (``squeeze``), where it shifts
the plane stress. A pressure beyond the tool's ``cap``, which no sheet carries, is cut.
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.contact.layout import (
    AWAY,
    BY_SPEED,
    N_CAP,
    N_DAMP,
    N_DIRECTION,
    N_DRAG,
    N_FADE,
    N_FRICTION,
    N_MASS,
    N_POWER,
    N_STIFF,
    N_STOP,
    STICK,
    T_DEEPEST,
    T_FORCE,
    T_HEAT,
    T_MOMENT_X,
    T_MOMENT_Y,
    T_SPEED,
    T_SUM,
    T_TOUCHED,
    T_TRAVEL,
    T_WORK,
    Y_COUNT,
    Z_HISTORY,
    Z_MODE,
)
from diewright.mechanics.contact.lookup import look_up
from diewright.mechanics.shell.layout import C_THICKNESS, INLINE, KERNEL


@njit(**INLINE)
def node_thickness(i, start, slots, coef, stretch):  # noqa: ANN201
    """Present thickness at a node and that at rest [mm]: the means of its triangles."""
    total, rest, count = 0.0, 0.0, 0
    for k in range(start[i], start[i + 1]):
        e = slots[k] // 6
        if slots[k] - 6 * e < 3:
            total += coef[e, C_THICKNESS] * stretch[e]
            rest += coef[e, C_THICKNESS]
            count += 1
    return (total / count, rest / count) if count > 0 else (0.0, 1.0)


@njit(**KERNEL)
def touch(i, b, x, v, mass, dt, start, slots, coef, stretch, tools):  # noqa: ANN201
    """Force of all tools and beads on node ``i`` [N]; records what it does to each tool in ``tally[b]`` and to the node.

    ``tools``: numbers, sizes, place, samples, state, tally (blocks, K, 8), push (n, K) sum of normal forces, slide (n,) [mm], rub (n, K) [N mm],
    area (n,) [mm2] at rest, bead numbers, bead (restraint over the area [N/mm2], raster), squeeze (n,) pressure on both skins [MPa].
    """
    numbers, sizes, place, samples, state, tally, push, slide, rub, area, bead_at, bead, squeeze = tools
    fx, fy, fz = 0.0, 0.0, 0.0
    h, rest = -1.0, 1.0
    both, px, py, pz = 0.0, 0.0, 0.0, 0.0
    moved = 0.0
    for k in range(sizes.shape[0]):
        if sizes[k, Z_MODE] == AWAY:
            continue
        s = state[k, T_TRAVEL]
        dx, dy, dz = numbers[k, N_DIRECTION], numbers[k, N_DIRECTION + 1], numbers[k, N_DIRECTION + 2]
        d, nx, ny, nz = look_up(x[i, 0] - s * dx, x[i, 1] - s * dy, x[i, 2] - s * dz, numbers, sizes, k, place, samples)
        if d > 1e8:
            continue
        if h < 0.0:
            h, rest = node_thickness(i, start, slots, coef, stretch)
        depth = 0.5 * h - d
        if depth <= 0.0:
            continue
        m = float(mass[i])
        w = state[k, T_SPEED]
        ux, uy, uz = v[i, 0] - w * dx, v[i, 1] - w * dy, v[i, 2] - w * dz
        un = ux * nx + uy * ny + uz * nz
        stiff = numbers[k, N_STIFF] * m / (dt * dt)
        normal = stiff * depth - 2.0 * numbers[k, N_DAMP] * math.sqrt(stiff * m) * un
        if normal <= 0.0:
            continue
        normal = min(normal, numbers[k, N_CAP] * area[i])
        ux, uy, uz = ux - un * nx, uy - un * ny, uz - un * nz
        speed = math.sqrt(ux * ux + uy * uy + uz * uz)
        mu = numbers[k, N_FRICTION]
        if numbers[k, N_FADE] > 0.0:
            p = normal / area[i]
            if p > numbers[k, N_FADE]:
                mu *= (p / numbers[k, N_FADE]) ** numbers[k, N_POWER]
        rubbing = min(mu * normal, STICK * m / dt * speed)
        r = rubbing / speed if speed > 1e-12 else 0.0
        gx, gy, gz = normal * nx - r * ux, normal * ny - r * uy, normal * nz - r * uz
        fx, fy, fz = fx + gx, fy + gy, fz + gz
        both, px, py, pz = both + normal, px + normal * nx, py + normal * ny, pz + normal * nz
        tally[b, k, 0] += gx
        tally[b, k, 1] += gy
        tally[b, k, 2] += gz
        tally[b, k, 3] += x[i, 1] * gz
        tally[b, k, 4] += x[i, 0] * gz
        tally[b, k, 5] += rubbing * speed * dt
        tally[b, k, 6] = max(tally[b, k, 6], depth / h)
        tally[b, k, 7] += 1.0
        push[i, k] += normal
        rub[i, k] += rubbing * speed * dt
        moved = max(moved, speed * dt)
    slide[i] += moved
    # what presses on both skins: the sum of sizes less the size of the sum; per area at present, by the work it does on the thickness
    squeeze[i] = 0.5 * (both - math.sqrt(px * px + py * py + pz * pz)) * h / (rest * area[i]) if both > 0.0 else 0.0
    if bead_at[5] > 0.0:
        gx, gy, gz = bead_drag(i, x, v, mass, dt, area, bead_at, bead)
        fx, fy, fz = fx + gx, fy + gy, fz + gz
    return fx, fy, fz


@njit(**KERNEL)
def bead_drag(i, x, v, mass, dt, area, bead_at, bead):  # noqa: ANN201
    """What the draw beads hold back at node ``i``: restraint over the area times the node's area, against its motion."""
    a, c = (x[i, 0] - bead_at[0]) * bead_at[2], (x[i, 1] - bead_at[1]) * bead_at[2]
    if not (a >= 0.0 and c >= 0.0 and a < bead_at[3] and c < bead_at[4]):
        return 0.0, 0.0, 0.0
    q = bead[int(a), int(c)]
    if q <= 0.0:
        return 0.0, 0.0, 0.0
    ux, uy, uz = float(v[i, 0]), float(v[i, 1]), float(v[i, 2])
    speed = math.sqrt(ux * ux + uy * uy + uz * uz)
    if speed < 1e-12:
        return 0.0, 0.0, 0.0
    r = min(q * area[i], STICK * mass[i] / dt * speed) / speed
    return -r * ux, -r * uy, -r * uz


@njit(**KERNEL)
def clear_tally(b, tools):  # noqa: ANN201
    """Before the nodes of a block."""
    tally = tools[5]
    for k in range(tally.shape[1]):
        for c in range(Y_COUNT):
            tally[b, k, c] = 0.0


@njit(**KERNEL)
def move_tools(blocks, tools, speed, dt):  # noqa: ANN201
    """Sum what the blocks felt and move every tool by one step: by its stated speed, or by the force upon it up to its stop."""
    numbers, sizes, state, tally = tools[0], tools[1], tools[4], tools[5]
    for k in range(sizes.shape[0]):
        if sizes[k, Z_MODE] == AWAY:
            state[k, T_FORCE], state[k, T_FORCE + 1], state[k, T_FORCE + 2] = 0.0, 0.0, 0.0
            continue
        fx, fy, fz, mx, my, heat, deep, count = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for b in range(blocks):
            fx += tally[b, k, 0]
            fy += tally[b, k, 1]
            fz += tally[b, k, 2]
            mx += tally[b, k, 3]
            my += tally[b, k, 4]
            heat += tally[b, k, 5]
            deep = max(deep, tally[b, k, 6])
            count += tally[b, k, 7]
        state[k, T_FORCE], state[k, T_FORCE + 1], state[k, T_FORCE + 2] = fx, fy, fz
        state[k, T_MOMENT_X], state[k, T_MOMENT_Y] = mx, my
        state[k, T_SUM] += fx
        state[k, T_SUM + 1] += fy
        state[k, T_SUM + 2] += fz
        state[k, T_SUM + 3] += mx
        state[k, T_SUM + 4] += my
        state[k, T_HEAT] += heat
        state[k, T_DEEPEST] = max(state[k, T_DEEPEST], deep)
        state[k, T_TOUCHED] = count
        along = fx * numbers[k, N_DIRECTION] + fy * numbers[k, N_DIRECTION + 1] + fz * numbers[k, N_DIRECTION + 2]
        old = state[k, T_SPEED]
        if sizes[k, Z_MODE] == BY_SPEED:
            new = float(speed[sizes[k, Z_HISTORY]])
        else:
            c = 0.5 * numbers[k, N_DRAG] * dt
            new = ((1.0 - c) * old + dt * (speed[sizes[k, Z_HISTORY]] - along) / numbers[k, N_MASS]) / (1.0 + c)
            if state[k, T_TRAVEL] + new * dt > numbers[k, N_STOP]:
                new = max(0.0, (numbers[k, N_STOP] - state[k, T_TRAVEL]) / dt)
        state[k, T_WORK] += along * 0.5 * (old + new) * dt
        state[k, T_SPEED] = new
        state[k, T_TRAVEL] += new * dt

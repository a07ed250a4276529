"""Contact at a node of the sheet in a step: both skins with the present thickness, Coulomb friction, bead restraint.

Normal force ``F = k g - c v_n`` of the depth ``g = h/2 - d`` below the skin, never pulling; ``k`` is a share of ``m/dt^2``, so the step stays stable and
the depth follows from the force. Friction ``min(mu F, STICK m |v_t|/dt)`` against the sliding: where it could stop the node in
a step it does not pass that, so a node that sticks creeps by ``F_t dt/(STICK m)``. A sheet squeezed between
two tools (ironing, a blankholder) yields through its thickness: the pressure that acts on both skins goes to the triangles around (``squeeze``), where it shifts
the plane stress. A pressure beyond the tool's ``cap``, which no sheet carries, is cut.

A tool on pins may tilt: its travel at a node is ``s + a (x - xc) + b (y - yc)``, a shear along its direction, which is a turn for the small slopes that guides allow.
"""

from __future__ import annotations

import math

from numba import njit

from diewright.mechanics.contact.layout import (
    AWAY,
    BY_SPEED,
    LEVEL,
    N_CAP,
    N_CENTRE,
    N_DAMP,
    N_DIRECTION,
    N_DRAG,
    N_FADE,
    N_FRICTION,
    N_INERTIA,
    N_MASS,
    N_MOST,
    N_POWER,
    N_STIFF,
    N_STOP,
    STICK,
    T_DEEPEST,
    T_FORCE,
    T_HEAT,
    T_MOMENT_X,
    T_MOMENT_Y,
    T_RATE,
    T_SPEED,
    T_SUM,
    T_TILT,
    T_TOUCHED,
    T_TRAVEL,
    T_WORK,
    TILTING,
    Y_COUNT,
    Z_HISTORY,
    Z_MODE,
    Z_TILT,
    Z_TURN,
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
    """Force of all tools on node ``i`` [N]; records what it does to each tool in ``tally[b]`` and to the node.

    ``tools``: numbers, sizes, place, samples, state, tally (blocks, K, 8), push (n, K) sum of normal forces, slide (n,) [mm], rub (n, K) [N mm],
    area (n,) [mm2] at rest, bead numbers, bead (restraint over the area [N/mm2], raster) for :func:`bead_drag`, squeeze (n,) pressure on both skins [MPa].
    """
    numbers, sizes, place, samples, state, tally, push, slide, rub, area, _, _, squeeze = tools
    fx, fy, fz = 0.0, 0.0, 0.0
    h, rest = -1.0, 1.0
    both, px, py, pz = 0.0, 0.0, 0.0, 0.0
    moved = 0.0
    for k in range(sizes.shape[0]):
        if sizes[k, Z_MODE] == AWAY:
            continue
        s = state[k, T_TRAVEL]
        w = state[k, T_SPEED]
        tilted = sizes[k, Z_TILT] != LEVEL
        ax, ay = 0.0, 0.0
        if tilted:
            ax, ay = state[k, T_TILT], state[k, T_TILT + 1]
            rx, ry = x[i, 0] - numbers[k, N_CENTRE], x[i, 1] - numbers[k, N_CENTRE + 1]
            s += ax * rx + ay * ry
            w += state[k, T_RATE] * rx + state[k, T_RATE + 1] * ry
        dx, dy, dz = numbers[k, N_DIRECTION], numbers[k, N_DIRECTION + 1], numbers[k, N_DIRECTION + 2]
        d, nx, ny, nz = look_up(x[i, 0] - s * dx, x[i, 1] - s * dy, x[i, 2] - s * dz, numbers, sizes, k, place, samples)
        if d > 1e8:
            continue
        if tilted:
            # the gradient in space of a distance taken in the tilted tool's own frame
            along = nx * dx + ny * dy + nz * dz
            nx, ny = nx - along * ax, ny - along * ay
            size = math.sqrt(nx * nx + ny * ny + nz * nz)
            d, nx, ny, nz = d / size, nx / size, ny / size, nz / size
        if h < 0.0:
            h, rest = node_thickness(i, start, slots, coef, stretch)
        depth = 0.5 * h - d
        if depth <= 0.0:
            continue
        m = float(mass[i])
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
    return fx, fy, fz


@njit(**KERNEL)
def bead_drag(i, x, v, fx, fy, fz, mass, bc, bc_scale, speed, dt, start, slots, stretch, tools):  # noqa: ANN201
    """What the draw beads hold back at node ``i`` [N]: restraint over the area times the node's present area (that at rest over the thickness share).

    Against the velocity the node would have after this step under the other forces ``f`` (or its prescribed one), and no more than brings it to rest: a bead
    that holds lets nothing creep, whatever the restraint.
    """
    area, bead_at, bead = tools[9], tools[10], tools[11]
    a, c = (x[i, 0] - bead_at[0]) * bead_at[2], (x[i, 1] - bead_at[1]) * bead_at[2]
    if not (a >= 0.0 and c >= 0.0 and a < bead_at[3] and c < bead_at[4]):
        return 0.0, 0.0, 0.0
    q = bead[int(a), int(c)]
    if q <= 0.0:
        return 0.0, 0.0, 0.0
    m = float(mass[i])
    ux, uy, uz = v[i, 0] + dt * fx / m, v[i, 1] + dt * fy / m, v[i, 2] + dt * fz / m
    if bc[i, 0] >= 0:
        ux = float(speed[bc[i, 0]] * bc_scale[i, 0])
    if bc[i, 1] >= 0:
        uy = float(speed[bc[i, 1]] * bc_scale[i, 1])
    if bc[i, 2] >= 0:
        uz = float(speed[bc[i, 2]] * bc_scale[i, 2])
    size = math.sqrt(ux * ux + uy * uy + uz * uz)
    if size < 1e-12:
        return 0.0, 0.0, 0.0
    total, count = 0.0, 0
    for k in range(start[i], start[i + 1]):
        e = slots[k] // 6
        if slots[k] - 6 * e < 3:
            total += stretch[e]
            count += 1
    now = area[i] * count / total if count > 0 else 0.0
    r = min(q * now, m / dt * size) / size
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
        if sizes[k, Z_TILT] == TILTING:
            dz = numbers[k, N_DIRECTION + 2]
            tilt(k, 0, dz * (my - numbers[k, N_CENTRE] * fz), numbers, sizes, state, speed, dt)
            tilt(k, 1, dz * (mx - numbers[k, N_CENTRE + 1] * fz), numbers, sizes, state, speed, dt)


@njit(**KERNEL)
def tilt(k, j, felt, numbers, sizes, state, speed, dt):  # noqa: ANN201
    """One step of a tool's slope along x (``j`` 0) or y (1): moment of the pins less what it feels from the sheet [N mm], up to the guides' limit."""
    c = 0.5 * numbers[k, N_DRAG] * dt
    old, now = state[k, T_RATE + j], state[k, T_TILT + j]
    new = ((1.0 - c) * old + dt * (float(speed[sizes[k, Z_TURN + j]]) - felt) / numbers[k, N_INERTIA + j]) / (1.0 + c)
    most = numbers[k, N_MOST]
    new = min(max(new, (-most - now) / dt), (most - now) / dt)
    state[k, T_WORK] += felt * 0.5 * (old + new) * dt
    state[k, T_RATE + j] = new
    state[k, T_TILT + j] = now + new * dt

"""Our values for ``reference/shell.csv``: the shell of the tryout against published cases and closed forms."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.mechanics.shell.carry import carry
from diewright.mechanics.shell.form import ShellForm, at_rest
from diewright.mechanics.shell.layout import C_AREA
from diewright.mechanics.shell.material import ShellMaterial, elastic, hill_yield, plastic
from diewright.mechanics.shell.patch import Mirror, Patches, build_patches
from diewright.mechanics.shell.recover import recover
from diewright.mechanics.shell.static import StaticShell
from diewright.mechanics.shell.stations import through_thickness

Floats = NDArray[np.float64]
X, Y, Z = np.eye(3)


def grid(
    lx: float, ly: float, nx: int, ny: int, *, crossed: bool = True, shake: float = 0.0, seed: int = 1
) -> tuple[Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Triangles on a rectangle: ``(points (n, 3), triangles, node numbers (nx + 1, ny + 1))``; ``shake`` moves inner nodes by shares of the pitch."""
    gx, gy = np.meshgrid(np.linspace(0.0, lx, nx + 1), np.linspace(0.0, ly, ny + 1), indexing="ij")
    points = np.column_stack([gx.ravel(), gy.ravel(), np.zeros(gx.size)])
    ids = np.arange(gx.size).reshape(nx + 1, ny + 1)
    inner = ids[1:-1, 1:-1].ravel()
    if shake:
        points[inner, :2] += np.random.default_rng(seed).uniform(-shake, shake, (len(inner), 2)) * [lx / nx, ly / ny]
    triangles = []
    for i in range(nx):
        for j in range(ny):
            a, b, c, d = ids[i, j], ids[i + 1, j], ids[i + 1, j + 1], ids[i, j + 1]
            triangles += [[a, b, c], [a, c, d]] if not crossed or (i + j) % 2 else [[a, b, d], [b, c, d]]
    return points, np.array(triangles), ids


def sides(nodes: NDArray[np.int64]) -> NDArray[np.int64]:
    """The sides of a row of nodes."""
    return np.column_stack([nodes[:-1], nodes[1:]])


def _solver(patches: Patches, material: ShellMaterial, stations: int = 3) -> tuple[StaticShell, ShellForm]:
    points = through_thickness(stations)
    return StaticShell(patches, material, points), at_rest(patches, points, kinematic=False)


def cantilever(nx: int = 20, ny: int = 2) -> dict[str, float]:
    """End shear on a cantilever (Sze, Liu, Lo 2004): tip deflection W and shortening U at quarters of the full load."""
    points, triangles, ids = grid(10.0, 1.0, nx, ny)
    patches = build_patches(points, triangles, 0.1, mirrors=(Mirror(sides(ids[0]), X),))
    solver, form = _solver(patches, elastic(1.2e6, 0.0))
    free = np.ones((patches.n, 3), dtype=np.bool_)
    free[ids[0]] = False
    share = np.ones(ny + 1)
    share[[0, -1]] = 0.5
    out: dict[str, float] = {}
    before = np.zeros((patches.n, 3))
    for quarter in (0.25, 0.5, 0.75, 1.0):
        load = np.zeros((patches.n, 3))
        load[ids[-1], 2] = 4.0 * quarter * share / share.sum()
        form = solver.solve(form, free=free, load=load, load_before=before, first=0.2).form
        tip = (form.x[: patches.n] - points)[ids[-1]].mean(0)
        out |= {f"W at {quarter:g}": float(tip[2]), f"U at {quarter:g}": float(-tip[0])}
        before = load
    return out


def plate(n: int, *, clamped: bool, point: bool, crossed: bool = True, shake: float = 0.2) -> float:
    """Centre deflection of a square plate (a quarter, n x n pitches): ``w D/(P L^2)`` or ``w D/(q L^4)``."""
    side, t, young, nu = 10.0, 0.1, 2e5, 0.3
    points, triangles, ids = grid(side / 2, side / 2, n, n, crossed=crossed, shake=shake)
    mirrors = [Mirror(sides(ids[0]), X), Mirror(sides(ids[:, 0]), Y)]
    if clamped:
        mirrors += [Mirror(sides(ids[-1]), X), Mirror(sides(ids[:, -1]), Y)]
    patches = build_patches(points, triangles, t, mirrors=tuple(mirrors))
    solver, form = _solver(patches, elastic(young, nu))
    free = np.ones((patches.n, 3), dtype=np.bool_)
    free[:, :2] = False
    free[ids[-1]] = free[ids[:, -1]] = False
    load = np.zeros((patches.n, 3))
    size = 1e-7
    if point:
        load[0, 2] = 0.25 * size
    else:
        np.add.at(load[:, 2], triangles.ravel(), np.repeat(size * patches.coef[:, C_AREA] / 3.0, 3))
    w = solver.solve(form, free=free, load=load, load_before=0.0 * load).form.x[0, 2]
    rigidity = young * t**3 / 12.0 / (1.0 - nu**2)
    return float(w * rigidity / (size * side ** (2 if point else 4)))


def plates() -> dict[str, float]:
    """Square plates on a distorted crossed mesh of 32 x 32 a quarter."""
    return {
        "clamped, central load": plate(32, clamped=True, point=True),
        "simply supported, uniform load": plate(32, clamped=False, point=False),
    }


def _cylinder(points: Floats, radius: float) -> Floats:
    """Roll a flat (angle, length) grid: x = arc over radius [rad], y = length."""
    return np.column_stack([radius * np.sin(points[:, 0]), points[:, 1], radius * np.cos(points[:, 0])])


def scordelis_lo(n: int = 24) -> float:
    """Vertical deflection of the middle of the free edge under self weight."""
    flat, triangles, ids = grid(math.radians(40.0), 25.0, n, n)
    points = _cylinder(flat, 25.0)
    patches = build_patches(points, triangles, 0.25, rolling=Y, mirrors=(Mirror(sides(ids[0]), X), Mirror(sides(ids[:, -1]), Y)))
    solver, form = _solver(patches, elastic(4.32e8, 0.0))
    free = np.ones((patches.n, 3), dtype=np.bool_)
    free[ids[0], 0] = False
    free[ids[:, -1], 1] = False
    free[ids[:, 0], 0] = free[ids[:, 0], 2] = False
    load = np.zeros((patches.n, 3))
    np.add.at(load[:, 2], triangles.ravel(), np.repeat(-1e-3 * 90.0 * patches.coef[:, C_AREA] / 3.0, 3))
    form = solver.solve(form, free=free, load=load, load_before=0.0 * load).form
    return float(-(form.x[ids[-1, -1], 2] - points[ids[-1, -1], 2]) / 1e-3)


def pinched_cylinder(n: int = 80) -> float:
    """Deflection under the load of a cylinder with end diaphragms."""
    flat, triangles, ids = grid(math.pi / 2, 300.0, n, n)
    points = _cylinder(flat, 300.0)
    patches = build_patches(
        points, triangles, 3.0, rolling=Y, mirrors=(Mirror(sides(ids[0]), X), Mirror(sides(ids[-1]), Z), Mirror(sides(ids[:, -1]), Y))
    )
    solver, form = _solver(patches, elastic(3e6, 0.3))
    free = np.ones((patches.n, 3), dtype=np.bool_)
    free[ids[0], 0] = False
    free[ids[-1], 2] = False
    free[ids[:, -1], 1] = False
    free[ids[:, 0], 0] = free[ids[:, 0], 2] = False
    load = np.zeros((patches.n, 3))
    load[ids[0, -1], 2] = -0.25 * 100.0  # 0.06 % of the thickness: still linear, and well above rounding
    form = solver.solve(form, free=free, load=load, load_before=0.0 * load).form
    return float(-(form.x[ids[0, -1], 2] - 300.0)) / 100.0


STRIP = {"young": 200000.0, "flow": 400.0, "thickness": 1.0, "length": 10.0}


def bent_strip(radius: float, stations: int = 9, nx: int = 10, hardening: float = 0.0) -> dict[str, float]:
    """Pure bending of an elastic, perfectly plastic strip to a mid-surface radius, then let go.

    The sheet yields under its long stress only (``H = 0``, Poisson 0), so that the strip in plane strain is exactly the beam of the
    closed forms: ``M/Mp = 1 - (kY/k)^2/3``, and Gardiner's (1957) ``R/Rf = 4 X^3 - 3 X + 1``, ``X = R Y/(E t)``. With a linear
    ``hardening`` [MPa] of tangent ``Et = E h/(E + h)``: ``M = (1 - Et/E) M(perfectly plastic) + Et I k``, ``k_f = k - M/(E I)``. Without it no
    radius is reached at which every station has yielded: the strip then has no stiffness left to find a shape with.
    """
    young, flow, t, length = STRIP["young"], STRIP["flow"], STRIP["thickness"], STRIP["length"]
    points, triangles, ids = grid(length, 2.0 * length / nx, nx, 2)
    left = Mirror(sides(ids[0]), X)
    held = build_patches(points, triangles, t, mirrors=(left, Mirror(sides(ids[-1]), X)))
    material = plastic(young, 0.0, 7.85e-9, hill_yield(1.0, 1.0, 0.0, 1.5), {"ss": flow, "s0": flow, "c": 1.0, "h": hardening})
    at = through_thickness(stations)
    solver, form = StaticShell(held, material, at), at_rest(held, at, kinematic=False)
    free = np.ones((held.n, 3), dtype=np.bool_)
    free[:, 1] = False
    free[ids[0]] = False
    zero = np.zeros((held.n, 3))
    # Near the full plastic moment the strip has hardly any stiffness left: each increment starts from the circle.
    for share in np.linspace(0.0, 1.0, 26)[1:] ** 1.5:
        k = share / radius
        r = 0.5 * length / nx / math.sin(0.5 * k * length / nx)  # nodes of a polygon whose sides keep their length
        form.x[: held.n] = np.column_stack([r * np.sin(k * points[:, 0]), points[:, 1], r * (np.cos(k * points[:, 0]) - 1.0)])
        held.ghost_normal[len(ids[0]) - 1 :] = [math.cos(k * length), 0.0, -math.sin(k * length)]
        form = solver.solve(form, free=free, load=zero, load_before=zero).form
    moment = _moment(held, material, at, form, t)
    loose = build_patches(points, triangles, t, mirrors=(left,))
    form = carry(held, loose, form, np.arange(len(triangles)), np.arange(held.n))
    bent = recover(loose, material, at, form).curvature[:, 0].mean()
    solver = StaticShell(loose, material, at)
    end = solver.solve(form, free=free, load=zero, first=0.25).form
    after = recover(loose, material, at, end).curvature[:, 0].mean()
    return {"moment over full plastic moment": moment / (flow * t * t / 4.0), "radius ratio": float(after / bent)}


def _moment(patches: Patches, material: ShellMaterial, at: Floats, form: ShellForm, t: float) -> float:
    stress = recover(patches, material, at, form).stress[:, :, 0]
    return float(np.abs((stress * at[:, 1] * at[:, 0]).sum(1).mean()) * t * t)


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "cantilever-end-shear": cantilever,
    "square-plates": plates,
    "scordelis-lo": lambda: {"free edge deflection": scordelis_lo()},
    "pinched-cylinder": lambda: {"deflection under the load": pinched_cylinder()},
    "bent-strip-30": lambda: bent_strip(30.0, hardening=1000.0),
    "bent-strip-100": lambda: bent_strip(100.0),
}

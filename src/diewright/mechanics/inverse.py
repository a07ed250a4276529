"""The one-step inverse solution: from the finished part back to the flat blank.

Given the part (fixed), find the flat positions ``X (n, 2)`` of its nodes such that the sheet, deformed from the flat to the part, is in
equilibrium on frictionless tools under the blankholder's friction and the beads' pull (idea: Guo, Batoz et al., Comput. Struct. 36
(1990) 1085; deformation theory in the place of the path). With the work density ``w`` of :mod:`plasticity` and the triangles of
:mod:`membrane` the residual is::

    r(X) = d/dX [ sum_e A0_e t0 w(ln U_e) ]  +  edge terms  +  flange friction  -  hold of the punch face

**Why this is equilibrium.** For a smooth sheet the variation of the work sum at fixed part is that of the real sheet under
``delta x = -F delta X``: ``integral (w 1 - M) : grad delta X`` with ``M = F^T P``. Inside, ``Div (w 1 - M) = F^T Div P``
(the sheet is uniform), so the real balance along the surface follows; forces normal to the surface drop out by themselves because only the
part's metric enters, no nodal normals. At the edge the work sum alone would ask for ``M N = w N``; the edge terms of :mod:`loads` take
``w N`` off, which leaves the real ``M N = bead``. The volume of a triangle is ``A0 t0 = a t``: constant, whatever the strain.

**How it is solved.** By :mod:`road`: an always solvable problem first, then ever less gentle ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_matrix, csr_matrix

from diewright.errors import InputError, SolveError
from diewright.mechanics.fields import Fields, recover, section_force
from diewright.mechanics.gap import GAP_STIFFNESS, Gap
from diewright.mechanics.linear import Pattern
from diewright.mechanics.loads import Drag, Hold, Loads
from diewright.mechanics.membrane import inverse_metric
from diewright.mechanics.newton import Clock, Outcome, Problem, Step
from diewright.mechanics.plasticity import Curve, Hill, build_curve, checked_hill
from diewright.mechanics.road import follow
from diewright.mechanics.topology import Sheet, checked_sheet
from diewright.mechanics.unfold import Unfolding, plan_weights, unfold_sheet
from diewright.watch import Watch

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class InverseResult:
    """The blank and the strains; arrays follow the given points and triangles.

    ``flat (n, 2)`` [mm], NaN for points no triangle uses; ``major, minor (m,)`` true in-plane principal strains; ``angle (m,)`` of the
    major direction in the flat from +x [rad]; ``thickness (m,)`` of the part [mm]; ``plastic_strain (m,)`` equivalent;
    ``stress (m, 3)`` s11, s22, s12 in the rolling frame carried along by the sheet [MPa]; ``principal_stress (m, 2)``,
    ``tangent_modulus (m,)`` of the curve [MPa]; ``ironing_pressure (m,)`` of the wall gap on the sheet [MPa], 0 where it does not touch;
    ``volume (m,)`` [mm3], the weight for averages; ``draw_force`` [N]: largest vertical membrane force through a level section;
    ``hold`` (2,) [N]: in-plane force the punch face must carry for balance; ``growth``: 0, or how much the curve had to be steepened.
    """

    flat: Floats
    major: Floats
    minor: Floats
    angle: Floats
    thickness: Floats
    plastic_strain: Floats
    stress: Floats
    principal_stress: Floats
    tangent_modulus: Floats
    ironing_pressure: Floats
    volume: Floats
    draw_force: float
    hold: Floats
    growth: float
    residual: float
    iterations: tuple[Step, ...]
    seconds: Mapping[str, float]
    warnings: tuple[str, ...]
    method: str


def solve(
    points: ArrayLike,
    triangles: ArrayLike,
    *,
    thickness: float,
    hardening: tuple[ArrayLike, ArrayLike],
    anisotropy: Hill | tuple[float, float, float, float] = Hill(),
    rolling_angle: float = 0.0,
    youngs_modulus: float = 2.1e5,
    poisson: float = 0.3,
    flange: NDArray[np.bool_] | None = None,
    blankholder_force: float = 0.0,
    friction: float = 0.0,
    bead_restraint: float = 0.0,
    bead_edges: ArrayLike | None = None,
    fixed_edge: NDArray[np.bool_] | None = None,
    wall_drag: ArrayLike | None = None,
    thickness_limit: ArrayLike | None = None,
    tolerance: float = 1e-6,
    max_iterations: int = 200,
    watch: Watch | None = None,
) -> InverseResult:
    """Develop a part: points ``(n, 3) [mm]`` in press coordinates, triangles ``(m, 3)``.

    ``thickness`` of the blank [mm]; ``hardening``: plastic strain and stress [MPa]; ``anisotropy``: Hill 1948 with ``G + H = 1``;
    ``rolling_angle``: rolling direction in the flat from +x [rad]; ``flange``: bool per triangle or point, where the blankholder presses
    with ``blankholder_force`` [N] at coefficient ``friction`` (both faces rub); ``bead_restraint`` [N per mm of part edge] along the outer
    edge or along ``bead_edges (k, 2)``; ``wall_drag``: force of each triangle [N] up its own slope, against the draw (see :mod:`tension`); ``fixed_edge``: bool per point, points clamped where the plan has them;
    ``thickness_limit`` [mm]: the wall gap, one for all triangles or ``(m,)``, infinite where there is none: the sheet is pressed there as hard as it
    takes not to grow thicker (within about 1 %).
    ``poisson`` is checked only: the deformation theory keeps volume also in its elastic start. ``tolerance``: residual force over ``yield stress x t0 x
    mean edge x sqrt(n)``. Raises :class:`InputError` for what cannot be used, :class:`SolveError` if no balance is found, Cancelled by ``watch``.
    """
    watch = watch or Watch()
    clock = Clock()
    numbers = {
        "thickness": (thickness, 0.0, False), "blankholder_force": (blankholder_force, 0.0, True), "friction": (friction, 0.0, True),
        "bead_restraint": (bead_restraint, 0.0, True), "tolerance": (tolerance, 0.0, False),
    }  # fmt: skip
    for name, (value, low, closed) in numbers.items():
        if not np.isfinite(value) or value < low or (value == low and not closed):
            raise InputError(f"{name} is {value}; expected a number {'of 0 or more' if closed else 'above 0'}.", where=name)
    if not np.isfinite(rolling_angle):
        raise InputError(f"rolling_angle is {rolling_angle}; expected radians.", where="rolling_angle")
    if not 0.0 <= poisson <= 0.5:
        raise InputError(f"poisson is {poisson}; expected 0 to 0.5.", where="poisson")
    hill = checked_hill(anisotropy)
    curve = build_curve(hardening, youngs_modulus)
    with clock.phase("checks"):
        sheet = checked_sheet(points, triangles)
    with clock.phase("unfolding"):
        start = unfold_sheet(sheet, watch)
    with clock.phase("set-up"):
        n, m = len(np.asarray(points)), len(np.asarray(triangles))
        flange_cells = _flange(flange, sheet, n, m)
        bead = _bead(bead_restraint, bead_edges, sheet, start, n)
        clamped = _points(fixed_edge, sheet, n, "fixed_edge")
        gap = _gap(thickness_limit, thickness, m)
        turn = _turn(rolling_angle)
        problem, flat = _problem(
            sheet, start, turn, thickness, hill, curve, flange_cells, blankholder_force * friction, bead, clamped, gap, wall_drag
        )
    outcome, steps, growth, warnings = follow(problem, flat, tolerance, max_iterations, watch, clock)
    with clock.phase("fields"):
        fields = recover(outcome.flat, sheet.triangles, sheet.points, problem, outcome.state)
        draw_force = section_force(outcome.flat, sheet.triangles, sheet.points, problem, fields)
    if start.method == "disc":
        warnings.append("The first flat had to be found through a disc; look at the outline for folds over itself.")
    return _result(outcome, sheet, fields, curve, turn, rolling_angle, n, draw_force, growth, steps, clock, warnings, start.method)


def _result(outcome: Outcome, sheet: Sheet, fields: Fields, curve: Curve, turn: Floats, rolling_angle: float, n: int, draw_force: float, growth: float, steps: list[Step], clock: Clock, warnings: list[str], method: str) -> InverseResult:  # fmt: skip
    flat = np.full((n, 2), np.nan)
    flat[sheet.used] = outcome.flat @ turn.T
    angle = fields.angle + rolling_angle
    angle = (angle + np.pi / 2) % np.pi - np.pi / 2
    values = {
        "flat": flat,
        "major": fields.major,
        "minor": fields.minor,
        "angle": angle,
        "thickness": fields.thickness,
        "plastic_strain": curve.plastic(outcome.state[:, 1]),
        "stress": fields.stress,
        "principal_stress": fields.principal_stress,
        "tangent_modulus": curve.slope(outcome.state[:, 1]),
        "ironing_pressure": outcome.pressure,
        "volume": fields.volume,
    }
    for name, array in values.items():
        if not np.isfinite(array[sheet.used] if name == "flat" else array).all():
            raise SolveError(f"The inverse solution has a {name} that is not a finite number.", help="Check the mesh and the sheet.")
        array.flags.writeable = False
    return InverseResult(
        **values,
        draw_force=draw_force,
        hold=turn @ outcome.reaction[:2],
        growth=growth,
        residual=outcome.residual,
        iterations=tuple(steps),
        seconds=dict(clock.seconds),
        warnings=tuple(warnings),
        method=method,
    )


def _turn(angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


def _points(mask: NDArray[np.bool_] | None, sheet: Sheet, n: int, where: str) -> NDArray[np.bool_] | None:
    if mask is None:
        return None
    values: NDArray[np.bool_] = np.array(mask, dtype=bool)
    if values.shape != (n,):
        raise InputError(f"{where} has shape {values.shape}; expected one flag per point ({n}).", where=where)
    return np.asarray(values[sheet.used]) if values.any() else None


def _flange(flange: NDArray[np.bool_] | None, sheet: Sheet, n: int, m: int) -> NDArray[np.bool_]:
    if flange is None:
        return np.zeros(m, dtype=bool)
    values: NDArray[np.bool_] = np.array(flange, dtype=bool)
    if values.shape == (m,):
        return values
    if values.shape == (n,):
        return np.asarray(values[sheet.used][sheet.triangles].all(axis=1))
    raise InputError(f"flange has shape {values.shape}; expected one flag per triangle ({m}) or per point ({n}).", where="flange")


def _gap(limit: ArrayLike | None, thickness: float, m: int) -> Floats:
    """Largest thickness strain of each triangle ``(m,)``, infinite where no tool is near."""
    if limit is None:
        return np.full(m, np.inf)
    values = np.asarray(limit, dtype=float)
    if values.shape not in ((), (m,)):
        raise InputError(f"thickness_limit has shape {values.shape}; expected one number or {m}.", where="thickness_limit")
    if not (values > 0.9 * thickness).all():
        raise InputError(
            f"thickness_limit is {np.min(values):.4g} mm on a sheet of {thickness:.4g} mm; it must be 0.9 of the sheet or more.",
            where="thickness_limit", help="A drawing tool does not iron harder than that in one stroke.",
        )  # fmt: skip
    return np.ascontiguousarray(np.broadcast_to(np.log(values / thickness), (m,)))


def _bead(restraint: float, edges: ArrayLike | None, sheet: Sheet, start: Unfolding, n: int) -> Floats:
    """Restraint of each boundary edge ``(b,)``: along the loop with the largest flat area, or along the edges named."""
    bead = np.zeros(len(sheet.boundary))
    if restraint == 0.0:
        return bead
    if edges is None:

        def area(ring: NDArray[np.int32]) -> float:
            x, y = start.flat[ring].T
            return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))

        outer = max(sheet.loops, key=area)
        on = np.zeros(len(sheet.points), dtype=bool)
        on[outer] = True
        bead[on[sheet.boundary].all(axis=1)] = restraint
        return bead
    given = np.sort(np.asarray(edges, dtype=np.int64).reshape(-1, 2), axis=1) @ [n, 1]
    own = np.sort(sheet.used[sheet.boundary], axis=1) @ [n, 1]
    if not np.isin(given, own).all():
        raise InputError("bead_edges names an edge that is not on the part's boundary.", where="bead_edges")
    bead[np.isin(own, given)] = restraint
    return bead


def _problem(sheet: Sheet, start: Unfolding, turn: Floats, thickness: float, hill: Hill, curve: Curve, flange: NDArray[np.bool_], rubbed: float, bead: Floats, clamped: NDArray[np.bool_] | None, gap: Floats, wall_drag: ArrayLike | None) -> tuple[Problem, Floats]:  # fmt: skip
    p, t = sheet.points, sheet.triangles
    n = len(p)
    flat, plan = start.flat @ turn, p[:, :2] @ turn
    metric, areas = inverse_metric(p, t)
    cells = np.flatnonzero(flange) if rubbed > 0 else np.zeros(0, dtype=np.int64)
    if rubbed > 0 and len(cells) == 0:
        raise InputError("A blankholder force with friction needs a flange to press on; no triangle is marked.", where="flange")
    share = areas[cells] / areas[cells].sum() if len(cells) else np.zeros(0)
    loads = Loads(t, sheet.boundary, sheet.owner, bead, areas, thickness, cells, 2.0 * rubbed * share / 3.0, plan, _drag(wall_drag, p, t))
    held = np.zeros(2 * n, dtype=bool)
    hold: Hold | None = None
    pins = np.zeros(0, dtype=np.int64)
    if clamped is not None:
        held = np.repeat(clamped, 2)
        if clamped.sum() < 2:
            raise InputError("fixed_edge clamps fewer than two points; the blank could still turn.", where="fixed_edge")
        flat = _clamp(flat, plan, clamped, t)
    else:
        hold = Hold(plan_weights(p, t, ~flange), plan)
        flat = (hold.kept((flat - plan).ravel(), hold.rigid(plan)) + plan.ravel()).reshape(-1, 2) if len(flat) > 2 else flat
        i = int(np.argmin(((plan - plan.mean(axis=0)) ** 2).sum(axis=1)))
        j = int(np.argmax(np.abs(flat[:, 0] - flat[i, 0])))
        pins = np.array([2 * i, 2 * i + 1, 2 * j + 1])
    pattern = Pattern(t, n, 2, held)
    scale = curve.table[0, 1] * thickness * np.sqrt(2.0 * areas.mean()) * np.sqrt(n)
    wall = Gap(gap, np.zeros(len(t)), GAP_STIFFNESS * float(curve.stress(1.0)[0]))
    return Problem(t, metric, thickness, hill.split_form(), curve, loads, hold, pattern, pins, float(scale), wall), np.ascontiguousarray(
        flat
    )


def _drag(given: ArrayLike | None, points: Floats, triangles: NDArray[np.int32]) -> Drag | None:
    """The drag of each triangle [N] as a load up the triangle's own slope."""
    if given is None:
        return None
    drag = np.asarray(given, dtype=float).ravel()
    if drag.shape != (len(triangles),) or not np.isfinite(drag).all() or (drag < 0).any():
        raise InputError(f"wall_drag has to be one force of 0 or more for each of the {len(triangles)} triangles.", where="wall_drag")
    cells = np.flatnonzero(drag > 0)
    if not len(cells):
        return None
    t = triangles[cells]
    first, second = points[t[:, 1]] - points[t[:, 0]], points[t[:, 2]] - points[t[:, 0]]
    normal = np.cross(first, second)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    up = np.array([0.0, 0.0, 1.0]) - normal[:, 2:] * normal
    steep = np.linalg.norm(up, axis=1)
    if (steep < 1e-6).any():
        raise InputError("wall_drag acts on a level triangle, which has no way up.", where="wall_drag")
    up /= steep[:, None]
    along = np.column_stack([(first * up).sum(axis=1), (second * up).sum(axis=1)])
    return Drag(cells, drag[cells] / 3.0, along)


def _clamp(flat: Floats, plan: Floats, clamped: NDArray[np.bool_], triangles: NDArray[np.int32]) -> Floats:
    """The first flat with its clamped points moved to the plan, the others following harmonically."""
    n = len(flat)
    pattern = Pattern(triangles, n, 1, clamped)
    laplacian = _graph(triangles, n)
    move = np.where(clamped[:, None], plan - flat, 0.0)
    right = -(laplacian @ move)[pattern.free]
    values = pattern.zeros()
    local = np.array([1.0, -0.5, 1.0, -0.5, -0.5, 1.0])  # uniform weights: one half of an edge from each triangle
    np.add.at(values, pattern.slot, np.broadcast_to(local, (len(triangles), 6)))
    move[pattern.free] = pattern.factor(values).solve(right)
    out = flat + move
    a, b = out[triangles[:, 1]] - out[triangles[:, 0]], out[triangles[:, 2]] - out[triangles[:, 0]]
    if (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).min() > 0:
        return out
    u = np.where(clamped[:, None], plan, 0.0)  # a wholly clamped convex edge: the convex combination map cannot fold
    u[pattern.free] = pattern.factor(values).solve(-(laplacian @ u)[pattern.free])
    a, b = u[triangles[:, 1]] - u[triangles[:, 0]], u[triangles[:, 2]] - u[triangles[:, 0]]
    if (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).min() > 0:
        return u
    raise SolveError(
        "The clamped edge leaves no flat without folds.", where="fixed_edge", help="Clamp less of the edge, or let it draw in."
    )


def _graph(triangles: NDArray[np.int32], n: int) -> csr_matrix:
    local = np.array([[1.0, -0.5, -0.5], [-0.5, 1.0, -0.5], [-0.5, -0.5, 1.0]])
    rows, cols = np.repeat(triangles, 3, axis=1).ravel(), np.tile(triangles, (1, 3)).ravel()
    return coo_matrix((np.tile(local.ravel(), len(triangles)), (rows, cols)), shape=(n, n)).tocsr()

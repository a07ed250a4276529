"""Any sequence of hits on one sheet: draw, redraw, restrike, flange, with trimming, piercing and springback between them.

The sheet passes on exactly: places, slopes, plastic strain and thickness are the same numbers before and after a hand-over (mirror images too), time goes on. Each hit has its own tools;
they come from rest, so the sheet's motion left over from the hit before is dropped and reported, unless the hit says that it goes on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

from diewright.errors import InputError, SolveError
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.forming import checkpoint
from diewright.mechanics.forming.draw import hold_symmetry, symmetric
from diewright.mechanics.forming.frames import Frame
from diewright.mechanics.forming.operations import Operation
from diewright.mechanics.forming.run import Curve, Outcome, Run
from diewright.mechanics.shell.carry import carry
from diewright.mechanics.shell.form import ShellForm, at_rest, place
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import Patches, build_patches
from diewright.mechanics.shell.static import StaticShell
from diewright.mechanics.shell.stations import through_thickness
from diewright.watch import Watch

Floats = NDArray[np.float64]
RELAX = 4  # times a sheet is let go in damped motion before its springback is given up


@dataclass(frozen=True, eq=False)
class Sheet:
    """A sheet between two hits.

    Attributes
    ----------
    points, triangles: the flat mesh it is made of. symmetry: planes of symmetry, of "xy". form: as it stands. time [s] worked so far.
    cells, nodes: which triangles and nodes of the first blank it still has. velocity, slope_velocity: motion left, None at rest.
    """

    points: Floats
    triangles: NDArray[np.int64]
    thickness: float
    material: ShellMaterial
    stations: Floats
    rolling: tuple[float, float, float]
    symmetry: str
    patches: Patches
    form: ShellForm
    cells: NDArray[np.int64]
    nodes: NDArray[np.int64]
    time: float = 0.0
    velocity: NDArray[np.floating] | None = field(default=None, repr=False)
    slope_velocity: NDArray[np.floating] | None = field(default=None, repr=False)

    @property
    def x(self) -> Floats:
        """Places of its nodes (n, 3) [mm]."""
        return self.form.x[: self.patches.n]


@dataclass(frozen=True)
class Hit:
    """One set of tools and what it does.

    Attributes
    ----------
    travel: where tools start, by name; 0 if not named. turn (3, 3), shift (3,) [mm]: how the sheet is laid into the tools.
    goes_on: the sheet's motion passes on too (same press stroke, other tools).
    """

    name: str
    tools: tuple[Tool, ...] = field(repr=False)
    operations: tuple[Operation, ...]
    travel: tuple[tuple[str, float], ...] = ()
    turn: tuple[tuple[float, float, float], ...] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    goes_on: bool = False


@dataclass(frozen=True)
class Cut:
    """Trimming or piercing: ``keep`` says which triangles (m,) bool of the sheet stay; it is carried over as it stands, then let spring with a :class:`Spring`."""

    name: str
    keep: Callable[[Sheet], NDArray[np.bool_]]


@dataclass(frozen=True)
class Spring:
    """Everything lets go of the sheet."""

    name: str = "springback"


@dataclass(frozen=True, eq=False)
class Passed:
    """A step of the sequence: the sheet after it, the run of a hit, the energy of motion dropped before it [N mm]."""

    name: str
    sheet: Sheet
    outcome: Outcome | None
    dropped: float


def blank_sheet(
    points: ArrayLike, triangles: ArrayLike, thickness: float, material: ShellMaterial, *,
    rolling: tuple[float, float, float] = (1.0, 0.0, 0.0), symmetry: str = "", stations: int = 5,
) -> Sheet:  # fmt: skip
    """A flat blank before the first hit."""
    x, tri = np.asarray(points, dtype=np.float64), np.asarray(triangles, dtype=np.int64)
    patches = build_patches(x, tri, thickness, rolling=rolling, mirrors=symmetric(x, tri, symmetry))
    layers = through_thickness(stations)
    form = at_rest(patches, layers, kinematic=material.kinematic)
    return Sheet(x, tri, thickness, material, layers, rolling, symmetry, patches, form, np.arange(len(tri)), np.arange(len(x)))


def laid(sheet: Sheet, hit: Hit) -> Sheet:
    """The sheet as it is laid into a hit's tools. Raises :class:`InputError` for a move that its planes of symmetry do not allow."""
    turn, shift = np.array(hit.turn, dtype=np.float64), np.array(hit.shift, dtype=np.float64)
    if not (
        np.isfinite(shift).all() and turn.shape == (3, 3) and np.allclose(turn @ turn.T, np.eye(3), atol=1e-12) and np.linalg.det(turn) > 0
    ):
        raise InputError("the sheet is laid into the tools by a turn and a finite shift, nothing else.", where=f"hit {hit.name}")
    if np.array_equal(turn, np.eye(3)) and not shift.any():
        return sheet
    if sheet.symmetry:
        axes = ["xy".index(a) for a in sheet.symmetry]
        if not np.array_equal(turn, np.eye(3)) or shift[axes].any():
            raise InputError(
                f"a part of a sheet with symmetry in {sheet.symmetry} can only be moved along its planes.", where=f"hit {hit.name}"
            )
    form = sheet.form.copy()
    form.x = place(sheet.patches, sheet.x @ turn.T + shift)
    return replace(sheet, form=form, velocity=None, slope_velocity=None)


def model_of(sheet: Sheet, tools: tuple[Tool, ...], *, real: DTypeLike = np.float32, step: float | None = None) -> ShellModel:
    """The sheet under explicit steps between new tools, all of them at rest at travel 0."""
    model = ShellModel(sheet.patches, sheet.material, sheet.stations, form=sheet.form, real=real, tools=tools, step=step)
    model.x = sheet.form.x.copy()  # mirror images included, to the bit
    model.time = sheet.time
    hold_symmetry(model, sheet.patches, sheet.symmetry)
    for name in model.tools.names:
        model.tools.by_speed(name, 0)
    return model


def work_hit(
    sheet: Sheet,
    hit: Hit,
    *,
    real: DTypeLike = np.float32,
    step: float | None = None,
    watch: Watch | None = None,
    on_frame: Callable[[Frame, Curve], None] | None = None,
    saved: Path | None = None,
) -> Passed:
    """One hit on the sheet; an early stop is in the outcome, and the sheet is then that of its last good state."""
    sheet = laid(sheet, hit)
    model = model_of(sheet, hit.tools, real=real, step=step)
    for name, travel in hit.travel:
        model.tools.set_travel(name, travel)
    dropped = 0.0
    if sheet.velocity is not None and hit.goes_on:
        model.set_velocity(sheet.velocity[: sheet.patches.n])
        model.velocity[:] = sheet.velocity
        if sheet.slope_velocity is not None:
            model.slope_velocity[:] = sheet.slope_velocity
    elif sheet.velocity is not None:
        v = sheet.velocity[: sheet.patches.n].astype(np.float64)
        dropped = 0.5 * float((model.masses.node[: sheet.patches.n, None] * v * v).sum())
    run = Run(model, hit.operations, watch=watch, on_frame=on_frame, saved=saved)
    outcome = run.work()
    if saved is not None and outcome.stopped is None:
        # a finished hit is kept too: a sequence that goes on later finds it done
        whole, run.marks = run.marks, run.marks[:-1]
        checkpoint.save(saved, run, len(hit.operations) - 1, whole[-1][1], hit.operations[-1].frames)
        run.marks = whole
    form = model.form()
    after = replace(sheet, form=form, time=model.time, velocity=model.velocity.copy(), slope_velocity=model.slope_velocity.copy())
    return Passed(hit.name, after, outcome, dropped)


def cut(sheet: Sheet, keep: NDArray[np.bool_], name: str = "cut") -> Sheet:
    """The sheet without the triangles that do not stay; its stresses are carried over as they are. Raises :class:`SolveError` where nothing useful stays."""
    keep = np.asarray(keep)
    if keep.dtype != np.bool_ or keep.shape != (len(sheet.triangles),):
        raise InputError(f"expected one yes or no for each of {len(sheet.triangles)} triangles.", where=name)
    cells = np.flatnonzero(keep)
    if len(cells) < 4:
        raise SolveError(f"{name} leaves {len(cells)} triangles of the sheet.", where=name, help="Look at the line.")
    used = np.unique(sheet.triangles[cells])
    number = np.full(len(sheet.points), -1)
    number[used] = np.arange(len(used))
    points, triangles = sheet.points[used], number[sheet.triangles[cells]]
    planes = "".join(a for a in sheet.symmetry if (np.abs(points[:, "xy".index(a)]) < 1e-7).sum() > 1)
    patches = build_patches(points, triangles, sheet.thickness, rolling=sheet.rolling, mirrors=symmetric(points, triangles, planes))
    form = carry(sheet.patches, patches, sheet.form, cells, used)
    return replace(
        sheet, points=points, triangles=triangles, symmetry=planes, patches=patches, form=form, cells=sheet.cells[cells], nodes=sheet.nodes[used], velocity=None, slope_velocity=None
    )  # fmt: skip


def spring(sheet: Sheet) -> Sheet:
    """The shape it takes when everything lets go of it; nodes on planes of symmetry stay in them.

    A whole sheet is held by six springs at three nodes, a part of one by as few directions as its planes leave it to move in: one node, or with one plane two nodes. In the end
    nothing pulls on them, which is checked; where they are does not change the shape. A sheet that snaps on the way is let go in damped motion first.
    Raises :class:`SolveError` where no equilibrium is found.
    """
    p = sheet.patches
    free = np.ones((p.n, 3), dtype=np.bool_)
    free[np.setdiff1d(np.arange(p.n), p.conn[:, :6])] = False
    for axis in sheet.symmetry:
        d = "xy".index(axis)
        free[np.abs(p.points[: p.n, d]) < 1e-7, d] = False
    extra = [] if not sheet.symmetry else _few(sheet)
    for node, d in extra:
        free[node, d] = False
    form = sheet.form
    for attempt in range(RELAX + 1):
        try:
            found = StaticShell(p, sheet.material, sheet.stations).solve(
                form, free=free, load=np.zeros((p.n, 3)), rigid=not sheet.symmetry, first=0.25, settle=True
            )
            break
        except SolveError:
            if attempt == RELAX:
                raise
            form = relaxed(replace(sheet, form=form))
    carried = float(np.abs(found.internal).max())
    pull = max((abs(float(found.internal[node, d])) for node, d in extra), default=0.0)
    if pull > 1e-4 * carried + 1e-3:
        raise SolveError(f"a sheet let go pulls with {pull:.3g} N where nothing holds it.", where="springback")
    return replace(sheet, form=found.form, velocity=None, slope_velocity=None)


def relaxed(sheet: Sheet) -> ShellForm:
    """The sheet let go in damped motion, near its springback but not at rest: where no increment of the static solution closes, it does from there.

    The damping is that of half critical for a strip over the sheet's size, ``omega = pi^2 t c/(sqrt(12) L^2)``, over six of its time constants.
    """
    model = model_of(sheet, (), real=np.float64)
    span = float(np.ptp(sheet.points, axis=0).max()) * (2.0 if sheet.symmetry else 1.0)
    m = sheet.material
    omega = np.pi**2 * sheet.thickness * np.sqrt(m.young / (m.density * (1.0 - m.poisson**2))) / (np.sqrt(12.0) * span**2)
    model.damping = float(omega)
    end = model.time + 6.0 / omega
    while model.time < end:
        model.advance(100)
    return model.form()


def _few(sheet: Sheet) -> list[tuple[int, int]]:
    """Nodes and directions that take the rigid motions left by the planes of symmetry."""
    ids = np.unique(sheet.patches.conn[:, :3])
    x = sheet.x[ids]
    if len(sheet.symmetry) == 2:
        return [(int(ids[np.argmin((x[:, :2] ** 2).sum(1))]), 2)]
    plane = [d for d in range(3) if d != "xy".index(sheet.symmetry)]
    a = int(np.argmin(((x - x.mean(axis=0)) ** 2).sum(1)))
    arm = x[:, plane] - x[a, plane]
    b = int(np.argmax((arm**2).sum(1)))
    across = plane[0] if abs(arm[b, 0]) < abs(arm[b, 1]) else plane[1]
    return [(int(ids[a]), plane[0]), (int(ids[a]), plane[1]), (int(ids[b]), across)]


def work_sequence(
    sheet: Sheet,
    steps: Sequence[Hit | Cut | Spring],
    *,
    real: DTypeLike = np.float32,
    step: float | None = None,
    watch: Watch | None = None,
    on_frame: Callable[[str, Frame, Curve], None] | None = None,
    saved: Path | None = None,
) -> list[Passed]:
    """Work the steps in order; ends early, with what was reached, at a hit that stops. ``saved``: a folder for checkpoints, one a hit; a killed sequence goes on from there."""
    watch = watch or Watch()
    out: list[Passed] = []
    for k, one in enumerate(steps):
        watch.step(one.name, float(k), float(len(steps)))
        if isinstance(one, Hit):
            name = one.name
            hear = None if on_frame is None else (lambda f, c, name=name: on_frame(name, f, c))
            found = work_hit(
                sheet,
                one,
                real=real,
                step=step,
                on_frame=hear,
                saved=None if saved is None else saved / f"hit-{k}.npz",
                watch=_part(watch, name, k, len(steps)),
            )
            out.append(found)
            if found.outcome is not None and found.outcome.stopped is not None:
                break
        elif isinstance(one, Cut):
            out.append(Passed(one.name, cut(sheet, one.keep(sheet), one.name), None, _motion(sheet)))
        else:
            out.append(Passed(one.name, spring(sheet), None, _motion(sheet)))
        sheet = out[-1].sheet
    return out


def _motion(sheet: Sheet) -> float:
    """Energy of motion left in a sheet, true masses [N mm]."""
    if sheet.velocity is None:
        return 0.0
    own = sheet.material.density * sheet.patches.coef[:, 16] * sheet.thickness
    node = np.bincount(sheet.patches.conn[:, :3].ravel(), weights=np.repeat(own / 3.0, 3), minlength=len(sheet.patches.points))
    return 0.5 * float((node[:, None] * sheet.velocity.astype(np.float64) ** 2).sum())


def _part(watch: Watch, name: str, k: int, count: int) -> Watch:
    def asked() -> bool:
        watch.check()
        return False

    return Watch(listen=lambda p: watch.step(f"{name}: {p.phase}", k + p.share, float(count)), cancelled=asked)

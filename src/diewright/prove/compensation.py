"""The compensation on a U-channel and on the shipped fascia: how much of the deviation is left after three moves of the faces, by fresh runs.

The channel: a strip of 200 x 16 mm, mild steel of 0.8 mm, drawn 40 mm deep with walls of 14 degrees draft (an upright wall cannot be moved in without an undercut) and radii of
6 mm to the middle of the sheet; the flange is trimmed off 10 mm below the blankholder. The mesh is the mirror image of itself about both middle planes, so that nothing but
rounding twists the strip. Parts are laid on each other by best fit over their area.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray

from diewright.blank.stage import SOLUTION
from diewright.blank.stage import STAGE as BLANK
from diewright.die.loft import joined, loft
from diewright.die.stage import STAGE as FACES
from diewright.errors import SolveError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.plane_mesh import mesh_region
from diewright.geometry.shift_field import ShiftField
from diewright.job.file import load
from diewright.job.graph import Graph
from diewright.job.stage import PACKAGE_ROOT, Result
from diewright.mechanics.shell.material import hill_from_r, plastic
from diewright.part.stage import STAGE as PART
from diewright.part.stage import TIPPING
from diewright.press.stage import STAGE as PRESS
from diewright.shape.stage import STAGE as SHAPE
from diewright.sheet.stage import STAGE as SHEET
from diewright.tryout.after import release, trim
from diewright.tryout.compensation import STAGE as COMPENSATION
from diewright.tryout.compensation_checks import Checked, check_moved
from diewright.tryout.compensation_core import Compensated, Faces, Pressed, compensate
from diewright.tryout.press_run import Wanted, press_tools, run_press
from diewright.tryout.reference_points import best_fit
from diewright.watch import Watch

Floats = NDArray[np.float64]
T, DEPTH, HALF, DRAFT, RADIUS, OUT = 0.8, 40.0, 30.0, math.radians(14.0), 6.0, 110.0
LENGTH, WIDTH, EDGE, FORCE, TRIM = 200.0, 16.0, 2.5, 8000.0, -10.0
PLAY = 0.1 * T
"""What the gap at an upright wall has over the sheet."""
STEEL = {"K": 565.32, "e0": 0.007117, "n": 0.2589}
WORK = 2.5e4
"""Draw work about to be expected [N mm], for the punch's speed."""


def _line(off: float, play: float = 0.0) -> tuple[Floats, int]:
    """Points (x, z) of the right half at ``off`` from the sheet's middle, from the middle of the bottom to the outer edge, and how many lie before the upper radius."""
    a = 0.5 * math.pi - DRAFT
    leg = RADIUS * math.tan(0.5 * a)
    turn = np.linspace(0.0, a, 13)
    arc, square = np.column_stack([np.sin(turn), -np.cos(turn)]), np.column_stack([-np.sin(turn), np.cos(turn)])
    low = np.array([HALF - leg, RADIUS - DEPTH]) + RADIUS * arc
    high = np.array([HALF + DEPTH * math.tan(DRAFT) + leg, -RADIUS]) - RADIUS * arc[::-1]
    points = np.vstack([[[0.0, -DEPTH]], low, high, [[OUT, 0.0]]])
    normals = np.vstack([[[0.0, 1.0]], square, square[::-1], [[0.0, 1.0]]])
    return points + (off - play * normals[:, :1] ** 2) * normals, 1 + len(low)


def channel_faces() -> dict[str, TriMesh]:
    """Die, punch and blankholder in the closed position."""
    die, _ = _line(-0.5 * T, PLAY)
    punch, before = _line(0.5 * T)
    punch = np.vstack([punch[: before + 1], [[punch[before, 0], 0.5 * T + 5.0]]])
    flat = _line(0.5 * T)[0][-2:]
    left = flat[::-1] * [-1.0, 1.0]
    return {
        "die": _drawn_out(np.vstack([die[:0:-1] * [-1.0, 1.0], die]), up=True),
        "punch": _drawn_out(np.vstack([punch[:0:-1] * [-1.0, 1.0], punch]), up=False),
        "blankholder": joined([_drawn_out(left, up=False), _drawn_out(flat, up=False)]),
    }


def _drawn_out(profile: Floats, *, up: bool) -> TriMesh:
    reach = 0.5 * WIDTH + 5.0
    ends = [np.column_stack([profile[:, 0], np.full(len(profile), y), profile[:, 1]]) for y in (-reach, reach)]
    return loft(ends, closed=False, up=not up)


def _strip() -> TriMesh:
    """The blank: a quarter and its mirror images."""
    x, y = 0.5 * LENGTH, 0.5 * WIDTH
    quarter = mesh_region(np.array([[-x, -y], [x, -y], [x, y], [-x, y]]), size=EDGE, quarter=True)
    points: list[Floats] = []
    cells: list[NDArray[np.integer]] = []
    for sx, sy in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        cells.append((quarter.triangles if sx * sy > 0 else quarter.triangles[:, ::-1]) + len(points) * len(quarter.points))
        points.append(quarter.points * [sx, sy])
    every = np.vstack(points)
    _, first, number = np.unique(np.round(every, 6) + 0.0, axis=0, return_index=True, return_inverse=True)
    return TriMesh(np.column_stack([every[first], np.zeros(len(first))]), number.ravel()[np.vstack(cells)].astype(np.int32))


def channel_draw() -> Callable[[Faces, ShiftField | None], Pressed]:
    """Hold, draw, release, trim, in faces given."""
    steel = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.79, 1.51, 2.27), STEEL)
    wanted = Wanted(FORCE, FORCE, ((0.0, 0.0), (1.0, WORK)), 0.12, 0.12, frames=4)
    flat, rolling = _strip(), (1.0, 0.0, 0.0)
    kept: list[NDArray[np.bool_]] = []

    def draw(faces: Faces, field: ShiftField | None) -> Pressed:
        top = float(faces["die"].points[:, 2].max())
        press = Result(
            values={"stroke": top + T - float(faces["punch"].points[:, 2].min())}, meshes={n: FieldMesh(m) for n, m in faces.items()}
        )
        sheet = TriMesh(flat.points + np.array([0.0, 0.0, top + 0.5 * T]), flat.triangles)
        model, out = run_press(
            sheet, T, steel, press_tools(press, T, wanted, 450.0), press, wanted, rolling=rolling, watch=Watch()
        )  # fmt: skip
        if out.stopped is not None:
            raise SolveError(out.stopped, where="the channel of the compensation")
        drawn = TriMesh(out.frames[-1].x, sheet.triangles)
        if not kept:
            kept.append(drawn.centroids[:, 2] < TRIM)
        free = release(model.patches, model.form(), steel, model.stations)
        part = trim(sheet, T, rolling, free, kept[0], steel, model.stations)
        return Pressed(drawn, part.mesh, part.nodes)

    return draw


@cache
def compensated_channel() -> tuple[Compensated, Checked]:
    """Three moves of the faces, and what they did to them."""
    got = compensate(channel_draw(), channel_faces(), T, best_fit, iterations=3, wave=25.0)
    last = got.rounds[-1]
    if last.field is None:
        raise SolveError("the channel was within the tolerance from the first run.", where="the channel of the compensation")
    moved = got.nominal.points + last.field.at(got.nominal.points)
    return got, check_moved(got.rounds[0].faces, last.faces, got.nominal, moved, T)


def channel() -> dict[str, float]:
    """What is left of the deviation in the run after the third move, and the faces of that run."""
    got, checked = compensated_channel()
    first, last = got.rounds[0], got.rounds[-1]
    return {
        "largest deviation left": last.max_mm / first.max_mm, "mean square deviation left": last.rms_mm / first.rms_mm,
        "change of the gap": checked.gap_change, "undercut": checked.undercut_area, "move of the blankholder": checked.holder_move,
    }  # fmt: skip


def fascia() -> dict[str, float]:
    """The shipped side fascia through all stages with what they choose by themselves; three moves, the last run's deviation over the first one's."""
    folder = PACKAGE_ROOT / "examples" / "fascia"
    graph = Graph([PART, TIPPING, SHAPE, SHEET, SOLUTION, BLANK, PRESS, FACES, COMPENSATION])
    job = load(folder)
    job = job.model_copy(update={"compensation": job.compensation.model_copy(update={"iterations": 3, "tolerance": 0.0})})
    results: dict[str, Result] = {}
    for name, plan in graph.plan(job, folder).items():
        if plan.error is not None:
            raise plan.error
        results[name] = plan.stage.work(plan.inputs, {need: results[need] for need in plan.stage.needs}, plan.files, Watch())
    table, v = results["compensation"].tables["iterations"], results["compensation"].values
    return {
        "largest deviation left": float(table["max_mm"][-1] / table["max_mm"][0]),
        "mean square deviation left": float(table["rms_mm"][-1] / table["rms_mm"][0]),
        "on three supports, mean square left": float(table["supports_rms_mm"][-1] / table["supports_rms_mm"][0]),
        "change of the gap": v["gap_change_mm"], "undercut": v["undercut_mm2"],
    }  # fmt: skip


CASES: dict[str, Callable[[], dict[str, float]]] = {"compensation-channel": channel, "compensation-fascia": fascia}

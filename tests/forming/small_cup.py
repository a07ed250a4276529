"""A small round cup that draws in a second: tools, sheet and plan shared by the tests of this folder."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from diewright.die.simple import round_cup_tools
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.forming.draw import DrawPlan, draw_operations, set_draw, tools_of
from diewright.mechanics.forming.run import Run
from diewright.mechanics.shell.material import hill_from_r, plastic
from diewright.mechanics.shell.model import ShellModel

T = 1.0
STROKE = 6.0
STEEL = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.8, 1.5, 2.1), {"K": 550.0, "e0": 0.005, "n": 0.22})
PLAN = DrawPlan(STROKE, 1000.0, friction={"die": 0.05, "punch": 0.15, "blankholder": 0.05}, speed=4000.0, frames=4)


@cache
def tools(die: float = 22.8) -> tuple[Tool, ...]:
    """Punch 20, die radius 4: grids every 0.5 mm."""
    faces = round_cup_tools(20.0, 4.0, die, 4.0, STROKE, T, 34.0, chord=0.05)
    return tools_of({k: (m.points, m.triangles) for k, m in faces.items()}, T, PLAN, flow_stress=400.0, spacing=0.5)


def quarter(rings: int = 8, radius: float = 17.0) -> tuple[np.ndarray, np.ndarray]:
    """Rings of points on a quarter of a disc, and triangles."""
    points, rows = [[0.0, 0.0, 0.0]], [[0]]
    for k in range(1, rings + 1):
        at = np.linspace(0.0, np.pi / 2, k + 1)
        rows.append(list(range(len(points), len(points) + k + 1)))
        r = radius * k / rings
        points += [[r * np.cos(a) if i < k else 0.0, r * np.sin(a) if i else 0.0, 0.0] for i, a in enumerate(at)]
    triangles = []
    for k in range(1, rings + 1):
        inner, outer = rows[k - 1], rows[k]
        triangles += [[inner[i], outer[i], outer[i + 1]] for i in range(k)]
        triangles += [[inner[i], outer[i + 1], inner[i + 1]] for i in range(k - 1)]
    return np.array(points), np.array(triangles)


def whole(rings: int = 8) -> tuple[np.ndarray, np.ndarray]:
    """The quarter and its mirror images as one mesh."""
    p, t = quarter(rings)
    every, triangles = [], []
    for sx, sy in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        triangles.append((t if sx * sy > 0 else t[:, ::-1]) + len(p) * len(every))
        every.append(p * [sx, sy, 1])
    points, back = np.unique(np.round(np.concatenate(every), 9) + 0.0, axis=0, return_inverse=True)
    return points, back.ravel()[np.concatenate(triangles)]


def model(full: bool = False, die: float = 22.8, real: type = np.float32, plan: DrawPlan = PLAN) -> ShellModel:
    """The sheet on its die."""
    points, triangles = whole() if full else quarter()
    return set_draw(points, triangles, T, STEEL, tools(die), plan, symmetry="" if full else "xy", real=real)


def run(saved: Path | None = None, **how: object) -> Run:
    """A run of the quarter, ready to work."""
    return Run(model(), draw_operations(PLAN, T), saved=saved, **how)  # type: ignore[arg-type]


def everything(r: Run) -> bytes:
    """All that a run ends with, as bytes."""
    m = r.model
    parts = [
        m.x,
        m.slope,
        m.state,
        m.stretch,
        m.velocity,
        m.slope_velocity,
        m.work,
        m.tools.state,
        m.tools.push,
        m.tools.slide,
        m.tools.rub,
    ]
    parts += [np.array(r.curve.rows), np.array([m.time, m.dt])]
    parts += [a for f in r.frames for a in (f.x, f.pressure, f.stress, f.layers, np.array([f.operation, f.time]))]
    return b"".join(np.ascontiguousarray(a).tobytes() for a in parts) + repr(r.marks).encode()


if __name__ == "__main__":
    import sys
    import time

    from diewright.mechanics.forming import run as module

    module.SAVE_EVERY = 0.0
    where = Path(sys.argv[1])

    def heard(frame: object, curve: object) -> None:
        if len(going.frames) > 3:
            where.with_suffix(".ready").write_text("now")
            time.sleep(60.0)  # killed while it sleeps: what it does after this is lost

    going = run(where, on_frame=heard)
    going.work()

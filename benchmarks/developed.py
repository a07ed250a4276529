"""The earing of a round cup from sheet with planar anisotropy, blanked by a circle and by outlines carried back from the formed edge.

    python benchmarks/developed.py [edge length mm] [runs]

A quarter of a cup of 60 mm is drawn right through the die (aluminium 6016, r 0.526, 0.253, 0.601; blankholder at a fixed gap) and mirrored; the wanted rim lies level 26 mm above the bottom.
Prints the table of runs: largest and mean distance of the rim from its line, and the earing (highest less lowest rim over the mean height of the cup).
"""

from __future__ import annotations

import math
import sys
import time

import numpy as np

from diewright.develop.core import Formed, Round, develop
from diewright.die.simple import round_cup_tools
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.geometry.plane_mesh import mesh_region
from diewright.mechanics.forming.draw import DrawPlan, draw_operations, set_draw, tools_of
from diewright.mechanics.forming.run import Run
from diewright.mechanics.shell.material import hill_from_r, plastic

PUNCH, NOSE, DIE, SHOULDER, T = 60.0, 6.0, 62.4, 7.0, 1.0
HEIGHT, DEPTH = 26.0, 40.0
SHEET = plastic(7.0e4, 0.33, 2.7e-9, hill_from_r(0.526, 0.253, 0.601), {"K": 498.8, "e0": 0.0089, "n": 0.285})
PLAN = DrawPlan(DEPTH, gap=0.15, friction={"die": 0.05, "punch": 0.12, "blankholder": 0.05}, speed=3000.0, frames=2, dwell=6e-4)


class Quarter:
    """Draws a quarter of the cup for any outline that is alike in all four, and mirrors it."""

    def __init__(self, edge: float) -> None:
        self.edge = edge
        faces = round_cup_tools(PUNCH, NOSE, DIE, SHOULDER, DEPTH, T, 110.0, bottom=True)
        self.tools = tools_of({k: (m.points, m.triangles) for k, m in faces.items()}, T, PLAN, flow_stress=330.0)

    def __call__(self, outline: np.ndarray) -> Formed:
        mesh = mesh_region(outline, size=self.edge, quarter=True)
        x = np.column_stack([mesh.points, np.zeros(len(mesh.points))])
        model = set_draw(x, mesh.triangles, T, SHEET, self.tools, PLAN, symmetry="xy", stations=3)
        out = Run(model, draw_operations(PLAN, T, mass=model.masses.true)).work()
        if out.stopped is not None:
            raise SolveError(out.stopped, where="developed")
        return mirrored(x, out.frames[-1].x, mesh.triangles)


def mirrored(flat: np.ndarray, drawn: np.ndarray, triangles: np.ndarray) -> Formed:
    """The whole from a quarter."""
    n = len(flat)
    every, shown, cells = [], [], []
    for k, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        every.append(flat * [sx, sy, 1])
        shown.append(drawn * [sx, sy, 1])
        cells.append((triangles if sx * sy > 0 else triangles[:, ::-1]) + n * k)
    points = np.concatenate(every)
    _, first, back = np.unique(np.round(points, 7) + 0.0, axis=0, return_index=True, return_inverse=True)
    t = back.ravel()[np.concatenate(cells)].astype(np.int32)
    whole = TriMesh(points[first], t)
    return Formed(whole, TriMesh(np.concatenate(shown)[first], t), whole.boundary_loops[0])


def earing(r: Round) -> float:
    """Highest less lowest rim over the mean height above the bottom [%]."""
    z = r.formed.drawn.points[r.formed.ring, 2]
    height = z - float(r.formed.drawn.points[:, 2].min())
    return 100.0 * float(np.ptp(height) / height.mean())


def main() -> None:
    """Circle first, then as carried back."""
    edge = float(sys.argv[1]) if len(sys.argv) > 1 else 3.0
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 6
    out = sys.stdout.write
    at = 2.0 * math.pi * np.arange(240) / 240
    wall = 0.25 * (PUNCH + DIE)
    wanted = np.column_stack([wall * np.cos(at), wall * np.sin(at), np.full(240, HEIGHT - DEPTH)])
    flat = wall - NOSE - 0.5 * T
    nose = NOSE + 0.5 * T
    area = math.pi * (flat**2 + math.pi * flat * nose + 2.0 * nose**2 + 2.0 * wall * (HEIGHT - nose))
    radius = math.sqrt(area / math.pi)
    circle = radius * np.column_stack([np.cos(at), np.sin(at)])
    began = time.perf_counter()

    def tell(r: Round) -> None:
        cells = (r.max_mm, r.rms_mm, float(r.over.max()), float(r.over.min()), earing(r))
        out("".join(f"{c:9.3f}" for c in cells) + f"{len(r.formed.flat.triangles) // 4:9d}{time.perf_counter() - began:9.0f}\n")
        sys.stdout.flush()

    out(
        f"blank of {2.0 * radius:.2f} mm, edges of {edge:g} mm\n"
        + "".join(f"{h:>9s}" for h in ("max mm", "rms mm", "over", "short", "ears %", "cells", "s"))
        + "\n"
    )
    got = develop(Quarter(edge), circle, wanted, tolerance=0.1, runs=runs, listen=tell)
    out(f"best: run {got.best}, {got.chosen.max_mm:.3f} mm, earing {earing(got.rounds[0]):.2f} -> {earing(got.chosen):.2f} % {got.broke}\n")


if __name__ == "__main__":
    main()

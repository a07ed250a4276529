"""The coarse first run: it grades the mesh, and its work over the stroke sets the punch's speed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from diewright.geometry.plane_mesh import PlaneMesh
from diewright.job.stage import Result
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.shell.material import ShellMaterial
from diewright.tryout.blank_mesh import BlankLines, as_sheet, coarse_size, even_mesh, finest_edge, graded
from diewright.tryout.press_run import Wanted, run_press
from diewright.tryout.setup import OPERATIONS, TOOLS, Part, Shown, TryoutInputs, rolling_vector, work_over_stroke
from diewright.watch import Watch

MOST = 400_000  # triangles


@dataclass(frozen=True)
class Chosen:
    """The mesh to run on, how it was found, triangles of an even mesh of its finest edge over its own (None: it is even), and the run with its speed profile."""

    mesh: PlaneMesh
    how: str
    saved: float | None
    wanted: Wanted


def choose_mesh(
    inputs: TryoutInputs, upstream: Mapping[str, Result], lines: BlankLines, tools: tuple[Tool, ...], material: ShellMaterial, wanted: Wanted, watch: Watch, *,
    fine: str, budget: str, first: bool, until: float,
) -> Chosen:  # fmt: skip
    """Mesh for the finest edge of quality ``fine`` and the triangles of quality ``budget``; without ``first`` even edges. ``until``: share of progress at the end."""
    faces, t = upstream["faces"], inputs.thickness
    finest = finest_edge(t, [faces.values.get("die_radius"), faces.values.get("punch_radius")], fine)
    area, stroke, level = float(upstream["blank"].values["area"]), float(faces.values["stroke"]), float(faces.arrays["die_touch"][0])
    watch.step("first mesh", 0.02, 1.0)
    mesh = even_mesh(lines, coarse_size(area, finest, budget), MOST, watch)
    if not first:
        return Chosen(mesh, "even edges", None, wanted)
    rolling = rolling_vector(inputs.rolling_direction)
    _, run = run_press(
        as_sheet(mesh, level), t, material, tools, faces, replace(wanted, frames=12, stations=3), rolling=rolling,
        watch=Part(watch, "coarse run", 0.03, until).watch(), hear=Shown(watch, stroke, TOOLS, OPERATIONS),
    )  # fmt: skip
    if run.stopped is not None:
        return Chosen(mesh, "even edges: the coarse run broke off", None, wanted)
    mesh = even_mesh(lines, graded(mesh, run.frames, finest, budget), MOST, watch)
    saved = area / (0.433 * finest**2) / len(mesh.triangles)
    return Chosen(mesh, "graded by the bends of a coarse first run", saved, replace(wanted, work=work_over_stroke(run, stroke)))

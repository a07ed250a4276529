"""The stage ``tryout``: the blank between the faces, held, drawn, released, trimmed, sprung back; and the stage ``window``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from diewright.job.stage import InputFile, Result, Stage
from diewright.tryout.blank_mesh import as_sheet, blank_lines, coarse_size, even_mesh, finest_edge, graded
from diewright.tryout.press_run import press_tools, run_press
from diewright.tryout.report import Worked, report
from diewright.tryout.setup import OPERATIONS, TOOLS, Part, Shown, TryoutInputs, rolling_vector, tryout_inputs, wanted_of, work_over_stroke
from diewright.tryout.sheet_law import flow_stress, shell_material
from diewright.tryout.window import WINDOW
from diewright.watch import Watch


def work(inputs: TryoutInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """A coarse run that grades the mesh, the run, release, trim, springback, and what they show."""
    faces, t = upstream["faces"], inputs.thickness
    wanted, rolling = wanted_of(inputs, upstream), rolling_vector(inputs.rolling_direction)
    material = shell_material(upstream["sheet"], back_modulus=inputs.back_modulus, recall=inputs.back_recall)
    lines = blank_lines(upstream["solution"], upstream["blank"])
    area = float(upstream["blank"].values["area"])
    watch.step("distances to the faces", 0.0, 1.0)
    tools = press_tools(faces, t, wanted, flow_stress(upstream["sheet"]))
    radii = [faces.values.get("die_radius"), faces.values.get("punch_radius")]
    finest = finest_edge(t, radii, inputs.quality)
    level = float(faces.arrays["die_touch"][0])
    even = coarse_size(area, finest, inputs.quality)
    watch.step("first mesh", 0.02, 1.0)
    mesh = even_mesh(lines, even, 400_000, watch)
    stroke = float(faces.values["stroke"])
    first = inputs.quality == "coarse"
    how = "even edges"
    saved: float | None = None
    if not first:
        fast = replace(wanted, frames=12, stations=3)
        _, coarse = run_press(
            as_sheet(mesh, level), t, material, tools, faces, fast, rolling=rolling, watch=Part(watch, "coarse run", 0.03, 0.15).watch(),
            hear=Shown(watch, stroke, TOOLS, OPERATIONS),
        )  # fmt: skip
        if coarse.stopped is None:
            sizes = graded(mesh, coarse.frames, finest, inputs.quality)
            mesh = even_mesh(lines, sizes, 400_000, watch)
            how = "graded by the bends of a coarse first run"
            wanted = replace(wanted, work=work_over_stroke(coarse, stroke))
            saved = area / (0.433 * mesh.edge_min**2) / len(mesh.triangles)
    model, outcome = run_press(
        as_sheet(mesh, level), t, material, tools, faces, wanted, rolling=rolling,
        watch=Part(watch, "press", 0.15 if not first else 0.03, 0.82).watch(), hear=Shown(watch, stroke, TOOLS, OPERATIONS),
    )  # fmt: skip
    return report(
        Worked(inputs, upstream, wanted, mesh, as_sheet(mesh, level), lines, model, outcome, how, saved, rolling),
        Part(watch, "after the press", 0.82, 1.0).watch(),
    )


STAGE = Stage(
    name="tryout", title="The tryout", version=1, packages=("tryout", "mechanics", "sheet", "job/places"),
    needs=("tipping", "sheet", "solution", "blank", "faces", "press"), inputs=tryout_inputs, work=work, slow=True,
)  # fmt: skip

__all__ = ["STAGE", "WINDOW", "TryoutInputs", "work"]

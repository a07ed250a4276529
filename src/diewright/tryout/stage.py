"""The stage ``tryout``: the blank between the faces, held, drawn, released, trimmed, sprung back; and the stage ``window``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from diewright.job.findings import Finding
from diewright.job.stage import InputFile, Result, Stage
from diewright.tryout.blank_mesh import as_sheet, blank_lines
from diewright.tryout.first_run import choose_mesh
from diewright.tryout.press_run import press_tools, run_press
from diewright.tryout.report import Worked, report
from diewright.tryout.setup import OPERATIONS, TOOLS, Part, Shown, TryoutInputs, rolling_vector, tryout_inputs, wanted_of
from diewright.tryout.sheet_law import flow_stress, shell_material
from diewright.tryout.window import WINDOW
from diewright.watch import Watch


def work(inputs: TryoutInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """A coarse run that grades the mesh, the run, release, trim, springback, and what they show."""
    faces, t = upstream["faces"], inputs.thickness
    wanted, rolling = wanted_of(inputs, upstream), rolling_vector(inputs.rolling_direction)
    material = shell_material(upstream["sheet"], back_modulus=inputs.back_modulus, recall=inputs.back_recall)
    lines = blank_lines(upstream["solution"], upstream["blank"])
    watch.step("distances to the faces", 0.0, 1.0)
    tools = press_tools(faces, t, wanted, flow_stress(upstream["sheet"]))
    level = float(faces.arrays["die_touch"][0])
    coarse = inputs.quality == "coarse"
    chosen = choose_mesh(
        inputs, upstream, lines, tools, material, wanted, watch, fine=inputs.quality, budget=inputs.quality, first=not coarse, until=0.15
    )  # fmt: skip
    mesh, wanted = chosen.mesh, chosen.wanted
    sheet = as_sheet(mesh, level)
    model, outcome = run_press(
        sheet, t, material, tools, faces, wanted, rolling=rolling, watch=Part(watch, "press", 0.03 if coarse else 0.15, 0.82).watch(),
        hear=Shown(watch, float(faces.values["stroke"]), TOOLS, OPERATIONS),
    )  # fmt: skip
    found = report(
        Worked(inputs, upstream, wanted, mesh, sheet, lines, model, outcome, chosen.how, chosen.saved, rolling),
        Part(watch, "after the press", 0.82, 1.0).watch(),
    )
    joined = joined_parts(upstream["shape"]) if inputs.springback else None
    return found if joined is None else replace(found, findings=(*found.findings, joined))


def joined_parts(shape: Result) -> Finding | None:
    """What the springback of several parts of one draw leaves out; None for one part."""
    parts = int(shape.values["parts"])
    if parts == 1:
        return None
    return Finding(
        key="tryout.joined", severity="attend", value=float(parts), limit=1.0, unit="parts", source="draw shape of this job",
        sentence=f"Springback is read on {parts} parts that are still joined by their bridge; cut apart, each of them springs on its own.",
        help="Take the shape before the parts are cut apart from it; for a part's own springback work a copy of the job with one part in the draw.",
    )  # fmt: skip


STAGE = Stage(
    name="tryout", title="The tryout", version=1, packages=("tryout", "mechanics", "sheet", "job/places"),
    needs=("shape", "sheet", "solution", "blank", "faces", "press"), inputs=tryout_inputs, work=work, slow=True,
)  # fmt: skip

__all__ = ["STAGE", "WINDOW", "TryoutInputs", "work"]

"""The draw of the job for blanks of any outline: the same faces, the same edge length, hold, draw, dwell."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.develop.core import Formed
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.job.stage import Result
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.shell.material import ShellMaterial
from diewright.mechanics.shell.model import ShellModel
from diewright.tryout.after import release
from diewright.tryout.blank_mesh import MOST, BlankLines, as_sheet, coarse_size, even_mesh, finest_edge
from diewright.tryout.press_run import Wanted, press_tools, run_press
from diewright.tryout.reference_points import best_fit
from diewright.tryout.setup import OPERATIONS, TOOLS, Part, Shown, rolling_vector, wanted_of
from diewright.tryout.sheet_law import flow_stress, shell_material
from diewright.watch import Watch

Floats = NDArray[np.float64]
FULL = 0.9  # of the most triangles of a quality


@dataclass(eq=False)
class JobForm:
    """Forms blanks; ``count`` runs are shown as progress. The tools are measured once, the mesh is made anew for every outline with edges of the same length."""

    inputs: Any
    upstream: Mapping[str, Result]
    holes: tuple[Floats, ...]
    watch: Watch
    count: int
    runs: int = 0
    models: list[ShellModel] = field(default_factory=list)

    def __post_init__(self) -> None:
        faces, t = self.upstream["faces"], self.inputs.thickness
        self.material: ShellMaterial = shell_material(
            self.upstream["sheet"], back_modulus=self.inputs.back_modulus, recall=self.inputs.back_recall
        )
        self.wanted: Wanted = wanted_of(self.inputs, self.upstream)
        self.watch.step("distances to the faces", 0.0, 1.0)
        self.tools: tuple[Tool, ...] = press_tools(faces, t, self.wanted, flow_stress(self.upstream["sheet"]))
        quality = self.inputs.quality
        finest = finest_edge(t, [faces.values.get("die_radius"), faces.values.get("punch_radius")], quality)
        area = float(self.upstream["blank"].values["area"])
        even = max(finest, math.sqrt(area / (0.433 * FULL * MOST[quality])))
        self.size = coarse_size(area, finest, quality) if quality == "coarse" else even

    def __call__(self, outline: Floats) -> Formed:
        """One run. Raises :class:`SolveError` where the draw breaks off."""
        faces, t = self.upstream["faces"], self.inputs.thickness
        width = 0.92 / self.count
        begin = 0.03 + self.runs * width
        name = f"blank {self.runs + 1}"
        mesh = even_mesh(BlankLines(outline, self.holes, None, {}), self.size, 4 * MOST[self.inputs.quality], self.watch)
        sheet = as_sheet(mesh, float(faces.arrays["die_touch"][0]))
        model, outcome = run_press(
            sheet, t, self.material, self.tools, faces, self.wanted, rolling=rolling_vector(self.inputs.rolling_direction),
            watch=Part(self.watch, name, begin, begin + width).watch(), hear=Shown(self.watch, float(faces.values["stroke"]), TOOLS, OPERATIONS),
        )  # fmt: skip
        if outcome.stopped is not None:
            raise SolveError(
                f"the draw of {name} broke off: {outcome.stopped}", where="developed", help="Look at the tryout first: a part that tears has no edge."
            )  # fmt: skip
        self.runs += 1
        self.models.append(model)
        return Formed(sheet, TriMesh(outcome.frames[-1].x, sheet.triangles), np.asarray(mesh.outline_nodes))

    def sprung(self, run: int, drawn: TriMesh) -> Floats:
        """The sheet of a run after it is let go, laid on the drawn one ``(n, 3)``. Raises :class:`SolveError` where springback does not close."""
        m = self.models[run]
        free = release(m.patches, m.form(), m.material, m.stations)
        return best_fit(drawn, free.form.x[: free.patches.n]).points

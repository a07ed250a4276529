"""The child process that makes the draw bead's bodies: ``python -m diewright.die.brep.bead_child REQUEST.json``.

It answers as :mod:`diewright.part.child` does, and leaves ``beads.step`` beside the answer.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from diewright.die.brep.child import answer


def make(request: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Sweep bar and groove along every piece of the line, measure them, write them; the report."""
    import numpy as np

    from diewright.die.brep.bead_measure import between, measured
    from diewright.die.brep.bead_section import bar, cutter
    from diewright.die.brep.bead_sweep import Path as Line
    from diewright.die.brep.bead_sweep import swept
    from diewright.die.brep.files import step
    from diewright.errors import SolveError
    from diewright.mechanics.forming.bead_line import Groove
    from diewright.part.cad import silence

    silence()
    with np.load(folder / "input.npz", allow_pickle=False) as pack:
        line = Line(pack["s"], pack["points"], pack["normals"], float(request["length"]))
    groove, t = Groove(**request["groove"]), float(request["thickness"])
    halves = {"bar": bar(groove, t), "groove": cutter(groove, t)}
    bodies, rows, faults = [], [], []
    for number, (begin, end, closed) in enumerate(request["pieces"], 1):
        # the bar fills the piece, its rounded ends included
        short = 0.0 if closed else 0.5 * groove.width
        made: dict[str, Any] = {}
        row: dict[str, Any] = {"piece": number}
        for kind, half in halves.items():
            name = f"bead {kind} {number} {'blankholder' if kind == 'bar' else 'die'}"
            try:
                body = swept(line, half, begin + short, end - short, closed)
            except SolveError as error:
                at = line.frame(np.array([0.5 * (begin + end)]))[0][0]
                faults.append({"name": name, "text": error.what, "help": error.help, "at": [float(v) for v in at]})
                continue
            row[kind] = measured(body, half)
            if row[kind]["valid"] and row[kind]["closed"]:
                made[kind] = body
                bodies.append((name, body.solid))
            else:
                at = line.frame(np.array([0.5 * (begin + end)]))[0][0]
                faults.append({"name": name, "text": "it is no valid closed body by the CAD kernel's own check", "help": "Look at the bead's line there.", "at": [float(v) for v in at]})  # fmt: skip
        if len(made) == 2:
            row["gap"] = between(made["bar"], made["groove"])
        rows.append(row)
    if bodies:
        (folder / "beads.step").write_bytes(step(bodies, request["name"]))
    return {"bodies": rows, "faults": faults, "written": len(bodies)}


if __name__ == "__main__":
    code = answer(sys.argv[1], make)
    # as in the child that makes the faces
    os._exit(code)

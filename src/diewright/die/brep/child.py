"""The child process that makes the faces as CAD: ``python -m diewright.die.brep.child REQUEST.json``.

It answers as :mod:`diewright.part.child` does, and leaves the files beside the answer.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from diewright.part import child as border


def make(request: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Read the part, build the tools, measure them, write the files into ``folder``; the report."""
    import numpy as np

    from diewright.die.brep.build import Led, Middle, build
    from diewright.die.brep.checks import report
    from diewright.die.brep.facets import facets
    from diewright.die.brep.files import default_cuts, sections, step
    from diewright.die.brep.lattice import Lattice
    from diewright.die.brep.ring import Plane
    from diewright.die.brep.skin import read_skin
    from diewright.die.clearance import Clearance, Seams
    from diewright.die.holder import holder_of
    from diewright.geometry.mesh import TriMesh
    from diewright.part.cad import silence

    def progress(phase: str, done: float) -> None:
        border._write(folder, "progress.json", {"phase": phase, "done": done})

    silence()
    with np.load(folder / "input.npz", allow_pickle=False) as pack:
        a = {key: pack[key] for key in pack.files}
    middle = Middle(TriMesh(a["points"], a["triangles"]), a["held"], a["punched"])
    progress("reading the part's surfaces", 0.05)
    skin = read_skin(
        request["path"], request["kind"], request["unit"], request["numbers"], np.array(request["rotation"]), np.array(request["shift"]),
        request["half"], middle.mesh, a.get("copies"), [a[k] for k in ("bridge_0", "bridge_1") if k in a],
    )  # fmt: skip
    progress("building the faces", 0.2)
    holder = holder_of(request["holder"])
    ground: Any = Plane(holder.level) if holder.kind == "flat" and not any(holder.tilt) else holder

    seams = Seams(a["seam_at"], a["seam_up"], a["seam_share"], a["seam_reach"], a["seam_weight"])
    rule = Clearance(holder, request["radius"], seams)

    def opening(p: Any, n: Any) -> Any:
        return request["extra"] * rule.share(p, n)

    move = Lattice(a["move_origin"], float(a["move_step"]), a["move_values"]) if "move_values" in a else None
    led = Led(a["columns"], a["standing"], request["joints"], a["outer"], ground)
    built = build(skin, led, middle, request["thickness"], opening, request["top"], move)
    tools: dict[str, Any] = {}
    for i, (name, tool) in enumerate(built.tools.items()):
        progress(f"measuring the {name}", 0.4 + 0.1 * i)
        found = facets(tool.sewn.shell, tool.sewn.faces, name)
        at = a[f"{name}_points"]
        tools[name] = report(tool, found, TriMesh(at if move is None else at + move(at), a[f"{name}_triangles"]))
        title = f"{request['name']} {name}".strip()
        (folder / f"{name}.stl").write_bytes(found.stl(title))
        (folder / f"{name}.step").write_bytes(step([(title, tool.sewn.shell)], title))
    progress("cutting the sections", 0.8)
    cuts = [(str(c), float(at)) for c, at in request["cuts"]] or default_cuts(middle.mesh)
    drawing, count = sections({name: tool.sewn.shell for name, tool in built.tools.items()}, middle.mesh, cuts)
    (folder / "sections.dxf").write_bytes(drawing)
    return {
        "tools": tools, "remarks": [{"key": k, "text": said, "value": value} for k, said, value in built.remarks],
        "holes_left_out": skin.closed_holes, "holes_open": sum(f.panel is None for f in built.fillings),
        "holes_filled": [
            {"at": f.at.tolist(), "faces": f.faces, "gap": f.gap, "break_deg": f.deg, "off": f.off} for f in built.fillings if f.panel is not None
        ], "cuts": [list(c) for c in cuts], "section_curves": count,
    }  # fmt: skip


def answer(request_path: str, make: Callable[[dict[str, Any], Path], dict[str, Any]]) -> int:
    """Let ``make(request, folder)`` do what the request says; the exit code is 0 when a result or an error was written."""
    request = json.loads(Path(request_path).read_text())
    folder = Path(request_path).parent
    border._end_with_parent()
    border._limit(request["seconds"], request["megabytes"])
    try:
        from diewright.errors import DeskError

        try:
            import numpy as np

            values = make(request, folder)
            np.savez(folder / "arrays.npz")
            border._write(folder, "result.json", values)
        except DeskError as error:
            border._write(folder, "error.json", {"kind": type(error).__name__, **error.as_dict()})
    except MemoryError:
        border._write(folder, "error.json", {"kind": "memory"})
    except Exception as error:  # noqa: BLE001 - the border of the process: whatever it is, the parent gets one sentence
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(last.filename).name} line {last.lineno}"
        border._write(folder, "error.json", {"kind": "defect", "type": type(error).__name__, "place": place})
    return 0


if __name__ == "__main__":
    code = answer(sys.argv[1], make)
    # the CAD kernel's own teardown can be slow or fault: everything is written, so leave at once
    os._exit(code)

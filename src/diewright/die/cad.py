"""The stage ``cad``: punch, die and blankholder as true surfaces, from the part's own CAD faces and the sections that the tryout's triangles came from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from diewright.die.brep.faces_cad import TOOLS, FacesCad, faces_cad
from diewright.die.stage import STAGE as FACES
from diewright.die.stage import FacesInputs, built_of
from diewright.errors import InputError
from diewright.geometry.shift_field import read_shift
from diewright.job.findings import Figure, Finding
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch

GAP = 0.01
"""Largest gap between two sewn faces [mm]."""
BREAK = 1.0
"""Largest tangent break across an edge that is no edge of the part [deg]."""
OFF = 0.02
"""Largest distance of the tryout's triangles from the surfaces, in thicknesses."""


class CadInputs(FacesInputs):
    """What the faces read of the job, and the number that the files carry."""

    number: str


def _inputs(job: Job) -> CadInputs:
    return CadInputs(**FACES.inputs(job).model_dump(), number=job.job.number)


def _files(job: Job) -> dict[str, str]:
    return {**FACES.files(job), "cad": job.part.file}


def work(inputs: CadInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Make the files, and measure them against each other and against the tryout's triangles. Raises :class:`InputError` for faces that were given, :class:`SolveError` where a surface resists."""
    if upstream["faces"].values["kind"] != "made":
        raise InputError("the faces are given as files: there is nothing to write as CAD.", where="faces", help="Use your own files.")
    shape = upstream["shape"]
    if shape.values.get("flanges"):
        raise InputError(
            "flanges drawn open are no CAD faces of the part: the faces are written as CAD only where the part is drawn as it is.", where="shape",
            help="Use the triangulated faces, or draw the combined shape in CAD and give it as the part.",
        )  # fmt: skip
    built, stated = built_of(inputs, upstream, watch)
    several = int(shape.values.get("parts", 1)) > 1
    tipping, part = upstream["tipping"], upstream["part"].values
    move = None
    if "shift" in files:
        field = read_shift(files["shift"].path)

        def move(points: np.ndarray) -> np.ndarray:
            return field.at(points)

    cad = faces_cad(
        files["cad"].path, unit=inputs.unit, numbers=sorted({int(i) for i in np.asarray(tipping.meshes["part"].cell["face"])}),
        skin_depth=0.5 * part["thickness_found"] if part.get("skin_used") == "middle" else 0.0,
        rotation=np.asarray(tipping.values["rotation"]), shift=np.asarray(tipping.values["shift"]), drawn=built.drawn, zones=built.zones, rule=built.faces.rule,
        tools={"die": built.faces.die, "punch": built.faces.punch, "blankholder": built.faces.blankholder},
        thickness=stated.thickness, extra=stated.wall - stated.thickness, move=move, name=inputs.number, watch=watch, copies=shape.arrays["copies"] if several else None,
        runs=[shape.arrays[f"bridge_{k}"] for k in range(2)] if several else (),
    )  # fmt: skip
    tools = cad.report["tools"]
    values: dict[str, Any] = {**cad.report, "faults": cad.faults, "moved": move is not None}
    files_out = {f"{name}.step": cad.step[name] for name in TOOLS} | {f"{name}.stl": cad.stl[name] for name in TOOLS}
    return Result(
        values=values, figures=tuple(_figures(tools)), findings=tuple(_findings(cad, stated.thickness)),
        files={**files_out, "sections.dxf": cad.sections},
    )  # fmt: skip


def _figures(tools: Mapping[str, Any]) -> list[Figure]:
    out = []
    for name, t in tools.items():
        made: dict[str, tuple[float | str, str]] = {
            "kept": (float(t["kept"]), "faces"),
            "moved exactly": (float(t["moved"]), "faces"),
            "fitted": (float(t["fitted"]), "faces"),
        }
        out += [
            Figure(key=f"gap.{name}", label=f"Largest gap of the {name}", value=t["gap"], unit="mm", formula="distance of two faces at the edge they share", source="measured on the surfaces", inputs=made),
            Figure(key=f"break.{name}", label=f"Largest tangent break of the {name}", value=t["break_deg"], unit="deg", formula="angle of the normals across an edge that is no edge of the part", source="measured on the surfaces"),
            Figure(key=f"off.{name}", label=f"Distance of the tryout's {name} from it", value=t["deviation"]["max"], unit="mm", formula="points of the tryout's triangles to the surfaces, largest", source="measured on the surfaces"),
        ]  # fmt: skip
    return out


def _findings(cad: FacesCad, thickness: float) -> list[Finding]:
    tools = cad.report["tools"]
    out = [
        Finding(key=f"cad.fault.{i}", severity="attend", sentence=f"{text[:1].upper()}{text[1:]}.", source="measured on the surfaces", help="Look at that place in CAD before cutting; mend the part's surfaces, or mend the file by hand.")
        for i, text in enumerate(cad.faults)
    ]  # fmt: skip
    for name, t in tools.items():
        off = float(t["deviation"]["max"])
        if off > OFF * thickness:
            out.append(
                Finding(
                    key=f"cad.off.{name}", severity="attend", value=off, limit=OFF * thickness, unit="mm", source="chord error of the tryout's triangles",
                    sentence=f"The surface of the {name} lies up to {off:.3g} mm from the triangles that the tryout ran on.", help="What is cut differs there from what was proved; a finer part mesh (part.chord_error) brings them together.",
                )
            )  # fmt: skip
    return out


STAGE = Stage(
    name="cad", title="The faces as CAD", plural=True, version=1, packages=("die", "part", "geometry"),
    needs=("part", "tipping", "shape", "sheet", "solution", "blank", "faces"), inputs=_inputs, work=work, files=_files, slow=True,
)  # fmt: skip

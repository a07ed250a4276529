"""The working faces as CAD files: the one call that the stage makes."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.die.brep.lattice import sampled
from diewright.die.clearance import Clearance
from diewright.die.extend import Drawn
from diewright.die.zones import Zones
from diewright.errors import FileError, SolveError
from diewright.geometry.mesh import TriMesh
from diewright.part.sandbox import Limits, private_folder, run_child
from diewright.part.sniff import open_checked, sniff
from diewright.watch import Watch

Floats = NDArray[np.float64]

TOOLS = ("die", "punch", "blankholder")
LIMITS = Limits(seconds=240.0)
MOVE = 0.0005
"""How closely a displacement is carried over [mm]."""


@dataclass(frozen=True, eq=False)
class FacesCad:
    """Files of the faces in press coordinates [mm]: ``step`` and ``stl`` by tool, ``sections`` (DXF), and the ``report``.

    ``report["tools"][name]``: ``faces``, of which ``kept`` as the designer drew them, ``moved`` exactly, ``fitted``; ``fit_error`` [mm]; ``gap`` [mm] largest distance of two faces at a shared
    edge, ``gaps`` those above 0.01 mm; ``valid`` by the kernel's check, ``invalid_faces``; ``free_edges``, ``free_inside`` those that are not on the border; ``crowded_edges`` of
    three faces or more; ``break_deg`` largest tangent break that is no edge of the part, ``breaks`` all above 1 deg with place and ``true_edge``; ``deviation`` [mm] of
    the points of the tryout's triangles from the surfaces. ``report["holes_left_out"]`` holes inside one face, closed; ``report["holes_filled"]`` those over several closed by a smooth surface (``at``, ``faces``, ``gap`` [mm], ``break_deg``, ``off`` [mm] from the triangles' own filling), ``report["holes_open"]`` how many are not. ``report["remarks"]``: list of ``{"key", "text", "value"}``.
    """

    step: dict[str, bytes]
    stl: dict[str, bytes]
    sections: bytes
    report: dict[str, Any]

    @property
    def faults(self) -> list[str]:
        """What a toolmaker must know before cutting from these files, in sentences; empty if all is well."""
        out = [r["text"] for r in self.report["remarks"]]
        for name, t in self.report["tools"].items():
            if not t["valid"]:
                out.append(f"the {name} is no valid body: {', '.join(t['invalid_faces'][:5]) or 'its faces do not fit together'}")
            gapes = [
                (g["value"], f"the {name} gapes by {g['value']:.3f} mm between {' and '.join(g['between'])} at {_spot(g['at'])}")
                for g in t["gaps"]
            ]
            opens = [(0.0, f"the {name} is open at {e['between'][0]} at {_spot(e['at'])}") for e in t["free_inside"]]
            kinks = [
                (b["deg"], f"the {name} breaks by {b['deg']:.1f} deg between {' and '.join(b['between'])} at {_spot(b['at'])}")
                for b in t["breaks"] if not b["true_edge"]
            ]  # fmt: skip
            for found in (gapes, opens, kinks):
                out += _worst(found)
        return out


def _worst(found: list[tuple[float, str]], most: int = 3) -> list[str]:
    """The sentences with the largest values, the last one saying how many are like it."""
    said = [text for _, text in sorted(found, key=lambda f: -f[0])]
    more = len(said) - most
    return said if more <= 0 else [*said[: most - 1], f"{said[most - 1]}, and {more} more places"]


def _spot(at: Sequence[float]) -> str:
    return "(" + ", ".join(f"{v:.0f}" for v in at) + ") mm"


def faces_cad(
    path: Path, *, unit: str, numbers: Sequence[int], skin_depth: float, rotation: Floats, shift: Floats, drawn: Drawn, zones: Zones, rule: Clearance, tools: dict[str, TriMesh],
    thickness: float, extra: float, move: Callable[[Floats], Floats] | None = None, cuts: Sequence[tuple[str, float]] = (), name: str = "", limits: Limits = LIMITS,
    watch: Watch | None = None, copies: Floats | None = None, runs: Sequence[Floats] = (),
) -> FacesCad:  # fmt: skip
    """Die, punch and blankholder as true surfaces, made in a child process within ``limits``.

    ``path`` is the part's CAD file, ``unit`` as stated in the job, ``numbers`` the CAD faces that were meshed (cell field ``face`` of the part's mesh), ``skin_depth`` [mm] how deep the middle of
    the sheet lies under them (half the thickness found where the skin was moved to the middle, else 0); ``rotation`` and ``shift`` from CAD to press coordinates. ``drawn``
    and ``zones`` as they were made from the part, ``rule`` of the clearance that the die was made with, ``tools`` the triangulations of the tryout by name. Faces lie ``thickness``/2 above the middle of the sheet, the die
    ``thickness``/2 and ``extra`` times the rule's share below [mm]. ``move`` displaces points ``(n, 3) -> (n, 3)`` of all tools (compensation). ``cuts``: sections ``("x" | "y", at [mm])``, by default four. ``copies (2, 4, 4)`` placements of two copies of the part and the ``runs`` of their edges that
    the bridge of the draw shape joins, ``(n, 7)`` each: places, share, direction of the sections.

    Raises :class:`SolveError` where a surface cannot be made, and when the child runs out of time or memory.
    """
    size = open_checked(path, limits.file_megabytes)
    kind, _ = sniff(path, size)
    if kind == "stl":
        raise SolveError(
            "the part is given as triangles: there are no CAD surfaces to make the faces from.",
            where="part.file",
            help="Give the part as STEP or IGES.",
        )
    arrays: dict[str, Any] = {
        "points": drawn.mesh.points, "triangles": drawn.mesh.triangles, "held": zones.held, "punched": zones.punched, "columns": drawn.columns,
        "standing": drawn.standing, "outer": drawn.outer, "seam_at": rule.seams.at, "seam_up": rule.seams.up, "seam_share": rule.seams.share, "seam_reach": rule.seams.reach,
        "seam_weight": rule.seams.weight,
    }  # fmt: skip
    for tool in TOOLS:
        arrays |= {f"{tool}_points": tools[tool].points, f"{tool}_triangles": tools[tool].triangles}
    if copies is not None:
        arrays |= {"copies": np.asarray(copies), **{f"bridge_{k}": np.asarray(run) for k, run in enumerate(runs)}}
    if move is not None:
        every = np.vstack([tools[tool].points for tool in TOOLS])
        made = sampled(move, every.min(axis=0) - 2.0, every.max(axis=0) + 2.0, MOVE)
        arrays |= {"move_origin": made.origin, "move_step": np.array(made.step), "move_values": made.values}
    request = {
        "kind": kind, "unit": unit, "numbers": [int(i) for i in numbers], "half": float(skin_depth), "rotation": np.asarray(rotation).tolist(),
        "shift": np.asarray(shift).tolist(), "thickness": float(thickness), "extra": float(extra), "top": float(tools["punch"].points[:, 2].max()),
        "holder": rule.holder.record(), "radius": rule.radius, "joints": sorted({0, *(int(j) for j in drawn.joints), drawn.columns.shape[1] - 1}),
        "cuts": [list(c) for c in cuts], "name": name,
    }  # fmt: skip
    with private_folder() as folder:
        copy = folder / f"part.{kind}"
        try:
            shutil.copyfile(path, copy)
        except OSError as error:
            raise SolveError(
                f"the file '{path.name}' cannot be read ({error.strerror}).", where="part.file", help="Check permissions."
            ) from None
        np.savez(folder / "input.npz", **arrays)
        try:
            report, _ = run_child("diewright.die.brep.child", {**request, "path": str(copy)}, folder, path.name, limits, watch or Watch())
        except FileError as error:
            raise SolveError(f"the faces cannot be made as CAD: {error.what}", where="faces", help=error.help) from None
        return FacesCad(
            {tool: (folder / f"{tool}.step").read_bytes() for tool in TOOLS}, {tool: (folder / f"{tool}.stl").read_bytes() for tool in TOOLS},
            (folder / "sections.dxf").read_bytes(), report,
        )  # fmt: skip

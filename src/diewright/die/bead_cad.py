"""The draw bead as bodies: bars for the blankholder and cutters for the groove in the die, one of each for every piece that is cut; the one call that the stage makes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.die.bead_path import BeadPath
from diewright.errors import FileError
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.forming.bead_line import BeadLine, Groove
from diewright.part.sandbox import Limits, private_folder, run_child
from diewright.watch import Watch

Floats = NDArray[np.float64]

LIMITS = Limits(seconds=120.0)
VOLUME = 1e-3
"""The kernel's volume of a body, its rounded ends apart, may differ from area times length by this share."""
GAP = 0.01
"""The room between nose and floor may differ from the stated one by this [mm]."""
FACE = 0.1
"""A curved blankholder may lie this far off the groove's mouth, which is cut upright to the normal in its middle [mm] (ours)."""


@dataclass(frozen=True, eq=False)
class BeadBodies:
    """``beads.step`` (None: nothing could be made), one row a piece, and what could not be made: ``{"name", "text", "help", "at"}``.

    ``rows``: ``{"piece", "bar" and "groove": {"valid", "closed", "faces", "volume", "area", "swept", "ends", "volume_off", "sewing_gap", "fit_error"}, "gap": {"least", "most", "places", ...}}`` [mm, mm2, mm3].
    ``room`` stated between nose and floor, ``off_face`` how far the blankholder lies off the groove's mouth [mm].
    """

    step: bytes | None
    rows: list[dict[str, Any]]
    faults: list[dict[str, Any]]
    path: BeadPath
    room: float
    off_face: float

    def values(self) -> dict[str, Any]:
        """Plain data for the stage's values."""
        sides = {kind: [r[kind] for r in self.rows if kind in r] for kind in ("bar", "groove")}
        gaps = [r["gap"] for r in self.rows if "gap" in r]
        every = sides["bar"] + sides["groove"]
        return {
            "bars": len(sides["bar"]), "grooves": len(sides["groove"]), "ground": self.path.ground, "strayed": self.path.strayed, "off_face": self.off_face, "room": self.room,
            "bar_volume": sum(b["volume"] for b in sides["bar"]), "groove_volume": sum(b["volume"] for b in sides["groove"]),
            "bar_area": sides["bar"][0]["area"] if sides["bar"] else None, "groove_area": sides["groove"][0]["area"] if sides["groove"] else None,
            "volume_off": max((b["volume_off"] for b in every), default=None), "valid": bool(every) and all(b["valid"] and b["closed"] for b in every),
            "room_least": min((g["least"] for g in gaps), default=None), "room_most": max((g["most"] for g in gaps), default=None), "rows": self.rows,
            "faults": [f"{f['name']}: {f['text']}" for f in self.faults],
        }  # fmt: skip


def bead_bodies(
    line: BeadLine, path: BeadPath, groove: Groove, thickness: float, blankholder: TriMesh, name: str, watch: Watch, limits: Limits = LIMITS
) -> BeadBodies:
    """Make the bodies in a child process within ``limits``. What cannot be made is in ``faults``, the child's own end included."""
    pieces = [(float(begin), float(end), bool(line.cut.all())) for (begin, end), cut in zip(line.bounds, line.cut, strict=True) if cut]
    request = {"groove": asdict(groove), "thickness": thickness, "length": path.length, "pieces": pieces, "name": f"{name} beads".strip()}
    room, off = thickness + groove.floor, _off_face(path, groove.mouth, 0.5 * thickness, blankholder, line)
    with private_folder() as folder:
        np.savez(folder / "input.npz", s=path.s, points=path.points, normals=path.normals)
        try:
            report, _ = run_child("diewright.die.brep.bead_child", request, folder, "the bead's line", limits, watch)
        except FileError as error:
            at = path.points[0].tolist()
            return BeadBodies(
                None,
                [],
                [
                    {
                        "name": "draw bead",
                        "text": error.what,
                        "help": "Work the stage again; if it comes back, cut the bead from details.dxf.",
                        "at": at,
                    }
                ],
                path,
                room,
                off,
            )
        step = (folder / "beads.step").read_bytes() if report["written"] else None
    return BeadBodies(step, report["bodies"], report["faults"], path, room, off)


def _off_face(path: BeadPath, mouth: float, half: float, blankholder: TriMesh, line: BeadLine) -> float:
    """Largest distance [mm] of the mouth's edges, carried to the blankholder's face, from that face, where the bead is cut."""
    from igl import point_mesh_squared_distance

    tangent = np.roll(path.points, -1, axis=0) - np.roll(path.points, 1, axis=0)
    across = np.cross(path.normals, tangent)
    across /= np.linalg.norm(across, axis=1)[:, None]
    on = path.points + half * path.normals
    edges = np.vstack([(on + side * 0.5 * mouth * across)[line.on] for side in (-1.0, 1.0)])
    corners = blankholder.triangles.astype(np.int64)
    square, cell, near = point_mesh_squared_distance(edges, blankholder.points, corners)
    # beyond the blankholder's own edge there is no face to be off from
    normal = blankholder.normals[np.asarray(cell, dtype=np.int64).ravel()]
    away = edges - near
    off = np.abs(np.einsum("ij,ij->i", away, normal))
    side = np.sqrt(np.maximum(np.asarray(square).ravel() - off**2, 0.0))
    return float(off[side < 0.05 + 0.1 * off].max(initial=0.0))


def tables(bodies: BeadBodies) -> Mapping[str, dict[str, Floats]]:
    """``bead_bodies``: one row a body."""
    rows = [
        (float(r["piece"]), float(kind == "groove"), r[kind], r.get("gap")) for r in bodies.rows for kind in ("bar", "groove") if kind in r
    ]
    return {"bead_bodies": {
        "piece": np.array([p for p, *_ in rows]), "groove": np.array([k for _, k, *_ in rows]),
        **{f"{name}{unit}": np.array([float(b[name]) for _, _, b, _ in rows]) for name, unit in (("volume", "_mm3"), ("swept", "_mm3"), ("ends", "_mm3"), ("area", "_mm2"), ("volume_off", ""), ("valid", ""), ("faces", ""))},
        "room_least_mm": np.array([np.nan if g is None else g["least"] for *_, g in rows]), "room_most_mm": np.array([np.nan if g is None else g["most"] for *_, g in rows]),
    }}  # fmt: skip

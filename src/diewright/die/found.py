"""Faces as they were made or read, with what is measured on them, and the stage's result from them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from diewright.die.findings import Measured, figures_of, findings_of
from diewright.die.shifted import moved, moved_plan
from diewright.geometry.mesh import FieldMesh
from diewright.job.stage import Result

FACES = ("die", "punch", "blankholder")


@dataclass(frozen=True, eq=False)
class Found:
    """Faces with what is measured on them: the trim line ``(k, 3)`` on the drawn sheet, the punch opening line ``(j, 2)``, and whether a wall was led out."""

    m: Measured
    trim_line: np.ndarray
    opening: np.ndarray
    extended: bool

    def moved_by(self, path: Path) -> Result:
        """The result for faces moved by a shift file; those before it are handed on in arrays ``nominal_...``, for the next compensation begins with them."""
        m, field = moved(self.m, path)
        level = self.m.die_touch
        there = Found(m, self.trim_line + field.at(self.trim_line), moved_plan(field, self.opening, level), self.extended).result()
        before = self.result()
        most = max(float(np.linalg.norm(field.at(mesh.mesh.points), axis=1).max()) for mesh in before.meshes.values())
        return replace(
            there,
            values={**there.values, "shift_file": path.name, "shift_max_mm": most, "nominal": {"stroke": before.values["stroke"]}},
            arrays={
                **there.arrays, **{f"nominal_{name}": array for name, array in before.arrays.items()},
                **{f"nominal_{name}_points": mesh.mesh.points for name, mesh in before.meshes.items()},
                **{f"nominal_{name}_triangles": mesh.mesh.triangles for name, mesh in before.meshes.items()},
            },
        )  # fmt: skip

    def result(self) -> Result:
        """The stage's result."""
        m = self.m
        x, y = self.opening.T
        faces = {name: getattr(m, name) for name in FACES}
        values: dict[str, Any] = {
            "kind": m.kind, "stroke": m.stroke, "clearance": m.wall_gap, "die_radius": m.die_radius, "punch_radius": m.punch_radius,
            "holder_gap": m.holder_gap, "opening_area": abs(0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))),
            "notes": list(m.notes), "extended": self.extended, "gap_min": m.gap.least, "gap_max": m.gap.most,
            "triangles": {name: len(mesh.triangles) for name, mesh in faces.items()},
            "blankholder": None if m.surface is None else m.surface.as_dict(),
        }  # fmt: skip
        return Result(
            values=values,
            figures=tuple(figures_of(m)),
            findings=tuple(findings_of(m)),
            meshes={name: FieldMesh(mesh) for name, mesh in faces.items()},
            arrays={"trim_line": self.trim_line, "opening": self.opening, "die_touch": np.array([m.die_touch])},
        )

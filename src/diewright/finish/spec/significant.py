"""Significant surfaces: what is picked on the part, and what of it a ball can touch.

ISO 27830: the thickness of the designation is the least local one on the significant surface that a ball of 20 mm can touch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.accessible import Probe
from diewright.geometry.mesh import TriMesh
from diewright.geometry.sides import outer_side
from diewright.job.schema import Vector

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
SENSE = {"upper": 1.0, "lower": -1.0}
FAR = 2.0
"""A stated point farther than this from the part is not on it [mm], beyond the sheet's thickness."""
HALF = 0.5
"""A triangle counts where the ball touches at least this share of it."""


@dataclass(frozen=True, eq=False)
class Significant:
    """``side`` that is shown and ``sides`` that count; ``picked (m,)`` triangles; ``ball`` share of each that the ball touches, by side; ``faces`` that were picked (None: all)."""

    side: str
    sides: tuple[str, ...]
    picked: Bools
    ball: dict[str, Floats]
    faces: tuple[int, ...] | None

    def counts(self, side: str) -> Bools:
        """Triangles of a side whose thickness counts."""
        return self.picked & (self.ball[side] >= HALF) if side in self.sides else np.zeros(len(self.picked), dtype=bool)

    @property
    def any_side(self) -> Bools:
        """Triangles that count on any side."""
        return self.counts("upper") | self.counts("lower")


def significant(
    mesh: TriMesh,
    face: NDArray[np.int64],
    pick: str | Sequence[int],
    points: Sequence[Vector],
    shown: str,
    ball_mm: float,
    probe: Probe,
    chord: float,
) -> Significant:
    """Pick the surfaces and roll the ball over both sides. ``face (m,)``: CAD face of each triangle; ``pick`` visible, all, or faces; ``points`` on further faces [mm];
    ``shown`` side; ``ball_mm`` diameter; ``chord``: how far the mesh lies off the true surface [mm].

    Raises :class:`InputError` for a face that the part has not, a point off the part, or where nothing of the picked surface can be touched.
    """
    side = outer_side(mesh)[0] if shown == "auto" else shown
    sides = ("upper", "lower") if pick == "all" else (side,)
    listed = () if isinstance(pick, str) else pick
    there = set(np.unique(face).tolist())
    for number in listed:
        if number not in there:
            raise InputError(
                f"the part has no face {number}.", where="finish.significant", help=f"Its faces are numbered {min(there)} to {max(there)}."
            )
    if isinstance(pick, str) and points:
        raise InputError(
            f"points are stated, and significant is '{pick}' already.",
            where="finish.significant_points",
            help="State significant = [] to pick by points alone.",
        )
    faces = None
    if not isinstance(pick, str):
        faces = tuple(sorted({*listed, *_faces_at(face, probe, points)}))
        if not faces:
            raise InputError("no face and no point is picked.", where="finish.significant", help="State faces, points, or visible.")
    picked = np.ones(len(face), dtype=bool) if faces is None else np.isin(face, faces)
    slack = max(0.02, 2.0 * chord)
    ball = {name: probe.ball_share(0.5 * ball_mm, sense, slack) for name, sense in SENSE.items()}
    found = Significant(side, sides, picked, ball, faces)
    if not found.any_side.any():
        raise InputError(
            f"a ball of {ball_mm:g} mm touches nothing of the picked surface.",
            where="finish.significant",
            help="Pick other faces, or state a smaller ball_mm.",
        )
    return found


def _faces_at(face: NDArray[np.int64], probe: Probe, points: Sequence[Vector]) -> list[int]:
    if not points:
        return []
    nearest, off = probe.nearest(np.array(points))
    for point, far in zip(points, off, strict=True):
        if far > FAR + 2.0 * probe.half:
            at = ", ".join(f"{v:g}" for v in point)
            raise InputError(
                f"the point {at} lies {far:.3g} mm off the part.",
                where="finish.significant_points",
                help="State points on it, in press coordinates.",
            )
    return [int(f) for f in face[nearest]]

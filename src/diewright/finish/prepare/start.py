"""The surface that comes out of the press: rolled sheet, roughened by strain, scratched where it slid over the die radius."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.finish.prepare.grits import library
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import FinishStated

Floats = NDArray[np.float64]
STEEP = 0.8
"""Cosine of the slope from which on the sheet counts as a wall that came over the die radius (about 37 degrees; ours)."""
SCRATCHED = "lower"
"""Side that rubs on the die: it lies below, the punch above."""


def orange_peel(rolled: float, factor: float, grain: float, strain: Floats) -> Floats:
    """Ra [µm] of a stretched free surface, ``R = R0 + c d eps``: rolled R0 [µm], factor c, grain size d [µm], plastic strain eps.

    The linear law is common in the literature on roughening of free surfaces (from memory); c differs much from sheet to sheet.
    """
    return rolled + factor * grain * np.maximum(strain, 0.0)


@dataclass(frozen=True, eq=False)
class Drawn:
    """The drawn sheet on the triangles of the finished part: thickness [mm], plastic strain, slide [mm] towards its place in plan; ``known (m,)``: the one-step solution reaches it.

    Elsewhere the sheet counts as it was rolled.
    """

    thickness: Floats
    strain: Floats
    slide: Floats
    known: NDArray[np.bool_]


def drawn(part: TriMesh, of: NDArray[np.int64], solved: TriMesh, flat: TriMesh, thickness: Floats, strain: Floats, sheet: float) -> Drawn:
    """Carry the one-step solution to the part. ``of (k,)``: triangle of the part for each of the first k of the draw shape, -1 none; ``sheet`` its thickness [mm]."""
    m = len(part.triangles)
    cell = np.full(m, -1, dtype=np.int64)
    # of several copies in one draw the first one counts
    on = np.flatnonzero(of >= 0)[::-1]
    cell[of[on]] = on
    known = cell >= 0
    slide = np.linalg.norm((solved.centroids - flat.centroids)[:, :2], axis=1)
    return Drawn(np.where(known, thickness[cell], sheet), np.where(known, strain[cell], 0.0), np.where(known, slide[cell], 0.0), known)


@dataclass(frozen=True, eq=False)
class Start:
    """``ra (m,)`` of the surface and ``depth (m,)`` of what must go before it is even [µm]; ``scratched (m,)``; ``rolled`` Ra [µm] with its source."""

    ra: Floats
    depth: Floats
    scratched: NDArray[np.bool_]
    rolled: float
    source: str


PEAKS = 6.0
"""Height of the roughness, peak to valley, over Ra (5 to 8 for ground and rolled surfaces; common practice)."""


def start(part: TriMesh, sheet: Drawn, side: str, stated: FinishStated, family: str) -> Start:
    """Start roughness of the shown side."""
    known = library()[2]
    rolled = known[family] if family in known else known["steel"]
    r0, source = (rolled.ra_um, rolled.source) if isinstance(stated.start_ra_um, str) else (stated.start_ra_um, "stated")
    ra = orange_peel(r0, stated.peel_factor, stated.grain_um, sheet.strain)
    scratched = (np.abs(part.normals[:, 2]) < STEEP) & (sheet.slide >= stated.slide_mm) & (side == SCRATCHED)
    depth = np.maximum(PEAKS * ra, np.where(scratched, stated.scratch_um, 0.0))
    return Start(ra, depth, scratched, r0, source)

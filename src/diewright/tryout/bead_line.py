"""The draw bead of a job: its restraint from its cross section, and the pieces of its line on which it is cut round the punch opening."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.job.stage import Result
from diewright.mechanics.contact.tools import ToolSet
from diewright.mechanics.forming.bead_line import lay
from diewright.mechanics.forming.beads import bead_field, bead_restraint, edge_beside

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Bead:
    """One bead round the opening.

    Attributes
    ----------
    restraint, uplift: [N/mm]; uplift None where only a restraint was stated. thinning: log strain. offset: from the opening line [mm]; length that is cut [mm].
    pieces: lines ``(k, 2)`` on which it is cut where corners are left out, none at all if nothing is cut; None: all round.
    """

    restraint: float
    uplift: float | None
    thinning: float
    locks: bool
    offset: float
    length: float
    pieces: tuple[Floats, ...] | None = None


def bead_of(
    kind: Literal["none", "round", "square", "locking"], radius: float, height: float, offset: Literal["auto"] | float, stated: float,
    thickness: float, friction: float, upstream: Mapping[str, Result], flat: float, least: Literal["auto"] | float,
) -> Bead | None:  # fmt: skip
    """The bead of the job: by its cross section, or the ``stated`` restraint [N/mm] as a bead without one; None where there is neither.

    It stands where the toolmaker cuts it: the rule is that of :func:`diewright.mechanics.forming.bead_line.lay`, ``least`` the radius [mm] below which corners are left out.
    """
    if (kind == "none" and stated <= 0) or (kind != "none" and height <= 0):
        return None
    faces = upstream["faces"]
    laid = lay(faces.arrays["opening"], kind, radius, height, flat, offset, least, thickness, float(faces.values.get("die_radius") or 0.0))
    if laid.line.on.all():
        pieces, length = None, float(line_outside(faces.arrays["opening"], laid.offset).length)
    else:
        pieces, length = tuple(points for points, _ in laid.line.cut_lines()), laid.line.cut_length
    if kind == "none":
        return Bead(stated, None, 0.0, False, laid.offset, length, pieces)
    curve = upstream["sheet"].tables["hardening"]
    strain, stress = np.asarray(curve["strain"]), np.asarray(curve["stress"])
    r = bead_restraint(kind, radius, height, thickness, lambda e: np.interp(e, strain, stress), friction)
    return Bead(r.force, r.uplift, r.thinning, r.locks, laid.offset, length, pieces) if r.force > 0 else None


def line_outside(opening: Floats, offset: float) -> shapely.LinearRing:
    """The closed line a distance outside the punch opening line (k, 2). Raises :class:`InputError` for an opening that crosses itself."""
    ring = shapely.Polygon(np.asarray(opening, dtype=np.float64)[:, :2])
    if not ring.is_valid or ring.area <= 0:
        raise InputError("the punch opening line crosses itself or encloses no area.", where="draw bead", help="Check the faces.")
    return ring.buffer(offset, quad_segs=24).exterior if offset > 0 else ring.exterior


def lay_bead(tools: ToolSet, bead: Bead, points: Floats, triangles: NDArray[np.integer], opening: Floats) -> None:
    """Let the sheet (flat, as it lies) feel the bead. Raises :class:`InputError` where no part of it reaches beyond the bead."""
    line = line_outside(opening, bead.offset)
    if shapely.contains_xy(shapely.Polygon(line), points[:, 0], points[:, 1]).all():
        raise InputError(
            f"the draw bead {bead.offset:.3g} mm outside the punch opening lies outside the blank.",
            where="tryout.bead_offset",
            help="Set it nearer to the opening, or make the blank larger.",
        )
    paths = [np.asarray(line.coords)] if bead.pieces is None else list(bead.pieces)
    if not paths:
        return
    p = points[triangles][:, :, :2]
    a, b = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    typical = float(np.sqrt(np.median(0.5 * np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])) / 0.433))
    bead_field(paths, bead.restraint, edge_beside(points, triangles, paths, 4.0 * typical)).put(tools)

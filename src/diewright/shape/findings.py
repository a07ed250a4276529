"""What the draw shape has to say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Finding, Place
from diewright.shape.bridge import Bridge
from diewright.shape.flange import Flange
from diewright.shape.unroll import Cylinder, Opened

STRAIN = 1.0
"""Largest strain [%] of an opened flange that is let pass (common practice: what a flanging die can give back)."""
TIGHT = 5.0
"""Least radius of the bridge over the thickness that is let pass (common practice for draw radii)."""


@dataclass(frozen=True, eq=False)
class Unfolded:
    """A flange of the job, opened: its ``number`` from 1, the ``angle`` [rad] it was opened to, its ``cylinder`` where the bend is straight."""

    number: int
    flange: Flange
    opened: Opened
    angle: float
    cylinder: Cylinder | None
    mesh: TriMesh

    @property
    def strain_pct(self) -> float:
        """Largest principal strain in size [%]."""
        return 100.0 * float(np.expm1(self.opened.strain.max()))

    def as_dict(self) -> dict[str, Any]:
        """For the values of the stage."""
        o, c = self.opened, self.cylinder
        return {
            "number": self.number, "how": o.how, "angle_was_deg": float(np.degrees(o.angle_was)), "angle_deg": float(np.degrees(self.angle)), "bend_radius": c.radius if c is not None else None,
            "developed": o.length, "chord_error": o.chord, "strain_max_pct": self.strain_pct, "cylinder_off": c.off if c is not None else None,
            "area": float(self.mesh.areas[self.flange.cells].sum()),
        }  # fmt: skip


def findings_of(unfolded: list[Unfolded], bridge: Bridge | None, thickness: float, copies: str) -> Iterator[Finding]:
    """All findings of the stage."""
    for u in unfolded:
        yield _flange(u)
    if bridge is not None:
        yield from _bridge(bridge, thickness, copies)


def _flange(u: Unfolded) -> Finding:
    strain, over = u.strain_pct, u.strain_pct > STRAIN
    worst = int(np.argmax(u.opened.strain))
    spots = u.mesh.centroids[np.argsort(-u.opened.strain)[:20]] if over else u.mesh.centroids[u.flange.bend][:1]
    what = "stays" if u.angle != 0.0 else "continues the surface it hangs on"
    at = f" at {np.degrees(u.angle):.3g} deg" if u.angle != 0.0 else ""
    cost = (
        f"the sheet must stretch or shrink by {strain:.2g} % there, at {_said(u.mesh.centroids[worst])} mm"
        if strain >= 0.005
        else "no length changes"
    )
    return Finding(
        key=f"shape.flange.{u.number}", severity="attend" if over else "note", value=strain, limit=STRAIN, unit="%",
        sentence=f"Flange {u.number} is drawn open (it {what}{at}) and bent by {np.degrees(u.opened.angle_was - u.angle):.1f} deg in a later operation; {cost}.",
        source="common practice; lengths kept on the middle surface", place=Place(points=tuple(_triple(p) for p in spots), label=f"flange {u.number}"),
        help="Flanging takes that strain on top of the draw's: check it against the forming limit, notch or shorten the flange, or open it less." if over else "The blank's edge there takes its allowance of the bend calculation.",
    )  # fmt: skip


def _bridge(b: Bridge, thickness: float, copies: str) -> Iterator[Finding]:
    how = {"mirrored": "left and right hand", "turned": "one turned by 180 degrees", "shifted": "one beside the other"}[copies]
    yield Finding(
        key="shape.copies", severity="note", value=2.0, unit="parts", source="stated: shape.copies",
        sentence=f"2 parts are drawn in one stroke, {how}, joined by a bridge {b.gap[0]:.1f} to {b.gap[1]:.1f} mm wide over {b.length:.0f} mm of their edges; they are cut apart later.",
        help="Springback is only known once they are cut apart: leave trim steel and a scrap way for the bridge.",
    )  # fmt: skip
    limit = TIGHT * thickness
    if b.tightest < limit:
        yield Finding(
            key="shape.bridge", severity="attend", value=b.tightest, limit=limit, unit="mm", source="common practice: 5 thicknesses at a draw radius at least",
            sentence=f"The bridge bends as tightly as {b.tightest:.2g} mm at {_said(b.at)} mm; {limit:.2g} mm is wanted.", place=Place(points=(_triple(b.at),), label="the bridge"),
            help="State more spacing, or tip the part so that the edges that face each other lie flatter.",
        )  # fmt: skip


def _said(p: np.ndarray) -> str:
    return f"({p[0]:.1f}, {p[1]:.1f}, {p[2]:.1f})"


def _triple(p: np.ndarray) -> tuple[float, float, float]:
    return float(p[0]), float(p[1]), float(p[2])

"""What the compensation has to say: undercut, gap, what is left, what was kept."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Finding, Place
from diewright.tryout.compensation_checks import Checked
from diewright.tryout.compensation_core import Compensated

Floats = NDArray[np.float64]
MEASURED = "measured on the moved faces"
RUNS = "tryouts in the moved faces, the last one fresh"
GAP = 0.05
"""Change of the gap between punch and die, over the sheet's thickness, from which it is no longer the gap that was designed (common practice: a quarter of the usual allowance)."""
FLAT = 0.001
"""Strain that closing a blankholder which has left its developable surface may put into the sheet."""


def findings_of(got: Compensated, checked: Checked | None, inputs: Any, table: dict[str, Floats]) -> list[Finding]:
    """All findings, the worst first."""
    if checked is None:
        return [
            Finding(
                key="compensation.none_needed", severity="note", value=float(table["max_mm"][0]), limit=inputs.tolerance, unit="mm", source=RUNS,
                sentence=f"The part springs by {table['max_mm'][0]:.3g} mm at most, which is within the tolerance: the faces stay as they are.",
            )
        ]  # fmt: skip
    return [*_stops(checked, inputs.thickness), *_left(got, inputs, table), *_kept(got, checked, inputs)]


def _stops(c: Checked, thickness: float) -> list[Finding]:
    out = []
    if c.undercut_area > 0:
        at = c.undercut_at[:: max(1, len(c.undercut_at) // 200)]
        out.append(
            Finding(
                key="compensation.undercut", severity="stop", value=c.draft_after, limit=0.0, unit="deg", source=MEASURED,
                sentence=f"Moving the faces makes an undercut of {c.undercut_area:.3g} mm2: the draft falls from {c.draft_before:.3g} to {c.draft_after:.3g} degrees.",
                help="Give the wall more draft than it springs, let a later operation bend it, or take a smaller factor.",
                place=Place(points=tuple((float(x), float(y), float(z)) for x, y, z in at), label="undercut"),
            )
        )  # fmt: skip
    if c.gap_change > GAP * thickness:
        out.append(
            Finding(
                key="compensation.gap", severity="stop", value=c.gap_change, limit=GAP * thickness, unit="mm", source=MEASURED,
                sentence=f"The gap between punch and die changes by {c.gap_change:.3g} mm; the least is {c.gap_after:.3g} mm and was {c.gap_before:.3g} mm.",
                help="Pass on longer waves only, or take a smaller factor.", place=Place(points=(c.gap_at,), label="largest change of the gap"),
            )
        )  # fmt: skip
    return out


def _left(got: Compensated, inputs: Any, table: dict[str, Floats]) -> list[Finding]:
    b, first = got.best, float(table["rms_mm"][0])
    worst = got.chosen
    here = worst.meant.points[int(np.argmax(np.abs(worst.laid.normal_mm)))].tolist()
    place = Place(points=((here[0], here[1], here[2]),), label="largest deviation left")
    if float(table["rms_mm"][b]) >= first:
        return [
            Finding(
                key="compensation.worse", severity="attend", value=float(table["rms_mm"][b]), limit=first, unit="mm", source=RUNS, place=place,
                sentence=f"Moving the faces brings the part no nearer: {table['rms_mm'][b]:.3g} mm mean square after, {first:.3g} mm before.",
                help="Take a smaller factor or a finer mesh; a part that snaps over cannot be compensated: make it stiffer.",
            )
        ]  # fmt: skip
    top = float(table["max_mm"][b])
    if top > inputs.tolerance:
        return [
            Finding(
                key="compensation.left", severity="attend", value=top, limit=inputs.tolerance, unit="mm", source=RUNS, place=place,
                sentence=f"{top:.3g} mm of {table['max_mm'][0]:.3g} mm deviation are left after {b} of {len(got.rounds) - 1} moves of the faces.",
                help="More iterations, a finer mesh, or shorter waves passed on.",
            )
        ]  # fmt: skip
    return [
        Finding(
            key="compensation.reached", severity="note", value=top, limit=inputs.tolerance, unit="mm", source=RUNS,
            sentence=f"The part comes within {top:.3g} mm of the shape wanted, from {table['max_mm'][0]:.3g} mm, proved by a fresh tryout in the moved faces.",
        )
    ]  # fmt: skip


def _kept(got: Compensated, c: Checked, inputs: Any) -> list[Finding]:
    if got.holder == "keep":
        words = "The blankholder keeps its surface; where the die opens, its edge moves with the wall."
    else:
        words = f"The part has a flange under the blankholder, which therefore moves with it, by {c.holder_move:.3g} mm and {c.holder_steepest:.2g} degrees at most."
        if inputs.blankholder == "follow":
            words = (
                f"The blankholder moves with the part, as stated, by {c.holder_move:.3g} mm and {c.holder_steepest:.2g} degrees at most."
            )
    # closing a surface that is tilted by a against the one the sheet lies on without strain stretches the sheet by about a^2 / 2
    strain = 0.5 * float(np.radians(c.holder_steepest)) ** 2
    out = [
        Finding(
            key="compensation.kept", severity="note", value=c.gap_change, limit=GAP * inputs.thickness, unit="mm", source=MEASURED,
            sentence=f"Gap kept within {c.gap_change:.2g} mm, least draft {c.draft_after:.3g} degrees; faces turn by {c.turn:.2g} degrees at most. {words}",
        )
    ]  # fmt: skip
    if strain > FLAT:
        out.insert(0, Finding(
            key="compensation.blankholder", severity="attend", value=100.0 * strain, limit=100.0 * FLAT, unit="%", source="stretch of a sheet laid on a tilted surface, a^2/2",
            sentence=f"The moved blankholder is no longer developable: closing it stretches the sheet by up to {100.0 * strain:.2g} %.",
            help="Keep the blankholder's surface and let a later operation set the flange.",
        ))  # fmt: skip
    return out

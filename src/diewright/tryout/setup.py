"""What the stages ``tryout`` and ``window`` read of the job, the run they ask for, and how it is shown as it goes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.errors import InputError
from diewright.job.schema import Job
from diewright.job.stage import Result
from diewright.mechanics.forming.frames import Frame
from diewright.mechanics.forming.run import Curve, Outcome
from diewright.mechanics.shell.model import ShellModel
from diewright.tryout.bead_line import bead_of
from diewright.tryout.press_run import Wanted
from diewright.watch import Watch

Auto = Literal["auto"]
CAREFUL = 1.0 / 3.0  # of the handbook's work: shallow panels take less
TOOLS, OPERATIONS = ("die", "punch", "blankholder"), ("hold", "draw", "dwell")


class TryoutInputs(BaseModel):
    """What the stage reads of the job: forces [kN], friction, quality, hardening, springback, sag, draw bead [mm, N/mm], thickness [mm], rolling direction [deg], wanted margin [%]."""

    model_config = ConfigDict(frozen=True)
    blankholder_force_kn: Auto | float
    blankholder_end_kn: Literal["same"] | float
    friction_die: float
    friction_punch: float
    quality: Literal["coarse", "normal", "fine"]
    stations: int
    back_modulus: float
    back_recall: float
    springback: bool
    gravity: bool
    bead_kind: Literal["none", "round", "square", "locking"]
    bead_radius: float
    bead_height: float
    bead_offset: Auto | float
    bead_restraint: float
    bead_flat: float
    bead_least_radius: Auto | float
    reference_points: tuple[tuple[float, float, float], ...]
    thickness: float
    rolling_direction: float
    margin_wanted: float


def tryout_inputs(job: Job) -> TryoutInputs:
    t, b = job.tryout, job.blank
    return TryoutInputs(
        **t.model_dump(exclude={"friction_die", "friction_punch"}),
        friction_die=b.friction if isinstance(t.friction_die, str) else t.friction_die,
        friction_punch=b.friction if isinstance(t.friction_punch, str) else t.friction_punch,
        bead_restraint=b.bead_restraint, bead_flat=job.details.bead_flat, bead_least_radius=job.details.bead_least_radius, thickness=job.sheet.thickness, rolling_direction=job.sheet.rolling_direction, margin_wanted=b.margin_wanted,
    )  # fmt: skip


def blankholder_force(stated: Auto | float, upstream: Mapping[str, Result]) -> float:
    """Force [N]: as stated, else that of the blank, else the handbook's of the press stage. Raises :class:`InputError` where there is none."""
    if not isinstance(stated, str):
        return 1000.0 * stated
    found = upstream["blank"].values.get("blankholder_force")
    if not found:
        figures = {f.key: f.value for f in upstream["press"].figures}
        found = figures.get("blankholder_force_used") or figures.get("blankholder_force")
    if not found:
        raise InputError(
            "the handbook gives no blankholder force for this part.", where="tryout.blankholder_force_kn", help="State one in kN."
        )
    return float(found)


def draw_work(upstream: Mapping[str, Result], stroke: float) -> float:
    """Expected draw work [N mm], for the speed profile of a first run only: a third of the handbook's, which is an upper one, or its force over two thirds of the stroke."""
    figures = {f.key: f.value for f in upstream["press"].figures}
    found = figures.get("draw_work")
    if found:
        return CAREFUL * 1000.0 * float(found)
    force = figures.get("draw_force") or figures.get("draw_force_inverse") or 1e4
    return CAREFUL * 0.65 * float(force) * stroke


def work_over_stroke(outcome: Outcome, stroke: float) -> tuple[tuple[float, float], ...]:
    """Internal energy [N mm] of a run over the share of its stroke."""
    share = 1.0 + outcome.curve["travel"][:, TOOLS.index("punch")] / stroke
    at = np.linspace(0.0, 1.0, 41)
    return tuple(zip(at.tolist(), np.interp(at, np.maximum.accumulate(share), outcome.curve["internal"]).tolist(), strict=True))


def wanted_of(inputs: TryoutInputs, upstream: Mapping[str, Result], force: float | None = None, friction: float | None = None) -> Wanted:
    """The run that the job asks for; with ``force`` [N] or ``friction`` for another point of the window."""
    first = blankholder_force(inputs.blankholder_force_kn, upstream) if force is None else force
    end = first if isinstance(inputs.blankholder_end_kn, str) or force is not None else 1000.0 * inputs.blankholder_end_kn
    stroke = float(upstream["faces"].values["stroke"])
    rubs = inputs.friction_die if friction is None else friction
    bead = bead_of(
        inputs.bead_kind, inputs.bead_radius, inputs.bead_height, inputs.bead_offset, inputs.bead_restraint, inputs.thickness, rubs, upstream,
        inputs.bead_flat, inputs.bead_least_radius,
    )  # fmt: skip
    return Wanted(
        first, end, draw_work(upstream, stroke), rubs, inputs.friction_punch, stations=inputs.stations, bead=bead, gravity=inputs.gravity
    )  # fmt: skip


def rolling_vector(degrees: float) -> tuple[float, float, float]:
    """Rolling direction in the blank plane."""
    a = np.deg2rad(degrees)
    return float(np.cos(a)), float(np.sin(a)), 0.0


class Shown:
    """Live frames of a run for whoever looks."""

    def __init__(self, watch: Watch, stroke: float, names: tuple[str, ...], operations: tuple[str, ...]) -> None:
        self._watch, self._stroke, self._operations = watch, stroke, operations
        self._punch, self._holder = names.index("punch"), names.index("blankholder")

    def __call__(self, model: ShellModel, frame: Frame, curve: Curve) -> None:
        """Show one frame."""
        if not self._watch.looked_at or not curve.rows:
            return
        table = curve.table()
        stroke = np.maximum(self._stroke + table["travel"][:, self._punch], 0.0)
        force = -1e-3 * table["force"][:, :, 2]
        self._watch.show(
            "sheet",
            {
                "points": frame.x, "triangles": model.patches.conn[:, :3], "thinning_pct": 100.0 * (1.0 - frame.stretch),
                "curve": np.column_stack([stroke, force[:, self._punch], force[:, self._holder]]),
            },
            {
                "operation": self._operations[frame.operation] if frame.operation < len(self._operations) else "",
                "stroke_mm": float(stroke[-1]), "stroke_end_mm": self._stroke, "punch_kN": float(force[-1, self._punch]),
                "blankholder_kN": float(force[-1, self._holder]),
            },
        )  # fmt: skip


class Part:
    """A share of the stage's progress: a run counts from ``low`` to ``high``."""

    def __init__(self, watch: Watch, name: str, low: float, high: float) -> None:
        self._watch, self._name, self._low, self._high = watch, name, low, high

    def watch(self) -> Watch:
        """A watch for the run."""
        return Watch(
            listen=lambda p: self._watch.step(f"{self._name}: {p.phase}", self._low + (self._high - self._low) * p.share, 1.0),
            cancelled=self._asked,
            look=(lambda f: self._watch.show(f.kind, f.arrays, f.values)) if self._watch.looked_at else None,
        )

    def _asked(self) -> bool:
        self._watch.check()
        return False

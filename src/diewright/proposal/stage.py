"""The stage ``proposal``: given the part and the sheet, faces, draw bead and blankholder force so that the tryout has no stop finding.

From quick to slow: surfaces that can be made at all (blankholder surface, lead-on), then the one-step solution under several blankholder forces, which bounds the restraint the part bears,
then coarse tryouts of a search over force, die radius and bead. It composes the pure functions of the stages; what a person has stated stays as it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.blank.solution import SolutionInputs
from diewright.blank.stage import SOLUTION, BlankInputs
from diewright.blank.stage import STAGE as BLANK
from diewright.die.stage import STAGE as FACES
from diewright.die.stage import FacesInputs
from diewright.errors import Cancelled, DeskError, SolveError
from diewright.geometry.mesh import FieldMesh
from diewright.job.findings import Figure, Finding
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.proposal.search import GOOD, Range, Setting, Trial, best_of, score, search
from diewright.tryout.setup import Part, TryoutInputs
from diewright.tryout.stage import STAGE as TRYOUT
from diewright.watch import Watch

WIDE = 16.0
"""The force may leave the handbook's by this factor."""
SHARES = (0.5, 1.0, 2.0, 4.0)
"""Blankholder forces of the one-step solutions, over the handbook's."""
RADII = (5.0, 10.0)
"""Die radii that are tried, in thicknesses (handbook range, from memory)."""


UNEVEN = {"flat": "uneven_flat", "cylindrical": "uneven_curved", "conical": "uneven_conical", "developable": "uneven_developable"}
"""The value of the faces that says how uneven the draw depth is over a blankholder surface."""
TORN = -100.0
"""A margin below this says that the sheet tore and no more [percent points]."""


class ProposalInputs(BaseModel):
    """What the stages it composes read of the job, and how much it may try."""

    model_config = ConfigDict(frozen=True)
    faces: FacesInputs
    solution: SolutionInputs
    blank: BlankInputs
    tryout: TryoutInputs
    tryouts: int
    beads: bool


def _inputs(job: Job) -> ProposalInputs:
    quick = {"quality": "coarse", "springback": False, "stations": 3, "reference_points": ()}
    stated = {"faces": FACES, "solution": SOLUTION, "blank": BLANK, "tryout": TRYOUT}
    read = {name: stage.inputs(job).model_dump() for name, stage in stated.items()}
    read["tryout"] |= quick
    return ProposalInputs.model_validate({**read, **job.proposal.model_dump()})


@dataclass(frozen=True)
class Row:
    """One line of what was tried: ``how`` is what was asked ("faces", "one-step", "tryout")."""

    how: Literal["faces", "one-step", "tryout"]
    blankholder: str
    trial: Trial


def work(inputs: ProposalInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Find it, and show what was tried."""
    return _Proposal(inputs, upstream, files, watch).work()


class _Proposal:
    def __init__(self, inputs: ProposalInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> None:
        self.inputs, self.upstream, self.files, self.watch = inputs, upstream, files, watch
        self.rows: list[Row] = []
        self.made: dict[tuple[str, float], Result] = {}
        self.drawn: dict[Setting, Result] = {}
        self.done = 0.0
        t, stated = inputs.faces.thickness, inputs.faces.die_radius
        self.radii = (0.0, 0.0)  # given faces keep theirs
        if not files:
            self.radii = (RADII[0] * t, RADII[1] * t) if isinstance(stated, str) else (stated, stated)

    def work(self) -> Result:
        """All three levels."""
        kind, faces = self._surfaces()
        base, most = self._bear()
        begin = float(faces.values.get("die_radius") or 0.0)
        radii = self.radii if self.radii[1] > 0 and faces.values.get("extended") else (begin, begin)
        start = Setting(min(base, most), min(max(begin, radii[0]), radii[1]))
        stated = self.inputs.tryout.blankholder_force_kn
        force = (base / WIDE, max(most, base / WIDE)) if isinstance(stated, str) else (1000.0 * stated,) * 2
        start = start if isinstance(stated, str) else Setting(1000.0 * stated, start.die_radius)
        beads = self.inputs.beads and self.inputs.tryout.bead_kind == "none" and self.inputs.tryout.bead_restraint == 0
        tried = search(lambda s: self._tryout(kind, s), start, Range(force, radii, beads), 1 if self._draws() > 1 else self.inputs.tryouts)
        best = best_of(tried)
        return self._result(kind, best, base)

    def _surfaces(self) -> tuple[str, Result]:
        """The blankholder surface whose faces have no stop and the most even draw depth."""
        stated = self.inputs.faces.blankholder
        kinds = ("given",) if self.files else ("flat", "cylindrical", "auto") if stated == "auto" else (stated,)
        found: list[tuple[float, str, Result]] = []
        why: DeskError | None = None
        least = math.inf
        for kind in kinds:
            if kind == "auto" and least <= self.inputs.faces.thickness:
                continue  # a plane or a cylinder is even enough
            setting = Setting(0.0, self.radii[0])
            self._say(f"faces with a {kind} blankholder", 0.05)
            try:
                faces = self._faces(kind, 0.0)
            except Cancelled:
                raise
            except DeskError as error:
                why = error
                self.rows.append(Row("faces", kind, Trial(setting, 1e6, refused=error.what)))
                continue
            stops = sum(f.severity == "stop" for f in faces.findings)
            shape = faces.values.get("blankholder") or {}
            if kind == "auto":  # what the rule of the faces takes beyond plane and cylinder, if it does
                kind = str(shape.get("kind"))
                if kind in kinds:
                    continue
                self.made[kind, 0.0] = faces
            uneven = float(shape.get(UNEVEN.get(kind, "")) or 0.0)
            least = min(least, uneven)
            simple = 0.0 if kind in ("flat", "given") else 0.1  # a curved blankholder is worth it only where it evens the depth
            rating = 1000.0 * stops + uneven / max(float(faces.values["stroke"]), 1e-9) + simple
            radius = float(faces.values.get("die_radius") or 0.0)
            self.rows.append(Row("faces", kind, Trial(Setting(0.0, radius), rating, stops, says=_says(faces))))
            found.append((rating, kind, faces))
        if not found:
            raise SolveError(
                f"no faces can be made: {why.what if why else ''}",
                where="proposal",
                help=(why.help if why else "") or "Give the faces as files.",
            )
        best = min(found, key=lambda x: x[0])
        return best[1], best[2]

    def _draws(self) -> int:
        """Draws that the handbook asks for."""
        return len(self.upstream["press"].values.get("draw_sequence") or [])

    def _faces(self, kind: str, radius: float) -> Result:
        """Faces with that blankholder surface and die radius [mm] (0: as stated)."""
        if (kind, radius) not in self.made:
            update: dict[str, Any] = {} if kind == "given" else {"blankholder": kind}
            if radius > 0 and kind != "given":
                update["die_radius"] = radius
            self.made[kind, radius] = FACES.work(self.inputs.faces.model_copy(update=update), self.upstream, self.files, self._hearing())
        return self.made[kind, radius]

    def _bear(self) -> tuple[float, float]:
        """Handbook force and the largest that the one-step solution bears [N]."""
        values = self.upstream["blank"].values
        figures = {f.key: f.value for f in self.upstream["press"].figures}
        base = float(values.get("blankholder_handbook") or figures.get("blankholder_force") or values.get("blankholder_force") or 0.0)
        if base <= 0:
            raise SolveError(
                "the handbook gives no blankholder force to begin with.", where="proposal", help="State tryout.blankholder_force_kn."
            )
        if not values.get("blankholder_handbook") or not isinstance(self.inputs.tryout.blankholder_force_kn, str):
            return base, WIDE * base  # no flange in the part: its one-step solution does not feel the blankholder
        most = base / WIDE
        for share in SHARES:
            force = share * base
            self._say(f"one-step solution at {force / 1e3:.3g} kN", 0.04)
            try:
                solved = SOLUTION.work(
                    self.inputs.solution.model_copy(update={"blankholder_force_kn": force / 1e3}), self.upstream, {}, self._hearing()
                )
                judged = BLANK.work(self.inputs.blank, {**self.upstream, "solution": solved}, {}, self._hearing())
            except Cancelled:
                raise
            except DeskError as error:
                self.rows.append(Row("one-step", "", Trial(Setting(force, 0.0), 1e6, refused=error.what)))
                break
            v = judged.values
            margin = float(v["margin_min_pct"])
            stops = int(margin < 0)
            rating = score(stops, margin, self.inputs.tryout.margin_wanted, wrinkles=False, attends=0)
            self.rows.append(Row("one-step", "", Trial(Setting(force, 0.0), rating, stops, margin, float(v["thinning_max_pct"]))))
            if stops:
                break
            most = force
        return base, WIDE * base if most >= SHARES[-1] * base else max(most, base / WIDE)

    def _tryout(self, kind: str, s: Setting) -> Trial:
        """One coarse tryout."""
        self._say(
            f"tryout {sum(r.how == 'tryout' for r in self.rows) + 1}: {s.force / 1e3:.3g} kN, die radius {s.die_radius:.3g} mm, bead {s.bead:.3g} mm",
            0.0,
        )
        part = 0.7 / self.inputs.tryouts
        try:
            own = self._faces(kind, 0.0)
            same = abs(float(own.values.get("die_radius") or 0.0) - s.die_radius) < 1e-6
            faces = own if same else self._faces(kind, s.die_radius)
            update: dict[str, Any] = {"blankholder_force_kn": s.force / 1e3, "blankholder_end_kn": "same"}
            if s.bead > 0:
                update |= {"bead_kind": "round", "bead_height": s.bead}
            result = TRYOUT.work(
                self.inputs.tryout.model_copy(update=update),
                {**self.upstream, "faces": faces},
                {},
                Part(self.watch, "tryout", self.done, self.done + part).watch(),
            )
        except Cancelled:
            raise
        except DeskError as error:
            trial = Trial(s, 1e5, 1, says=("tryout.stopped",), refused=error.what)
        else:
            self.drawn[s] = result
            trial = _judged(s, faces, result, self.inputs.tryout.margin_wanted)
        self.done += part
        self.rows.append(Row("tryout", kind, trial))
        return trial

    def _hearing(self) -> Watch:
        """A watch that hears a stop but shows no progress of its own."""
        return Watch(lambda progress: self.watch.check())

    def _say(self, phase: str, part: float) -> None:
        self.watch.check()
        self.watch.step(phase, self.done, 1.0)
        self.done += part

    def _offer(self, kind: str, best: Trial) -> dict[str, Any]:
        """Fields of the job that bring the best setting about, as far as the person has not stated them; none where it still stops."""
        inputs, s = self.inputs, best.setting
        if best.stops:
            return {}
        fields: dict[str, Any] = {}
        if isinstance(inputs.tryout.blankholder_force_kn, str):
            fields["tryout.blankholder_force_kn"] = float(f"{s.force / 1e3:.3g}")
        if abs(float(self._faces(kind, 0.0).values.get("die_radius") or 0.0) - s.die_radius) > 1e-6:
            fields["faces.die_radius"] = round(s.die_radius, 3)
        if kind != "given" and inputs.faces.blankholder == "auto":
            fields["faces.blankholder"] = kind
        if s.bead > 0:
            fields |= {"tryout.bead_kind": "round", "tryout.bead_height": s.bead}
        return fields

    def _result(self, kind: str, best: Trial, base: float) -> Result:
        drawn = self.drawn.get(best.setting)
        rows = self.rows
        columns: dict[str, np.ndarray] = {
            "how": np.array([r.how for r in rows]), "blankholder": np.array([r.blankholder for r in rows]),
            "force_kN": np.array([1e-3 * r.trial.setting.force for r in rows]), "die_radius_mm": np.array([r.trial.setting.die_radius for r in rows]),
            "bead_mm": np.array([r.trial.setting.bead for r in rows]), "stops": np.array([r.trial.stops for r in rows]),
            "margin_pct": np.array([r.trial.margin if r.how != "faces" and r.trial.margin > TORN else np.nan for r in rows]),
            "thinning_pct": np.array([r.trial.thinning if r.how != "faces" else np.nan for r in rows]),
            "wrinkle_mm": np.array([r.trial.wrinkle if r.how == "tryout" else np.nan for r in rows]),
            "score": np.array([r.trial.score for r in rows]), "says": np.array([r.trial.refused or ", ".join(r.trial.says) for r in rows]),
        }  # fmt: skip
        values = {
            "score": best.score, "good": best.score < GOOD, "stops": best.stops, "says": list(best.says), "force_kN": 1e-3 * best.setting.force, "base_kN": 1e-3 * base,
            "die_radius": best.setting.die_radius, "bead_mm": best.setting.bead, "blankholder": kind, "margin_min_pct": best.margin, "thinning_max_pct": best.thinning,
            "wrinkle_height_max": best.wrinkle, "draws": self._draws(), "tryouts": sum(r.how == "tryout" for r in rows), "take_over": {"fields": self._offer(kind, best), "files": {}},
        }  # fmt: skip
        meshes = {"drawn": FieldMesh(drawn.meshes["drawn"].mesh, drawn.meshes["drawn"].point, drawn.meshes["drawn"].cell)} if drawn else {}
        return Result(values=values, figures=_figures(values), findings=_findings(values, best), meshes=meshes, tables={"tried": columns})


def _judged(s: Setting, faces: Result, result: Result, wanted: float) -> Trial:
    v = result.values
    says = _says(faces) + _says(result)
    stops = sum(f.severity == "stop" for f in (*faces.findings, *result.findings))
    wrinkles = "tryout.wrinkle" in says
    margin = float(v["margin_min_pct"])
    rest = len(says) - stops - wrinkles
    return Trial(
        s, score(stops, margin, wanted, wrinkles, rest), stops, margin, float(v["thinning_max_pct"]), float(v["wrinkle_height_max"]), says
    )


def _says(result: Result) -> tuple[str, ...]:
    return tuple(f.key for f in result.findings if f.severity != "note")


def _figures(v: dict[str, Any]) -> tuple[Figure, ...]:
    source = f"{v['tryouts']} coarse tryouts of this job, after one-step solutions"
    return (
        Figure(key="force", label="Blankholder force proposed", value=v["force_kN"], unit="kN", formula="least score of the settings tried", source=source, inputs={"handbook": (v["base_kN"], "kN")}),
        Figure(key="die_radius", label="Die radius proposed", value=v["die_radius"], unit="mm", formula="least score of the settings tried", source=source),
        Figure(key="bead", label="Height of the draw bead proposed", value=v["bead_mm"], unit="mm", formula="least score of the settings tried; 0 is no bead", source=source),
        Figure(key="margin", label="Least margin with it", value=v["margin_min_pct"], unit="%", formula="distance to the forming limit with the path of each place", source=source),
    )  # fmt: skip


def _findings(v: dict[str, Any], best: Trial) -> tuple[Finding, ...]:
    if best.stops and v["draws"] > 1:
        return (
            Finding(
                key="proposal.draws", severity="attend", value=float(v["draws"]), limit=1.0, unit="draws", source="draw sequence of the press page; one coarse tryout in one draw",
                sentence=f"One draw does not make this part, as the handbook says too: it asks for {v['draws']} draws. Nothing else was tried in one draw.", help="Go by the page Draws, where each draw has its own tools.",
            ),
        )  # fmt: skip
    if best.stops:
        said = best.refused or ", ".join(best.says)
        return (
            Finding(
                key="proposal.none", severity="attend", value=float(best.stops), limit=0.0, unit="stop findings", source="coarse tryouts of this job",
                sentence=f"None of the {v['tryouts']} settings tried is without a stop; the best at {v['force_kN']:.3g} kN still says: {said}.",
                help="Draw in more steps, enlarge radii, take a sheet that draws deeper, or allow more tryouts (proposal.tryouts).",
            ),
        )  # fmt: skip
    if not v["good"]:
        return (
            Finding(
                key="proposal.short", severity="attend", value=v["margin_min_pct"], unit="%", source="coarse tryouts of this job",
                sentence=f"The best setting tried draws without a stop but leaves points open: {', '.join(best.says) or 'the wanted margin'}.", help="Look at what was tried; allow more tryouts (proposal.tryouts).",
            ),
        )  # fmt: skip
    return ()


STAGE = Stage(
    name="proposal", title="Proposal", version=1,
    packages=("proposal", "die", "part", "geometry", "tryout", "mechanics", "sheet", "blank", "job/places"),
    needs=("shape", "sheet", "solution", "blank", "press"), inputs=_inputs, work=work, files=FACES.files, slow=True,
)  # fmt: skip

"""The desk: a job folder, its stages and its results in one hand.

This is the Python API that the command line and the book use too::

    from diewright import open_job

    desk = open_job("my-job")
    desk.edit({"sheet.thickness": 1.0})
    blank = desk.work("blank")
    print(blank.values["area"])
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diewright.errors import Cancelled, DeskError, InputError
from diewright.job import file as job_file
from diewright.job import live
from diewright.job.disk import only_writer, write_whole
from diewright.job.findings import Finding
from diewright.job.graph import Graph, State
from diewright.job.schema import Job
from diewright.job.stage import Result
from diewright.job.store import Store
from diewright.watch import Frame, Progress, Watch


@dataclass(frozen=True)
class StageProgress:
    """Progress of one stage within a run: ``index`` of ``count`` stages that have to be worked."""

    stage: str
    title: str
    index: int
    count: int
    progress: Progress


@dataclass(frozen=True)
class Judged:
    """A finding with how it stands: open, or accepted with a reason that still fits its value."""

    stage: str
    finding: Finding
    accepted: str
    by: str
    current: bool

    def as_dict(self) -> dict[str, Any]:
        """Plain data for the book and for ``--json``."""
        return {
            "stage": self.stage,
            **self.finding.model_dump(mode="json"),
            "accepted": self.accepted,
            "by": self.by,
            "current": self.current,
        }


class Desk:
    """One job folder with its stages."""

    def __init__(self, folder: str | Path, graph: Graph | None = None) -> None:
        if graph is None:
            from diewright.stages import GRAPH  # loads numba and CAD code: only when needed

            graph = GRAPH
        self.folder = Path(folder)
        self.graph = graph
        self.store = Store(self.folder)
        self.job  # noqa: B018 - a folder without a valid job is refused at once

    @property
    def job(self) -> Job:
        """The job as ``job.toml`` states it now."""
        return job_file.load(self.folder)

    def edit(self, changes: dict[str, Any]) -> Job:
        """Set fields by dotted path; see :func:`diewright.job.file.edit`."""
        return job_file.edit(self.folder, changes)

    def states(self) -> dict[str, State]:
        """How every stage stands, in the order of the job."""
        return self.graph.states(self.graph.plan(self.job, self.folder), self.store)

    def result(self, stage: str) -> Result | None:
        """The current result of a stage, or the last one if that is out of date, or None."""
        state = self.state(stage)
        return self.store.get(stage, state.entry.key) if state.entry else None

    def state(self, stage: str) -> State:
        """How one stage stands; raises :class:`InputError` for an unknown name."""
        states = self.states()
        if stage not in states:
            raise InputError(f"there is no stage called '{stage}'.", help=f"Stages: {', '.join(states)}.")
        return states[stage]

    def work(
        self,
        *stages: str,
        listen: Callable[[StageProgress], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
        look: Callable[[str, Frame], None] | None = None,
        again: bool = False,
    ) -> Result:
        """Work the named stages (if none is named: all but those that take minutes) and what they need; returns the last one's result.

        Stages that are current are not worked again unless ``again``. ``look(stage, frame)`` sees the live frames of stages that show some. Raises the :class:`DeskError` of the first
        stage that refuses, :class:`Cancelled` when stopped, :class:`StoreError` when another process works the job.
        What was finished is kept in every case.
        """
        for name in stages:
            if name not in self.graph.stages:
                raise InputError(f"there is no stage called '{name}'.", help=f"Stages: {', '.join(self.graph.stages)}.")
        names = self.graph.upstream(stages or [name for name, stage in self.graph.stages.items() if not stage.slow])
        with only_writer(self.folder / "results" / "lock", "This job is being worked by another process."):
            self.store.sweep()
            plans = self.graph.plan(self.job, self.folder)
            todo = [n for n in names if again or self.store.find(n, plans[n].key) is None]
            results: dict[str, Result] = {}
            for index, name in enumerate(todo):
                watch = _watch(plans[name].stage.title, name, index, len(todo), listen, cancelled, look)
                try:
                    self._work_one(name, plans, results, watch)
                finally:
                    live.forget(self.folder, name)
            last = stages[-1] if stages else names[-1]
            return self._have(last, plans, results)

    def keep_live(self, stage: str, frame: Frame) -> None:
        """Put a live frame beside the results, where the book finds it until the stage ends."""
        live.keep(self.folder, stage, frame)

    def _have(self, name: str, plans: dict[str, Any], results: dict[str, Result]) -> Result:
        if name not in results:
            found = self.store.get(name, plans[name].key)
            if found is None:
                self._work_one(name, plans, results, Watch())
            else:
                results[name] = found
        return results[name]

    def _work_one(self, name: str, plans: dict[str, Any], results: dict[str, Result], watch: Watch) -> None:
        plan = plans[name]
        try:
            watch.step("starting", 0, 1)
            if plan.error is not None:
                raise plan.error
            upstream = {need: self._have(need, plans, results) for need in plan.stage.needs}
            result = plan.stage.work(plan.inputs, upstream, plan.files, watch)
            watch.check()
        except Cancelled:
            raise
        except DeskError as error:
            self.store.note_failure(name, plan.key, error.as_dict())
            raise
        except MemoryError:
            raise self._refuse(
                name, plan.key, "the machine's memory does not suffice.", "Choose a larger target edge or close other programs."
            ) from None
        except Exception as error:  # noqa: BLE001 - a defect of ours must reach the person as a sentence
            log = self.folder / "results" / "defect.txt"
            write_whole(log, traceback.format_exc().encode())
            raise self._refuse(
                name, plan.key, f"{plan.stage.title} failed for a reason we did not foresee ({type(error).__name__}).",
                f"The details are in '{log}'; please report them.",
            ) from None  # fmt: skip
        results[name] = result
        self.store.put(name, plan.key, plan.provenance, result)

    def _refuse(self, name: str, key: str, what: str, help: str) -> DeskError:
        error = DeskError(what, where=name, help=help)
        self.store.note_failure(name, key, error.as_dict())
        return error

    def findings(self) -> list[Judged]:
        """All findings of the last results, stops first; acceptances from the job file are matched by key and value."""
        accepted = {a.finding: a for a in self.job.accepted}
        rows = []
        for name, state in self.states().items():
            result = self.store.get(name, state.entry.key) if state.entry else None
            for finding in result.findings if result else ():
                claim = accepted.get(finding.key)
                fits = claim is not None and finding.severity == "attend" and _same(claim.value, finding.value)
                rows.append(
                    Judged(
                        name, finding, claim.reason if claim and fits else "", claim.by if claim and fits else "", state.state == "current"
                    )
                )
        order = {"stop": 0, "attend": 1, "note": 2}
        return sorted(rows, key=lambda r: order[r.finding.severity])

    def take(self, stage: str) -> Job:
        """Take over what the current result of a stage offers: the fields it proposes, and its files copied beside ``job.toml`` under names that say their revision.

        The offer is ``values["take_over"]``: ``{"fields": {path: value}, "files": {path: name in the result}}``. Raises :class:`InputError` where nothing is offered.
        """
        state, result = self.state(stage), self.result(stage)
        offer = (result.values.get("take_over") if result else None) or {}
        if result is None or state.state != "current" or not (offer.get("fields") or offer.get("files")):
            why = "offers nothing to take over" if state.state == "current" else f"{self.graph.stages[stage].verbs[0]} {state.state}"
            raise InputError(f"{self.graph.stages[stage].title} {why}.", where=stage, help=f"Work it again: diewright work FOLDER {stage}")
        changes = dict(offer.get("fields", {}))
        for path, name in offer.get("files", {}).items():
            changes[path] = self._beside(name, result.files[name])
        return self.edit(changes)

    def _beside(self, name: str, content: bytes) -> str:
        """Keep a file in the job folder under a name with the next free number, or find the one with the same content."""
        stem, ending = Path(name).stem, Path(name).suffix
        number = 1
        while (path := self.folder / f"{stem}-{number}{ending}").exists():
            if path.read_bytes() == content:
                return path.name
            number += 1
        write_whole(path, content)
        return path.name

    def accept(self, finding: str, reason: str, by: str = "") -> Job:
        """Accept an ``attend`` finding with a reason; raises :class:`InputError` for a ``stop`` or an unknown finding."""
        for row in self.findings():
            if row.finding.key != finding:
                continue
            if row.finding.severity != "attend":
                raise InputError(
                    f"'{finding}' is a {row.finding.severity} and cannot be accepted.",
                    help="Only a finding that says attend can be accepted.",
                )
            kept = [a.model_dump() for a in self.job.accepted if a.finding != finding]
            return self.edit({"accepted": [*kept, {"finding": finding, "reason": reason, "by": by, "value": row.finding.value}]})
        raise InputError(f"there is no finding called '{finding}'.", help="See: diewright findings FOLDER")


def _same(a: float | None, b: float | None) -> bool:
    if a is None or b is None:
        return a is b
    return abs(a - b) <= 0.02 * max(abs(a), abs(b), 1e-9)


def _watch(
    title: str, name: str, index: int, count: int, listen: Callable[[StageProgress], None] | None, cancelled: Callable[[], bool] | None,
    look: Callable[[str, Frame], None] | None,
) -> Watch:  # fmt: skip
    def hear(progress: Progress) -> None:
        if listen is not None:
            listen(StageProgress(name, title, index, count, progress))

    return Watch(hear, cancelled, None if look is None else lambda frame: look(name, frame))


def open_job(folder: str | Path) -> Desk:
    """Open the job in ``folder``."""
    return Desk(folder)


def worst(findings: Iterable[Judged]) -> str:
    """The severity that decides: stop, attend (not accepted), or note."""
    open_ = [f.finding.severity for f in findings if not f.accepted]
    return "stop" if "stop" in open_ else "attend" if "attend" in open_ else "note"

"""The stage graph: what is current, what is out of date and why, and in which order to work."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from diewright.errors import DeskError
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Stage, canonical, source_digest
from diewright.job.store import Entry, Store

StateName = Literal["current", "out of date", "not worked", "refused"]


@dataclass(frozen=True)
class State:
    """How a stage stands: ``because`` says in words why it is not current."""

    stage: str
    state: StateName
    because: str
    key: str
    entry: Entry | None


@dataclass(frozen=True)
class Plan:
    """Key, provenance and inputs of one stage for the job as it is now; ``error`` if its inputs cannot be read."""

    stage: Stage
    key: str
    provenance: dict[str, Any]
    inputs: Any
    files: dict[str, InputFile]
    error: DeskError | None


class Graph:
    """Stages in an order in which each comes after what it needs."""

    def __init__(self, stages: Sequence[Stage]) -> None:
        self.stages = {s.name: s for s in _in_order(stages)}

    def upstream(self, names: Iterable[str]) -> list[str]:
        """The named stages and all they need, in working order; raises KeyError for an unknown name."""
        wanted: set[str] = set()
        todo = list(names)
        while todo:
            name = todo.pop()
            if name not in wanted:
                wanted.add(name)
                todo.extend(self.stages[name].needs)
        return [name for name in self.stages if name in wanted]

    def plan(self, job: Job, folder: Path) -> dict[str, Plan]:
        """Keys of every stage for this job: stage, version, source, canonical inputs, bytes of files, upstream keys."""
        plans: dict[str, Plan] = {}
        for name, stage in self.stages.items():
            error: DeskError | None = None
            files: dict[str, InputFile] = {}
            try:
                inputs: Any = stage.inputs(job)
                files = {field: InputFile.of(folder, file, field) for field, file in stage.files(job).items()}
            except DeskError as problem:
                inputs, error = None, problem
            provenance = {
                "stage": name,
                "version": stage.version,
                "source": source_digest((*stage.packages, "geometry", "errors")),
                "inputs": inputs.model_dump(mode="json") if inputs is not None else {"error": str(error)},
                "files": {field: {"name": f.name, "sha256": f.digest} for field, f in files.items()},
                "upstream": {need: plans[need].key for need in stage.needs},
            }
            keyed = {**provenance, "files": {field: f.digest for field, f in files.items()}}
            key = hashlib.sha256(canonical(keyed).encode()).hexdigest()[:40]
            plans[name] = Plan(stage, key, provenance, inputs, files, error)
        return plans

    def states(self, plans: dict[str, Plan], store: Store) -> dict[str, State]:
        """The state of every stage, with the reason in words."""
        states: dict[str, State] = {}
        for name, plan in plans.items():
            entry = store.find(name, plan.key)
            if entry is not None:
                states[name] = State(name, "current", "", plan.key, entry)
                continue
            latest = store.latest(name)
            failure = plan.error.as_dict() if plan.error else store.failure(name, plan.key)
            if failure is not None:
                said = DeskError(failure["error"], where=failure.get("where", ""), help=failure.get("help", ""))
                states[name] = State(name, "refused", said.sentence, plan.key, latest)
            elif latest is None:
                states[name] = State(name, "not worked", "it has not been worked yet", plan.key, None)
            else:
                states[name] = State(name, "out of date", self._why(plan, latest, states), plan.key, latest)
        return states

    def _why(self, plan: Plan, latest: Entry, states: dict[str, State]) -> str:
        reasons = changes(latest.provenance.get("inputs", {}), plan.provenance["inputs"])
        for field, file in plan.provenance["files"].items():
            before = latest.provenance.get("files", {}).get(field)
            if before is None or before["sha256"] != file["sha256"]:
                reasons.append(f"the file {file['name']} changed")
        for need in plan.stage.needs:
            if states[need].state != "current":
                reasons.append(f"{self.stages[need].title} {self.stages[need].verbs[0]} {states[need].state}")
            elif latest.provenance.get("upstream", {}).get(need) != plan.provenance["upstream"][need]:
                reasons.append(f"{self.stages[need].title} {self.stages[need].verbs[1]} worked anew")
        if not reasons and latest.provenance.get("version") != plan.provenance["version"]:
            reasons.append("the method has a new version")
        if not reasons and latest.provenance.get("source") != plan.provenance["source"]:
            reasons.append("the program has changed")
        return ", ".join(reasons) or "it was worked for another state of the job"


def changes(before: dict[str, Any], now: dict[str, Any], prefix: str = "") -> list[str]:
    """Differences between two records in words: ``thickness changed from 0.8 to 1``."""
    words = []
    for name in sorted(before.keys() | now.keys()):
        old, new = before.get(name), now.get(name)
        label = f"{prefix}{name}".replace("_", " ")
        if isinstance(old, dict) and isinstance(new, dict):
            words += changes(old, new, f"{label} ")
        elif old != new and _said(old) != _said(new):  # a field that the program has gained and the job leaves empty is no change
            words.append(f"{label} changed from {_said(old)} to {_said(new)}")
    return words


def _said(value: Any) -> str:
    if value is None or value in ("", [], ()):
        return "nothing"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _in_order(stages: Sequence[Stage]) -> list[Stage]:
    done: dict[str, Stage] = {}
    left = list(stages)
    while left:
        first = next((s for s in left if all(need in done for need in s.needs)), None)  # as given, wherever that serves
        if first is None:
            raise ValueError(f"stages need each other in a circle: {[s.name for s in left]}")
        done[first.name] = first
        left.remove(first)
    return list(done.values())

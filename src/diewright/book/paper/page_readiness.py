"""The page Readiness: where the job stands, every finding, the files for the shop, and who signs."""

from __future__ import annotations

import hashlib
from typing import Any

from diewright.book.paper.blocks import Bench, Block, findings, numbers, row, sheet, small, table
from diewright.book.paper.digits import number, said
from diewright.book.paper.words import plain


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page."""
    blocks: list[Block | None] = [
        {"kind": "verdict", "text": plain(verdict(bench))},
        *_standing(bench),
        findings("All findings", bench.judged, stages=True, title_of=bench.title),
        _files(bench),
        {"kind": "signatures"},
        small("What the marks mean", [
            "Stop: do not cut steel before this is solved. Attend: decide, and say why; an accepted finding is printed with its reason. Note: good to know.",
            "An acceptance holds only while the value stays what it was when it was accepted.",
        ]),
    ]  # fmt: skip
    states = [s.state for s in bench.states.values()]
    return [sheet("Readiness", "current" if all(s == "current" for s in states) else "not all stages current", blocks)]


def _standing(bench: Bench) -> list[Block | None]:
    """The job and its stages: side by side while there are no reasons to print."""
    job = numbers("The job", _job(bench))
    if all(s.state == "current" for s in bench.states.values()):
        return [row(job, numbers("Stages", [[bench.title(n), s.state] for n, s in bench.states.items()]))]
    stages = table(
        "Stages", [("Stage", "left", 0.2), ("State", "left", 0.16), ("Because", "left", 0.64)],
        [[bench.title(n), s.state, s.because or "worked from the job as it stands"] for n, s in bench.states.items()],
    )  # fmt: skip
    return [job, stages]


def verdict(bench: Bench) -> str:
    """The job's standing in one or two sentences."""
    stops = sum(j.finding.severity == "stop" for j in bench.judged)
    still = sum(j.finding.severity == "attend" and not j.accepted for j in bench.judged)
    taken = sum(bool(j.accepted) for j in bench.judged)
    idle = [bench.title(n) for n, s in bench.states.items() if s.state != "current"]
    words = []
    if stops:
        words.append(f"{_count(stops, 'finding says', 'findings say')} stop: do not cut steel.")
    if still:
        words.append(f"{_count(still, 'finding waits', 'findings wait')} for a decision.")
    if taken:
        words.append(f"{_count(taken, 'finding is', 'findings are')} accepted with a reason.")
    if idle:
        words.append(f"{', '.join(idle)} {'is' if len(idle) == 1 else 'are'} not current, so this is not the whole picture.")
    if not words:
        words.append("Every stage is current and nothing stands against going on.")
    return " ".join(words)


def _count(n: int, one: str, many: str) -> str:
    named = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine")
    return f"{named[n] if n < len(named) else number(n)} {one if n == 1 else many}"


def _job(bench: Bench) -> list[list[str]]:
    about, metal = bench.job.job, bench.job.sheet
    return [
        ["Part", about.title], ["Number, revision", f"{about.number or 'none stated'}, revision {about.revision}"],
        ["Quantity", said(about.quantity, "parts a year")], ["Shape", bench.job.part.file or "none stated"],
        ["Sheet", f"{metal.material}, {said(metal.thickness, 'mm')} thick"],
    ]  # fmt: skip


def _files(bench: Bench) -> Block | None:
    rows = [
        [name, bench.title(stage), f"{number(len(data) / 1000.0)} kB", hashlib.sha256(data).hexdigest()[:16]]
        for stage, found in bench.results.items() for name, data in sorted(found.files.items())
    ]  # fmt: skip
    return table(
        "Files for the shop",
        [("File", "left", 0.4), ("From", "left", 0.2), ("Size", "right", 0.12), ("SHA-256 begins", "left", 0.28)],
        rows,
    )

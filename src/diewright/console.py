"""What the command line prints: calm tables, a progress bar with time left, findings with their marks."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from diewright.errors import DeskError

if TYPE_CHECKING:
    from diewright.desk import Desk, Judged, StageProgress
    from diewright.job.stage import Result
    from diewright.prove import Row

OUT = Console(highlight=False)
ERR = Console(stderr=True, highlight=False)
MARKS = {"stop": "■ stop", "attend": "▲ attend", "note": "· note"}


def say(text: str) -> None:
    """Print plain text as it is."""
    OUT.print(Text(text), soft_wrap=True)


def refuse(error: DeskError) -> None:
    """Print a refusal on standard error."""
    ERR.print(Text(error.sentence), soft_wrap=True)


def put_json(data: Any) -> None:
    """Print one JSON document."""
    OUT.file.write(json.dumps(data, indent=1, allow_nan=False) + "\n")


def work(desk: Desk, stages: tuple[str, ...], *, again: bool = False, quiet: bool = False) -> None:
    """Work stages with a progress bar on standard error (plain lines where that is no terminal)."""
    if quiet:
        desk.work(*stages, again=again)
        return
    if not ERR.is_terminal:
        desk.work(*stages, again=again, listen=_plain_lines())
        return
    columns = (
        TextColumn("{task.description}"),
        BarColumn(28),
        TextColumn("{task.fields[phase]}"),
        TimeElapsedColumn(),
        TextColumn("{task.fields[left]}"),
    )
    with Progress(*columns, console=ERR, transient=True) as progress:
        bar = progress.add_task("", total=1.0, phase="", left="")
        began: dict[str, float] = {}

        def hear(p: StageProgress) -> None:
            phase = f"{p.stage} {p.progress.phase}"
            start = began.setdefault(phase, time.monotonic())
            share, spent = p.progress.share, time.monotonic() - start
            left = f"about {spent / share - spent:.0f} s left in this step" if share > 0.1 and spent > 1 else ""
            progress.update(bar, description=f"{p.index + 1}/{p.count} {p.title}", completed=share, phase=p.progress.phase, left=left)

        desk.work(*stages, again=again, listen=hear)


def _plain_lines() -> Callable[[StageProgress], None]:
    last = [""]

    def hear(p: StageProgress) -> None:
        line = f"{p.index + 1}/{p.count} {p.title}: {p.progress.phase}"
        if line != last[0]:
            last[0] = line
            ERR.print(Text(line))

    return hear


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim")
    for column in columns:
        right = column.startswith(">")
        table.add_column(column.lstrip(">"), justify="right" if right else "left", overflow="fold")
    return table


def states(desk: Desk) -> None:
    """Print how every stage stands."""
    table = _table("stage", "state", "because")
    for name, s in desk.states().items():
        table.add_row(name, s.state, escape(s.because))
    OUT.print(table)


def findings(rows: Sequence[Judged]) -> None:
    """Print findings, stops first."""
    for r in rows:
        f = r.finding
        text = Text(MARKS[f.severity], style="bold" if f.severity == "stop" else "")
        text.append(f"  {f.sentence}", style="")
        if f.help:
            text.append(f" {f.help}", style="dim")
        if r.accepted:
            text.append(f"  Accepted: {r.accepted}" + (f" ({r.by})" if r.by else ""))
        text.append(f"  [{f.key}]", style="dim")
        OUT.print(text, soft_wrap=True)


def number(value: float | None, digits: int = 3) -> str:
    """A number with the given significant digits, without an exponent."""
    if value is None:
        return "–"
    if value == 0:
        return "0"
    from math import floor, log10

    places = max(digits - 1 - floor(log10(abs(value))), 0)
    return f"{value:.{min(places, 6)}f}"


def result(found: Result) -> None:
    """Print the figures and the plain values of a result."""
    if found.figures:
        table = _table("figure", ">value", "unit", "formula", "source")
        for f in found.figures:
            table.add_row(escape(f.label), number(f.value, f.digits), escape(f.unit), escape(f.formula), escape(f.source))
        OUT.print(table)
    table = _table("value", "")
    for name, value in found.values.items():
        text = (
            json.dumps(value, ensure_ascii=False)
            if isinstance(value, dict | list)
            else (number(value, 5) if isinstance(value, float) else str(value))
        )
        table.add_row(name, escape(text if len(text) < 300 else text[:297] + "..."))
    OUT.print(table)


def sheets(name: str, as_json: bool) -> None:
    """Print the library or one sheet."""
    from diewright.sheet import library

    loaded = [library.load(n) for n in ((name,) if name else library.names())]
    if as_json:
        put_json([s.model_dump(mode="json") for s in loaded])
        return
    if name:
        table = _table(loaded[0].name, ">value", "source")
        for key, entry in loaded[0].values:
            table.add_row(key, number(entry.value, 4), escape(entry.source))
        for fit in loaded[0].hardening:
            table.add_row(f"hardening, {fit.law}", "", escape(fit.source))
        OUT.print(table)
        return
    table = _table("sheet", "family", ">Rp0.2 MPa", ">Rm MPa", ">r0", ">r45", ">r90", ">n")
    for s in loaded:
        table.add_row(s.name, s.family, *(number(s.number_of(v)) for v in ("Rp02", "Rm", "r0", "r45", "r90", "n")))
    OUT.print(table)


def presses(as_json: bool) -> None:
    """Print the press table."""
    from diewright.press import table as press_table

    loaded = press_table.generic_presses()
    if as_json:
        put_json([p.model_dump(mode="json") for p in loaded])
        return
    table = _table("press", "kind", ">force kN", ">stroke mm")
    for p in loaded:
        table.add_row(p.name, p.kind, number(p.force_kn, 4), number(p.stroke_mm, 4))
    OUT.print(table)


def proving(case: str) -> None:
    """Say which case is being proved."""
    ERR.print(Text(f"proving {case}"))


def proofs(rows: Sequence[Row]) -> None:
    """Print published values beside ours."""
    table = _table("case", "quantity", ">published", ">±", ">tolerance", ">ours", "unit", "verdict", "source")
    for r in rows:
        table.add_row(*(escape(c) for c in r.cells()))
    OUT.print(table)
    met, missed = sum(r.verdict == "meets" for r in rows), sum(r.verdict == "misses" for r in rows)
    OUT.print(f"{met} meet, {missed} miss, {len(rows) - met - missed} reported only (value from uncertain memory).")

"""The pieces a sheet is made of, as plain records that the typesetter reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diewright.book.paper.digits import quantity
from diewright.book.paper.pictures import Picture, overlay
from diewright.book.paper.svg import Svg
from diewright.book.paper.words import plain
from diewright.desk import Desk, Judged
from diewright.errors import DeskError
from diewright.job.findings import Figure
from diewright.job.graph import State
from diewright.job.schema import Job
from diewright.job.stage import Result

Block = dict[str, Any]


@dataclass
class Bench:
    """What the pages are laid out from: the job, its results, and the folder in which the pieces are laid down."""

    desk: Desk
    job: Job
    folder: Path
    states: dict[str, State]
    results: dict[str, Result]
    judged: list[Judged]
    width: float
    height: float
    pictures: list[Picture] = field(default_factory=list)

    def result(self, stage: str) -> Result | None:
        """The last result of a stage, or None."""
        return self.results.get(stage)

    def values(self, stage: str) -> dict[str, Any]:
        """The values of a stage; empty if it has no result."""
        found = self.results.get(stage)
        return found.values if found else {}

    def title(self, stage: str) -> str:
        """What the stage is called."""
        known = self.desk.graph.stages.get(stage)
        return known.title if known else stage.capitalize()

    def verbs(self, stage: str) -> tuple[str, str]:
        """ "is" and "was", or "are" and "were", as its title wants them."""
        known = self.desk.graph.stages.get(stage)
        return known.verbs if known else ("is", "was")

    def svg(self, name: str, drawing: Svg, caption: str = "") -> Block:
        """Lay a drawing down and give the block that places it at its true size."""
        (self.folder / f"{name}.svg").write_text(drawing.text_of(), encoding="utf-8")
        return {"kind": "svg", "file": f"{name}.svg", "width": drawing.width, "height": drawing.height, "caption": plain(caption)}

    def picture(self, picture: Picture, caption: str = "") -> Block:
        """Order a 3-D picture and give the block that places it with its overlay."""
        over = overlay(picture)
        (self.folder / f"{picture.name}.svg").write_text(over.text_of(), encoding="utf-8")
        self.pictures.append(picture)
        view = picture.view()
        return {
            "kind": "picture", "name": picture.name, "file": f"{picture.name}.png", "over": f"{picture.name}.svg", "width": over.width, "height": over.height,
            "image_height": view.height, "caption": plain(caption), "title": plain(picture.title), "drawn": True,
        }  # fmt: skip


# What a result of an unexpected form raises when it is laid out.
FORM = (KeyError, IndexError, TypeError, ValueError, AttributeError, ZeroDivisionError)


def attempt(what: str, make: Callable[[], Block | None]) -> Block | None:
    """A block, or the sentence that says why it is not there; a result of an older form must not break the print."""
    try:
        return make()
    except DeskError as error:
        return missing(f"{what} could not be made: {error.sentence}")
    except FORM as error:
        return missing(f"{what} could not be made from this result ({type(error).__name__}: {error}).")


def missing(sentence: str) -> Block:
    """One line where something would stand."""
    return {"kind": "missing", "text": plain(sentence)}


def heading(text: str) -> Block:
    """A heading within a page."""
    return {"kind": "heading", "text": plain(text)}


def row(*blocks: Block | None) -> Block | None:
    """Blocks side by side in equal columns; those that are None are left out."""
    kept = [b for b in blocks if b is not None]
    return {"kind": "row", "blocks": kept} if len(kept) > 1 else kept[0] if kept else None


def stack(*blocks: Block | None) -> Block | None:
    """Blocks one under the other, as one column of a row."""
    kept = [b for b in blocks if b is not None]
    return {"kind": "stack", "blocks": kept} if kept else None


def table(title: str, columns: list[tuple[str, str, float]], rows: Iterable[Iterable[object]], note: str = "") -> Block | None:
    """A handbook table: columns as (name, "left" or "right", share of the width; 0 for as wide as needed); None without rows."""
    cells = [[plain(c) for c in r] for r in rows]
    if not cells:
        return None
    return {
        "kind": "table", "title": plain(title), "names": [plain(c[0]) for c in columns], "align": [c[1] for c in columns], "shares": [c[2] for c in columns],
        "rows": cells, "note": plain(note),
    }  # fmt: skip


def numbers(title: str, rows: list[list[str]], note: str = "") -> Block | None:
    """A table of names and values."""
    wide = max((len(r[1]) for r in rows), default=0) > 24  # then the value may break, the name must not be squeezed
    return table(title, [("", "left", 0.4), ("", "right", 0.6)] if wide else [("", "left", 1.0), ("", "right", 0)], rows, note)


def decisions(title: str, rows: list[list[str]], *, slim: bool = False) -> Block | None:
    """What the person stated: field, value and, unless ``slim``, what it means."""
    if slim:
        return numbers(title, [r[:2] for r in rows])
    return table(title, [("Stated", "left", 0.22), ("Value", "left", 0.2), ("What it is", "left", 0.58)], rows)


def in_press_units(value: float | None, unit: str, digits: int = 3, *, trim: bool = False) -> str:
    """A quantity as a press shop reads it: forces from 1000 N in kN, work from 10 000 J in kJ."""
    if value is not None and unit == "N" and abs(value) >= 1000:
        return quantity(value / 1000.0, "kN", digits, trim=trim)
    if value is not None and unit == "J" and abs(value) >= 10_000:
        return quantity(value / 1000.0, "kJ", digits, trim=trim)
    return quantity(value, unit, digits, trim=trim)


def figures(title: str, found: Iterable[Figure]) -> Block | None:
    """Every figure with its value, formula, what went into it, how sure it is, and its source.

    A long sentence on how sure we are that holds for several figures stands once, under the table.
    """
    found = list(found)
    said = Counter(f.confidence for f in found)
    notes = [c for c in said if said[c] > 1 and len(c) > 70]
    rows = []
    for f in found:
        went_in = "; ".join(f"{name} = {_input(value, unit)}" for name, (value, unit) in f.inputs.items())
        sure = f"note {notes.index(f.confidence) + 1}" if f.confidence in notes else f.confidence
        rows.append({
            "label": plain(f.label), "value": in_press_units(f.value, f.unit, f.digits), "formula": plain(f.formula), "inputs": plain(went_in),
            "source": plain(f.source), "confidence": plain(sure),
        })  # fmt: skip
    if not rows:
        return None
    return {"kind": "figures", "title": plain(title), "rows": rows, "notes": [plain(f"Note {n}: {c}") for n, c in enumerate(notes, 1)]}


def _input(value: float | str, unit: str) -> str:
    return value if isinstance(value, str) else in_press_units(value, unit, 4, trim=True)


def findings(title: str, judged: Iterable[Judged], *, stages: bool = False, title_of: Callable[[str], str] = str) -> Block:
    """Findings with their marks in words, what was accepted with its reason."""
    rows = []
    for j in judged:
        f = j.finding
        rows.append({
            "severity": f.severity, "sentence": plain(f.sentence), "value": in_press_units(f.value, f.unit, trim=True) if f.value is not None else "",
            "limit": in_press_units(f.limit, f.unit, trim=True) if f.limit is not None else "", "source": plain(f.source), "help": plain(f.help), "place": plain(_place(j)),
            "accepted": plain(j.accepted), "by": plain(j.by), "old": stages and not j.current, "stage": plain(title_of(j.stage)) if stages else "", "key": plain(f.key),
        })  # fmt: skip
    return {"kind": "findings", "title": plain(title), "rows": rows, "none": "Nothing to say here."}


def _place(judged: Judged) -> str:
    place = judged.finding.place
    if place is None or (place.label and place.label in judged.finding.sentence):
        return ""
    if place.label or not place.points:
        return place.label
    return "at " + ", ".join(quantity(round(v, 1), "", 5) for v in place.points[0]) + " mm"


def small(title: str, lines: Iterable[str]) -> Block | None:
    """Small print; None without lines."""
    kept = [plain(line) for line in lines if plain(line)]
    return {"kind": "small", "title": plain(title), "lines": kept} if kept else None


def status(bench: Bench, *stages: str) -> list[Block]:
    """The lines that say which stages of a page are not current, and why."""
    blocks: list[Block] = []
    for stage in stages:
        state = bench.states.get(stage)
        title, (be, were) = bench.title(stage), bench.verbs(stage)
        if state is None or state.state == "current":
            continue
        if state.state == "not worked":
            text = f"{title} {were} not worked: {state.because}."
        elif state.state == "refused":
            text = f"{title} {were} refused: {state.because}" + (
                " What follows is the last result, made for another state of the job." if stage in bench.results else ""
            )
        else:
            text = f"{title} {be} out of date: {state.because}. What follows is the last result, made for another state of the job."
        if state.state == "out of date" and stage not in bench.results:
            text = f"{title} {be} out of date ({state.because}) and its last result is damaged. Work it again."
        blocks.append({"kind": "status", "state": state.state, "text": plain(text)})
    return blocks


def origin(bench: Bench, *stages: str) -> list[str]:
    """Small-print lines on where the results of ``stages`` come from."""
    lines = []
    for stage in stages:
        state = bench.states.get(stage)
        if state is None or state.entry is None:
            continue
        kept = state.entry.provenance
        files = ", ".join(f"{f['name']} (SHA-256 {str(f['sha256'])[:12]})" for f in kept.get("files", {}).values() if isinstance(f, dict))
        lines.append(
            f"{bench.title(stage)}: method version {kept.get('version', 1)}, result {state.entry.key[:12]}, {state.state}"
            + (f", from {files}" if files else "")
            + "."
        )
    return lines


def state_of(bench: Bench, *stages: str) -> str:
    """The state a title block shows: the least settled of the page's stages."""
    order = ["refused", "out of date", "not worked", "current"]
    states = [bench.states[s].state for s in stages if s in bench.states]
    return min(states, key=order.index) if states else "not worked"


def sheet(title: str, state: str, blocks: Iterable[Block | None], *, scale: str = "", aside: str = "") -> dict[str, Any]:
    """A run of pages under one title block."""
    return {
        "title": title,
        "state": state,
        "scale": scale,
        "aside": plain(aside),
        "tightness": 1.0,
        "blocks": [b for b in blocks if b is not None],
    }

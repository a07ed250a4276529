"""The checks against the outside: every row of ``reference/*.csv`` beside what diewright computes.

A row names case, quantity, the published value with its uncertainty, a tolerance written before the run, the source, and how the value is
known. Each file ``reference/<package>.csv`` has its functions in ``prove/<package>.py`` as ``CASES``. Values from uncertain memory are
reported and not judged.
"""

from __future__ import annotations

import csv
import importlib
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from diewright.errors import DeskError, FileError, InputError

COLUMNS = ["case", "quantity", "published", "uncertainty", "unit", "tolerance", "tolerance_kind", "source", "known_by"]
KNOWN_BY = {"read", "memory", "memory-uncertain", "computed"}
BEGIN, END = "<!-- proof table: written by 'diewright prove --readme README.md' -->", "<!-- end of proof table -->"


@dataclass(frozen=True)
class Reference:
    """One row of the reference table."""

    package: str
    case: str
    quantity: str
    published: float
    uncertainty: str
    unit: str
    tolerance: float
    tolerance_kind: str
    source: str
    known_by: str


@dataclass(frozen=True)
class Row(Reference):
    """A reference row with our value and the verdict ``meets``, ``misses`` or ``reported``."""

    ours: float
    verdict: str

    def as_dict(self) -> dict[str, object]:
        """Plain data; a value that is not finite becomes None."""
        data = asdict(self)
        data["ours"] = self.ours if math.isfinite(self.ours) else None
        return data

    def cells(self) -> tuple[str, ...]:
        """The row as text: case, quantity, published, uncertainty, tolerance, ours, unit, verdict, source."""
        tolerance = f"{self.tolerance:g}" if self.tolerance_kind == "abs" else f"{100 * self.tolerance:g} %"
        ours = f"{self.ours:.5g}" if math.isfinite(self.ours) else "none"
        return (
            self.case,
            self.quantity,
            f"{self.published:.6g}",
            self.uncertainty or "–",
            tolerance,
            ours,
            self.unit,
            self.verdict,
            self.source,
        )


def reference_folder() -> Path:
    """Where the reference tables lie: ``reference/`` of the project."""
    folder = Path(__file__).resolve().parents[3] / "reference"
    if not folder.is_dir():
        raise FileError("the reference tables are not here.", help="Run prove from a clone of the project.")
    return folder


def references() -> list[Reference]:
    """All rows of all tables; raises :class:`FileError` for a row that is not well formed."""
    rows = []
    for path in sorted(reference_folder().glob("*.csv")):
        with path.open(newline="", encoding="utf-8") as stream:
            reader = csv.DictReader(stream)
            if reader.fieldnames != COLUMNS:
                raise FileError(f"'{path.name}' has other columns than {', '.join(COLUMNS)}.")
            for line, row in enumerate(reader, start=2):
                rows.append(_reference(path, line, row))
    return rows


def _reference(path: Path, line: int, row: dict[str, str]) -> Reference:
    where = f"reference/{path.name}:{line}"
    try:
        published, tolerance = float(row["published"]), float(row["tolerance"])
    except (TypeError, ValueError):
        raise FileError("published and tolerance must be numbers.", where=where) from None
    if row["tolerance_kind"] not in ("abs", "rel") or row["known_by"] not in KNOWN_BY or not row["source"]:
        raise FileError("tolerance_kind, known_by or source is not as it should be.", where=where)
    return Reference(
        path.stem,
        row["case"],
        row["quantity"],
        published,
        row["uncertainty"],
        row["unit"],
        tolerance,
        row["tolerance_kind"],
        row["source"],
        row["known_by"],
    )


def cases(package: str) -> dict[str, Callable[[], dict[str, float]]]:
    """The functions that compute our values for one table."""
    return dict(importlib.import_module(f"diewright.prove.{package}").CASES)


def run(wanted: Sequence[str] = (), listen: Callable[[str], None] | None = None) -> list[Row]:
    """Compute every wanted case (all, if none is named; a package name stands for all its cases) and judge its rows.

    Raises :class:`InputError` for a name that no table has.
    """
    rows = references()
    known = {r.case for r in rows} | {r.package for r in rows}
    for name in wanted:
        if name not in known:
            raise InputError(f"there is no case called '{name}'.", help="List them with: diewright prove --json")
    out: list[Row] = []
    done: dict[tuple[str, str], dict[str, float]] = {}
    for r in rows:
        if wanted and r.case not in wanted and r.package not in wanted:
            continue
        at = (r.package, r.case)
        if at not in done:
            if listen is not None:
                listen(f"{r.package}: {r.case}")
            try:
                done[at] = cases(r.package)[r.case]()
            except DeskError as error:  # the row stays in the table as a miss without a value
                done[at] = {}
                if listen is not None:
                    listen(f"{r.package}: {r.case} gave no value: {error}")
        out.append(judge(r, done[at].get(r.quantity, math.nan)))
    return out


def judge(reference: Reference, ours: float) -> Row:
    """Our value against the published one by the tolerance of the row."""
    allowed = reference.tolerance * (abs(reference.published) if reference.tolerance_kind == "rel" else 1.0)
    if reference.known_by == "memory-uncertain" and math.isfinite(ours):
        verdict = "reported"
    else:
        verdict = "meets" if abs(ours - reference.published) <= allowed * (1 + 1e-12) else "misses"
    return Row(**asdict(reference), ours=float(ours), verdict=verdict)


def markdown(rows: Sequence[Row]) -> str:
    """The table for the README: counts by package, what misses, and all rows folded."""
    head = "| case | quantity | published | ± | tolerance | ours | unit | verdict | source | known by |\n|---|---|--:|--:|--:|--:|---|---|---|---|\n"

    def lines(chosen: Iterable[Row]) -> str:
        return head + "".join("| " + " | ".join(c.replace("|", "\\|") for c in (*r.cells(), r.known_by)) + " |\n" for r in chosen)

    out = "| package | rows | meet | miss | reported only |\n|---|--:|--:|--:|--:|\n"
    for package in dict.fromkeys(r.package for r in rows):
        of = [r.verdict for r in rows if r.package == package]
        out += f"| {package} | {len(of)} | {of.count('meets')} | {of.count('misses')} | {of.count('reported')} |\n"
    missed = [r for r in rows if r.verdict == "misses"]
    out += f"\nWhat misses its tolerance today:\n\n{lines(missed)}" if missed else "\nNothing misses its tolerance today.\n"
    return out + f"\n<details><summary>All {len(rows)} rows</summary>\n\n{lines(rows)}\n</details>\n"


def write_table(readme: Path, rows: Sequence[Row]) -> None:
    """Write the table between its marks in the README; raises :class:`FileError` if the marks are not there."""
    from diewright.job.disk import write_whole

    text = readme.read_text(encoding="utf-8")
    if BEGIN not in text or END not in text:
        raise FileError("the README has no marks for the proof table.", where=str(readme))
    before, rest = text.split(BEGIN, 1)
    after = rest.split(END, 1)[1]
    write_whole(readme, f"{before}{BEGIN}\n\n{markdown(rows)}\n{END}{after}".encode())

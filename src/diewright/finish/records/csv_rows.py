"""Small CSV files that a shop writes by hand, read with a sentence for whatever is wrong in them."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path

from diewright.errors import FileError

MOST_BYTES = 5_000_000


def rows(path: Path, needed: Sequence[str], known: Sequence[str], where: str) -> list[tuple[int, dict[str, str]]]:
    """Line numbers and cells by column, names in lower case, empty lines and lines that begin with ``#`` left out; comma or semicolon between the cells.

    Raises :class:`FileError` for a file that is too large or no text, a missing, unknown or repeated column, a line with too many cells, or no line at all.
    """
    name = path.name
    try:
        if path.stat().st_size > MOST_BYTES:
            raise FileError(f"'{name}' has more than {MOST_BYTES // 1_000_000} MB.", where=where, help="Give the lines of this job only.")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise FileError(f"'{name}' cannot be read ({error.strerror}).", where=where, help="Check its name and permissions.") from None
    except UnicodeDecodeError:
        raise FileError(f"'{name}' is not a text file in UTF-8.", where=where, help="Save it as CSV.") from None
    lines = [(i, line) for i, line in enumerate(text.splitlines(), start=1) if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise FileError(f"'{name}' is empty.", where=where, help=f"Its first line names the columns: {', '.join(needed)}.")
    mark = ";" if ";" in lines[0][1] else ","
    try:
        cells = [[c.strip() for c in next(csv.reader(io.StringIO(line), delimiter=mark, strict=True))] for _, line in lines]
    except csv.Error as error:
        raise FileError(f"'{name}' is no CSV file ({error}).", where=where, help="Save it as CSV.") from None
    head = [c.lower() for c in cells[0]]
    if missing := [c for c in needed if c not in head]:
        raise FileError(
            f"'{name}' has no column {' and '.join(repr(c) for c in missing)}.",
            where=where,
            help=f"Its first line names the columns: {', '.join(needed)}.",
        )
    if wrong := [c for c in head if c not in known]:
        raise FileError(f"'{name}' has a column {wrong[0]!r} that is not known.", where=where, help=f"Known columns: {', '.join(known)}.")
    if len(set(head)) < len(head):
        raise FileError(f"'{name}' names a column twice.", where=where, help="Name each column once.")
    if len(cells) == 1:
        raise FileError(f"'{name}' has no line below its columns.", where=where, help="Write a line for each reading.")
    out = []
    for (number, _), row in zip(lines[1:], cells[1:], strict=True):
        if len(row) != len(head):
            raise FileError(
                f"line {number} of '{name}' has {len(row)} cells for {len(head)} columns.",
                where=where,
                help="Write decimal points, and commas only between cells.",
            )
        out.append((number, dict(zip(head, row, strict=True))))
    return out


def number(text: str, what: str, line: int, name: str, where: str, *, above_zero: bool = False, most: float = 1e9) -> float:
    """A cell as a number of 0 or more (more than 0 with ``above_zero``); an empty cell is 0 where 0 may be. Raises :class:`FileError`."""
    try:
        value = float(text) if text or above_zero else 0.0
    except ValueError:
        raise FileError(f"line {line} of '{name}': {what} is {text!r}.", where=where, help="Write a plain number.") from None
    if not math.isfinite(value) or value < 0 or (above_zero and value == 0) or value > most:
        expected = "more than 0" if above_zero else "0 or more"
        raise FileError(
            f"line {line} of '{name}': {what} is {text!r}, expected {expected} and at most {most:g}.", where=where, help="Correct the line."
        )
    return value

"""The job file: reading, editing with its comments kept, and the history that makes every edit undoable."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Item

from diewright.errors import FileError, InputError
from diewright.job.disk import only_writer, write_whole
from diewright.job.schema import FORMAT, Job, parse

NAME = "job.toml"
LARGEST = 1_000_000
KEPT_EDITS = 500


def read_text(folder: Path) -> str:
    """The text of ``job.toml``; raises :class:`FileError` in one sentence."""
    path = folder / NAME
    if not folder.is_dir():
        raise FileError(f"there is no folder '{folder}'.", help="Make a job with: diewright new FOLDER")
    try:
        if path.stat().st_size > LARGEST:
            raise FileError(f"'{path}' is larger than a job file can be (1 MB).", help="Check that it is the right file.")
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise FileError(f"the folder '{folder}' holds no job.toml.", help="Make one with: diewright new FOLDER") from None
    except UnicodeDecodeError:
        raise FileError(f"'{path}' is not text in UTF-8.", help="Save it as UTF-8.") from None
    except OSError as error:
        raise FileError(f"'{path}' cannot be read ({error.strerror}).", help="Check its permissions.") from None


def job_of(text: str) -> Job:
    """Parse and validate the text of a job file."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FileError(f"job.toml is not valid TOML: {error}.", help="Mend that line or undo the last edit.") from None
    return parse(data)


def load(folder: Path) -> Job:
    """Read and validate the job in ``folder``."""
    return job_of(read_text(folder))


def text_of(data: dict[str, Any]) -> str:
    """A fresh job file from plain tables, in the order given."""
    return tomlkit.dumps({"format": FORMAT, **data})


def edit(folder: Path, changes: dict[str, Any]) -> Job:
    """Set fields by dotted path (``"sheet.thickness": 1.0``; None takes the field out) and keep the rest as it stands.

    The job is validated before anything is written; an edit that would not validate changes nothing.
    """
    with _editing(folder):
        text = read_text(folder)
        try:
            document = tomlkit.parse(text)
        except TOMLKitError as error:
            raise FileError(f"job.toml is not valid TOML: {error}.", help="Mend that line or undo the last edit.") from None
        for path, value in changes.items():
            _set(document, path, value)
        new = tomlkit.dumps(document)
        job = job_of(new)
        if new != text:
            _remember(folder, text, new)
            write_whole(folder / NAME, new.encode())
        return job


def undo(folder: Path) -> Job:
    """Take the last edit back; raises :class:`InputError` if there is none."""
    return _step(folder, -1, "There is no earlier state of the job to go back to.")


def redo(folder: Path) -> Job:
    """Make an undone edit again; raises :class:`InputError` if there is none."""
    return _step(folder, +1, "There is no undone edit to make again.")


def steps(folder: Path) -> tuple[int, int]:
    """How many edits can be undone and redone."""
    at, count = _position(folder), _count(folder)
    return max(at, 0), max(count - 1 - at, 0)


def _editing(folder: Path):  # type: ignore[no-untyped-def]
    return only_writer(folder / "history" / "lock", "The job file is being edited elsewhere at this moment.")


def _history(folder: Path, index: int) -> Path:
    return folder / "history" / f"{index:06d}.toml"


def _position(folder: Path) -> int:
    try:
        return int((folder / "history" / "at").read_text())
    except (OSError, ValueError):
        return -1


def _count(folder: Path) -> int:
    numbers = [int(p.stem) for p in (folder / "history").glob("[0-9]*.toml")]
    return max(numbers) + 1 if numbers else 0


def _state(folder: Path, index: int) -> str | None:
    try:
        return _history(folder, index).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None


def _remember(folder: Path, before: str, after: str) -> None:
    at = _position(folder)
    if _state(folder, at) != before:  # edited by hand since: that state is kept too
        at += 1
        write_whole(_history(folder, at), before.encode())
    at += 1
    for index in range(at, _count(folder)):
        _history(folder, index).unlink(missing_ok=True)
    write_whole(_history(folder, at), after.encode())
    write_whole(folder / "history" / "at", str(at).encode())
    _history(folder, at - KEPT_EDITS).unlink(missing_ok=True)


def _step(folder: Path, way: int, none: str) -> Job:
    with _editing(folder):
        at = _position(folder)
        current = read_text(folder)
        if way < 0 and _state(folder, at) != current and at >= 0:  # edited by hand: undo goes to the last kept state
            at += 1
            write_whole(_history(folder, at), current.encode())
        text = _state(folder, at + way)
        if text is None:
            raise InputError(none)
        job = job_of(text)
        write_whole(folder / NAME, text.encode())
        write_whole(folder / "history" / "at", str(at + way).encode())
        return job


def _set(document: Any, path: str, value: Any) -> None:
    *tables, name = path.split(".")
    at = document
    for table in tables:
        if table not in at:
            at[table] = tomlkit.table()
        at = at[table]
        if not isinstance(at, dict):
            raise InputError(f"'{table}' is not a table of fields.", where=path)
    if value is None:
        at.pop(name, None)
    elif name == "accepted" and isinstance(value, list):
        rows = tomlkit.aot()
        for row in value:
            rows.append(tomlkit.item(_stated(row)))
        at.pop(name, None)
        if value:
            at[name] = rows
    else:
        old = at.get(name)
        new = tomlkit.item(_stated(value))
        if isinstance(old, Item):
            new.trivia.indent, new.trivia.comment_ws, new.trivia.comment = old.trivia.indent, old.trivia.comment_ws, old.trivia.comment
        at[name] = new


def _stated(value: Any) -> Any:
    """The value without the fields of records that state nothing: TOML knows no null."""
    if isinstance(value, dict):
        return {k: _stated(v) for k, v in value.items() if v is not None}
    if isinstance(value, list):
        return [_stated(v) for v in value if v is not None]
    return value

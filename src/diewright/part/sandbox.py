"""Run a module in a child process with limits, and get its answer as files.

Nothing the child prints is read; it answers with files in a private folder that is removed afterwards.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from diewright import errors
from diewright.errors import DeskError, FileError, StoreError
from diewright.watch import Watch

POLL = 0.02


@dataclass(frozen=True)
class Limits:
    """What a child may use: wall and CPU seconds, megabytes of memory (address space), megabytes of the file."""

    seconds: float = 180.0
    megabytes: float = 6000.0
    file_megabytes: float = 300.0


@contextmanager
def private_folder() -> Iterator[Path]:
    """A new folder that only this user can open, removed at the end."""
    try:
        folder = Path(tempfile.mkdtemp(prefix="diewright-"))
    except OSError as error:
        raise StoreError(f"no temporary folder can be made ({error.strerror}).", help="Free some disk space or set TMPDIR.") from None
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def run_child(
    module: str,
    request: dict[str, Any],
    folder: Path,
    name: str,
    limits: Limits,
    watch: Watch,
    started: Callable[[int], None] | None = None,
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Run ``python -m module`` on a request; values and arrays of its answer.

    ``name`` is the foreign file, for messages; ``started`` hears the child's process number. Raises the child's own :class:`DeskError`, or
    :class:`FileError` when it ran out of time or memory or was killed. Cancelling ends the child at once.
    """
    path = folder / "request.json"
    path.write_text(json.dumps({**request, "seconds": limits.seconds, "megabytes": limits.megabytes}))
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    child = subprocess.Popen(
        [sys.executable, "-m", module, str(path)], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        cwd=folder, env=environment, start_new_session=True,
    )  # fmt: skip
    if started is not None:
        started(child.pid)
    end = time.monotonic() + limits.seconds
    try:
        while child.poll() is None:
            watch.check()
            _pass_on(folder, watch)
            if time.monotonic() > end:
                raise _too_slow(name, limits)
            time.sleep(POLL)
    finally:
        if child.poll() is None:
            child.kill()
        child.wait()
    return _answer(folder, name, child.returncode, limits)


def _pass_on(folder: Path, watch: Watch) -> None:
    try:
        said = json.loads((folder / "progress.json").read_text())
    except (OSError, ValueError):
        return
    watch.step(str(said["phase"]), float(said["done"]), 1.0)


def _too_slow(name: str, limits: Limits) -> FileError:
    return FileError(
        f"reading '{name}' took longer than {limits.seconds:g} s and was stopped.",
        where="part.file",
        help="Simplify the part in CAD and export it alone.",
    )


def _too_big(name: str, limits: Limits) -> FileError:
    return FileError(
        f"reading '{name}' needs more memory than the {limits.megabytes:.0f} MB allowed.", where="part.file",
        help="Simplify the part in CAD and export it alone.",
    )  # fmt: skip


def _answer(folder: Path, name: str, code: int | None, limits: Limits) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    told = folder / "error.json"
    if told.exists():
        error = json.loads(told.read_text())
        kind = error["kind"]
        if kind == "memory":
            raise _too_big(name, limits)
        if kind == "defect":
            raise FileError(
                f"the CAD reader gave up on '{name}' ({error['type']} in {error['place']}).", where="part.file",
                help="Export it again, as STEP; if that does not help, report the file.",
            )  # fmt: skip
        known = getattr(errors, kind, FileError)
        made = known if isinstance(known, type) and issubclass(known, DeskError) else FileError
        raise made(error["error"], where=error["where"], help=error["help"])
    result = folder / "result.json"
    if result.exists():
        with np.load(folder / "arrays.npz", allow_pickle=False) as pack:
            return json.loads(result.read_text()), {key: pack[key] for key in pack.files}
    if code is not None and code < 0:
        number = -code
        if number == getattr(signal, "SIGXCPU", 24):
            raise _too_slow(name, limits)
        text = signal.Signals(number).name if number in set(signal.Signals) else str(number)
        raise FileError(
            f"the process that read '{name}' was ended from outside or crashed ({text}).", where="part.file",
            help="Run it again; if it comes back, export the part again, as STEP.",
        )  # fmt: skip
    raise FileError(f"the process that read '{name}' ended without an answer (code {code}).", where="part.file", help="Run it again.")

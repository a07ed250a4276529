"""The child process that reads foreign files: ``python -m diewright.part.child REQUEST.json``.

It sets its own limits before anything else is loaded, writes ``result.json`` and ``arrays.npz``, or ``error.json``, into the folder of the
request, and prints nothing. It ends when its parent ends.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from pathlib import Path
from typing import Any


def _limit(seconds: float, megabytes: float) -> None:
    try:
        import resource
    except ImportError:  # not on Windows; the parent's wall-time limit still holds
        return
    for kind, value in (
        (resource.RLIMIT_CPU, int(seconds) + 2),
        (resource.RLIMIT_AS, int(megabytes * 1e6)),
        (resource.RLIMIT_FSIZE, 1_000_000_000),
        (resource.RLIMIT_CORE, 0),
    ):
        _, most = resource.getrlimit(kind)
        resource.setrlimit(kind, (value if most == resource.RLIM_INFINITY else min(value, most), most))


def _end_with_parent() -> None:
    """Ask the kernel to end this process when the parent dies (Linux only)."""
    if sys.platform != "linux":
        return
    import ctypes
    import signal

    ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # 1: PR_SET_PDEATHSIG
    if os.getppid() == 1:
        os._exit(1)


def _write(folder: Path, name: str, data: dict[str, Any]) -> None:
    path = folder / (name + ".part")
    path.write_text(json.dumps(data, allow_nan=False))
    path.replace(folder / name)


def main(request_path: str) -> int:
    """Do what the request says; the exit code is 0 when a result or an error was written."""
    request = json.loads(Path(request_path).read_text())
    folder = Path(request_path).parent
    _end_with_parent()
    _limit(request["seconds"], request["megabytes"])
    try:
        from diewright.errors import DeskError

        try:
            import numpy as np

            if request.get("task") == "tool":
                from diewright.part.tool_faces import read_tool as work
            else:
                from diewright.part.reading import read_part as work

            def progress(phase: str, done: float) -> None:
                _write(folder, "progress.json", {"phase": phase, "done": done})

            values, arrays = work(request, progress)
            pack: dict[str, Any] = dict(arrays)
            np.savez(folder / "arrays.npz", **pack)
            _write(folder, "result.json", values)
        except DeskError as error:
            _write(folder, "error.json", {"kind": type(error).__name__, **error.as_dict()})
    except MemoryError:
        _write(folder, "error.json", {"kind": "memory"})
    except Exception as error:  # noqa: BLE001 - the border of the process: whatever it is, the parent gets one sentence
        text = f"{type(error).__name__}: {error}"
        memory = any(sign in text for sign in ("bad_alloc", "failed to map", "allocate memory", "OutOfMemory", "Unable to allocate"))
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(last.filename).name} line {last.lineno}"
        _write(folder, "error.json", {"kind": "memory" if memory else "defect", "type": type(error).__name__, "place": place})
    return 0


if __name__ == "__main__":
    code = main(sys.argv[1])
    # the CAD kernel's own teardown can be slow or fault: everything is written, so leave at once
    os._exit(code)

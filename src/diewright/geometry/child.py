"""Meshers run in a child process, since they can hang or fault and must not run beside other threads: asking one, and its limits.

The parent writes ``request.npz`` into a folder, the child ``python -m MODULE FOLDER`` answers with ``result.npz`` or ``error.json``.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from diewright.errors import SolveError

_POLL = 0.02


def ask(
    module: str, request: Mapping[str, Any], seconds: float, tick: Callable[[], None], late: Callable[[], SolveError],
    refused: Callable[[str], SolveError], lost: Callable[[int], SolveError],
) -> dict[str, np.ndarray]:  # fmt: skip
    """The arrays that the child ``module`` answers to the arrays of ``request``; ``tick`` is called while it works and may stop it.

    Raises ``late()`` after ``seconds``, ``refused(what it said)``, and ``lost(exit code)`` where it ended without an answer.
    """
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "DIEWRIGHT_MESH_SECONDS": f"{seconds:g}"}
    with tempfile.TemporaryDirectory(prefix="diewright-") as name:
        folder = Path(name)
        np.savez(folder / "request.npz", **request)
        child = subprocess.Popen(
            [sys.executable, "-m", module, str(folder)], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, cwd=folder, env=environment, start_new_session=True,
        )  # fmt: skip
        end = time.monotonic() + seconds
        try:
            while child.poll() is None:
                tick()
                if time.monotonic() > end:
                    raise late()
                time.sleep(_POLL)
        finally:
            if child.poll() is None:
                child.kill()
            child.wait()
        told = folder / "error.json"
        if told.exists():
            raise refused(json.loads(told.read_text())["error"])
        if not (folder / "result.npz").exists():
            raise lost(child.returncode)
        with np.load(folder / "result.npz", allow_pickle=False) as pack:
            return {key: pack[key] for key in pack.files}


def limit(seconds: float) -> None:
    """Bound this process: CPU time, memory, no core file."""
    try:
        import resource
    except ImportError:  # not on Windows; the parent's wall-time limit still holds
        return
    for kind, value in ((resource.RLIMIT_CPU, int(seconds) + 2), (resource.RLIMIT_AS, 6_000_000_000), (resource.RLIMIT_CORE, 0)):
        _, most = resource.getrlimit(kind)
        resource.setrlimit(kind, (value if most == resource.RLIM_INFINITY else min(value, most), most))


def end_with_parent() -> None:
    """End this process when the one that began it ends."""
    if sys.platform != "linux":
        return
    import ctypes
    import signal

    ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # 1: PR_SET_PDEATHSIG
    if os.getppid() == 1:
        os._exit(1)

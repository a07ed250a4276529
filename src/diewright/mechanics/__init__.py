"""Numerics of the sheet: the one-step inverse solution and the shell of the tryout. Takes and gives arrays; knows no job."""

from __future__ import annotations

import contextlib
from pathlib import Path


def _drop_stale_kernels(here: Path) -> None:
    """Remove compiled kernels below ``here`` that are older than its newest source: Numba's cache does not notice a change in another file."""
    newest = max(p.stat().st_mtime for p in here.rglob("*.py"))
    for compiled in (*here.rglob("__pycache__/*.nbi"), *here.rglob("__pycache__/*.nbc")):
        with contextlib.suppress(OSError):
            if compiled.stat().st_mtime < newest:
                compiled.unlink()


_drop_stale_kernels(Path(__file__).parent)

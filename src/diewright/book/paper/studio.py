"""The child process that draws: started, watched, bounded in time, stopped when the person stops; it may die without harm."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from diewright.book.paper.pictures import Picture, request
from diewright.watch import Watch

SECONDS = 60.0
PROGRAM = Path(__file__).with_name("render.py")


class Studio:
    """Draws pictures into a folder beside other work: ``start`` it, do something else, ``wait`` for it."""

    def __init__(self, folder: Path, *, seconds: float = SECONDS, program: tuple[str, ...] = (sys.executable, "-P", str(PROGRAM))) -> None:
        self.folder, self.seconds, self.program = folder, seconds, program
        self._child: subprocess.Popen[bytes] | None = None
        self._names: list[str] = []
        self._began = 0.0

    def start(self, pictures: list[Picture]) -> None:
        """Write the request and start the process; does nothing without pictures."""
        self._names = [p.name for p in pictures]
        if not pictures:
            return
        told, arrays = request(pictures)
        (self.folder / "request.json").write_text(json.dumps(told))
        np.savez(self.folder / "arrays.npz", **arrays)  # type: ignore[arg-type]
        self._began = time.monotonic()
        environment = {**os.environ, "PYVISTA_OFF_SCREEN": "true", "PYTHONDONTWRITEBYTECODE": "1"}
        try:
            with (self.folder / "studio.txt").open("wb") as log:
                self._child = subprocess.Popen(
                    [*self.program, str(self.folder)], stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=environment
                )
        except OSError:
            self._child = None

    def wait(self, watch: Watch) -> str:
        """Wait until all is drawn or cannot be; returns the reason in one sentence, empty when all is there.

        Raises :class:`Cancelled` through ``watch``; the process is ended then.
        """
        if not self._names:
            return ""
        if self._child is None:
            return "the drawing process could not be started."
        try:
            while (code := self._child.poll()) is None:
                watch.step("drawing pictures", sum(self.drawn(n) for n in self._names), len(self._names))
                if time.monotonic() - self._began > self.seconds:
                    return f"drawing took more than {self.seconds:g} s and was stopped."
                time.sleep(0.05)
        finally:
            self.stop()
        if all(self.drawn(n) for n in self._names):
            return ""
        return self._why(code)

    def drawn(self, name: str) -> bool:
        """Whether the picture ``name`` is there."""
        return (self.folder / f"{name}.png").is_file()

    def stop(self) -> None:
        """End the process if it still runs."""
        if self._child is not None and self._child.poll() is None:
            self._child.kill()
            self._child.wait()

    def _why(self, code: int) -> str:
        if code < 0:
            return (
                f"this machine has no working off-screen OpenGL (the drawing process ended with signal {-code}). "
                "Install libegl1 and libgl1-mesa-dri and print again."
            )
        lines = (self.folder / "studio.txt").read_text(errors="replace").strip().splitlines()
        return f"the drawing process gave up ({lines[-1][:160] if lines else f'exit code {code}'})."

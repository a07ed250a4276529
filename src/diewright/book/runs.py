"""Working stages for the book in a process of their own, which can be stopped, killed and replaced without harm."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from diewright.errors import StoreError
from diewright.job.disk import write_whole

GRACE = 3.0
SETTLED = 2.0  # seconds of a phase before its pace is believed
COMMAND = (sys.executable, "-m", "diewright.worker")


class Runs:
    """One working process for one job, started ahead so that it is warm when asked.

    ``tell(event, data)`` hears ``progress``, ``changed`` (a stage finished or the run ended) and ``failed``.
    A request made while another runs stops that one and takes its place.
    """

    def __init__(self, folder: Path, tell: Callable[[str, dict[str, Any]], None]) -> None:
        self.folder = folder
        self._tell = tell
        self._lock = threading.RLock()
        self._process: subprocess.Popen[str] | None = None
        self._waiting: list[str] | None = None
        self._number = 0
        self._stage = ""
        self._began = 0.0
        self._phase_began = 0.0
        self._stopped_at: float | None = None
        self.working: dict[str, Any] | None = None

    def warm(self) -> None:
        """Start the working process if there is none."""
        with self._lock:
            if self._process is not None and self._process.poll() is None:
                return
            log = self._log()
            try:
                self._process = subprocess.Popen(
                    [*COMMAND, str(self.folder)],
                    stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, text=True, encoding="utf-8",
                )  # fmt: skip
            finally:
                if log is not subprocess.DEVNULL:
                    log.close()  # type: ignore[union-attr]
            threading.Thread(target=self._hear, args=(self._process,), daemon=True).start()

    def _log(self) -> Any:
        try:
            (self.folder / "results").mkdir(exist_ok=True)
            return (self.folder / "results" / "worker.log").open("w")
        except OSError:
            return subprocess.DEVNULL

    def work(self, stages: list[str]) -> None:
        """Work the stages named (if empty all but the slow ones); a run under way is stopped first."""
        with self._lock:
            if self.working is not None:
                self._waiting = stages
                self.stop(keep_waiting=True)
                return
            self.warm()
            assert self._process is not None
            self.working = {
                "stage": "",
                "title": "",
                "index": 0,
                "count": 0,
                "phase": "starting",
                "share": 0.0,
                "seconds_left": None,
                "frame": 0,
            }
            self._stage, self._stopped_at = "", None
            try:
                self._number += 1
                self._send({"work": stages, "id": self._number})
            except OSError:
                self._ended(self._process)
        self._tell("progress", dict(self.working or {}))

    def stop(self, keep_waiting: bool = False) -> None:
        """Ask the run to stop; after a few seconds it is ended outright (the store holds what was finished)."""
        with self._lock:
            if not keep_waiting:
                self._waiting = None
            if self.working is None or self._process is None or self._stopped_at is not None:
                return
            self._stopped_at = time.monotonic()
            process = self._process
            with contextlib.suppress(OSError):  # it has just ended by itself
                self._send({"stop": self._number})
        threading.Timer(GRACE, self._end_outright, (process,)).start()

    def _send(self, request: dict[str, Any]) -> None:
        assert self._process is not None
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()

    def _end_outright(self, process: subprocess.Popen[str]) -> None:
        with self._lock:
            if self._process is process and self._stopped_at is not None and self.working is not None:
                process.kill()

    def close(self) -> None:
        """End the working process."""
        with self._lock:
            self._waiting = None
            if self._process is not None:
                self._process.kill()
                self._process.wait()

    def _hear(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            try:
                event = json.loads(line)
            except ValueError:
                continue
            kind = event.pop("event", "")
            if kind == "progress":
                self._progress(event)
            elif kind == "live":
                self._live(event)
            elif kind in ("done", "error"):
                self._finish(event if kind == "error" else None)
        process.wait()
        self._ended(process)

    def _progress(self, event: dict[str, Any]) -> None:
        changed = event["stage"] != self._stage
        with self._lock:
            if self.working is None:
                return
            if changed:
                self._clock(event["stage"])
            if changed or event["phase"] != self.working.get("phase"):
                self._phase_began = time.monotonic()
            self.working = {**event, "seconds_left": self._left(event), "frame": 0 if changed else self.working.get("frame", 0)}
            said = dict(self.working)
        self._tell("progress", said)
        if changed:
            self._tell("changed", {})

    def _left(self, event: dict[str, Any]) -> float | None:
        """Seconds left for the stage: what it usually takes, or, where that is not known or was not enough, what its present phase tells."""
        now = time.monotonic()
        usual = self._times().get(event["stage"])
        if usual and usual > now - self._began:
            return usual - (now - self._began)
        spent, share = now - self._phase_began, float(event["share"])
        return spent * (1.0 - share) / share if spent > SETTLED and share > 0.01 else None

    def _live(self, event: dict[str, Any]) -> None:
        """A newer live frame of the stage lies beside the results."""
        with self._lock:
            if self.working is None or event.get("stage") != self._stage:
                return
            self.working = {**self.working, "frame": event["number"]}
            said = dict(self.working)
        self._tell("progress", said)

    def _clock(self, stage: str) -> None:
        """Note how long the finished stage took, as the measure for time left next time."""
        now = time.monotonic()
        if self._stage:
            times = {**self._times(), self._stage: round(now - self._began, 2)}
            with contextlib.suppress(StoreError):  # only the estimate of time left is lost
                write_whole(self.folder / "results" / "times.json", json.dumps(times).encode())
        self._stage, self._began = stage, now

    def _times(self) -> dict[str, float]:
        try:
            kept = json.loads((self.folder / "results" / "times.json").read_bytes())
        except (OSError, ValueError):
            return {}
        return {k: float(v) for k, v in kept.items() if isinstance(v, int | float)} if isinstance(kept, dict) else {}

    def _finish(self, error: dict[str, Any] | None) -> None:
        with self._lock:
            if error is None:
                self._clock("")
            self.working, self._stage = None, ""
            waiting, self._waiting = self._waiting, None
            replaced = waiting is not None and error is not None and error.get("cancelled")
        if error is not None and not replaced:
            self._tell("failed", {k: str(error.get(k, "")) for k in ("error", "where", "help")})
        self._tell("changed", {})
        if waiting is not None:
            self.work(waiting)

    def _ended(self, process: subprocess.Popen[str]) -> None:
        with self._lock:
            if self._process is not process:
                return
            self._process = None
            was_working, asked = self.working is not None, self._stopped_at is not None
        if was_working and asked:
            self._finish({"error": "Stopped as asked; the finished stages are kept.", "cancelled": True})
        elif was_working:
            code = process.returncode
            how = f"signal {-code}" if code is not None and code < 0 else f"code {code}"
            self._finish(
                {
                    "error": f"The working process was ended by the system ({how}); the finished stages are kept.",
                    "help": "This often means that memory ran out: choose a larger target edge, or work again.",
                }
            )

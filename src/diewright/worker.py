"""The process that works stages for the book, apart from the server.

It reads one request a line on standard input, ``{"work": [stage, ...], "again": false}``, and answers with events, one JSON object a
line: ``{"event": "progress", ...}``, ``{"event": "stage", "stage": name}``, and at the end ``{"event": "done"}`` or
``{"event": "error", "error": ..., "where": ..., "help": ...}``. SIGTERM asks it to stop after the present step; if it is killed outright the
store holds what was finished, and the server starts another.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from typing import Any, TextIO

from diewright.errors import DeskError


class _Bell:
    """Set by SIGTERM, read by the watch."""

    rung = False

    def ring(self, *_: object) -> None:
        self.rung = True


def serve(folder: str, requests: TextIO, answers: TextIO) -> None:
    """Answer requests until the input ends."""
    bell = _Bell()
    signal.signal(signal.SIGTERM, bell.ring)
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def say(**event: Any) -> None:
        answers.write(json.dumps(event) + "\n")
        answers.flush()

    from diewright.desk import Desk, StageProgress

    say(event="ready", pid=os.getpid())
    for line in requests:
        bell.rung = False
        last = [0.0, ""]

        def hear(p: StageProgress, last: list[Any] = last) -> None:
            now, phase = time.monotonic(), f"{p.stage} {p.progress.phase}"
            if now - last[0] > 0.08 or phase != last[1]:
                last[:] = [now, phase]
                say(
                    event="progress",
                    stage=p.stage,
                    title=p.title,
                    index=p.index,
                    count=p.count,
                    phase=p.progress.phase,
                    share=p.progress.share,
                )

        try:
            request = json.loads(line)
            Desk(folder).work(*request["work"], listen=hear, cancelled=lambda: bell.rung, again=bool(request.get("again")))
            say(event="done")
        except DeskError as error:
            say(event="error", **error.as_dict(), cancelled=bell.rung)


def main() -> None:
    """Entry point: ``python -m diewright.worker FOLDER``."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever a library prints must not mix with the answers
    serve(sys.argv[1], sys.stdin, answers)


if __name__ == "__main__":
    main()

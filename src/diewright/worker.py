"""The process that works stages for the book, apart from the server.

It reads requests, one JSON object a line, on standard input: ``{"work": [stage, ...], "id": 3}`` and ``{"stop": 3}``. It answers with events, one object a line:
``{"event": "progress", ...}`` as it goes, ``{"event": "live", "stage": ..., "number": ...}`` when a newer live frame lies beside the results, and at the end ``{"event": "done"}`` or ``{"event": "error", "error": ..., "where": ..., "help": ...}``. If it is killed
outright the store holds what was finished, and the server starts another.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
import time
from functools import partial
from typing import Any, TextIO

from diewright.errors import DeskError, StoreError

LIVE_EVERY = 0.4  # seconds between live frames: what a person can follow, and little for the disk


class Requests:
    """Lines from the server, read in a thread so that a stop is heard while a stage works."""

    def __init__(self, lines: TextIO) -> None:
        self._work: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._stopped = -1
        threading.Thread(target=self._read, args=(lines,), daemon=True).start()

    def _read(self, lines: TextIO) -> None:
        for line in lines:
            request = json.loads(line)
            if "stop" in request:
                self._stopped = max(self._stopped, int(request["stop"]))
            else:
                self._work.put(request)
        self._work.put(None)

    def next(self) -> dict[str, Any] | None:
        """The next request for work; None when the server has gone."""
        return self._work.get()

    def stopped(self, run: int) -> bool:
        """Whether the run with this number has been asked to stop."""
        return self._stopped >= run


def serve(folder: str, lines: TextIO, answers: TextIO) -> None:
    """Answer requests until the input ends."""

    def say(**event: Any) -> None:
        answers.write(json.dumps(event) + "\n")
        answers.flush()

    requests = Requests(lines)
    from diewright.desk import Desk, StageProgress

    while (request := requests.next()) is not None:
        run = int(request["id"])
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

        shown = [0.0, 0]

        def look(desk: Desk, stage: str, frame: Any, shown: list[Any] = shown) -> None:
            now = time.monotonic()
            if now - shown[0] < LIVE_EVERY:
                return
            try:
                desk.keep_live(stage, frame)
            except StoreError:  # a full disk must not end the work for want of a picture
                return
            shown[:] = [now, shown[1] + 1]
            say(event="live", stage=stage, number=shown[1])

        def stopped(run: int = run) -> bool:
            return requests.stopped(run)

        try:
            desk = Desk(folder)
            desk.work(*request["work"], listen=hear, cancelled=stopped, look=partial(look, desk))
            say(event="done")
        except DeskError as error:
            say(event="error", **error.as_dict(), cancelled=stopped())


def main() -> None:
    """Entry point: ``python -m diewright.worker FOLDER``."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which then ends this process
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever a library prints must not mix with the answers
    serve(sys.argv[1], sys.stdin, answers)


if __name__ == "__main__":
    main()

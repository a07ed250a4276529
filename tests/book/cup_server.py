"""The book of the cup drawn by formula, served as a person would have it: server in a thread, working process apart."""

from __future__ import annotations

import socket
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from drawn_cup import GRAPH

from diewright.book import runs as runs_module
from diewright.book.server import make_app
from diewright.desk import Desk
from diewright.job import file as job_file
from diewright.job.graph import Graph

TOKEN = "a-token"
WORKER = """
import sys, types
sys.path.insert(0, {here!r})
from {module} import GRAPH
sys.modules["diewright.stages"] = types.SimpleNamespace(GRAPH=GRAPH)
from diewright.worker import main
main()
"""


def cup_job(folder: Path, *, worked: bool = True, graph: Graph = GRAPH) -> Path:
    """A job folder of the cup, all stages worked (slow ones too) unless ``worked`` is False."""
    job = folder / "cup"
    job.mkdir(parents=True)
    stated = {"job": {"title": "Cup by formula", "number": "T-30", "drawn_by": "A. Draughter"}, "blank": {"blankholder_force_kn": 18.0}}
    (job / "job.toml").write_text(job_file.text_of(stated), encoding="utf-8")
    desk = Desk(job, graph)
    if worked:
        desk.work(*graph.stages)
    else:
        desk.work("faces", "press", "sheet")
    return job


@contextmanager
def cup_served(job: Path, graph: Graph = GRAPH, module: str = "drawn_cup") -> Iterator[str]:
    """Serve the job; gives the address with its token. ``module`` is where the working process finds the same ``graph`` as GRAPH."""
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    port = listener.getsockname()[1]
    before = runs_module.COMMAND
    runs_module.COMMAND = (sys.executable, "-c", WORKER.format(here=str(Path(__file__).parent), module=module))
    app = make_app(job, TOKEN, (f"127.0.0.1:{port}",), Desk(job, graph))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    end = time.monotonic() + 20
    while not server.started and time.monotonic() < end:
        time.sleep(0.02)
    try:
        yield f"http://127.0.0.1:{port}/?token={TOKEN}"
    finally:
        app.bell.close()  # type: ignore[attr-defined]
        server.should_exit = True
        thread.join(timeout=10)
        runs_module.COMMAND = before

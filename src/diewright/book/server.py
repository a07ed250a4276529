"""The local web application of the job book.

One process, one job. It listens on the loopback address, takes a free port, and works stages in a process apart (:mod:`diewright.book.runs`).
Every error, whatever its cause, has the one shape ``{"error", "where", "help"}``.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request, UploadFile
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, Response, StreamingResponse
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, FileSystemLoader, select_autoescape
from pydantic import BaseModel, ConfigDict
from starlette.exceptions import HTTPException

from diewright.book import views
from diewright.book.baths import Baths
from diewright.book.guard import Guard
from diewright.book.runs import Runs
from diewright.book.upload import keep_upload
from diewright.desk import Desk
from diewright.errors import DeskError, InputError, StoreError
from diewright.job import file as job_file
from diewright.job import live

HERE = Path(__file__).parent
# page -> the stage without which the book does not hold it
PAGES = {
    "part": "part", "sheet": "sheet", "blank": "blank", "press": "press", "faces": "faces", "draws": "draws", "proposal": "proposal", "tryout": "tryout",
    "blankholder": "window", "compensation": "compensation", "cutting": "trim", "plan": "plan", "finish": "finish", "dip": "dip", "plating": "plating", "line": "line", "readiness": "",
}  # fmt: skip
FOREVER = {"cache-control": "private, max-age=31536000, immutable"}
FRESH = {"cache-control": "no-store"}


class Body(BaseModel):
    """Base of what the pages send: unknown fields are refused."""

    model_config = ConfigDict(extra="forbid")


class Edit(Body):
    """Fields to set by dotted path; null takes a field out."""

    changes: dict[str, Any]


class Take(Body):
    """Take over what the result of this stage offers."""

    stage: str


class Work(Body):
    """Stages to work; none means all."""

    stages: list[str] = []


class Accept(Body):
    """An ``attend`` finding accepted with a reason."""

    finding: str
    reason: str = ""
    by: str = ""


class Bell:
    """Tells every open page what happens (server-sent events)."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._queues: set[asyncio.Queue[tuple[str, dict[str, Any]] | None]] = set()

    def bind(self) -> None:
        """Remember the loop that serves the pages."""
        self._loop = asyncio.get_running_loop()

    def ring(self, event: str, data: dict[str, Any]) -> None:
        """Say ``event`` to every page; may be called from any thread."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._spread, (event, data))

    def _spread(self, said: tuple[str, dict[str, Any]] | None) -> None:
        for queue in self._queues:
            queue.put_nowait(said)

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._spread, None)

    async def listen(self) -> AsyncIterator[tuple[str, dict[str, Any]]]:
        """Events as they come; ends when the server stops. A silent quarter minute gives ``("", {})``."""
        queue: asyncio.Queue[tuple[str, dict[str, Any]] | None] = asyncio.Queue()
        self._queues.add(queue)
        try:
            while True:
                try:
                    said = await asyncio.wait_for(queue.get(), 15.0)
                except TimeoutError:
                    said = ("", {})
                if said is None:
                    return
                yield said
        finally:
            self._queues.discard(queue)


def make_app(folder: Path, token: str, hosts: tuple[str, ...], desk: Desk | None = None) -> Guard:
    """The guarded application for one job folder."""
    desk = desk or Desk(folder)
    bell = Bell()
    runs = Runs(folder, bell.ring)

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        bell.bind()
        runs.warm()
        yield
        runs.close()

    app = FastAPI(lifespan=life, docs_url=None, redoc_url=None, openapi_url=None)
    app.state.bell, app.state.runs, app.state.desk = bell, runs, desk
    _add_errors(app)
    _add_pages(app, desk, runs)
    _add_actions(app, desk, runs)
    _add_results(app, desk)
    guard = Guard(app, token, hosts)
    guard.bell, guard.runs = bell, runs  # type: ignore[attr-defined]
    return guard


def _add_errors(app: FastAPI) -> None:
    @app.exception_handler(DeskError)
    async def said(request: Request, error: DeskError) -> JSONResponse:
        return JSONResponse(error.as_dict(), status_code=409 if isinstance(error, StoreError) else 400, headers=FRESH)

    @app.exception_handler(RequestValidationError)
    async def malformed(request: Request, error: RequestValidationError) -> JSONResponse:
        return JSONResponse({"error": "The request was not understood.", "where": "", "help": "Reload the page."}, status_code=400)

    @app.exception_handler(HTTPException)
    async def absent(request: Request, error: HTTPException) -> JSONResponse:
        what = f"There is no page '{request.url.path}'." if error.status_code == 404 else "The request was not understood."
        if error.status_code == 413:
            return JSONResponse({"error": error.detail, "where": "", "help": ""}, status_code=413)
        return JSONResponse({"error": what, "where": "", "help": "Go back to the book's first page."}, status_code=error.status_code)

    @app.exception_handler(Exception)
    async def unforeseen(request: Request, error: Exception) -> JSONResponse:
        return JSONResponse(
            {
                "error": f"The server failed for a reason we did not foresee ({type(error).__name__}).",
                "where": "",
                "help": "Please report it.",
            },
            status_code=500,
        )


def _add_pages(app: FastAPI, desk: Desk, runs: Runs) -> None:
    templates = Environment(loader=FileSystemLoader(HERE / "templates"), autoescape=select_autoescape(default=True))
    app.mount("/static", StaticFiles(directory=HERE / "static"))

    def page() -> HTMLResponse:
        nonce = secrets.token_urlsafe(16)
        boot = json.dumps(views.book(desk, runs.working)).replace("<", "\\u003c")
        html = templates.get_template("book.html").render(boot=boot, nonce=nonce, title=desk.job.job.title)
        policy = f"default-src 'self'; script-src 'self' 'nonce-{nonce}'; style-src 'self'; img-src 'self' data: blob:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
        return HTMLResponse(html, headers={"content-security-policy": policy, **FRESH})

    for path in ("/", *(f"/{p}" for p, stage in PAGES.items() if not stage or stage in desk.graph.stages)):
        app.add_api_route(path, page, methods=["GET"], response_model=None)

    @app.get("/favicon.ico", response_model=None)
    def icon() -> Response:
        drawn = HERE / "static" / "icon.svg"
        return FileResponse(drawn, media_type="image/svg+xml") if drawn.is_file() else Response(status_code=204)


def _add_actions(app: FastAPI, desk: Desk, runs: Runs) -> None:
    bell: Bell = app.state.bell

    def book() -> JSONResponse:
        return JSONResponse(views.book(desk, runs.working), headers=FRESH)

    @app.get("/api/book", response_model=None)
    def now() -> JSONResponse:
        return book()

    @app.post("/api/edit", response_model=None)
    def edit(body: Edit) -> JSONResponse:
        desk.edit(body.changes)
        return changed()

    @app.post("/api/take", response_model=None)
    def take(body: Take) -> JSONResponse:
        desk.take(body.stage)
        return changed()

    @app.post("/api/undo", response_model=None)
    def undo() -> JSONResponse:
        job_file.undo(desk.folder)
        return changed()

    @app.post("/api/redo", response_model=None)
    def redo() -> JSONResponse:
        job_file.redo(desk.folder)
        return changed()

    @app.post("/api/accept", response_model=None)
    def accept(body: Accept) -> JSONResponse:
        desk.accept(body.finding, body.reason, body.by)
        return changed()

    @app.post("/api/unaccept", response_model=None)
    def unaccept(body: Accept) -> JSONResponse:
        desk.edit({"accepted": [a.model_dump() for a in desk.job.accepted if a.finding != body.finding]})
        return changed()

    @app.post("/api/work", response_model=None)
    def work(body: Work) -> JSONResponse:
        for name in body.stages:
            if name not in desk.graph.stages:
                raise InputError(f"there is no stage called '{name}'.")
        runs.work(body.stages)
        return book()

    @app.post("/api/stop", response_model=None)
    def stop() -> JSONResponse:
        runs.stop()
        return book()

    @app.post("/api/part", response_model=None)
    def part(file: UploadFile) -> JSONResponse:
        desk.edit({"part.file": keep_upload(desk.folder, file.filename or "", file.file)})
        return changed()

    def changed() -> JSONResponse:
        state = views.book(desk, runs.working)
        bell.ring("changed", {})
        return JSONResponse(state, headers=FRESH)

    @app.get("/api/events", response_model=None)
    async def events() -> StreamingResponse:
        async def stream() -> AsyncIterator[str]:
            async for event, data in bell.listen():
                if event == "changed":
                    try:
                        state = await asyncio.to_thread(views.book, desk, runs.working)
                    except DeskError as error:
                        event, data = "failed", error.as_dict()
                    else:
                        event, data = "book", state
                yield f"event: {event}\ndata: {json.dumps(data)}\n\n" if event else ": still here\n\n"

        return StreamingResponse(stream(), media_type="text/event-stream", headers=FRESH)


def _add_results(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/result/{stage}", response_model=None)
    def result(stage: str) -> Response:
        try:
            return JSONResponse(views.result(desk, stage), headers=FRESH)
        except InputError as error:
            return JSONResponse(error.as_dict(), status_code=404, headers=FRESH)

    @app.get("/api/result/{stage}/{key}/mesh/{mesh}/{what}", response_model=None)
    def mesh(stage: str, key: str, mesh: str, what: str) -> Response:
        return Response(views.mesh_bytes(views.keyed(desk, stage, key), mesh, what), media_type="application/octet-stream", headers=FOREVER)

    @app.get("/api/result/{stage}/{key}/array/{name}", response_model=None)
    def array(stage: str, key: str, name: str) -> Response:
        found = views.keyed(desk, stage, key)
        if name not in found.arrays:
            raise InputError(f"there is no array called '{name}'.")
        return Response(found.arrays[name].astype("<f4").tobytes(), media_type="application/octet-stream", headers=FOREVER)

    @app.get("/api/result/{stage}/{key}/series/{series}/{what}", response_model=None)
    def series(stage: str, key: str, series: str, what: str) -> Response:
        return Response(
            views.series_bytes(views.keyed(desk, stage, key), series, what), media_type="application/octet-stream", headers=FOREVER
        )

    baths = Baths(desk)

    @app.get("/api/dip/{key}", response_model=None)
    def dip(key: str, x: float, y: float, z: float, holes: bool = False) -> Response:
        return Response(baths.answer(key, (x, y, z), holes), media_type="application/octet-stream", headers=FRESH)

    @app.get("/api/live/{stage}", response_model=None)
    def now(stage: str) -> Response:
        frame = live.read(desk.folder, stage) if stage in desk.graph.stages else None
        return Response(frame, media_type="application/octet-stream", headers=FRESH) if frame else Response(status_code=204, headers=FRESH)

    @app.get("/api/file/{stage}/{key}/{name}", response_model=None)
    def file(stage: str, key: str, name: str) -> Response:
        found = views.keyed(desk, stage, key)
        if name not in found.files:
            raise InputError(f"there is no file called '{name}'.")
        return Response(
            found.files[name],
            media_type="application/octet-stream",
            headers={"content-disposition": f'attachment; filename="{name}"', **FRESH},
        )

    @app.get("/paper.pdf", response_model=None)
    def paper(size: str = "A4") -> Response:
        from diewright.book.paper import make

        name = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in desk.job.job.title).strip("-") or "job"
        return Response(
            make(desk, size=size),
            media_type="application/pdf",
            headers={"content-disposition": f'attachment; filename="{name}.pdf"', **FRESH},
        )

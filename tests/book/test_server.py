"""The local server: who may ask, the one error shape, uploads, runs that are stopped or killed."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parents[1] / "job"))
from toys import TOYS

from diewright.book import runs as runs_module
from diewright.book import upload, views
from diewright.book.runs import Runs
from diewright.book.server import make_app
from diewright.desk import Desk
from diewright.errors import FileError
from diewright.job import file as job_file

TOKEN = "a-token"
HOST = "127.0.0.1:4321"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    job = tmp_path / "job"
    job.mkdir()
    (job / "job.toml").write_text(job_file.text_of({"job": {"title": "Toy </script><b>"}}))
    return job


@pytest.fixture
def client(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    monkeypatch.setattr(Runs, "warm", lambda self: None)  # these tests need no working process
    monkeypatch.setattr(views, "_sheets", lambda folder: [])
    app = make_app(folder, TOKEN, (HOST, "localhost:4321"), Desk(folder, TOYS))
    with TestClient(app, base_url=f"http://{HOST}", headers={"x-diewright-token": TOKEN}, raise_server_exceptions=False) as ready:
        yield ready


def shape(reply) -> dict[str, str]:
    data = reply.json()
    assert set(data) == {"error", "where", "help"}
    assert "Traceback" not in reply.text
    return data


def test_without_the_token_nothing_is_said(client: TestClient) -> None:
    for path in ("/", "/api/book", "/static/book.css", "/paper.pdf"):
        reply = client.get(path, headers={"x-diewright-token": "wrong"})
        assert reply.status_code == 401
        assert "lacks its key" in shape(reply)["error"]
        assert "Toy" not in reply.text


def test_the_printed_address_sets_the_cookie_and_hides_the_token(client: TestClient) -> None:
    reply = client.get(f"/?token={TOKEN}", headers={"x-diewright-token": ""}, follow_redirects=False)
    assert reply.status_code == 303
    assert reply.headers["location"] == "/"
    assert "HttpOnly" in reply.headers["set-cookie"]
    assert "SameSite=Strict" in reply.headers["set-cookie"]
    page = client.get("/api/book", headers={"x-diewright-token": "", "cookie": f"diewright={TOKEN}"})
    assert page.status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1:9999", "127.0.0.1", ""])
def test_another_host_name_is_refused(client: TestClient, host: str) -> None:
    reply = client.get("/api/book", headers={"host": host})
    assert reply.status_code == 403
    assert "answers to 127.0.0.1:4321 only" in shape(reply)["error"]


@pytest.mark.parametrize("headers", [{"origin": "http://evil.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}])
def test_a_change_asked_by_another_page_is_refused(client: TestClient, folder: Path, headers: dict[str, str]) -> None:
    before = (folder / "job.toml").read_bytes()
    reply = client.post("/api/edit", json={"changes": {"sheet.thickness": 2.0}}, headers=headers)
    assert reply.status_code == 403
    assert "not part of this job book" in shape(reply)["error"]
    assert (folder / "job.toml").read_bytes() == before


def test_edit_undo_redo(client: TestClient) -> None:
    assert client.post("/api/edit", json={"changes": {"sheet.thickness": 2.0}}).json()["job"]["sheet"]["thickness"] == 2.0
    assert client.post("/api/undo").json()["job"]["sheet"]["thickness"] == 0.8
    assert client.post("/api/redo").json()["undo"] == 1
    reply = client.post("/api/edit", json={"changes": {"sheet.thickness": -2.0}})
    assert reply.status_code == 400
    assert shape(reply) == {"error": "-2.0 cannot be used: expected 0.05 or more mm.", "where": "sheet.thickness", "help": ""}


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("POST", "/api/edit", b"not json", 400),
        ("POST", "/api/edit", b'{"change": {}}', 400),
        ("POST", "/api/edit", b'{"changes": {"sheet.thickness": {"a": 1}}}', 400),
        ("POST", "/api/edit", b'{"changes": {"nosuch.field": 1}}', 400),
        ("POST", "/api/edit", b'{"changes": {"": 1}}', 400),
        ("POST", "/api/work", b'{"stages": ["nosuch"]}', 400),
        ("POST", "/api/accept", b'{"finding": "no.such", "reason": "why not"}', 400),
        ("POST", "/api/undo", b"", 400),
        ("GET", "/api/result/nosuch", b"", 404),
        ("GET", "/api/result/first", b"", 404),
        ("GET", "/api/result/first/..%2f..%2f/mesh/part/points", b"", 404),
        ("GET", "/api/result/first/abc/mesh/part/points", b"", 400),
        ("GET", "/nosuch", b"", 404),
        ("GET", "/static/../server.py", b"", 404),
        ("GET", "/static/%2e%2e/server.py", b"", 404),
        ("DELETE", "/api/book", b"", 405),
        ("POST", "/api/part", b"", 400),
        ("GET", "/paper.pdf?size=B5", b"", 400),
    ],
)
def test_every_error_has_one_shape(client: TestClient, method: str, path: str, body: bytes, status: int) -> None:
    reply = client.request(method, path, content=body, headers={"content-type": "application/json"} if body else {})
    assert shape(reply)["error"]
    assert reply.status_code == status, reply.text


def test_bodies_over_their_limit_are_refused(client: TestClient) -> None:
    assert client.post("/api/edit", content=b" " * 1_000_001).status_code == 413
    claimed = client.post("/api/part", headers={"content-length": "10000000000"}, content=b"")
    assert claimed.status_code == 413
    assert "larger than 200 MB" in shape(claimed)["error"]

    def endless() -> Iterator[bytes]:
        for _ in range(300):
            yield b" " * 10_000

    streamed = client.post("/api/edit", content=endless())
    assert streamed.status_code == 413


def test_results_come_as_json_and_raw_arrays(client: TestClient, folder: Path) -> None:
    Desk(folder, TOYS).work()
    first = client.get("/api/result/first").json()
    assert first["values"]["doubled"] == 1.6
    assert first["meshes"]["part"]["point"]["depth"] == {"components": 1, "min": 0.0, "max": 3.0}
    assert first["tables"]["curve"]["x"] == [0.1, 1 / 3]
    at = f"/api/result/first/{first['key']}"
    points = client.get(f"{at}/mesh/part/points")
    assert len(points.content) == 4 * 3 * 4
    assert "immutable" in points.headers["cache-control"]
    assert len(client.get(f"{at}/mesh/part/triangles").content) == 2 * 3 * 4
    assert len(client.get(f"{at}/mesh/part/cell.face").content) == 2 * 4
    assert len(client.get(f"{at}/array/loop").content) == 3 * 4
    assert "no field called 'point.nosuch'" in shape(client.get(f"{at}/mesh/part/point.nosuch"))["error"]
    drawing = client.get(f"/api/file/first/{first['key']}/blank.dxf")
    assert drawing.content == b"0\nEOF\n"
    assert drawing.headers["content-disposition"] == 'attachment; filename="blank.dxf"'


def test_an_upload_becomes_the_part_and_overwrites_nothing(client: TestClient, folder: Path) -> None:
    for content, name in ((b"one", "shape.step"), (b"one", "shape.step"), (b"two", "shape (2).step")):
        reply = client.post("/api/part", files={"file": ("../../shape.step", content)})
        assert reply.json()["job"]["part"]["file"] == name
    assert (folder / "shape.step").read_bytes() == b"one"
    assert not [p for p in folder.iterdir() if p.name.startswith(".upload")]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("notes.txt", b"hello", "is not a CAD file"),
        ("shape.step", b"", "is empty"),
        ("", b"x", "is not a CAD file"),
        ("a/../..", b"x", "is not a CAD file"),
    ],
)
def test_other_uploads_are_refused(client: TestClient, folder: Path, name: str, content: bytes, words: str) -> None:
    if name:
        assert words in shape(client.post("/api/part", files={"file": (name, content)}))["error"]
    else:
        with pytest.raises(FileError, match=words):
            upload.keep_upload(folder, name, open(os.devnull, "rb"))  # noqa: SIM115
    assert sorted(p.name for p in folder.iterdir() if p.name not in ("job.toml", "results", "history")) == []


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("C:\\Users\\me\\Teil.STEP", "Teil.STEP"), ("/etc/passwd.stp", "passwd.stp"), ("a\x00b\n<c>.igs", "a-b--c-.igs"),
        ("x" * 300 + ".step", "x" * 100 + ".step"), ("Zierblech № 7 (links).step", "Zierblech № 7 (links).step"),
    ],
)  # fmt: skip
def test_names_are_made_safe(given: str, kept: str) -> None:
    assert upload.clean_name(given) == kept


def test_the_page_cannot_be_broken_by_a_title(client: TestClient) -> None:
    page = client.get("/")
    assert page.status_code == 200
    assert "</script><b>" not in page.text
    policy = page.headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert client.get("/readiness").status_code == 200


def test_a_job_file_broken_by_hand_is_said_and_the_server_lives(client: TestClient, folder: Path) -> None:
    good = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text("[sheet]\nthickness = 'thick'")
    assert shape(client.get("/api/book"))["where"] == "sheet.thickness"
    (folder / "job.toml").write_text(good)
    assert client.get("/api/book").status_code == 200


WORKER = """
import sys, types
sys.path.insert(0, {toys!r})
from toys import TOYS
sys.modules["diewright.stages"] = types.SimpleNamespace(GRAPH=TOYS)
from diewright.worker import main
main()
"""


class Heard:
    def __init__(self) -> None:
        self.events: list[tuple[str, dict]] = []

    def __call__(self, event: str, data: dict) -> None:
        self.events.append((event, data))

    def wait(self, ready: Callable[[], bool], seconds: float = 20) -> None:
        end = time.monotonic() + seconds
        while not ready():
            assert time.monotonic() < end, self.events
            time.sleep(0.02)


@pytest.fixture
def runs(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Runs, Heard]]:
    monkeypatch.setenv("TOY_DELAY", "2")
    code = WORKER.format(toys=str(Path(__file__).parents[1] / "job"))
    monkeypatch.setattr(runs_module, "COMMAND", (sys.executable, "-c", code))
    heard = Heard()
    made = Runs(folder, heard)
    yield made, heard
    made.close()


def test_a_run_tells_its_progress_and_ends(runs: tuple[Runs, Heard], folder: Path) -> None:
    run, heard = runs
    run.work([])
    heard.wait(lambda: run.working is None and len(heard.events) > 3)
    assert {s.state for s in Desk(folder, TOYS).states().values()} == {"current"}
    shares = [d["share"] for e, d in heard.events if e == "progress" and d.get("stage") == "second"]
    assert len(shares) > 3
    assert shares == sorted(shares)
    times = json.loads((folder / "results" / "times.json").read_text())
    assert times["second"] == pytest.approx(2.0, abs=0.5)


def test_a_run_can_be_stopped(runs: tuple[Runs, Heard], folder: Path) -> None:
    run, heard = runs
    run.work([])
    heard.wait(lambda: bool(run.working) and run.working["stage"] == "second")
    run.stop()
    heard.wait(lambda: run.working is None, 1.0)
    assert ("failed", {"error": "Stopped as asked; the finished stages are kept.", "where": "", "help": ""}) in heard.events
    assert Desk(folder, TOYS).states()["first"].state == "current"


def test_a_killed_worker_is_said_and_replaced(runs: tuple[Runs, Heard], folder: Path) -> None:
    run, heard = runs
    run.work([])
    heard.wait(lambda: bool(run.working) and run.working["stage"] == "second")
    assert run._process is not None
    os.kill(run._process.pid, signal.SIGKILL)
    heard.wait(lambda: run.working is None)
    said = next(d for e, d in heard.events if e == "failed")
    assert said["error"] == "The working process was ended by the system (signal 9); the finished stages are kept."
    run.work([])
    heard.wait(lambda: run.working is None)
    assert {s.state for s in Desk(folder, TOYS).states().values()} == {"current"}


def test_a_new_request_takes_the_place_of_the_old(runs: tuple[Runs, Heard], folder: Path) -> None:
    run, heard = runs
    run.work(["second"])
    heard.wait(lambda: bool(run.working) and run.working["stage"] == "second")
    run.work(["third"])
    heard.wait(lambda: run.working is None and Desk(folder, TOYS).states()["third"].state == "current")
    assert not [d for e, d in heard.events if e == "failed"]


def test_views_say_missing_values_as_null(folder: Path) -> None:
    assert json.dumps(views.book(Desk(folder, TOYS), None))

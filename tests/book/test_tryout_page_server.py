"""What the server hands to the pages of the tryout: frames as raw arrays, live frames while a stage works, pages that follow the stages."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from drawn_cup import DEPTH, GRAPH, graph
from fastapi.testclient import TestClient

from diewright.book import runs as runs_module
from diewright.book import views
from diewright.book.runs import Runs
from diewright.book.server import make_app
from diewright.desk import Desk
from diewright.errors import Cancelled
from diewright.job import file as job_file
from diewright.job import live
from diewright.watch import Frame, Watch

TOKEN, HOST = "a-token", "127.0.0.1:4321"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "job.toml").write_text(
        job_file.text_of({"job": {"title": "Cup by formula"}, "blank": {"blankholder_force_kn": 18.0}})
    )
    return tmp_path / "job"


@pytest.fixture
def client(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    monkeypatch.setattr(Runs, "warm", lambda self: None)
    monkeypatch.setattr(views, "_sheets", lambda folder: [])
    app = make_app(folder, TOKEN, (HOST,), Desk(folder, GRAPH))
    with TestClient(app, base_url=f"http://{HOST}", headers={"x-diewright-token": TOKEN}, raise_server_exceptions=False) as ready:
        yield ready


def test_the_frames_of_a_series_come_as_raw_arrays_over_all_instants(client: TestClient, folder: Path) -> None:
    Desk(folder, GRAPH).work("tryout")
    said = client.get("/api/result/tryout").json()
    sheet = said["series"]["sheet"]
    assert len(sheet["times"]) == 30
    assert (sheet["points"], sheet["triangles"]) == (2161, 4248)
    assert sheet["box"][0][2] == pytest.approx(-DEPTH, abs=1e-4)
    assert sheet["cell"]["thinning_pct"]["max"] == pytest.approx(14.87, abs=0.01)
    where = f"/api/result/tryout/{said['key']}/series/sheet"
    series = Desk(folder, GRAPH).result("tryout").series["sheet"]
    reply = client.get(f"{where}/points")
    assert "immutable" in reply.headers["cache-control"]
    np.testing.assert_array_equal(np.frombuffer(reply.content, "<f4").reshape(30, -1, 3), series.points)
    np.testing.assert_array_equal(np.frombuffer(client.get(f"{where}/triangles").content, "<u4").reshape(-1, 3), series.triangles)
    np.testing.assert_array_equal(
        np.frombuffer(client.get(f"{where}/cell.thinning_pct").content, "<f4").reshape(30, -1), series.cell["thinning_pct"]
    )
    np.testing.assert_array_equal(
        np.frombuffer(client.get(f"{where}/point.pressure").content, "<f4").reshape(30, -1), series.point["pressure"]
    )
    for path in (f"{where}/cell.nothing", f"{where}/points.x", where.replace("sheet", "rope") + "/points"):
        reply = client.get(path)
        assert reply.status_code == 400
        assert set(reply.json()) == {"error", "where", "help"}


def test_a_page_is_there_only_when_its_stage_is(client: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for page in ("/tryout", "/blankholder", "/faces", "/press", "/readiness"):
        assert client.get(page).status_code == 200, page
    small = make_app(folder, TOKEN, (HOST,), Desk(folder, graph(with_tryout=False)))
    with TestClient(small, base_url=f"http://{HOST}", headers={"x-diewright-token": TOKEN}, raise_server_exceptions=False) as without:
        for page in ("/tryout", "/blankholder", "/faces"):
            assert without.get(page).status_code == 404, page
        assert without.get("/press").status_code == 200


def test_a_live_frame_is_packed_and_unpacked(folder: Path) -> None:
    frame = Frame(
        "sheet",
        {"points": np.arange(6.0).reshape(2, 3), "triangles": np.array([[0, 1, 1]])},
        {"operation": "Draw", "stroke_mm": 1.5, "punch_kN": float("nan")},
    )
    data = live.pack(frame)
    assert int.from_bytes(data[:4], "little") % 4 == 0
    back = live.unpack(data)
    assert back.kind == "sheet"
    assert back.values == {"operation": "Draw", "stroke_mm": 1.5, "punch_kN": None}
    assert back.arrays["triangles"].tolist() == [[0, 1, 1]]
    assert back.arrays["points"].tolist() == [[0, 1, 2], [3, 4, 5]]
    live.keep(folder, "tryout", frame)
    assert live.read(folder, "tryout") == data
    live.forget(folder, "tryout")
    live.forget(folder, "tryout")
    assert live.read(folder, "tryout") is None


def test_a_watch_shows_frames_only_to_who_looks_and_cancels_there_too() -> None:
    seen: list[Frame] = []
    quiet, looked = Watch(), Watch(look=seen.append)
    quiet.show("sheet", {}, {})
    assert not quiet.looked_at
    assert looked.looked_at
    looked.show("sheet", {"a": np.zeros(1)}, {"stroke_mm": 2.0})
    assert [f.values["stroke_mm"] for f in seen] == [2.0]
    with pytest.raises(Cancelled):
        Watch(look=seen.append, cancelled=lambda: True).show("sheet", {}, {})
    assert len(seen) == 1


def test_the_desk_shows_the_frames_of_the_stage_at_work(folder: Path) -> None:
    seen: list[tuple[str, Frame]] = []
    Desk(folder, GRAPH).work("tryout", look=lambda stage, frame: seen.append((stage, frame)))
    assert {stage for stage, _ in seen} == {"tryout"}
    assert [f.values["stroke_mm"] for _, f in seen] == sorted(f.values["stroke_mm"] for _, f in seen)
    assert seen[-1][1].values["stroke_mm"] == DEPTH
    assert len(seen[-1][1].arrays["curve"]) == 30


WORKER = """
import sys, types
sys.path.insert(0, {here!r})
from drawn_cup import GRAPH
sys.modules["diewright.stages"] = types.SimpleNamespace(GRAPH=GRAPH)
from diewright.worker import main
main()
"""


def test_a_working_process_leaves_its_newest_frame_for_the_book(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Desk(folder, GRAPH).edit({"press.strokes_per_minute": 3.0})  # the made-up stage takes this as its seconds
    monkeypatch.setattr(runs_module, "COMMAND", (sys.executable, "-c", WORKER.format(here=str(Path(__file__).parent))))
    heard: list[tuple[str, dict]] = []
    strokes: list[float] = []
    run = Runs(folder, lambda event, data: heard.append((event, data)))
    app = make_app(folder, TOKEN, (HOST,), Desk(folder, GRAPH))
    try:
        run.work(["tryout"])
        end = time.monotonic() + 60
        numbers: list[int] = []
        client = TestClient(app, base_url=f"http://{HOST}", headers={"x-diewright-token": TOKEN})
        while run.working is not None and time.monotonic() < end:
            number = (run.working or {}).get("frame", 0)
            if number and number not in numbers:
                numbers.append(number)
                reply = client.get("/api/live/tryout")
                if reply.status_code == 200:
                    strokes.append(live.unpack(reply.content).values["stroke_mm"])
            time.sleep(0.05)
    finally:
        run.close()
    assert not [d for e, d in heard if e == "failed"]
    assert len(numbers) >= 3
    assert len(strokes) >= 3
    assert strokes == sorted(strokes)
    assert strokes[0] < strokes[-1]
    left = [d["seconds_left"] for e, d in heard if e == "progress" and d.get("share", 0) > 0.8 and d["stage"] == "tryout"]
    assert left
    assert all(s is not None and s < 2.5 for s in left)  # never worked before: told from its own pace
    assert client.get("/api/live/tryout").status_code == 204  # the stage has ended
    assert client.get("/api/live/none").status_code == 204
    json.dumps(heard)

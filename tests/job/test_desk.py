"""The stage graph and the store: what is current, why not, what survives."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from toys import TOYS

from diewright.desk import Desk, worst
from diewright.errors import Cancelled, DeskError, InputError, StoreError
from diewright.job import store as store_module


def states(desk: Desk) -> dict[str, str]:
    return {name: s.state for name, s in desk.states().items()}


def test_a_result_comes_back_whole(desk: Desk) -> None:
    desk.work("second")
    first = desk.result("first")
    assert first is not None
    assert first.values["doubled"] == 1.6
    assert first.figure("doubled").inputs == {"t": (0.8, "mm")}
    assert [f.key for f in first.findings] == ["first.thin", "first.never"]
    assert first.findings[0].place is not None
    assert first.findings[0].place.points == ((0.0, 0.0, 0.0),)
    part = first.meshes["part"]
    assert part.mesh.area == pytest.approx(1.0, abs=1e-15)
    assert part.point["depth"].tolist() == [0, 1, 2, 3]
    assert part.cell["face"].dtype.kind == "i"
    assert first.tables["curve"]["x"].tolist() == [0.1, 1 / 3]
    assert first.tables["curve"]["name"].tolist() == ["a", "b"]
    assert first.arrays["loop"].tolist() == [1, 2, 3]
    assert first.files == {"blank.dxf": b"0\nEOF\n"}
    with pytest.raises(ValueError, match="read-only"):
        first.arrays["loop"][0] = 9


def test_only_what_is_out_of_date_is_worked_again_and_the_reason_is_said(desk: Desk) -> None:
    desk.work()
    assert set(states(desk).values()) == {"current"}
    desk.edit({"blank.friction": 0.2})
    assert states(desk) == {"first": "current", "third": "current", "second": "out of date"}
    assert desk.states()["second"].because == "friction changed from 0.12 to 0.2"
    worked: list[str] = []
    desk.work(listen=lambda p: worked.append(p.stage))
    assert set(worked) == {"second"}
    desk.edit({"sheet.thickness": 1.0})
    because = {n: s.because for n, s in desk.states().items()}
    assert because["first"] == "thickness changed from 0.8 to 1"
    assert because["second"] == "First is out of date"
    assert desk.result("first").values["doubled"] == 1.6  # the last result is still shown


def test_going_back_to_an_earlier_state_finds_the_earlier_result(desk: Desk) -> None:
    desk.work("first")
    desk.edit({"sheet.thickness": 1.0})
    desk.work("first")
    desk.edit({"sheet.thickness": 0.8})
    assert states(desk)["first"] == "current"
    assert desk.result("first").values["doubled"] == 1.6


def test_the_bytes_of_a_file_count_not_its_name_or_time(desk: Desk, folder: Path) -> None:
    (folder / "shape.step").write_bytes(b"one")
    desk.edit({"part.file": "shape.step"})
    assert desk.work("first").values["bytes"] == 3
    os.utime(folder / "shape.step", (1, 1))
    assert states(desk)["first"] == "current"
    (folder / "same.step").write_bytes(b"one")
    desk.edit({"part.file": "same.step"})
    assert states(desk)["first"] == "current"
    (folder / "same.step").write_bytes(b"two")
    assert desk.states()["first"].because == "the file same.step changed"


def test_a_refusal_is_kept_and_said_without_working_again(desk: Desk) -> None:
    desk.edit({"blank.friction": 0.55})
    with pytest.raises(DeskError, match="did not settle"):
        desk.work("second")
    state = desk.states()["second"]
    assert (state.state, state.because) == ("refused", "second: the solution did not settle. Lower the friction.")
    desk.edit({"blank.friction": 0.2})
    assert states(desk)["second"] == "not worked"
    assert desk.work("second").values["sum"] == pytest.approx(1.8)


def test_a_defect_of_ours_reaches_the_person_as_a_sentence(desk: Desk, folder: Path) -> None:
    desk.edit({"blank.friction": 0.49})
    with pytest.raises(DeskError, match="a reason we did not foresee \\(ZeroDivisionError\\)"):
        desk.work("second")
    assert "ZeroDivisionError: a defect" in (folder / "results" / "defect.txt").read_text()


def test_a_result_that_is_not_finite_is_not_kept(desk: Desk) -> None:
    desk.edit({"blank.friction": 0.48})
    with pytest.raises(StoreError, match="not a finite number"):
        desk.work("second")
    assert desk.result("second") is None


def test_cancel_keeps_what_was_finished(desk: Desk) -> None:
    seen: list[str] = []
    with pytest.raises(Cancelled):
        desk.work("second", listen=lambda p: seen.append(p.stage), cancelled=lambda: "second" in seen)
    assert states(desk) == {"first": "current", "third": "not worked", "second": "not worked"}


@pytest.mark.parametrize("harm", ["change", "shorten", "remove", "manifest"])
def test_a_damaged_entry_is_a_miss_and_is_worked_again(desk: Desk, harm: str) -> None:
    desk.work("second")
    entry = desk.states()["first"].entry
    assert entry is not None
    target = entry.folder / ("manifest.json" if harm == "manifest" else "part.vtkhdf")
    if harm == "remove":
        target.unlink()
    elif harm == "shorten":
        target.write_bytes(target.read_bytes()[:-1])
    else:
        data = bytearray(target.read_bytes())
        data[len(data) // 2] ^= 0xFF
        target.write_bytes(data)
    desk.edit({"blank.friction": 0.3})
    assert desk.work("second").values["sum"] == pytest.approx(1.9)
    assert desk.result("first").values["doubled"] == 1.6


def test_a_full_disk_is_one_sentence_and_leaves_nothing_half(desk: Desk, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.work("first")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    desk.edit({"sheet.thickness": 1.0})
    monkeypatch.setattr(store_module.os, "fsync", full)
    with pytest.raises(StoreError, match="is full; nothing that was finished is lost"):
        desk.work("first")
    monkeypatch.undo()
    assert not list((folder / "results" / "unfinished").glob("*"))
    assert desk.result("first").values["doubled"] == 1.6


@pytest.mark.skipif(sys.platform != "linux" or os.geteuid() != 0, reason="mounts a small disk")
def test_a_disk_that_is_really_full(tmp_path: Path) -> None:
    place = tmp_path / "small"
    place.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=48k", "tmpfs", place], check=False, capture_output=True).returncode != 0:
        pytest.skip("this machine does not allow mounting")
    try:
        (place / "job.toml").write_text("")
        (place / "filler").write_bytes(b"x" * 20_000)
        desk = Desk(place, TOYS)
        with pytest.raises(StoreError, match="is full; nothing that was finished is lost"):
            desk.work("first")
        (place / "filler").unlink()
        assert desk.work("third").values == {"three": 3}
    finally:
        subprocess.run(["umount", place], check=True)


@pytest.mark.parametrize("error", [PermissionError(13, "Permission denied"), OSError(30, "Read-only file system")])
def test_an_unwritable_folder_is_one_sentence(desk: Desk, monkeypatch: pytest.MonkeyPatch, error: OSError) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(Path, "mkdir", refuse)  # the superuser may write anywhere, so a real folder would not refuse
    with pytest.raises(StoreError, match=r"cannot be written\. Give yourself write permission or move the job"):
        desk.work("first")


def test_a_results_path_that_is_a_file_is_one_sentence(desk: Desk, folder: Path) -> None:
    (folder / "results").write_text("not a folder")
    with pytest.raises(StoreError, match="cannot be used"):
        desk.work("first")


RUN = """
import sys
sys.path.insert(0, sys.argv[1])
from toys import TOYS
from diewright.desk import Desk
try:
    Desk(sys.argv[2], TOYS).work("second", listen=lambda p: print(p.stage, flush=True))
    print("done")
except Exception as error:
    print("refused:", error)
"""


def start(folder: Path, delay: float) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", RUN, str(Path(__file__).parent), str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "TOY_DELAY": str(delay)},
    )


def test_two_processes_on_one_job(folder: Path) -> None:
    one = start(folder, 3.0)
    assert one.stdout is not None
    while "second" not in one.stdout.readline():
        pass
    two = start(folder, 0.0)
    out, _ = two.communicate(timeout=30)
    assert "refused: This job is being worked by another process. Wait for it to finish or stop it there." in out
    one.kill()
    one.wait()


@pytest.mark.parametrize("after", [0.0, 0.05, 0.15, 0.4, 0.8])
def test_kill_at_any_moment_leaves_no_half_result(folder: Path, after: float) -> None:
    run = start(folder, 0.5)
    assert run.stdout is not None
    run.stdout.readline()
    time.sleep(after)
    run.send_signal(signal.SIGKILL)
    run.wait()
    desk = Desk(folder, TOYS)
    before = {n: s.entry.folder.stat().st_mtime_ns for n, s in desk.states().items() if s.state == "current" and s.entry}
    assert desk.work("second").values["sum"] == pytest.approx(1.72)
    for name, stamp in before.items():  # what was finished was not worked again
        assert desk.states()[name].entry.folder.stat().st_mtime_ns == stamp
    assert not list((folder / "results" / "unfinished").glob("*"))


def test_old_entries_go_oldest_first_and_the_latest_stays(desk: Desk) -> None:
    for t in (0.8, 1.0, 1.2):
        desk.edit({"sheet.thickness": t})
        desk.work("first")
    entries = sorted((desk.folder / "results" / "first").glob("*/"), key=lambda p: p.stat().st_mtime)
    assert len(entries) == 3
    assert desk.store.sweep(limit_bytes=0) > 0
    left = [p for p in entries if p.exists()]
    assert left == [desk.states()["first"].entry.folder]


def test_findings_accepted_with_a_reason_until_the_value_changes(desk: Desk) -> None:
    desk.work("first")
    assert worst(desk.findings()) == "stop"
    desk.accept("first.thin", "agreed with the customer", by="A. N.")
    row = {r.finding.key: r for r in desk.findings()}["first.thin"]
    assert (row.accepted, row.by) == ("agreed with the customer", "A. N.")
    desk.edit({"sheet.thickness": 0.5})
    desk.work("first")
    assert {r.finding.key: r for r in desk.findings()}["first.thin"].accepted == ""
    with pytest.raises(InputError, match="is a stop and cannot be accepted"):
        desk.accept("first.never", "because")
    with pytest.raises(InputError, match="there is no finding called"):
        desk.accept("no.such", "because")


def test_unknown_stage_and_missing_folder(desk: Desk, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"there is no stage called 'nosuch'. Stages: first, second, third."):
        desk.work("nosuch")
    with pytest.raises(DeskError, match="there is no folder"):
        Desk(tmp_path / "none", TOYS)


def test_a_mesh_on_disk_is_read_by_a_general_reader(desk: Desk) -> None:
    pyvista = pytest.importorskip("pyvista")
    desk.work("first")
    entry = desk.states()["first"].entry
    grid = pyvista.read(entry.folder / "part.vtkhdf")
    assert grid.n_points == 4
    assert grid.n_cells == 2
    assert np.allclose(grid.point_data["depth"], [0, 1, 2, 3])
    assert grid.compute_cell_sizes()["Area"].sum() == pytest.approx(1.0)

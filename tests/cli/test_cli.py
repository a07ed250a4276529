"""The command line: the same sentences, JSON for scripts, exit codes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import types
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "job"))
from toys import TOYS

from diewright import cli

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.setitem(sys.modules, "diewright.stages", types.SimpleNamespace(GRAPH=TOYS))

    def call(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["diewright", *map(str, arguments)])
        capfd.readouterr()
        try:
            cli.main()
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
        out, err = capfd.readouterr()
        assert "Traceback" not in out + err
        return code, out, err

    return call


@pytest.fixture
def job(run: Run, tmp_path: Path) -> Path:
    (tmp_path / "shape.step").write_bytes(b"a shape")
    code, out, _ = run("new", tmp_path / "job", "--cad", tmp_path / "shape.step", "--title", "Toy", "--thickness", "0.8")
    assert code == 0
    assert "Made" in out
    return tmp_path / "job"


def test_new_copies_the_cad_and_never_overwrites(run: Run, job: Path, tmp_path: Path) -> None:
    assert (job / "shape.step").read_bytes() == b"a shape"
    code, _, err = run("new", job)
    assert code == 2
    assert "already holds a job" in err
    code, _, err = run("new", tmp_path / "other", "--cad", tmp_path / "none.step")
    assert code == 3
    assert "there is no file" in err
    code, _, err = run("new", tmp_path / "other", "--thickness", "0")
    assert (code, err) == (2, "sheet.thickness: 0.0 cannot be used: expected 0.05 or more mm.\n")
    assert not (tmp_path / "other").exists()


def test_work_says_what_stands_and_ends_with_one_for_a_stop(run: Run, job: Path) -> None:
    code, out, err = run("work", job)
    assert code == 1
    assert "■ stop  It cannot be made.  [first.never]" in out
    assert "▲ attend  The sheet is thin." in out
    assert "2/3 Second: solving" in err
    assert run("work", job)[2] == ""  # nothing left to work


def test_json_is_one_document(run: Run, job: Path) -> None:
    code, out, err = run("work", job, "--json")
    data = json.loads(out)
    assert (code, err) == (1, "")
    assert {s["state"] for s in data["states"].values()} == {"current"}
    assert data["findings"][0]["key"] == "first.never"
    assert json.loads(run("state", job, "--json")[1])["first"]["state"] == "current"
    assert json.loads(run("show", job, "first", "--json")[1])["figures"][0]["formula"] == "2 t"
    code, out, _ = run("state", job / "none", "--json")
    assert code == 3
    assert set(json.loads(out)) == {"error", "where", "help"}


def test_set_undo_redo(run: Run, job: Path) -> None:
    run("work", job)
    code, out, _ = run("set", job, "sheet.thickness=1.2", "part.press_direction=[0, 0, -1]", "sheet.material=DC05")
    assert code == 0
    assert "thickness changed from 0.8 to 1.2" in out.replace("\n", " ")
    assert "current" in run("undo", job)[1]
    assert run("redo", job)[0] == 0
    assert run("redo", job)[0] == 2
    assert "not of the form path=value" in run("set", job, "sheet.thickness")[2]
    assert "expected one of" in run("set", job, "blank.holes=perhaps")[2]


def test_accept_and_findings(run: Run, job: Path) -> None:
    run("work", job)
    assert run("accept", job, "first.thin", "--reason", "agreed", "--by", "A. N.")[0] == 0
    assert "Accepted: agreed (A. N.)" in run("findings", job)[1]
    code, _, err = run("accept", job, "first.never", "--reason", "agreed")
    assert code == 2
    assert "cannot be accepted" in err


def test_export_writes_the_shop_floor_files(run: Run, job: Path) -> None:
    assert "Nothing has been worked yet" in run("export", job)[1]
    run("work", job)
    assert run("export", job)[0] == 0
    assert (job / "shop" / "blank.dxf").read_bytes() == b"0\nEOF\n"
    assert (job / "shop" / "first-part.vtkhdf").stat().st_size > 100


def test_unknown_stage_and_unworked_stage(run: Run, job: Path) -> None:
    assert "there is no stage called 'nosuch'" in run("work", job, "nosuch")[2]
    assert "there is no stage called 'nosuch'" in run("show", job, "nosuch")[2]
    code, _, err = run("show", job, "second")
    assert code == 2
    assert "has not been worked yet" in err


def test_a_refused_stage_ends_with_its_code(run: Run, job: Path) -> None:
    run("set", job, "blank.friction=0.55")
    code, _, err = run("work", job)
    assert (code, err.splitlines()[-1]) == (4, "second: the solution did not settle. Lower the friction.")
    (job / "shape.step").unlink()
    code, _, err = run("work", job)
    assert code == 3
    assert "the file 'shape.step' is not in the job folder" in err


def test_a_defect_of_ours_is_a_sentence(run: Run, job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(cli.console, "states", broken)
    code, _, err = run("state", job)
    assert code == 70
    assert err.startswith("diewright failed for a reason we did not foresee (ZeroDivisionError). Please report it")


def test_help_teaches_and_colours_honour_no_color(run: Run) -> None:
    code, out, _ = run("--help")
    assert code == 0
    assert "Exit codes: 0 done" in out.replace("\n  ", " ")
    for command in ("new", "work", "book", "prove"):
        code, out, _ = run(command, "--help")
        assert code == 0
        assert "\x1b[" not in out
    assert "Example: diewright new" in run("new", "--help")[1]


WORK = """
import sys, types
sys.path.insert(0, {toys!r})
from toys import TOYS
sys.modules["diewright.stages"] = types.SimpleNamespace(GRAPH=TOYS)
from diewright.cli import main
main()
"""


def test_interrupt_keeps_what_was_finished(run: Run, job: Path) -> None:
    code = WORK.format(toys=str(Path(__file__).parents[1] / "job"))
    process = subprocess.Popen(
        [sys.executable, "-c", code, "work", str(job)], stderr=subprocess.PIPE, text=True, env={**os.environ, "TOY_DELAY": "20"}
    )
    assert process.stderr is not None
    while "Second: solving" not in process.stderr.readline():
        pass
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=10)
    assert process.returncode == 130
    assert "Stopped as asked; the finished stages are kept." in err
    assert json.loads(run("state", job, "--json")[1])["first"]["state"] == "current"

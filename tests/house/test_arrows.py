"""The arrows of the house: which package may know which (see docs/design/stages.md)."""

from __future__ import annotations

import ast
import subprocess
from pathlib import Path

import pytest

import diewright

ROOT = Path(diewright.__file__).parent
PROJECT = Path(__file__).resolve().parents[2]
BASE = {"errors", "watch"}
STAGE_TOOLS = BASE | {"job", "sheet", "mechanics", "geometry"}
# package or module -> what it may import from diewright, besides itself
ALLOWED = {
    "errors": set(),
    "watch": {"errors"},
    "machine": set(),
    "geometry": BASE,
    "mechanics": BASE | {"geometry"},
    "sheet": BASE | {"job", "mechanics", "geometry"},
    "job": BASE | {"geometry"},
    "part": STAGE_TOOLS,
    "shape": STAGE_TOOLS | {"part"},  # only what is measured on a part, see below
    "blank": STAGE_TOOLS,
    "press": STAGE_TOOLS,
    "tryout": STAGE_TOOLS,
    "finish": STAGE_TOOLS,
    "trim": STAGE_TOOLS | {"press"},  # only its table of presses, see below
    "develop": STAGE_TOOLS | {"trim", "tryout"},  # runs the tryout, and maps lines as the trim does
    "die": STAGE_TOOLS | {"part"},  # only its reader of foreign files, see below
    "proposal": STAGE_TOOLS | {"blank", "die", "tryout"},  # composes the pure functions of these stages
    "stages": {"job", "part", "shape", "sheet", "blank", "press", "die", "tryout", "trim", "develop", "proposal", "finish"},
    "desk": BASE | {"job", "stages"},
    "worker": {"errors", "desk"},
    "book": BASE | {"", "desk", "job", "geometry", "sheet", "press", "finish"},  # only the live pockets of a part in the bath, see below
    "console": {"errors", "desk", "job", "sheet", "press", "prove"},
    "prove": BASE
    | {"job", "sheet", "mechanics", "geometry", "part", "shape", "blank", "press", "die", "tryout", "trim", "finish", "develop"},
    "cli": {"errors", "console", "desk", "job", "book", "prove"},
    "": {"desk"},
}


def name_of(path: Path) -> str:
    first = path.relative_to(ROOT).parts[0]
    return "" if first == "__init__.py" else first.removesuffix(".py")


def imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the arrows"
            names = [node.module or ""] if node.module != "diewright" else [f"diewright.{a.name}" for a in node.names]
        else:
            continue
        for name in names:
            parts = name.split(".")
            if parts[0] == "diewright":
                target = parts[1] if len(parts) > 1 else ""
                is_room = (ROOT / target).is_dir() or (ROOT / f"{target}.py").is_file()
                found.add(target if target and is_room else ("desk" if target in ("open_job", "Desk") else ""))
    return found


FILES = sorted(p for p in ROOT.rglob("*.py") if "examples" not in p.parts)


@pytest.mark.parametrize("path", FILES, ids=[p.relative_to(ROOT).as_posix() for p in FILES])
def test_arrows_point_down(path: Path) -> None:
    room = name_of(path)
    assert room in ALLOWED, f"{room} has no arrows: add it to the plan of the house"
    wrong = imports(path) - ALLOWED[room] - {room}
    assert not wrong, f"{path.relative_to(ROOT)} may not import {sorted(wrong)}"


READING = {
    "diewright.part.reader",
    "diewright.part.cad",
    "diewright.part.audit",
    "diewright.part.sandbox",
    "diewright.part.sniff",
    "diewright.part.child",
}


def test_the_die_knows_of_the_part_only_how_files_are_read() -> None:
    for path in (ROOT / "die").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("diewright.part"):
                names = {node.module} if node.module != "diewright.part" else {f"diewright.part.{a.name}" for a in node.names}
                assert names <= READING, path


def test_the_draw_shape_knows_of_the_part_only_how_it_is_measured() -> None:
    for path in (ROOT / "shape").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("diewright.part"):
                names = {node.module} if node.module != "diewright.part" else {f"diewright.part.{a.name}" for a in node.names}
                assert names <= {"diewright.part.measure", "diewright.part.visible"}, path


def test_the_book_knows_of_the_finish_only_how_a_part_in_the_bath_is_turned() -> None:
    for path in (ROOT / "book").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("diewright.finish"):
                names = {f"{node.module}.{a.name}" for a in node.names}
                assert names <= {"diewright.finish.dip.live"}, path


def test_the_trim_knows_of_the_press_only_its_table_and_what_serves() -> None:
    for path in (ROOT / "trim").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("diewright.press"):
                assert node.module in {"diewright.press.table", "diewright.press.fit"}, path
                assert path.parent.name == "plan", path


def test_the_check_can_fail(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("from diewright.book.server import make_app\nimport diewright.cli\n")
    assert imports(bad) == {"book", "cli"}


def test_no_pickle_and_no_words_that_do_not_belong() -> None:
    for path in FILES:
        text = path.read_text(encoding="utf-8")
        assert "import pickle" not in text, path
        assert "allow_pickle=True" not in text, path


def test_no_machine_paths_in_the_project() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=PROJECT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git clone")
    marks = [f"/{name}/" for name in ("work", "root", "farm")]
    for name in listed.stdout.splitlines():
        path = PROJECT / name
        if (
            path.suffix in {".py", ".md", ".toml", ".js", ".css", ".html", ".csv", ".typ", ".step", ""}
            and path.is_file()
            and "vendor" not in path.parts
        ):
            text = path.read_text(encoding="utf-8", errors="replace")
            assert not [m for m in marks if m in text], name

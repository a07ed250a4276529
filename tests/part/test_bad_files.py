"""Damaged, hostile and unsuitable CAD files: each gives one sentence with what, where and what to do, and nothing else."""

from __future__ import annotations

import os
import re
import signal
import struct
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from diewright.errors import Cancelled, DeskError, FileError, InputError
from diewright.part.reader import read
from diewright.part.sandbox import Limits
from diewright.watch import Watch

Make = Callable[[Any, Path, Any, Any], Path]

POINTS_ONLY = """ISO-10303-21;
HEADER;
FILE_DESCRIPTION((''),'2;1');
FILE_NAME('','',(''),(''),'','','');
FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));
ENDSEC;
DATA;
#1=CARTESIAN_POINT('',(0.,0.,0.));
#2=CARTESIAN_POINT('',(1.,0.,0.));
ENDSEC;
END-ISO-10303-21;
"""


def put(folder: Path, name: str, data: bytes | str) -> Path:
    path = folder / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return path


def good(cad: Any) -> bytes:
    return cad.step("block.step", cad.box(30, 20, 10)).read_bytes()


def iges_text(cad: Any) -> bytes:
    return cad.iges("block.igs", cad.box(30, 20, 10)).read_bytes()


def ascii_stl(body: str, end: str = "endsolid x\n") -> str:
    return "solid x\n" + body + end


def facet(*corners: str) -> str:
    return "facet normal 0 0 1\nouter loop\n" + "".join(f"vertex {c}\n" for c in corners) + "endloop\nendfacet\n"


def curves_only(cad: Any, folder: Path) -> Path:
    return cad.step("curves.step", cad.m.wire([cad.m.line((0, 0, 0), (10, 0, 0)), cad.m.line((10, 0, 0), (10, 10, 0))]))


def unit_gone(cad: Any, folder: Path) -> Path:
    text = good(cad).decode("latin-1")
    cut = re.sub(r"(GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\(\s*)#\d+,", r"\1", text)
    assert cut != text
    return put(folder, "no_unit.step", cut)


def twisted(n: int = 24) -> np.ndarray:
    """A ribbon with one side."""
    out = []
    for i in range(n):
        a, b = (2 * np.pi * (i + k) / n for k in (0, 1))

        def at(turn: float, w: float) -> list[float]:
            r = 20 + w * np.cos(turn / 2)
            return [r * np.cos(turn), r * np.sin(turn), w * np.sin(turn / 2)]

        p, q, r, s = at(a, -4), at(a, 4), at(b, 4), at(b, -4)
        if i == n - 1:
            r, s = at(0.0, -4), at(0.0, 4)
        out += [[p, q, r], [p, r, s]]
    return np.array(out)


# name of the case, how the file is made, what is stated, words that must be in the one sentence
CASES: list[tuple[str, Make, dict[str, Any], tuple[str, ...]]] = [
    ("empty", lambda c, d, w, g: put(d, "empty.step", b""), {}, ("is empty (0 bytes)",)),
    ("missing", lambda c, d, w, g: d / "nowhere.step", {}, ("does not exist",)),
    ("folder", lambda c, d, w, g: _made(d / "part.step"), {}, ("is a folder, not a CAD file",)),
    ("link to itself", lambda c, d, w, g: _loop(d), {}, ("cannot be opened", "ordinary file")),
    ("pipe", lambda c, d, w, g: _pipe(d), {}, ("is not an ordinary file",)),
    ("truncated step", lambda c, d, w, g: put(d, "cut.step", good(c)[: len(good(c)) // 2]), {}, ("was cut off", "END-ISO-10303-21")),
    ("truncated iges", lambda c, d, w, g: put(d, "cut.igs", iges_text(c)[: len(iges_text(c)) // 2]), {}, ("no terminate section", "cut off")),
    ("text named step", lambda c, d, w, g: put(d, "letter.step", "Dear toolmaker,\nplease quote.\n"), {}, ("named STEP but is not", "ISO-10303-21")),
    ("text named iges", lambda c, d, w, g: put(d, "letter.igs", "Dear toolmaker,\nplease quote.\n" * 9), {}, ("named IGES but is not", "80 columns")),
    ("text named stl", lambda c, d, w, g: put(d, "letter.stl", "Dear toolmaker,\nplease quote.\n" * 9), {}, ("named STL but is not",)),
    ("picture named stl", lambda c, d, w, g: put(d, "a.stl", b"\x89PNG\r\n\x1a\n" + bytes(200)), {}, ("seems to be a picture",)),
    ("archive named step", lambda c, d, w, g: put(d, "a.step", b"PK\x03\x04" + bytes(300)), {}, ("seems to be a ZIP archive",)),
    ("pdf of no name", lambda c, d, w, g: put(d, "drawing.pdf", b"%PDF-1.7\n" + bytes(300)), {}, ("no STEP, IGES or STL file", "a PDF document")),
    ("step in capitals, broken inside", lambda c, d, w, g: put(d, "PART.STEP", "ISO-10303-21;\nrubbish;\nEND-ISO-10303-21;\n"), {}, ("STEP file",)),
    ("step of points", lambda c, d, w, g: put(d, "points.step", POINTS_ONLY), {}, ("STEP file states no unit",)),
    ("step of curves", lambda c, d, w, g: curves_only(c, d), {}, ("holds no faces, only 2 curves and 4 points",)),
    ("step without unit", lambda c, d, w, g: unit_gone(c, d), {}, ("states no unit of length", "part.unit")),
    ("unit against the file", lambda c, d, w, g: put(d, "b.step", good(c)), {"unit": "inch"}, ("the job states inch but the STEP file itself says mm",)),
    ("two bodies", lambda c, d, w, g: c.step("two.step", c.together(c.box(30, 20, 1), c.box(30, 20, 1, (0, 0, 50)))), {},
     ("2 bodies where one is wanted", "solid of 30 x 20 x 1 mm")),
    ("block", lambda c, d, w, g: put(d, "cube.step", good(c)), {}, ("is a block, not a sheet", "30 x 20 x 10 mm")),
    ("ball", lambda c, d, w, g: c.step("ball.step", c.sphere(25.0)), {}, ("is a block, not a sheet", "mm thick for 62.")),
    ("tiny", lambda c, d, w, g: c.step("tiny.step", c.box(0.01, 0.008, 0.001)), {}, ("0.01 mm across", "Check the unit")),
    ("huge", lambda c, d, w, g: c.step("huge.step", c.box(1e9, 1e9, 1e6)), {}, ("1e+09 mm across", "Check the unit")),
    ("stl without unit", lambda c, d, w, g: w(d / "u.stl", g()), {}, ("carries no unit of length", "State part.unit")),
    ("stl claims 2^32 - 1", lambda c, d, w, g: w(d / "claim.stl", g(), 2**32 - 1), {"unit": "mm"}, ("claims 4294967295 triangles (214748.4 MB)",)),
    ("stl claims none", lambda c, d, w, g: w(d / "none.stl", g()[:0]), {"unit": "mm"}, ("holds no triangles",)),
    ("stl cut", lambda c, d, w, g: put(d, "c.stl", w(d / "whole.stl", g()).read_bytes()[:-70]), {"unit": "mm"}, ("claims 72 triangles",)),
    ("ascii stl unterminated", lambda c, d, w, g: put(d, "t.stl", ascii_stl(facet("0 0 0", "9 0 0", "0 9 0"), "")), {"unit": "mm"}, ("no 'endsolid'", "cut off")),
    ("ascii stl, corner missing", lambda c, d, w, g: put(d, "t.stl", ascii_stl(facet("0 0 0", "9 0 0"))), {"unit": "mm"}, ("is damaged", "2 corners")),
    ("ascii stl, word for number", lambda c, d, w, g: put(d, "t.stl", ascii_stl(facet("0 0 0", "9 0 0", "0 nine 0"))), {"unit": "mm"}, ("coordinate that is not a number",)),
    ("ascii stl, two solids", lambda c, d, w, g: put(d, "t.stl", ascii_stl(facet("0 0 0", "9 0 0", "0 9 0")) * 2), {"unit": "mm"}, ("several solids",)),
    ("stl with nan", lambda c, d, w, g: w(d / "nan.stl", _with(g(), np.nan)), {"unit": "mm"}, ("coordinate that is not a number", "triangle 4")),
    ("stl with infinity", lambda c, d, w, g: w(d / "inf.stl", _with(g(), np.inf)), {"unit": "mm"}, ("coordinate that is not a number",)),
    ("stl of flat nothing", lambda c, d, w, g: w(d / "zero.stl", g() * np.array([1.0, 0.0, 0.0])), {"unit": "mm"}, ("without area",)),
    ("stl cuts itself", lambda c, d, w, g: w(d / "self.stl", _folded(g)), {"unit": "mm"}, ("cuts through itself", "pairs of triangles")),
    ("stl forks", lambda c, d, w, g: w(d / "fork.stl", np.concatenate([g(), g()[:, :, [0, 2, 1]] + (0.0, 5.0, 0.0)])), {"unit": "mm"}, ("three or more triangles", "No sheet forks")),
    ("stl in two pieces", lambda c, d, w, g: w(d / "two.stl", np.concatenate([g(), g(height=20.0)])), {"unit": "mm"}, ("2 bodies where one is wanted",)),
    ("stl ribbon", lambda c, d, w, g: w(d / "ribbon.stl", twisted()), {"unit": "mm"}, ("one side only",)),
    ("stl folded to nothing", lambda c, d, w, g: w(d / "thin.stl", _closed(g, 1e-7)), {"unit": "mm"}, ("no thickness",)),
    ("stl too fine", lambda c, d, w, g: w(d / "g.stl", g()), {"unit": "mm", "target_edge": 0.005, "chord_error": 0.001}, ("part.target_edge", "triangles; the limit is")),
    ("too many megabytes", lambda c, d, w, g: put(d, "b.step", good(c)), {"limits": Limits(file_megabytes=0.001)}, ("the limit is 0 MB",)),
    ("too slow", lambda c, d, w, g: put(d, "b.step", good(c)), {"limits": Limits(seconds=0.2)}, ("took longer than 0.2 s",)),
    ("too little memory", lambda c, d, w, g: put(d, "b.step", good(c)), {"limits": Limits(megabytes=400)}, ("needs more memory than the 400 MB",)),
]  # fmt: skip


def _made(path: Path) -> Path:
    path.mkdir()
    return path


def _loop(folder: Path) -> Path:
    path = folder / "loop.step"
    path.symlink_to(path)
    return path


def _pipe(folder: Path) -> Path:
    path = folder / "pipe.step"
    os.mkfifo(path)
    return path


def _with(corners: np.ndarray, value: float) -> np.ndarray:
    corners = corners.copy()
    corners[3, 1, 2] = value
    return corners


def _folded(g: Any) -> np.ndarray:
    """A strip bent round until it runs through its own start."""
    flat = g(12, 40.0).reshape(-1, 3)
    turn = flat[:, 0] / 40.0 * 2 * np.pi * 1.2
    r = 8.0 + 1.5 * np.cos(1.7 * turn)
    return np.c_[r * np.cos(turn), flat[:, 1], r * np.sin(turn)].reshape(-1, 3, 3)


def _closed(g: Any, t: float) -> np.ndarray:
    """Two flat skins ``t`` apart and the rim between them."""
    top, bottom = g(height=t), g()[:, ::-1]
    x = np.linspace(0, 30, 7)
    ring = [(v, 0.0) for v in x[:-1]] + [(30.0, v) for v in x[:-1]] + [(v, 30.0) for v in x[:0:-1]] + [(0.0, v) for v in x[:0:-1]]
    rim = []
    for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
        rim += [[(*a, 0.0), (*b, 0.0), (*b, t)], [(*a, 0.0), (*b, t), (*a, t)]]
    return np.concatenate([top, bottom, np.array(rim)])


@pytest.mark.parametrize(("make", "stated", "words"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_one_clear_sentence(
    cad: Any, tmp_path: Path, write_stl: Any, flat_grid: Any, make: Make, stated: dict[str, Any], words: tuple[str, ...]
) -> None:
    path = make(cad, tmp_path, write_stl, flat_grid)
    with pytest.raises(DeskError) as caught:
        read(path, **stated)
    sentence = caught.value.sentence
    for word in words:
        assert word in sentence, sentence
    assert caught.value.where.startswith("part.")
    assert "\n" not in sentence
    assert "Traceback" not in sentence
    assert 20 < len(sentence) < 420
    assert sentence.rstrip().endswith((".", ")"))
    assert caught.value.help or "part.min_edge" in caught.value.where


def test_there_are_enough_cases() -> None:
    assert len(CASES) >= 40
    assert len({name for name, *_ in CASES}) == len(CASES)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root reads everything")
def test_unreadable_file(cad: Any, tmp_path: Path) -> None:
    path = put(tmp_path, "closed.step", good(cad))
    path.chmod(0)
    with pytest.raises(FileError, match="cannot be read"):
        read(path)


def test_unreadable_by_the_system(cad: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path, "closed.step", good(cad))

    def refuse(self: Path, *args: Any, **kwargs: Any) -> Any:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(FileError, match=r"cannot be read \(Permission denied\)"):
        read(path)


def test_killed_child_is_one_sentence_and_the_caller_lives(cad: Any, tmp_path: Path) -> None:
    path = put(tmp_path, "b.step", good(cad))

    def kill_soon(pid: int) -> None:
        threading.Timer(0.3, os.kill, (pid, signal.SIGKILL)).start()

    with pytest.raises(FileError, match=r"ended from outside or crashed \(SIGKILL\)"):
        read(path, started=kill_soon)


def test_cancel_ends_the_child_at_once(cad: Any, tmp_path: Path) -> None:
    path = put(tmp_path, "b.step", good(cad))
    pids: list[int] = []
    begun = time.monotonic()
    with pytest.raises(Cancelled):
        read(path, watch=Watch(cancelled=lambda: time.monotonic() - begun > 0.3), started=pids.append)
    assert time.monotonic() - begun < 5
    with pytest.raises(ProcessLookupError):
        os.kill(pids[0], 0)


def test_hostile_entity_count_meets_the_time_limit(tmp_path: Path) -> None:
    """A STEP file of a hundred thousand entities that all hang on one another."""
    body = "".join(f"#{i}=AXIS2_PLACEMENT_3D('',#{i + 1},#{i + 2},#{i + 3});\n" for i in range(1, 100_000))
    path = put(tmp_path, "maze.step", POINTS_ONLY.replace("#1=CARTESIAN_POINT('',(0.,0.,0.));\n#2=CARTESIAN_POINT('',(1.,0.,0.));\n", body))
    begun = time.monotonic()
    with pytest.raises(DeskError) as caught:
        read(path, limits=Limits(seconds=6))
    assert time.monotonic() - begun < 12
    assert "\n" not in caught.value.sentence


@pytest.mark.parametrize("name", ["my part (rev B) #2.STEP", "Blende ä-ö-ü 日本 ✓.stp", "100%'quote'.step"])
def test_odd_names_are_read(cad: Any, tmp_path: Path, name: str) -> None:
    path = put(tmp_path, name, cad.step("plate.step", cad.box(60, 40, 1.5)).read_bytes())
    shape = read(path, target_edge=15.0)
    assert shape.values["thickness_found"] == pytest.approx(1.5, abs=1e-6)
    assert shape.mesh.area == pytest.approx(2400.0, rel=1e-6)


def test_wrong_extension_is_read_and_noted(cad: Any, tmp_path: Path) -> None:
    path = put(tmp_path, "really_step.igs", cad.step("plate.step", cad.box(60, 40, 1.5)).read_bytes())
    shape = read(path, target_edge=15.0)
    assert shape.values["format"] == "step"
    assert any("the name says IGES, the content is STEP" in e["what"] for e in shape.values["audit"])


def test_faults_that_can_be_repaired_are_repaired_and_said(tmp_path: Path, write_stl: Any, flat_grid: Any) -> None:
    corners = flat_grid()
    corners[5] = corners[5][::-1]  # one triangle turned
    extra = np.concatenate([corners, corners[7:8], np.repeat(corners[9:10, :1], 3, axis=1)])  # one twice, one a point
    extra[20, 0] += (1e-5, 0, 0)  # a crack
    shape = read(write_stl(tmp_path / "faults.stl", extra), unit="mm", target_edge=5.0)
    said = {e["what"].split(":")[0]: e["count"] for e in shape.values["audit"] if e["severity"] == "repaired"}
    assert said["triangles that looked the other way than their neighbours"] == 1
    assert said["triangles that are in the file twice"] == 1
    assert said["triangles with two corners in one place"] == 1
    assert any(text.startswith("points of free edges less than") for text in said)
    assert shape.mesh.area == pytest.approx(900.0, rel=1e-6)


def test_gaps_between_faces_are_sewn_and_said(cad: Any, tmp_path: Path) -> None:
    """Two flat faces 5 micrometres apart become one surface; half a millimetre apart they are two bodies."""
    m = cad.m
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace

    def face(x: float) -> Any:
        p = [(x, 0, 0), (x + 30, 0, 0), (x + 30, 20, 0), (x, 20, 0)]
        return BRepBuilderAPI_MakeFace(m.wire([m.line(a, b) for a, b in zip(p, p[1:] + p[:1], strict=True)])).Face()

    near = read(cad.step("near.step", cad.together(face(0), face(30.005))), target_edge=10.0)
    assert [e for e in near.values["audit"] if "joined to their neighbours within 0.01 mm" in e["what"]]
    assert len(near.mesh.boundary_loops) == 1
    with pytest.raises(FileError, match="2 bodies where one is wanted: surface of 30 x 20"):
        read(cad.step("far.step", cad.together(face(0), face(30.5))))


def test_min_edge_above_target(cad: Any, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="longer than the target edge"):
        read(put(tmp_path, "b.step", good(cad)), target_edge=2.0, min_edge=3.0)


def test_struct_is_little_endian(tmp_path: Path, write_stl: Any, flat_grid: Any) -> None:
    raw = write_stl(tmp_path / "a.stl", flat_grid()).read_bytes()
    assert struct.unpack("<I", raw[80:84]) == (72,)

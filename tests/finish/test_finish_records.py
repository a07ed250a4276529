"""Readings and the baths' book: what a shop writes by hand, right and wrong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from finish_parts import channel, finished

from diewright.errors import FileError
from diewright.finish.records import bath_log, readings
from diewright.finish.records.plan import plan
from diewright.job.stage import InputFile

GOOD = "place,method,um,layer\nS1,coulometric,26,nickel\nS1,coulometric,24,\n# by hand\nS2,XRF,30,nickel\nS1,xrf,0.4,chromium\n"


def kept(folder: Path, field: str, text: str | bytes) -> dict[str, InputFile]:
    path = folder / "record.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return {f"finish.{field}": InputFile.of(folder, path.name, field)}


def test_readings_are_judged_place_by_place(tmp_path: Path) -> None:
    r = finished(files=kept(tmp_path, "readings_file", GOOD), readings_file="record.csv", service=2, coulometric_pct=10.0, xrf_pct=5.0)
    rows = {(p["place"], p["layer"]): p for p in r.values["readings"]["places"]}
    first = rows["S1", "nickel"]
    assert (first["um"], first["count"]) == (25.0, 2)
    assert first["uncertainty_um"] == pytest.approx(np.hypot(2.5, 2.0 * np.sqrt(2.0) / np.sqrt(2.0)))
    assert first["verdict"] == "conforms"
    assert rows["S2", "nickel"]["uncertainty_um"] == pytest.approx(1.5)
    assert rows["S1", "chromium"]["limit_um"] == 0.3
    assert r.values["readings"]["layers"]["nickel"] == {"verdict": "conforms", "mean_um": 27.5, "least_um": 25.0}
    assert {f.key: f.severity for f in r.findings}["finish.readings.nickel"] == "note"


@pytest.mark.parametrize(("um", "severity"), [(30.0, "note"), (20.5, "attend"), (19.5, "attend"), (15.0, "stop")])
def test_the_worst_place_decides(tmp_path: Path, um: float, severity: str) -> None:
    text = f"place;method;um\nA;coulometric;40\nB;coulometric;{um}\n"
    r = finished(files=kept(tmp_path, "readings_file", text), readings_file="record.csv", service=2)
    found = next(f for f in r.findings if f.key == "finish.readings.nickel")
    assert (found.severity, found.value, found.limit) == (severity, um, 20.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"), ("place,method\nA,xrf\n", "has no column 'um'"), ("a,b,c\n1,2,3\n", "has no column 'place' and 'method' and 'um'"), ("place,method,um\n", "has no line below"),
        ("place,method,um\nA,xrf,-3\n", "line 2 of 'record.csv': um is '-3', expected more than 0"), ("place,method,um\nA,xrf,0\n", "expected more than 0"), ("place,method,um\nA,xrf,thick\n", "um is 'thick'"),
        ("place,method,um\nA,xrf,nan\n", "um is 'nan'"), ("place,method,um\nA,xrf,\n", "um is ''"), ("place,method,um\nA,ruler,12\n", "the method 'ruler' is not known"), ("place,method,um,layer\nA,xrf,12,gold\n", "the layer 'gold' is not known"),
        ("place,method,um\n,xrf,12\n", "names no place"), ("place,method,um\nA,xrf,12,5\n", "has 4 cells for 3 columns"), ("place,method,um,um\nA,xrf,1,2\n", "names a column twice"), ("place,method,um,who\nA,xrf,1,me\n", "a column 'who' that is not known"),
        ("place,method,um\nA,xrf,90\n", "X-rays tell no thickness beyond 75"), (b"place,method,um\n\xff\xfe,xrf,2\n", "is not a text file"), ('place,method,um\nA,xrf,"1\n', "is no CSV file"),
    ],
)  # fmt: skip
def test_a_wrong_file_of_readings_is_one_sentence(tmp_path: Path, text: str | bytes, words: str) -> None:
    with pytest.raises(FileError, match=words) as caught:
        readings.read(kept(tmp_path, "readings_file", text)["finish.readings_file"].path)
    assert caught.value.where == "finish.readings_file"
    assert caught.value.help


BOOK = "date,bath,Ah,m2,brightener_L\n2026-01-05,nickel,50000,400,2\n2026-01-06,chromium,8000,400,\n2026-01-06,nickel,30000,240,0\n"


def test_the_book_is_balanced(tmp_path: Path) -> None:
    r = finished(files=kept(tmp_path, "bath_log_file", BOOK), bath_log_file="record.csv", drag_out_ml_m2=100.0)
    rows = {b["what"]: b for b in r.values["book"]}
    assert rows["brightener"]["current"] == pytest.approx(80.0 * 0.2)
    assert rows["brightener"]["to_add"] == pytest.approx(80.0 * 0.2 + 64.0 * 1e-3 - 2.0)
    assert rows["nickel"]["drag_out"] == pytest.approx(64.0 * 0.075)
    assert rows["nickel"]["current"] == pytest.approx(-80.0 * 1.09497 * 0.045, rel=1e-3)  # 95.5 % at the parts
    assert rows["chromic acid"]["drag_out"] == pytest.approx(40.0 * 0.25)
    assert r.values["anodes_kg"] == pytest.approx(80.0 * 1.09497, rel=1e-4)
    assert r.figure("finish.add.chromic_acid").value == pytest.approx(rows["chromic acid"]["to_add"])
    assert {f.key for f in r.findings} >= {"finish.bath.nickel", "finish.bath.brightener", "finish.bath.chromic_acid"}
    assert r.tables["book"]["to_add"].tolist() == [b["to_add"] for b in r.values["book"]]


def test_a_book_of_one_bath_says_nothing_of_the_other(tmp_path: Path) -> None:
    path = kept(tmp_path, "bath_log_file", "date,bath,ah,m2\n2026-01-05,chromium,10,1\n")["finish.bath_log_file"].path
    assert [e.bath for e in bath_log.read(path)] == ["chromium"]
    r = finished(files=kept(tmp_path, "bath_log_file", path.read_bytes()), bath_log_file="record.csv")
    assert [b["what"] for b in r.values["book"]] == ["chromic acid"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("yesterday,nickel,1,1", "the date is 'yesterday'"), ("2026-02-30,nickel,1,1", "the date is '2026-02-30'"), ("2020-01-01,nickel,1,1", "dated before the line above"), ("2026-03-01,gold,1,1", "the bath 'gold' is not known"),
        ("2026-03-01,nickel,-1,1", "ah is '-1'"), ("2026-03-01,nickel,1,inf", "m2 is 'inf'"), ("2026-03-01,nickel,1", "has 3 cells for 4 columns"),
    ],
)  # fmt: skip
def test_a_wrong_line_of_the_book_is_one_sentence(tmp_path: Path, line: str, words: str) -> None:
    text = f"date,bath,ah,m2\n2026-01-01,nickel,1,1\n{line}\n"
    with pytest.raises(FileError, match=words) as caught:
        bath_log.read(kept(tmp_path, "bath_log_file", text)["finish.bath_log_file"].path)
    assert "line 3" in caught.value.sentence


def test_a_plan_is_spread_and_no_place_comes_twice() -> None:
    mesh = channel()
    on = {"upper": np.zeros(len(mesh.triangles), dtype=bool), "lower": mesh.normals[:, 2] > 0.9}
    spots = plan(mesh, on, [], 9)
    assert len({s.cell for s in spots}) == 9
    assert {s.side for s in spots} == {"lower"}
    x = mesh.centroids[[s.cell for s in spots]]
    gaps = np.linalg.norm(x[:, None] - x, axis=2) + 1e9 * np.eye(9)
    far = np.linalg.norm(mesh.centroids[on["lower"]][:, None] - x, axis=2).min(axis=1).max()
    assert gaps.min() >= far  # farthest points: what is left over is nearer than the places are to each other
    few = {"upper": np.arange(len(mesh.triangles)) < 2}
    assert len(plan(mesh, few, [], 9)) == 2

"""The proof runner: well-formed tables, honest verdicts, one bad case does not hide the others."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from diewright import prove
from diewright.errors import FileError, InputError, SolveError

ROWS = prove.references()


def row(**changes: object) -> prove.Reference:
    base = {
        "package": "p", "case": "c", "quantity": "q", "published": 10.0, "uncertainty": "", "unit": "mm", "tolerance": 0.1, "tolerance_kind": "rel", "source": "s",
        "known_by": "read",
    }  # fmt: skip
    return prove.Reference(**{**base, **changes})  # type: ignore[arg-type]


def test_there_is_one_table_with_a_source_in_every_row() -> None:
    assert len(ROWS) > 300
    assert all(r.source.strip() and r.tolerance >= 0 for r in ROWS)
    keys = [(r.package, r.case, r.quantity) for r in ROWS]
    assert len(set(keys)) == len(keys)


@pytest.mark.parametrize("package", sorted({r.package for r in ROWS}))
def test_every_case_has_its_function_and_no_function_is_idle(package: str) -> None:
    assert {r.case for r in ROWS if r.package == package} == set(prove.cases(package))


@pytest.mark.parametrize(
    ("reference", "ours", "verdict"),
    [
        (row(), 11.0, "meets"), (row(), 11.01, "misses"), (row(), 8.99, "misses"), (row(), math.nan, "misses"), (row(), math.inf, "misses"),
        (row(tolerance_kind="abs"), 10.1, "meets"), (row(tolerance_kind="abs"), 10.11, "misses"),
        (row(known_by="memory-uncertain"), 99.0, "reported"), (row(known_by="memory-uncertain"), math.nan, "misses"),
        (row(published=0.0), 1e-9, "misses"),
    ],
)  # fmt: skip
def test_verdicts(reference: prove.Reference, ours: float, verdict: str) -> None:
    assert prove.judge(reference, ours).verdict == verdict


def test_a_case_that_fails_is_a_miss_and_the_rest_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails() -> dict[str, float]:
        raise SolveError("no value")

    monkeypatch.setattr(prove, "references", lambda: [row(case="bad"), row(case="good")])
    monkeypatch.setattr(prove, "cases", lambda package: {"bad": fails, "good": lambda: {"q": 10.0}})
    heard: list[str] = []
    assert [r.verdict for r in prove.run(listen=heard.append)] == ["misses", "meets"]
    assert "gave no value: no value" in heard[1]


def test_unknown_case_and_malformed_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="there is no case called 'nosuch'"):
        prove.run(["nosuch"])
    monkeypatch.setattr(prove, "reference_folder", lambda: tmp_path)
    head = ",".join(prove.COLUMNS)
    for text, words in (
        ("a,b\n1,2\n", "has other columns"),
        (f"{head}\nc,q,x,,mm,1,abs,s,read\n", "must be numbers"),
        (f"{head}\nc,q,1,,mm,1,abs,,read\n", "is not as it should be"),
    ):
        (tmp_path / "bad.csv").write_text(text)
        with pytest.raises(FileError, match=words):
            prove.references()


def test_the_readme_table_is_written_between_its_marks(tmp_path: Path) -> None:
    readme = tmp_path / "README.md"
    readme.write_text(f"before\n{prove.BEGIN}\nold\n{prove.END}\nafter\n")
    rows = [prove.judge(row(source="a | b"), 10.0), prove.judge(row(case="other"), 20.0)]
    prove.write_table(readme, rows)
    text = readme.read_text()
    assert text.startswith("before\n")
    assert text.endswith("after\n")
    assert "old" not in text
    assert "| p | 2 | 1 | 1 | 0 |" in text
    assert "a \\| b" in text
    (tmp_path / "none.md").write_text("no marks")
    with pytest.raises(FileError, match="has no marks"):
        prove.write_table(tmp_path / "none.md", rows)

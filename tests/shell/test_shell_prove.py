"""The published and closed-form cases of ``reference/shell.csv``, each within the tolerance written there."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from diewright.prove.shell import CASES

ROWS = list(csv.DictReader((Path(__file__).parents[2] / "reference" / "shell.csv").open(encoding="utf-8")))


def test_every_case_has_rows_and_every_row_a_case():
    assert {row["case"] for row in ROWS} == set(CASES)


@pytest.mark.parametrize("case", CASES)
def test_case_is_within_its_tolerance(case):
    got = CASES[case]()
    rows = [row for row in ROWS if row["case"] == case]
    assert {row["quantity"] for row in rows} == set(got)
    for row in rows:
        published, tolerance = float(row["published"]), float(row["tolerance"])
        bound = tolerance * abs(published) if row["tolerance_kind"] == "rel" else tolerance
        assert abs(got[row["quantity"]] - published) <= bound, row["quantity"]

"""Every row of ``reference/scrap.csv`` is met."""

from __future__ import annotations

import pytest

from diewright import prove

ROWS = [r for r in prove.references() if r.package == "scrap"]


@pytest.fixture(scope="module")
def ours():
    return {name: case() for name, case in prove.cases("scrap").items()}


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r.case} {r.quantity}")
def test_the_closed_form_is_met(row, ours):
    assert prove.judge(row, ours[row.case][row.quantity]).verdict == "meets"

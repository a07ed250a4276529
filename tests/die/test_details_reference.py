"""The rows of the reference table that belong to the details of the faces."""

from __future__ import annotations

import pytest

from diewright import prove

ROWS = [r for r in prove.references() if r.package == "details"]


@pytest.mark.parametrize("case", sorted({r.case for r in ROWS}))
def test_reference(case: str) -> None:
    ours = prove.cases("details")[case]()
    rows = [r for r in ROWS if r.case == case]
    assert {r.quantity for r in rows} == set(ours)
    misses = [(r.quantity, ours[r.quantity]) for r in rows if prove.judge(r, ours[r.quantity]).verdict == "misses"]
    assert misses == []

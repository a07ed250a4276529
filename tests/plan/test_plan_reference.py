"""Published values of reference/plan.csv against ours."""

from __future__ import annotations

import pytest

from diewright.prove import cases, judge, references

ROWS = [r for r in references() if r.package == "plan"]


@pytest.mark.parametrize("row", ROWS, ids=[f"{r.case}:{r.quantity}" for r in ROWS])
def test_published_plan_value(row):
    judged = judge(row, cases("plan")[row.case]()[row.quantity])
    assert judged.verdict == "meets", judged

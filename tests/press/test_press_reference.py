"""Published values of reference/press.csv against ours."""

from __future__ import annotations

import math

import pytest

from diewright.prove import cases, judge, references

ROWS = [r for r in references() if r.package == "press"]


@pytest.mark.parametrize("row", ROWS, ids=[f"{r.case}:{r.quantity}" for r in ROWS])
def test_published_value(row):
    judged = judge(row, cases("press")[row.case]()[row.quantity])
    assert judged.verdict == ("reported" if row.known_by == "memory-uncertain" else "meets"), judged


def test_every_case_is_in_the_table():
    assert {r.case for r in ROWS} == set(cases("press"))


def test_a_wrong_value_misses():
    row = next(r for r in ROWS if r.case == "groover-cup")
    assert judge(row, row.published * 1.01).verdict == "misses"
    assert judge(row, math.nan).verdict == "misses"

"""Published values of reference/sheet.csv against ours."""

from functools import cache

import pytest

from diewright.prove import cases, judge, references

ROWS = [r for r in references() if r.package == "sheet"]


@cache
def computed(case: str) -> dict[str, float]:
    return cases("sheet")[case]()


@pytest.mark.parametrize("row", ROWS, ids=[f"{r.case}:{r.quantity}" for r in ROWS])
def test_published_value(row):
    judged = judge(row, computed(row.case)[row.quantity])
    assert judged.verdict == ("reported" if row.known_by == "memory-uncertain" else "meets"), judged


def test_every_case_is_in_the_table():
    assert {r.case for r in ROWS} == set(cases("sheet"))


def test_the_misprinted_coefficient_misses():
    from diewright.prove.sheet import A_2090_96, yld2000

    printed = yld2000((*A_2090_96[:7], 0.5130))
    row = next(r for r in ROWS if r.case == "yld2000-2090-corrected" and r.quantity == "s45")
    assert judge(row, printed["s45"]).verdict == "misses"
    assert printed["s45"] == pytest.approx(0.881, abs=0.001)
